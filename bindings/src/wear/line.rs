//! What is left of a delivery line's wall.

use gritbook_core::wear::document::text;
use gritbook_core::wear::line as core_line;

use super::{Before, MeasuredWear, wear};
use crate::error::FieldBookError;

/// What is left of a delivery line.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct LineMeasured {
    /// What every measurement has.
    pub wear: MeasuredWear,
    /// Wall that the pressure needs, mm.
    pub needed_mm: f64,
    /// Pressure that the wall holds, bar.
    pub holds_bar: f64,
    /// Concrete to plan with, m3.
    pub left_least_m3: Option<f64>,
    /// Usual pours within that.
    pub pours_left: Option<f64>,
}

/// A delivery line's wall.
#[uniffi::export]
pub fn measure_line(
    od_mm: f64,
    wall_mm: f64,
    pressure_bar: f64,
    allowed_mpa: f64,
    resolution_mm: f64,
    before: Option<Before>,
    pour_m3: Option<f64>,
) -> Result<LineMeasured, FieldBookError> {
    let before = before.map(|before| (before.thickness_mm, before.since_m3));
    let found = core_line::line(&core_line::LinePipe { od_mm, wall_mm, pressure_bar, allowed_mpa, resolution_mm, before, pour_m3 })?;
    Ok(LineMeasured {
        wear: wear(text(&found)?, Some(found.verdict)),
        needed_mm: found.needed_mm,
        holds_bar: found.holds_bar,
        left_least_m3: found.left_least_m3,
        pours_left: found.pours_left,
    })
}
