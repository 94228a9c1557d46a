//! The method `texture`: one middle size of a heap of grains, from how far the picture stays like itself. Window to size.
//!
//! Where grains lie on each other none is seen whole. But the picture of a heap is a mosaic, and a shift by r leaves it alike to the
//! share to which a grain still covers itself. For discs of diameter D that share is (2/pi)(acos(r/D) - (r/D) sqrt(1 - (r/D)^2)),
//! the covariogram of a disc; it passes one half at r = 0.404 D. So D is the shift of half likeness over 0.404. Nothing is fitted. On
//! the one photograph at hand with sizes measured by hand (sand of 1.0 to 1.4 mm, median 84.4 px) it gives 5 % more. Grains on
//! top of a heap, seen whole, are larger than either.
//!
//! A bank of stones of many sizes in sand is no such mosaic: its parts are not alike, and it is refused.

use super::gradation::{FINENESS_SERIES_MM, SIEVES_MM, fineness_modulus};
use super::reading::{Gradation, GradationInterval};
use super::window::WindowImage;

/// The method's name in the document.
pub const METHOD_NAME: &str = "texture";
/// Said beside a reading by texture.
pub const ADVICE: &str = "grains lie heaped and were sized together, within about a quarter; d10 and d90 are assumed. This much is itself \
                          an answer: at least sand. To size the grains, spread a quarter of it, so that ground shows between them";

/// Shift of half likeness over the diameter of discs: the root of the covariogram's half.
const HALF_LAG: f64 = 0.403_972_753_299_517;
/// Short side to which the picture is reduced at first, px: lags need no more.
const SHORT_SIDE: usize = 400;
/// A shift of half likeness below this is mostly blur, px of the reduced picture.
const LEAST_LAG_PX: f64 = 2.5;
/// Slow light is taken off on this many blocks along the short side.
const BLOCKS: usize = 6;
/// The picture is compared with itself in this many parts a side.
const PARTS: usize = 4;
/// Scatter of the parts' sizes (standard deviation over mean) above which it is no heap of like grains. Two photographs of sieved
/// sand gave 0.05 and 0.14, two of a gravel bank 0.47 and 0.59.
const MOST_SCATTER: f64 = 0.25;
/// At least this many grains along the short side.
const LEAST_ACROSS: f64 = 8.0;
/// The method's own error: half-width of 95 %, share of the size. Validated on few photographs: our judgement.
const OWN_ERROR: f64 = 0.25;
/// d10 and d90 over d50: assumed, after sand between two neighbouring sieves measured by hand (P90 over P50 1.34).
const ASSUMED: [f64; 2] = [0.8, 1.3];
/// How far the assumed ones may be off, as factors: a heap may be far wider than one sieve fraction.
const ASSUMED_WITHIN: f64 = 2.2;

/// What a heap's texture told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Texture {
    /// Middle grain diameter, mm.
    pub d50_mm: f64,
    /// Scatter of the parts' sizes, standard deviation over mean.
    pub scatter: f64,
}

/// Reads a window full of like grains; `None` where it is not one, or its grains are too large or too small for the photo.
pub fn of_heap(window: &WindowImage) -> Option<Texture> {
    let short = window.width_px.min(window.height_px) as usize;
    let mut step = (short / SHORT_SIDE).max(1);
    loop {
        let plane = Plane::reduced(window, step).flattened();
        let lag_px = plane.half_lag()?;
        if lag_px < LEAST_LAG_PX {
            if step == 1 {
                return None;
            }
            step = (step / 2).max(1);
            continue;
        }
        let size_px = lag_px / HALF_LAG;
        if size_px * LEAST_ACROSS > plane.width.min(plane.height) as f64 {
            return None;
        }
        let scatter = plane.scatter()?;
        let d50_mm = size_px * step as f64 / window.px_per_mm;
        return (scatter <= MOST_SCATTER).then_some(Texture { d50_mm, scatter });
    }
}

impl Texture {
    /// The sizes it stands for; d10 and d90 are assumed and their intervals say so.
    pub fn gradation(&self, extra_sieves_mm: &[f64]) -> Gradation {
        let d50_mm = self.d50_mm;
        let [d10_mm, d90_mm] = ASSUMED.map(|share| share * d50_mm);
        // The mean of all parts is surer than one part by the root of their number.
        let own = (OWN_ERROR * OWN_ERROR + (1.96 * self.scatter / PARTS as f64).powi(2)).sqrt();
        let mut sieves_mm: Vec<f64> = SIEVES_MM.iter().chain(extra_sieves_mm).copied().collect();
        sieves_mm.sort_by(f64::total_cmp);
        sieves_mm.dedup();
        let known = [(d10_mm.ln(), 10.0), (d50_mm.ln(), 50.0), (d90_mm.ln(), 90.0)];
        let finer = |sieve: &f64| {
            let [from, to] = if *sieve < d50_mm { [known[0], known[1]] } else { [known[1], known[2]] };
            (from.1 + (sieve.ln() - from.0) / (to.0 - from.0) * (to.1 - from.1)).clamp(0.0, 100.0)
        };
        let retained: Vec<f64> = FINENESS_SERIES_MM.iter().map(|sieve| 100.0 - finer(sieve)).collect();
        Gradation {
            basis: "volume".into(),
            finer_percent: sieves_mm.iter().map(finer).collect(),
            sieves_mm,
            d10_mm,
            d50_mm,
            d90_mm,
            interval95: GradationInterval {
                d10_mm: [d10_mm / ASSUMED_WITHIN, d50_mm * (1.0 + own)],
                d50_mm: [d50_mm * (1.0 - own), d50_mm * (1.0 + own)],
                d90_mm: [d50_mm * (1.0 - own), d90_mm * ASSUMED_WITHIN],
            },
            window95: None,
            fineness_modulus: fineness_modulus(&retained),
        }
    }

    /// Volume of one layer of such spheres that covers `area_mm2` to eight tenths, mm3: at least this much lies there.
    pub fn layer_mm3(&self, area_mm2: f64) -> f64 {
        0.8 * area_mm2 * self.d50_mm * 2.0 / 3.0
    }
}

/// A picture's light.
struct Plane {
    width: usize,
    height: usize,
    values: Vec<f32>,
}

impl Plane {
    /// Means over squares of `step` pixels.
    fn reduced(window: &WindowImage, step: usize) -> Self {
        let (width, height) = (window.width_px as usize / step, window.height_px as usize / step);
        let mut values = Vec::with_capacity(width * height);
        let mut sums = vec![0_u32; width];
        for row in 0..height {
            sums.fill(0);
            for y in row * step..(row + 1) * step {
                let start = 3 * y * window.width_px as usize;
                let line = &window.rgb[start..start + 3 * width * step];
                for (sum, square) in sums.iter_mut().zip(line.chunks_exact(3 * step)) {
                    *sum += square.chunks_exact(3).map(|p| u32::from(p[0]) + 2 * u32::from(p[1]) + u32::from(p[2])).sum::<u32>();
                }
            }
            values.extend(sums.iter().map(|sum| *sum as f32 / (4 * step * step) as f32));
        }
        Self { width, height, values }
    }

    /// Without slow light: what the means of square blocks, blended between their middles, say of it is taken off.
    fn flattened(mut self) -> Self {
        let side = (self.width.min(self.height) as f32 / BLOCKS as f32).max(1.0);
        let (columns, rows) = ((self.width as f32 / side).round().max(1.0) as usize, (self.height as f32 / side).round().max(1.0) as usize);
        let (mut sums, mut counts) = (vec![0.0_f64; columns * rows], vec![0_u32; columns * rows]);
        for y in 0..self.height {
            for x in 0..self.width {
                let block = y * rows / self.height * columns + x * columns / self.width;
                sums[block] += f64::from(self.values[y * self.width + x]);
                counts[block] += 1;
            }
        }
        let means: Vec<f32> = sums.iter().zip(&counts).map(|(sum, count)| (*sum / f64::from((*count).max(1))) as f32).collect();
        let place = |at: usize, length: usize, blocks: usize| {
            let at = ((at as f32 + 0.5) * blocks as f32 / length as f32 - 0.5).clamp(0.0, (blocks - 1) as f32);
            (at as usize, (at as usize + 1).min(blocks - 1), at.fract())
        };
        for y in 0..self.height {
            let (top, bottom, down) = place(y, self.height, rows);
            for x in 0..self.width {
                let (left, right, along) = place(x, self.width, columns);
                let blend = |row: usize| means[row * columns + left] * (1.0 - along) + means[row * columns + right] * along;
                self.values[y * self.width + x] -= blend(top) * (1.0 - down) + blend(bottom) * down;
            }
        }
        self
    }

    /// Mean product of the pixels of a box with those `(dx, dy)` away within it, dx >= 0.
    fn likeness(&self, [left, top, right, bottom]: [usize; 4], mean: f64, (dx, dy): (usize, isize)) -> f64 {
        let (from, to) = if dy < 0 { (top + dy.unsigned_abs(), bottom) } else { (top, bottom - dy.unsigned_abs()) };
        let (mut sum, mut count) = (0.0_f64, 0_usize);
        for y in from..to {
            let other = (y as isize + dy) as usize;
            let here = &self.values[y * self.width + left..y * self.width + right - dx];
            let there = &self.values[other * self.width + left + dx..other * self.width + right];
            let row: f32 = here.iter().zip(there).map(|(a, b)| (a - mean as f32) * (b - mean as f32)).sum();
            sum += f64::from(row);
            count += here.len();
        }
        sum / count.max(1) as f64
    }

    /// Shift at which a box is half like itself, geometric mean over four directions, px.
    fn half_lag_in(&self, area: [usize; 4]) -> Option<f64> {
        let [left, top, right, bottom] = area;
        let rows = (top..bottom).map(|y| &self.values[y * self.width + left..y * self.width + right]);
        let (mut sum, mut count) = (0.0_f64, 0_usize);
        rows.for_each(|row| {
            sum += row.iter().map(|value| f64::from(*value)).sum::<f64>();
            count += row.len();
        });
        let mean = sum / count.max(1) as f64;
        let whole = self.likeness(area, mean, (0, 0));
        if whole < 1e-6 {
            return None;
        }
        let most = (right - left).min(bottom - top) / 2;
        let mut log_sum = 0.0;
        for (dx, dy) in [(1, 0), (0, 1), (1, 1), (1, -1)] {
            let length = ((dx * dx) as f64 + (dy * dy) as f64).sqrt();
            let mut before = 1.0;
            let lag = (1..most).find_map(|steps| {
                let here = self.likeness(area, mean, (dx * steps, dy * steps as isize)) / whole;
                let lag = length * (steps as f64 - 1.0 + (before - 0.5) / (before - here));
                before = here;
                (here < 0.5).then_some(lag)
            })?;
            log_sum += lag.ln();
        }
        Some((log_sum / 4.0).exp())
    }

    fn half_lag(&self) -> Option<f64> {
        self.half_lag_in([0, 0, self.width, self.height])
    }

    /// Standard deviation over mean of the shifts in the parts of the picture.
    fn scatter(&self) -> Option<f64> {
        let mut lags = Vec::with_capacity(PARTS * PARTS);
        for row in 0..PARTS {
            for column in 0..PARTS {
                let (x, y) = (|part: usize| part * self.width / PARTS, |part: usize| part * self.height / PARTS);
                lags.push(self.half_lag_in([x(column), y(row), x(column + 1), y(row + 1)])?);
            }
        }
        let mean = lags.iter().sum::<f64>() / lags.len() as f64;
        let variance = lags.iter().map(|lag| (lag - mean) * (lag - mean)).sum::<f64>() / lags.len() as f64;
        Some(variance.sqrt() / mean)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Discs of one size and many greys dropped on each other until nothing shows between; then `stones` of six times the size on the
    /// left half.
    fn heap(diameter_px: f64, stones: usize) -> WindowImage {
        let (width, height) = (640_u32, 480_u32);
        let mut state = 5_u64;
        let mut random = move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as f64 / f64::from(1_u32 << 31)
        };
        let mut rgb = vec![0_u8; 3 * width as usize * height as usize];
        let count = (8.0 * f64::from(width * height) / (diameter_px * diameter_px)) as usize;
        for number in 0..count + stones {
            let (times, side) = if number < count { (1.0, 1.0) } else { (6.0, 0.5) };
            let (cx, cy, grey) = (random() * side * f64::from(width), random() * f64::from(height), (40.0 + 180.0 * random()) as u8);
            let radius = diameter_px / 2.0 * times;
            for y in (cy - radius).max(0.0) as u32..((cy + radius) as u32 + 1).min(height) {
                for x in (cx - radius).max(0.0) as u32..((cx + radius) as u32 + 1).min(width) {
                    if (f64::from(x) - cx).hypot(f64::from(y) - cy) <= radius {
                        let at = 3 * (y * width + x) as usize;
                        rgb[at..at + 3].fill(grey);
                    }
                }
            }
        }
        WindowImage { width_px: width, height_px: height, px_per_mm: 10.0, rgb, white: None, edge_sigma_px: None, sight: None }
    }

    #[test]
    fn size_rises_in_step_with_the_grains() {
        let sizes = [14.0, 20.0, 28.0].map(|diameter| of_heap(&heap(diameter, 0)).expect("like grains").d50_mm);
        for (pair, ratio) in sizes.windows(2).zip([20.0 / 14.0, 28.0 / 20.0]) {
            assert!((pair[1] / pair[0] / ratio - 1.0).abs() < 0.1, "{sizes:?}");
        }
        // What is seen of grains under others is smaller than the grains: where discs hide each other the half lies at 0.265 D.
        assert!((0.55..1.0).contains(&(sizes[1] / 2.0)), "{sizes:?}");
    }

    #[test]
    fn bank_of_unlike_parts_is_not_read() {
        assert_eq!(of_heap(&heap(14.0, 12)), None);
    }

    #[test]
    fn grains_too_large_too_small_or_none_are_not_read() {
        assert_eq!(of_heap(&heap(300.0, 0)), None);
        assert_eq!(of_heap(&heap(2.0, 0)), None);
        let plain = WindowImage { rgb: vec![128; 3 * 640 * 480], ..heap(20.0, 0) };
        assert_eq!(of_heap(&plain), None);
    }

    #[test]
    fn half_lag_is_where_a_disc_covers_half_of_itself() {
        let covered = 2.0 / std::f64::consts::PI * (HALF_LAG.acos() - HALF_LAG * (1.0 - HALF_LAG * HALF_LAG).sqrt());
        assert!((covered - 0.5).abs() < 1e-12, "{covered}");
    }

    #[test]
    fn gradation_is_wide_and_in_order() {
        let sizes = Texture { d50_mm: 1.2, scatter: 0.1 }.gradation(&[]);
        assert!(sizes.finer_percent.windows(2).all(|pair| pair[0] <= pair[1]));
        let [low, high] = sizes.interval95.d50_mm;
        assert!(low < 1.2 * 0.8 && high > 1.2 * 1.2);
        assert!(sizes.interval95.d10_mm[0] < 0.5 * sizes.d10_mm && sizes.interval95.d90_mm[1] > 2.0 * sizes.d90_mm);
    }
}
