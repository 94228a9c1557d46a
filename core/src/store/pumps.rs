//! What the entries say about each pump now: the last writer by hybrid time.

use rusqlite::{Connection, OptionalExtension as _, Transaction, params};

use super::fault::Tried as _;
use crate::error::{CoreError, ErrorKind};
use crate::ids::PumpId;
use crate::model::entry::HybridTime;
use crate::model::pump::PumpSpec;

const TRIED: &str = "reading the pumps";

/// Takes over what an entry says, unless a later one has spoken; of two in the same moment the device decides, as in the record's
/// order, so that all devices hold the same whatever came to them first.
pub(crate) fn set(transaction: &Transaction<'_>, id: PumpId, spec: &PumpSpec, hlc: HybridTime, entry: i64) -> Result<(), CoreError> {
    let text = serde_json::to_string(spec).map_err(|cause| damaged().because(cause))?;
    transaction
        .execute(
            "INSERT INTO pump (id, name, spec, hlc_ms, hlc_count, entry) VALUES (?1, ?2, ?3, ?4, ?5, ?6)
             ON CONFLICT (id) DO UPDATE SET name = excluded.name, spec = excluded.spec, hlc_ms = excluded.hlc_ms,
                 hlc_count = excluded.hlc_count, entry = excluded.entry
             WHERE (excluded.hlc_ms, excluded.hlc_count, (SELECT device FROM entry WHERE arrival = excluded.entry))
                 > (pump.hlc_ms, pump.hlc_count, (SELECT device FROM entry WHERE arrival = pump.entry))",
            params![id.to_string(), spec.name, text, hlc.ms, hlc.count, entry],
        )
        .tried("saving the pump")?;
    Ok(())
}

fn damaged() -> CoreError {
    CoreError::new(
        ErrorKind::Internal,
        "pump_unreadable",
        "a pump's figures in the book cannot be read",
        "report this with the book's export",
    )
}

fn parse(id: &str, spec: &str) -> Result<(PumpId, PumpSpec), CoreError> {
    Ok((id.parse()?, serde_json::from_str(spec).map_err(|cause| damaged().because(cause))?))
}

/// All pumps by name.
pub(crate) fn all(connection: &Connection) -> Result<Vec<(PumpId, PumpSpec)>, CoreError> {
    let mut statement = connection.prepare("SELECT id, spec FROM pump ORDER BY name COLLATE NOCASE, id").tried(TRIED)?;
    let found = statement
        .query_map([], |row| Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?)))
        .tried(TRIED)?
        .collect::<Result<Vec<_>, _>>()
        .tried(TRIED)?;
    found.iter().map(|(id, spec)| parse(id, spec)).collect()
}

/// One pump.
pub(crate) fn by_id(connection: &Connection, id: PumpId) -> Result<Option<PumpSpec>, CoreError> {
    let found: Option<String> =
        connection.query_row("SELECT spec FROM pump WHERE id = ?1", [id.to_string()], |row| row.get(0)).optional().tried(TRIED)?;
    found.map(|spec| parse(&id.to_string(), &spec).map(|(_, spec)| spec)).transpose()
}

/// Pumps of that name, upper and lower case alike; two where two devices named two pumps the same.
pub(crate) fn by_name(connection: &Connection, name: &str) -> Result<Vec<PumpId>, CoreError> {
    // Compared here, not by SQLite's NOCASE, which folds ASCII only.
    let wanted = fold(name);
    Ok(all(connection)?.into_iter().filter(|(_, spec)| fold(&spec.name) == wanted).map(|(id, _)| id).collect())
}

/// A name without what thumbs do to it: outer and double spaces, upper case.
pub(crate) fn fold(name: &str) -> String {
    name.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}
