//! The last photo's surface laid over this one's: by its outline, and turned by the marks that both show.
//!
//! Both surfaces are drawn on a small grid about their centres, in millimetres where both photos hold the card, else in shares of their
//! size. The turn is searched all round: by outline where that is not round, by the correlation of the marks where it is. Grit that was
//! pressed in stays where it is, so that even a round cup can be turned back.

use nalgebra::{Matrix2, Vector2};

use super::read::Measured;
use super::reading::{Alignment, Turn};
use crate::debris::pose::homography_of;
use crate::debris::read::rounded;

/// Cells along the grid, and the share of them that the larger surface spans.
const CELLS: usize = 168;
const SPAN: f64 = 0.8;
/// Turns that are tried, 1.5 degrees each.
const TURNS: usize = 240;
/// Outlines that overlap less do not belong to one surface.
const MIN_OVERLAP: f64 = 0.85;
/// The overlap must swing by this much over the turns for the outline to say one.
const NOT_ROUND: f64 = 0.06;
/// Correlation of the marks from which they say a turn, and how far it must stand above any other turn.
const AGREE: f64 = 0.2;
const ABOVE: f64 = 0.08;
/// Turns this near belong to one peak, in steps.
const PEAK: usize = 6;

/// A surface on the grid.
struct Laid {
    /// Raster px to cells about the grid's middle: `linear * (px - centre)`.
    centre: Vector2<f64>,
    linear: Matrix2<f64>,
    /// Share of each cell that is surface, and marks less their mean, smoothed.
    surface: Vec<f32>,
    marks: Vec<f32>,
}

/// A turn and a shift of the last surface, in cells.
#[derive(Debug, Clone, Copy)]
struct Move {
    turn: f64,
    shift: [f64; 2],
}

/// How well two grids agree.
#[derive(Debug, Clone, Copy)]
struct Fit {
    overlap: f64,
    agreement: f64,
    /// Area in only one of the two, over four times the shared area: mean distance of the outlines over the diameter.
    residual: f64,
}

/// Lays `last` over `this`; `None` where their outlines do not fit.
pub(crate) fn align(this: &Measured, last: &Measured) -> Option<Alignment> {
    let by_card = this.raster.place.px_per_mm().zip(last.raster.place.px_per_mm());
    let mut best: Option<(Laid, Laid, Move, Fit, Turn)> = None;
    for stretched in [false, true] {
        // With both cards the tilt is already taken out; without, a circle may be seen as an ellipse.
        if stretched && by_card.is_some() {
            continue;
        }
        let (moments, other) = (Moments::of(this)?, Moments::of(last)?);
        let (one, two) = match by_card {
            Some((px_per_mm, other_px_per_mm)) => {
                let cells = SPAN * CELLS as f64 / (moments.reach / px_per_mm).max(other.reach / other_px_per_mm);
                (moments.even(cells / px_per_mm), other.even(cells / other_px_per_mm))
            }
            None if stretched => (moments.stretched(), other.stretched()),
            None => (
                moments.even(SPAN * CELLS as f64 / moments.reach),
                other.even(SPAN * CELLS as f64 / moments.reach * (moments.area / other.area).sqrt()),
            ),
        };
        let (one, two) = (lay(this, moments.centre, one), lay(last, other.centre, two));
        let (place, fit, turn) = search(&one, &two);
        if best.as_ref().is_none_or(|(.., known, _)| fit.overlap + fit.agreement.max(0.0) > known.overlap + known.agreement.max(0.0) + 0.02)
        {
            best = Some((one, two, place, fit, turn));
        }
    }
    let (one, two, place, fit, turn) = best?;
    if fit.overlap < MIN_OVERLAP {
        return None;
    }
    let to_this = one.linear.try_inverse()?;
    let (sin, cos) = place.turn.sin_cos();
    let turning = Matrix2::new(cos, -sin, sin, cos);
    let (mut from, mut to) = (Vec::new(), Vec::new());
    let reach = 0.35 * CELLS as f64;
    let back = two.linear.try_inverse()?;
    for row in -2..=2 {
        for column in -2..=2 {
            let cell = Vector2::new(f64::from(column), f64::from(row)) * (reach / 2.0);
            let (of_last, of_this) = (back * cell + two.centre, to_this * (turning * cell + Vector2::from(place.shift)) + one.centre);
            from.push(last.raster.place.photo_px(of_last.into()));
            to.push(this.raster.place.photo_px(of_this.into()));
        }
    }
    let homography = homography_of(&from, &to)?;
    let degrees = (place.turn.to_degrees() + 180.0).rem_euclid(360.0) - 180.0;
    Some(Alignment {
        // Ten digits of a homography are a ten-thousandth of a pixel.
        last_to_this: [0, 1, 2].map(|row| [0, 1, 2].map(|column| rounded(homography[(row, column)], 10))),
        turn_deg: rounded(degrees, 2),
        turn,
        overlap: rounded(fit.overlap, 4),
        residual_share: rounded(fit.residual, 5),
        agreement: rounded(fit.agreement, 4),
    })
}

/// Centre, area and spread of a surface, raster px.
struct Moments {
    centre: Vector2<f64>,
    area: f64,
    spread: Matrix2<f64>,
    /// Twice the largest distance from the centre.
    reach: f64,
}

impl Moments {
    fn of(measured: &Measured) -> Option<Self> {
        let width = measured.raster.width;
        let mut sums = [0.0_f64; 6];
        for (row, line) in measured.region.chunks_exact(width).enumerate() {
            let y = row as f64 + 0.5;
            for x in line.iter().enumerate().filter(|(_, value)| **value != 0).map(|(column, _)| column as f64 + 0.5) {
                for (sum, value) in sums.iter_mut().zip([1.0, x, y, x * x, x * y, y * y]) {
                    *sum += value;
                }
            }
        }
        let [area, x, y, xx, xy, yy] = sums;
        if area < 100.0 {
            return None;
        }
        let centre = Vector2::new(x / area, y / area);
        let covariance = xy / area - centre.x * centre.y;
        let spread = Matrix2::new(xx / area - centre.x * centre.x, covariance, covariance, yy / area - centre.y * centre.y);
        let mut far = 0.0_f64;
        for (row, line) in measured.region.chunks_exact(width).enumerate() {
            let ends = [line.iter().position(|value| *value != 0), line.iter().rposition(|value| *value != 0)];
            for column in ends.into_iter().flatten() {
                far = far.max((column as f64 + 0.5 - centre.x).hypot(row as f64 + 0.5 - centre.y));
            }
        }
        Some(Self { centre, area, spread, reach: 2.0 * far })
    }

    fn even(&self, cells_per_px: f64) -> Matrix2<f64> {
        Matrix2::identity() * cells_per_px
    }

    /// To equal spread in every direction: the inverse root of the spread. A filled disc of radius r has the spread r^2 / 4.
    fn stretched(&self) -> Matrix2<f64> {
        let eigen = self.spread.symmetric_eigen();
        let root = Matrix2::from_diagonal(&eigen.eigenvalues.map(|value| 1.0 / value.max(1e-9).sqrt()));
        eigen.eigenvectors * root * eigen.eigenvectors.transpose() * (SPAN * CELLS as f64 / 4.0)
    }
}

fn lay(measured: &Measured, centre: Vector2<f64>, linear: Matrix2<f64>) -> Laid {
    let width = measured.raster.width;
    let (mut pixels, mut marks) = (vec![0.0_f32; CELLS * CELLS], vec![0.0_f32; CELLS * CELLS]);
    for (row, line) in measured.region.chunks_exact(width).enumerate() {
        for column in line.iter().enumerate().filter(|(_, value)| **value != 0).map(|(column, _)| column) {
            let cell = linear * (Vector2::new(column as f64 + 0.5, row as f64 + 0.5) - centre);
            let [x, y] = [cell.x, cell.y].map(|value| value + CELLS as f64 / 2.0);
            if x >= 0.0 && y >= 0.0 && (x as usize) < CELLS && (y as usize) < CELLS {
                let at = y as usize * CELLS + x as usize;
                pixels[at] += 1.0;
                marks[at] += f32::from(measured.marks[row * width + column]);
            }
        }
    }
    // Where pixels are coarser than cells some cells would stay empty.
    let full = (1.0 / linear.determinant().abs()) as f32;
    if full < 4.0 {
        soften(&mut pixels);
        soften(&mut marks);
    }
    let total: f32 = pixels.iter().sum();
    let mean = marks.iter().sum::<f32>() / total.max(1.0);
    let mut surface: Vec<f32> = pixels.iter().map(|pixels| (pixels / full).min(1.0)).collect();
    let mut marks: Vec<f32> =
        marks.iter().zip(&pixels).map(|(marks, pixels)| if *pixels > 0.0 { marks / pixels - mean } else { 0.0 }).collect();
    soften(&mut marks);
    soften(&mut marks);
    surface.iter_mut().for_each(|value| *value = if *value > 0.5 { 1.0 } else { *value });
    Laid { centre, linear, surface, marks }
}

/// Binomial 3 x 3 twice.
fn soften(cells: &mut [f32]) {
    for stride in [1, CELLS, 1, CELLS] {
        let before = cells.to_vec();
        for (at, value) in cells.iter_mut().enumerate() {
            let (low, high) = (before[at.saturating_sub(stride)], before[(at + stride).min(CELLS * CELLS - 1)]);
            *value = 0.25 * low + 0.5 * before[at] + 0.25 * high;
        }
    }
}

fn fit(one: &Laid, two: &Laid, place: Move) -> Fit {
    let (sin, cos) = place.turn.sin_cos();
    let middle = CELLS as f64 / 2.0;
    let (mut shared, mut joint) = (0.0_f64, 0.0_f64);
    let mut sums = [0.0_f64; 6];
    for row in 0..CELLS {
        for column in 0..CELLS {
            let at = row * CELLS + column;
            // This grid's cell, turned back into the last one's.
            let (dx, dy) = (column as f64 + 0.5 - middle - place.shift[0], row as f64 + 0.5 - middle - place.shift[1]);
            let (x, y) = (cos * dx + sin * dy + middle - 0.5, -sin * dx + cos * dy + middle - 0.5);
            let (surface, marks) = if x >= 0.0 && y >= 0.0 && x < (CELLS - 1) as f64 && y < (CELLS - 1) as f64 {
                let (left, top) = (x as usize, y as usize);
                let (fx, fy) = ((x - left as f64) as f32, (y - top as f64) as f32);
                let from = top * CELLS + left;
                let between = |cells: &[f32]| {
                    let above = cells[from] + (cells[from + 1] - cells[from]) * fx;
                    let below = cells[from + CELLS] + (cells[from + CELLS + 1] - cells[from + CELLS]) * fx;
                    f64::from(above + (below - above) * fy)
                };
                (between(&two.surface), between(&two.marks))
            } else {
                (0.0, 0.0)
            };
            let here = f64::from(one.surface[at]);
            shared += here.min(surface);
            joint += here.max(surface);
            if here > 0.5 && surface > 0.5 {
                let mine = f64::from(one.marks[at]);
                for (sum, value) in sums.iter_mut().zip([1.0, mine, marks, mine * mine, mine * marks, marks * marks]) {
                    *sum += value;
                }
            }
        }
    }
    let [count, a, b, aa, ab, bb] = sums;
    let spread = ((aa - a * a / count.max(1.0)) * (bb - b * b / count.max(1.0))).max(0.0).sqrt();
    let agreement = if spread > 1e-9 { (ab - a * b / count.max(1.0)) / spread } else { 0.0 };
    Fit { overlap: if joint > 0.0 { shared / joint } else { 0.0 }, agreement, residual: (joint - shared) / (4.0 * shared.max(1.0)) }
}

fn search(one: &Laid, two: &Laid) -> (Move, Fit, Turn) {
    let step = std::f64::consts::TAU / TURNS as f64;
    let tried: Vec<Fit> = (0..TURNS).map(|index| fit(one, two, Move { turn: index as f64 * step, shift: [0.0; 2] })).collect();
    let best_overlap = tried.iter().map(|fit| fit.overlap).fold(0.0, f64::max);
    let worst_overlap = tried.iter().map(|fit| fit.overlap).fold(1.0, f64::min);
    let round = best_overlap - worst_overlap < NOT_ROUND;
    let may: Vec<usize> = (0..TURNS).filter(|index| round || tried[*index].overlap > best_overlap - NOT_ROUND / 2.0).collect();
    let apart = |one: usize, other: usize| one.abs_diff(other).min(TURNS - one.abs_diff(other));
    let highest = |among: &mut dyn Iterator<Item = usize>| among.max_by(|a, b| tried[*a].agreement.total_cmp(&tried[*b].agreement));
    let by_marks = highest(&mut may.iter().copied()).unwrap_or(0);
    let next =
        highest(&mut may.iter().copied().filter(|index| apart(*index, by_marks) > PEAK)).map_or(-1.0, |index| tried[index].agreement);
    let by_outline = may.iter().copied().max_by(|a, b| tried[*a].overlap.total_cmp(&tried[*b].overlap)).unwrap_or(0);
    let one_way = may.iter().all(|index| apart(*index, by_outline) <= 2 * PEAK);
    // A little off its turn the correlation is lower than it will be once refined.
    let says = tried[by_marks].agreement >= 0.7 * AGREE && tried[by_marks].agreement >= next + 0.5 * ABOVE;
    let start = |index: usize| Move { turn: index as f64 * step, shift: [0.0; 2] };
    if says {
        let (place, found) = refined(one, two, start(by_marks), |fit| fit.agreement + 0.5 * fit.overlap);
        if found.agreement >= AGREE && found.agreement >= next + ABOVE {
            return (place, found, Turn::ByMarks);
        }
    }
    let index = if round {
        0
    } else if one_way {
        by_outline
    } else {
        // Two ways round fit alike: the one nearer to how they lie in the photos.
        may.iter()
            .copied()
            .filter(|index| tried[*index].overlap > best_overlap - 0.01)
            .min_by_key(|index| apart(*index, 0))
            .unwrap_or(by_outline)
    };
    let (place, found) = refined(one, two, start(index), |fit| fit.overlap);
    let place = if round { Move { turn: 0.0, ..place } } else { place };
    (place, if round { fit(one, two, place) } else { found }, if one_way && !round { Turn::ByOutline } else { Turn::Unknown })
}

/// Climbs from a start by ever smaller steps.
fn refined(one: &Laid, two: &Laid, start: Move, worth: impl Fn(&Fit) -> f64) -> (Move, Fit) {
    let (mut place, mut found) = (start, fit(one, two, start));
    let mut step = 1.0_f64;
    while step > 0.05 {
        let turn = step * 0.012;
        let tries = [(turn, 0.0, 0.0), (-turn, 0.0, 0.0), (0.0, step, 0.0), (0.0, -step, 0.0), (0.0, 0.0, step), (0.0, 0.0, -step)];
        let mut better = false;
        for (turn, x, y) in tries {
            let there = Move { turn: place.turn + turn, shift: [place.shift[0] + x, place.shift[1] + y] };
            let fits = fit(one, two, there);
            if worth(&fits) > worth(&found) {
                (place, found, better) = (there, fits, true);
            }
        }
        if !better {
            step /= 2.0;
        }
    }
    (place, found)
}
