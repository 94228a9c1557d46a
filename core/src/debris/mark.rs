//! Edges of a mark's modules, measured in the photo at full size.
//!
//! A mark has some four hundred boundaries between dark and light whose places on the card are known to a hundredth of a
//! millimetre. Where each one crosses half level is read along a short profile; no corner is ever looked for.

use std::sync::LazyLock;

use super::card::{MarkModules, MarkPlace};
use crate::photo::Photo;

/// A mark read in the photo.
#[derive(Debug, Clone)]
pub(crate) struct FoundMark {
    pub(crate) place: MarkPlace,
    pub(crate) modules: MarkModules,
    /// Where its corners lie, px, to about half a module: upper left, upper right, lower right, lower left.
    pub(crate) rough_px: [[f64; 2]; 4],
}

impl FoundMark {
    /// Side of a module, mm.
    pub(crate) fn pitch_mm(&self) -> f64 {
        self.place.side_mm / self.modules.size() as f64
    }

    /// Window coordinates of a point given in modules, mm.
    pub(crate) fn mm(&self, modules: [f64; 2]) -> [f64; 2] {
        let pitch = self.pitch_mm();
        [self.place.offset_mm[0] + modules[0] * pitch, self.place.offset_mm[1] + modules[1] * pitch]
    }

    /// Window coordinates of the mark's corners, mm.
    pub(crate) fn corners_mm(&self) -> [[f64; 2]; 4] {
        let end = self.modules.size() as f64;
        [[0.0, 0.0], [end, 0.0], [end, end], [0.0, end]].map(|corner| self.mm(corner))
    }

    /// Every boundary between a dark and a light module, one piece per module side.
    pub(crate) fn edges(&self) -> Vec<Edge> {
        let size = self.modules.size() as i32;
        let dark = |column, row| self.modules.is_dark(column, row);
        let mut edges = Vec::with_capacity(800);
        for row in 0..size {
            for column in 0..=size {
                // Across x between (column - 1, row) and (column, row); across y with the roles swapped.
                for (axis, before, after) in [(0, dark(column - 1, row), dark(column, row)), (1, dark(row, column - 1), dark(row, column))]
                {
                    if before == after {
                        continue;
                    }
                    let (along, across) = (f64::from(row) + 0.5, f64::from(column));
                    let middle = if axis == 0 { [across, along] } else { [along, across] };
                    // Blocks of about seventy edges, over which noise averages out and bend does not.
                    let block = 4 * axis + 2 * usize::from(2 * row >= size) + usize::from(2 * column > size);
                    edges.push(Edge { middle_mm: self.mm(middle), axis, light_after: before, block });
                }
            }
        }
        edges
    }
}

/// One piece of a boundary between dark and light.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Edge {
    /// Its middle, mm.
    pub(crate) middle_mm: [f64; 2],
    /// 0 where it is crossed along x, 1 along y.
    pub(crate) axis: usize,
    /// True where light follows dark in the direction of growing x or y.
    pub(crate) light_after: bool,
    /// Which eighth of the mark's edges it belongs to: axis and quarter.
    pub(crate) block: usize,
}

/// sRGB to linear light for sums r + 2 g + b (0 to 1020), 0 to 1.
static LINEAR: LazyLock<Vec<f32>> = LazyLock::new(|| {
    // IEC 61966-2-1. Optics blur light, not code values: half level has to be taken in linear light.
    let linear = |code: f64| if code <= 0.04045 { code / 12.92 } else { ((code + 0.055) / 1.055).powf(2.4) };
    (0..=1020).map(|sum| linear(f64::from(sum) / 1020.0) as f32).collect()
});

/// Reads linear luma anywhere in a photo.
pub(crate) struct Sampler<'a> {
    rgb: &'a [u8],
    width: usize,
    height: usize,
    linear: &'static [f32],
}

impl<'a> Sampler<'a> {
    pub(crate) fn new(photo: &'a Photo) -> Self {
        Self { rgb: &photo.rgb, width: photo.width_px as usize, height: photo.height_px as usize, linear: &LINEAR }
    }

    /// Bilinear between pixel centres (at half-integers), 0 to 1; `None` within half a pixel of the border or outside.
    #[inline]
    pub(crate) fn at(&self, px: [f64; 2]) -> Option<f32> {
        let (x, y) = (px[0] - 0.5, px[1] - 0.5);
        if !(x >= 0.0 && y >= 0.0) {
            return None;
        }
        let (column, row) = (x as usize, y as usize);
        if column + 1 >= self.width || row + 1 >= self.height {
            return None;
        }
        let (fx, fy) = ((x - column as f64) as f32, (y - row as f64) as f32);
        let start = (row * self.width + column) * 3;
        let (upper, lower) = (&self.rgb[start..start + 6], &self.rgb[start + self.width * 3..start + self.width * 3 + 6]);
        let light = |p: &[u8]| self.linear[usize::from(p[0]) + 2 * usize::from(p[1]) + usize::from(p[2])];
        let (a, b, c, d) = (light(&upper[..3]), light(&upper[3..]), light(&lower[..3]), light(&lower[3..]));
        let (top, bottom) = (a + (b - a) * fx, c + (d - c) * fx);
        Some(top + (bottom - top) * fy)
    }
}

/// Samples of one profile.
const SAMPLES: usize = 24;

/// Where half level is crossed, mm from the edge's expected place along its axis: read `reach_mm` to either side, through `to_px`.
///
/// Three parallel lines are averaged. `None` where there is no clear step of the right direction, or it leaves the photo.
pub(crate) fn cross(sampler: &Sampler<'_>, edge: &Edge, pitch_mm: f64, reach_mm: f64, to_px: impl Fn([f64; 2]) -> [f64; 2]) -> Option<f64> {
    let mut profile = [0.0_f32; SAMPLES];
    let step = 2.0 * reach_mm / (SAMPLES - 1) as f64;
    for aside in [-0.28, 0.0, 0.28] {
        let mut ends = [edge.middle_mm; 2];
        for (end, reach) in ends.iter_mut().zip([-reach_mm, reach_mm]) {
            end[edge.axis] += reach;
            end[1 - edge.axis] += aside * pitch_mm;
        }
        // Over a module's length the mapping is straight to far below a hundredth of a pixel, but not even: three points settle it.
        let [from, to] = ends.map(&to_px);
        let mut middle = edge.middle_mm;
        middle[1 - edge.axis] += aside * pitch_mm;
        let middle = to_px(middle);
        for (index, value) in profile.iter_mut().enumerate() {
            let t = 2.0 * index as f64 / (SAMPLES - 1) as f64 - 1.0;
            let point = [0, 1].map(|axis| {
                let (half, bow) = ((to[axis] - from[axis]) / 2.0, (to[axis] + from[axis]) / 2.0 - middle[axis]);
                middle[axis] + t * half + t * t * bow
            });
            *value += sampler.at(point)? / 3.0;
        }
    }
    if !edge.light_after {
        profile.reverse();
    }
    // Dark first. Levels from the outer quarters: symmetrical, so that neighbours bias both alike.
    let mean = |part: &[f32]| part.iter().sum::<f32>() / part.len() as f32;
    let (dark, light) = (mean(&profile[..SAMPLES / 4]), mean(&profile[SAMPLES - SAMPLES / 4..]));
    let contrast = light - dark;
    if contrast < 0.02 {
        return None;
    }
    let level = dark + 0.5 * contrast;
    // The rising crossing nearest the middle.
    let mut best: Option<f64> = None;
    for (index, pair) in profile.windows(2).enumerate() {
        if pair[0] < level && pair[1] >= level {
            let place = index as f64 + f64::from((level - pair[0]) / (pair[1] - pair[0])) - (SAMPLES - 1) as f64 / 2.0;
            if best.is_none_or(|old| place.abs() < old.abs()) {
                best = Some(place);
            }
        }
    }
    let sign = if edge.light_after { 1.0 } else { -1.0 };
    Some(sign * best? * step)
}
