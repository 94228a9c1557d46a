//! The UniFFI face of `gritbook-core`: Kotlin for the phone, Python for tests. No logic lives here.
//!
//! Everything is synchronous and may block on the disk or on a host trait: call it on a worker thread. The one
//! [`FieldBook`] is made when the program starts and closed when it ends. Ids are strings, photos are paths of files,
//! times are [`Moment`]s, and every number carries its unit in its name.
//!
//! ```text
//! fieldbook ──► core::fieldbook          the one object; each method hands over and converts
//! reading, card ──► core::debris         photo to reading, where things stand on the printed card
//! grades ──► core::wear                 the five grades in words
//! host ──► core::outbox                  traits that the shell implements
//! records ──► core's results             mirrors; a new field or variant in core breaks this build, not the phone
//! error ──► core::error                  FieldBookError
//! ```

mod card;
mod cross;
mod error;
mod fieldbook;
mod grades;
mod host;
mod reading;
mod records;

pub use card::{CardGeometry, Paper, card_geometry};
pub use error::FieldBookError;
pub use fieldbook::{FieldBook, pump_id_named};
pub use grades::{Criteria, Words, criteria_edition, grade_criteria, grade_names};
pub use host::{OutboxListener, Transport, TransportError};
pub use reading::{DebrisReading, ReadingError, ReadingOptions};
pub use records::*;

uniffi::setup_scaffolding!();

/// The version of this library, as in `Cargo.toml`.
#[uniffi::export]
pub fn library_version() -> String {
    env!("CARGO_PKG_VERSION").to_owned()
}
