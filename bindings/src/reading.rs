//! Photo to reading.

use std::path::PathBuf;

use gritbook_core::CoreError;
use gritbook_core::debris::card as core_card;
use gritbook_core::debris::over_photo;
use gritbook_core::debris::read as core_read;
use gritbook_core::debris::settings as core_settings;
use gritbook_core::fieldbook::PhotoInput;

use crate::cross::{Cross, record};
use crate::error::FieldBookError;
use crate::records::{Finding, ReadingFacts};

/// Why a photo gives no reading: show reason and advice, and let it be taken again. In Kotlin: `ReadingException`.
#[derive(Debug, Clone, PartialEq, thiserror::Error, uniffi::Error)]
pub enum ReadingError {
    /// No reading was made.
    #[error("{reason}")]
    NotRead {
        /// Stable code: `no_card`, `blurred`, `too_dark`, `glare`, `too_crowded`, `not_a_photo`, ...
        code: String,
        /// What was wrong.
        reason: String,
        /// What to do.
        advice: String,
        /// What the photo gates measured, gravest first; empty where the photo did not get that far.
        findings: Vec<Finding>,
    },
}

impl From<CoreError> for ReadingError {
    fn from(error: CoreError) -> Self {
        core_read::Refusal::from(error).into()
    }
}

impl From<core_read::Refusal> for ReadingError {
    fn from(refusal: core_read::Refusal) -> Self {
        let core_read::Refusal { error, quality } = refusal;
        Self::NotRead {
            code: error.code().to_owned(),
            reason: error.to_string(),
            advice: error.advice().to_owned(),
            findings: quality.map(|quality| quality.findings.cross()).unwrap_or_default(),
        }
    }
}

/// What a reading may be told.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct ReadingOptions {
    /// The sample that was spread, mL; null for the usual level teaspoon.
    #[uniffi(default = None)]
    pub sample_ml: Option<f64>,
    /// Adds each grain's outline, to be drawn over the photo.
    #[uniffi(default = false)]
    pub outlines: bool,
    /// A scale set by hand; null to find the card.
    #[uniffi(default = None)]
    pub hand: Option<HandScale>,
    /// The shop's limits of the levels; null for the usual ones. The reading records which it used.
    #[uniffi(default = None)]
    pub limits: Option<LevelLimits>,
    /// What the bar on the printed card measures, mm (80 to 125); null where it is as long as it should be.
    #[uniffi(default = None)]
    pub bar_mm: Option<f64>,
}

record! { both
    /// Limits of the passing levels. Common practice, no published source; the shop may edit them.
    LevelLimits = core_settings::LevelLimits {
        /// Grains from this size on speak for sand, mm (0 to 1000).
        sand_from_mm: f64,
        /// Cover below this is paste only, percent (0 to 100).
        some_sand_cover_percent: f64,
        /// Cover above this is sand, percent (not below the one before, to 100).
        sand_cover_percent: f64,
        /// A lump of at least this size means lumps, mm (0 to 1000).
        lump_mm: f64,
        /// A grain of at least this size means lumps, mm (0 to 1000).
        coarse_grain_mm: f64,
    }
}

/// The limits until the shop sets its own.
#[uniffi::export]
pub fn usual_level_limits() -> LevelLimits {
    core_settings::LevelLimits::default().cross()
}

/// Refuses limits that no reading could use, naming the first that is out of range.
#[uniffi::export]
pub fn check_level_limits(limits: LevelLimits) -> Result<(), FieldBookError> {
    Ok(limits.cross().check()?)
}

/// How long the bar on the card should be, mm.
#[uniffi::export]
pub fn true_bar_mm() -> f64 {
    core_card::BAR_MM
}

/// Refuses a bar that no slip of a printer explains.
#[uniffi::export]
pub fn check_bar(bar_mm: f64) -> Result<(), FieldBookError> {
    Ok(core_settings::check_bar(bar_mm)?)
}

/// A scale set by hand, and the part of the oriented photo to read.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct HandScale {
    /// Pixels per millimetre in the oriented photo.
    pub px_per_mm: f64,
    /// Left, top, width and height of what to read, px; null for the whole frame.
    #[uniffi(default = None)]
    pub window_px: Option<WindowPx>,
}

/// A rectangle in the oriented photo, px.
#[derive(Debug, Clone, Copy, PartialEq, Eq, uniffi::Record)]
pub struct WindowPx {
    /// Left edge.
    pub left: u32,
    /// Upper edge.
    pub top: u32,
    /// Width.
    pub width: u32,
    /// Height.
    pub height: u32,
}

/// Pixels per millimetre from two points on a ruler in the oriented photo, px, and the length between them, mm.
#[uniffi::export]
pub fn px_per_mm_of_ruler(from_x_px: f64, from_y_px: f64, to_x_px: f64, to_y_px: f64, length_mm: f64) -> Result<f64, FieldBookError> {
    Ok(core_settings::HandScale::of_ruler([from_x_px, from_y_px], [to_x_px, to_y_px], length_mm)?.px_per_mm)
}

impl From<ReadingOptions> for core_settings::ReadSettings {
    fn from(options: ReadingOptions) -> Self {
        let ReadingOptions { sample_ml, outlines, hand, limits, bar_mm } = options;
        let usual = Self::default();
        let window_px = |window: WindowPx| [window.left, window.top, window.width, window.height];
        let hand = hand.map(|hand| core_settings::HandScale { px_per_mm: hand.px_per_mm, window_px: hand.window_px.map(window_px) });
        Self {
            sample_ml: sample_ml.unwrap_or(usual.sample_ml),
            outlines,
            hand,
            limits: limits.map_or(usual.limits, Cross::cross),
            bar_mm: bar_mm.unwrap_or(usual.bar_mm),
            ..usual
        }
    }
}

/// A reading of a photo, to show and to save with a box check. Close it when the screen is left.
#[derive(Debug, uniffi::Object)]
pub struct DebrisReading(pub(crate) gritbook_core::debris::reading::Reading);

#[uniffi::export]
impl DebrisReading {
    /// Reads the photo in a file. Takes some seconds and some hundred megabytes on a phone: on a worker thread, one at a time.
    #[uniffi::constructor]
    pub fn of_photo(path: String, options: ReadingOptions) -> Result<Self, ReadingError> {
        Ok(Self(core_read::read_photo(&PhotoInput::Path(PathBuf::from(path)).read()?, &options.into())?))
    }

    /// The grains' outlines in the oriented photo, in the order of the grains: x and y in turn, px. Empty lists where the reading
    /// was made without outlines.
    pub fn outlines_px(&self) -> Vec<Vec<f64>> {
        over_photo::outlines_px(&self.0).into_iter().map(|outline| outline.into_iter().flatten().collect()).collect()
    }

    /// What it says.
    pub fn facts(&self) -> ReadingFacts {
        self.0.clone().cross()
    }
}
