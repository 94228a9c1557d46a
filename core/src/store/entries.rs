//! The record's rows: append and read, never change.

use rusqlite::{Connection, OptionalExtension as _, Row, Transaction, params, params_from_iter};

use super::fault::Tried as _;
use super::pumps;
use crate::error::CoreError;
use crate::ids::{DeviceId, EntryId, PhotoId, PumpId, Sha256Hex};
use crate::model::entry::{EntryBody, SealedEntry};

const TRIED: &str = "reading the record";

/// Appends an entry, the photos it names and what it says about its pump. Returns its row.
pub(crate) fn append(transaction: &Transaction<'_>, sealed: &SealedEntry) -> Result<i64, CoreError> {
    let tried = "saving the entry";
    let head = &sealed.entry.head;
    let amends = match &sealed.entry.body {
        EntryBody::Amended(amended) => Some(amended.amends.to_string()),
        _ => None,
    };
    transaction
        .prepare_cached(
            "INSERT INTO entry (id, device, seq, at_ms, hlc_ms, hlc_count, pump, kind, amends, hash, doc)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
        )
        .tried(tried)?
        .execute(params![
            head.id.to_string(),
            head.device.to_string(),
            i64::try_from(head.seq).unwrap_or(i64::MAX),
            head.at.timestamp_millis(),
            head.hlc.ms,
            head.hlc.count,
            head.pump.to_string(),
            sealed.entry.body.kind(),
            amends,
            sealed.hash.to_string(),
            sealed.doc,
        ])
        .tried(tried)?;
    let row = transaction.last_insert_rowid();
    for (place, photo) in sealed.entry.body.photos().iter().enumerate() {
        transaction
            .prepare_cached("INSERT INTO entry_photo (entry, place, photo) VALUES (?1, ?2, ?3)")
            .tried(tried)?
            .execute(params![row, i64::try_from(place).unwrap_or(i64::MAX), photo.to_string()])
            .tried(tried)?;
    }
    let spec = match &sealed.entry.body {
        EntryBody::PumpSet(spec) => Some(spec),
        EntryBody::Amended(amended) => match amended.instead.as_deref() {
            Some(EntryBody::PumpSet(spec)) => Some(spec),
            _ => None,
        },
        _ => None,
    };
    if let Some(spec) = spec {
        pumps::set(transaction, head.pump, spec, head.hlc, row)?;
    }
    Ok(row)
}

fn docs(connection: &Connection, sql: &str, values: &[String]) -> Result<Vec<SealedEntry>, CoreError> {
    let mut statement = connection.prepare_cached(sql).tried(TRIED)?;
    let found = statement
        .query_map(params_from_iter(values), |row: &Row<'_>| row.get::<_, String>(0))
        .tried(TRIED)?
        .collect::<Result<Vec<_>, _>>()
        .tried(TRIED)?;
    found.into_iter().map(SealedEntry::from_text).collect()
}

/// All entries in the record's order: hybrid time, then device.
pub(crate) fn all(connection: &Connection) -> Result<Vec<SealedEntry>, CoreError> {
    docs(connection, "SELECT doc FROM entry ORDER BY hlc_ms, hlc_count, device, seq", &[])
}

/// The newest entries, newest first; of one pump where given.
pub(crate) fn newest(connection: &Connection, pump: Option<PumpId>, limit: u32) -> Result<Vec<SealedEntry>, CoreError> {
    let limit = limit.to_string();
    match pump {
        Some(pump) => docs(
            connection,
            "SELECT doc FROM entry WHERE pump = ?1 ORDER BY hlc_ms DESC, hlc_count DESC, device DESC LIMIT CAST(?2 AS INTEGER)",
            &[pump.to_string(), limit],
        ),
        None => {
            docs(connection, "SELECT doc FROM entry ORDER BY hlc_ms DESC, hlc_count DESC, device DESC LIMIT CAST(?1 AS INTEGER)", &[limit])
        }
    }
}

/// Walks a pump's entries newest first, of one kind where given, until `take` has what it wants.
pub(crate) fn walk_back<T>(
    connection: &Connection,
    pump: PumpId,
    kind: Option<&str>,
    mut take: impl FnMut(SealedEntry) -> Option<T>,
) -> Result<Option<T>, CoreError> {
    // Two statements, so that each has its index and nothing is sorted: a pump's readings may be 100 kB each.
    let sql = match kind {
        Some(_) => "SELECT doc FROM entry WHERE pump = ?1 AND kind = ?2 ORDER BY hlc_ms DESC, hlc_count DESC",
        None => "SELECT doc FROM entry WHERE pump = ?1 AND ?2 = '' ORDER BY hlc_ms DESC, hlc_count DESC, device DESC",
    };
    let mut statement = connection.prepare_cached(sql).tried(TRIED)?;
    let mut rows = statement.query(params![pump.to_string(), kind.unwrap_or_default()]).tried(TRIED)?;
    while let Some(row) = rows.next().tried(TRIED)? {
        let doc = row.get::<_, String>(0).tried(TRIED)?;
        if let Some(found) = take(SealedEntry::from_text(doc)?) {
            return Ok(Some(found));
        }
    }
    Ok(None)
}

/// A pump's entries of some kinds in the record's order.
pub(crate) fn of_pump(connection: &Connection, pump: PumpId, kinds: &[&str]) -> Result<Vec<SealedEntry>, CoreError> {
    let marks = vec!["?"; kinds.len()].join(", ");
    let sql = format!("SELECT doc FROM entry WHERE pump = ? AND kind IN ({marks}) ORDER BY hlc_ms, hlc_count, device, seq");
    let mut values = vec![pump.to_string()];
    values.extend(kinds.iter().map(ToString::to_string));
    docs(connection, &sql, &values)
}

/// One entry.
pub(crate) fn by_id(connection: &Connection, id: EntryId) -> Result<Option<SealedEntry>, CoreError> {
    Ok(docs(connection, "SELECT doc FROM entry WHERE id = ?1", &[id.to_string()])?.pop())
}

/// The hash of an entry that is here.
pub(crate) fn hash_of(connection: &Connection, id: EntryId) -> Result<Option<Sha256Hex>, CoreError> {
    let hash: Option<String> = connection
        .prepare_cached("SELECT hash FROM entry WHERE id = ?1")
        .tried(TRIED)?
        .query_row([id.to_string()], |row| row.get(0))
        .optional()
        .tried(TRIED)?;
    hash.map(|hash| hash.parse()).transpose()
}

/// The devices whose entries are here.
pub(crate) fn devices(connection: &Connection) -> Result<Vec<DeviceId>, CoreError> {
    let mut statement = connection.prepare("SELECT DISTINCT device FROM entry ORDER BY device").tried(TRIED)?;
    let found = statement.query_map([], |row| row.get::<_, String>(0)).tried(TRIED)?.collect::<Result<Vec<_>, _>>().tried(TRIED)?;
    found.iter().map(|device| device.parse()).collect()
}

/// A row as stored, for the walk along a chain: number, stored hash, text.
pub(crate) struct StoredLink {
    pub(crate) id: String,
    pub(crate) seq: u64,
    pub(crate) hash: String,
    pub(crate) doc: String,
}

/// A device's rows by number, exactly as stored.
pub(crate) fn links(connection: &Connection, device: DeviceId) -> Result<Vec<StoredLink>, CoreError> {
    let mut statement = connection.prepare("SELECT id, seq, hash, doc FROM entry WHERE device = ?1 ORDER BY seq, arrival").tried(TRIED)?;
    statement
        .query_map([device.to_string()], |row| {
            Ok(StoredLink { id: row.get(0)?, seq: row.get::<_, i64>(1)?.unsigned_abs(), hash: row.get(2)?, doc: row.get(3)? })
        })
        .tried(TRIED)?
        .collect::<Result<Vec<_>, _>>()
        .tried(TRIED)
}

/// Photos that entries name, and whether an entry of `own` names it.
pub(crate) fn named_photos(connection: &Connection, own: DeviceId) -> Result<Vec<(PhotoId, bool)>, CoreError> {
    let mut statement = connection
        .prepare(
            "SELECT entry_photo.photo, max(entry.device = ?1) FROM entry_photo JOIN entry ON entry.arrival = entry_photo.entry
             GROUP BY entry_photo.photo ORDER BY entry_photo.photo",
        )
        .tried(TRIED)?;
    let found = statement
        .query_map([own.to_string()], |row| Ok((row.get::<_, String>(0)?, row.get::<_, bool>(1)?)))
        .tried(TRIED)?
        .collect::<Result<Vec<_>, _>>()
        .tried(TRIED)?;
    found.into_iter().map(|(photo, ours)| Ok((photo.parse()?, ours))).collect()
}

#[cfg(test)]
mod tests {
    use super::super::Store;
    use super::*;
    use chrono::DateTime;

    #[test]
    fn entries_cannot_be_changed_deleted_or_replaced_even_by_hand() {
        let folder = tempfile::tempdir().unwrap();
        let now = DateTime::parse_from_rfc3339("2026-03-02T07:15:00Z").unwrap();
        let (mut store, _) = Store::open(folder.path(), now).unwrap();
        let insert = "INTO entry (id, device, seq, at_ms, hlc_ms, hlc_count, pump, kind, hash, doc)
                      VALUES ('e', 'd', 1, 0, 0, 0, 'p', 'poured', 'h', '{}')";
        let mut run = |sql: String| store.write("test", |transaction| transaction.execute(&sql, []).tried("test"));
        run(format!("INSERT {insert}")).unwrap();
        for sql in ["UPDATE entry SET doc = '[]'".to_owned(), "DELETE FROM entry".to_owned(), format!("INSERT OR REPLACE {insert}")] {
            let error = run(sql.clone()).unwrap_err();
            assert!(error.to_string().contains("append-only"), "{sql}: {error}");
        }
        let kept: String = store.read(|c| c.query_row("SELECT doc FROM entry", [], |row| row.get(0)).tried("test")).unwrap();
        assert_eq!(kept, "{}");
    }

    #[test]
    fn newest_entries_of_a_pump_are_found_without_sorting() {
        let folder = tempfile::tempdir().unwrap();
        let now = DateTime::parse_from_rfc3339("2026-03-02T07:15:00Z").unwrap();
        let (store, _) = Store::open(folder.path(), now).unwrap();
        for sql in [
            "SELECT doc FROM entry WHERE pump = 'p' AND kind = 'box_check' ORDER BY hlc_ms DESC, hlc_count DESC",
            "SELECT doc FROM entry WHERE pump = 'p' AND '' = '' ORDER BY hlc_ms DESC, hlc_count DESC, device DESC",
            "SELECT doc FROM entry ORDER BY hlc_ms DESC, hlc_count DESC, device DESC LIMIT 20",
        ] {
            let plan: Vec<String> = store
                .read(|connection| {
                    let mut statement = connection.prepare(&format!("EXPLAIN QUERY PLAN {sql}")).tried("test")?;
                    let rows = statement.query_map([], |row| row.get(3)).tried("test")?;
                    rows.collect::<Result<_, _>>().tried("test")
                })
                .unwrap();
            assert!(plan.iter().all(|step| !step.contains("TEMP B-TREE")), "{sql}: {plan:?}");
        }
    }
}
