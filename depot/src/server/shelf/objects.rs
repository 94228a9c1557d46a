//! Photos in a store of objects: S3 and its like, or anything else that `object_store` speaks to.

use std::error::Error as _;
use std::io;
use std::ops::Range;
use std::path::PathBuf;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};

use axum::body::Bytes;
use futures_core::Stream;
use gritbook_core::CoreError;
use gritbook_core::ids::Sha256Hex;
use object_store::buffered::BufWriter;
use object_store::path::Path as Key;
use object_store::{Error, GetOptions, ObjectStore, ObjectStoreExt as _};
use tokio::io::AsyncWriteExt as _;

use super::super::archive::{PhotoRow, Work};
use super::store::{PhotoBytes, PhotoStore};
use super::{Examiner, KINDS, file_error, name_of};

/// A longer photo goes in parts of this size, bytes: the least that S3 takes for a part.
const PART_BYTES: usize = 5 * 1024 * 1024;

/// See the module. The store's own word counts: what it reports as written must be durable (for files, `with_fsync(true)`).
#[derive(Debug, Clone)]
pub struct PhotoObjects {
    store: Arc<dyn ObjectStore>,
}

impl PhotoObjects {
    /// Photos in `store`, at its root.
    pub fn new(store: Arc<dyn ObjectStore>) -> Self {
        Self { store }
    }

    async fn send(&self, staged: &PathBuf, photo: &PhotoRow) -> io::Result<()> {
        let mut file = match tokio::fs::File::open(staged).await {
            // An earlier call took the staged file away after the photo was in.
            Err(cause) if cause.kind() == io::ErrorKind::NotFound && self.store.head(&key(photo)).await.is_ok() => return Ok(()),
            opened => opened?,
        };
        let mut writer = BufWriter::with_capacity(Arc::clone(&self.store), key(photo), PART_BYTES).with_max_concurrency(1);
        if let Err(cause) = tokio::io::copy(&mut file, &mut writer).await {
            // Parts that stay behind cost room, no photo.
            let _ = writer.abort().await;
            return Err(cause);
        }
        writer.shutdown().await?;
        tokio::fs::remove_file(staged).await
    }

    /// What is under `key`, read through; none where nothing is.
    async fn examine(&self, key: &Key) -> io::Result<Option<PhotoRow>> {
        let found = match self.store.get(key).await {
            Err(Error::NotFound { .. }) => return Ok(None),
            found => found?,
        };
        let (mut parts, mut examiner) = (PhotoBytes::new(Parts(found.into_stream())), Examiner::default());
        while let Some(part) = parts.next().await {
            examiner.take(&part?);
        }
        Ok(Some(examiner.photo()))
    }

    fn work<T, F: Future<Output = io::Result<T>> + Send + 'static>(&self, tried: &'static str, work: impl FnOnce(Self) -> F) -> Work<T> {
        let work = work(self.clone());
        Box::pin(async move { work.await.map_err(|cause| object_error(tried, cause)) })
    }
}

fn key(photo: &PhotoRow) -> Key {
    Key::from(name_of(photo))
}

/// A full disk lies deep in what a store tells.
fn object_error(tried: &str, cause: io::Error) -> CoreError {
    let full = |kind| matches!(kind, io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded | io::ErrorKind::FileTooLarge);
    let mut inner = cause.source();
    while let Some(error) = inner {
        match error.downcast_ref::<io::Error>() {
            Some(file) if full(file.kind()) => return file_error(tried, file.kind().into()).because(cause),
            _ => inner = error.source(),
        }
    }
    file_error(tried, cause)
}

impl PhotoStore for PhotoObjects {
    fn put(&self, staged: PathBuf, photo: PhotoRow) -> Work<()> {
        self.work("putting a photo in its store", |this| async move { this.send(&staged, &photo).await })
    }

    fn find(&self, sha256: Sha256Hex) -> Work<Option<PhotoRow>> {
        self.work("looking for a photo in its store", move |this| async move {
            for kind in KINDS {
                if let Some(found) = this.examine(&key(&PhotoRow { sha256, bytes: 0, kind })).await? {
                    return Ok(Some(found));
                }
            }
            Ok(None)
        })
    }

    fn has(&self, photo: PhotoRow) -> Work<bool> {
        self.work("looking for a photo in its store", move |this| async move {
            match this.store.head(&key(&photo)).await {
                Ok(_) => Ok(true),
                Err(Error::NotFound { .. }) => Ok(false),
                Err(cause) => Err(cause.into()),
            }
        })
    }

    fn read(&self, photo: PhotoRow, part: Range<u64>) -> Work<PhotoBytes> {
        self.work("reading a photo", move |this| async move {
            let wanted = part.start..part.end.min(photo.bytes);
            if wanted.is_empty() {
                // A store refuses to give no bytes, whether the photo is there or not.
                this.store.head(&key(&photo)).await?;
                return Ok(PhotoBytes::none());
            }
            let options = GetOptions { range: Some(wanted.into()), ..GetOptions::default() };
            let found = this.store.get_opts(&key(&photo), options).await?;
            Ok(PhotoBytes::new(Parts(found.into_stream())))
        })
    }

    fn remove(&self, photo: PhotoRow) -> Work<()> {
        self.work("removing a photo that was put away", move |this| async move {
            match this.store.delete(&key(&photo)).await {
                Err(Error::NotFound { .. }) => Ok(()),
                done => Ok(done?),
            }
        })
    }
}

/// A store's stream with its errors as those of files.
struct Parts<S>(S);

impl<S: Stream<Item = object_store::Result<Bytes>> + Unpin> Stream for Parts<S> {
    type Item = io::Result<Bytes>;

    fn poll_next(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        Pin::new(&mut self.0).poll_next(context).map(|next| next.map(|part| part.map_err(io::Error::from)))
    }
}
