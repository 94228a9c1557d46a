//! Where whole photos lie: the seam between the shelf and a kind of storage.

use std::future::poll_fn;
use std::io;
use std::ops::Range;
use std::path::PathBuf;
use std::pin::Pin;
use std::task::{Context, Poll};

use axum::body::Bytes;
use futures_core::Stream;
use gritbook_core::ids::Sha256Hex;

use super::super::archive::{PhotoRow, Work};

/// Whole photos under their SHA-256. What a method reports as done is durable before its future ends, and each may be repeated after a
/// crash at any point of it.
pub trait PhotoStore: Send + Sync {
    /// Takes in the file at `staged`, which was examined as `photo`; after it `staged` is gone. Where it is gone already and the
    /// photo is here, an earlier call was broken off near its end: that one is completed.
    ///
    /// # Errors
    /// `storage_full`, `shelf_failed`; the staged file stays then.
    fn put(&self, staged: PathBuf, photo: PhotoRow) -> Work<()>;

    /// The photo of this name, its hash, length and kind taken of its bytes anew; none where there is no such photo.
    ///
    /// # Errors
    /// `shelf_failed`.
    fn find(&self, sha256: Sha256Hex) -> Work<Option<PhotoRow>>;

    /// Whether the photo is here; its bytes are not read.
    ///
    /// # Errors
    /// `shelf_failed`.
    fn has(&self, photo: PhotoRow) -> Work<bool>;

    /// The bytes `part` of the photo, read as they are asked for. A part that goes beyond the photo ends with it.
    ///
    /// # Errors
    /// `shelf_failed`, also where the photo is not here.
    fn read(&self, photo: PhotoRow, part: Range<u64>) -> Work<PhotoBytes>;

    /// Takes a photo away; it is no error where it is gone.
    ///
    /// # Errors
    /// `shelf_failed`.
    fn remove(&self, photo: PhotoRow) -> Work<()>;
}

/// Bytes of a photo, some at a time.
pub struct PhotoBytes(Pin<Box<dyn Stream<Item = io::Result<Bytes>> + Send>>);

impl PhotoBytes {
    /// Bytes that come from `stream`.
    pub fn new(stream: impl Stream<Item = io::Result<Bytes>> + Send + 'static) -> Self {
        Self(Box::pin(stream))
    }

    /// No bytes.
    #[cfg(feature = "objects")]
    pub fn none() -> Self {
        struct Ended;
        impl Stream for Ended {
            type Item = io::Result<Bytes>;

            fn poll_next(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<Option<Self::Item>> {
                Poll::Ready(None)
            }
        }
        Self::new(Ended)
    }

    /// The next bytes; none at the end.
    pub async fn next(&mut self) -> Option<io::Result<Bytes>> {
        poll_fn(|context| self.0.as_mut().poll_next(context)).await
    }
}

impl Stream for PhotoBytes {
    type Item = io::Result<Bytes>;

    fn poll_next(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        self.0.as_mut().poll_next(context)
    }
}

impl std::fmt::Debug for PhotoBytes {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("PhotoBytes").finish_non_exhaustive()
    }
}
