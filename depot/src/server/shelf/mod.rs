//! The photo folder. All functions block: the routes call them on blocking threads.
//!
//! ```text
//! incoming/<upload id>.part   bytes as they come; the archive's offset is written after they are synced
//! photos/<sha256>.jpg|png|bin  whole and checked; renamed into place, then the folder is synced, then the archive's row
//! thumbs/<sha256>.jpg          small pictures for the page; may be deleted at any time
//! ```

use std::fs::{self, File, OpenOptions};
use std::io::{self, Read as _, Seek as _, SeekFrom};
use std::path::{Path, PathBuf};

use gritbook_core::ids::Sha256Hex;
use gritbook_core::{CoreError, ErrorKind};
use sha2::{Digest as _, Sha256};

use super::Places;
use super::archive::{PhotoKind, PhotoRow, storage_full};

/// See the module.
#[derive(Debug, Clone)]
pub struct Shelf {
    photos: PathBuf,
    incoming: PathBuf,
    thumbs: PathBuf,
}

/// Turns a file error into the depot's own.
pub(crate) fn file_error(tried: &str, cause: io::Error) -> CoreError {
    match cause.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded | io::ErrorKind::FileTooLarge => storage_full(tried).because(cause),
        _ => CoreError::new(ErrorKind::Storage, "shelf_failed", format!("{tried} failed"), "look at the depot's log").because(cause),
    }
}

/// Makes a name in `folder` survive a power cut. Elsewhere than on Unix the file system has no such call.
pub(super) fn sync_folder(folder: &Path) -> io::Result<()> {
    #[cfg(unix)]
    File::open(folder)?.sync_all()?;
    #[cfg(not(unix))]
    let _ = folder;
    Ok(())
}

impl Shelf {
    /// Opens or makes the folders of the depot on the data folder `data`, wherever its photos lie.
    ///
    /// # Errors
    /// `storage_full`, `shelf_failed`.
    pub fn open(data: &Path) -> Result<Self, CoreError> {
        let data = &Places::of(data)?.photos;
        let shelf = Self { photos: data.join("photos"), incoming: data.join("incoming"), thumbs: data.join("thumbs") };
        for folder in [&shelf.photos, &shelf.incoming, &shelf.thumbs] {
            fs::create_dir_all(folder).map_err(|cause| file_error("making the photo folders", cause))?;
        }
        sync_folder(data).map_err(|cause| file_error("making the photo folders", cause))?;
        Ok(shelf)
    }

    /// Where a stored photo lies.
    pub fn photo_path(&self, photo: &PhotoRow) -> PathBuf {
        self.photos.join(format!("{}.{}", photo.sha256, photo.kind.ending()))
    }

    /// Where a photo's small picture lies, once it was made.
    pub fn thumb_path(&self, sha256: Sha256Hex) -> PathBuf {
        self.thumbs.join(format!("{sha256}.jpg"))
    }

    /// Where the picture of a part of a photo lies, once it was made.
    pub fn window_path(&self, sha256: Sha256Hex, [x, y, width, height]: [u32; 4]) -> PathBuf {
        self.thumbs.join(format!("{sha256}-{x}-{y}-{width}-{height}.jpg"))
    }

    /// Upload ids are checked to be plain names before they come here.
    fn staging_path(&self, id: &str) -> PathBuf {
        self.incoming.join(format!("{id}.part"))
    }

    /// Opens the staged bytes to append at `offset`; what lies beyond was never acknowledged and is cut off.
    ///
    /// # Errors
    /// `staging_lost` where fewer bytes are there than were acknowledged; `storage_full`, `shelf_failed`.
    pub fn append_at(&self, id: &str, offset: u64) -> Result<File, CoreError> {
        let tried = "opening a photo's staged bytes";
        let path = self.staging_path(id);
        let fresh = !path.exists();
        let mut file =
            OpenOptions::new().create(true).truncate(false).read(true).write(true).open(path).map_err(|cause| file_error(tried, cause))?;
        if fresh {
            sync_folder(&self.incoming).map_err(|cause| file_error(tried, cause))?;
        }
        let there = file.metadata().map_err(|cause| file_error(tried, cause))?.len();
        if there < offset {
            return Err(staging_lost(there, offset));
        }
        file.set_len(offset).map_err(|cause| file_error(tried, cause))?;
        file.seek(SeekFrom::End(0)).map_err(|cause| file_error(tried, cause))?;
        Ok(file)
    }

    /// Forgets staged bytes; it is no error where there are none.
    ///
    /// # Errors
    /// `shelf_failed`.
    pub fn forget(&self, id: &str) -> Result<(), CoreError> {
        match fs::remove_file(self.staging_path(id)) {
            Err(cause) if cause.kind() != io::ErrorKind::NotFound => Err(file_error("removing a photo's staged bytes", cause)),
            _ => Ok(()),
        }
    }

    /// Takes a photo and every small picture of it away; it is no error where they are gone.
    ///
    /// # Errors
    /// `shelf_failed`.
    pub fn remove(&self, photo: &PhotoRow) -> Result<(), CoreError> {
        let tried = "removing a photo that was put away";
        let gone = |removed: io::Result<()>| match removed {
            Err(cause) if cause.kind() != io::ErrorKind::NotFound => Err(file_error(tried, cause)),
            _ => Ok(()),
        };
        let name = photo.sha256.to_string();
        for entry in fs::read_dir(&self.thumbs).map_err(|cause| file_error(tried, cause))? {
            let entry = entry.map_err(|cause| file_error(tried, cause))?;
            if entry.file_name().to_string_lossy().starts_with(&name) {
                gone(fs::remove_file(entry.path()))?;
            }
        }
        gone(fs::remove_file(self.photo_path(photo)))?;
        sync_folder(&self.photos).map_err(|cause| file_error(tried, cause))
    }

    /// Reads the staged photo and says what it is. Where a crash came between renaming and noting it, the photo is
    /// found under `expected` on the shelf.
    ///
    /// # Errors
    /// `staging_lost`, `shelf_failed`.
    pub fn examine(&self, id: &str, expected: Option<Sha256Hex>, length: u64) -> Result<PhotoRow, CoreError> {
        let tried = "checking a whole photo";
        let staged = self.staging_path(id);
        let moved = expected.into_iter().flat_map(|sha256| {
            [PhotoKind::Jpeg, PhotoKind::Png, PhotoKind::Other].map(|kind| self.photo_path(&PhotoRow { sha256, bytes: length, kind }))
        });
        let Some(path) = std::iter::once(staged).chain(moved).find(|path| path.exists()) else {
            return Err(staging_lost(0, length));
        };
        let photo = examine_file(&path).map_err(|cause| file_error(tried, cause))?;
        if photo.bytes != length {
            return Err(staging_lost(photo.bytes, length));
        }
        Ok(photo)
    }

    /// Moves an examined photo to its name, durably.
    ///
    /// # Errors
    /// `storage_full`, `shelf_failed`.
    pub fn promote(&self, id: &str, photo: &PhotoRow) -> Result<(), CoreError> {
        let tried = "putting a photo on the shelf";
        let staged = self.staging_path(id);
        let named = self.photo_path(photo);
        if staged.exists() {
            File::open(&staged).and_then(|file| file.sync_all()).map_err(|cause| file_error(tried, cause))?;
            fs::rename(&staged, &named).map_err(|cause| file_error(tried, cause))?;
        }
        sync_folder(&self.photos).and_then(|()| sync_folder(&self.incoming)).map_err(|cause| file_error(tried, cause))
    }
}

fn staging_lost(there: u64, expected: u64) -> CoreError {
    CoreError::new(
        ErrorKind::NotFound,
        "staging_lost",
        format!("{there} of {expected} acknowledged bytes of this upload are left at the depot"),
        "start this upload again from its first byte",
    )
}

/// What a file is: its SHA-256, its length, its kind.
pub(crate) fn examine_file(path: &Path) -> io::Result<PhotoRow> {
    let mut file = File::open(path)?;
    let mut hasher = Sha256::new();
    let mut start = Vec::new();
    let mut bytes = 0_u64;
    let mut buffer = vec![0; 256 * 1024];
    loop {
        let read = file.read(&mut buffer)?;
        let Some(part) = buffer.get(..read).filter(|part| !part.is_empty()) else { break };
        if start.len() < 16 {
            start.extend(part.iter().take(16 - start.len()));
        }
        hasher.update(part);
        bytes += part.len() as u64;
    }
    Ok(PhotoRow { sha256: Sha256Hex::from_bytes(hasher.finalize().into()), bytes, kind: PhotoKind::of(&start) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write as _;

    #[test]
    fn bytes_beyond_the_acknowledged_offset_are_cut_off() {
        let folder = tempfile::tempdir().unwrap();
        let shelf = Shelf::open(folder.path()).unwrap();
        shelf.append_at("a", 0).unwrap().write_all(b"hello wor").unwrap();
        shelf.append_at("a", 6).unwrap().write_all(b"world").unwrap();
        assert_eq!(shelf.examine("a", None, 11).unwrap().sha256, Sha256Hex::of(b"hello world"));
        assert_eq!(shelf.append_at("a", 12).unwrap_err().code(), "staging_lost");
    }

    #[test]
    fn photo_renamed_before_a_crash_is_found_under_its_name() {
        let folder = tempfile::tempdir().unwrap();
        let shelf = Shelf::open(folder.path()).unwrap();
        let bytes = b"\x89PNG\r\n\x1a\nrest";
        shelf.append_at("a", 0).unwrap().write_all(bytes).unwrap();
        let photo = shelf.examine("a", None, bytes.len() as u64).unwrap();
        shelf.promote("a", &photo).unwrap();
        assert_eq!(shelf.examine("a", Some(photo.sha256), photo.bytes).unwrap(), photo);
        assert!(shelf.photo_path(&photo).ends_with(format!("{}.png", Sha256Hex::of(bytes))));
        shelf.promote("a", &photo).unwrap();
    }
}
