//! The outbox: what waits, what is to be carried, what a run did.

use gritbook_core::model::outgoing as core_outgoing;
use gritbook_core::outbox as core_outbox;

use super::Header;
use crate::cross::{Cross, choice, record};

choice! {
    /// HTTP methods that the outbox uses.
    HttpMethod = core_outbox::Method {
        /// Ask for something.
        Get,
        /// Ask for headers only.
        Head,
        /// Create.
        Post,
        /// Store a batch.
        Put,
        /// Append to an upload.
        Patch,
        /// End an upload.
        Delete,
    }
}

/// The bytes of a request. Photos go as a part of a file, never through memory.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Enum)]
pub enum Body {
    /// None.
    Empty,
    /// At most 1 MiB.
    Bytes {
        /// The bytes.
        bytes: Vec<u8>,
    },
    /// A part of a file.
    File {
        /// Inside the book's own folder.
        path: String,
        /// First byte.
        offset_bytes: u64,
        /// How many.
        length_bytes: u64,
    },
}

impl Cross<Body> for core_outbox::Body {
    fn cross(self) -> Body {
        match self {
            Self::Empty => Body::Empty,
            Self::Bytes(bytes) => Body::Bytes { bytes },
            Self::File { path, offset, length } => Body::File { path: path.cross(), offset_bytes: offset, length_bytes: length },
        }
    }
}

record! {
    /// One request to make. The carrier adds `Authorization` and the depot's address.
    Request = core_outbox::Request {
        /// Method.
        method: HttpMethod,
        /// Path with query, below the depot's address; starts with `/v1/`.
        path: String,
        /// In the order to send.
        headers: Vec<Header>,
        /// Body.
        body: Body,
    }
}

record! { both
    /// What came back, whatever the status.
    Answer = core_outbox::Answer {
        /// HTTP status.
        status: u16,
        /// Names in lower case.
        headers: Vec<Header>,
        /// At most 4 MiB.
        body: Vec<u8>,
    }
}

record! {
    /// Why something does not go on.
    Trouble = core_outgoing::Trouble {
        /// Stable code, the depot's or ours.
        code: String,
        /// What was wrong.
        reason: String,
        /// What to do.
        advice: String,
    }
}

choice! {
    /// Where a queued item stands.
    QueueState = core_outgoing::QueueState {
        /// Goes when its turn comes.
        Waiting,
        /// The depot will not have it as it is: a person retries or drops it.
        Parked,
        /// A person decided that it is not sent. The record keeps it.
        Dropped,
    }
}

/// What is queued.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Enum)]
pub enum QueuedThing {
    /// An entry.
    Entry {
        /// Which.
        entry_id: String,
    },
    /// A photo.
    Photo {
        /// Which.
        photo_id: String,
        /// Its size.
        length_bytes: u64,
        /// How much of it the depot is known to have; null where it must be asked.
        sent_bytes: Option<u64>,
    },
}

impl Cross<QueuedThing> for core_outgoing::QueuedThing {
    fn cross(self) -> QueuedThing {
        match self {
            Self::Entry { id } => QueuedThing::Entry { entry_id: id.cross() },
            Self::Photo { id, bytes, sent_bytes } => QueuedThing::Photo { photo_id: id.cross(), length_bytes: bytes, sent_bytes },
        }
    }
}

record! {
    /// One queued item.
    QueuedItem = core_outgoing::QueuedItem {
        /// Its number in this book, for retry and drop.
        item: i64,
        /// Entry or photo.
        thing: QueuedThing,
        /// Waiting, parked, dropped.
        state: QueueState,
        /// When it was queued, ms since 1970, UTC.
        created_ms: i64,
        /// How often it was sent.
        attempts: u32,
        /// Why it is parked, or what went wrong last.
        trouble: Option<Trouble>,
    }
}

record! {
    /// The whole queue waits.
    QueuePause = core_outgoing::QueuePause {
        /// Failures in a row.
        failures: u32,
        /// Since when, ms since 1970, UTC.
        since_ms: i64,
        /// Until when, ms since 1970, UTC.
        until_ms: i64,
        /// Stable code.
        code: String,
        /// In plain words.
        reason: String,
    }
}

/// What came of an answer.
#[derive(Debug, Clone, PartialEq, uniffi::Enum)]
pub enum OutboxEvent {
    /// The depot took this device's token: its enrolment code is spent, forget it.
    LetIn,
    /// The depot will never take this device's code: go on with what let the device in before, where there is such.
    TurnedAway,
    /// The depot has this entry.
    EntrySent {
        /// Which.
        entry_id: String,
    },
    /// The depot has this photo, whole.
    PhotoSent {
        /// Which.
        photo_id: String,
    },
    /// Part of a photo is there.
    PhotoProgress {
        /// Which.
        photo_id: String,
        /// At the depot.
        sent_bytes: u64,
        /// In all.
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
        /// Until then, ms since 1970, UTC.
        until_ms: i64,
        /// Why.
        trouble: Trouble,
    },
    /// A page came from the depot.
    Pulled {
        /// Entries that were new here.
        new_entries: u32,
        /// Entries kept aside.
        set_aside: u32,
        /// Entries whose device's clock is too far ahead to be followed.
        clocks_ahead: u32,
    },
}

impl Cross<OutboxEvent> for core_outbox::OutboxEvent {
    fn cross(self) -> OutboxEvent {
        match self {
            Self::LetIn => OutboxEvent::LetIn,
            Self::TurnedAway => OutboxEvent::TurnedAway,
            Self::EntrySent(entry) => OutboxEvent::EntrySent { entry_id: entry.cross() },
            Self::PhotoSent(photo) => OutboxEvent::PhotoSent { photo_id: photo.cross() },
            Self::PhotoProgress { photo, sent_bytes, length_bytes } => {
                OutboxEvent::PhotoProgress { photo_id: photo.cross(), sent_bytes, length_bytes }
            }
            Self::Parked { item, trouble } => OutboxEvent::Parked { item, trouble: trouble.cross() },
            Self::Paused { until, trouble } => OutboxEvent::Paused { until_ms: until.cross(), trouble: trouble.cross() },
            Self::Pulled { new_entries, set_aside, clocks_ahead } => OutboxEvent::Pulled { new_entries, set_aside, clocks_ahead },
        }
    }
}

/// How a run ended.
#[derive(Debug, Clone, PartialEq, uniffi::Enum)]
pub enum RunEnd {
    /// All that can be sent is sent.
    Finished,
    /// The queue waits: run again then.
    Paused {
        /// Until then, ms since 1970, UTC.
        until_ms: i64,
        /// Why, where it happened in this run.
        trouble: Option<Trouble>,
    },
    /// The carrier was told to stop.
    Cancelled,
}

impl Cross<RunEnd> for core_outbox::Ended {
    fn cross(self) -> RunEnd {
        match self {
            Self::Finished => RunEnd::Finished,
            Self::Paused { until, trouble } => RunEnd::Paused { until_ms: until.cross(), trouble: trouble.cross() },
            Self::Cancelled => RunEnd::Cancelled,
        }
    }
}

record! {
    /// What a run did.
    RunReport = core_outbox::RunReport {
        /// Entries that the depot acknowledged.
        entries_sent: u32,
        /// Photos that the depot acknowledged.
        photos_sent: u32,
        /// Items parked.
        parked: u32,
        /// Entries of others that are new here.
        entries_pulled: u32,
        /// Entries kept aside.
        set_aside: u32,
        /// Requests made.
        requests: u32,
        /// How it ended.
        ended: RunEnd,
    }
}
