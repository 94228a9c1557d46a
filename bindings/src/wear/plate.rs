//! How flat a piston plate is, by dial or by straightedge and feeler.

use gritbook_core::wear::document::text;
use gritbook_core::wear::plate as core_plate;

use super::{MeasuredWear, wear};
use crate::cross::{Cross, choice, record};
use crate::error::FieldBookError;

choice! {
    /// The plate's centre against its rim.
    Centre = core_plate::Centre {
        /// Lower: replace it.
        Low,
        /// Higher.
        High,
        /// Neither.
        Level,
        /// The readings do not tell.
        NotSeen,
    }
}

record! { both
    /// A height on the plate.
    PlatePoint = core_plate::PlatePoint {
        /// mm.
        x_mm: f64,
        /// mm.
        y_mm: f64,
        /// Over any plane, mm.
        height_mm: f64,
    }
}

record! { both
    /// A feeler gap under a straightedge.
    FeelerReading = core_plate::FeelerReading {
        /// Which laying of it.
        line: u32,
        /// mm.
        x_mm: f64,
        /// mm.
        y_mm: f64,
        /// mm.
        gap_mm: f64,
    }
}

record! { both
    /// How a plate is read and held.
    PlateSettings = core_plate::PlateSettings {
        /// Step of dial or feelers, mm.
        resolution_mm: f64,
        /// The shop's limit, mm.
        limit_mm: f64,
    }
}

/// How flat a plate is.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct PlateMeasured {
    /// What every measurement has.
    pub wear: MeasuredWear,
    /// Flatness by the minimum zone, mm.
    pub minimum_zone_mm: f64,
    /// Half the width of what the gauge's step hides, mm.
    pub uncertainty_mm: f64,
    /// Centre against rim.
    pub centre: Centre,
    /// How far the centre lies below the rim, mm.
    pub centre_low_mm: Option<f64>,
    /// Heights, for the drawing.
    pub points: Vec<PlatePoint>,
    /// Which of them touch the zone.
    pub contacts: Vec<u64>,
    /// False where lines do not tie the plate together: it may be worse.
    pub ties_whole_plate: bool,
}

fn plate(found: core_plate::Flatness) -> Result<PlateMeasured, FieldBookError> {
    Ok(PlateMeasured {
        wear: wear(text(&found)?, Some(found.verdict)),
        minimum_zone_mm: found.minimum_zone_mm,
        uncertainty_mm: found.uncertainty_mm,
        centre: found.centre.cross(),
        centre_low_mm: found.centre_low_mm,
        points: found.points.cross(),
        contacts: found.contacts.into_iter().map(Cross::cross).collect(),
        ties_whole_plate: found.ties_whole_plate,
    })
}

/// The usual settings of a plate.
#[uniffi::export]
pub fn usual_plate_settings() -> PlateSettings {
    core_plate::PlateSettings::default().cross()
}

/// Flatness from heights.
#[uniffi::export]
pub fn measure_plate(points: Vec<PlatePoint>, settings: PlateSettings) -> Result<PlateMeasured, FieldBookError> {
    let points: Vec<_> = points.into_iter().map(Cross::cross).collect();
    plate(core_plate::flatness(&points, &settings.cross())?)
}

/// Flatness from feeler gaps under a straightedge.
#[uniffi::export]
pub fn measure_plate_by_feeler(readings: Vec<FeelerReading>, settings: PlateSettings) -> Result<PlateMeasured, FieldBookError> {
    let readings: Vec<_> = readings.into_iter().map(Cross::cross).collect();
    plate(core_plate::flatness_by_feeler(&readings, &settings.cross())?)
}
