//! Rows of entries: taking a sealed text in, and finding it again.

use gritbook_core::ids::{EntryId, PumpId, Sha256Hex};
use gritbook_core::model::entry::{ENTRY_SCHEMA, EntryHead};
use gritbook_core::wire::v1::{Verdict, VerdictOutcome};
use rusqlite::{Connection, OptionalExtension as _, Transaction, params};

use super::super::{EntriesWanted, EntryPage, PumpPage};
use super::{bad_column, hash_column, to_u64};

/// What the depot must be able to read of an entry; the rest of the text is kept as it came.
#[derive(serde::Deserialize)]
struct Marked {
    schema: String,
}

#[derive(serde::Deserialize)]
struct Kind {
    kind: String,
}

/// What an amendment speaks of.
#[derive(serde::Deserialize)]
struct Amending {
    body: Amends,
}

#[derive(serde::Deserialize)]
struct Amends {
    amends: EntryId,
}

/// The entry that an amendment speaks of; none where it cannot be read, which is no reason to refuse it.
fn amends(text: &str) -> Option<EntryId> {
    Some(serde_json::from_str::<Amending>(text).ok()?.body.amends)
}

/// The head and kind of a sealed text, or why it is refused.
fn read_entry(text: &str) -> Result<(EntryHead, String), (Option<EntryId>, VerdictOutcome)> {
    let refused = |code: &str, reason: String, advice: &str| VerdictOutcome::Refused { code: code.into(), reason, advice: advice.into() };
    let value: serde_json::Value = serde_json::from_str(text).map_err(|cause| {
        (
            None,
            refused(
                "unreadable",
                format!("the entry is not JSON that can be read: {cause}"),
                "keep it on the device and report it with this message",
            ),
        )
    })?;
    let id = value.get("id").and_then(|id| id.as_str()).and_then(|id| id.parse().ok());
    let unreadable = |cause: serde_json::Error| {
        (id, refused("unreadable", format!("the entry cannot be read: {cause}"), "keep it on the device and report it with this message"))
    };
    let marked = serde_json::from_str::<Marked>(text).map_err(unreadable)?;
    if marked.schema != ENTRY_SCHEMA {
        return Err((
            id,
            refused(
                "wrong_schema",
                format!(
                    "the entry has the schema `{}`, this depot takes `{ENTRY_SCHEMA}`",
                    marked.schema.chars().take(60).collect::<String>()
                ),
                "update the depot if the device is newer, the device if it is older; then send it again",
            ),
        ));
    }
    let head = serde_json::from_str::<EntryHead>(text).map_err(unreadable)?;
    let kind = serde_json::from_str::<Kind>(text).map_err(unreadable)?.kind;
    if i64::try_from(head.seq).is_err() {
        return Err((id, refused("unreadable", format!("the entry's number {} is too large", head.seq), "report it")));
    }
    Ok((head, kind))
}

pub(super) fn store_one(transaction: &Transaction<'_>, text: &str, delivered_by: i64, now_ms: i64) -> rusqlite::Result<Verdict> {
    let hash = Sha256Hex::of(text.as_bytes());
    let (head, kind) = match read_entry(text) {
        Ok(read) => read,
        Err((id, outcome)) => return Ok(Verdict { id, hash, outcome }),
    };
    let id = head.id;
    let there = transaction
        .prepare_cached("SELECT hash FROM entry WHERE id = ?1")?
        .query_row([id.to_string()], |row| hash_column(row, 0))
        .optional()?;
    let outcome = match there {
        Some(same) if same == hash => VerdictOutcome::AlreadyThere,
        Some(_) => VerdictOutcome::Refused {
            code: "id_taken".into(),
            reason: "an entry with this id and another text is here already".into(),
            advice: "entries are never changed: write an amendment instead".into(),
        },
        None => {
            transaction
                .prepare_cached(
                    "INSERT INTO entry (id, hash, device, seq, pump, kind, hlc_ms, hlc_count, doc, delivered_by, received_ms, amends)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)",
                )?
                .execute(params![
                    id.to_string(),
                    hash.as_bytes(),
                    head.device.to_string(),
                    i64::try_from(head.seq).unwrap_or(i64::MAX), // checked in read_entry
                    head.pump.to_string(),
                    kind,
                    head.hlc.ms,
                    head.hlc.count,
                    text,
                    delivered_by,
                    now_ms,
                    if kind == "amended" { amends(text).map(|id| id.to_string()) } else { None },
                ])?;
            VerdictOutcome::Stored
        }
    };
    Ok(Verdict { id: Some(id), hash, outcome })
}

pub(super) fn pump_pages(connection: &Connection, newest: u32) -> rusqlite::Result<Vec<PumpPage>> {
    let mut pumps = connection.prepare_cached("SELECT pump, count(*) FROM entry GROUP BY pump ORDER BY max(hlc_ms) DESC, pump")?;
    let found: Vec<(String, i64)> = pumps.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?.collect::<Result<_, _>>()?;
    found.into_iter().map(|(name, total)| pump_page(connection, &name, total, [0, newest])).collect()
}

pub(super) fn pump_page(connection: &Connection, name: &str, total: i64, [skip, newest]: [u32; 2]) -> rusqlite::Result<PumpPage> {
    let mut docs = connection
        .prepare_cached("SELECT doc FROM entry WHERE pump = ?1 ORDER BY hlc_ms DESC, hlc_count DESC, device DESC LIMIT ?2 OFFSET ?3")?;
    let mut set = connection.prepare_cached(
        "SELECT doc FROM entry WHERE pump = ?1 AND kind = 'pump_set' ORDER BY hlc_ms DESC, hlc_count DESC, device DESC LIMIT 1",
    )?;
    Ok(PumpPage {
        pump: name.parse().map_err(|cause| bad_column(0, cause))?,
        set: set.query_row([name], |row| row.get(0)).optional()?,
        newest: docs.query_map(params![name, newest, skip], |row| row.get(0))?.collect::<Result<_, _>>()?,
        total: to_u64(total),
        // Of interest beside entries alone.
        amended: if newest == 0 { Vec::new() } else { amended_of(connection, name)? },
    })
}

/// Ids that entries of this pump amend.
pub(super) fn amended_of(connection: &Connection, pump: &str) -> rusqlite::Result<Vec<EntryId>> {
    let mut amended = connection.prepare_cached("SELECT amends FROM entry WHERE pump = ?1 AND amends IS NOT NULL")?;
    let ids = amended.query_map([pump], |row| row.get::<_, String>(0))?;
    Ok(ids.filter_map(|id| id.ok()?.parse().ok()).collect())
}

/// Entries in the order they came, after one of them.
pub(super) fn entries_after(connection: &Connection, after: i64, limit: u32, max_bytes: usize) -> rusqlite::Result<EntryPage> {
    let mut page = EntryPage { docs: Vec::new(), last: after, more: false };
    let mut bytes = 0;
    let mut statement = connection.prepare_cached("SELECT n, doc FROM entry WHERE n > ?1 ORDER BY n LIMIT ?2")?;
    let mut rows = statement.query(params![after, i64::from(limit) + 1])?;
    while let Some(row) = rows.next()? {
        let doc: String = row.get(1)?;
        bytes += doc.len();
        let full = page.docs.len() >= limit as usize || (bytes > max_bytes && !page.docs.is_empty());
        if full {
            page.more = true;
            break;
        }
        page.last = row.get(0)?;
        page.docs.push(doc);
    }
    Ok(page)
}

/// Entries of some pumps, newest first.
pub(super) fn entries_wanted(connection: &Connection, wanted: EntriesWanted) -> rusqlite::Result<Vec<(PumpId, String)>> {
    // Keys first, from an index alone; two statements, so that each has its own. A record may be 100 kB, and most are not shown.
    let within = "hlc_ms >= ?2 AND hlc_ms < ?3 ORDER BY hlc_ms DESC, hlc_count DESC LIMIT ?4";
    let sql = match wanted.kind {
        Some(_) => format!("SELECT hlc_ms, hlc_count, n FROM entry WHERE pump = ?1 AND kind = ?5 AND {within}"),
        None => format!("SELECT hlc_ms, hlc_count, n FROM entry WHERE pump = ?1 AND ?5 IS NULL AND {within}"),
    };
    let mut of_pump = connection.prepare_cached(&sql)?;
    let mut found: Vec<(i64, i64, PumpId, i64)> = Vec::new();
    let mut from_ms = wanted.from_ms;
    for pump in wanted.pumps {
        let asked = params![pump.to_string(), from_ms, wanted.to_ms, wanted.limit, wanted.kind];
        for row in of_pump.query_map(asked, |row| Ok((row.get(0)?, row.get(1)?, pump, row.get(2)?)))? {
            found.push(row?);
        }
        // No more than the newest of all pumps so far are kept, and older ones are not looked for any more.
        found.sort_by_key(|one| std::cmp::Reverse((one.0, one.1)));
        found.truncate(wanted.limit as usize);
        if found.len() == wanted.limit as usize {
            from_ms = found.last().map_or(from_ms, |last| last.0);
        }
    }
    let mut doc = connection.prepare_cached("SELECT doc FROM entry WHERE n = ?1")?;
    found.into_iter().map(|(_, _, pump, n)| Ok((pump, doc.query_row([n], |row| row.get(0))?))).collect()
}
