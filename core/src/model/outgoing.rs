//! What waits to go to the depot.

use serde::Serialize;

use crate::ids::{EntryId, PhotoId};

/// Why something does not go on: what was wrong and what to do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Trouble {
    /// Stable code, the depot's or ours.
    pub code: String,
    /// What was wrong.
    pub reason: String,
    /// What to do.
    pub advice: String,
}

/// Where a queued item stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum QueueState {
    /// Goes when its turn comes.
    Waiting,
    /// The depot will not have it as it is: a person retries or drops it.
    Parked,
    /// A person decided that it is not sent. The record keeps it.
    Dropped,
}

/// What it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(tag = "what", rename_all = "snake_case")]
pub enum QueuedThing {
    /// An entry.
    Entry {
        /// Which.
        id: EntryId,
    },
    /// A photo.
    Photo {
        /// Which.
        id: PhotoId,
        /// Its size, bytes.
        bytes: u64,
        /// How much of it the depot is known to have, bytes; null where it must be asked.
        sent_bytes: Option<u64>,
    },
}

/// One queued item. When it is tried next is the queue's matter: see [`QueuePause`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct QueuedItem {
    /// Its number in this book, for retry and drop.
    pub item: i64,
    /// Entry or photo.
    #[serde(flatten)]
    pub thing: QueuedThing,
    /// Waiting, parked, dropped.
    pub state: QueueState,
    /// When it was queued, ms since 1970.
    pub created_ms: i64,
    /// How often it was sent.
    pub attempts: u32,
    /// Why it is parked, or what went wrong last.
    pub trouble: Option<Trouble>,
}

/// The whole queue waits until then: after no answer, or because the depot asked for it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct QueuePause {
    /// Failures in a row.
    pub failures: u32,
    /// Since when, ms since 1970.
    pub since_ms: i64,
    /// Until when, ms since 1970.
    pub until_ms: i64,
    /// Stable code: `offline`, `cut`, `wrong_key`, `depot_busy`, `depot_refused_token`, ...
    pub code: String,
    /// In plain words.
    pub reason: String,
}
