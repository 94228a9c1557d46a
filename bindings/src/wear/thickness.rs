//! How thin a cup's lip or wall, or a guide band, is.

use gritbook_core::wear::document::text;
use gritbook_core::wear::thickness as core_thickness;

use super::{Before, MeasuredWear, wear};
use crate::cross::{Cross, choice};
use crate::error::FieldBookError;

choice! {
    /// What may be worn thin.
    ThinPart = core_thickness::ThinPart {
        /// The cup's sealing lip.
        CupLip,
        /// The cup's wall.
        CupWall,
        /// The guide band.
        GuideBand,
    }
}

/// How thin a lip, wall or band is.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct ThicknessMeasured {
    /// What every measurement has.
    pub wear: MeasuredWear,
    /// The thinnest place, mm.
    pub least_mm: f64,
    /// Which reading that is, from 1.
    pub least_at: u64,
    /// Most less least, mm.
    pub uneven_mm: Option<f64>,
    /// Share used of what may wear, percent.
    pub used_percent: f64,
    /// Concrete to plan with until the limit, m3.
    pub left_least_m3: Option<f64>,
}

/// A lip, wall or band from readings around it.
#[uniffi::export]
pub fn measure_thickness(
    part: ThinPart,
    readings_mm: Vec<f64>,
    new_mm: f64,
    limit_mm: f64,
    resolution_mm: f64,
    before: Option<Before>,
) -> Result<ThicknessMeasured, FieldBookError> {
    let before = before.map(|before| (before.thickness_mm, before.since_m3));
    let settings = core_thickness::ThicknessSettings { part: part.cross(), new_mm, limit_mm, resolution_mm, before };
    let found = core_thickness::thickness(&readings_mm, &settings)?;
    Ok(ThicknessMeasured {
        wear: wear(text(&found)?, Some(found.verdict)),
        least_mm: found.least_mm,
        least_at: found.least_at.cross(),
        uneven_mm: found.uneven_mm,
        used_percent: found.used_percent,
        left_least_m3: found.rate.and_then(|rate| rate.left_least_m3),
    })
}
