//! The outbox's rows.

use rusqlite::{Connection, OptionalExtension as _, Row, Transaction, params};
use uuid::Uuid;

use super::fault::Tried as _;
use super::photos::{DurablePhoto, PhotoFormat};
use crate::error::{CoreError, ErrorKind};
use crate::ids::{EntryId, PhotoId, Sha256Hex};
use crate::model::outgoing::{QueuePause, QueueState, QueuedItem, QueuedThing, Trouble};

const READING: &str = "reading the outbox";
const WRITING: &str = "writing the outbox";

/// Queues a photo, unless the depot has it. One that was dropped and is named anew goes after all.
pub(crate) fn add_photo(transaction: &Transaction<'_>, photo: &PhotoId, upload_id: Uuid, now_ms: i64) -> Result<(), CoreError> {
    let hash = photo.to_string();
    transaction
        .execute(
            "INSERT INTO outbox (photo, upload_id, created_ms) SELECT ?1, ?2, ?3
             WHERE NOT EXISTS (SELECT 1 FROM photo_at_depot WHERE photo = ?1) ON CONFLICT DO NOTHING",
            params![hash, upload_id.to_string(), now_ms],
        )
        .tried(WRITING)?;
    transaction
        .execute("UPDATE outbox SET state = 'waiting', redos = 0 WHERE photo = ?1 AND state = 'dropped'", params![hash])
        .tried(WRITING)?;
    Ok(())
}

/// Queues an entry.
pub(crate) fn add_entry(transaction: &Transaction<'_>, row: i64, now_ms: i64) -> Result<(), CoreError> {
    transaction.execute("INSERT INTO outbox (entry, created_ms) VALUES (?1, ?2)", params![row, now_ms]).tried(WRITING)?;
    Ok(())
}

/// An entry at the head of the queue.
pub(crate) struct WaitingEntry {
    pub(crate) item: i64,
    pub(crate) id: EntryId,
    pub(crate) hash: Sha256Hex,
    pub(crate) doc: String,
    /// A photo that it names is still waiting.
    pub(crate) behind_photo: bool,
}

/// The first waiting entries in the order they were made.
pub(crate) fn waiting_entries(connection: &Connection, limit: usize) -> Result<Vec<WaitingEntry>, CoreError> {
    let mut statement = connection
        .prepare_cached(
            "SELECT outbox.item, entry.id, entry.hash, entry.doc, EXISTS (
                 SELECT 1 FROM entry_photo JOIN outbox AS before ON before.photo = entry_photo.photo
                 WHERE entry_photo.entry = entry.arrival AND before.state = 'waiting')
             FROM outbox JOIN entry ON entry.arrival = outbox.entry
             WHERE outbox.state = 'waiting' ORDER BY outbox.item LIMIT ?1",
        )
        .tried(READING)?;
    let found = statement
        .query_map([i64::try_from(limit).unwrap_or(i64::MAX)], |row| {
            Ok((row.get(0)?, row.get::<_, String>(1)?, row.get::<_, String>(2)?, row.get(3)?, row.get(4)?))
        })
        .tried(READING)?
        .collect::<Result<Vec<_>, _>>()
        .tried(READING)?;
    found
        .into_iter()
        .map(|(item, id, hash, doc, behind_photo)| Ok(WaitingEntry { item, id: id.parse()?, hash: hash.parse()?, doc, behind_photo }))
        .collect()
}

/// A queued photo with all that is known of its upload.
#[derive(Debug, Clone)]
pub(crate) struct WaitingPhoto {
    pub(crate) item: i64,
    pub(crate) photo: DurablePhoto,
    pub(crate) upload_id: String,
    pub(crate) upload_path: Option<String>,
    pub(crate) sent_bytes: Option<u64>,
    pub(crate) redos: u32,
    /// Requests made for it so far.
    pub(crate) attempts: u32,
}

type PhotoColumns = (i64, String, String, i64, String, Option<String>, Option<i64>, u32, u32);

const PHOTO_COLUMNS: &str = "SELECT outbox.item, photo.hash, photo.format, photo.bytes, outbox.upload_id, outbox.upload_path,
                                    outbox.sent_bytes, outbox.redos, outbox.attempts
                             FROM outbox JOIN photo ON photo.hash = outbox.photo";

fn photo_columns(row: &Row<'_>) -> Result<PhotoColumns, rusqlite::Error> {
    Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?, row.get(4)?, row.get(5)?, row.get(6)?, row.get(7)?, row.get(8)?))
}

fn waiting_photo(columns: Option<PhotoColumns>) -> Result<Option<WaitingPhoto>, CoreError> {
    let Some((item, hash, format, bytes, upload_id, upload_path, sent, redos, attempts)) = columns else { return Ok(None) };
    let photo = DurablePhoto { id: hash.parse()?, format: PhotoFormat::from_column(&format), bytes: bytes.unsigned_abs() };
    Ok(Some(WaitingPhoto { item, photo, upload_id, upload_path, sent_bytes: sent.map(i64::unsigned_abs), redos, attempts }))
}

/// The first waiting photo.
pub(crate) fn first_photo(connection: &Connection) -> Result<Option<WaitingPhoto>, CoreError> {
    let sql = format!("{PHOTO_COLUMNS} WHERE outbox.state = 'waiting' ORDER BY outbox.item LIMIT 1");
    waiting_photo(connection.prepare_cached(&sql).tried(READING)?.query_row([], photo_columns).optional().tried(READING)?)
}

/// One queued photo that still waits.
pub(crate) fn photo(connection: &Connection, item: i64) -> Result<Option<WaitingPhoto>, CoreError> {
    let sql = format!("{PHOTO_COLUMNS} WHERE outbox.state = 'waiting' AND outbox.item = ?1");
    waiting_photo(connection.prepare_cached(&sql).tried(READING)?.query_row([item], photo_columns).optional().tried(READING)?)
}

/// Notes how far a photo's upload is. `moved` tells whether the answer brought it further.
pub(crate) fn set_upload(
    transaction: &Transaction<'_>,
    item: i64,
    path: Option<&str>,
    sent: Option<u64>,
    moved: bool,
) -> Result<(), CoreError> {
    transaction
        .execute(
            "UPDATE outbox SET upload_path = ?2, sent_bytes = ?3, redos = CASE WHEN ?4 THEN 0 ELSE redos + 1 END WHERE item = ?1",
            params![item, path, sent.map(|sent| i64::try_from(sent).unwrap_or(i64::MAX)), moved],
        )
        .tried(WRITING)?;
    Ok(())
}

/// Gives a photo a new upload: the old one is not to be continued.
pub(crate) fn new_upload(transaction: &Transaction<'_>, item: i64, upload_id: Uuid) -> Result<(), CoreError> {
    transaction
        .execute(
            "UPDATE outbox SET upload_id = ?2, upload_path = NULL, sent_bytes = NULL, redos = redos + 1 WHERE item = ?1",
            params![item, upload_id.to_string()],
        )
        .tried(WRITING)?;
    Ok(())
}

/// Forgets how much of a photo was sent, after no answer came.
pub(crate) fn forget_offset(transaction: &Transaction<'_>, item: i64) -> Result<(), CoreError> {
    transaction.execute("UPDATE outbox SET sent_bytes = NULL WHERE item = ?1", [item]).tried(WRITING)?;
    Ok(())
}

/// Counts an attempt.
pub(crate) fn count_attempt(transaction: &Transaction<'_>, item: i64) -> Result<(), CoreError> {
    transaction.execute("UPDATE outbox SET attempts = attempts + 1 WHERE item = ?1", [item]).tried(WRITING)?;
    Ok(())
}

/// The depot has it: the row goes, and a photo is known to be there.
pub(crate) fn acknowledge(transaction: &Transaction<'_>, item: i64, now_ms: i64) -> Result<(), CoreError> {
    transaction
        .execute(
            "INSERT INTO photo_at_depot (photo, since_ms) SELECT photo, ?2 FROM outbox WHERE item = ?1 AND photo IS NOT NULL
             ON CONFLICT DO NOTHING",
            params![item, now_ms],
        )
        .tried(WRITING)?;
    transaction.execute("DELETE FROM outbox WHERE item = ?1", [item]).tried(WRITING)?;
    Ok(())
}

/// Parks an item with its reason.
pub(crate) fn park(transaction: &Transaction<'_>, item: i64, trouble: &Trouble) -> Result<(), CoreError> {
    transaction
        .execute(
            "UPDATE outbox SET state = 'parked', code = ?2, reason = ?3, advice = ?4 WHERE item = ?1 AND state = 'waiting'",
            params![item, trouble.code, trouble.reason, trouble.advice],
        )
        .tried(WRITING)?;
    Ok(())
}

/// A person's wish: `from` one of some states `to` another.
pub(crate) fn set_state(transaction: &Transaction<'_>, item: i64, to: QueueState) -> Result<(), CoreError> {
    let changed = match to {
        // A retried photo begins a new upload: the old one may be what the depot refused.
        QueueState::Waiting => transaction
            .execute(
                "UPDATE outbox SET state = 'waiting', redos = 0, upload_path = NULL, sent_bytes = NULL, code = NULL, reason = NULL,
                     advice = NULL WHERE item = ?1",
                [item],
            )
            .tried(WRITING)?,
        QueueState::Dropped => transaction.execute("UPDATE outbox SET state = 'dropped' WHERE item = ?1", [item]).tried(WRITING)?,
        QueueState::Parked => 0,
    };
    if changed == 0 {
        return Err(CoreError::new(
            ErrorKind::NotFound,
            "no_such_item",
            format!("the outbox has no item {item}"),
            "list the outbox: the item may have gone to the depot in the meantime",
        ));
    }
    Ok(())
}

/// All rows, in the order they go.
pub(crate) fn list(connection: &Connection) -> Result<Vec<QueuedItem>, CoreError> {
    let mut statement = connection
        .prepare(
            "SELECT outbox.item, entry.id, outbox.photo, coalesce(photo.bytes, 0), outbox.sent_bytes, outbox.state, outbox.created_ms,
                    outbox.attempts, outbox.code, outbox.reason, outbox.advice
             FROM outbox LEFT JOIN entry ON entry.arrival = outbox.entry LEFT JOIN photo ON photo.hash = outbox.photo
             ORDER BY outbox.item",
        )
        .tried(READING)?;
    let mut rows = statement.query([]).tried(READING)?;
    let mut items = Vec::new();
    while let Some(row) = rows.next().tried(READING)? {
        items.push(queued_item(row)?);
    }
    Ok(items)
}

fn queued_item(row: &Row<'_>) -> Result<QueuedItem, CoreError> {
    let entry: Option<String> = row.get(1).tried(READING)?;
    let thing = match entry {
        Some(id) => QueuedThing::Entry { id: id.parse()? },
        None => QueuedThing::Photo {
            id: row.get::<_, String>(2).tried(READING)?.parse()?,
            bytes: row.get::<_, i64>(3).tried(READING)?.unsigned_abs(),
            sent_bytes: row.get::<_, Option<i64>>(4).tried(READING)?.map(i64::unsigned_abs),
        },
    };
    let state = match row.get::<_, String>(5).tried(READING)?.as_str() {
        "parked" => QueueState::Parked,
        "dropped" => QueueState::Dropped,
        _ => QueueState::Waiting,
    };
    let code: Option<String> = row.get(8).tried(READING)?;
    let trouble = match code {
        Some(code) => Some(Trouble {
            code,
            reason: row.get::<_, Option<String>>(9).tried(READING)?.unwrap_or_default(),
            advice: row.get::<_, Option<String>>(10).tried(READING)?.unwrap_or_default(),
        }),
        None => None,
    };
    Ok(QueuedItem {
        item: row.get(0).tried(READING)?,
        thing,
        state,
        created_ms: row.get(6).tried(READING)?,
        attempts: row.get(7).tried(READING)?,
        trouble,
    })
}

/// The queue's pause.
pub(crate) fn pause(connection: &Connection) -> Result<Option<QueuePause>, CoreError> {
    connection
        .query_row("SELECT failures, since_ms, until_ms, code, reason FROM pause", [], |row| {
            Ok(QueuePause { failures: row.get(0)?, since_ms: row.get(1)?, until_ms: row.get(2)?, code: row.get(3)?, reason: row.get(4)? })
        })
        .optional()
        .tried(READING)
}

/// Sets or ends the queue's pause.
pub(crate) fn set_pause(transaction: &Transaction<'_>, pause: Option<&QueuePause>) -> Result<(), CoreError> {
    match pause {
        Some(pause) => transaction
            .execute(
                "INSERT INTO pause (only_one, failures, since_ms, until_ms, code, reason) VALUES (1, ?1, ?2, ?3, ?4, ?5)
                 ON CONFLICT (only_one) DO UPDATE SET failures = excluded.failures, since_ms = excluded.since_ms,
                     until_ms = excluded.until_ms, code = excluded.code, reason = excluded.reason",
                params![pause.failures, pause.since_ms, pause.until_ms, pause.code, pause.reason],
            )
            .tried(WRITING)?,
        None => transaction.execute("DELETE FROM pause", []).tried(WRITING)?,
    };
    Ok(())
}

/// How many entries of a pump the depot does not have yet, parked ones included.
pub(crate) fn waiting_of_pump(connection: &Connection, pump: &str) -> Result<u64, CoreError> {
    connection
        .query_row(
            "SELECT count(*) FROM outbox JOIN entry ON entry.arrival = outbox.entry WHERE entry.pump = ?1 AND outbox.state <> 'dropped'",
            [pump],
            |row| row.get::<_, i64>(0),
        )
        .map(i64::unsigned_abs)
        .tried(READING)
}
