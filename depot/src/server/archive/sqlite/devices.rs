//! [`Devices`] in SQLite.

use chrono::{DateTime, Utc};
use gritbook_core::CoreError;
use gritbook_core::ids::Sha256Hex;
use rusqlite::{OptionalExtension as _, Row, Transaction, params};

use super::super::devices::{DeviceStanding, Devices, NewDevice, Shown, no_such_device};
use super::super::people::{Actor, Deed, Reached};
use super::people::write_deed;
use super::{SqliteArchive, Work, hash_column, to_u64};

/// Gaps in the numbers of a phone's entries are laid to the device that delivered its newest one.
const STANDINGS: &str = "
    WITH gap AS (
        SELECT (SELECT delivered_by FROM entry AS newest WHERE newest.device = entry.device ORDER BY seq DESC LIMIT 1) AS device,
               max(max(seq) - count(DISTINCT seq), 0) AS missing
        FROM entry GROUP BY entry.device
    )
    SELECT device.n, name, enrolled_ms, heard_ms, first_use_by_ms, code_tried_ms,
           (SELECT count(*) FROM entry WHERE delivered_by = device.n),
           (SELECT received_ms - hlc_ms FROM entry WHERE delivered_by = device.n ORDER BY entry.n DESC LIMIT 1),
           (SELECT coalesce(sum(missing), 0) FROM gap WHERE gap.device = device.n),
           (SELECT count(*) FROM upload WHERE upload.device = device.n AND state = 'open'),
           (SELECT coalesce(sum(length - offset), 0) FROM upload WHERE upload.device = device.n AND state = 'open')
    FROM device WHERE revoked_ms IS NULL ORDER BY name COLLATE NOCASE, device.n";

fn at(row: &Row<'_>, column: usize) -> rusqlite::Result<Option<DateTime<Utc>>> {
    Ok(row.get::<_, Option<i64>>(column)?.and_then(DateTime::from_timestamp_millis))
}

fn standing(row: &Row<'_>) -> rusqlite::Result<DeviceStanding> {
    Ok(DeviceStanding {
        number: row.get(0)?,
        name: row.get(1)?,
        enrolled: at(row, 2)?.unwrap_or_default(),
        heard: at(row, 3)?,
        first_use_by: at(row, 4)?,
        code_tried: at(row, 5)?,
        entries: to_u64(row.get(6)?),
        lag_ms: row.get(7)?,
        entries_missing: to_u64(row.get(8)?),
        uploads_open: to_u64(row.get(9)?),
        bytes_missing: to_u64(row.get(10)?),
    })
}

/// A device as its code finds it.
struct Coded {
    number: i64,
    name: String,
    token_hash: Sha256Hex,
    used: bool,
    tried: bool,
    shut_out: bool,
    /// Whether it was ever heard, by the token that it was given.
    heard: bool,
    first_use_by_ms: Option<i64>,
}

fn coded(transaction: &Transaction<'_>, code_hash: Sha256Hex) -> rusqlite::Result<Option<Coded>> {
    let sql = "SELECT n, name, token_sha256, code_used_ms IS NOT NULL, code_tried_ms IS NOT NULL, revoked_ms IS NOT NULL,
                      heard_ms IS NOT NULL, first_use_by_ms
               FROM device WHERE code_sha256 = ?1";
    let read = |row: &Row<'_>| {
        Ok(Coded {
            number: row.get(0)?,
            name: row.get(1)?,
            token_hash: hash_column(row, 2)?,
            used: row.get(3)?,
            tried: row.get(4)?,
            shut_out: row.get(5)?,
            heard: row.get(6)?,
            first_use_by_ms: row.get(7)?,
        })
    };
    transaction.query_row(sql, [code_hash.as_bytes()], read).optional()
}

/// What a shown code comes to, and what of it is written down.
fn show(transaction: &Transaction<'_>, code_hash: Sha256Hex, token_hash: Sha256Hex, deed: Deed) -> rusqlite::Result<Shown> {
    let Some(device) = coded(transaction, code_hash)? else { return Ok(Shown::Unknown) };
    let (number, now_ms) = (device.number, deed.at.timestamp_millis());
    let about = Some(format!("device {number}"));
    if device.shut_out {
        return Ok(Shown::ShutOut);
    }
    if device.used && device.token_hash == token_hash {
        return Ok(Shown::In(device.name));
    }
    if device.used || device.heard {
        if !device.tried {
            transaction.execute("UPDATE device SET code_tried_ms = ?2 WHERE n = ?1", [number, now_ms])?;
            write_deed(transaction, &Deed { by: Actor::Nobody, what: "code_tried_again", about, ..deed })?;
        }
        return Ok(Shown::Used);
    }
    if device.first_use_by_ms.is_some_and(|by_ms| by_ms < now_ms) {
        return Ok(Shown::TooLate);
    }
    let taken = transaction.query_row("SELECT 1 FROM device WHERE token_sha256 = ?1", [token_hash.as_bytes()], |_| Ok(())).optional()?;
    if taken.is_some() {
        return Ok(Shown::TokenTaken);
    }
    transaction.execute(
        "UPDATE device SET token_sha256 = ?2, code_used_ms = ?3, heard_ms = ?3 WHERE n = ?1",
        params![number, token_hash.as_bytes(), now_ms],
    )?;
    write_deed(transaction, &Deed { by: Actor::Device(number), what: "device_let_in", about, ..deed })?;
    Ok(Shown::In(device.name))
}

impl Devices for SqliteArchive {
    fn let_in(&self, device: NewDevice, deed: Deed) -> Work<()> {
        let NewDevice { name, token_hash, code_hash, first_use_by } = device;
        let made = self.write("enrolling a device", {
            let name = name.clone();
            move |transaction| {
                // A token that nobody used in time holds its name no longer.
                let now_ms = deed.at.timestamp_millis();
                let spent = "UPDATE device SET revoked_ms = ?2 WHERE name = ?1 AND revoked_ms IS NULL AND heard_ms IS NULL AND first_use_by_ms < ?2";
                transaction.execute(spent, params![name, now_ms])?;
                let taken =
                    transaction.query_row("SELECT 1 FROM device WHERE name = ?1 AND revoked_ms IS NULL", [&name], |_| Ok(())).optional()?;
                if taken.is_some() {
                    return Ok(false);
                }
                transaction.execute(
                    // Without a token of the depot's making there is the hash of none.
                    "INSERT INTO device (name, token_sha256, code_sha256, enrolled_ms, first_use_by_ms)
                     VALUES (?1, coalesce(?2, randomblob(32)), ?3, ?4, ?5)",
                    params![
                        name,
                        token_hash.map(|hash| *hash.as_bytes()),
                        code_hash.map(|hash| *hash.as_bytes()),
                        now_ms,
                        first_use_by.map(|at| at.timestamp_millis())
                    ],
                )?;
                let about = Some(format!("device {}", transaction.last_insert_rowid()));
                write_deed(transaction, &Deed { about, ..deed })?;
                Ok(true)
            }
        });
        Box::pin(async move {
            if made.await? {
                return Ok(());
            }
            Err(CoreError::refused(
                "name_taken",
                format!("a device called `{name}` is enrolled already"),
                "choose another name, or take that one away first with --revoke",
            ))
        })
    }

    fn show_code(&self, code_hash: Sha256Hex, token_hash: Sha256Hex, now: DateTime<Utc>, reached: Reached) -> Work<Shown> {
        let deed = Deed { at: now, by: Actor::Nobody, what: "code_tried_again", about: None, reached };
        self.write("taking a device's code", move |transaction| show(transaction, code_hash, token_hash, deed))
    }

    fn shut_out(&self, name: String, deed: Deed) -> Work<()> {
        let changed = self.write("shutting a device out", {
            let name = name.clone();
            move |transaction| {
                let found = "SELECT n FROM device WHERE name = ?1 AND revoked_ms IS NULL";
                let Some(number) = transaction.query_row(found, [&name], |row| row.get::<_, i64>(0)).optional()? else { return Ok(false) };
                transaction.execute("UPDATE device SET revoked_ms = ?2 WHERE n = ?1", [number, deed.at.timestamp_millis()])?;
                write_deed(transaction, &Deed { about: Some(format!("device {number}")), ..deed })?;
                Ok(true)
            }
        });
        Box::pin(async move {
            if changed.await? {
                return Ok(());
            }
            Err(no_such_device(&name))
        })
    }

    fn heard(&self, number: i64, now: DateTime<Utc>) -> Work<()> {
        self.write("noting that a device asked", move |transaction| {
            transaction.execute("UPDATE device SET heard_ms = ?2 WHERE n = ?1", [number, now.timestamp_millis()])?;
            Ok(())
        })
    }

    fn standings(&self) -> Work<Vec<DeviceStanding>> {
        self.read("reading the devices", |connection| {
            let mut statement = connection.prepare_cached(STANDINGS)?;
            statement.query_map([], standing)?.collect()
        })
    }
}
