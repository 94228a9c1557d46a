//! [`Keeping`] in SQLite.

use std::collections::HashSet;

use chrono::{DateTime, Utc};
use gritbook_core::ids::Sha256Hex;
use rusqlite::{OptionalExtension as _, params};

use super::super::keeping::{Going, Keeping, PhotosKnown};
use super::people::write_deed;
use super::uploads::photo_row;
use super::{SqliteArchive, Work, by_command};

impl Keeping for SqliteArchive {
    fn photos_known(&self, asked: Vec<Sha256Hex>) -> Work<PhotosKnown> {
        self.read("looking up photos", move |connection| {
            let mut known = PhotosKnown::default();
            let mut find = connection.prepare_cached("SELECT put_away_ms IS NOT NULL FROM photo WHERE sha256 = ?1")?;
            for sha256 in asked {
                match find.query_row([sha256.to_string()], |row| row.get(0)).optional()? {
                    Some(false) => known.here.push(sha256),
                    Some(true) => known.put_away.push(sha256),
                    None => {}
                }
            }
            Ok(known)
        })
    }

    fn put_photos_away(&self, before: DateTime<Utc>, spared: Vec<Sha256Hex>, now: DateTime<Utc>) -> Work<u64> {
        self.write("putting photos away", move |transaction| {
            let spared: HashSet<String> = spared.iter().map(Sha256Hex::to_string).collect();
            let mut due = transaction.prepare("SELECT sha256 FROM photo WHERE put_away_ms IS NULL AND stored_ms < ?1")?;
            let due: Vec<String> = due.query_map([before.timestamp_millis()], |row| row.get(0))?.collect::<Result<_, _>>()?;
            let mut put_away = 0;
            for sha256 in due.iter().filter(|sha256| !spared.contains(*sha256)) {
                put_away += transaction
                    .prepare_cached("UPDATE photo SET put_away_ms = ?2 WHERE sha256 = ?1")?
                    .execute(params![sha256, now.timestamp_millis()])? as u64;
            }
            if put_away > 0 {
                let mut deed = by_command("photos_put_away", now);
                deed.about = Some(put_away.to_string());
                write_deed(transaction, &deed)?;
            }
            Ok(put_away)
        })
    }

    fn photos_going(&self) -> Work<Vec<Going>> {
        self.read("reading which photos are put away", |connection| {
            let sql = "SELECT sha256, bytes, kind, stored_ms, put_away_ms FROM photo WHERE put_away_ms IS NOT NULL AND removed_ms IS NULL";
            let at = |ms| DateTime::from_timestamp_millis(ms).unwrap_or_default();
            connection
                .prepare_cached(sql)?
                .query_map([], |row| Ok(Going { photo: photo_row(row)?, stored: at(row.get(3)?), put_away: at(row.get(4)?) }))?
                .collect()
        })
    }

    fn take_photo_back(&self, sha256: Sha256Hex) -> Work<()> {
        self.write("taking a photo back", move |transaction| {
            transaction.execute("UPDATE photo SET put_away_ms = NULL WHERE sha256 = ?1 AND removed_ms IS NULL", [sha256.to_string()])?;
            Ok(())
        })
    }

    fn photo_gone(&self, sha256: Sha256Hex, now: DateTime<Utc>) -> Work<()> {
        self.write("noting that a photo is gone", move |transaction| {
            let gone = "UPDATE photo SET removed_ms = ?2 WHERE sha256 = ?1 AND put_away_ms IS NOT NULL";
            transaction.execute(gone, params![sha256.to_string(), now.timestamp_millis()])?;
            Ok(())
        })
    }
}
