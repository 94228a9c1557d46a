//! The one error of the core: what was wrong, what to do, and what the caller should do about it.

use std::fmt;
use std::sync::Arc;

/// What the caller does about an error; one variant per thing a shell would do differently.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ErrorKind {
    /// The input is not acceptable as it is: show the reason and the advice, change nothing.
    Refused,
    /// There is no such pump, entry or photo.
    NotFound,
    /// The disk is full: tell the person to free space; what was saved before is safe.
    StorageFull,
    /// The book was written by a newer program: left untouched, update the program.
    NewerSchema,
    /// The database is damaged: it was moved aside and named, never deleted.
    Corrupt,
    /// Reading or writing the book failed for another reason.
    Storage,
    /// The depot cannot be reached or refused: everything is kept and queued.
    Depot,
    /// A fault of ours: report it.
    Internal,
}

/// An error with a stable code, a reason that names the value and the range it broke, and advice.
///
/// Messages carry no personal names, serial numbers or places.
#[derive(Debug, Clone)]
pub struct CoreError {
    kind: ErrorKind,
    code: &'static str,
    reason: String,
    advice: String,
    source: Option<Arc<dyn std::error::Error + Send + Sync>>,
}

impl CoreError {
    /// An error of `kind` with a stable snake_case `code`; `reason` says what was wrong, `advice` what to do.
    pub fn new(kind: ErrorKind, code: &'static str, reason: impl Into<String>, advice: impl Into<String>) -> Self {
        Self { kind, code, reason: reason.into(), advice: advice.into(), source: None }
    }

    /// Shorthand for [`ErrorKind::Refused`], the commonest kind.
    pub fn refused(code: &'static str, reason: impl Into<String>, advice: impl Into<String>) -> Self {
        Self::new(ErrorKind::Refused, code, reason, advice)
    }

    /// The same error with the cause that led to it.
    #[must_use]
    pub fn because(mut self, source: impl std::error::Error + Send + Sync + 'static) -> Self {
        self.source = Some(Arc::new(source));
        self
    }

    /// What the caller should do.
    pub fn kind(&self) -> ErrorKind {
        self.kind
    }

    /// The stable code, for tests and translations.
    pub fn code(&self) -> &'static str {
        self.code
    }

    /// What was wrong, in plain English.
    pub fn reason(&self) -> &str {
        &self.reason
    }

    /// What to do about it, in plain English.
    pub fn advice(&self) -> &str {
        &self.advice
    }

    /// True where the root cause is a full disk.
    pub fn is_storage_full(&self) -> bool {
        self.kind == ErrorKind::StorageFull
    }
}

impl fmt::Display for CoreError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.reason)?;
        let mut cause = std::error::Error::source(self);
        while let Some(inner) = cause {
            write!(f, ": {inner}")?;
            cause = inner.source();
        }
        Ok(())
    }
}

impl std::error::Error for CoreError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        self.source.as_deref().map(|source| source as _)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::error::Error as _;

    #[test]
    fn display_is_a_chain_from_what_was_tried_to_the_root() {
        let root = std::io::Error::other("no space");
        let error = CoreError::new(ErrorKind::StorageFull, "storage_full", "saving the photo failed", "free some space").because(root);
        assert_eq!(error.to_string(), "saving the photo failed: no space");
        assert!(error.is_storage_full());
        assert!(error.source().is_some());
    }
}
