//! Hard shadows: where one sun throws most of the light, the paper in its shadow is all of one light and one tint.
//!
//! That light is learned from the photo itself, and it is believed only where the even dark patches behave as shadows must: each
//! lies behind something that stands in the sun, and all of them on the same side. Then the shaded paper and the soft edge around
//! it are lit again, so that the network sees what it knows: grains on open paper.

use super::ground::{Ground, GroundRows};
use super::rim::{LightMap, PAPER};
use super::segment::patches;
use super::window::WindowImage;

/// The shadow that a photo's sun throws.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HardShadow {
    /// Light of the paper in it, in the units of a [`LightMap`].
    pub level: f32,
    /// Red and blue over green in it, over those of open paper.
    pub tint: [f32; 2],
    /// Unit vector along the raster from a shadow to what throws it.
    pub to_sun: [f32; 2],
}

/// Darker than this over paper may be a hard shadow, [`LightMap`] units.
const DARK: u8 = 90;
/// Darker than this is no paper in shadow: some sky always reaches it.
const DARKEST: u8 = 8;
/// An even dark patch varies by no more than this over 5 x 5 pixels.
const EVEN: u8 = 8;
/// Red or blue over green, against paper's, that the sky's own colour makes of paper in shadow.
const OF_SKY: f32 = 0.35;
/// Half width of the peak of even dark pixels.
const PEAK: usize = 3;
/// Share of the even dark pixels that lies in the peak. Scenes in hard sun gave 0.84 and 0.96, others up to 0.57; sand of one dark
/// mineral comes near too, and is told by its place.
const LEAST_IN_PEAK: f64 = 0.6;
/// Share of all darkish pixels in the peak: fewer are no matter.
const LEAST_MASS: f64 = 0.02;
/// Patches that must agree on a side, and how well: length of their mean direction over the share of their rim that is not paper.
/// Hard sun gave 0.73, everything else up to 0.25.
const LEAST_PATCHES: usize = 10;
const LEAST_AGREEMENT: f32 = 0.45;
/// Pixels of the least patch that is asked.
const ASKED_PX: usize = 60;
/// Lighter than this is open paper.
const OPEN: u8 = 184;
/// Darker than this is something other than paper.
const OBJECT: u8 = 150;
/// Hue may stray from the shadow's by this much.
const STRAY: f32 = 0.15;
/// What throws a shadow is at least this long along the light, px: a blurred rim is less.
const CASTER_PX: u32 = 4;
/// Reach of the soft edge between shadow and open paper, px.
const SOFT_PX: i32 = 4;

/// Red and blue over green at a pixel, over those of open paper.
fn hue_at(window: &WindowImage, paper: &[Vec<f32>; 3], table: &[f32; 256], x: usize, y: usize) -> [f32; 2] {
    let at = (y * window.width_px as usize + x) * 3;
    let value = |c: usize| (table[usize::from(window.rgb[at + c])] / paper[c][x]).max(1e-3);
    let green = value(1);
    [value(0) / green, value(2) / green]
}

/// A grain smaller than this cannot be told from what is left of a shadow's edge, px.
pub const LEAST_GRAIN_PX: f64 = 2.0 * SOFT_PX as f64;
/// What a reading with lifted shadows adds to a diameter's error: half-width of 95 %, share of the diameter. Twice that of open light;
/// scenes in hard sun gave D50 errors to 4 % (DEVELOPERS.md).
pub const SEGMENTATION_SHARE: f64 = 0.06;
/// Said beside a reading whose shadows were taken off.
pub const ADVICE: &str = "grains in hard shadow are missed: shade the card with your body and photograph again if small grains matter";
/// Paper in shadow keeps at least this share of its light where shadows are soft enough to need no lifting, percent.
pub const SOFT_ENOUGH_PERCENT: f64 = 100.0 * DARK as f64 / PAPER as f64;

/// Takes away what stays of lifted shadows in an answer of `width` columns: a thin line between shadow and paper, or along the shaded
/// side of a grain. A grain's own spikes of up to two pixels go with it.
pub fn sweep(grain: &mut [i8], width: usize, lit_again: &[u8]) {
    grain.iter_mut().zip(lit_again).filter(|(_, lit)| **lit != 0).for_each(|(value, _)| *value = i8::MIN + 1);
    let lowest = of_nine(grain, width, i8::min);
    let opened = of_nine(&lowest, width, i8::max);
    grain.iter_mut().zip(opened).filter(|(value, opened)| **value > 0 && *opened <= 0).for_each(|(value, _)| *value = -1);
}

/// The least or greatest of each pixel and its eight neighbours; the border counts as it stands.
fn of_nine(values: &[i8], width: usize, pick: fn(i8, i8) -> i8) -> Vec<i8> {
    let mut across = values.to_vec();
    for (line, out) in values.chunks(width).zip(across.chunks_mut(width)) {
        for x in 0..line.len() {
            out[x] = pick(pick(line[x.saturating_sub(1)], line[x]), line[(x + 1).min(line.len() - 1)]);
        }
    }
    let mut both = across.clone();
    for index in 0..across.len() {
        let above = if index >= width { across[index - width] } else { across[index] };
        let below = across.get(index + width).copied().unwrap_or(across[index]);
        both[index] = pick(pick(above, across[index]), below);
    }
    both
}

/// The light that is told apart by level and hue; kept for the whole window while shadows are looked for.
struct Shaded {
    width: usize,
    height: usize,
    /// 1 where a pixel has the shadow's light and hue.
    alike: Vec<u8>,
    /// 1 where a pixel has the shadow's hue and is not darker than it.
    of_hue: Vec<u8>,
}

/// Looks for hard shadows and takes them off the light map; gives where they lay (1 = lit again) and what they are.
pub fn lift(window: &WindowImage, ground: &Ground, table: &[f32; 256], light: &mut LightMap) -> Option<(Vec<u8>, HardShadow)> {
    let (level, tint) = peak(window, ground, table, light)?;
    let shaded = shaded(window, ground, table, light, level, tint);
    let to_sun = side(&shaded, light)?;
    let found = HardShadow { level, tint, to_sun };
    let mut lit_again = behind_casters(&shaded, light, to_sun);
    soften(&mut lit_again, &shaded, light, to_sun);
    light.values.iter_mut().zip(&lit_again).filter(|(_, lit)| **lit != 0).for_each(|(value, _)| *value = PAPER as u8);
    Some((lit_again, found))
}

/// Level and hue of the even dark pixels without a colour of their own, where most of them have the same.
fn peak(window: &WindowImage, ground: &Ground, table: &[f32; 256], light: &LightMap) -> Option<(f32, [f32; 2])> {
    let (width, height) = (light.width, light.height);
    let mut rows: [GroundRows<'_>; 3] = std::array::from_fn(|c| ground.paper_rows(c, width));
    let mut paper: [Vec<f32>; 3] = std::array::from_fn(|_| vec![0.0; width]);
    let mut counts = [0_u32; DARK as usize];
    let mut even: Vec<(u8, [f32; 2])> = Vec::new();
    let mut darkish = 0_u32;
    for y in 2..height.saturating_sub(2) {
        let mut fresh = false;
        let line = &light.values[y * width..(y + 1) * width];
        darkish += line[2..width - 2].iter().map(|here| u32::from(*here < OBJECT)).sum::<u32>();
        for x in (2..width - 2).filter(|x| (DARKEST..DARK).contains(&line[*x])) {
            let here = line[x];
            let around = (y - 2..=y + 2).map(|row| &light.values[row * width + x - 2..=row * width + x + 2]);
            let (mut low, mut high) = (here, here);
            around.flatten().for_each(|value| (low, high) = (low.min(*value), high.max(*value)));
            if high - low > EVEN {
                continue;
            }
            if !std::mem::replace(&mut fresh, true) {
                paper.iter_mut().zip(&mut rows).for_each(|(line, rows)| rows.row(y, line));
            }
            let hue = hue_at(window, &paper, table, x, y);
            if hue.iter().all(|ratio| (ratio - 1.0).abs() < OF_SKY) {
                counts[usize::from(here)] += 1;
                even.push((here, hue));
            }
        }
    }
    let around = |middle: usize| counts[middle.saturating_sub(PEAK)..(middle + PEAK + 1).min(counts.len())].iter().sum::<u32>();
    let middle = (0..counts.len()).rev().max_by_key(|level| around(*level))?;
    let mass = f64::from(around(middle));
    if mass < LEAST_IN_PEAK * even.len() as f64 || mass < LEAST_MASS * f64::from(darkish) || mass < ASKED_PX as f64 {
        return None;
    }
    let of_peak = even.iter().filter(|(level, _)| usize::from(*level).abs_diff(middle) <= PEAK);
    let (mut red, mut blue): (Vec<f32>, Vec<f32>) = of_peak.map(|(_, [red, blue])| (*red, *blue)).unzip();
    let median = |values: &mut Vec<f32>| {
        values.sort_by(f32::total_cmp);
        values.get(values.len() / 2).copied()
    };
    Some((middle as f32, [median(&mut red)?, median(&mut blue)?]))
}

fn shaded(window: &WindowImage, ground: &Ground, table: &[f32; 256], light: &LightMap, level: f32, tint: [f32; 2]) -> Shaded {
    let (width, height) = (light.width, light.height);
    let mut rows: [GroundRows<'_>; 3] = std::array::from_fn(|c| ground.paper_rows(c, width));
    let mut paper: [Vec<f32>; 3] = std::array::from_fn(|_| vec![0.0; width]);
    let mut close = vec![0_u8; width * height];
    let mut of_hue = vec![0_u8; width * height];
    for y in 0..height {
        paper.iter_mut().zip(&mut rows).for_each(|(line, rows)| rows.row(y, line));
        for x in 0..width {
            let here = light.values[y * width + x];
            if here >= OPEN || f32::from(here) < 0.7 * level {
                continue;
            }
            let [red, blue] = hue_at(window, &paper, table, x, y);
            if (red - tint[0]).abs() < STRAY && (blue - tint[1]).abs() < STRAY {
                of_hue[y * width + x] = 1;
                close[y * width + x] = u8::from(f32::from(here) < 1.35 * level);
            }
        }
    }
    // Most of nine neighbours: noise breaks a shadow up, and a grain's slope passes through its level in a thin line.
    let mut alike = vec![0_u8; width * height];
    for y in 1..height.saturating_sub(1) {
        for x in 1..width - 1 {
            let index = y * width + x;
            if close[index - width - 1..=index - width + 1].iter().any(|near| *near != 0) || close[index] != 0 {
                let sum: u8 =
                    (0..3).map(|row| close[index + row * width - width - 1..=index + row * width - width + 1].iter().sum::<u8>()).sum();
                alike[index] = u8::from(sum >= 6);
            }
        }
    }
    Shaded { width, height, alike, of_hue }
}

/// Unit vector towards what throws the shadows; `None` where the patches do not agree on a side.
fn side(shaded: &Shaded, light: &LightMap) -> Option<[f32; 2]> {
    let (width, height) = (shaded.width as i32, shaded.height as i32);
    let found = patches(&shaded.alike, |value| value != 0, shaded.width, shaded.height, ASKED_PX);
    let (mut sum, mut of_rims, mut asked) = ([0.0_f32; 2], 0.0_f32, 0);
    for mask in &found {
        let inside = |x: i32, y: i32| {
            let (column, row) = (x - mask.left, y - mask.top);
            let within = column >= 0 && row >= 0 && (column as usize) < mask.width && (row as usize) < mask.height;
            within && mask.inside[row as usize * mask.width + column as usize] != 0
        };
        // A thin line is a grain's slope, no shadow.
        let core = (0..mask.inside.len()).filter(|index| {
            let (x, y) = (mask.left + (index % mask.width) as i32, mask.top + (index / mask.width) as i32);
            [(0, 0), (2, 2), (-2, 2), (2, -2), (-2, -2)].iter().all(|(dx, dy)| inside(x + dx, y + dy))
        });
        if core.count() * 6 < mask.area() {
            continue;
        }
        let (mut middle, area) = ([0.0_f32; 2], mask.area() as f32);
        for index in (0..mask.inside.len()).filter(|index| mask.inside[*index] != 0) {
            middle[0] += (mask.left + (index % mask.width) as i32) as f32 / area;
            middle[1] += (mask.top + (index / mask.width) as i32) as f32 / area;
        }
        // The ring 5 px outside, by the patch's own rim pixels pushed out.
        let (mut away, mut objects, mut ring) = ([0.0_f32; 2], 0_u32, 0_u32);
        for index in (0..mask.inside.len()).filter(|index| mask.inside[*index] != 0) {
            let (x, y) = (mask.left + (index % mask.width) as i32, mask.top + (index / mask.width) as i32);
            for (dx, dy) in [(1, 0), (-1, 0), (0, 1), (0, -1)] {
                if inside(x + dx, y + dy) || inside(x + 5 * dx, y + 5 * dy) {
                    continue;
                }
                let (px, py) = (x + 5 * dx, y + 5 * dy);
                if px < 0 || py < 0 || px >= width || py >= height {
                    continue;
                }
                ring += 1;
                if light.values[(py * width + px) as usize] < OBJECT {
                    let to = [px as f32 - middle[0], py as f32 - middle[1]];
                    let length = (to[0] * to[0] + to[1] * to[1]).sqrt().max(1e-3);
                    away = [away[0] + to[0] / length, away[1] + to[1] / length];
                    objects += 1;
                }
            }
        }
        if ring > 0 {
            let weight = area.sqrt() / ring as f32;
            sum = [sum[0] + away[0] * weight, sum[1] + away[1] * weight];
            of_rims += objects as f32 * weight;
            asked += 1;
        }
    }
    let length = (sum[0] * sum[0] + sum[1] * sum[1]).sqrt();
    (asked >= LEAST_PATCHES && length > LEAST_AGREEMENT * of_rims).then(|| [sum[0] / length, sum[1] / length])
}

/// Pixels of the shadow's light that lie behind something, going along lines of pixels away from the sun.
fn behind_casters(shaded: &Shaded, light: &LightMap, to_sun: [f32; 2]) -> Vec<u8> {
    let (width, height) = (shaded.width as i32, shaded.height as i32);
    let mut lit_again = vec![0_u8; shaded.alike.len()];
    let steep = to_sun[1].abs() >= to_sun[0].abs();
    let (along, across) = if steep { (height, width) } else { (width, height) };
    let (main, cross) = if steep { (to_sun[1], to_sun[0]) } else { (to_sun[0], to_sun[1]) };
    let slope = cross / main;
    let shift = |step: i32| (step as f32 * slope).round() as i32;
    let most = shift(along - 1);
    for line in 0.min(-most) - 1..across + 0.max(-most) + 1 {
        let (mut before, mut behind) = (0_u32, false);
        for step in 0..along {
            // From the sunny end of the line.
            let place = if main > 0.0 { along - 1 - step } else { step };
            let other = line + shift(place);
            if other < 0 || other >= across {
                continue;
            }
            let index = if steep { place * width + other } else { other * width + place } as usize;
            if shaded.alike[index] != 0 {
                behind |= before >= CASTER_PX;
                before = 0;
                lit_again[index] = u8::from(behind);
            } else if light.values[index] < OPEN - 8 {
                // The soft edge of a shadow's own side runs along the light; only what follows it decides.
                before += 1;
            } else {
                (before, behind) = (0, false);
            }
        }
    }
    lit_again
}

/// Directions across a soft edge that are looked along.
const DIRECTIONS: usize = 16;
/// Largest share of a direction from shadow to open paper that may run towards the sun: on that side of a shadow stands what throws it.
const MOST_SUNWARD: f32 = 0.6;

/// Adds the soft edge: of the shadow's hue, not darker than it, between shadow on one side and open paper on the other. A pale or grey
/// grain lies near both too, but with the paper on its sunny side.
fn soften(lit_again: &mut [u8], shaded: &Shaded, light: &LightMap, to_sun: [f32; 2]) {
    let (width, height) = (shaded.width as i32, shaded.height as i32);
    let lines: Vec<Vec<[i32; 2]>> = (0..DIRECTIONS)
        .map(|number| (number as f32 * std::f32::consts::TAU / DIRECTIONS as f32).sin_cos())
        .filter(|(down, along)| along * to_sun[0] + down * to_sun[1] <= MOST_SUNWARD)
        .map(|(down, along)| (1..=SOFT_PX).map(|px| [along, down].map(|step| (px as f32 * step).round() as i32)).collect())
        .collect();
    let mut soft = Vec::new();
    for y in 0..height {
        for x in 0..width {
            let index = (y * width + x) as usize;
            if lit_again[index] != 0 || shaded.of_hue[index] == 0 {
                continue;
            }
            let at = |px: i32, py: i32| (px >= 0 && py >= 0 && px < width && py < height).then(|| (py * width + px) as usize);
            let between = |line: &[[i32; 2]]| {
                line.iter().any(|[dx, dy]| at(x - dx, y - dy).is_some_and(|near| lit_again[near] != 0))
                    && line.iter().any(|[dx, dy]| at(x + dx, y + dy).is_some_and(|near| light.values[near] >= OPEN))
            };
            if lines.iter().any(|line| between(line)) {
                soft.push(index);
            }
        }
    }
    soft.into_iter().for_each(|index| lit_again[index] = 1);
}

#[cfg(test)]
mod tests {
    use super::super::ground::find_ground;
    use super::super::look::look;
    use super::super::settings::GroundKind;
    use super::*;

    /// Discs in rows on white paper; with `shadow_px` each throws a shadow that far to the right.
    fn discs(grain: [u8; 3], shadow_px: i32) -> WindowImage {
        let (width, height) = (640_i32, 480_i32);
        let mut rgb = vec![226_u8; (3 * width * height) as usize];
        let mut disc = |cx: i32, cy: i32, radius: i32, colour: [u8; 3]| {
            for y in cy - radius..=cy + radius {
                for x in cx - radius..=cx + radius {
                    if (x - cx).pow(2) + (y - cy).pow(2) <= radius * radius {
                        let at = 3 * (y * width + x) as usize;
                        rgb[at..at + 3].copy_from_slice(&colour);
                    }
                }
            }
        };
        for row in 0..5 {
            for column in 0..6 {
                let (cx, cy, radius) = (60 + 95 * column, 50 + 90 * row, 9 + (row + column) % 4 * 3);
                (0..=shadow_px).for_each(|step| disc(cx + step, cy, radius, [76, 76, 77]));
                disc(cx, cy, radius, grain);
            }
        }
        WindowImage {
            width_px: width as u32,
            height_px: height as u32,
            px_per_mm: 20.0,
            rgb,
            white: Some([226.0; 3]),
            edge_sigma_px: Some(1.0),
            sight: None,
        }
    }

    #[test]
    fn shadows_thrown_to_one_side_are_lifted_and_their_grains_stay() {
        let window = discs([150, 112, 78], 30);
        let ground = find_ground(&window, GroundKind::White).unwrap();
        let seen = look(&window, &ground);
        let found = seen.hard_shadow.expect("every disc throws a shadow to the right");
        assert!(found.to_sun[0] < -0.95, "{found:?}");
        let at = |x: usize, y: usize| seen.light.values[y * seen.light.width + x];
        // Beside the first disc of radius 9 at (60, 50): its shadow's middle, and the disc itself.
        assert_eq!(at(85, 50), PAPER as u8);
        assert!(at(60, 50) < OBJECT);
        let grain = |x: usize, y: usize| seen.answer.grain[y * seen.answer.width + x];
        assert!(grain(85, 50) < 0);
    }

    #[test]
    fn dark_even_discs_without_shadows_are_grains_and_nothing_is_lifted() {
        let window = discs([70, 70, 71], 0);
        let ground = find_ground(&window, GroundKind::White).unwrap();
        assert_eq!(look(&window, &ground).hard_shadow, None);
    }

    #[test]
    fn soft_edge_lies_beyond_the_shadow_and_a_grey_grain_before_it_stays() {
        // From the sunny side: paper, a grey grain of five pixels, its shadow, the shadow's soft edge of three, paper.
        let (width, height) = (40_usize, 9_usize);
        let row = |of: fn(usize) -> u8| (0..width * height).map(|index| of(index % width)).collect::<Vec<u8>>();
        let shaded = Shaded { width, height, alike: vec![0; width * height], of_hue: row(|x| u8::from(matches!(x, 10..=14 | 25..=27))) };
        let values = row(|x| match x {
            10..=14 => 120,
            15..=24 => PAPER as u8,
            25..=27 => 130,
            _ => OPEN,
        });
        let light = LightMap { width, height, values };
        let mut lit_again = row(|x| u8::from((15..=24).contains(&x)));
        soften(&mut lit_again, &shaded, &light, [-1.0, 0.0]);
        assert_eq!(lit_again, row(|x| u8::from((15..=27).contains(&x))));
    }

    #[test]
    fn sweep_takes_lines_and_lifted_pixels_and_leaves_bodies() {
        let width = 12;
        let mut grain = vec![-50_i8; width * 8];
        (1..6).for_each(|y| (1..6).for_each(|x| grain[y * width + x] = 60));
        (1..7).for_each(|y| grain[y * width + 9] = 40);
        let mut lit = vec![0_u8; grain.len()];
        lit[width + 1] = 1;
        sweep(&mut grain, width, &lit);
        assert_eq!(grain[3 * width + 3], 60);
        assert!((1..7).all(|y| grain[y * width + 9] < 0));
        assert!(grain[width + 1] < 0);
    }
}
