//! The archive in one SQLite file: one writer, so the order of entries never skips; a second connection reads.
//!
//! | setting | why |
//! |---|---|
//! | WAL | reading pages does not wait for a batch being written; `gritbook enroll` works beside a running depot |
//! | synchronous FULL | an acknowledged entry survives a pulled plug |
//! | busy timeout 5 s | the depot and `enroll` are two processes |
//! | begin immediate | a writer waits at the door, not in the middle |

pub(in crate::server) mod backup;
mod devices;
mod entries;
mod keeping;
mod people;
mod uploads;

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use chrono::{DateTime, Utc};
use gritbook_core::ids::{EntryId, PumpId, Sha256Hex};
use gritbook_core::wire::v1::Verdict;
use gritbook_core::{CoreError, ErrorKind};
use rusqlite::{Connection, OptionalExtension as _, Row, Transaction, TransactionBehavior, params};

use super::super::Places;
use super::devices::Devices as _;
use super::devices::NewDevice;
use super::people::{Actor, Deed, Reached};
use super::{Archive, Creation, Device, EntriesWanted, EntryFound, EntryPage, Holdings, NewUpload, PhotoRow, PumpPage, Upload, Work};
use entries::{amended_of, entries_after, entries_wanted, pump_page, pump_pages, store_one};
use uploads::{create_upload, find_photo, find_upload};

/// Steps of the schema; the loop in [`migrate`] alone writes `user_version`.
const STEPS: &[&str] = &[
    include_str!("schema/001.sql"),
    include_str!("schema/002.sql"),
    include_str!("schema/003.sql"),
    include_str!("schema/004.sql"),
    include_str!("schema/005.sql"),
];

/// How long a closed upload is still answered for, so that a phone that missed the last answer can ask again.
const REMEMBER_CLOSED_MS: i64 = 30 * 24 * 3600 * 1000;

/// See the module. A copy shares the connections.
#[derive(Clone)]
pub struct SqliteArchive {
    writer: Arc<Mutex<Connection>>,
    reader: Arc<Mutex<Connection>>,
}

impl std::fmt::Debug for SqliteArchive {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("SqliteArchive")
    }
}

/// Turns a database error into the depot's own: a full disk is told apart, since the person can do something about it.
pub(crate) fn sql_error(tried: &str, cause: rusqlite::Error) -> CoreError {
    use rusqlite::ErrorCode;
    let code = cause.sqlite_error_code();
    match code {
        Some(ErrorCode::DiskFull) => storage_full(tried).because(cause),
        Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => CoreError::new(
            ErrorKind::Corrupt,
            "archive_damaged",
            format!("{tried}: the archive is damaged"),
            "stop the depot, keep depot.sqlite as it is, and put back the newest backup; phones send again what it lacks",
        )
        .because(cause),
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
            CoreError::new(ErrorKind::Storage, "archive_busy", format!("{tried}: another program holds the archive"), "try again shortly")
                .because(cause)
        }
        _ => CoreError::new(ErrorKind::Storage, "archive_failed", format!("{tried} failed"), "look at the depot's log").because(cause),
    }
}

/// The disk or the depot's share of it is full.
pub(crate) fn storage_full(tried: &str) -> CoreError {
    CoreError::new(
        ErrorKind::StorageFull,
        "storage_full",
        format!("{tried}: no room is left at the depot"),
        "free space at the depot; what was acknowledged is safe and the rest stays queued on the phone",
    )
}

impl SqliteArchive {
    /// Opens or makes the database of the depot on the data folder `folder`, wherever it lies. Blocks.
    ///
    /// # Errors
    /// `newer_archive` (left untouched), `archive_damaged`, `storage_full`, `archive_failed`.
    pub fn open(folder: &Path) -> Result<Self, CoreError> {
        let path = Places::of(folder)?.database;
        let mut writer = connect(&path)?;
        migrate(&mut writer)?;
        let reader = connect(&path)?;
        Ok(Self { writer: Arc::new(Mutex::new(writer)), reader: Arc::new(Mutex::new(reader)) })
    }

    fn write<T: Send + 'static>(
        &self,
        tried: &'static str,
        work: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<T> + Send + 'static,
    ) -> Work<T> {
        let writer = Arc::clone(&self.writer);
        blocking(move || {
            let mut connection = held(&writer);
            let transaction =
                connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(|cause| sql_error(tried, cause))?;
            let done = work(&transaction).map_err(|cause| sql_error(tried, cause))?;
            transaction.commit().map_err(|cause| sql_error(tried, cause))?;
            Ok(done)
        })
    }

    fn read<T: Send + 'static>(
        &self,
        tried: &'static str,
        work: impl FnOnce(&Connection) -> rusqlite::Result<T> + Send + 'static,
    ) -> Work<T> {
        let reader = Arc::clone(&self.reader);
        blocking(move || work(&held(&reader)).map_err(|cause| sql_error(tried, cause)))
    }
}

/// A panic while a connection was held rolled its transaction back: the connection itself is sound.
fn held(connection: &Mutex<Connection>) -> MutexGuard<'_, Connection> {
    connection.lock().unwrap_or_else(PoisonError::into_inner)
}

fn blocking<T: Send + 'static>(work: impl FnOnce() -> Result<T, CoreError> + Send + 'static) -> Work<T> {
    Box::pin(async move {
        tokio::task::spawn_blocking(work).await.unwrap_or_else(|cause| {
            Err(CoreError::new(ErrorKind::Internal, "archive_stopped", "the archive's work was broken off", "try again").because(cause))
        })
    })
}

fn connect(path: &PathBuf) -> Result<Connection, CoreError> {
    let tried = "opening the archive";
    let connection = Connection::open(path).map_err(|cause| sql_error(tried, cause))?;
    connection.busy_timeout(Duration::from_secs(5)).map_err(|cause| sql_error(tried, cause))?;
    for (name, value) in [("journal_mode", "WAL"), ("synchronous", "FULL"), ("foreign_keys", "ON"), ("temp_store", "MEMORY")] {
        connection.pragma_update(None, name, value).map_err(|cause| sql_error(tried, cause))?;
    }
    Ok(connection)
}

fn migrate(connection: &mut Connection) -> Result<(), CoreError> {
    let tried = "bringing the archive up to date";
    let version = |connection: &Connection| connection.pragma_query_value(None, "user_version", |row| row.get::<_, i64>(0));
    loop {
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(|cause| sql_error(tried, cause))?;
        let at = version(&transaction).map_err(|cause| sql_error(tried, cause))?;
        let Some(step) = usize::try_from(at).ok().filter(|at| *at <= STEPS.len()) else {
            return Err(CoreError::new(
                ErrorKind::NewerSchema,
                "newer_archive",
                format!("the archive has version {at}, this program knows up to {}", STEPS.len()),
                "use the newer program; nothing was touched",
            ));
        };
        let Some(sql) = STEPS.get(step) else { return Ok(()) };
        transaction.execute_batch(sql).map_err(|cause| sql_error(tried, cause))?;
        transaction.pragma_update(None, "user_version", at + 1).map_err(|cause| sql_error(tried, cause))?;
        transaction.commit().map_err(|cause| sql_error(tried, cause))?;
    }
}

fn from_u64(value: u64) -> i64 {
    // Lengths are bounded by the size limit long before this.
    i64::try_from(value).unwrap_or(i64::MAX)
}

fn to_u64(value: i64) -> u64 {
    u64::try_from(value).unwrap_or(0)
}

fn hash_column(row: &Row<'_>, at: usize) -> rusqlite::Result<Sha256Hex> {
    row.get::<_, [u8; 32]>(at).map(Sha256Hex::from_bytes)
}

fn hash_text(row: &Row<'_>, at: usize) -> rusqlite::Result<Option<Sha256Hex>> {
    let text: Option<String> = row.get(at)?;
    text.map(|text| text.parse().map_err(|cause: CoreError| bad_column(at, cause))).transpose()
}

fn bad_column(at: usize, cause: CoreError) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(at, rusqlite::types::Type::Text, Box::new(cause))
}

fn unknown_word(at: usize, word: &str) -> rusqlite::Error {
    bad_column(
        at,
        CoreError::new(ErrorKind::Corrupt, "unknown_word", format!("the archive holds the word `{word}`"), "use the newer program"),
    )
}

fn holdings(connection: &Connection) -> rusqlite::Result<Holdings> {
    let count = |sql: &str| connection.query_row(sql, [], |row| row.get::<_, i64>(0)).map(to_u64);
    Ok(Holdings {
        entries: count("SELECT count(*) FROM entry")?,
        pumps: count("SELECT count(DISTINCT pump) FROM entry")?,
        devices: count("SELECT count(*) FROM device WHERE revoked_ms IS NULL")?,
        photos: count("SELECT count(*) FROM photo WHERE put_away_ms IS NULL")?,
        photo_bytes: count("SELECT coalesce(sum(bytes), 0) FROM photo WHERE removed_ms IS NULL")?,
        uploads_open: count("SELECT count(*) FROM upload WHERE state = 'open'")?,
        uploads_missing_bytes: count("SELECT coalesce(sum(length - offset), 0) FROM upload WHERE state = 'open'")?,
        // The last that came; the greatest time would be the whole table's.
        last_received_ms: connection.query_row("SELECT received_ms FROM entry ORDER BY n DESC LIMIT 1", [], |row| row.get(0)).optional()?,
    })
}

fn by_command(what: &'static str, at: DateTime<Utc>) -> Deed {
    Deed { at, by: Actor::Command, what, about: None, reached: Reached::ThisMachine }
}

impl Archive for SqliteArchive {
    fn enroll(&self, name: String, token_hash: Sha256Hex, now: DateTime<Utc>) -> Work<()> {
        self.let_in(
            NewDevice { name, token_hash: Some(token_hash), code_hash: None, first_use_by: None },
            by_command("device_enrolled", now),
        )
    }

    fn revoke(&self, name: String, now: DateTime<Utc>) -> Work<()> {
        self.shut_out(name, by_command("device_revoked", now))
    }

    fn device(&self, token_hash: Sha256Hex) -> Work<Option<Device>> {
        self.read("looking up a device", move |connection| {
            connection
                .prepare_cached(
                    "SELECT n, name, token_sha256, revoked_ms IS NOT NULL, heard_ms, first_use_by_ms FROM device WHERE token_sha256 = ?1",
                )?
                .query_row([token_hash.as_bytes()], |row| {
                    Ok(Device {
                        number: row.get(0)?,
                        name: row.get(1)?,
                        token_hash: hash_column(row, 2)?,
                        revoked: row.get(3)?,
                        heard: row.get::<_, Option<i64>>(4)?.and_then(DateTime::from_timestamp_millis),
                        first_use_by: row.get::<_, Option<i64>>(5)?.and_then(DateTime::from_timestamp_millis),
                    })
                })
                .optional()
        })
    }

    fn store_entries(&self, texts: Vec<String>, delivered_by: i64, now: DateTime<Utc>) -> Work<Vec<Verdict>> {
        self.write("storing entries", move |transaction| {
            texts.iter().map(|text| store_one(transaction, text, delivered_by, now.timestamp_millis())).collect()
        })
    }

    fn entries_after(&self, after: i64, limit: u32, max_bytes: usize) -> Work<EntryPage> {
        self.read("reading entries", move |connection| entries_after(connection, after, limit, max_bytes))
    }

    fn pumps(&self, newest: u32) -> Work<Vec<PumpPage>> {
        self.read("reading the pumps", move |connection| pump_pages(connection, newest))
    }

    fn pump(&self, pump: PumpId, newest: u32) -> Work<Option<PumpPage>> {
        self.pump_part(pump, 0, newest)
    }

    fn pump_part(&self, pump: PumpId, skip: u32, rows: u32) -> Work<Option<PumpPage>> {
        self.read("reading a pump", move |connection| {
            let name = pump.to_string();
            let total: i64 = connection.query_row("SELECT count(*) FROM entry WHERE pump = ?1", [&name], |row| row.get(0))?;
            (total > 0).then(|| pump_page(connection, &name, total, [skip, rows])).transpose()
        })
    }

    fn entry(&self, id: EntryId) -> Work<Option<EntryFound>> {
        self.read("reading an entry", move |connection| {
            let one = "SELECT pump, doc FROM entry WHERE id = ?1";
            let found: Option<(String, String)> =
                connection.query_row(one, [id.to_string()], |row| Ok((row.get(0)?, row.get(1)?))).optional()?;
            let Some((pump, doc)) = found else { return Ok(None) };
            let amended = amended_of(connection, &pump)?;
            Ok(Some(EntryFound { pump: pump.parse().map_err(|cause| bad_column(0, cause))?, doc, amended }))
        })
    }

    fn entries_wanted(&self, wanted: EntriesWanted) -> Work<Vec<(PumpId, String)>> {
        self.read("searching the entries", move |connection| entries_wanted(connection, wanted))
    }

    fn entries_of(&self, pump: PumpId) -> Work<Vec<String>> {
        self.read("reading a pump's entries", move |connection| {
            let mut docs = connection.prepare_cached("SELECT doc FROM entry WHERE pump = ?1 ORDER BY hlc_ms, hlc_count, device")?;
            docs.query_map([pump.to_string()], |row| row.get(0))?.collect()
        })
    }

    fn holdings(&self) -> Work<Holdings> {
        self.read("counting what is held", holdings)
    }

    fn entry_count(&self, pumps: Option<Vec<PumpId>>) -> Work<u64> {
        self.read("counting entries", move |connection| {
            let Some(pumps) = pumps else {
                return connection.query_row("SELECT count(*) FROM entry", [], |row| row.get(0)).map(to_u64);
            };
            let mut of_one = connection.prepare_cached("SELECT count(*) FROM entry WHERE pump = ?1")?;
            let counts: rusqlite::Result<Vec<u64>> =
                pumps.iter().map(|pump| of_one.query_row([pump.to_string()], |row| row.get(0)).map(to_u64)).collect();
            Ok(counts?.iter().sum())
        })
    }

    fn entries_missing(&self) -> Work<u64> {
        self.read("counting missing entries", |connection| {
            let missing: i64 = connection.query_row(
                "SELECT coalesce(sum(max(gap, 0)), 0) FROM (SELECT max(seq) - count(DISTINCT seq) AS gap FROM entry GROUP BY device)",
                [],
                |row| row.get(0),
            )?;
            Ok(to_u64(missing))
        })
    }

    fn create_upload(&self, new: NewUpload) -> Work<Creation> {
        self.write("making an upload", move |transaction| create_upload(transaction, new))
    }

    fn upload(&self, id: String) -> Work<Option<Upload>> {
        self.read("looking up an upload", move |connection| find_upload(connection, &id))
    }

    fn set_offset(&self, id: String, offset: u64, expires: DateTime<Utc>) -> Work<()> {
        self.write("noting how far an upload is", move |transaction| {
            transaction
                .prepare_cached("UPDATE upload SET offset = ?2, expires_ms = ?3 WHERE id = ?1 AND state = 'open'")?
                .execute(params![id, from_u64(offset), expires.timestamp_millis()])?;
            Ok(())
        })
    }

    fn set_hash(&self, id: String, sha256: Sha256Hex) -> Work<()> {
        self.write("noting a photo's hash", move |transaction| {
            transaction.execute("UPDATE upload SET sha256 = ?2 WHERE id = ?1 AND declared = 0", params![id, sha256.to_string()])?;
            Ok(())
        })
    }

    fn finish_upload(&self, id: String, photo: PhotoRow, now: DateTime<Utc>) -> Work<()> {
        self.write("noting a stored photo", move |transaction| {
            transaction.execute(
                // One that was put away and is sent anew is here again.
                "INSERT INTO photo (sha256, bytes, kind, stored_ms) VALUES (?1, ?2, ?3, ?4)
                 ON CONFLICT (sha256) DO UPDATE SET put_away_ms = NULL, removed_ms = NULL, stored_ms = excluded.stored_ms
                 WHERE put_away_ms IS NOT NULL",
                params![photo.sha256.to_string(), from_u64(photo.bytes), photo.kind.ending(), now.timestamp_millis()],
            )?;
            transaction.execute("UPDATE upload SET state = 'stored', offset = length WHERE id = ?1", [id])?;
            Ok(())
        })
    }

    fn drop_upload(&self, id: String) -> Work<()> {
        self.write("ending an upload", move |transaction| {
            transaction.execute("UPDATE upload SET state = 'gone' WHERE id = ?1", [id])?;
            Ok(())
        })
    }

    fn expired_uploads(&self, now: DateTime<Utc>) -> Work<Vec<String>> {
        self.read("looking for old uploads", move |connection| {
            let mut open = connection.prepare_cached("SELECT id FROM upload WHERE state = 'open' AND expires_ms <= ?1")?;
            open.query_map([now.timestamp_millis()], |row| row.get(0))?.collect()
        })
    }

    fn expire_upload(&self, id: String, now: DateTime<Utc>) -> Work<bool> {
        self.write("giving up an old upload", move |transaction| {
            let sql = "UPDATE upload SET state = 'gone' WHERE id = ?1 AND state = 'open' AND expires_ms <= ?2";
            Ok(transaction.execute(sql, params![id, now.timestamp_millis()])? > 0)
        })
    }

    fn forget_closed_uploads(&self, now: DateTime<Utc>) -> Work<()> {
        self.write("forgetting closed uploads", move |transaction| {
            let sql = "DELETE FROM upload WHERE state <> 'open' AND expires_ms <= ?1";
            transaction.execute(sql, [now.timestamp_millis() - REMEMBER_CLOSED_MS])?;
            Ok(())
        })
    }

    fn photo(&self, sha256: Sha256Hex) -> Work<Option<PhotoRow>> {
        self.read("looking up a photo", move |connection| find_photo(connection, sha256))
    }

    fn photo_is_of(&self, sha256: Sha256Hex, pumps: Vec<PumpId>) -> Work<bool> {
        self.read("looking up whose photo it is", move |connection| {
            let name = sha256.to_string();
            let mut named = connection.prepare_cached("SELECT EXISTS (SELECT 1 FROM entry WHERE pump = ?1 AND instr(doc, ?2))")?;
            for pump in pumps {
                if named.query_row([pump.to_string(), name.clone()], |row| row.get(0))? {
                    return Ok(true);
                }
            }
            Ok(false)
        })
    }

    fn photo_bytes(&self) -> Work<u64> {
        self.read("adding up the photos", |connection| {
            let sum: i64 = connection.query_row(
                "SELECT (SELECT coalesce(sum(bytes), 0) FROM photo WHERE removed_ms IS NULL)
                      + (SELECT coalesce(sum(length), 0) FROM upload WHERE state = 'open')",
                [],
                |row| row.get(0),
            )?;
            Ok(to_u64(sum))
        })
    }

    fn remember(&self, name: &'static str, value: String) -> Work<()> {
        self.write("remembering a fact", move |transaction| {
            transaction.execute(
                "INSERT INTO fact (name, value) VALUES (?1, ?2) ON CONFLICT (name) DO UPDATE SET value = excluded.value",
                params![name, value],
            )?;
            Ok(())
        })
    }

    fn recall(&self, name: &'static str) -> Work<Option<String>> {
        self.read("recalling a fact", move |connection| {
            connection.query_row("SELECT value FROM fact WHERE name = ?1", [name], |row| row.get(0)).optional()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pragmas_are_what_durability_needs() {
        let folder = tempfile::tempdir().unwrap();
        let archive = SqliteArchive::open(folder.path()).unwrap();
        let writer = held(&archive.writer);
        assert_eq!(writer.pragma_query_value(None, "journal_mode", |row| row.get::<_, String>(0)).unwrap(), "wal");
        assert_eq!(writer.pragma_query_value(None, "synchronous", |row| row.get::<_, i64>(0)).unwrap(), 2);
        assert_eq!(writer.pragma_query_value(None, "foreign_keys", |row| row.get::<_, i64>(0)).unwrap(), 1);
    }

    #[test]
    fn archive_of_a_newer_program_is_refused_and_untouched() {
        let folder = tempfile::tempdir().unwrap();
        drop(SqliteArchive::open(folder.path()).unwrap());
        let path = folder.path().join("depot.sqlite");
        Connection::open(&path).unwrap().pragma_update(None, "user_version", 99).unwrap();
        let before = std::fs::read(&path).unwrap();
        assert_eq!(SqliteArchive::open(folder.path()).unwrap_err().code(), "newer_archive");
        assert_eq!(std::fs::read(&path).unwrap(), before);
    }

    #[test]
    fn archive_of_version_1_is_brought_up_to_date_with_all_it_had() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("depot.sqlite");
        let old = Connection::open(&path).unwrap();
        old.execute_batch(STEPS[0]).unwrap();
        old.execute_batch(
            r#"INSERT INTO device (name, token_sha256, enrolled_ms) VALUES ('north', zeroblob(32), 7);
             INSERT INTO entry (id, hash, device, seq, pump, kind, hlc_ms, hlc_count, doc, delivered_by, received_ms)
             VALUES ('e', zeroblob(32), 'd', 1, 'p', 'poured', 5, 0, '{}', 1, 9);
             INSERT INTO entry (id, hash, device, seq, pump, kind, hlc_ms, hlc_count, doc, delivered_by, received_ms)
             VALUES ('f', zeroblob(32), 'd', 2, 'p', 'amended', 6, 0, '{"kind":"amended","body":{"amends":"e","reason":"r"}}', 1, 9),
                    ('g', zeroblob(32), 'd', 3, 'p', 'amended', 7, 0, '{"kind":"amended","body":"of another program"}', 1, 9);
             INSERT INTO photo VALUES (printf('%064d', 0), 3, 'jpg', 9);
             PRAGMA user_version = 1;"#,
        )
        .unwrap();
        drop(old);
        drop(SqliteArchive::open(folder.path()).unwrap());
        let new = Connection::open(&path).unwrap();
        let one = |sql: &str| new.query_row(sql, [], |row| row.get::<_, i64>(0)).unwrap();
        assert_eq!(one("SELECT user_version FROM pragma_user_version"), STEPS.len() as i64);
        assert_eq!(one("SELECT count(*) FROM device WHERE name = 'north' AND enrolled_ms = 7 AND heard_ms IS NULL"), 1);
        assert_eq!(one("SELECT count(*) FROM entry JOIN device ON device.n = delivered_by WHERE received_ms = 9 AND doc = '{}'"), 1);
        assert_eq!(one("SELECT count(*) FROM entry WHERE amends = 'e' AND id = 'f'"), 1);
        assert_eq!(one("SELECT count(*) FROM entry WHERE amends IS NULL"), 2);
        assert_eq!(one("SELECT count(*) FROM photo"), 1);
        // The same shape as one that was made anew.
        let fresh = tempfile::tempdir().unwrap();
        drop(SqliteArchive::open(fresh.path()).unwrap());
        let shape = |path: &Path| -> Vec<String> {
            let connection = Connection::open(path).unwrap();
            let mut sql = connection.prepare("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY name").unwrap();
            sql.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect()
        };
        assert_eq!(shape(&path), shape(&fresh.path().join("depot.sqlite")));
    }

    #[test]
    fn audit_is_only_added_to_until_it_is_old() {
        use super::super::people::People as _;
        let folder = tempfile::tempdir().unwrap();
        let archive = SqliteArchive::open(folder.path()).unwrap();
        let now = DateTime::<Utc>::from(std::time::SystemTime::now());
        let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
        for days in [0, 399, 401] {
            let at = now - chrono::TimeDelta::days(days);
            let deed = Deed { at, by: Actor::Command, what: "device_enrolled", about: None, reached: Reached::ThisMachine };
            runtime.block_on(archive.note(deed)).unwrap();
        }
        let writer = held(&archive.writer);
        for sql in ["UPDATE audit SET what = 'nothing'", "DELETE FROM audit", "DELETE FROM audit WHERE n = 2"] {
            assert!(writer.execute(sql, []).is_err(), "{sql}");
        }
        drop(writer);
        runtime.block_on(archive.forget_old_audit(now)).unwrap();
        let left = runtime.block_on(archive.audit(None, 10)).unwrap();
        assert_eq!(left.iter().map(|row| row.number).collect::<Vec<_>>(), [2, 1]);
    }

    #[test]
    fn file_that_is_no_database_is_refused_and_untouched() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("depot.sqlite");
        std::fs::write(&path, "not a database, but long enough to be looked at as one").unwrap();
        assert_eq!(SqliteArchive::open(folder.path()).unwrap_err().code(), "archive_damaged");
        assert!(std::fs::read_to_string(&path).unwrap().starts_with("not a database"));
    }
}
