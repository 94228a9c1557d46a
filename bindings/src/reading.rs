//! Photo to reading.

use std::path::PathBuf;

use gritbook_core::CoreError;
use gritbook_core::debris::read as core_read;
use gritbook_core::debris::settings as core_settings;
use gritbook_core::fieldbook::PhotoInput;

use crate::cross::Cross as _;
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
}

impl From<ReadingOptions> for core_settings::ReadSettings {
    fn from(options: ReadingOptions) -> Self {
        let ReadingOptions { sample_ml, outlines } = options;
        let usual = Self::default();
        Self { sample_ml: sample_ml.unwrap_or(usual.sample_ml), outlines, ..usual }
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

    /// What it says.
    pub fn facts(&self) -> ReadingFacts {
        self.0.clone().cross()
    }
}
