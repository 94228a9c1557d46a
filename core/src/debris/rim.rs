//! The rim of a body where it meets open paper: at half level between the two.
//!
//! The network tells what is a body and what is its shadow; where its edge lies to half a pixel the light itself says better. A
//! blurred straight edge passes half of its step at its true place whatever the blur. Where a shadow, a film or another body lies
//! outside, or the body is nearly as light as the paper, half level means nothing and the network's rim stays.

use super::bodies::Body;
use super::measure::Mask;

/// Light over the paper's light in the window, for each pixel: 200 is the paper itself.
#[derive(Debug, Clone)]
pub struct LightMap {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Row by row.
    pub values: Vec<u8>,
}

/// The paper in a [`LightMap`].
pub const PAPER: f32 = 200.0;
/// Open paper is at least this light: a shadow or a film is darker.
const OPEN_PAPER: f32 = 0.95 * PAPER;
/// Least step from body to paper of which half can be told.
const LEAST_STEP: f32 = 0.4 * PAPER;
/// How far from the rim the light of body and paper is looked up, px: beyond the blur of an edge that passes the photo gates.
const LOOK_PX: f32 = 3.0;

/// Moves the rim of every body by up to a pixel, in or out.
pub fn settle_rims(bodies: &mut Vec<Body>, light: &LightMap) {
    // Which body a pixel belongs to, from 1: no body may grow into another.
    let mut owner = vec![0_u32; light.values.len()];
    for (number, body) in (1..).zip(bodies.iter()) {
        pixels(&body.mask).for_each(|(x, y)| owner[y * light.width + x] = number);
    }
    let taken = |x: i32, y: i32| -> Option<u32> {
        let inside = x >= 0 && y >= 0 && (x as usize) < light.width && (y as usize) < light.height;
        inside.then(|| owner[y as usize * light.width + x as usize])
    };
    for (number, body) in (1..).zip(bodies.iter_mut()) {
        body.mask = settled(&body.mask, number, &taken, light);
    }
    bodies.retain(|body| body.mask.width > 2);
}

/// Window coordinates of the pixels inside.
fn pixels(mask: &Mask) -> impl Iterator<Item = (usize, usize)> + '_ {
    let inside = mask.inside.iter().enumerate().filter(|(_, inside)| **inside != 0);
    inside.map(|(index, _)| ((mask.left + (index % mask.width) as i32) as usize, (mask.top + (index / mask.width) as i32) as usize))
}

fn settled(mask: &Mask, number: u32, taken: &impl Fn(i32, i32) -> Option<u32>, light: &LightMap) -> Mask {
    let own = |x: i32, y: i32| taken(x, y) == Some(number);
    let mut kept = Vec::with_capacity(mask.inside.len());
    for y in mask.top..mask.top + mask.height as i32 {
        for x in mask.left..mask.left + mask.width as i32 {
            let is_own = own(x, y);
            let free = taken(x, y) == Some(0);
            let beside = [(1, 0), (-1, 0), (0, 1), (0, -1)].into_iter();
            let on_rim = if is_own {
                beside.clone().any(|(dx, dy)| taken(x + dx, y + dy) == Some(0))
            } else {
                free && beside.clone().any(|(dx, dy)| own(x + dx, y + dy))
            };
            let inside = if on_rim { half_level(x, y, &own, taken, light).unwrap_or(is_own) } else { is_own };
            if inside {
                kept.push((x, y));
            }
        }
    }
    tight(&kept)
}

/// Whether a pixel on the rim is darker than half way from body to paper; None where half way cannot be told.
fn half_level(x: i32, y: i32, own: &impl Fn(i32, i32) -> bool, taken: &impl Fn(i32, i32) -> Option<u32>, light: &LightMap) -> Option<bool> {
    let at = |x: i32, y: i32| light.values.get(y as usize * light.width + x as usize).map(|value| f32::from(*value));
    // Towards the body: where most of it lies around this pixel.
    let (mut inward_x, mut inward_y) = (0_i32, 0_i32);
    for dy in -3..=3_i32 {
        for dx in -3..=3_i32 {
            if own(x + dx, y + dy) {
                inward_x += dx;
                inward_y += dy;
            }
        }
    }
    let length = ((inward_x * inward_x + inward_y * inward_y) as f32).sqrt();
    if length < 1.0 {
        return None;
    }
    let step = |px: f32| ((inward_x as f32 / length * px).round() as i32, (inward_y as f32 / length * px).round() as i32);
    let (dx, dy) = step(LOOK_PX);
    let (inner, outer) = ((x + dx, y + dy), (x - dx, y - dy));
    if !own(inner.0, inner.1) || taken(outer.0, outer.1) != Some(0) {
        return None;
    }
    let (body, paper) = (at(inner.0, inner.1)?, at(outer.0, outer.1)?);
    if paper < OPEN_PAPER || paper - body < LEAST_STEP {
        return None;
    }
    Some(at(x, y)? < 0.5 * (body + paper))
}

/// The mask of these pixels in the least box.
fn tight(pixels: &[(i32, i32)]) -> Mask {
    let box_of = |values: &mut dyn Iterator<Item = i32>| values.fold((i32::MAX, i32::MIN), |(low, high), v| (low.min(v), high.max(v)));
    if pixels.is_empty() {
        return Mask::empty(0, 0, 0, 0);
    }
    let (left, right) = box_of(&mut pixels.iter().map(|(x, _)| *x));
    let (top, bottom) = box_of(&mut pixels.iter().map(|(_, y)| *y));
    let mut mask = Mask::empty(left, top, (right - left + 1) as usize, (bottom - top + 1) as usize);
    for (x, y) in pixels {
        let (column, row) = ((x - mask.left) as usize, (y - mask.top) as usize);
        mask.inside[row * mask.width + column] = 1;
    }
    mask
}
