//! Measured wear: readings in, what they come to out. Each result carries its document, to be recorded as
//! [`MeasureTaken::document_json`](crate::MeasureTaken).
//!
//! ```text
//! bore                                 always there: the phone has a screen for it
//! plate, thickness, oring, bolt, line  with the feature `measured`
//! document                             with it too: a document as what is recorded of it, an earlier reading
//! ```

#[cfg(feature = "measured")]
mod bolt;
mod bore;
#[cfg(feature = "measured")]
mod document;
#[cfg(feature = "measured")]
mod line;
#[cfg(feature = "measured")]
mod oring;
#[cfg(feature = "measured")]
mod plate;
#[cfg(feature = "measured")]
mod thickness;

#[cfg(feature = "measured")]
pub use bolt::*;
pub use bore::*;
#[cfg(feature = "measured")]
pub use document::*;
use gritbook_core::model::entry as core_entry;
use gritbook_core::wear as core_wear;
#[cfg(feature = "measured")]
pub use line::*;
#[cfg(feature = "measured")]
pub use oring::*;
#[cfg(feature = "measured")]
pub use plate::*;
#[cfg(feature = "measured")]
pub use thickness::*;

use crate::cross::{Cross, choice};
use crate::grades::Words;
use crate::records::MeasureTaken;

choice! {
    /// What a measure says against its limit.
    Verdict = core_wear::Verdict {
        /// Within it.
        Good,
        /// Over it.
        Bad,
        /// The limit lies within what the gauge's step hides.
        TooClose,
        /// Within it as far as was measured.
        MeasureMore,
    }
}

/// What a measurement comes to, for the screen; the whole of it is in the document.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct MeasuredWear {
    /// What to record; null for a delivery line, which is no part of a cup's record.
    pub taken: Option<MeasureTaken>,
    /// The verdict; null for a bolt, which has none.
    pub verdict: Option<Verdict>,
    /// The verdict in words.
    pub verdict_words: Option<Words>,
    /// The document, JSON.
    pub document_json: String,
}

fn wear(document_json: String, verdict: Option<core_wear::Verdict>) -> MeasuredWear {
    // A line's document is no part's: it has nothing to record.
    let taken = core_entry::Measured::of_document(&document_json, None, None).ok().map(Cross::cross);
    MeasuredWear { taken, verdict: verdict.cross(), verdict_words: verdict.map(|verdict| verdict.words().cross()), document_json }
}
