//! The rim of a body: where the light stands half way between the body's edge and the ground beside it.
//!
//! The network tells what is a body and what is its shadow; where its edge lies to half a pixel the light itself says better. The light
//! of the body's edge and that of the ground beside it, be it open paper, a soft shadow or a film, are drawn on from a little farther in
//! and out to the rim, so that a grain that darkens towards its rim, or a shadow that deepens towards the grain, moves nothing. Where
//! another body lies outside, or body and ground are nearly alike, half way means nothing and the network's rim stays.

use super::bodies::Body;
use super::measure::Mask;
use super::segment::patches;

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
/// Least step from body to ground of which half can be told.
const LEAST_STEP: f32 = 0.2 * PAPER;
/// How far from the rim the blur of its edge ends, sigmas of that edge; at least [`LEAST_NEAR_PX`].
const NEAR_SIGMAS: f32 = 2.4;
const LEAST_NEAR_PX: f32 = 2.0;
/// From the end of the blur to where the light is looked up once more, px.
const FARTHER_PX: f32 = 2.0;
/// The light at the rim is at most this share of the step away from that where the blur ends.
const MOST_DRAWN_ON: f32 = 0.6;
/// Cameras sharpen their pictures. The overshoot of an edge takes back this much of what its spread moves half levels by, as a sigma in px
/// of the photo: of an edge of 0.85 px four tenths, of one of 1.7 px a tenth. Ours, seen on the photos of two painters.
const SHARPENED_PX: f64 = 0.55;
/// Share of an edge's spread that is left in any case.
const LEAST_LEFT: f64 = 0.3;
/// Mean of the positive half of a Gauss bell of sigma 1: 1 / sqrt(2 pi).
const HALF_BELL: f32 = 0.398_942_3;
/// Variance of the mean over three pixels along the rim, px squared.
const ALONG_RIM: f64 = 0.5;
/// Spreads of an edge beyond these are the photo gates' to refuse, or none of a lens, px.
const SIGMAS_PX: [f64; 2] = [0.5, 4.0];

/// How edges are seen in the window.
#[derive(Debug, Clone, Copy)]
pub struct EdgeSpread {
    /// Sigma of a sharp edge, px of the window.
    pub sigma_px: f64,
    /// Side of a pixel of the photo, px of the window; 1 or more.
    pub photo_px: f64,
}

/// Moves the rim of every body by up to a pixel, in or out.
pub fn settle_rims(bodies: &mut Vec<Body>, light: &LightMap, edge: EdgeSpread) {
    // Which body a pixel belongs to, from 1: no body may grow into another.
    let mut owner = vec![0_u32; light.values.len()];
    for (number, body) in (1..).zip(bodies.iter()) {
        body.mask.places(light.width).for_each(|(_, at)| owner[at] = number);
    }
    let sigma = edge.sigma_px.clamp(SIGMAS_PX[0], SIGMAS_PX[1]);
    let left = (1.0 - (SHARPENED_PX * edge.photo_px / sigma).powi(2)).max(LEAST_LEFT);
    let reach = |variance: f64| HALF_BELL * (variance / sigma) as f32;
    let (blur, blur_along) = (reach(left * sigma * sigma), reach(left * sigma * sigma + ALONG_RIM));
    let rims = Rims { owner: &owner, light, sigma: sigma as f32, blur, blur_along };
    for (number, body) in (1..).zip(bodies.iter_mut()) {
        body.mask = rims.settled(&body.mask, number);
    }
    bodies.retain(|body| body.mask.width > 2);
}

/// The nearest whole number, for places in or just outside a window: `round` is a call on plain x86-64.
fn nearest(at: f32) -> i32 {
    (at + 64.5) as i32 - 64
}

struct Rims<'a> {
    owner: &'a [u32],
    light: &'a LightMap,
    /// Sigma of a sharp edge, px.
    sigma: f32,
    /// Mean reach of what is left of its blur to either side, px.
    blur: f32,
    /// The same along the rim, where [`ALONG_RIM`] comes in addition.
    blur_along: f32,
}

impl Rims<'_> {
    /// The body at a pixel, 0 for none; `None` outside the window.
    fn taken(&self, x: i32, y: i32) -> Option<u32> {
        let inside = x >= 0 && y >= 0 && (x as usize) < self.light.width && (y as usize) < self.light.height;
        inside.then(|| self.owner[y as usize * self.light.width + x as usize])
    }

    fn settled(&self, mask: &Mask, number: u32) -> Mask {
        let radius = (mask.area() as f32 / std::f32::consts::PI).sqrt();
        let mut kept = Vec::with_capacity(mask.inside.len());
        for y in mask.top..mask.top + mask.height as i32 {
            for x in mask.left..mask.left + mask.width as i32 {
                let here = self.taken(x, y);
                let is_own = here == Some(number);
                // On the rim an own pixel has a free one beside it, and a free one an own.
                let other = if is_own { Some(0) } else { Some(number) };
                let on_rim = (is_own || here == Some(0))
                    && [(1, 0), (-1, 0), (0, 1), (0, -1)].into_iter().any(|(dx, dy)| self.taken(x + dx, y + dy) == other);
                let inside = if on_rim { self.is_inside(x, y, number, radius).unwrap_or(is_own) } else { is_own };
                kept.push(u8::from(inside));
            }
        }
        // A speck that noise leaves beside the body is no part of it.
        let parts = patches(&kept, |inside| inside == 1, mask.width, mask.height, 1);
        let body = parts.into_iter().reduce(|most, part| if part.area() > most.area() { part } else { most });
        body.map_or_else(|| Mask::empty(0, 0, 0, 0), |part| Mask { left: part.left + mask.left, top: part.top + mask.top, ..part })
    }

    /// Unit vector from a pixel on the rim towards the body: where most of it lies around this pixel.
    fn inward(&self, x: i32, y: i32, number: u32) -> Option<[f32; 2]> {
        let (width, height) = (self.light.width as i32, self.light.height as i32);
        let (left, right) = ((x - 3).max(0), (x + 4).min(width));
        let (mut inward_x, mut inward_y) = (0_i32, 0_i32);
        for row in (y - 3).max(0)..(y + 4).min(height) {
            let line = &self.owner[(row * width + left) as usize..(row * width + right) as usize];
            for (column, owner) in (left..right).zip(line) {
                let own = i32::from(*owner == number);
                inward_x += own * (column - x);
                inward_y += own * (row - y);
            }
        }
        let length = ((inward_x * inward_x + inward_y * inward_y) as f32).sqrt();
        (length >= 1.0).then(|| [inward_x as f32 / length, inward_y as f32 / length])
    }

    /// Whether a pixel on the rim of a body of this radius is darker than a pixel on the very edge would be; `None` where that cannot be
    /// told.
    fn is_inside(&self, x: i32, y: i32, number: u32, radius: f32) -> Option<bool> {
        let [dx, dy] = self.inward(x, y, number)?;
        let at = |px: f32| [x as f32 + dx * px, y as f32 + dy * px];
        let taken = |px: f32| {
            let [column, row] = at(px).map(nearest);
            self.taken(column, row)
        };
        let near = (NEAR_SIGMAS * self.sigma).max(LEAST_NEAR_PX);
        let far = near + FARTHER_PX;
        if taken(near) != Some(number) || taken(-near) != Some(0) {
            return None;
        }
        let (body, ground) = (self.light.between(at(near)), self.light.between(at(-near)));
        let step = ground - body;
        if step < LEAST_STEP {
            return None;
        }
        // How far each light has changed from the end of the blur to the rim. Beyond its middle a body says nothing of this rim.
        let most = MOST_DRAWN_ON * step;
        let drawn_on = |light: f32, px: f32| ((light - self.light.between(at(px))) / FARTHER_PX * near).clamp(-most, most);
        let body_change = if far <= radius && taken(far) == Some(number) { drawn_on(body, far) } else { 0.0 };
        let ground_change = if taken(-far) == Some(0) { drawn_on(ground, -far) } else { 0.0 };
        let (body_edge, ground_edge) = (body + body_change, ground + ground_change);
        // A round edge has less body than half around each of its points, and lights that change towards it are mixed over the blur.
        let share = 0.5 - 0.5 * self.blur_along / radius.max(LEAST_NEAR_PX);
        let edge = ground_edge - share * (ground_edge - body_edge) - self.blur * (body_change + ground_change) / near;
        // Along the rim the light is the same: a mean of three says more than one.
        let beside = |px: f32| self.light.between([x as f32 - dy * px, y as f32 + dx * px]);
        Some(0.25 * beside(-1.0) + 0.5 * beside(0.0) + 0.25 * beside(1.0) < edge)
    }
}

impl LightMap {
    /// Light between pixel centres, at whole numbers; beyond the outermost ones theirs. At least two pixels either way.
    fn between(&self, [x, y]: [f32; 2]) -> f32 {
        let split = |at: f32, size: usize| {
            let at = at.clamp(0.0, (size - 1) as f32);
            let low = (at as usize).min(size.saturating_sub(2));
            (low, at - low as f32)
        };
        let ((column, across), (row, down)) = (split(x, self.width), split(y, self.height));
        let along = |row: usize| {
            let line = &self.values[row * self.width + column..][..2];
            f32::from(line[0]) * (1.0 - across) + f32::from(line[1]) * across
        };
        along(row) * (1.0 - down) + along(row + 1) * down
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::debris::reading::GrainKind;

    const SIDE: usize = 64;

    /// A picture of light over paper, 5 x 5 samples a pixel, through a Gauss blur of `sigma` px.
    fn seen(sigma: f64, light: impl Fn(f64, f64) -> f64) -> LightMap {
        const FINE: usize = 5;
        let side = SIDE * FINE;
        let place = |index: usize| (index as f64 + 0.5) / FINE as f64;
        let mut picture: Vec<f64> = (0..side * side).map(|index| light(place(index % side), place(index / side))).collect();
        let reach = (3.0 * sigma * FINE as f64).ceil() as i64;
        let bell: Vec<f64> = (-reach..=reach).map(|step| (-0.5 * (step as f64 / (sigma * FINE as f64)).powi(2)).exp()).collect();
        for stride in [1, side] {
            let source = picture.clone();
            for (index, value) in picture.iter_mut().enumerate() {
                let at = (index / stride % side) as i64;
                let sum = |near: i64| source[(index as i64 + (near.clamp(0, side as i64 - 1) - at) * stride as i64) as usize];
                *value =
                    bell.iter().enumerate().map(|(k, weight)| weight * sum(at + k as i64 - reach)).sum::<f64>() / bell.iter().sum::<f64>();
            }
        }
        let pixel = |index: usize| {
            let (x, y) = (index % SIDE * FINE, index / SIDE * FINE);
            let sum: f64 = (0..FINE * FINE).map(|k| picture[(y + k / FINE) * side + x + k % FINE]).sum();
            (sum / (FINE * FINE) as f64 * f64::from(PAPER)).round() as u8
        };
        LightMap { width: SIDE, height: SIDE, values: (0..SIDE * SIDE).map(pixel).collect() }
    }

    fn disc(radius: f64) -> Mask {
        let inside = |index: usize| from_middle((index % SIDE) as f64 + 0.5, (index / SIDE) as f64 + 0.5) <= radius;
        patches(&(0..SIDE * SIDE).map(|index| u8::from(inside(index))).collect::<Vec<_>>(), |value| value == 1, SIDE, SIDE, 1).remove(0)
    }

    const MIDDLE: [f64; 2] = [31.8, 32.3];

    /// Diameter after the rim of a body that was taken `off_px` too wide has settled.
    fn settled(light: &LightMap, radius: f64, off_px: f64, sigma_px: f64) -> f64 {
        let mut bodies = vec![Body { mask: disc(radius + off_px), kind: GrainKind::Grain, may_be_lump: false }];
        settle_rims(&mut bodies, light, EdgeSpread { sigma_px, photo_px: 1.0 });
        bodies[0].mask.shape().unwrap().ecd
    }

    fn from_middle(x: f64, y: f64) -> f64 {
        (x - MIDDLE[0]).hypot(y - MIDDLE[1])
    }

    #[test]
    fn rim_taken_too_wide_or_too_narrow_comes_to_the_edge_whatever_the_tone_of_the_body() {
        for (radius, tone) in [(4.0, 0.05), (7.5, 0.05), (15.0, 0.3), (15.0, 0.6), (24.0, 0.05)] {
            let light = seen(0.9, |x, y| if from_middle(x, y) <= radius { tone } else { 1.0 });
            for off_px in [-0.6, 0.0, 0.6] {
                let error = settled(&light, radius, off_px, 0.9) - 2.0 * radius;
                assert!(error.abs() < 0.16, "radius {radius}, tone {tone}, {off_px} px off: {error:+.3} px");
            }
        }
    }

    #[test]
    fn body_that_darkens_towards_its_rim_keeps_its_size() {
        // Pale inside, at a fifth of the light less on its rim: a grain that light shines through.
        let body = |from_rim: f64| 0.72 - 0.25 * (1.0 - from_rim / 5.0).clamp(0.0, 1.0);
        let light = seen(0.9, |x, y| if from_middle(x, y) <= 15.0 { body(15.0 - from_middle(x, y)) } else { 1.0 });
        let error = settled(&light, 15.0, 0.6, 0.9) - 30.0;
        assert!(error.abs() < 0.3, "{error:+.3} px");
    }

    #[test]
    fn shadow_that_deepens_towards_the_body_is_no_part_of_it() {
        let ground = |beyond: f64| 1.0 - 0.35 * (-beyond / 6.0).exp();
        for tone in [0.05, 0.3] {
            let light = seen(0.9, |x, y| if from_middle(x, y) <= 12.0 { tone } else { ground(from_middle(x, y) - 12.0) });
            let error = settled(&light, 12.0, 0.8, 0.9) - 24.0;
            assert!(error.abs() < 0.25, "tone {tone}: {error:+.3} px");
        }
    }

    #[test]
    fn noise_leaves_a_body_in_one_piece() {
        let mut light = seen(0.9, |x, y| if from_middle(x, y) <= 12.0 { 0.55 } else { 1.0 });
        let mut state = 7_u32;
        for value in &mut light.values {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            *value = value.saturating_add_signed((state >> 24) as i8 / 8);
        }
        let mut bodies = vec![Body { mask: disc(12.4), kind: GrainKind::Grain, may_be_lump: false }];
        settle_rims(&mut bodies, &light, EdgeSpread { sigma_px: 0.9, photo_px: 1.0 });
        let mask = &bodies[0].mask;
        assert_eq!(patches(&mask.inside, |inside| inside == 1, mask.width, mask.height, 1).len(), 1);
        let error = mask.shape().unwrap().ecd - 24.0;
        assert!(error.abs() < 0.5, "{error:+.3} px");
    }

    #[test]
    fn rim_stays_where_body_and_ground_are_alike_or_nothing_tells_the_blur() {
        let alike = seen(0.9, |x, y| if from_middle(x, y) <= 12.0 { 0.85 } else { 1.0 });
        assert_eq!(settled(&alike, 12.0, 0.8, 0.9), disc(12.8).shape().unwrap().ecd);
        let clear = seen(0.9, |x, y| if from_middle(x, y) <= 12.0 { 0.1 } else { 1.0 });
        assert!((settled(&clear, 12.0, 0.8, 0.0) - 24.0).abs() < 0.2);
    }
}
