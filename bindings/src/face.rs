//! A photo of a wear surface, measured: what a thumb grade may lean on. It suggests; the person grades.

use std::path::PathBuf;

use gritbook_core::debris::card::BAR_MM;
use gritbook_core::face::reading::{FaceReading, MarkedRegion};
use gritbook_core::face::{FaceSettings, measure_beside, words};
use gritbook_core::fieldbook::PhotoInput;

use crate::grades::Words;
use crate::reading::ReadingError;

/// What a photo of a wear surface shows: lines to read beside it, marks to draw over it.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct FaceLook {
    /// Short lines, gravest first: shares, the largest grain, scores, more than last time or not, what could not be told. The last one
    /// says who gives the grade.
    pub lines: Vec<Words>,
    /// Width of the oriented photo that the marks' places are counted in, px.
    pub width_px: u32,
    /// Its height, px.
    pub height_px: u32,
    /// What was counted.
    pub marks: Vec<FaceMark>,
}

/// One thing that was counted on a wear surface.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct FaceMark {
    /// What it is.
    pub kind: FaceMarkKind,
    /// Its outline in the oriented photo: x and y in turn, px.
    pub outline_px: Vec<f64>,
}

/// What is counted on a wear surface.
#[derive(Debug, Clone, Copy, PartialEq, Eq, uniffi::Enum)]
pub enum FaceMarkKind {
    /// Embedded grit.
    Grit,
    /// A score.
    Score,
    /// Chipped chrome.
    Chip,
}

/// Measures the photo in a file, beside the last one of the same part where one is given. `bar_mm` is what the bar on the printed card
/// measures; null where it is as long as it should be. `outline_px` goes round the surface in the oriented photo, x and y in turn, px;
/// null looks for the largest coloured surface, and bare metal always needs one. The last photo is looked at without. Takes a second and
/// some hundred megabytes: on a worker thread, one at a time.
#[uniffi::export(default(outline_px = None))]
pub fn measure_face(
    path: String,
    last: Option<String>,
    bar_mm: Option<f64>,
    outline_px: Option<Vec<f64>>,
) -> Result<FaceLook, ReadingError> {
    let alone = FaceSettings { bar_mm: bar_mm.unwrap_or(BAR_MM), ..FaceSettings::default() };
    let settings = FaceSettings { outline_px: outline_px.map(|places| places.as_chunks().0.to_vec()), ..alone.clone() };
    let file = |path: String| PhotoInput::Path(PathBuf::from(path));
    let (photo, last) = (file(path), last.map(file));
    let last = last.as_ref().map(PhotoInput::read).transpose()?;
    let outcome = measure_beside(&photo.read()?, &settings, last.as_deref().map(|last| (last, &alone)))?;
    Ok(look(&outcome.reading))
}

fn look(reading: &FaceReading) -> FaceLook {
    let grit = reading.grit.iter().flat_map(|grit| &grit.regions);
    let chips = reading.chips.iter().flat_map(|chips| &chips.regions);
    let marks = marked(FaceMarkKind::Grit, grit)
        .chain(marked(FaceMarkKind::Score, &reading.scores.regions))
        .chain(marked(FaceMarkKind::Chip, chips));
    FaceLook {
        lines: words::lines(reading).into_iter().map(|(en, es)| Words { en, es }).collect(),
        width_px: reading.photo.width_px,
        height_px: reading.photo.height_px,
        marks: marks.collect(),
    }
}

fn marked<'a>(kind: FaceMarkKind, regions: impl IntoIterator<Item = &'a MarkedRegion>) -> impl Iterator<Item = FaceMark> {
    regions.into_iter().map(move |region| FaceMark { kind, outline_px: region.outline_px.iter().flatten().copied().collect() })
}
