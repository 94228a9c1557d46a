//! Feeler gaps under a straightedge, laid along lines across the plate.
//!
//! A straightedge tells the form along its own line and nothing of how it lies itself: each line has a height and a tilt of its own.
//! Where lines cross, the plate has one height: enough crossings tie the lines into one plate, as in a survey of a surface plate
//! along its sides, diagonals and middles (Moody 1955). With fewer the plate is out of flat by at least what is found.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector};
use serde::{Deserialize, Serialize};

use super::zone::Form;
use crate::error::CoreError;

/// Most readings of one plate under a straightedge.
const MOST_READINGS: usize = 400;
/// Widest gap that feelers measure, mm.
const WIDEST_GAP_MM: f64 = 10.0;

/// One gap.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct FeelerReading {
    /// Which laying of the straightedge, counted as one likes.
    pub line: u32,
    /// Place on the plate, mm.
    pub x_mm: f64,
    /// Place on the plate, mm.
    pub y_mm: f64,
    /// Thickest feeler that goes under the straightedge there, mm; 0 where none does.
    pub gap_mm: f64,
}

/// One laying of the straightedge.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct FeelerLine {
    /// Which.
    pub line: u32,
    /// Straightness along it by the minimum zone, mm (ISO 12780-1).
    pub straightness_mm: f64,
}

/// The plate as the lines tell it.
pub(super) struct Survey {
    /// Where the heights are, mm.
    pub(super) places: Vec<[f64; 2]>,
    /// The heights, mm, and what the lines leave free.
    pub(super) form: Form,
    /// Heights = `from_gaps` times the gaps.
    pub(super) from_gaps: DMatrix<f64>,
    pub(super) lines: Vec<FeelerLine>,
    /// Largest gap that the lines do not agree on, mm.
    pub(super) misfit_mm: f64,
}

impl Survey {
    /// True where nothing is left free but the lie of the whole plate.
    pub(super) fn ties_whole_plate(&self) -> bool {
        self.form.free.ncols() == 3
    }
}

fn refuse(reason: String, advice: &'static str) -> CoreError {
    CoreError::refused("bad_points", reason, advice)
}

const THREE: &str = "read at least three places along each laying of the straightedge: both ends and the middle";

/// Ties the lines together where they cross.
pub(super) fn survey(readings: &[FeelerReading]) -> Result<Survey, CoreError> {
    check(readings)?;
    let mut by_line = BTreeMap::<u32, Vec<usize>>::new();
    let mut place_of = BTreeMap::<[i64; 2], usize>::new();
    let mut places = Vec::new();
    let mut at = Vec::with_capacity(readings.len());
    for (row, reading) in readings.iter().enumerate() {
        by_line.entry(reading.line).or_default().push(row);
        // One place is typed alike on both lines that cross there: to a tenth of a millimetre.
        let key = [reading.x_mm, reading.y_mm].map(|v| (v * 10.0).round() as i64);
        at.push(*place_of.entry(key).or_insert_with(|| {
            places.push([reading.x_mm, reading.y_mm]);
            places.len() - 1
        }));
    }
    let columns = places.len() + 2 * by_line.len();
    // gap = edge - height.
    let mut design = DMatrix::zeros(readings.len(), columns);
    let gaps = DVector::from_iterator(readings.len(), readings.iter().map(|reading| reading.gap_mm));
    let mut lines = Vec::new();
    for (number, (line, rows)) in by_line.iter().enumerate() {
        let along = along(*line, rows, readings)?;
        let edge = places.len() + 2 * number;
        for (row, t) in rows.iter().zip(&along) {
            design[(*row, at[*row])] = -1.0;
            design[(*row, edge)] = 1.0;
            design[(*row, edge + 1)] = *t;
        }
        let form = Form {
            heights: DVector::from_iterator(rows.len(), rows.iter().map(|row| -readings[*row].gap_mm)),
            free: DMatrix::from_fn(rows.len(), 2, |row, column| if column == 0 { along[row] } else { 1.0 }),
        };
        let fit = form.least_squares().ok_or_else(|| refuse(format!("line {line} has readings at one place only"), THREE))?;
        lines.push(FeelerLine { line: *line, straightness_mm: form.narrowest(&fit)?.width() });
    }
    // By the normal equations: the figures are of like size, and what is left free is told apart sharply. (nalgebra 0.35's singular
    // values of this matrix put the heights of the survey of 1955 off by 4e-5 of its flatness.)
    let eigen = design.tr_mul(&design).symmetric_eigen();
    let small = 1e-12 * eigen.eigenvalues.max();
    let (kept, free): (Vec<usize>, Vec<usize>) = (0..columns).partition(|&i| eigen.eigenvalues[i] > small);
    let free = eigen.eigenvectors.select_columns(&free).rows(0, places.len()).into_owned();
    let kept_vectors = eigen.eigenvectors.select_columns(&kept);
    let shares = DMatrix::from_diagonal(&DVector::from_iterator(kept.len(), kept.iter().map(|&i| 1.0 / eigen.eigenvalues[i])));
    let inverse = &kept_vectors * shares * kept_vectors.transpose() * design.transpose();
    let solved = &inverse * &gaps;
    let misfit_mm = (&design * &solved - &gaps).amax();
    let form = Form { heights: solved.rows(0, places.len()).into_owned(), free };
    let from_gaps = inverse.rows(0, places.len()).into_owned();
    Ok(Survey { places, form, from_gaps, lines, misfit_mm })
}

/// Where the readings of a line lie along it, -1 to 1.
fn along(line: u32, rows: &[usize], readings: &[FeelerReading]) -> Result<Vec<f64>, CoreError> {
    let place = |row: usize| [readings[row].x_mm, readings[row].y_mm];
    let apart = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
    if rows.len() < 3 {
        let (number, s) = (rows.len(), if rows.len() == 1 { "" } else { "s" });
        return Err(refuse(format!("line {line} has {number} reading{s}"), THREE));
    }
    let farthest = |from: [f64; 2]| rows.iter().map(|row| place(*row)).max_by(|a, b| apart(from, *a).total_cmp(&apart(from, *b)));
    let one = farthest(place(rows[0])).unwrap_or_default();
    let other = farthest(one).unwrap_or_default();
    let long = apart(one, other);
    if long < 1.0 {
        return Err(refuse(format!("the readings of line {line} lie within a millimetre"), THREE));
    }
    let ahead = [(other[0] - one[0]) / long, (other[1] - one[1]) / long];
    rows.iter()
        .map(|row| {
            let from = [place(*row)[0] - one[0], place(*row)[1] - one[1]];
            let aside = (from[0] * ahead[1] - from[1] * ahead[0]).abs();
            if aside > (0.02 * long).max(3.0) {
                let [x, y] = place(*row);
                let reason = format!("line {line}: the reading at ({x}, {y}) lies {aside:.0} mm beside the straightedge");
                return Err(refuse(reason, "give each laying of the straightedge its own line number"));
            }
            Ok(2.0 * (from[0] * ahead[0] + from[1] * ahead[1]) / long - 1.0)
        })
        .collect()
}

fn check(readings: &[FeelerReading]) -> Result<(), CoreError> {
    if readings.len() < 3 || readings.len() > MOST_READINGS {
        return Err(refuse(format!("{} feeler readings; 3 to {MOST_READINGS} can be used", readings.len()), THREE));
    }
    for (number, reading) in (1..).zip(readings) {
        let placed = [reading.x_mm, reading.y_mm].iter().all(|v| v.is_finite() && v.abs() <= 10_000.0);
        if !placed || !(0.0..=WIDEST_GAP_MM).contains(&reading.gap_mm) {
            let reason = format!("reading {number} (gap {} mm at {}, {}) is out of range", reading.gap_mm, reading.x_mm, reading.y_mm);
            return Err(refuse(reason, "gaps are 0 to 10 mm, places within 10 m"));
        }
    }
    Ok(())
}
