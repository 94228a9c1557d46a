//! What a measurement of a wear surface can be told.

use serde::{Deserialize, Serialize};

use super::reading::Surface;
use crate::debris::card::BAR_MM;
use crate::debris::settings::check_bar;
use crate::error::CoreError;

/// Everything that may change the answer. Written into the document as `method.settings`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct FaceSettings {
    /// The surface's outline in the oriented photo, px, corner by corner; `None` looks for the largest coloured surface.
    pub outline_px: Option<Vec<[f64; 2]>>,
    /// A white spot in the oriented photo (left, top, width, height in px), for photos without the card.
    pub white_px: Option<[f64; 4]>,
    /// The same of a grey spot of CIELAB L* 50, such as the card's.
    pub grey_px: Option<[f64; 4]>,
    /// What the bar on the printed card measures, mm, as for a reading: 100 where the printer kept the scale. 80 to 125.
    pub bar_mm: f64,
    /// What the surface is; `None` goes by its colour.
    pub surface: Option<Surface>,
    /// Colour difference (CIEDE2000) from which a mark is foreign; 3 to 50. Our choice: 1 is just seen side by side.
    pub least_difference: f64,
    /// The smallest mark that is counted, photo px across; 3 to 100. Our choice, as for grains on the card.
    pub smallest_px: f64,
}

impl Default for FaceSettings {
    fn default() -> Self {
        Self { outline_px: None, white_px: None, grey_px: None, bar_mm: BAR_MM, surface: None, least_difference: 8.0, smallest_px: 4.0 }
    }
}

impl FaceSettings {
    /// Checks the figures; places in the photo are checked against the photo.
    ///
    /// # Errors
    /// `bad_setting`, naming the setting, its value and its range; `bad_bar`; `two_whites` where both a white and a grey spot are shown.
    pub fn check(&self) -> Result<(), CoreError> {
        for (name, value, low, high) in
            [("least_difference", self.least_difference, 3.0, 50.0), ("smallest_px", self.smallest_px, 3.0, 100.0)]
        {
            if !(low..=high).contains(&value) {
                let reason = format!("{name} is {value}, outside {low} to {high}");
                return Err(CoreError::refused("bad_setting", reason, format!("give {name} between {low} and {high}")));
            }
        }
        check_bar(self.bar_mm)?;
        if self.white_px.is_some() && self.grey_px.is_some() {
            return Err(CoreError::refused("two_whites", "both a white and a grey spot were shown", "show one of the two"));
        }
        Ok(())
    }
}
