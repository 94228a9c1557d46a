//! From marked pixels to marks: the outline at half level against the surface right around, and what can be said of each.

use super::colour::{ciede2000, lab_of_linear};
use super::departure::FOREIGN;
use super::ground::{Ground, length, medians};
use super::light::LightTable;
use super::raster::Raster;
use super::region::spread;
use crate::debris::measure::{Mask, Shape};
use crate::debris::segment::patches;

/// Share of the highest departure near a pixel at which a mark's rim stands. The highest of several noisy pixels stands above their
/// level, so that half of the level is a little less than half of it. Chosen on our own scenes.
const HALF: f32 = 0.44;

/// What marks are measured on.
pub(crate) struct Scene<'a> {
    pub(crate) raster: &'a Raster,
    pub(crate) inside: &'a [u8],
    pub(crate) ground: &'a Ground,
    pub(crate) table: &'a LightTable,
    /// Marked pixels, see [`super::departure::mark`].
    pub(crate) marked: &'a [u8],
    /// Spread (sigma) of a sharp edge, px of the raster, its smoothing included.
    pub(crate) edge_sigma: f64,
}

/// One mark on the surface; lengths in raster px.
#[derive(Debug, Clone)]
pub(crate) struct Mark {
    pub(crate) mask: Mask,
    pub(crate) shape: Shape,
    /// CIEDE2000 between its middle and the surface around it.
    pub(crate) difference: f64,
    /// Slope of its rim over that of a sharp edge: 1 sharp, 0 without a rim.
    pub(crate) sharp: f64,
    /// Lighter than what is around it.
    pub(crate) bright: bool,
}

impl Mark {
    /// Length along it and mean width, taking it for a thin line.
    pub(crate) fn as_line(&self) -> (f64, f64) {
        let shape = &self.shape;
        // A thin body of length L and width w has the perimeter 2 (L + w) and the area L w.
        let half = shape.perimeter / 2.0;
        let root = (half * half / 4.0 - shape.area).max(0.0).sqrt();
        let long = (half / 2.0 + root).max(shape.feret_max);
        (long, shape.area / long)
    }
}

impl Scene<'_> {
    /// How far a rim reaches, px.
    fn reach(&self) -> usize {
        ((2.5 * self.edge_sigma).ceil() as usize).clamp(2, 7)
    }

    fn light(&self, at: usize) -> [f32; 3] {
        self.table.of([self.raster.rgb[at * 3], self.raster.rgb[at * 3 + 1], self.raster.rgb[at * 3 + 2]])
    }

    /// Share of the pixels right around a mark that may be foreign stuff: a line between grains is what they leave of the surface.
    pub(crate) fn foreign_around(&self, mask: &Mask) -> f64 {
        let (mut foreign, mut all) = (0_u32, 0_u32);
        let inside = |x: i32, y: i32| {
            x >= 0
                && y >= 0
                && (x as usize) < mask.width
                && (y as usize) < mask.height
                && mask.inside[y as usize * mask.width + x as usize] != 0
        };
        for y in -2..mask.height as i32 + 2 {
            for x in -2..mask.width as i32 + 2 {
                let beside = [(2, 0), (-2, 0), (0, 2), (0, -2)];
                if inside(x, y) || !beside.iter().any(|(dx, dy)| inside(x + dx, y + dy)) {
                    continue;
                }
                let (column, row) = (mask.left + x, mask.top + y);
                if column >= 0 && row >= 0 && (column as usize) < self.raster.width && (row as usize) < self.raster.height {
                    let at = row as usize * self.raster.width + column as usize;
                    all += 1;
                    foreign += u32::from(self.marked[at] & FOREIGN != 0 || self.inside[at] == 0);
                }
            }
        }
        f64::from(foreign) / f64::from(all.max(1))
    }

    /// The marks that a patch of marked pixels holds once its rim is set at half level, each pixel given to one mark only.
    pub(crate) fn refined(&self, patch: &Mask, owned: &mut [u8], fill: bool) -> Vec<Mark> {
        let reach = self.reach();
        let margin = (2 * reach + 4) as i32;
        let (full_width, full_height) = (self.raster.width as i32, self.raster.height as i32);
        let (left, top) = ((patch.left + 1 - margin).max(0), (patch.top + 1 - margin).max(0));
        let right = (patch.left + patch.width as i32 - 1 + margin).min(full_width);
        let bottom = (patch.top + patch.height as i32 - 1 + margin).min(full_height);
        let (width, height) = ((right - left) as usize, (bottom - top) as usize);
        let whole = |index: usize| (top as usize + index / width) * self.raster.width + left as usize + index % width;
        let mut own = vec![0_u8; width * height];
        for row in 1..patch.height - 1 {
            for column in 1..patch.width - 1 {
                let (x, y) = (patch.left + column as i32 - left, patch.top + row as i32 - top);
                own[y as usize * width + x as usize] = patch.inside[row * patch.width + column];
            }
        }
        let mut near = own.clone();
        spread(&mut near, width, height, reach, true);
        let mut far = near.clone();
        spread(&mut far, width, height, reach + 3, true);
        let ring: Vec<[f32; 3]> = (0..width * height)
            .filter(|index| far[*index] != 0 && near[*index] == 0)
            .map(whole)
            .filter(|at| self.inside[*at] != 0 && self.marked[*at] & FOREIGN == 0)
            .map(|at| self.light(at))
            .collect();
        let around = if ring.len() >= 16 { medians(&ring, 0.5) } else { None };
        let middle = ((left + right) / 2, (top + bottom) / 2);
        let around = around.unwrap_or_else(|| self.ground.at(middle.0 as usize, middle.1 as usize));
        let level = length(around).max(0.02);
        let departs: Vec<f32> = (0..width * height)
            .map(whole)
            .map(|at| {
                if self.inside[at] == 0 {
                    0.0
                } else {
                    let x = self.light(at);
                    length([x[0] - around[0], x[1] - around[1], x[2] - around[2]]) / level
                }
            })
            .collect();
        let most = highest(&departs, &near, width, height, reach);
        let mut body = vec![0_u8; width * height];
        for index in 0..width * height {
            let at = whole(index);
            let may = near[index] != 0 && self.inside[at] != 0 && owned[at] == 0 && (own[index] != 0 || self.marked[at] & FOREIGN == 0);
            body[index] = u8::from(may && departs[index] > 0.04 && departs[index] >= HALF * most[index]);
        }
        if fill {
            fill_holes(&mut body, width, height);
        }
        let mut marks = Vec::new();
        for mut mask in patches(&body, |value| value != 0, width, height, 3) {
            let local = |mask: &Mask| {
                let (mask_left, mask_top, mask_width) = (mask.left, mask.top, mask.width);
                mask.inside
                    .iter()
                    .enumerate()
                    .filter(|(_, value)| **value != 0)
                    .map(move |(index, _)| {
                        let (x, y) = (mask_left + (index % mask_width) as i32, mask_top + (index / mask_width) as i32);
                        y as usize * width + x as usize
                    })
                    .collect::<Vec<usize>>()
            };
            let places = local(&mask);
            if places.iter().all(|index| own[*index] == 0) {
                continue;
            }
            let (core, sharp) = self.core_and_rim(&places, &body, &departs, &most, width, whole);
            places.iter().for_each(|index| owned[whole(*index)] = 1);
            mask.left += left;
            mask.top += top;
            let Some(shape) = mask.shape() else { continue };
            let difference = ciede2000(lab_of_linear(core.map(f64::from)), lab_of_linear(around.map(f64::from)));
            let bright = core.iter().sum::<f32>() > around.iter().sum::<f32>();
            marks.push(Mark { mask, shape, difference, sharp, bright });
        }
        marks
    }

    /// Mean light where a mark departs most, and the slope of its rim over a sharp edge's.
    fn core_and_rim(
        &self,
        places: &[usize],
        body: &[u8],
        departs: &[f32],
        most: &[f32],
        width: usize,
        whole: impl Fn(usize) -> usize,
    ) -> ([f32; 3], f64) {
        let (mut sum, mut count) = ([0.0_f64; 3], 0.0);
        let (mut slope, mut height) = (0.0_f64, 0.0_f64);
        for index in places.iter().copied() {
            if departs[index] >= 0.75 * most[index] {
                for (total, value) in sum.iter_mut().zip(self.light(whole(index))) {
                    *total += f64::from(value);
                }
                count += 1.0;
            }
            let (x, y) = (index % width, index / width);
            if x == 0 || y == 0 || x + 1 == width || index + width >= body.len() {
                continue;
            }
            // The surface's own border is no rim of the mark.
            let beside = [index - 1, index + 1, index - width, index + width];
            if beside.iter().all(|at| body[*at] != 0) || beside.iter().any(|at| self.inside[whole(*at)] == 0) {
                continue;
            }
            let (across, down) = ((departs[index + 1] - departs[index - 1]) / 2.0, (departs[index + width] - departs[index - width]) / 2.0);
            slope += f64::from(across.hypot(down));
            height += f64::from(most[index]);
        }
        let core = if count > 0.0 { sum.map(|total| (total / count) as f32) } else { self.light(whole(places[0])) };
        let sharp = if height > 0.0 { slope * self.edge_sigma * (2.0 * std::f64::consts::PI).sqrt() / height } else { 1.0 };
        (core, sharp)
    }
}

/// The highest departure within `reach`, square, of the pixels near the patch.
fn highest(departs: &[f32], near: &[u8], width: usize, height: usize, reach: usize) -> Vec<f32> {
    let of_near: Vec<f32> = departs.iter().zip(near).map(|(value, near)| if *near != 0 { *value } else { 0.0 }).collect();
    let window = |values: &[f32], start: usize, stride: usize, count: usize, out: &mut [f32]| {
        for at in 0..count {
            let (first, last) = (at.saturating_sub(reach), (at + reach).min(count - 1));
            out[start + at * stride] = (first..=last).map(|index| values[start + index * stride]).fold(0.0, f32::max);
        }
    };
    let mut across = vec![0.0; width * height];
    for row in 0..height {
        window(&of_near, row * width, 1, width, &mut across);
    }
    let mut most = vec![0.0; width * height];
    for column in 0..width {
        window(&across, column, width, height, &mut most);
    }
    most
}

/// Fills what the border of the box cannot reach, where it is small beside the body: grains in a ring leave a clean middle.
fn fill_holes(body: &mut [u8], width: usize, height: usize) {
    let area = body.iter().filter(|value| **value != 0).count();
    let mut seen: Vec<bool> = body.iter().map(|value| *value != 0).collect();
    for start in 0..width * height {
        if seen[start] {
            continue;
        }
        let (mut open, mut hole, mut reaches_border) = (vec![start], Vec::new(), false);
        seen[start] = true;
        while let Some(at) = open.pop() {
            hole.push(at);
            let (x, y) = (at % width, at / width);
            reaches_border |= x == 0 || y == 0 || x + 1 == width || y + 1 == height;
            let beside = [at.saturating_sub(1), (at + 1).min(body.len() - 1), at.saturating_sub(width), (at + width).min(body.len() - 1)];
            // A step over the box's side border only ever starts from the border, where nothing is filled any more.
            for next in beside {
                if !seen[next] {
                    seen[next] = true;
                    open.push(next);
                }
            }
        }
        if !reaches_border && hole.len() * 3 <= area {
            hole.iter().for_each(|at| body[*at] = 1);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hole_is_filled_and_a_bay_is_not() {
        let picture = ["......", ".####.", ".#..#.", ".####.", ".#....", ".####."];
        let mut body: Vec<u8> = picture.concat().bytes().map(|byte| u8::from(byte == b'#')).collect();
        fill_holes(&mut body, 6, 6);
        assert_eq!(body[2 * 6 + 2..2 * 6 + 4], [1, 1]);
        assert_eq!(body[4 * 6 + 2..4 * 6 + 5], [0, 0, 0]);
    }

    #[test]
    fn bar_is_as_long_and_wide_as_drawn() {
        let mut mask = Mask::empty(0, 0, 100, 4);
        for row in 1..=4 {
            let start = row * mask.width + 1;
            mask.inside[start..start + 100].fill(1);
        }
        let shape = mask.shape().unwrap();
        let mark = Mark { mask, shape, difference: 50.0, sharp: 1.0, bright: false };
        let (long, wide) = mark.as_line();
        assert!((long - 100.0).abs() < 4.0 && (wide - 4.0).abs() < 0.2, "{long} {wide}");
    }
}
