//! Photo to reading.

use crate::cross::Cross as _;
use crate::records::ReadingFacts;

/// A reading of a photo, to show and to save with a box check. Close it when the screen is left.
#[derive(Debug, uniffi::Object)]
pub struct DebrisReading(pub(crate) gritbook_core::debris::reading::Reading);

#[uniffi::export]
impl DebrisReading {
    /// What it says.
    pub fn facts(&self) -> ReadingFacts {
        self.0.clone().cross()
    }
}
