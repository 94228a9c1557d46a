//! How an O-ring sits in its groove.

use gritbook_core::wear::document::text;
use gritbook_core::wear::oring as core_oring;

use super::{MeasuredWear, wear};
use crate::error::FieldBookError;

/// How an O-ring is squeezed.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct ORingMeasured {
    /// What every measurement has.
    pub wear: MeasuredWear,
    /// Percent of its section.
    pub squeeze_percent: f64,
    /// Half the width of what the gauges' step hides, percent.
    pub uncertainty_percent: f64,
    /// Percent of the groove.
    pub fill_percent: Option<f64>,
    /// True where it is loose.
    pub loose: bool,
}

/// An O-ring in its groove, by the usual limits.
#[uniffi::export]
pub fn measure_oring(section_mm: f64, groove_mm: f64, groove_width_mm: Option<f64>, bore_mm: f64) -> Result<ORingMeasured, FieldBookError> {
    let fit = core_oring::ORingFit { groove_width_mm, ..core_oring::ORingFit::of(section_mm, groove_mm, bore_mm) };
    let found = core_oring::oring(&fit)?;
    Ok(ORingMeasured {
        wear: wear(text(&found)?, Some(found.verdict)),
        squeeze_percent: found.squeeze_percent,
        uncertainty_percent: found.uncertainty_percent,
        fill_percent: found.fill_percent,
        loose: found.loose,
    })
}
