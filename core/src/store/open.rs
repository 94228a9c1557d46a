//! Opening a book's database: what is refused, what is moved aside, and the pragmas with their reasons.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use chrono::{DateTime, FixedOffset};
use rusqlite::{Connection, ErrorCode, OpenFlags};

use super::fault::Tried as _;
use super::migrate::{STEPS, WHOLE, migrate, newest, refuse_foreign};
use crate::error::{CoreError, ErrorKind};

/// The database's name in the book's folder.
pub(crate) const DATABASE: &str = "book.sqlite";

/// Stands beside the database after SQLite reported damage in use: the next opening looks at every page.
const SUSPECT: &str = "book.sqlite-suspect";

/// How long a writer waits for another program's transaction. A save takes some ms, a sync's page some tens.
const BUSY_TIMEOUT: Duration = Duration::from_secs(5);

/// Sets what SQLite must promise on every connection.
///
/// | pragma | why |
/// |---|---|
/// | `journal_mode = WAL` | readers go on while one writes; one fsync a commit. Returns the mode it got |
/// | `synchronous = FULL` | a confirmed save survives a pulled battery; NORMAL may lose the last commits under WAL |
/// | `foreign_keys = ON` | off by default in SQLite |
/// | `recursive_triggers = ON` | else `INSERT OR REPLACE` deletes entries past the append-only trigger |
/// | `temp_store = MEMORY` | Android gives SQLite no usable temporary folder |
/// | busy timeout 5 s | a save waits for a sync's transaction instead of failing |
/// | `trusted_schema = OFF` | a book that was sent by someone must not run functions from its schema |
pub(crate) fn set_pragmas(connection: &Connection) -> Result<(), CoreError> {
    let tried = "preparing the book's database";
    connection.busy_timeout(BUSY_TIMEOUT).tried(tried)?;
    let mode: String = connection.query_row("PRAGMA journal_mode = WAL", [], |row| row.get(0)).tried(tried)?;
    // An in-memory database has its own journal; anything else without WAL sits on a file system that cannot share memory.
    if mode != "wal" && mode != "memory" {
        return Err(CoreError::new(
            ErrorKind::Storage,
            "no_wal",
            format!("the folder's file system does not allow SQLite's write-ahead log (journal mode `{mode}`)"),
            "keep the book on the device's own storage, not on a network or shared folder",
        ));
    }
    for (name, value) in
        [("synchronous", "FULL"), ("foreign_keys", "ON"), ("recursive_triggers", "ON"), ("temp_store", "MEMORY"), ("trusted_schema", "OFF")]
    {
        connection.pragma_update(None, name, value).tried(tried)?;
    }
    Ok(())
}

/// Opens or makes the database in `folder`. Returns where a damaged one was moved to, if so.
///
/// # Errors
/// `newer_schema` and `not_a_book` leave the file as it is; `storage_full`, `book_busy`, `book_failed`, `file_failed`.
pub(crate) fn open_database(folder: &Path, now: DateTime<FixedOffset>) -> Result<(Connection, Option<PathBuf>), CoreError> {
    let file = folder.join(DATABASE);
    let suspect = folder.join(SUSPECT);
    match try_open(&file, suspect.exists()) {
        Ok(connection) => {
            if suspect.exists() {
                fs::remove_file(&suspect).tried("opening the book")?;
            }
            Ok((connection, None))
        }
        Err(error) if error.kind() == ErrorKind::Corrupt => {
            // SQLite also calls damaged what the storage once failed to read (EIO): every page again, before anything is moved.
            match try_open(&file, true) {
                Err(error) if error.kind() == ErrorKind::Corrupt => read_whole(folder)?,
                Ok(connection) => {
                    if suspect.exists() {
                        fs::remove_file(&suspect).tried("opening the book")?;
                    }
                    return Ok((connection, None));
                }
                Err(error) => return Err(error),
            }
            let aside = move_aside(folder, now)?;
            if suspect.exists() {
                fs::remove_file(&suspect).tried("opening the book")?;
            }
            Ok((try_open(&file, false)?, Some(aside)))
        }
        Err(error) => Err(error),
    }
}

/// Notes that SQLite reported damage, so that the next opening looks at every page.
pub(crate) fn note_suspect(folder: &Path) {
    // Best effort: the error itself is already on its way to the person.
    let _ = fs::write(folder.join(SUSPECT), b"SQLite reported damage; the next opening checks every page\n");
}

fn try_open(file: &Path, thorough: bool) -> Result<Connection, CoreError> {
    let tried = "opening the book";
    if file.exists() {
        // Read-only first: a newer or foreign file must not even be touched by the switch to WAL or a checkpoint.
        let look = |access| -> Result<Connection, CoreError> {
            let looker = Connection::open_with_flags(file, access | OpenFlags::SQLITE_OPEN_NO_MUTEX).tried(tried)?;
            looker.busy_timeout(BUSY_TIMEOUT).tried(tried)?;
            Ok(looker)
        };
        let mut looker = look(OpenFlags::SQLITE_OPEN_READ_ONLY)?;
        if is_half_written(&looker) {
            // Whoever reads it has to bring it back to its last commit first; that changes nothing that was ever committed.
            looker = look(OpenFlags::SQLITE_OPEN_READ_WRITE)?;
        }
        refuse_foreign(&looker, newest(STEPS))?;
        if thorough {
            check_pages(&looker)?;
        }
    }
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut connection = Connection::open_with_flags(file, flags).tried(tried)?;
    set_pragmas(&connection)?;
    migrate(&mut connection, WHOLE, STEPS)?;
    Ok(connection)
}

/// Whether a program died in the switch to the write-ahead log: it leaves a journal that read-only eyes may not play back.
fn is_half_written(looker: &Connection) -> bool {
    let asked = looker.query_row("PRAGMA user_version", [], |_| Ok(()));
    asked.is_err_and(|cause| cause.sqlite_error_code() == Some(ErrorCode::ReadOnly))
}

/// Looks at every page.
///
/// # Errors
/// `book_damaged` with what was found.
pub(crate) fn check_pages(connection: &Connection) -> Result<(), CoreError> {
    let verdict: String = connection.query_row("PRAGMA quick_check(1)", [], |row| row.get(0)).tried("checking the book's pages")?;
    if verdict == "ok" {
        return Ok(());
    }
    Err(CoreError::new(
        ErrorKind::Corrupt,
        "book_damaged",
        format!("the book's database is damaged: {verdict}"),
        "open the book again: a damaged database is moved aside and kept, the photos stay, and a new one is begun",
    ))
}

/// Reads the database and its log to their ends. What the storage does not give is no damage of the book: it may give it again.
fn read_whole(folder: &Path) -> Result<(), CoreError> {
    let tried = "reading the book's database";
    for suffix in ["", "-wal"] {
        match fs::File::open(folder.join(format!("{DATABASE}{suffix}"))) {
            Ok(mut file) => drop(std::io::copy(&mut file, &mut std::io::sink()).tried(tried)?),
            Err(cause) if cause.kind() == std::io::ErrorKind::NotFound => {}
            Err(cause) => return Err(cause).tried(tried),
        }
    }
    Ok(())
}

/// Renames the database and its log so that SQLite still opens them as a pair: `book.sqlite.damaged-20261125T110907Z`.
fn move_aside(folder: &Path, now: DateTime<FixedOffset>) -> Result<PathBuf, CoreError> {
    let tried = "moving the damaged database aside";
    let stamp = now.to_utc().format("%Y%m%dT%H%M%SZ");
    let mut name = format!("{DATABASE}.damaged-{stamp}");
    let mut turn = 2;
    while folder.join(&name).exists() {
        name = format!("{DATABASE}.damaged-{stamp}-{turn}");
        turn += 1;
    }
    for suffix in ["", "-wal", "-shm"] {
        let from = folder.join(format!("{DATABASE}{suffix}"));
        if from.exists() {
            fs::rename(&from, folder.join(format!("{name}{suffix}"))).tried(tried)?;
        }
    }
    super::photos::sync_folder(folder).tried(tried)?;
    Ok(folder.join(name))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn now() -> DateTime<FixedOffset> {
        DateTime::parse_from_rfc3339("2026-11-25T05:09:07-06:00").unwrap()
    }

    #[test]
    fn pragmas_read_back_as_set() {
        let folder = tempfile::tempdir().unwrap();
        let (connection, aside) = open_database(folder.path(), now()).unwrap();
        assert_eq!(aside, None);
        let text = |name: &str| connection.query_row(&format!("PRAGMA {name}"), [], |row| row.get::<_, String>(0)).unwrap();
        let number = |name: &str| connection.query_row(&format!("PRAGMA {name}"), [], |row| row.get::<_, i64>(0)).unwrap();
        assert_eq!(text("journal_mode"), "wal");
        assert_eq!(number("synchronous"), 2, "2 is FULL");
        assert_eq!(number("foreign_keys"), 1);
        assert_eq!(number("recursive_triggers"), 1);
        assert_eq!(number("temp_store"), 2, "2 is MEMORY");
        assert_eq!(number("trusted_schema"), 0);
        assert_eq!(number("busy_timeout"), 5000);
    }

    #[test]
    fn damaged_database_is_moved_aside_whole_and_a_new_one_begun() {
        let folder = tempfile::tempdir().unwrap();
        let junk = b"this is not a database, but someone's only copy of something".repeat(100);
        fs::write(folder.path().join(DATABASE), &junk).unwrap();
        let (connection, aside) = open_database(folder.path(), now()).unwrap();
        let aside = aside.unwrap();
        assert_eq!(aside.file_name().unwrap(), "book.sqlite.damaged-20261125T110907Z");
        assert_eq!(fs::read(&aside).unwrap(), junk);
        let rows: i64 = connection.query_row("SELECT count(*) FROM entry", [], |row| row.get(0)).unwrap();
        assert_eq!(rows, 0);
        drop(connection);
        fs::write(folder.path().join(DATABASE), &junk).unwrap();
        let (_, second) = open_database(folder.path(), now()).unwrap();
        assert_eq!(second.unwrap().file_name().unwrap(), "book.sqlite.damaged-20261125T110907Z-2", "an earlier one is never overwritten");
    }

    #[test]
    fn newer_schema_is_refused_and_the_file_untouched() {
        let folder = tempfile::tempdir().unwrap();
        let (connection, _) = open_database(folder.path(), now()).unwrap();
        connection.pragma_update(None, "user_version", 99).unwrap();
        drop(connection);
        let before = fs::read(folder.path().join(DATABASE)).unwrap();
        let error = open_database(folder.path(), now()).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::NewerSchema);
        assert_eq!(fs::read(folder.path().join(DATABASE)).unwrap(), before);
    }

    #[test]
    fn process_killed_in_the_switch_to_the_log_leaves_a_book_that_opens() {
        let (before, after) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let file = before.path().join(DATABASE);
        let connection = Connection::open(&file).unwrap();
        connection.execute_batch(include_str!("../../../fixtures/db/create_v1.sql")).unwrap();
        // More than the cache holds, so that the journal and the changed pages are in the files.
        connection
            .execute_batch(
                "PRAGMA cache_size = 1; BEGIN IMMEDIATE; CREATE TABLE half (x);
                 WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 2000) INSERT INTO half SELECT randomblob(500) FROM n;",
            )
            .unwrap();
        for name in [DATABASE, "book.sqlite-journal"] {
            fs::copy(before.path().join(name), after.path().join(name)).unwrap();
        }
        let (connection, aside) = open_database(after.path(), now()).unwrap();
        let entries: i64 = connection.query_row("SELECT count(*) FROM entry", [], |row| row.get(0)).unwrap();
        let half: i64 = connection.query_row("SELECT count(*) FROM sqlite_master WHERE name = 'half'", [], |row| row.get(0)).unwrap();
        assert_eq!((aside, entries, half), (None, 5, 0));
    }

    #[test]
    fn damage_in_the_middle_found_in_use_moves_the_file_aside_at_the_next_opening() {
        let folder = tempfile::tempdir().unwrap();
        let (connection, _) = open_database(folder.path(), now()).unwrap();
        drop(connection);
        let file = folder.path().join(DATABASE);
        let mut bytes = fs::read(&file).unwrap();
        let page = 4096;
        let pages = bytes.len() / page;
        bytes[(pages / 2) * page..(pages / 2 + 1) * page].fill(0xA5);
        fs::write(&file, &bytes).unwrap();
        note_suspect(folder.path());
        let (_, aside) = open_database(folder.path(), now()).unwrap();
        assert_eq!(fs::read(aside.unwrap()).unwrap(), bytes);
        assert!(!folder.path().join(SUSPECT).exists());
    }
}
