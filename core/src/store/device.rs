//! This device: its id, its chain's tip and its hybrid clock. One row.

use chrono::{DateTime, FixedOffset};
use rusqlite::{Connection, OptionalExtension as _, Transaction, params};

use super::fault::Tried as _;
use crate::error::CoreError;
use crate::ids::{DeviceId, Sha256Hex};
use crate::model::entry::HybridTime;
use crate::outbox::hlc;

/// The row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Device {
    pub(crate) id: DeviceId,
    pub(crate) name: String,
    pub(crate) last_seq: u64,
    pub(crate) last_hash: Option<Sha256Hex>,
    pub(crate) clock: HybridTime,
}

/// Reads the row.
pub(crate) fn load(connection: &Connection) -> Result<Option<Device>, CoreError> {
    let tried = "reading the device's row";
    let row = connection
        .query_row("SELECT id, name, last_seq, last_hash, hlc_ms, hlc_count FROM device", [], |row| {
            Ok((
                row.get::<_, String>(0)?,
                row.get::<_, String>(1)?,
                row.get::<_, i64>(2)?,
                row.get::<_, Option<String>>(3)?,
                row.get::<_, i64>(4)?,
                row.get::<_, u32>(5)?,
            ))
        })
        .optional()
        .tried(tried)?;
    let Some((id, name, last_seq, last_hash, ms, count)) = row else { return Ok(None) };
    Ok(Some(Device {
        id: id.parse()?,
        name,
        last_seq: last_seq.unsigned_abs(),
        last_hash: last_hash.map(|hash| hash.parse()).transpose()?,
        clock: HybridTime { ms, count },
    }))
}

/// Reads the row or, in a new book, makes this device: a new id, so that no chain is ever continued by guess.
pub(crate) fn load_or_begin(transaction: &Transaction<'_>, name: &str, now: DateTime<FixedOffset>) -> Result<Device, CoreError> {
    if let Some(device) = load(transaction)? {
        return Ok(device);
    }
    let id = DeviceId::new(now.to_utc());
    transaction
        .execute(
            "INSERT INTO device (only_one, id, name, last_seq, last_hash, hlc_ms, hlc_count) VALUES (1, ?1, ?2, 0, NULL, 0, 0)",
            params![id.to_string(), name],
        )
        .tried("beginning the book")?;
    Ok(Device { id, name: name.to_owned(), last_seq: 0, last_hash: None, clock: HybridTime { ms: 0, count: 0 } })
}

/// Moves the chain's tip to an entry of this device.
pub(crate) fn set_tip(transaction: &Transaction<'_>, seq: u64, hash: Sha256Hex) -> Result<(), CoreError> {
    transaction
        .execute("UPDATE device SET last_seq = ?1, last_hash = ?2", params![i64::try_from(seq).unwrap_or(i64::MAX), hash.to_string()])
        .tried("moving the chain's tip")?;
    Ok(())
}

/// Stores the clock's new value.
pub(crate) fn set_clock(transaction: &Transaction<'_>, clock: HybridTime) -> Result<(), CoreError> {
    transaction.execute("UPDATE device SET hlc_ms = ?1, hlc_count = ?2", params![clock.ms, clock.count]).tried("storing the clock")?;
    Ok(())
}

/// Ticks the clock for an entry made now.
pub(crate) fn tick(transaction: &Transaction<'_>, now_ms: i64) -> Result<HybridTime, CoreError> {
    let last = load(transaction)?.map_or(HybridTime { ms: 0, count: 0 }, |device| device.clock);
    let clock = hlc::tick(last, now_ms);
    set_clock(transaction, clock)?;
    Ok(clock)
}

/// Merges another device's time; true where it was too far ahead to be followed.
pub(crate) fn merge(transaction: &Transaction<'_>, theirs: HybridTime, now_ms: i64) -> Result<bool, CoreError> {
    let last = load(transaction)?.map_or(HybridTime { ms: 0, count: 0 }, |device| device.clock);
    match hlc::merge(last, theirs, now_ms) {
        Some(clock) => set_clock(transaction, clock).map(|()| false),
        None => Ok(true),
    }
}
