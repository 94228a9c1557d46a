//! Flatness of a plate from heights on a grid: the least distance of two parallel planes that hold all points.
//!
//! Definition: flatness as in ISO 12781-1 and ISO 1101, without datum. Heights are small beside the plate, so the distance is
//! taken along the height (the error is of second order in the tilt: below 1e-6 of the value for a tilt of 1 in 1000).

use microlp::{ComparisonOp, OptimizationDirection, Problem, SolveOutcome};
use nalgebra::{DMatrix, DVector};
use serde::{Deserialize, Serialize};

use super::verdict::{Verdict, at_most};
use crate::error::CoreError;
use crate::history::PLATE_LOW_LIMIT_MM;

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
    /// The readings.
    pub points: Vec<PlatePoint>,
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

/// Measures a plate.
///
/// # Errors
/// `bad_points`: fewer than 4 or more than 2000 points, one that is not a number or beyond 10 m, points in one line; `bad_setting`.
pub fn flatness(points: &[PlatePoint], settings: &PlateSettings) -> Result<Flatness, CoreError> {
    check(points, settings)?;
    let fit = least_squares(points, |_| None).ok_or_else(in_line)?;
    let residual = |point: &PlatePoint, plane: &[f64]| point.height_mm - plane[0] * point.x_mm - plane[1] * point.y_mm - plane[2];
    let range = |plane: &[f64]| {
        points
            .iter()
            .map(|point| residual(point, plane))
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), r| (low.min(r), high.max(r)))
    };
    let (low, high) = range(&fit);
    let plane = minimum_zone(points, &fit)?;
    let (zone_low, zone_high) = range(&plane);
    let minimum_zone_mm = zone_high - zone_low;
    let touches = 1e-6 * minimum_zone_mm.max(1e-9);
    let touching = |r: f64| r - zone_low <= touches || zone_high - r <= touches;
    let contacts = (0..points.len()).filter(|&i| touching(residual(&points[i], &plane))).collect();
    let centre_low_mm = centre_low(points);
    let centre = match centre_low_mm {
        None => Centre::NotSeen,
        Some(low) if low > settings.resolution_mm => Centre::Low,
        Some(low) if low < -settings.resolution_mm => Centre::High,
        Some(_) => Centre::Level,
    };
    // Each of the two extreme readings may be off by half a step.
    let uncertainty_mm = settings.resolution_mm;
    Ok(Flatness {
        schema: PLATE_SCHEMA.to_owned(),
        points: points.to_vec(),
        minimum_zone_mm,
        least_squares_mm: high - low,
        plane,
        contacts,
        centre,
        centre_low_mm,
        uncertainty_mm,
        limit_mm: settings.limit_mm,
        verdict: at_most(minimum_zone_mm, uncertainty_mm, settings.limit_mm),
    })
}

fn check(points: &[PlatePoint], settings: &PlateSettings) -> Result<(), CoreError> {
    let refuse = |reason: String| Err(CoreError::refused("bad_points", reason, "give at least 4 readings over the whole plate, in mm"));
    if !(4..=MOST_POINTS).contains(&points.len()) {
        return refuse(format!("{} readings; 4 to {MOST_POINTS} can be used", points.len()));
    }
    if let Some(bad) = points.iter().position(|p| [p.x_mm, p.y_mm, p.height_mm].iter().any(|v| !v.is_finite() || v.abs() > 10_000.0)) {
        return refuse(format!("reading {} is not a number or lies beyond 10 m", bad + 1));
    }
    for (what, value) in [("resolution", settings.resolution_mm), ("limit", settings.limit_mm)] {
        if !(value.is_finite() && value > 0.0 && value <= 10.0) {
            return Err(CoreError::refused("bad_setting", format!("the {what} of {value} mm is outside 0 to 10 mm"), "give it in mm"));
        }
    }
    Ok(())
}

fn in_line() -> CoreError {
    CoreError::refused("bad_points", "all readings lie in one line", "read the plate in two directions")
}

/// Least squares of height over x, y, 1 and, where given, one more column. None where the points do not settle it.
fn least_squares(points: &[PlatePoint], more: impl Fn(&PlatePoint) -> Option<f64>) -> Option<Vec<f64>> {
    let columns = 3 + usize::from(more(points.first()?).is_some());
    let design = DMatrix::from_fn(points.len(), columns, |row, column| match column {
        0 => points[row].x_mm,
        1 => points[row].y_mm,
        2 => 1.0,
        _ => more(&points[row]).unwrap_or(0.0),
    });
    // Columns to one size, so that the rank does not depend on the unit.
    let norms: Vec<f64> = (0..columns).map(|c| design.column(c).norm().max(f64::MIN_POSITIVE)).collect();
    let scaled = DMatrix::from_fn(points.len(), columns, |row, column| design[(row, column)] / norms[column]);
    let heights = DVector::from_iterator(points.len(), points.iter().map(|point| point.height_mm));
    let svd = scaled.svd(true, true);
    if svd.rank(1e-9) < columns {
        return None;
    }
    let solution = svd.solve(&heights, 1e-12).ok()?;
    Some(solution.iter().zip(&norms).map(|(value, norm)| value / norm).collect())
}

/// The plane whose largest residual is least, by linear programming on the residuals of the least-squares plane.
fn minimum_zone(points: &[PlatePoint], fit: &[f64]) -> Result<[f64; 3], CoreError> {
    let residuals: Vec<f64> = points.iter().map(|p| p.height_mm - fit[0] * p.x_mm - fit[1] * p.y_mm - fit[2]).collect();
    let size = points.iter().map(|p| p.x_mm.abs().max(p.y_mm.abs())).fold(1e-9, f64::max);
    let height = residuals.iter().map(|r| r.abs()).fold(0.0, f64::max);
    if height < 1e-12 {
        return Ok([fit[0], fit[1], fit[2]]);
    }
    let mut problem = Problem::new(OptimizationDirection::Minimize);
    let free = (f64::NEG_INFINITY, f64::INFINITY);
    let half = problem.add_var(1.0, (0.0, f64::INFINITY));
    let [a, b, c] = [0, 1, 2].map(|_| problem.add_var(0.0, free));
    for (point, residual) in points.iter().zip(&residuals) {
        let (x, y, z) = (point.x_mm / size, point.y_mm / size, residual / height);
        problem.add_constraint([(a, x), (b, y), (c, 1.0), (half, 1.0)], ComparisonOp::Ge, z);
        problem.add_constraint([(a, x), (b, y), (c, 1.0), (half, -1.0)], ComparisonOp::Le, z);
    }
    let failed = |cause: String| {
        CoreError::new(crate::ErrorKind::Internal, "failed", format!("the minimum zone was not found: {cause}"), "report these readings")
    };
    let solved = match problem.solve().map_err(|cause| failed(cause.to_string()))? {
        SolveOutcome::Solution(solution) => solution,
        // No limit of time or nodes is set.
        SolveOutcome::Interrupted(_) => return Err(failed("interrupted".to_owned())),
    };
    Ok([fit[0] + solved[a] * height / size, fit[1] + solved[b] * height / size, fit[2] + solved[c] * height])
}

/// The bowl in the readings: q of height = a x + b y + c + q r^2 about the middle, times the largest r^2.
fn centre_low(points: &[PlatePoint]) -> Option<f64> {
    let middle = |value: fn(&PlatePoint) -> f64| {
        let (low, high) = points.iter().map(value).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        f64::midpoint(low, high)
    };
    let (x, y) = (middle(|p| p.x_mm), middle(|p| p.y_mm));
    let squared = |p: &PlatePoint| (p.x_mm - x).powi(2) + (p.y_mm - y).powi(2);
    let (near, far) = points.iter().map(squared).fold((f64::INFINITY, 0.0_f64), |(l, h), v| (l.min(v), h.max(v)));
    if near > 0.5 * far || far <= 0.0 {
        return None;
    }
    let bowl = least_squares(points, |p| Some(squared(p) / far))?;
    bowl.get(3).copied()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn points(list: &[[f64; 3]]) -> Vec<PlatePoint> {
        list.iter().map(|&[x_mm, y_mm, height_mm]| PlatePoint { x_mm, y_mm, height_mm }).collect()
    }

    fn of(list: &[[f64; 3]]) -> Flatness {
        flatness(&points(list), &PlateSettings { resolution_mm: 0.001, limit_mm: 0.1 }).unwrap()
    }

    fn grid(height: impl Fn(f64, f64) -> f64) -> Vec<[f64; 3]> {
        let at = [-100.0, 0.0, 100.0];
        at.iter().flat_map(|&x| at.iter().map(move |&y| [x, y]).collect::<Vec<_>>()).map(|[x, y]| [x, y, height(x, y)]).collect()
    }

    /// Constructions whose zone is known exactly: a twist (contact 2-2), a dome (3-1), a saddle, a bowl.
    #[test]
    fn exact_constructions_have_their_exact_zone() {
        let close = |got: f64, want: f64| assert!((got - want).abs() < 1e-8, "{got} against {want}");
        let twist = of(&[[0.0, 0.0, 0.0], [100.0, 0.0, 0.0], [0.0, 100.0, 0.0], [100.0, 100.0, 0.08]]);
        close(twist.minimum_zone_mm, 0.04);
        assert_eq!((twist.contacts.len(), twist.centre), (4, Centre::NotSeen));
        let dome = of(&[[0.0, 0.0, 0.0], [200.0, 0.0, 0.0], [0.0, 200.0, 0.0], [50.0, 50.0, 0.06]]);
        close(dome.minimum_zone_mm, 0.06);
        close(dome.least_squares_mm, 0.065_454_545_454_545);
        close(of(&grid(|x, y| 0.05 * x * y / 1e4)).minimum_zone_mm, 0.10);
        let bowl = of(&grid(|x, y| 0.04 * (x * x + y * y) / 1e4));
        close(bowl.minimum_zone_mm, 0.08);
        assert_eq!(bowl.centre, Centre::Low);
        close(bowl.centre_low_mm.unwrap(), 0.08);
        assert_eq!(of(&grid(|x, y| 0.3 - 0.04 * (x * x + y * y) / 1e4)).centre, Centre::High);
    }

    /// Five points read at eng-tips.com, viewthread qid 393584 (no answer is published there); least squares and minimum zone by
    /// scipy 1.17.1 linear programming and by enumeration of contacts, which agree.
    #[test]
    fn five_published_points_give_the_zone_that_two_programs_agree_on() {
        let found = of(&[[11.5, 7.0, 1.1], [18.5, 6.9, 1.03], [4.5, 13.0, 1.02], [25.5, 30.0, 1.03], [11.5, 37.5, 1.02]]);
        assert!((found.minimum_zone_mm - 0.067_262_295_081_967).abs() < 1e-9, "{}", found.minimum_zone_mm);
        assert!((found.least_squares_mm - 0.072_097_313_176_042).abs() < 1e-9, "{}", found.least_squares_mm);
    }

    /// Twelve made-up heights in um on a 60 x 40 mm raster; minimum zone 18.5, least squares 22.2333 (scipy 1.17.1).
    #[test]
    fn plate_of_twelve_stations_gives_18_5_um() {
        let heights = [12.0, 5.0, -3.0, 9.0, -8.0, -6.0, 4.0, -11.0, -2.0, 2.0, -5.0, 6.0];
        let list: Vec<_> = (0..12).map(|i| [60.0 * f64::from(i % 3), 40.0 * f64::from(i / 3), heights[i as usize] / 1000.0]).collect();
        let found = of(&list);
        assert!((found.minimum_zone_mm - 0.0185).abs() < 1e-9, "{}", found.minimum_zone_mm);
        assert!((found.least_squares_mm - 0.022_233_333_333).abs() < 1e-9);
        assert_eq!(found.verdict, Verdict::Good);
    }

    #[test]
    fn too_few_points_points_in_line_and_nonsense_are_refused() {
        let settings = PlateSettings::default();
        let code = |list: &[[f64; 3]]| flatness(&points(list), &settings).unwrap_err().code();
        assert_eq!(code(&[[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]), "bad_points");
        assert_eq!(code(&[[0.0, 0.0, 0.0], [1.0, 1.0, 0.0], [2.0, 2.0, 0.1], [3.0, 3.0, 0.0]]), "bad_points");
        assert_eq!(code(&[[0.0, 0.0, f64::NAN], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [1.0, 1.0, 0.0]]), "bad_points");
        let bad = PlateSettings { resolution_mm: 0.0, ..settings };
        assert_eq!(flatness(&points(&grid(|_, _| 0.0)), &bad).unwrap_err().code(), "bad_setting");
    }

    proptest! {
        #[test]
        fn prop_zone_is_never_wider_than_least_squares_and_no_tilt_changes_it(
            heights in prop::collection::vec(-0.2..0.2_f64, 9), a in -0.01..0.01_f64, b in -0.01..0.01_f64, c in -5.0..5.0_f64,
        ) {
            let flat: Vec<_> = grid(|_, _| 0.0).iter().zip(&heights).map(|(p, h)| [p[0], p[1], *h]).collect();
            let tilted: Vec<_> = flat.iter().map(|p| [p[0], p[1], p[2] + a * p[0] + b * p[1] + c]).collect();
            let (one, two) = (of(&flat), of(&tilted));
            prop_assert!(one.minimum_zone_mm <= one.least_squares_mm + 1e-9);
            prop_assert!((one.minimum_zone_mm - two.minimum_zone_mm).abs() < 1e-7);
            // No plane does better: nudging the found one never narrows the zone.
            for nudge in [[1e-6, 0.0], [-1e-6, 0.0], [0.0, 1e-6], [0.0, -1e-6]] {
                let r: Vec<f64> = flat.iter().map(|p| p[2] - (one.plane[0] + nudge[0]) * p[0] - (one.plane[1] + nudge[1]) * p[1]).collect();
                let width = r.iter().copied().fold(f64::NEG_INFINITY, f64::max) - r.iter().copied().fold(f64::INFINITY, f64::min);
                prop_assert!(width >= one.minimum_zone_mm - 1e-8);
            }
        }
    }
}
