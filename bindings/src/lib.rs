//! The UniFFI face of `gritbook-core`: Kotlin for the phone, Python for tests. No logic lives here.
//!
//! Everything is synchronous and may block on the disk or on a host trait: call it on a worker thread. The one
//! [`FieldBook`] is made when the program starts and closed when it ends. Ids are strings, photos are paths of files,
//! times are [`Moment`]s, and every number carries its unit in its name.
//!
//! ```text
//! fieldbook ──► core::fieldbook          the one object; each method hands over and converts
//! reading, card ──► core::debris         photo to reading, where things stand on the printed card
//! face ──► core::face                   photo of a wear surface to marks and lines
//! grades ──► core::wear                 the five grades in words
//! wear ──► core::wear                   measured wear: the bore; with `measured` plate, lip, band, O-ring, bolt, line too
//! units, enrolment ──► core             figures in the shop's units, the code that lets a device in
//! host ──► core::outbox                  traits that the shell implements
//! records ──► core's results             mirrors; a new field or variant in core breaks this build, not the phone
//! error ──► core::error                  FieldBookError
//! ```

mod card;
mod cross;
mod enrolment;
mod error;
mod face;
mod fieldbook;
mod grades;
mod host;
mod reading;
mod records;
mod units;
mod wear;

pub use card::{CardGeometry, Paper, card_geometry};
pub use enrolment::{Enrolment, enrolment_of_payload, enrolment_of_photo};
pub use error::{FieldBookError, SpanishError, spanish_error};
pub use face::{FaceLook, FaceMark, FaceMarkKind, measure_face};
pub use fieldbook::{FieldBook, pump_id_named};
pub use grades::{Criteria, LevelWords, Words, criteria_edition, grade_criteria, grade_names, level_words, liquid_words, part_words};
pub use host::{OutboxListener, Transport, TransportError};
pub use reading::{
    DebrisReading, HandScale, LevelLimits, ReadingError, ReadingOptions, WindowPx, check_bar, check_level_limits, px_per_mm_of_ruler,
    true_bar_mm, usual_level_limits,
};
pub use records::*;
pub use units::{DecimalMark, Quantity, UnitSystem, figure, parse_figure, typed_figure, unit_of};
pub use wear::*;

uniffi::setup_scaffolding!();

/// The version of this library, as in `Cargo.toml`.
#[uniffi::export]
pub fn library_version() -> String {
    env!("CARGO_PKG_VERSION").to_owned()
}
