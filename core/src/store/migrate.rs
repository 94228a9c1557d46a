//! The one runner of schema steps. It alone owns `user_version`.
//!
//! A new database is made from `whole.sql`; an older one goes up one step at a time, each step in one immediate
//! transaction together with the version it leads to: a failing step leaves the database as it was before that step.
//! A newer schema is refused before anything is written.

use rusqlite::{Connection, TransactionBehavior};

use super::fault::Tried as _;
use crate::error::{CoreError, ErrorKind};
use crate::failpoint::failpoint;

/// Steps in order; the first leads from nothing to version 1.
pub(crate) const STEPS: &[&str] = &[include_str!("sql/001.sql"), include_str!("sql/002.sql"), include_str!("sql/003.sql")];

/// The schema as it stands now.
pub(crate) const WHOLE: &str = include_str!("sql/whole.sql");

/// "Grit": tells a book's database from any other SQLite file.
pub(crate) const APPLICATION_ID: i32 = 0x4772_6974;

/// The version that this program writes.
pub(crate) fn newest(steps: &[&str]) -> i64 {
    i64::try_from(steps.len()).unwrap_or(i64::MAX)
}

fn version(connection: &Connection) -> Result<i64, CoreError> {
    connection.query_row("PRAGMA user_version", [], |row| row.get(0)).tried("reading the book's schema version")
}

fn is_empty(connection: &Connection) -> Result<bool, CoreError> {
    connection.query_row("SELECT count(*) = 0 FROM sqlite_master", [], |row| row.get(0)).tried("reading the book's schema")
}

/// Refuses what this program must not touch: a newer schema, or a database that is no book. Writes nothing.
///
/// # Errors
/// `newer_schema`, `not_a_book`, or what SQLite says.
pub(crate) fn refuse_foreign(connection: &Connection, newest: i64) -> Result<(), CoreError> {
    let found = version(connection)?;
    let application: i32 =
        connection.query_row("PRAGMA application_id", [], |row| row.get(0)).tried("reading the book's schema version")?;
    if application != APPLICATION_ID && !is_empty(connection)? {
        return Err(CoreError::refused(
            "not_a_book",
            "book.sqlite in this folder was not written by Gritbook",
            "choose another folder; the file is left as it is",
        ));
    }
    if found > newest {
        return Err(CoreError::new(
            ErrorKind::NewerSchema,
            "newer_schema",
            format!("the book has schema version {found}; this program knows versions up to {newest}"),
            "update this program; the book is left as it is",
        ));
    }
    Ok(())
}

/// Brings the database to the version after the last of `steps`. `whole` is what a new one is made with.
///
/// # Errors
/// As [`refuse_foreign`], and `book_failed` where a step fails; the failing step is rolled back.
pub(crate) fn migrate(connection: &mut Connection, whole: &str, steps: &[&str]) -> Result<(), CoreError> {
    refuse_foreign(connection, newest(steps))?;
    loop {
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate).tried("preparing the book")?;
        // Read inside the transaction: another program may have gone ahead in between.
        let found = version(&transaction)?;
        if found >= newest(steps) {
            return Ok(());
        }
        let (sql, reached) = if is_empty(&transaction)? {
            (whole, newest(steps))
        } else {
            let index = usize::try_from(found).unwrap_or(usize::MAX);
            let Some(step) = steps.get(index) else { return Ok(()) };
            (*step, found + 1)
        };
        let tried = format!("bringing the book from schema version {found} to {reached}");
        transaction.execute_batch(sql).tried(&tried)?;
        transaction.pragma_update(None, "application_id", APPLICATION_ID).tried(&tried)?;
        transaction.pragma_update(None, "user_version", reached).tried(&tried)?;
        failpoint!("migrate_before_commit");
        transaction.commit().tried(&tried)?;
        failpoint!("migrate_step_done");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn schema(connection: &Connection) -> Vec<(String, String, Option<String>)> {
        let mut statement = connection.prepare("SELECT type, name, sql FROM sqlite_master ORDER BY type, name").unwrap();
        statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?))).unwrap().map(Result::unwrap).collect()
    }

    #[test]
    fn migrated_schema_equals_fresh_schema() {
        let mut fresh = Connection::open_in_memory().unwrap();
        migrate(&mut fresh, WHOLE, STEPS).unwrap();
        let mut old = Connection::open_in_memory().unwrap();
        migrate(&mut old, STEPS[0], &STEPS[..1]).unwrap();
        assert_eq!(version(&old).unwrap(), 1);
        assert_ne!(schema(&old), schema(&fresh));
        migrate(&mut old, WHOLE, STEPS).unwrap();
        assert_eq!(schema(&old), schema(&fresh));
        assert_eq!(version(&old).unwrap(), newest(STEPS));
    }

    #[test]
    fn every_table_is_strict() {
        let mut fresh = Connection::open_in_memory().unwrap();
        migrate(&mut fresh, WHOLE, STEPS).unwrap();
        let lax: Vec<String> = fresh
            .prepare("SELECT name FROM pragma_table_list WHERE schema = 'main' AND strict = 0 AND name NOT LIKE 'sqlite%'")
            .unwrap()
            .query_map([], |row| row.get(0))
            .unwrap()
            .map(Result::unwrap)
            .collect();
        assert!(lax.is_empty(), "{lax:?}");
    }

    #[test]
    fn failing_step_rolls_back_and_leaves_the_version_before_it() {
        let mut connection = Connection::open_in_memory().unwrap();
        let steps = ["CREATE TABLE one (x INTEGER) STRICT; INSERT INTO one VALUES (7);"];
        migrate(&mut connection, steps[0], &steps).unwrap();
        let steps = [steps[0], "CREATE TABLE two (x INTEGER) STRICT;", "DELETE FROM one; CREATE TABLE three (broken;"];
        let error = migrate(&mut connection, "", &steps).unwrap_err();
        assert_eq!(error.code(), "book_failed");
        assert!(error.to_string().contains("from schema version 2 to 3"), "{error}");
        assert_eq!(version(&connection).unwrap(), 2);
        let kept: i64 = connection.query_row("SELECT x FROM one", [], |row| row.get(0)).unwrap();
        assert_eq!(kept, 7, "the delete of the failing step is rolled back");
    }

    #[test]
    fn newer_schema_is_refused_and_database_of_another_program_too() {
        let mut connection = Connection::open_in_memory().unwrap();
        migrate(&mut connection, WHOLE, STEPS).unwrap();
        connection.pragma_update(None, "user_version", 99).unwrap();
        let error = migrate(&mut connection, WHOLE, STEPS).unwrap_err();
        assert_eq!((error.kind(), error.code()), (ErrorKind::NewerSchema, "newer_schema"));
        let mut other = Connection::open_in_memory().unwrap();
        other.execute_batch("CREATE TABLE theirs (x)").unwrap();
        assert_eq!(migrate(&mut other, WHOLE, STEPS).unwrap_err().code(), "not_a_book");
    }
}
