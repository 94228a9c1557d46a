//! The one error that crosses.

use gritbook_core::{CoreError, ErrorKind};

/// What went wrong, by what the shell does about it. In Kotlin: `FieldBookException`.
///
/// Each carries a stable `code` (for tests and translations), the `reason` (what was wrong, as a chain down to its root)
/// and the `advice` (what to do). Nothing is half-done when it is thrown.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error, uniffi::Error)]
pub enum FieldBookError {
    /// The input is not acceptable as it is: show reason and advice.
    #[error("{reason}")]
    Refused {
        /// Stable code.
        code: String,
        /// What was wrong.
        reason: String,
        /// What to do.
        advice: String,
    },
    /// There is no such pump, entry or photo.
    #[error("{reason}")]
    NotFound {
        /// Stable code.
        code: String,
        /// What was wrong.
        reason: String,
        /// What to do.
        advice: String,
    },
    /// The disk is full: what was saved before is safe.
    #[error("{reason}")]
    StorageFull {
        /// Stable code.
        code: String,
        /// What was wrong.
        reason: String,
        /// What to do.
        advice: String,
    },
    /// The book was written by a newer program and was left untouched.
    #[error("{reason}")]
    NewerSchema {
        /// Stable code.
        code: String,
        /// What was wrong.
        reason: String,
        /// What to do.
        advice: String,
    },
    /// The database is damaged; it is moved aside at the next opening, never deleted.
    #[error("{reason}")]
    Corrupt {
        /// Stable code.
        code: String,
        /// What was wrong.
        reason: String,
        /// What to do.
        advice: String,
    },
    /// Reading or writing failed for another reason.
    #[error("{reason}")]
    Storage {
        /// Stable code.
        code: String,
        /// What was wrong.
        reason: String,
        /// What to do.
        advice: String,
    },
    /// The depot cannot be reached or refused: everything is kept and queued.
    #[error("{reason}")]
    Depot {
        /// Stable code.
        code: String,
        /// What was wrong.
        reason: String,
        /// What to do.
        advice: String,
    },
    /// A fault of the program: report it.
    #[error("{reason}")]
    Internal {
        /// Stable code.
        code: String,
        /// What was wrong.
        reason: String,
        /// What to do.
        advice: String,
    },
}

impl From<CoreError> for FieldBookError {
    fn from(error: CoreError) -> Self {
        let (code, reason, advice) = (error.code().to_owned(), error.to_string(), error.advice().to_owned());
        match error.kind() {
            ErrorKind::Refused => Self::Refused { code, reason, advice },
            ErrorKind::NotFound => Self::NotFound { code, reason, advice },
            ErrorKind::StorageFull => Self::StorageFull { code, reason, advice },
            ErrorKind::NewerSchema => Self::NewerSchema { code, reason, advice },
            ErrorKind::Corrupt => Self::Corrupt { code, reason, advice },
            ErrorKind::Storage => Self::Storage { code, reason, advice },
            ErrorKind::Depot => Self::Depot { code, reason, advice },
            ErrorKind::Internal => Self::Internal { code, reason, advice },
        }
    }
}

/// What was wrong and what to do, in Spanish.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct SpanishError {
    /// What was wrong.
    pub reason: String,
    /// What to do.
    pub advice: String,
}

/// The Spanish words of an error's code (`FieldBookError`, `ReadingError`, a parked item's trouble); null where it has none: show the
/// English ones of the error then.
#[uniffi::export]
pub fn spanish_error(code: &str) -> Option<SpanishError> {
    let words = gritbook_core::error_words::spanish(code)?;
    Some(SpanishError { reason: words.reason.to_owned(), advice: words.advice.to_owned() })
}

impl From<uniffi::UnexpectedUniFFICallbackError> for FieldBookError {
    fn from(error: uniffi::UnexpectedUniFFICallbackError) -> Self {
        Self::Internal {
            code: "host_failed".to_owned(),
            reason: format!("the program around the book failed: {}", error.reason),
            advice: "nothing is lost: report this and try again".to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_crosses_as_its_own_variant_with_the_whole_chain() {
        let cross = |kind| FieldBookError::from(CoreError::new(kind, "c", "saving failed", "a").because(std::io::Error::other("root")));
        let fields = || ("c".to_owned(), "saving failed: root".to_owned(), "a".to_owned());
        let (code, reason, advice) = fields();
        assert_eq!(cross(ErrorKind::Refused), FieldBookError::Refused { code, reason, advice });
        let (code, reason, advice) = fields();
        assert_eq!(cross(ErrorKind::StorageFull), FieldBookError::StorageFull { code, reason, advice });
        let (code, reason, advice) = fields();
        assert_eq!(cross(ErrorKind::Internal), FieldBookError::Internal { code, reason, advice });
    }
}
