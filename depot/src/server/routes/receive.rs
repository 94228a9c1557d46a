//! Takes a body into an upload: the part of tus in which bytes count only once they are durable.
//!
//! Bytes go to the staging file in parts; after [`SETTLE_EVERY`] bytes, and whenever the body ends in whatever way, the
//! file is synced and then the offset row is written. A cut body therefore keeps what came. The one exception is a
//! checksum that does not match: then nothing of that body counts. A body that was cut before its checksum could be
//! compared is kept: the whole photo is compared with its SHA-256 at the end in any case, and over a link that is cut
//! again and again throwing it away would mean never to arrive.

use std::fs::File;
use std::io::Write as _;
use std::sync::Arc;
use std::time::Instant;

use axum::body::{Body, Bytes};
use axum::http::header;
use gritbook_core::CoreError;
use http_body_util::BodyExt as _;
use sha1::Digest as _;

use super::super::archive::{PhotoRow, Upload, UploadState};
use super::super::busy::Hold;
use super::super::shelf::file_error;
use super::super::{Depot, Problem, on_disk};

/// How many bytes are taken together to the disk.
const WRITE_BYTES: usize = 256 * 1024;
/// How many bytes a killed depot can lose of a body under way.
const SETTLE_EVERY: u64 = 1024 * 1024;
/// A body that brings fewer bytes than this in the time that silence may last is as good as silent: a byte now and then
/// would otherwise hold a connection and an upload for good.
const LEAST_BYTES: usize = 1024;

/// A checksum that the client gave for one body.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Checksum {
    /// SHA-1, which tus makes obligatory.
    Sha1([u8; 20]),
    /// SHA-256.
    Sha256([u8; 32]),
}

enum Hasher {
    Sha1(sha1::Sha1),
    Sha256(sha2::Sha256),
}

impl Hasher {
    fn update(&mut self, bytes: &[u8]) {
        match self {
            Self::Sha1(hasher) => hasher.update(bytes),
            Self::Sha256(hasher) => hasher.update(bytes),
        }
    }

    fn matches(self, checksum: &Checksum) -> bool {
        match (self, checksum) {
            (Self::Sha1(hasher), Checksum::Sha1(expected)) => hasher.finalize()[..] == expected[..],
            (Self::Sha256(hasher), Checksum::Sha256(expected)) => hasher.finalize()[..] == expected[..],
            _ => false,
        }
    }
}

/// How a body ended.
enum End {
    Whole,
    Cut,
    Silent,
    Wanted,
    Stopping,
    TooLong,
}

struct Receiver {
    depot: Depot,
    upload: Upload,
    file: Arc<File>,
    hasher: Option<Hasher>,
    /// Bytes in the file.
    written: u64,
    /// Bytes in the file that are durable and noted.
    settled: u64,
}

/// Takes `body` into `upload` from its offset and gives the upload as it stands after, finished where it is complete.
/// The work goes on when the client goes away.
pub(super) async fn receive(depot: Depot, hold: Hold, upload: Upload, body: Body, checksum: Option<Checksum>) -> Result<Upload, Problem> {
    let task = tokio::spawn(async move {
        let mut receiver = Receiver::open(depot, upload, checksum.as_ref()).await?;
        let outcome = receiver.take(&hold, body, checksum).await;
        let upload = receiver.upload;
        outcome?;
        if upload.offset == upload.length { finish(&receiver.depot, upload).await } else { Ok(upload) }
    });
    task.await.unwrap_or_else(|_| Err(Problem::new(500, "fault", "the upload was broken off by a fault of the depot", "try again")))
}

impl Receiver {
    async fn open(depot: Depot, upload: Upload, checksum: Option<&Checksum>) -> Result<Self, Problem> {
        let shelf = depot.shelf().clone();
        let (id, offset) = (upload.id.clone(), upload.offset);
        let opened = on_disk(move || shelf.append_at(&id, offset)).await;
        let file = match opened {
            Ok(file) => Arc::new(file),
            Err(error) if error.code() == "staging_lost" => {
                depot.archive().drop_upload(upload.id.clone()).await?;
                return Err(Problem::new(410, "staging_lost", error.reason(), error.advice()));
            }
            Err(error) => return Err(error.into()),
        };
        let hasher = checksum.map(|checksum| match checksum {
            Checksum::Sha1(_) => Hasher::Sha1(sha1::Sha1::new()),
            Checksum::Sha256(_) => Hasher::Sha256(sha2::Sha256::new()),
        });
        Ok(Self { depot, file, hasher, written: offset, settled: offset, upload })
    }

    async fn take(&mut self, hold: &Hold, mut body: Body, checksum: Option<Checksum>) -> Result<(), Problem> {
        let start = self.upload.offset;
        let mut waiting = Vec::new();
        let mut stopping = self.depot.stopping();
        let idle = self.depot.settings().body_idle;
        let (mut since, mut brought) = (Instant::now(), 0);
        let end = loop {
            let frame = tokio::select! {
                frame = tokio::time::timeout(idle, body.frame()) => frame,
                () = hold.asked_to_let_go() => break End::Wanted,
                _ = stopping.wait_for(|stop| *stop) => break End::Stopping,
            };
            let data: Bytes = match frame {
                Err(_) => break End::Silent,
                Ok(None) => break End::Whole,
                Ok(Some(Err(_))) => break End::Cut,
                Ok(Some(Ok(frame))) => match frame.into_data() {
                    Ok(data) => data,
                    Err(_) => continue, // trailers
                },
            };
            brought += data.len();
            if since.elapsed() >= idle {
                if brought < LEAST_BYTES {
                    break End::Silent;
                }
                (since, brought) = (Instant::now(), 0);
            }
            if self.written + (waiting.len() + data.len()) as u64 > self.upload.length {
                break End::TooLong;
            }
            waiting.extend_from_slice(&data);
            if waiting.len() >= WRITE_BYTES {
                self.write(std::mem::take(&mut waiting)).await?;
                // With a checksum the whole body counts or nothing does, so its offset is not noted half-way.
                if self.hasher.is_none() && self.written - self.settled >= SETTLE_EVERY {
                    self.settle().await?;
                }
            }
        };
        if matches!(end, End::TooLong) {
            self.discard(start).await?;
            return Err(Problem::new(
                413,
                "longer_than_declared",
                format!("the body goes beyond the {} bytes that were declared", self.upload.length),
                "declare the whole length when the upload is made",
            ));
        }
        self.write(waiting).await?;
        if let (End::Whole, Some(checksum), Some(hasher)) = (&end, &checksum, self.hasher.take())
            && !hasher.matches(checksum)
        {
            self.discard(start).await?;
            // The computed digest is not told: a client must send the bytes again, not adjust its checksum.
            return Err(Problem::new(
                460,
                "checksum_mismatch",
                "the bytes were changed on their way; they do not count",
                "send this part again",
            ));
        }
        self.settle().await?;
        match end {
            End::Whole | End::TooLong => Ok(()),
            End::Cut => {
                Err(Problem::new(408, "cut_off", "the body was cut off; what came is kept", "ask for the offset and go on from there"))
            }
            End::Silent => Err(Problem::new(
                408,
                "silent",
                "the body stayed silent or nearly so for too long; what came is kept",
                "ask for the offset and go on from there",
            )
            .header(header::CONNECTION, "close")),
            End::Wanted => Err(Problem::new(
                423,
                "upload_busy",
                "another request took this upload over; what came is kept",
                "ask for the offset and go on from there",
            )
            .header(header::RETRY_AFTER, "1")
            .header(header::CONNECTION, "close")),
            End::Stopping => Err(Problem::new(503, "stopping", "the depot is shutting down; what came is kept", "try again shortly")
                .header(header::RETRY_AFTER, "5")
                .header(header::CONNECTION, "close")),
        }
    }

    async fn write(&mut self, bytes: Vec<u8>) -> Result<(), Problem> {
        if bytes.is_empty() {
            return Ok(());
        }
        let count = bytes.len() as u64;
        let file = Arc::clone(&self.file);
        let mut hasher = self.hasher.take();
        let at = self.written;
        let outcome = on_disk(move || {
            if let Some(hasher) = hasher.as_mut() {
                hasher.update(&bytes);
            }
            (&*file).write_all(&bytes).map_err(|cause| {
                // Give back the room of the half-written part; if that fails too, the next append cuts it off.
                let _ = file.set_len(at);
                file_error("taking in a photo", cause)
            })?;
            Ok(hasher)
        })
        .await;
        match outcome {
            Ok(hasher) => {
                self.hasher = hasher;
                self.written += count;
                Ok(())
            }
            Err(error) => {
                // What came before this part is kept where that is still possible.
                let _ = self.settle().await;
                Err(error.into())
            }
        }
    }

    async fn settle(&mut self) -> Result<(), CoreError> {
        if self.written == self.settled {
            return Ok(());
        }
        let file = Arc::clone(&self.file);
        on_disk(move || file.sync_data().map_err(|cause| file_error("making a photo's bytes durable", cause))).await?;
        self.note(self.written).await
    }

    async fn discard(&mut self, start: u64) -> Result<(), CoreError> {
        let file = Arc::clone(&self.file);
        on_disk(move || file.set_len(start).map_err(|cause| file_error("taking back a photo's bytes", cause))).await?;
        self.written = start;
        if self.settled == start { Ok(()) } else { self.note(start).await }
    }

    async fn note(&mut self, offset: u64) -> Result<(), CoreError> {
        let expires = self.depot.now() + self.depot.settings().upload_lifetime;
        self.depot.archive().set_offset(self.upload.id.clone(), offset, expires).await?;
        self.settled = offset;
        self.upload.offset = offset;
        self.upload.expires = expires;
        Ok(())
    }
}

/// Checks a complete upload over its whole length and puts it on the shelf. Safe to repeat after a crash at any point.
/// The caller holds the upload.
pub(super) async fn finish(depot: &Depot, mut upload: Upload) -> Result<Upload, Problem> {
    let shelf = depot.shelf().clone();
    let (id, expected, length) = (upload.id.clone(), upload.sha256, upload.length);
    if length == 0 {
        let (shelf, id) = (shelf.clone(), id.clone());
        on_disk(move || shelf.append_at(&id, 0)).await?;
    }
    let examined = shelf.examine(&id, expected, length).await;
    let photo: PhotoRow = match examined {
        Ok(photo) => photo,
        Err(error) if error.code() == "staging_lost" => {
            depot.archive().drop_upload(id).await?;
            return Err(Problem::new(410, "staging_lost", error.reason(), error.advice()));
        }
        Err(error) => return Err(error.into()),
    };
    if upload.declared && expected != Some(photo.sha256) {
        depot.archive().drop_upload(id.clone()).await?;
        on_disk(move || shelf.forget(&id)).await?;
        return Err(Problem::new(
            460,
            "photo_mismatch",
            "the photo that arrived is not the one that was declared: its SHA-256 differs; the upload was deleted",
            "check the photo on the device against its name, then start this upload again",
        ));
    }
    if !upload.declared {
        depot.archive().set_hash(id.clone(), photo.sha256).await?;
    }
    shelf.promote(&id, photo.clone()).await?;
    upload.sha256 = Some(photo.sha256);
    depot.archive().finish_upload(id, photo, depot.now()).await?;
    upload.state = UploadState::Stored;
    Ok(upload)
}
