//! The archive's copy for a backup, and a look at whether it is whole.

use std::path::Path;

use chrono::{DateTime, Utc};
use gritbook_core::ids::Sha256Hex;
use gritbook_core::model::entry::EntryHead;
use gritbook_core::{CoreError, ErrorKind};
use rusqlite::backup::{Backup, StepResult};
use rusqlite::{Connection, OpenFlags};

use super::super::PhotoRow;
use super::super::people::{Actor, Deed, Reached};
use super::people::write_deed;
use super::uploads::photo_row;
use super::{STEPS, SqliteArchive, hash_column, sql_error};

/// What a copy holds.
pub(in crate::server) struct Held {
    pub(in crate::server) version: i64,
    pub(in crate::server) entries: u64,
    pub(in crate::server) chain_breaks: u64,
    pub(in crate::server) photos: Vec<PhotoRow>,
}

/// Copies the database at `from`, which may be in use, to a new one at `to`: what was committed when it began. In one step,
/// under one read lock: writers go on meanwhile, and the copy never has to begin anew because of them.
pub(in crate::server) fn copy(from: &Path, to: &Path) -> Result<(), CoreError> {
    let tried = "copying the archive";
    let failed = |cause| sql_error(tried, cause);
    let source = Connection::open_with_flags(from, OpenFlags::SQLITE_OPEN_READ_WRITE).map_err(failed)?;
    source.busy_timeout(std::time::Duration::from_secs(5)).map_err(failed)?;
    let mut target = Connection::open(to).map_err(failed)?;
    {
        let backup = Backup::new(&source, &mut target).map_err(failed)?;
        loop {
            match backup.step(-1).map_err(failed)? {
                StepResult::Done => break,
                StepResult::Busy | StepResult::Locked => std::thread::sleep(std::time::Duration::from_millis(20)),
                StepResult::More | _ => {}
            }
        }
    }
    // A copy is one file, without a journal beside it. Nobody is signed in there, and bytes that are on their way stay behind.
    target.pragma_update(None, "journal_mode", "DELETE").map_err(failed)?;
    // An archive that an older program left has no sessions yet.
    let sessions = "SELECT EXISTS (SELECT 1 FROM sqlite_master WHERE name = 'session')";
    if target.query_row(sessions, [], |row| row.get(0)).map_err(failed)? {
        target.execute("DELETE FROM session", []).map_err(failed)?;
    }
    target.execute_batch("UPDATE upload SET state = 'gone' WHERE state = 'open'; VACUUM;").map_err(failed)
}

/// Reads a copy through: its pages, every entry's hash, the chains.
pub(in crate::server) fn examine(path: &Path) -> Result<Held, CoreError> {
    let tried = "reading the archive's copy";
    let failed = |cause| sql_error(tried, cause);
    let connection = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY).map_err(failed)?;
    let version: i64 = connection.pragma_query_value(None, "user_version", |row| row.get(0)).map_err(failed)?;
    if version > STEPS.len() as i64 {
        let reason = format!("the archive has version {version}, this program knows up to {}", STEPS.len());
        return Err(CoreError::new(ErrorKind::NewerSchema, "newer_archive", reason, "use the newer program; nothing was touched"));
    }
    let sound: String = connection.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0)).map_err(failed)?;
    if sound != "ok" {
        return Err(damaged(format!("the archive's copy is not sound: {sound}")));
    }
    let (entries, chain_breaks) = chains(&connection)?;
    // Before version 5 no photo was put away.
    let here = if version < 5 { "" } else { "WHERE put_away_ms IS NULL" };
    let photos = connection
        .prepare(&format!("SELECT sha256, bytes, kind FROM photo {here} ORDER BY sha256"))
        .and_then(|mut photos| photos.query_map([], photo_row)?.collect())
        .map_err(failed)?;
    Ok(Held { version, entries, chain_breaks, photos })
}

/// Opens the archive in `folder` as a depot will, notes in its audit that it was put back from a backup of that day, and gives the names of
/// the devices and the people whom it lets in.
pub(in crate::server) fn put_back(folder: &Path, day: &str, now: DateTime<Utc>) -> Result<(Vec<String>, Vec<String>), CoreError> {
    let archive = SqliteArchive::open(folder)?;
    let mut writer = super::held(&archive.writer);
    let failed = |cause| sql_error("noting that the depot was put back", cause);
    let transaction = writer.transaction().map_err(failed)?;
    let deed = Deed { at: now, by: Actor::Command, what: "put_back", about: Some(day.to_owned()), reached: Reached::ThisMachine };
    write_deed(&transaction, &deed).map_err(failed)?;
    transaction.commit().map_err(failed)?;
    let names = |query: &str| writer.prepare(query).and_then(|mut names| names.query_map([], |row| row.get(0))?.collect()).map_err(failed);
    let devices = names("SELECT name FROM device WHERE revoked_ms IS NULL ORDER BY name")?;
    let people = names("SELECT name FROM person WHERE removed_ms IS NULL ORDER BY name")?;
    drop(writer);
    Ok((devices, people))
}

fn damaged(what: String) -> CoreError {
    CoreError::new(ErrorKind::Corrupt, "backup_damaged", what, "nothing was changed; take another backup, and look at the disk")
}

/// How many entries there are, and where one does not name the hash of the one before it.
fn chains(connection: &Connection) -> Result<(u64, u64), CoreError> {
    let failed = |cause| sql_error("reading the entries", cause);
    let mut entries = connection.prepare("SELECT device, seq, hash, doc FROM entry ORDER BY device, seq, n").map_err(failed)?;
    let mut rows = entries.query([]).map_err(failed)?;
    let mut last: Option<(String, i64, Sha256Hex)> = None;
    let (mut count, mut breaks) = (0, 0);
    while let Some(row) = rows.next().map_err(failed)? {
        let read =
            || -> rusqlite::Result<(String, i64, Sha256Hex, String)> { Ok((row.get(0)?, row.get(1)?, hash_column(row, 2)?, row.get(3)?)) };
        let (device, seq, hash, doc) = read().map_err(failed)?;
        if Sha256Hex::of(doc.as_bytes()) != hash {
            return Err(damaged(format!("entry {} of the archive is not the text that its hash was taken of", count + 1)));
        }
        count += 1;
        let prev = serde_json::from_str::<EntryHead>(&doc).ok().and_then(|head| head.prev);
        let follows = last.filter(|(of, before, _)| *of == device && *before + 1 == seq);
        if follows.is_some_and(|(.., before)| prev != Some(before)) {
            breaks += 1;
        }
        last = Some((device, seq, hash));
    }
    Ok((count, breaks))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn archive_of_every_older_version_is_copied_and_read_through() {
        for version in 1..=STEPS.len() {
            let folder = tempfile::tempdir().unwrap();
            let (from, to) = (folder.path().join("from.sqlite"), folder.path().join("to.sqlite"));
            let old = Connection::open(&from).unwrap();
            STEPS.iter().take(version).for_each(|step| old.execute_batch(step).unwrap());
            old.pragma_update(None, "user_version", version as i64).unwrap();
            copy(&from, &to).unwrap();
            let held = examine(&to).unwrap();
            assert_eq!((held.version, held.entries, held.chain_breaks, held.photos.len()), (version as i64, 0, 0, 0));
        }
    }

    #[test]
    fn entry_that_is_not_what_its_hash_says_and_a_broken_chain_are_seen() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.sqlite");
        let archive = Connection::open(&path).unwrap();
        STEPS.iter().for_each(|step| archive.execute_batch(step).unwrap());
        archive.execute_batch("INSERT INTO device (name, token_sha256, enrolled_ms) VALUES ('north', zeroblob(32), 7)").unwrap();
        let id = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f";
        let text = |seq: i64, prev: &str| {
            format!(
                r#"{{"schema":"gritbook.entry/1","id":"{id}","device":"{id}","seq":{seq},"person":"","at":"2026-09-21T08:00:00-06:00",
                "hlc":{{"ms":1,"count":0}},"prev":{prev},"pump":"{id}","kind":"x","body":{{}}}}"#
            )
        };
        let add = |seq: i64, doc: &str, hash: Sha256Hex| {
            let sql = "INSERT INTO entry (id, hash, device, seq, pump, kind, hlc_ms, hlc_count, doc, delivered_by, received_ms)
                       VALUES (?1, ?2, 'd', ?3, 'p', 'x', 1, 0, ?4, 1, 1)";
            archive.execute(sql, rusqlite::params![seq.to_string(), hash.as_bytes(), seq, doc]).unwrap();
        };
        let first = text(1, "null");
        let of_first = Sha256Hex::of(first.as_bytes());
        let second = text(2, &format!("\"{of_first}\""));
        // The fourth does not name the third.
        let (third, fourth) = (text(3, &format!("\"{}\"", Sha256Hex::of(second.as_bytes()))), text(4, &format!("\"{of_first}\"")));
        for (seq, doc) in (1..).zip([&first, &second, &third, &fourth]) {
            add(seq, doc, Sha256Hex::of(doc.as_bytes()));
        }
        let held = examine(&path).unwrap();
        assert_eq!((held.entries, held.chain_breaks), (4, 1));
        // A gap is no break: what lies between may still come.
        add(9, &text(9, "null"), Sha256Hex::of(text(9, "null").as_bytes()));
        assert_eq!(examine(&path).unwrap().chain_breaks, 1);
        add(10, &text(10, "null"), of_first);
        assert_eq!(examine(&path).err().unwrap().code(), "backup_damaged");
    }
}
