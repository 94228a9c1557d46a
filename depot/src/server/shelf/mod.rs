//! Where the bytes of photos lie.
//!
//! ```text
//! incoming/<upload id>.part   bytes as they come; the archive's offset is written after they are synced
//! photos/<sha256>.jpg|png|bin  whole and checked, in a [`PhotoStore`]: put in durably, then the archive's row
//! thumbs/<sha256>.jpg          small pictures for the page; may be deleted at any time
//! ```
//!
//! An upload grows byte by byte over days and restarts, which a store of objects cannot do: it lies in a folder, and so do small pictures.
//! Whole photos lie in a folder as well ([`PhotoFolder`]), or in whatever else keeps the promises of [`PhotoStore`].

mod folder;
#[cfg(feature = "objects")]
mod objects;
mod store;

use std::fs::{self, File, OpenOptions};
use std::io::{self, Read as _, Seek as _, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use gritbook_core::ids::Sha256Hex;
use gritbook_core::{CoreError, ErrorKind};
use sha2::{Digest as _, Sha256};

use super::archive::{PhotoKind, PhotoRow, storage_full};
use super::{Places, on_disk};

pub use folder::PhotoFolder;
#[cfg(feature = "objects")]
pub use objects::PhotoObjects;
pub use store::{PhotoBytes, PhotoStore};

const KINDS: [PhotoKind; 3] = [PhotoKind::Jpeg, PhotoKind::Png, PhotoKind::Other];

/// See the module.
#[derive(Clone)]
pub struct Shelf {
    photos: Arc<dyn PhotoStore>,
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

/// A photo's name in a store.
fn name_of(photo: &PhotoRow) -> String {
    format!("{}.{}", photo.sha256, photo.kind.ending())
}

impl Shelf {
    /// Opens or makes the folders of the depot on the data folder `data`, wherever its photos lie. Blocks.
    ///
    /// # Errors
    /// `storage_full`, `shelf_failed`.
    pub fn open(data: &Path) -> Result<Self, CoreError> {
        let folder = &Places::of(data)?.photos;
        Self::on(folder, Arc::new(PhotoFolder::open(folder.join("photos"))?))
    }

    /// A shelf with whole photos in `photos`, all else in `folder`. Blocks.
    ///
    /// # Errors
    /// `storage_full`, `shelf_failed`.
    pub fn on(folder: &Path, photos: Arc<dyn PhotoStore>) -> Result<Self, CoreError> {
        let tried = "making the photo folders";
        let shelf = Self { photos, incoming: folder.join("incoming"), thumbs: folder.join("thumbs") };
        for made in [&shelf.incoming, &shelf.thumbs] {
            fs::create_dir_all(made).map_err(|cause| file_error(tried, cause))?;
        }
        sync_folder(folder).map_err(|cause| file_error(tried, cause))?;
        Ok(shelf)
    }

    /// The whole photos.
    pub fn photos(&self) -> &dyn PhotoStore {
        self.photos.as_ref()
    }

    /// Where a photo's small picture lies, once it was made.
    pub(super) fn thumb_path(&self, sha256: Sha256Hex) -> PathBuf {
        self.thumbs.join(format!("{sha256}.jpg"))
    }

    /// Where the picture of a part of a photo lies, once it was made.
    pub(super) fn window_path(&self, sha256: Sha256Hex, [x, y, width, height]: [u32; 4]) -> PathBuf {
        self.thumbs.join(format!("{sha256}-{x}-{y}-{width}-{height}.jpg"))
    }

    /// Upload ids are checked to be plain names before they come here.
    fn staging_path(&self, id: &str) -> PathBuf {
        self.incoming.join(format!("{id}.part"))
    }

    /// Opens the staged bytes to append at `offset`; what lies beyond was never acknowledged and is cut off. Blocks.
    ///
    /// # Errors
    /// `staging_lost` where fewer bytes are there than were acknowledged; `storage_full`, `shelf_failed`.
    pub(super) fn append_at(&self, id: &str, offset: u64) -> Result<File, CoreError> {
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

    /// Forgets staged bytes; it is no error where there are none. Blocks.
    ///
    /// # Errors
    /// `shelf_failed`.
    pub(super) fn forget(&self, id: &str) -> Result<(), CoreError> {
        match fs::remove_file(self.staging_path(id)) {
            Err(cause) if cause.kind() != io::ErrorKind::NotFound => Err(file_error("removing a photo's staged bytes", cause)),
            _ => Ok(()),
        }
    }

    /// Takes a photo and every small picture of it away; it is no error where they are gone.
    ///
    /// # Errors
    /// `shelf_failed`.
    pub(super) async fn remove(&self, photo: PhotoRow) -> Result<(), CoreError> {
        let (thumbs, name) = (self.thumbs.clone(), photo.sha256.to_string());
        on_disk(move || remove_begun_with(&thumbs, &name).map_err(|cause| file_error("removing a photo's small pictures", cause))).await?;
        self.photos.remove(photo).await
    }

    /// Reads the staged photo and says what it is. Where a crash came between putting it in the store and noting it, the photo is
    /// found there under `expected`.
    ///
    /// # Errors
    /// `staging_lost`, `shelf_failed`.
    pub(super) async fn examine(&self, id: &str, expected: Option<Sha256Hex>, length: u64) -> Result<PhotoRow, CoreError> {
        let staged = self.staging_path(id);
        let examined = on_disk(move || match examine_file(&staged) {
            Ok(photo) => Ok(Some(photo)),
            Err(cause) if cause.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(cause) => Err(file_error("checking a whole photo", cause)),
        });
        let found = match (examined.await?, expected) {
            (None, Some(sha256)) => self.photos.find(sha256).await?,
            (staged, _) => staged,
        };
        match found {
            Some(photo) if photo.bytes == length => Ok(photo),
            other => Err(staging_lost(other.map_or(0, |photo| photo.bytes), length)),
        }
    }

    /// Puts an examined photo into the store, durably.
    ///
    /// # Errors
    /// `storage_full`, `shelf_failed`.
    pub(super) async fn promote(&self, id: &str, photo: PhotoRow) -> Result<(), CoreError> {
        self.photos.put(self.staging_path(id), photo).await
    }

    /// All bytes of a photo.
    ///
    /// # Errors
    /// `shelf_failed`, also where fewer bytes come than the photo has.
    pub(super) async fn whole(&self, photo: PhotoRow) -> Result<Vec<u8>, CoreError> {
        let (length, mut bytes) = (photo.bytes, Vec::new());
        let mut parts = self.photos.read(photo, 0..length).await?;
        while let Some(part) = parts.next().await {
            bytes.extend_from_slice(&part.map_err(|cause| file_error("reading a photo", cause))?);
        }
        if bytes.len() as u64 != length {
            return Err(file_error("reading a photo", io::ErrorKind::UnexpectedEof.into()));
        }
        Ok(bytes)
    }
}

fn remove_begun_with(folder: &Path, name: &str) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if entry.file_name().to_string_lossy().starts_with(name) {
            match fs::remove_file(entry.path()) {
                Err(cause) if cause.kind() != io::ErrorKind::NotFound => return Err(cause),
                _ => {}
            }
        }
    }
    Ok(())
}

fn staging_lost(there: u64, expected: u64) -> CoreError {
    CoreError::new(
        ErrorKind::NotFound,
        "staging_lost",
        format!("{there} of {expected} acknowledged bytes of this upload are left at the depot"),
        "start this upload again from its first byte",
    )
}

/// What a photo's bytes are, told piece by piece.
#[derive(Default)]
struct Examiner {
    hasher: Sha256,
    start: Vec<u8>,
    bytes: u64,
}

impl Examiner {
    fn take(&mut self, part: &[u8]) {
        self.start.extend(part.iter().take(16_usize.saturating_sub(self.start.len())));
        self.hasher.update(part);
        self.bytes += part.len() as u64;
    }

    fn photo(self) -> PhotoRow {
        PhotoRow { sha256: Sha256Hex::from_bytes(self.hasher.finalize().into()), bytes: self.bytes, kind: PhotoKind::of(&self.start) }
    }
}

/// What a file is: its SHA-256, its length, its kind.
pub(crate) fn examine_file(path: &Path) -> io::Result<PhotoRow> {
    let mut file = File::open(path)?;
    let mut examiner = Examiner::default();
    let mut buffer = vec![0; 256 * 1024];
    loop {
        let read = file.read(&mut buffer)?;
        let Some(part) = buffer.get(..read).filter(|part| !part.is_empty()) else { break };
        examiner.take(part);
    }
    Ok(examiner.photo())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write as _;

    #[tokio::test]
    async fn bytes_beyond_the_acknowledged_offset_are_cut_off() {
        let folder = tempfile::tempdir().unwrap();
        let shelf = Shelf::open(folder.path()).unwrap();
        shelf.append_at("a", 0).unwrap().write_all(b"hello wor").unwrap();
        shelf.append_at("a", 6).unwrap().write_all(b"world").unwrap();
        assert_eq!(shelf.examine("a", None, 11).await.unwrap().sha256, Sha256Hex::of(b"hello world"));
        assert_eq!(shelf.append_at("a", 12).unwrap_err().code(), "staging_lost");
    }

    #[tokio::test]
    async fn photo_put_in_before_a_crash_is_found_under_its_name() {
        let folder = tempfile::tempdir().unwrap();
        let shelf = Shelf::open(folder.path()).unwrap();
        let bytes = b"\x89PNG\r\n\x1a\nrest";
        shelf.append_at("a", 0).unwrap().write_all(bytes).unwrap();
        let photo = shelf.examine("a", None, bytes.len() as u64).await.unwrap();
        shelf.promote("a", photo.clone()).await.unwrap();
        assert_eq!(shelf.examine("a", Some(photo.sha256), photo.bytes).await.unwrap(), photo);
        assert!(folder.path().join(format!("photos/{}.png", Sha256Hex::of(bytes))).exists());
        shelf.promote("a", photo.clone()).await.unwrap();
    }
}
