//! Rows of uploads and photos.

use chrono::DateTime;
use gritbook_core::ids::Sha256Hex;
use rusqlite::{Connection, OptionalExtension as _, Row, Transaction, params};

use super::super::{Creation, NewUpload, PhotoKind, PhotoRow, Upload, UploadState};
use super::{bad_column, from_u64, hash_text, to_u64, unknown_word};

const UPLOAD_COLUMNS: &str = "id, sha256, declared, length, offset, state, expires_ms, metadata";

pub(super) fn upload_row(row: &Row<'_>) -> rusqlite::Result<Upload> {
    let word: String = row.get(5)?;
    let state = match word.as_str() {
        "open" => UploadState::Open,
        "stored" => UploadState::Stored,
        "gone" => UploadState::Gone,
        _ => return Err(unknown_word(5, &word)),
    };
    Ok(Upload {
        id: row.get(0)?,
        sha256: hash_text(row, 1)?,
        declared: row.get(2)?,
        metadata: row.get(7)?,
        length: to_u64(row.get(3)?),
        offset: to_u64(row.get(4)?),
        state,
        expires: DateTime::from_timestamp_millis(row.get(6)?).unwrap_or_default(),
    })
}

pub(super) fn photo_row(row: &Row<'_>) -> rusqlite::Result<PhotoRow> {
    let word: String = row.get(2)?;
    let kind = match word.as_str() {
        "jpg" => PhotoKind::Jpeg,
        "png" => PhotoKind::Png,
        "bin" => PhotoKind::Other,
        _ => return Err(unknown_word(2, &word)),
    };
    let text: String = row.get(0)?;
    Ok(PhotoRow { sha256: text.parse().map_err(|cause| bad_column(0, cause))?, bytes: to_u64(row.get(1)?), kind })
}

pub(super) fn find_upload(connection: &Connection, id: &str) -> rusqlite::Result<Option<Upload>> {
    connection.query_row(&format!("SELECT {UPLOAD_COLUMNS} FROM upload WHERE id = ?1"), [id], upload_row).optional()
}

pub(super) fn find_photo(connection: &Connection, sha256: Sha256Hex) -> rusqlite::Result<Option<PhotoRow>> {
    connection
        .query_row("SELECT sha256, bytes, kind FROM photo WHERE sha256 = ?1 AND put_away_ms IS NULL", [sha256.to_string()], photo_row)
        .optional()
}

/// Makes an upload, or answers for the one that is there.
pub(super) fn create_upload(transaction: &Transaction<'_>, new: NewUpload) -> rusqlite::Result<Creation> {
    // One that was put away came once: it need not come again.
    let length = "SELECT bytes FROM photo WHERE sha256 = ?1";
    let find = |sha256: Sha256Hex| transaction.query_row(length, [sha256.to_string()], |row| row.get(0)).optional();
    let here: Option<i64> = new.sha256.map(find).transpose()?.flatten();
    match find_upload(transaction, &new.id)? {
        Some(old) if old.state != UploadState::Gone => {
            let same = old.length == new.length && (new.sha256.is_none() && !old.declared || new.sha256 == old.sha256);
            return Ok(if same { Creation::Same(old) } else { Creation::Different });
        }
        Some(_) => {
            transaction.execute("DELETE FROM upload WHERE id = ?1", [&new.id])?;
        }
        None => {}
    }
    let stored = here.is_some_and(|bytes| to_u64(bytes) == new.length);
    let upload = Upload {
        id: new.id,
        sha256: new.sha256,
        declared: new.sha256.is_some(),
        metadata: new.metadata,
        length: new.length,
        offset: if stored { new.length } else { 0 },
        state: if stored { UploadState::Stored } else { UploadState::Open },
        expires: new.expires,
    };
    transaction.execute(
        "INSERT INTO upload (id, sha256, declared, length, offset, state, device, created_ms, expires_ms, metadata)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        params![
            upload.id,
            upload.sha256.map(|sha256| sha256.to_string()),
            upload.declared,
            from_u64(upload.length),
            from_u64(upload.offset),
            if stored { "stored" } else { "open" },
            new.device,
            new.now.timestamp_millis(),
            new.expires.timestamp_millis(),
            upload.metadata,
        ],
    )?;
    Ok(Creation::Created(upload))
}
