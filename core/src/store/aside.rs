//! What came from the depot and could not be taken into the record: kept and shown.

use rusqlite::{Connection, OptionalExtension as _, Transaction, params};

use super::fault::Tried as _;
use crate::error::CoreError;
use crate::ids::{EntryId, Sha256Hex};

/// Why it stands aside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum AsideProblem {
    /// An entry of this id with another text is in the record.
    SameIdOtherText,
    /// It is no entry that this program can read.
    Unreadable,
}

/// One of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetAside {
    /// Why.
    pub problem: AsideProblem,
    /// The id it claims, where it could be read.
    pub id: Option<EntryId>,
    /// SHA-256 of the text.
    pub hash: Sha256Hex,
    /// The text as it came.
    pub doc: String,
}

/// Keeps one, once. True where it was not there before.
pub(crate) fn keep(transaction: &Transaction<'_>, aside: &SetAside, now_ms: i64) -> Result<bool, CoreError> {
    let problem = match aside.problem {
        AsideProblem::SameIdOtherText => "same_id_other_text",
        AsideProblem::Unreadable => "unreadable",
    };
    let added = transaction
        .execute(
            "INSERT INTO aside (problem, entry_id, hash, came_ms, doc) VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT (hash) DO NOTHING",
            params![problem, aside.id.map(|id| id.to_string()), aside.hash.to_string(), now_ms, aside.doc],
        )
        .tried("keeping an entry aside")?;
    Ok(added > 0)
}

/// All of them, oldest first.
pub(crate) fn all(connection: &Connection) -> Result<Vec<SetAside>, CoreError> {
    let tried = "reading what stands aside";
    let mut statement = connection.prepare("SELECT problem, entry_id, hash, doc FROM aside ORDER BY item").tried(tried)?;
    let found = statement
        .query_map([], |row| Ok((row.get::<_, String>(0)?, row.get::<_, Option<String>>(1)?, row.get::<_, String>(2)?, row.get(3)?)))
        .tried(tried)?
        .collect::<Result<Vec<_>, _>>()
        .tried(tried)?;
    found
        .into_iter()
        .map(|(problem, id, hash, doc)| {
            let problem = if problem == "unreadable" { AsideProblem::Unreadable } else { AsideProblem::SameIdOtherText };
            Ok(SetAside { problem, id: id.map(|id| id.parse()).transpose()?, hash: hash.parse()?, doc })
        })
        .collect()
}

/// Where the depot's order was read to; empty before the first pull.
pub(crate) fn cursor(connection: &Connection) -> Result<String, CoreError> {
    let found = connection.query_row("SELECT cursor FROM pull", [], |row| row.get(0)).optional().tried("reading the cursor")?;
    Ok(found.unwrap_or_default())
}

/// Moves the cursor.
pub(crate) fn set_cursor(transaction: &Transaction<'_>, cursor: &str) -> Result<(), CoreError> {
    transaction
        .execute(
            "INSERT INTO pull (only_one, cursor) VALUES (1, ?1) ON CONFLICT (only_one) DO UPDATE SET cursor = excluded.cursor",
            [cursor],
        )
        .tried("moving the cursor")?;
    Ok(())
}
