//! The photo folder: files named by their hash, durable before any row names them.
//!
//! A photo is written under a temporary name, synced, renamed to its hash, and the folder synced; only then may a row
//! name it. A crash in between leaves a file without a row, never a row without a file. Such a file is adopted when
//! the book is opened: it keeps its bytes and gets its row, and waits for an entry that names it.

use std::fs::{self, File};
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use chrono::{DateTime, FixedOffset};
use rusqlite::{Connection, OptionalExtension as _, Transaction, params};
use sha2::{Digest as _, Sha256};

use super::fault::Tried as _;
use crate::error::CoreError;
use crate::failpoint::failpoint;
use crate::ids::{PhotoId, Sha256Hex};

/// The folder's name in the book's folder.
pub(crate) const FOLDER: &str = "photos";

/// Largest photo, bytes (64 MB, as for a reading).
pub const LARGEST_PHOTO_BYTES: u64 = 64_000_000;

/// A temporary file older than this is left from a crash; a younger one may be another program's at work.
const STALE_AFTER: Duration = Duration::from_secs(3600);

/// What kind of file a photo is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PhotoFormat {
    /// JPEG.
    Jpeg,
    /// PNG.
    Png,
}

impl PhotoFormat {
    /// By the file's first bytes.
    ///
    /// # Errors
    /// `not_a_photo` for anything else.
    pub fn of(bytes: &[u8]) -> Result<Self, CoreError> {
        if bytes.starts_with(&[0xFF, 0xD8, 0xFF]) {
            Ok(Self::Jpeg)
        } else if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
            Ok(Self::Png)
        } else {
            Err(CoreError::refused(
                "not_a_photo",
                format!("the file of {} bytes is neither JPEG nor PNG", bytes.len()),
                "take the photo with the camera, or choose a .jpg or .png file",
            ))
        }
    }

    /// `jpg` or `png`.
    pub fn extension(self) -> &'static str {
        match self {
            Self::Jpeg => "jpg",
            Self::Png => "png",
        }
    }

    /// `image/jpeg` or `image/png`.
    pub fn media_type(self) -> &'static str {
        match self {
            Self::Jpeg => "image/jpeg",
            Self::Png => "image/png",
        }
    }

    pub(crate) fn from_column(text: &str) -> Self {
        // The column's CHECK allows these two.
        if text == "png" { Self::Png } else { Self::Jpeg }
    }
}

/// A photo whose file is durable; the only thing from which a row is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DurablePhoto {
    /// Its name.
    pub id: PhotoId,
    /// JPEG or PNG.
    pub format: PhotoFormat,
    /// Its size.
    pub bytes: u64,
}

/// Syncs a folder, so that a rename in it survives a pulled battery.
pub(crate) fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

/// Makes a folder and those above it that are missing, so that the name of each survives a pulled battery.
pub(crate) fn make_folder(folder: &Path) -> io::Result<()> {
    let above = folder.parent().map(|above| if above.as_os_str().is_empty() { Path::new(".") } else { above });
    if let Some(above) = above.filter(|above| !above.is_dir()) {
        make_folder(above)?;
    }
    match fs::create_dir(folder) {
        // Another program was quicker; its name may not be durable yet.
        Err(cause) if cause.kind() != io::ErrorKind::AlreadyExists || !folder.is_dir() => return Err(cause),
        _ => {}
    }
    above.map_or(Ok(()), sync_folder)
}

/// The photos of one book.
#[derive(Debug, Clone)]
pub(crate) struct PhotoFolder {
    folder: PathBuf,
}

/// What was found in the folder that no row names.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub(crate) struct Strays {
    /// Whole photos, left by a crash between file and row.
    pub(crate) photos: Vec<DurablePhoto>,
    /// Files whose name is a hash but not that of their bytes, and files that are no photos: left where they are.
    pub(crate) strange: Vec<PathBuf>,
}

impl PhotoFolder {
    /// Makes the folder where it is missing.
    pub(crate) fn open(book: &Path) -> Result<Self, CoreError> {
        let tried = "opening the photo folder";
        let folder = book.join(FOLDER);
        if !folder.is_dir() {
            make_folder(&folder).tried(tried)?;
        }
        Ok(Self { folder })
    }

    /// Where a photo's file is or would be.
    pub(crate) fn path(&self, id: &PhotoId, format: PhotoFormat) -> PathBuf {
        self.folder.join(format!("{id}.{}", format.extension()))
    }

    /// Makes a photo's bytes durable under its hash. Doing it twice is harmless.
    ///
    /// # Errors
    /// `not_a_photo`, `too_big`, `storage_full`, `file_failed`; the folder then holds at most a temporary file.
    pub(crate) fn keep(&self, bytes: &[u8]) -> Result<DurablePhoto, CoreError> {
        let tried = "saving the photo";
        let size = bytes.len() as u64;
        if size > LARGEST_PHOTO_BYTES {
            return Err(CoreError::refused(
                "too_big",
                format!("the photo has {size} bytes; the limit is {LARGEST_PHOTO_BYTES}"),
                "set the camera to a smaller picture",
            ));
        }
        let format = PhotoFormat::of(bytes)?;
        let id = Sha256Hex::of(bytes);
        let photo = DurablePhoto { id, format, bytes: size };
        let path = self.path(&id, format);
        failpoint!("before_photo_write");
        if fs::metadata(&path).is_ok_and(|found| found.len() == size) {
            // Already renamed, perhaps by a run that died before the folder was synced.
            sync_folder(&self.folder).tried(tried)?;
            return Ok(photo);
        }
        let temporary = self.folder.join(format!(".{id}.{}.part", std::process::id()));
        let written = (|| -> io::Result<()> {
            let mut file = File::create(&temporary)?;
            file.write_all(bytes)?;
            file.sync_all()
        })();
        if let Err(cause) = written {
            // Best effort: on a full disk the part is what should go first.
            let _ = fs::remove_file(&temporary);
            return Err(cause).tried(tried);
        }
        failpoint!("photo_part_written");
        fs::rename(&temporary, &path).tried(tried)?;
        failpoint!("photo_renamed");
        sync_folder(&self.folder).tried(tried)?;
        failpoint!("photo_durable");
        Ok(photo)
    }

    /// The hash of a photo's file as it is now; `None` where there is no file.
    pub(crate) fn rehash(&self, id: &PhotoId, format: PhotoFormat) -> Result<Option<Sha256Hex>, CoreError> {
        hash_file(&self.path(id, format))
    }

    /// Finds files that `is_known` does not name, and clears what a crash left half-written.
    pub(crate) fn strays(
        &self,
        is_known: impl Fn(&PhotoId) -> Result<bool, CoreError>,
        now: DateTime<FixedOffset>,
    ) -> Result<Strays, CoreError> {
        let tried = "looking through the photo folder";
        let mut strays = Strays::default();
        let now = SystemTime::UNIX_EPOCH + Duration::from_millis(u64::try_from(now.timestamp_millis()).unwrap_or(0));
        for found in fs::read_dir(&self.folder).tried(tried)? {
            let found = found.tried(tried)?;
            let path = found.path();
            let name = found.file_name();
            let Some(name) = name.to_str() else {
                strays.strange.push(path);
                continue;
            };
            if name.starts_with('.') && name.ends_with(".part") {
                let age = found.metadata().and_then(|facts| facts.modified()).ok().and_then(|modified| now.duration_since(modified).ok());
                if age.is_some_and(|age| age > STALE_AFTER) {
                    fs::remove_file(&path).tried(tried)?;
                }
                continue;
            }
            let id = name.split_once('.').and_then(|(stem, _)| stem.parse::<PhotoId>().ok());
            match id {
                Some(id) if is_known(&id)? => {}
                Some(id) => match whole_photo(&path, &id)? {
                    Some(photo) if path == self.path(&id, photo.format) => strays.photos.push(photo),
                    _ => strays.strange.push(path),
                },
                None => strays.strange.push(path),
            }
        }
        strays.photos.sort_by_key(|photo| photo.id);
        strays.strange.sort();
        Ok(strays)
    }
}

fn whole_photo(path: &Path, id: &PhotoId) -> Result<Option<DurablePhoto>, CoreError> {
    if hash_file(path)? != Some(*id) {
        return Ok(None);
    }
    let tried = "looking through the photo folder";
    let mut file = File::open(path).tried(tried)?;
    let mut start = Vec::new();
    // One read may bring less than is there.
    (&mut file).take(8).read_to_end(&mut start).tried(tried)?;
    let Ok(format) = PhotoFormat::of(&start) else { return Ok(None) };
    // The run that renamed it may have died before it reached the disk.
    file.sync_all().tried(tried)?;
    if let Some(folder) = path.parent() {
        sync_folder(folder).tried(tried)?;
    }
    Ok(Some(DurablePhoto { id: *id, format, bytes: file.metadata().tried(tried)?.len() }))
}

fn hash_file(path: &Path) -> Result<Option<Sha256Hex>, CoreError> {
    let tried = "reading a photo";
    let mut file = match File::open(path) {
        Ok(file) => file,
        Err(cause) if cause.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(cause) => return Err(cause).tried(tried),
    };
    let mut digest = Sha256::new();
    let mut buffer = vec![0_u8; 1 << 16];
    loop {
        let count = file.read(&mut buffer).tried(tried)?;
        if count == 0 {
            return Ok(Some(Sha256Hex::from_bytes(digest.finalize().into())));
        }
        digest.update(buffer.get(..count).unwrap_or(&[]));
    }
}

/// A photo's row.
pub(crate) fn row(connection: &Connection, id: &PhotoId) -> Result<Option<DurablePhoto>, CoreError> {
    connection
        .query_row("SELECT format, bytes FROM photo WHERE hash = ?1", [id.to_string()], |row| {
            Ok(DurablePhoto {
                id: *id,
                format: PhotoFormat::from_column(&row.get::<_, String>(0)?),
                bytes: row.get::<_, i64>(1)?.unsigned_abs(),
            })
        })
        .optional()
        .tried("looking up a photo")
}

/// All rows, by hash.
pub(crate) fn rows(connection: &Connection) -> Result<Vec<DurablePhoto>, CoreError> {
    let tried = "listing the photos";
    let mut statement = connection.prepare("SELECT hash, format, bytes FROM photo ORDER BY hash").tried(tried)?;
    let found = statement
        .query_map([], |row| Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?, row.get::<_, i64>(2)?)))
        .tried(tried)?
        .collect::<Result<Vec<_>, _>>()
        .tried(tried)?;
    found
        .into_iter()
        .map(|(hash, format, bytes)| {
            Ok(DurablePhoto { id: hash.parse()?, format: PhotoFormat::from_column(&format), bytes: bytes.unsigned_abs() })
        })
        .collect()
}

/// Writes the row of a durable photo, once.
pub(crate) fn add_row(transaction: &Transaction<'_>, photo: &DurablePhoto, now_ms: i64) -> Result<(), CoreError> {
    transaction
        .execute(
            "INSERT INTO photo (hash, format, bytes, added_ms) VALUES (?1, ?2, ?3, ?4) ON CONFLICT (hash) DO NOTHING",
            params![photo.id.to_string(), photo.format.extension(), i64::try_from(photo.bytes).unwrap_or(i64::MAX), now_ms],
        )
        .tried("saving the photo's row")?;
    Ok(())
}

/// Photos here that no entry names, by hash.
pub(crate) fn unclaimed(connection: &Connection) -> Result<Vec<PhotoId>, CoreError> {
    let tried = "listing the photos";
    let mut statement = connection
        .prepare("SELECT hash FROM photo WHERE NOT EXISTS (SELECT 1 FROM entry_photo WHERE entry_photo.photo = photo.hash) ORDER BY hash")
        .tried(tried)?;
    let found = statement.query_map([], |row| row.get::<_, String>(0)).tried(tried)?.collect::<Result<Vec<_>, _>>().tried(tried)?;
    found.iter().map(|hash| hash.parse()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const JPEG: &[u8] = b"\xFF\xD8\xFF\xE0 not a whole photo, but it begins like one";

    fn now() -> DateTime<FixedOffset> {
        DateTime::parse_from_rfc3339("2026-03-02T07:15:00Z").unwrap()
    }

    #[test]
    fn kept_photo_is_named_by_its_hash_and_keeping_it_again_changes_nothing() {
        let book = tempfile::tempdir().unwrap();
        let folder = PhotoFolder::open(book.path()).unwrap();
        let photo = folder.keep(JPEG).unwrap();
        assert_eq!(folder.keep(JPEG).unwrap(), photo);
        let names: Vec<_> = fs::read_dir(book.path().join(FOLDER)).unwrap().map(|found| found.unwrap().file_name()).collect();
        assert_eq!(names, [std::ffi::OsString::from(format!("{}.jpg", Sha256Hex::of(JPEG)))]);
        assert_eq!(folder.rehash(&photo.id, photo.format).unwrap(), Some(photo.id));
    }

    #[test]
    fn text_named_jpg_is_refused_and_nothing_is_left() {
        let book = tempfile::tempdir().unwrap();
        let folder = PhotoFolder::open(book.path()).unwrap();
        assert_eq!(folder.keep(b"dear diary").unwrap_err().code(), "not_a_photo");
        assert_eq!(fs::read_dir(book.path().join(FOLDER)).unwrap().count(), 0);
    }

    #[test]
    fn strays_are_whole_photos_to_adopt_or_strange_files_left_alone() {
        let book = tempfile::tempdir().unwrap();
        let folder = PhotoFolder::open(book.path()).unwrap();
        let known = folder.keep(JPEG).unwrap();
        let stray = folder.keep(b"\x89PNG\r\n\x1a\nmore").unwrap();
        let lying = book.path().join(FOLDER).join(format!("{}.jpg", Sha256Hex::of(b"something else")));
        fs::write(&lying, JPEG).unwrap();
        let part = book.path().join(FOLDER).join(".half.1.part");
        fs::write(&part, b"\xFF\xD8").unwrap();
        let found = folder.strays(|id| Ok(*id == known.id), now()).unwrap();
        assert_eq!(found, Strays { photos: vec![stray], strange: vec![lying.clone()] });
        assert!(part.exists(), "a young part may be another program's");
        let far_later = DateTime::parse_from_rfc3339("2100-01-01T00:00:00Z").unwrap();
        folder.strays(|id| Ok(*id == known.id), far_later).unwrap();
        assert!(!part.exists());
        assert!(lying.exists());
    }
}
