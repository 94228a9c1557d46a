//! Photos as files of one folder, `<sha256>.jpg|png|bin`.

use std::fs::{self, File};
use std::io::{self, Read as _, Seek as _, SeekFrom};
use std::ops::Range;
use std::path::PathBuf;
use std::pin::Pin;
use std::task::{Context, Poll};

use axum::body::Bytes;
use futures_core::Stream;
use gritbook_core::CoreError;
use gritbook_core::ids::Sha256Hex;
use tokio::sync::mpsc;

use super::super::archive::{PhotoRow, Work};
use super::super::on_disk;
use super::store::{PhotoBytes, PhotoStore};
use super::{KINDS, examine_file, file_error, name_of, sync_folder};

/// How many bytes are read at a time.
const READ_BYTES: u64 = 128 * 1024;

/// See the module. A photo is renamed into the folder, so what is staged must lie on the same file system.
#[derive(Debug, Clone)]
pub struct PhotoFolder {
    folder: PathBuf,
}

impl PhotoFolder {
    /// Photos in `folder`, which is made where it is missing; the folder above it must be synced by whoever asks.
    ///
    /// # Errors
    /// `storage_full`, `shelf_failed`.
    pub fn open(folder: PathBuf) -> Result<Self, CoreError> {
        fs::create_dir_all(&folder).map_err(|cause| file_error("making the photo folder", cause))?;
        Ok(Self { folder })
    }

    fn path(&self, photo: &PhotoRow) -> PathBuf {
        self.folder.join(name_of(photo))
    }

    /// Off the event loop, with `tried` said where a file's error ends it.
    fn work<T: Send + 'static>(&self, tried: &'static str, work: impl FnOnce(&Self) -> io::Result<T> + Send + 'static) -> Work<T> {
        let this = self.clone();
        Box::pin(on_disk(move || work(&this).map_err(|cause| file_error(tried, cause))))
    }
}

impl PhotoStore for PhotoFolder {
    fn put(&self, staged: PathBuf, photo: PhotoRow) -> Work<()> {
        self.work("putting a photo on the shelf", move |this| {
            let named = this.path(&photo);
            match File::open(&staged) {
                Ok(file) => {
                    file.sync_all()?;
                    fs::rename(&staged, &named)?;
                }
                Err(cause) if cause.kind() == io::ErrorKind::NotFound && named.exists() => {}
                Err(cause) => return Err(cause),
            }
            sync_folder(&this.folder)?;
            staged.parent().map_or(Ok(()), sync_folder)
        })
    }

    fn find(&self, sha256: Sha256Hex) -> Work<Option<PhotoRow>> {
        self.work("looking for a photo on the shelf", move |this| {
            let paths = KINDS.map(|kind| this.path(&PhotoRow { sha256, bytes: 0, kind }));
            paths.iter().find(|path| path.exists()).map(|path| examine_file(path)).transpose()
        })
    }

    fn has(&self, photo: PhotoRow) -> Work<bool> {
        self.work("looking for a photo on the shelf", move |this| this.path(&photo).try_exists())
    }

    fn read(&self, photo: PhotoRow, part: Range<u64>) -> Work<PhotoBytes> {
        self.work("reading a photo", move |this| {
            let mut file = File::open(this.path(&photo))?;
            file.seek(SeekFrom::Start(part.start))?;
            Ok(stream(file.take(part.end.saturating_sub(part.start))))
        })
    }

    fn remove(&self, photo: PhotoRow) -> Work<()> {
        self.work("removing a photo that was put away", move |this| {
            match fs::remove_file(this.path(&photo)) {
                Err(cause) if cause.kind() != io::ErrorKind::NotFound => return Err(cause),
                _ => {}
            }
            sync_folder(&this.folder)
        })
    }
}

/// Reads on a thread of its own, no further ahead than two parts.
fn stream(mut file: io::Take<File>) -> PhotoBytes {
    let (sender, receiver) = mpsc::channel::<io::Result<Bytes>>(2);
    tokio::task::spawn_blocking(move || {
        loop {
            let mut bytes = Vec::with_capacity(usize::try_from(READ_BYTES.min(file.limit())).unwrap_or_default());
            let read = file.by_ref().take(READ_BYTES).read_to_end(&mut bytes);
            let (ended, part) = match read {
                Ok(0) => return,
                Ok(_) => (false, Ok(bytes.into())),
                Err(cause) => (true, Err(cause)),
            };
            if sender.blocking_send(part).is_err() || ended {
                return;
            }
        }
    });
    PhotoBytes::new(Receiving(receiver))
}

/// A channel as a stream.
struct Receiving(mpsc::Receiver<io::Result<Bytes>>);

impl Stream for Receiving {
    type Item = io::Result<Bytes>;

    fn poll_next(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        self.0.poll_recv(context)
    }
}
