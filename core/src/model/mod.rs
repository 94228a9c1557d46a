//! What a record is: pumps, parts, entries; and what waits to be sent.

pub mod entry;
pub mod outgoing;
pub mod part;
pub mod pump;
mod strict_json;
pub mod words;

pub use entry::{Entry, EntryBody, EntryHead, SealedEntry};
pub use outgoing::{QueuePause, QueueState, QueuedItem, QueuedThing, Trouble};
pub use part::{Cup, Grade, GradeSource, Part};
pub use pump::PumpSpec;
