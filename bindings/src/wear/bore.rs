//! How worn a bore is, and where it is measured.

use gritbook_core::wear::bore as core_bore;
use gritbook_core::wear::document::text;

use super::{MeasuredWear, wear};
use crate::cross::{Cross, record};
use crate::error::FieldBookError;
use crate::grades::Words;

record! { both
    /// A diameter of the bore.
    BoreReading = core_bore::BoreReading {
        /// Along it from the box end, mm.
        station_mm: f64,
        /// Across it, degrees.
        direction_deg: f64,
        /// mm.
        diameter_mm: f64,
    }
}

record! {
    /// One diameter to read, as a bore is usually measured by hand.
    BorePlace = core_bore::BorePlace {
        /// Along it from the box end, mm.
        station_mm: f64,
        /// Across it, degrees.
        direction_deg: f64,
        /// The place along it in words.
        station: Words,
        /// The direction in words.
        direction: Words,
    }
}

record! { both
    /// What a bore is held against.
    BoreSettings = core_bore::BoreSettings {
        /// When new, mm.
        nominal_mm: Option<f64>,
        /// Chrome when new, mm on the radius.
        chrome_mm: Option<f64>,
        /// The cup's body, mm.
        cup_mm: Option<f64>,
        /// Step of the gauge, mm.
        resolution_mm: f64,
        /// The shop's limit, mm on the diameter.
        limit_mm: f64,
    }
}

/// How worn a bore is.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct BoreMeasured {
    /// What every measurement has.
    pub wear: MeasuredWear,
    /// Wear on the diameter, mm.
    pub wear_mm: f64,
    /// Half the width of what the gauge's step hides, mm.
    pub uncertainty_mm: f64,
    /// Largest ovality, mm.
    pub ovality_mm: Option<f64>,
    /// Taper, mm.
    pub taper_mm: Option<f64>,
    /// Least chrome left, mm on the radius; below 0: through.
    pub chrome_left_mm: Option<f64>,
    /// Whether chrome is left, in words.
    pub chrome_words: Option<Words>,
    /// Most clearance to the cup, mm.
    pub cup_clearance_mm: Option<f64>,
    /// What two-point diameters cannot see.
    pub blind_to: Words,
}

/// The usual settings of a bore of this size.
#[uniffi::export]
pub fn usual_bore_settings(nominal_mm: Option<f64>) -> BoreSettings {
    core_bore::BoreSettings::of(nominal_mm).cross()
}

/// The usual places of a bore of this stroke, station by station from the box end, each in both directions.
#[uniffi::export]
pub fn usual_bore_places(stroke_mm: f64) -> Vec<BorePlace> {
    core_bore::usual_places(stroke_mm).cross()
}

/// Who says that these are the usual places.
#[uniffi::export]
pub fn bore_places_source() -> Words {
    core_bore::PLACES_SOURCE.cross()
}

/// Refuses settings that cannot be, naming the one and its range.
#[uniffi::export]
pub fn check_bore_settings(settings: BoreSettings) -> Result<(), FieldBookError> {
    Ok(Cross::<core_bore::BoreSettings>::cross(settings).check()?)
}

/// Refuses a diameter that cannot be of such a bore, so that it is told where it was typed.
#[uniffi::export]
pub fn check_bore_diameter(diameter_mm: f64, settings: BoreSettings) -> Result<(), FieldBookError> {
    Ok(Cross::<core_bore::BoreSettings>::cross(settings).check_diameter(diameter_mm)?)
}

/// A bore from diameters.
#[uniffi::export]
pub fn measure_bore(readings: Vec<BoreReading>, settings: BoreSettings) -> Result<BoreMeasured, FieldBookError> {
    let readings: Vec<_> = readings.into_iter().map(Cross::cross).collect();
    let found = core_bore::bore(&readings, &settings.cross())?;
    Ok(BoreMeasured {
        wear: wear(text(&found)?, Some(found.verdict)),
        wear_mm: found.wear_mm,
        uncertainty_mm: found.uncertainty_mm,
        ovality_mm: found.ovality_mm,
        taper_mm: found.taper_mm,
        chrome_left_mm: found.chrome_left_mm,
        chrome_words: found.chrome_verdict.map(|verdict| verdict.words().cross()),
        cup_clearance_mm: found.cup_clearance_mm,
        blind_to: Words { en: found.blind_to, es: found.blind_to_es },
    })
}
