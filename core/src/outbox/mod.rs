//! The outbox: says which request to make next and takes the answer; others carry the bytes (sans-IO).
//!
//! # States of a queued item
//! `waiting` → sent and acknowledged → gone from the queue. `waiting` → permanent refusal → `parked`, with the depot's
//! reason, visible until a person retries it (`waiting` again) or drops it (`dropped`: it is not sent, the record keeps
//! it). "Being sent" is never stored: after a crash an item is sent again, and the depot treats a repeat as success.
//!
//! | outcome | meaning | what happens |
//! |---|---|---|
//! | network | no answer, cut, timeout | the whole queue pauses with full-jitter back-off |
//! | later | 408, 423, 425, 429, 5xx; the token refused; no depot at the address | the queue pauses, at least as long as `Retry-After` says |
//! | permanent | other 4xx, a refused verdict | this item is parked with the reason, the next goes on |
//!
//! [`policy::judge`] has the whole table. A token that was taken away parks nothing: it is not the items' fault.
//!
//! # Being let in
//! A device that holds an enrolment code shows it before anything else, with the token it made itself as its bearer. Showing both
//! again does nothing more, so the code is kept until [`OutboxEvent::LetIn`] was heard. A refusal parks nothing: everything waits.
//!
//! # Order
//! Entries go in the order they were made, in batches, up to the first that names a photo which still waits; that photo
//! goes then. A photo goes before the entries that name it, but a parked or dropped photo holds nothing up: its entry goes,
//! and the depot shows the photo as missing until it comes. An entry and its queue row are written in one transaction.
//!
//! # Photos
//! tus 1.0.0: `POST /v1/photos` with the first bytes (creation-with-upload), `PATCH` for the rest, `HEAD` to learn the
//! offset after a cut. The upload is named by an id made here (`upload_id` in the metadata), so that a repeated create
//! finds the first. A photo is hashed before its upload begins: one that was damaged on the disk is parked, not sent.
//!
//! # Pull
//! When nothing is left to send, what other devices wrote is read page by page behind a cursor. Entries are stored
//! verbatim; a known one is ignored; one with a known id and another text is kept aside and reported. The page and the
//! cursor are stored in one transaction.
//!
//! # Not guaranteed
//! That the depot gets an entry once only: it may get it twice, and must say `already_there`.

mod answer;
pub mod chain;
mod enrolment;
pub mod hlc;
mod next;
pub mod policy;
mod run;
#[cfg(test)]
mod simulation;
pub mod transport;
mod tus;

pub(crate) use answer::upload_id;
pub use enrolment::{Admission, ENROLMENT_KIND, Enrolment, Right};
pub use policy::Backoff;
pub use run::{Ended, RunOptions, RunReport, run_outbox};
pub use transport::{Answer, Body, Method, Request, Transport, TransportFault, TransportFaultKind};

use chrono::{DateTime, Utc};

use crate::ids::{EntryId, PhotoId, Sha256Hex};
use crate::model::outgoing::Trouble;
use crate::wire::v1::{MAX_BATCH_BYTES_HEADER, MAX_BATCH_ENTRIES_HEADER};

/// Photo bytes in a run's first request: 20 s at 6 kB/s, the rate of 2G (from memory, no published source).
pub const FIRST_CHUNK_BYTES: u64 = 128 * 1024;
/// Photo bytes in one request after cuts.
const LEAST_CHUNK_BYTES: u64 = 64 * 1024;
/// A request with photo bytes that took less is followed by one of twice as many.
const QUICK_MS: i64 = 8_000;
/// One that took longer is followed by one of half as many.
const SLOW_MS: i64 = 30_000;

/// What the outbox may be told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutboxSettings {
    /// Most photo bytes in one request (at least 1; 1 MiB by default). A run begins with [`FIRST_CHUNK_BYTES`] and goes up to this while
    /// requests are quick: on a thin link each is done before anybody's patience ends.
    pub chunk_bytes: u64,
    /// Most entries in one batch.
    pub batch_entries: usize,
    /// Most bytes in one batch, envelope included.
    pub batch_bytes: usize,
    /// Send each chunk's SHA-256 along (tus checksum).
    pub checksum_chunks: bool,
    /// Entries asked for in one page.
    pub page_entries: u32,
    /// Waiting after failures.
    pub backoff: Backoff,
}

impl Default for OutboxSettings {
    fn default() -> Self {
        Self {
            chunk_bytes: 1 << 20,
            batch_entries: 100,
            batch_bytes: 1 << 20,
            checksum_chunks: true,
            page_entries: 200,
            backoff: Backoff::default(),
        }
    }
}

/// What to do now.
#[derive(Debug)]
pub enum Next {
    /// Make this request and bring what came of it with the ticket.
    Send {
        /// Belongs to the request.
        ticket: Ticket,
        /// What to carry.
        request: Request,
    },
    /// The queue waits.
    WaitUntil(DateTime<Utc>),
    /// All is sent, or parked, and nothing more is to be had.
    Nothing,
}

/// Stands for one request that was handed out. Holds nothing that must survive: after a crash it is simply gone.
#[derive(Debug)]
pub struct Ticket(Work);

#[derive(Debug)]
enum Work {
    LetIn,
    Create { item: i64, photo: PhotoId, length: u64 },
    Ask { item: i64, photo: PhotoId, length: u64, path: String },
    Chunk { item: i64, photo: PhotoId, length: u64, path: String, offset: u64, count: u64 },
    Entries(Vec<Sent>),
    Pull { cursor: String },
}

#[derive(Debug)]
struct Sent {
    item: i64,
    id: EntryId,
    hash: Sha256Hex,
}

/// What came of an answer; for the screen that shows the outbox.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OutboxEvent {
    /// The depot took this device's token: its enrolment code is spent and need not be kept.
    LetIn,
    /// The depot will never take this device's code: a device that was let in before goes on with what let it in then.
    TurnedAway,
    /// The depot has this entry.
    EntrySent(EntryId),
    /// The depot has this photo, whole.
    PhotoSent(PhotoId),
    /// Part of a photo is there.
    PhotoProgress {
        /// Which photo.
        photo: PhotoId,
        /// Bytes at the depot.
        sent_bytes: u64,
        /// Bytes in all.
        length_bytes: u64,
    },
    /// An item was parked.
    Parked {
        /// Its number.
        item: i64,
        /// Why.
        trouble: Trouble,
    },
    /// The whole queue waits.
    Paused {
        /// Until then.
        until: DateTime<Utc>,
        /// Why.
        trouble: Trouble,
    },
    /// A page came from the depot.
    Pulled {
        /// Entries that were new here.
        new_entries: u32,
        /// Entries kept aside.
        set_aside: u32,
        /// Devices' entries whose clock is too far ahead to be followed.
        clocks_ahead: u32,
    },
}

/// The sending side of a book. Holds only what may be forgotten; everything that must survive is in the book.
#[derive(Debug)]
pub struct Outbox {
    settings: OutboxSettings,
    /// Photo bytes in the next request.
    chunk_bytes: u64,
    /// When the request under way was handed out, ms since 1970.
    began_ms: i64,
    /// Entries in the next batch: halved when the depot finds one too much, grown again as batches pass.
    batch_cap: usize,
    /// The depot's own limits on a batch, once it has told them: entries and bytes.
    told: (usize, usize),
    /// The enrolment code that is still to be shown.
    code: Option<String>,
    /// Whether the depot is still to be asked for what others wrote.
    pull: bool,
    /// State of the generator of jitter draws.
    seed: u64,
}

impl Outbox {
    /// An outbox; `seed` makes the back-off's draws, the same seed the same draws. `pull` asks for others' entries too.
    pub fn new(settings: OutboxSettings, seed: u64, pull: bool) -> Self {
        let batch_cap = settings.batch_entries.max(1);
        let most_bytes = settings.chunk_bytes.max(1);
        Self {
            chunk_bytes: FIRST_CHUNK_BYTES.min(most_bytes),
            began_ms: 0,
            settings: OutboxSettings { chunk_bytes: most_bytes, ..settings },
            batch_cap,
            told: (usize::MAX, usize::MAX),
            code: None,
            pull,
            seed,
        }
    }

    /// With an enrolment code to show before anything else.
    #[must_use]
    pub fn showing(self, code: Option<String>) -> Self {
        Self { code, ..self }
    }

    fn most_entries(&self) -> usize {
        self.settings.batch_entries.min(self.told.0).max(1)
    }

    fn most_bytes(&self) -> usize {
        self.settings.batch_bytes.min(self.told.1)
    }

    /// Fits the next request with photo bytes to how long the last one took; none where no answer came.
    fn fit_chunk(&mut self, took_ms: Option<i64>) {
        self.chunk_bytes = match took_ms {
            Some(took_ms) if took_ms < QUICK_MS => self.chunk_bytes.saturating_mul(2).min(self.settings.chunk_bytes),
            Some(took_ms) if took_ms < SLOW_MS => self.chunk_bytes,
            _ => (self.chunk_bytes / 2).max(LEAST_CHUNK_BYTES.min(self.settings.chunk_bytes)),
        };
    }

    /// Heeds the limits that the depot tells with its answers.
    fn heed(&mut self, answer: &Answer) {
        let told = |name| answer.header(name).and_then(|text| text.trim().parse().ok());
        self.told.0 = told(MAX_BATCH_ENTRIES_HEADER).unwrap_or(self.told.0);
        self.told.1 = told(MAX_BATCH_BYTES_HEADER).unwrap_or(self.told.1);
    }

    /// A draw from 0 to 1 (splitmix64, Steele, Lea, Flood 2014).
    fn draw(&mut self) -> f64 {
        self.seed = self.seed.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut bits = self.seed;
        bits = (bits ^ (bits >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        bits = (bits ^ (bits >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        bits ^= bits >> 31;
        // 53 bits fill a double exactly.
        #[allow(clippy::cast_precision_loss)]
        let draw = (bits >> 11) as f64 / (1_u64 << 53) as f64;
        draw
    }
}
