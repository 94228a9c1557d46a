//! Flatness of a plate, from heights on a grid or from feeler gaps under a straightedge: the least distance of two parallel planes
//! that hold all points.
//!
//! Definition: flatness as in ISO 12781-1 and ISO 1101, without datum. Heights are small beside the plate, so the distance is
//! taken along the height (the error is of second order in the tilt: below 1e-6 of the value for a tilt of 1 in 1000).

use nalgebra::{DMatrix, DVector};
use serde::{Deserialize, Serialize};

use self::zone::Form;
use super::verdict::{Verdict, at_most};
use crate::error::CoreError;
use crate::history::PLATE_LOW_LIMIT_MM;

mod feeler;
#[cfg(test)]
mod feeler_tests;
#[cfg(test)]
mod tests;
mod zone;

pub use feeler::{FeelerLine, FeelerReading};

/// The schema name of a plate document.
pub const PLATE_SCHEMA: &str = "gritbook.plate/1";

/// Most points of one plate; beyond it nobody measured by hand.
const MOST_POINTS: usize = 2000;

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct PlatePoint {
    /// Place on the plate, mm.
    pub x_mm: f64,
    /// Place on the plate, mm.
    pub y_mm: f64,
    /// Height over any plane, mm.
    pub height_mm: f64,
}

/// How the plate was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlateSettings {
    /// Step of the dial or feeler, mm (above 0).
    pub resolution_mm: f64,
    /// The shop's limit of flatness, mm.
    pub limit_mm: f64,
}

impl Default for PlateSettings {
    /// A dial of 0.01 mm, and the limit that is a hard stop where nothing else is set: our assumption, for the shop to set.
    fn default() -> Self {
        Self { resolution_mm: 0.01, limit_mm: PLATE_LOW_LIMIT_MM }
    }
}

/// The centre against the rim.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Centre {
    /// Lower than the rim: replace it (common practice, no published source).
    Low,
    /// Higher than the rim.
    High,
    /// Neither, as far as the readings tell.
    Level,
    /// The readings all lie at one distance from the middle: they cannot tell.
    NotSeen,
}

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Flatness {
    /// Always [`PLATE_SCHEMA`].
    pub schema: String,
    /// The heights: as read, or as the straightedge lines give them, then over the middle of the zone.
    pub points: Vec<PlatePoint>,
    /// The layings of the straightedge; empty where heights were read.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lines: Vec<FeelerLine>,
    /// The gaps as read; empty where heights were read.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gaps: Vec<FeelerReading>,
    /// Most that two lines disagree by where they cross, mm; null where heights were read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub misfit_mm: Option<f64>,
    /// False where the lines do not tie the whole plate together: it is at least this much out of flat, and may be more.
    pub ties_whole_plate: bool,
    /// Flatness by the minimum zone, mm: the figure that counts.
    pub minimum_zone_mm: f64,
    /// Range about the least-squares plane, mm: never below the minimum zone.
    pub least_squares_mm: f64,
    /// The middle plane of the minimum zone: height = a x + b y + c, with a and b in mm per mm.
    pub plane: [f64; 3],
    /// Points that touch the zone's planes, by their place in the list from 0.
    pub contacts: Vec<usize>,
    /// Centre against rim.
    pub centre: Centre,
    /// How far the centre lies below the rim, mm; below 0 where it stands above; null where it cannot be told.
    pub centre_low_mm: Option<f64>,
    /// Half the width of what the resolution hides, mm.
    pub uncertainty_mm: f64,
    /// The limit.
    pub limit_mm: f64,
    /// Against the limit.
    pub verdict: Verdict,
}

/// Measures a plate from heights.
///
/// # Errors
/// `bad_points`: fewer than 4 or more than 2000 points, one that is not a number or beyond 10 m, points in one line; `bad_setting`.
pub fn flatness(points: &[PlatePoint], settings: &PlateSettings) -> Result<Flatness, CoreError> {
    check(points)?;
    check_settings(settings)?;
    let size = points.iter().map(|p| p.x_mm.abs().max(p.y_mm.abs())).fold(1e-9, f64::max);
    let form = Form {
        heights: DVector::from_iterator(points.len(), points.iter().map(|point| point.height_mm)),
        free: DMatrix::from_fn(points.len(), 3, |row, column| match column {
            0 => points[row].x_mm / size,
            1 => points[row].y_mm / size,
            _ => 1.0,
        }),
    };
    let in_line = || CoreError::refused("bad_points", "all readings lie in one line", "read the plate in two directions");
    let fit = form.least_squares().ok_or_else(in_line)?;
    let zone = form.narrowest(&fit)?;
    let places: Vec<_> = points.iter().map(|p| [p.x_mm, p.y_mm]).collect();
    // Each of the two extreme readings may be off by half a step.
    let uncertainty_mm = settings.resolution_mm;
    let found = Flatness {
        schema: PLATE_SCHEMA.to_owned(),
        points: points.to_vec(),
        lines: Vec::new(),
        gaps: Vec::new(),
        misfit_mm: None,
        ties_whole_plate: true,
        minimum_zone_mm: zone.width(),
        least_squares_mm: fit.width(),
        plane: [zone.mix[0] / size, zone.mix[1] / size, zone.mix[2]],
        contacts: contacts(&zone),
        centre: Centre::NotSeen,
        centre_low_mm: centre_low(&form, &places),
        uncertainty_mm,
        limit_mm: settings.limit_mm,
        verdict: at_most(zone.width(), uncertainty_mm, settings.limit_mm),
    };
    Ok(Flatness { centre: centre(found.centre_low_mm, settings), ..found })
}

/// Measures a plate from feeler gaps under a straightedge.
///
/// # Errors
/// `bad_points`: a line with fewer than three readings, readings beside their line, a gap below 0 or over 10 mm; `bad_setting`.
pub fn flatness_by_feeler(readings: &[FeelerReading], settings: &PlateSettings) -> Result<Flatness, CoreError> {
    check_settings(settings)?;
    let survey = feeler::survey(readings)?;
    let form = &survey.form;
    let untied = || CoreError::refused("bad_points", "the lines could not be tied together", "check the places of the readings");
    let fit = form.least_squares().ok_or_else(untied)?;
    let zone = form.narrowest(&fit)?;
    // Every gap may be off by half a step, and all of them the wrong way.
    let answers = survey.from_gaps.tr_mul(&form.weights(&fit)?);
    let uncertainty_mm = settings.resolution_mm / 2.0 * answers.iter().map(|weight| weight.abs()).sum::<f64>();
    let centre_low_mm = centre_low(form, &survey.places);
    let (low, high) = zone.ends();
    let middle = f64::midpoint(low, high);
    let heights = zone.residuals.iter().map(|residual| residual - middle);
    let points = survey.places.iter().zip(heights).map(|([x_mm, y_mm], height_mm)| PlatePoint { x_mm: *x_mm, y_mm: *y_mm, height_mm });
    let verdict = match at_most(zone.width(), uncertainty_mm, settings.limit_mm) {
        Verdict::Good if !survey.ties_whole_plate() => Verdict::MeasureMore,
        verdict => verdict,
    };
    Ok(Flatness {
        schema: PLATE_SCHEMA.to_owned(),
        points: points.collect(),
        ties_whole_plate: survey.ties_whole_plate(),
        minimum_zone_mm: zone.width(),
        least_squares_mm: fit.width(),
        plane: [0.0; 3],
        contacts: contacts(&zone),
        centre: centre(centre_low_mm, settings),
        centre_low_mm,
        uncertainty_mm,
        limit_mm: settings.limit_mm,
        verdict,
        misfit_mm: Some(survey.misfit_mm),
        lines: survey.lines,
        gaps: readings.to_vec(),
    })
}

/// The points that touch either end of the zone.
fn contacts(zone: &zone::Zone) -> Vec<usize> {
    let (low, high) = zone.ends();
    let touches = 1e-6 * (high - low).max(1e-9);
    (0..zone.residuals.len()).filter(|&i| zone.residuals[i] - low <= touches || high - zone.residuals[i] <= touches).collect()
}

fn centre(centre_low_mm: Option<f64>, settings: &PlateSettings) -> Centre {
    match centre_low_mm {
        None => Centre::NotSeen,
        Some(low) if low > settings.resolution_mm => Centre::Low,
        Some(low) if low < -settings.resolution_mm => Centre::High,
        Some(_) => Centre::Level,
    }
}

/// The bowl in the heights: q of height = q r^2 about the middle beside what is free, times the largest r^2.
fn centre_low(form: &Form, places: &[[f64; 2]]) -> Option<f64> {
    let middle = |axis: usize| {
        let (low, high) = places.iter().map(|at| at[axis]).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        f64::midpoint(low, high)
    };
    let (x, y) = (middle(0), middle(1));
    let squared: Vec<f64> = places.iter().map(|at| (at[0] - x).powi(2) + (at[1] - y).powi(2)).collect();
    let (near, far) = squared.iter().fold((f64::INFINITY, 0.0_f64), |(l, h), v| (l.min(*v), h.max(*v)));
    if near > 0.5 * far || far <= 0.0 {
        return None;
    }
    form.share_of(&squared.iter().map(|r| r / far).collect::<Vec<_>>())
}

fn check(points: &[PlatePoint]) -> Result<(), CoreError> {
    let refuse = |reason: String| Err(CoreError::refused("bad_points", reason, "give at least 4 readings over the whole plate, in mm"));
    if !(4..=MOST_POINTS).contains(&points.len()) {
        return refuse(format!("{} readings; 4 to {MOST_POINTS} can be used", points.len()));
    }
    if let Some(bad) = points.iter().position(|p| [p.x_mm, p.y_mm, p.height_mm].iter().any(|v| !v.is_finite() || v.abs() > 10_000.0)) {
        return refuse(format!("reading {} is not a number or lies beyond 10 m", bad + 1));
    }
    Ok(())
}

fn check_settings(settings: &PlateSettings) -> Result<(), CoreError> {
    for (what, value) in [("resolution", settings.resolution_mm), ("limit", settings.limit_mm)] {
        if !(value.is_finite() && value > 0.0 && value <= 10.0) {
            return Err(CoreError::refused("bad_setting", format!("the {what} of {value} mm is outside 0 to 10 mm"), "give it in mm"));
        }
    }
    Ok(())
}
