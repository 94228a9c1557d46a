//! Window and ground to patches: departure from the ground, half-level outline, connected patches without holes.
//!
//! The outline stands where the departure passes half way between the ground and the grain beside it: blur moves no edge
//! there, and what is judged in linear light keeps that true for dark grains on white.

use super::ground::{Ground, GroundRows};
use super::light::{LUMINANCE, linear_table};
use super::measure::Mask;
use super::settings::ReadSettings;
use super::shade::Shade;
use super::window::WindowImage;

/// Departures are kept in 1/8192 of the ground's light (white) or of full scale (plain).
pub const DEPARTURE_UNIT: f32 = 8192.0;
const MOST: f32 = 32_000.0;
/// Squared chroma differences count this much beside the squared luminance difference: JPEG stores colour coarsely.
const CHROMA: f32 = 0.35;

/// How far each pixel departs from its ground, and what that says about the picture.
#[derive(Debug, Clone)]
pub struct Departure {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Row by row, in 1/[`DEPARTURE_UNIT`], smoothed over 3 x 3 pixels.
    pub values: Vec<i16>,
    /// Per pixel the signed departure of light, and red and blue against green, same unit; empty on a plain ground.
    pub tones: Vec<[i16; 3]>,
    /// Departure below which nothing is a grain, same unit.
    pub threshold: i16,
    /// Standard deviation of the picture's edge spread, px; `None` where no clear edge was found.
    pub edge_sigma_px: Option<f64>,
}

/// A row's departures in light, red against green and blue against green.
type ToneRow = Vec<[f32; 3]>;

/// Computes the departure plane.
pub fn departure(window: &WindowImage, ground: &Ground, settings: &ReadSettings) -> Departure {
    let (width, height) = (window.width_px as usize, window.height_px as usize);
    let table: [f32; 256] = if ground.white { linear_table() } else { std::array::from_fn(|byte| byte as f32 / 255.0) };
    let mut values = vec![0_i16; width * height];
    let mut tones = Vec::with_capacity(if ground.white { width * height } else { 0 });
    // Three rows of the raw departure are alive at a time; the middle one is smoothed from them.
    let mut raw: [ToneRow; 3] = std::array::from_fn(|_| vec![[0.0; 3]; width]);
    let mut rows: [GroundRows<'_>; 3] = std::array::from_fn(|c| ground.level_rows(c, width));
    let mut level: [Vec<f32>; 3] = std::array::from_fn(|_| vec![0.0; width]);
    let mut blurred: ToneRow = vec![[0.0; 3]; width];
    for y in 0..=height {
        if y < height {
            rows.iter_mut().zip(&mut level).for_each(|(rows, level)| rows.row(y, level));
            raw_row(&window.rgb[3 * y * width..3 * (y + 1) * width], &level, &table, ground.white, &mut raw[y % 3]);
        }
        if y == 0 {
            continue;
        }
        let middle = y - 1;
        let above = &raw[if middle == 0 { 0 } else { (middle - 1) % 3 }];
        let here = &raw[middle % 3];
        let below = &raw[if y < height { y % 3 } else { middle % 3 }];
        for (x, value) in blurred.iter_mut().enumerate() {
            *value = std::array::from_fn(|c| 0.25 * above[x][c] + 0.5 * here[x][c] + 0.25 * below[x][c]);
        }
        let out = &mut values[middle * width..y * width];
        for x in 0..width {
            let (left, right) = (blurred[x.saturating_sub(1)], blurred[(x + 1).min(width - 1)]);
            let tone: [f32; 3] = std::array::from_fn(|c| 0.25 * left[c] + 0.5 * blurred[x][c] + 0.25 * right[c]);
            let length = (tone[0] * tone[0] + CHROMA * (tone[1] * tone[1] + tone[2] * tone[2])).sqrt();
            out[x] = (length * DEPARTURE_UNIT).min(MOST) as i16;
            if ground.white {
                tones.push(tone.map(|value| (value * DEPARTURE_UNIT).clamp(-MOST, MOST) as i16));
            }
        }
    }
    let threshold = threshold(&values, width, height, ground, settings);
    let edge_sigma_px = edge_sigma(&values, width, height, threshold);
    Departure { width, height, values, tones, threshold, edge_sigma_px }
}

fn raw_row(rgb: &[u8], level: &[Vec<f32>; 3], table: &[f32; 256], relative: bool, out: &mut [[f32; 3]]) {
    for (x, (pixel, out)) in rgb.chunks_exact(3).zip(out).enumerate() {
        let value = |c: usize| {
            let (here, ground) = (table[pixel[c] as usize], level[c][x]);
            if relative { here / ground - 1.0 } else { here - ground }
        };
        let (red, green, blue) = (value(0), value(1), value(2));
        *out = [LUMINANCE[0] * red + LUMINANCE[1] * green + LUMINANCE[2] * blue, red - green, blue - green];
    }
}

/// The ground's own scatter sets the least departure that counts.
fn threshold(values: &[i16], width: usize, height: usize, ground: &Ground, settings: &ReadSettings) -> i16 {
    let mut sample: Vec<i16> = Vec::new();
    let step = (width * height / 60_000).max(1) | 1;
    for index in (0..values.len()).step_by(step) {
        let (x, y) = (index % width, index / width);
        if ground.is_seen(x, y) {
            sample.push(values[index]);
        }
    }
    let least = settings.least_contrast as f32 * DEPARTURE_UNIT;
    if sample.is_empty() {
        return least as i16;
    }
    sample.sort_unstable();
    // The departure is a length: for noise of sigma in one direction its median is 0.6745 sigma.
    let sigma = f32::from(sample[sample.len() / 2]) / 0.6745;
    (settings.noise_sigmas as f32 * sigma).clamp(least, 0.5 * DEPARTURE_UNIT) as i16
}

/// Reach of the search for the levels on either side of an edge while its width is not known, px.
const EDGE_REACH: usize = 7;

/// Edge spread from the steepest slopes: a step of height h blurred by a Gaussian of sigma has the slope h / (sigma sqrt(2 pi))
/// at half level. The 3 x 3 smoothing of the plane (variance 1/2) is taken off again.
fn edge_sigma(values: &[i16], width: usize, height: usize, threshold: i16) -> Option<f64> {
    if width < 4 * EDGE_REACH || height < 4 * EDGE_REACH {
        return None;
    }
    let mut sigmas: Vec<f32> = Vec::new();
    for y in (EDGE_REACH..height - EDGE_REACH).step_by(3) {
        for x in (EDGE_REACH..width - EDGE_REACH).step_by(2) {
            let at = |x: usize, y: usize| values[y * width + x];
            let here = at(x, y);
            if here < threshold {
                continue;
            }
            let dx = f32::from(at(x + 1, y) - at(x - 1, y)) / 2.0;
            let dy = f32::from(at(x, y + 1) - at(x, y - 1)) / 2.0;
            let slope = (dx * dx + dy * dy).sqrt();
            if slope < 0.02 * DEPARTURE_UNIT {
                continue;
            }
            // Levels a reach away along the slope, on both sides.
            let along = |sign: f32, reach: f32| {
                let px = (x as f32 + sign * reach * dx / slope).round() as usize;
                let py = (y as f32 + sign * reach * dy / slope).round() as usize;
                f32::from(at(px, py))
            };
            let (mut high, mut low) = (f32::from(here), f32::from(here));
            for reach in 1..EDGE_REACH {
                high = high.max(along(1.0, reach as f32));
                low = low.min(along(-1.0, reach as f32));
            }
            let step = high - low;
            let place = (f32::from(here) - low) / step;
            if step > 0.2 * DEPARTURE_UNIT && low < f32::from(threshold) && (0.4..0.6).contains(&place) {
                sigmas.push(step / (slope * 2.5066));
            }
        }
    }
    if sigmas.len() < 40 {
        return None;
    }
    // Grains have rounded, shaded and broken edges, all of them softer than the lens: the sharper ones tell.
    sigmas.sort_by(f32::total_cmp);
    let sharp = f64::from(sigmas[sigmas.len() / 4]);
    Some((sharp * sharp - 0.5).max(0.09).sqrt())
}

/// What each pixel is taken for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
pub enum Taken {
    /// Ground, or beyond a grain's half level.
    Ground = 0,
    /// Within the half level of something that departs from the ground.
    Grain = 1,
    /// Would be `Grain`, but looks like ground in shadow.
    Shade = 2,
}

/// Decides for each pixel whether it lies on the grain's side of the half level, one [`Taken`] a pixel.
pub fn mark(departure: &Departure, shade: Option<&Shade>) -> Vec<u8> {
    let Departure { width, height, values, threshold, .. } = departure;
    let reach = (2.5 * (departure.edge_sigma_px.unwrap_or(1.0).powi(2) + 0.5).sqrt()).ceil().clamp(3.0, 9.0) as usize;
    let high = extreme(values, *width, *height, reach, i16::max);
    let low = extreme(values, *width, *height, reach, i16::min);
    values
        .iter()
        .zip(high.iter().zip(&low))
        .enumerate()
        .map(|(index, (here, (high, low)))| {
            // No edge within reach: the inside of a patch (or the ground, which stays under the threshold).
            let inside = i32::from(*low) * 20 >= i32::from(*high) * 9;
            if *here <= *threshold || !(inside || 2 * i32::from(*here) > i32::from(*high) + i32::from(*low)) {
                Taken::Ground as u8
            } else if shade.is_some_and(|shade| shade.holds(departure.tones[index])) {
                Taken::Shade as u8
            } else {
                Taken::Grain as u8
            }
        })
        .collect()
}

/// Largest or smallest value within `reach` along rows, then columns, by doubling windows.
fn extreme(values: &[i16], width: usize, height: usize, reach: usize, pick: fn(i16, i16) -> i16) -> Vec<i16> {
    let span = 2 * reach + 1;
    let mut across = vec![0_i16; values.len()];
    let mut padded = vec![0_i16; width + 2 * reach];
    for (line, out) in values.chunks_exact(width).zip(across.chunks_exact_mut(width)) {
        padded[..reach].fill(line[0]);
        padded[reach..reach + width].copy_from_slice(line);
        padded[reach + width..].fill(line[width - 1]);
        let mut have = 1;
        while have < span {
            let step = have.min(span - have);
            for x in 0..padded.len() - step {
                padded[x] = pick(padded[x], padded[x + step]);
            }
            have += step;
        }
        out.copy_from_slice(&padded[..width]);
    }
    let mut out = vec![0_i16; values.len()];
    let mut line = vec![0_i16; width];
    for y in 0..height {
        let (from, to) = (y.saturating_sub(reach), (y + reach).min(height - 1));
        line.copy_from_slice(&across[from * width..(from + 1) * width]);
        for other in from + 1..=to {
            for (value, next) in line.iter_mut().zip(&across[other * width..(other + 1) * width]) {
                *value = pick(*value, *next);
            }
        }
        out[y * width..(y + 1) * width].copy_from_slice(&line);
    }
    out
}

/// A run of marked pixels in a row.
#[derive(Debug, Clone, Copy)]
struct Run {
    row: u32,
    start: u32,
    end: u32,
}

/// Gathers 4-connected patches of `wanted` values, of at least `least_px` pixels, in the order of their first pixel.
///
/// Runs and a union-find over them: no image of labels.
pub fn patches(marked: &[u8], wanted: impl Fn(u8) -> bool, width: usize, height: usize, least_px: usize) -> Vec<Mask> {
    let mut runs: Vec<Run> = Vec::new();
    let mut parent: Vec<u32> = Vec::new();
    let mut previous = 0..0;
    for row in 0..height {
        let line = &marked[row * width..(row + 1) * width];
        let first = runs.len();
        let mut above = previous.start;
        let mut x = 0;
        while x < width {
            let Some(start) = line[x..].iter().position(|have| wanted(*have)).map(|offset| x + offset) else { break };
            let end = line[start..].iter().position(|have| !wanted(*have)).map_or(width, |offset| start + offset);
            let this = runs.len();
            runs.push(Run { row: row as u32, start: start as u32, end: end as u32 });
            parent.push(this as u32);
            while above < previous.end && runs[above].end as usize <= start {
                above += 1;
            }
            let mut other = above;
            while other < previous.end && (runs[other].start as usize) < end {
                join(&mut parent, other, this);
                other += 1;
            }
            x = end;
        }
        previous = first..runs.len();
    }
    gather(&runs, &mut parent, least_px)
}

fn root(parent: &mut [u32], mut index: usize) -> usize {
    while parent[index] as usize != index {
        parent[index] = parent[parent[index] as usize];
        index = parent[index] as usize;
    }
    index
}

fn join(parent: &mut [u32], a: usize, b: usize) {
    let (a, b) = (root(parent, a), root(parent, b));
    // The earlier run stays the root, so that patches come out in reading order.
    parent[a.max(b)] = a.min(b) as u32;
}

fn gather(runs: &[Run], parent: &mut [u32], least_px: usize) -> Vec<Mask> {
    #[derive(Clone, Copy)]
    struct Box {
        left: u32,
        right: u32,
        top: u32,
        bottom: u32,
        area: usize,
        mask: usize,
    }
    let mut boxes: Vec<Box> = vec![Box { left: u32::MAX, right: 0, top: u32::MAX, bottom: 0, area: 0, mask: usize::MAX }; runs.len()];
    for (index, run) in runs.iter().enumerate() {
        let at = &mut boxes[root(parent, index)];
        at.left = at.left.min(run.start);
        at.right = at.right.max(run.end);
        at.top = at.top.min(run.row);
        at.bottom = at.bottom.max(run.row + 1);
        at.area += (run.end - run.start) as usize;
    }
    let mut masks = Vec::new();
    for at in &mut boxes {
        if at.area >= least_px.max(1) {
            at.mask = masks.len();
            masks.push(Mask::empty(at.left as i32, at.top as i32, (at.right - at.left) as usize, (at.bottom - at.top) as usize));
        }
    }
    for (index, run) in runs.iter().enumerate() {
        let Some(mask) = masks.get_mut(boxes[root(parent, index)].mask) else { continue };
        let row = (run.row as i32 - mask.top) as usize * mask.width;
        let (start, end) = ((run.start as i32 - mask.left) as usize, (run.end as i32 - mask.left) as usize);
        mask.inside[row + start..row + end].fill(1);
    }
    masks
}

/// Fills holes that are part of the grain (a glint, a pale core); a hole in which the ground itself shows stays open,
/// because then several grains stand around it.
///
/// Gives the indices (in the mask) that it filled.
pub fn fill_holes(mask: &mut Mask, departure: &Departure) -> Vec<usize> {
    let mut filled = Vec::new();
    let outside = flood_outside(mask);
    // One closed, convex outline is one grain, however pale its core.
    let filled_area = outside.iter().filter(|is| !**is).count();
    let compact = filled_area as f64 > 0.92 * mask.convex_area();
    let mut done = outside;
    let mut hole: Vec<usize> = Vec::new();
    for start in 0..mask.inside.len() {
        if mask.inside[start] != 0 || done[start] {
            continue;
        }
        hole.clear();
        done[start] = true;
        hole.push(start);
        let mut next = 0;
        let mut sum = 0_i64;
        while next < hole.len() {
            let index = hole[next];
            next += 1;
            let (x, y) = (mask.left + (index % mask.width) as i32, mask.top + (index / mask.width) as i32);
            sum += i64::from(departure.values[y as usize * departure.width + x as usize]);
            // A hole never touches the padding, so that all four neighbours exist.
            for near in [index - 1, index + 1, index - mask.width, index + mask.width] {
                if mask.inside[near] == 0 && !done[near] {
                    done[near] = true;
                    hole.push(near);
                }
            }
        }
        let shows_ground = hole.len() >= 12 && !compact && sum < hole.len() as i64 * i64::from(departure.threshold) * 6 / 10;
        if !shows_ground {
            for index in &hole {
                mask.inside[*index] = 1;
            }
            filled.append(&mut hole);
        }
    }
    filled
}

/// Pixels of the box that are joined to its border without crossing the mask.
pub(super) fn flood_outside(mask: &Mask) -> Vec<bool> {
    let mut outside = vec![false; mask.inside.len()];
    let mut queue = vec![0_usize];
    outside[0] = true;
    while let Some(index) = queue.pop() {
        let (x, y) = (index % mask.width, index / mask.width);
        let mut visit = |near: usize| {
            if mask.inside[near] == 0 && !outside[near] {
                outside[near] = true;
                queue.push(near);
            }
        };
        if x > 0 {
            visit(index - 1);
        }
        if x + 1 < mask.width {
            visit(index + 1);
        }
        if y > 0 {
            visit(index - mask.width);
        }
        if y + 1 < mask.height {
            visit(index + mask.width);
        }
    }
    outside
}

/// True where a patch is of one mild tone all over, as a film or a shadow without its grain is.
pub fn is_even(mask: &Mask, departure: &Departure) -> bool {
    let mut levels: Vec<i16> = Vec::new();
    for row in 2..mask.height.saturating_sub(2) {
        for column in 2..mask.width.saturating_sub(2) {
            let index = row * mask.width + column;
            let near = [index, index - 1, index + 1, index - mask.width, index + mask.width];
            if near.iter().all(|near| mask.inside[*near] != 0) {
                let (x, y) = (mask.left + column as i32, mask.top + row as i32);
                levels.push(departure.values[y as usize * departure.width + x as usize]);
            }
        }
    }
    if levels.is_empty() {
        return false;
    }
    levels.sort_unstable();
    let (low, high) = (levels[levels.len() / 10], levels[levels.len() * 9 / 10]);
    let mild = f32::from(levels[levels.len() / 2]) < 0.4 * DEPARTURE_UNIT;
    mild && f32::from(high - low) < (0.06 * DEPARTURE_UNIT).max(0.35 * f32::from(high))
}

/// What departs further than this is no film or shadow, however soft its edge; share of the ground's light. Our assumption.
const FILM_MOST: f32 = 0.55;

/// True where a patch's outer edge is far softer than the lens makes a grain's edge: a shadow, a paste or a water film.
pub fn is_soft(mask: &Mask, departure: &Departure) -> bool {
    let (width, height) = (departure.width as i32, departure.height as i32);
    let at = |x: i32, y: i32| f32::from(departure.values[(y.clamp(0, height - 1) * width + x.clamp(0, width - 1)) as usize]);
    // A stone's glints and a lump's gaps are holes with mild rims of their own; only the outer edge tells soft from hard.
    let outside = flood_outside(mask);
    let (mut slopes, mut levels) = (Vec::new(), Vec::new());
    for row in 1..mask.height - 1 {
        for column in 1..mask.width - 1 {
            let index = row * mask.width + column;
            if mask.inside[index] == 0 {
                continue;
            }
            let (x, y) = (mask.left + column as i32, mask.top + row as i32);
            levels.push(at(x, y));
            let edge = [index - 1, index + 1, index - mask.width, index + mask.width].iter().any(|near| outside[*near]);
            if edge && x > 0 && y > 0 && x + 1 < width && y + 1 < height {
                let (dx, dy) = ((at(x + 1, y) - at(x - 1, y)) / 2.0, (at(x, y + 1) - at(x, y - 1)) / 2.0);
                slopes.push((dx * dx + dy * dy).sqrt());
            }
        }
    }
    if slopes.len() < 8 {
        return false;
    }
    slopes.sort_by(f32::total_cmp);
    levels.sort_by(f32::total_cmp);
    let sigma = (departure.edge_sigma_px.unwrap_or(1.0).powi(2) + 0.5).sqrt() as f32;
    let contrast = levels[levels.len() * 3 / 4];
    if contrast > FILM_MOST * DEPARTURE_UNIT {
        return false;
    }
    let expected = contrast / (2.5066 * sigma);
    // Contrast in the upper part, slope in the middle: a hard-edged patch keeps most of its slope all round.
    slopes[slopes.len() / 2] < 0.3 * expected
}
