//! SQLite's and the file system's errors as the core's one error, in one place.

use std::io;

use rusqlite::ErrorCode;

use crate::error::{CoreError, ErrorKind};

fn full(tried: &str) -> CoreError {
    CoreError::new(
        ErrorKind::StorageFull,
        "storage_full",
        format!("{tried}: the storage is full"),
        "free some space and do it again; everything saved before is safe",
    )
}

/// What `tried` to do when SQLite failed with `cause`.
pub(crate) fn from_sqlite(tried: &str, cause: rusqlite::Error) -> CoreError {
    match cause.sqlite_error_code() {
        Some(ErrorCode::DiskFull) => full(tried).because(cause),
        Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => CoreError::new(
            ErrorKind::Corrupt,
            "book_damaged",
            format!("{tried}: the book's database is damaged"),
            "open the book again: a damaged database is moved aside and kept, the photos stay, and a new one is begun",
        )
        .because(cause),
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => CoreError::new(
            ErrorKind::Storage,
            "book_busy",
            format!("{tried}: another program is writing to the book"),
            "close the other program or wait, then do it again",
        )
        .because(cause),
        _ => CoreError::new(
            ErrorKind::Storage,
            "book_failed",
            format!("{tried}: the book's database failed"),
            "do it again; what was saved before is safe",
        )
        .because(cause),
    }
}

/// What `tried` to do when the file system failed with `cause`.
pub(crate) fn from_io(tried: &str, cause: io::Error) -> CoreError {
    match cause.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => full(tried).because(cause),
        io::ErrorKind::NotFound => {
            CoreError::new(ErrorKind::NotFound, "no_such_file", format!("{tried}: no such file"), "check the name of the file")
                .because(cause)
        }
        _ => CoreError::new(
            ErrorKind::Storage,
            "file_failed",
            format!("{tried}: the file system failed"),
            "check that the folder is there and may be written",
        )
        .because(cause),
    }
}

/// Adds what was tried to a failing step.
pub(crate) trait Tried<T> {
    /// `tried` reads as "saving the entry", "opening the book".
    fn tried(self, tried: &str) -> Result<T, CoreError>;
}

impl<T> Tried<T> for Result<T, rusqlite::Error> {
    fn tried(self, tried: &str) -> Result<T, CoreError> {
        self.map_err(|cause| from_sqlite(tried, cause))
    }
}

impl<T> Tried<T> for Result<T, io::Error> {
    fn tried(self, tried: &str) -> Result<T, CoreError> {
        self.map_err(|cause| from_io(tried, cause))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write as _;

    #[test]
    fn write_to_a_full_device_is_storage_full() {
        // /dev/full answers every write with ENOSPC (Linux, full(4)).
        let Ok(mut file) = std::fs::OpenOptions::new().write(true).open("/dev/full") else {
            eprintln!("SKIPPED: no /dev/full here");
            return;
        };
        let error = file.write_all(b"x").tried("saving the photo").unwrap_err();
        assert!(error.is_storage_full(), "{error}");
        assert_eq!(error.code(), "storage_full");
    }
}
