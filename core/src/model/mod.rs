//! What a record is: pumps, parts, entries.

pub mod entry;
pub mod part;
pub mod pump;

pub use entry::{Entry, EntryBody, EntryHead, SealedEntry};
pub use part::{Cup, Grade, GradeSource, Part};
pub use pump::PumpSpec;
