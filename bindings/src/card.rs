//! The printed debris card, for a frame over the camera's picture.

use gritbook_core::debris::card as core_card;

use crate::cross::{Cross as _, choice, record};
use crate::records::{RectMm, SizeMm};

choice! {
    /// Paper that the card is drawn for.
    Paper = core_card::Paper {
        /// ISO 216 A4.
        A4,
        /// US Letter.
        Letter,
    }
}

record! {
    /// Where things are on a printed page: millimetres from the page's upper left, x right, y down.
    CardGeometry = core_card::CardGeometry {
        /// The page.
        page_mm: SizeMm,
        /// The window.
        window_mm: RectMm,
        /// Each mark (outer edge of its modules, no quiet zone): upper left, upper right, lower right, lower left.
        marks_mm: Vec<RectMm>,
        /// Pixels per millimetre of a picture that is made with it.
        px_per_mm: f64,
    }
}

/// The card on `paper`; `px_per_mm` is handed through.
#[uniffi::export]
pub fn card_geometry(paper: Paper, px_per_mm: f64) -> CardGeometry {
    core_card::CardGeometry::on_paper(paper.cross(), px_per_mm).cross()
}
