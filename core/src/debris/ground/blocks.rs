//! The window in square blocks, and the mean light of each.

use std::ops::Range;

use super::super::light::{luminance, luminances, to_light};
use super::super::window::WindowImage;
use super::Ground;

/// A block whose brighter half is lighter than its mean by no more than this factor is even.
const EVEN_BLOCK: f32 = 1.04;

/// Some rows of the window in light, each colour apart, and their luminance.
#[derive(Default)]
struct Band {
    colours: [Vec<f32>; 3],
    light: Vec<f32>,
}

impl Band {
    fn take(&mut self, rgb: &[u8], table: &[f32; 256]) {
        self.colours.iter_mut().chain([&mut self.light]).for_each(|values| values.resize(rgb.len() / 3, 0.0));
        to_light(rgb, table, &mut self.colours);
        luminances(&self.colours, &mut self.light);
    }

    /// The pixels of `columns` of all rows; a row has `width` pixels.
    fn block(&self, width: usize, columns: Range<usize>) -> Block<'_> {
        Block { band: self, width, columns }
    }
}

/// One block of a [`Band`].
struct Block<'a> {
    band: &'a Band,
    width: usize,
    columns: Range<usize>,
}

impl Block<'_> {
    /// Rows of red, green, blue and luminance.
    fn rows(&self) -> impl Iterator<Item = [&[f32]; 4]> {
        let Self { band, width, columns } = self;
        let [red, green, blue] = &band.colours;
        (0..band.light.len() / width).map(move |row| {
            let range = row * width + columns.start..row * width + columns.end;
            [&red[range.clone()], &green[range.clone()], &blue[range.clone()], &band.light[range]]
        })
    }

    fn mean_and_lightest(&self) -> ([f32; 3], f32) {
        let (mut sum, mut lightest, mut count) = ([0.0_f32; 3], 0.0_f32, 0_usize);
        for [red, green, blue, light] in self.rows() {
            for x in 0..light.len() {
                sum = [sum[0] + red[x], sum[1] + green[x], sum[2] + blue[x]];
                lightest = lightest.max(light[x]);
            }
            count += light.len();
        }
        (sum.map(|value| value / count.max(1) as f32), lightest)
    }

    /// Mean of the pixels at least this light.
    fn mean_from(&self, at_least: f32) -> [f32; 3] {
        let (mut sum, mut count) = ([0.0_f32; 3], 0.0_f32);
        for [red, green, blue, light] in self.rows() {
            for x in (0..light.len()).filter(|x| light[*x] >= at_least) {
                sum = [sum[0] + red[x], sum[1] + green[x], sum[2] + blue[x]];
                count += 1.0;
            }
        }
        sum.map(|value| value / count.max(1.0))
    }
}

/// The window in square blocks.
pub(super) struct Blocks {
    pub(super) side: usize,
    pub(super) columns: usize,
    pub(super) rows: usize,
    pub(super) values: Vec<[f32; 3]>,
}

impl Blocks {
    /// On white each block gives the mean of its brighter half: where grains cover a part of it, that is the paper.
    pub(super) fn new(window: &WindowImage, table: &[f32; 256], brighter_half: bool) -> Self {
        let (width, height) = (window.width_px as usize, window.height_px as usize);
        let side = (width.min(height) / 360).clamp(1, 16);
        let (columns, rows) = (width.div_ceil(side), height.div_ceil(side));
        let mut values = Vec::with_capacity(columns * rows);
        let mut band = Band::default();
        for lines in window.rgb.chunks(3 * width * side) {
            band.take(lines, table);
            values.extend((0..columns).map(|column| {
                let block = band.block(width, column * side..((column + 1) * side).min(width));
                let (mean, lightest) = block.mean_and_lightest();
                if !brighter_half || side == 1 {
                    return mean;
                }
                // An even block is taken whole: the brighter half of mere noise lies above the paper.
                let even = |light: f32| light / luminance(mean).max(1e-4) < EVEN_BLOCK;
                if even(lightest) {
                    return mean;
                }
                let upper = luminance(block.mean_from(luminance(mean)));
                if even(upper) { mean } else { block.mean_from(upper * 0.97) }
            }));
        }
        Self { side, columns, rows, values }
    }

    pub(super) fn neighbours(&self, index: usize) -> impl Iterator<Item = usize> + use<> {
        let (columns, rows) = (self.columns, self.rows);
        let (x, y) = (index % columns, index / columns);
        let left = (x > 0).then(|| index - 1);
        let right = (x + 1 < columns).then_some(index + 1);
        let up = (y > 0).then(|| index - columns);
        let down = (y + 1 < rows).then_some(index + columns);
        [left, right, up, down].into_iter().flatten()
    }

    pub(super) fn ground(&self, white: bool, level: [Vec<f32>; 3], seen: Vec<bool>) -> Ground {
        let share = seen.iter().filter(|is| **is).count() as f64 / seen.len() as f64;
        let paper = Default::default();
        Ground {
            white,
            block_px: self.side,
            columns: self.columns,
            rows: self.rows,
            level,
            paper,
            light: Vec::new(),
            seen,
            seen_share: share,
        }
    }
}
