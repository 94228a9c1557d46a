//! Large bodies of which the network sees a part only: lumps of grains bound by cement, and even stones of the paper's own tint.
//!
//! The network knows the cement of the lumps it learned from. Other cement it takes for film or shadow, and finds only the grains that
//! show in it; of a large grey or black stone it may see no more than the rim. Both are plain to see as a whole: dark, with a rim that the
//! network is nearly sure of. What lies grey between grains of other tints is the cement that binds them; what is even all over, with such
//! a rim all round, is a stone, for a shadow has no rim. The figures were set on scenes of a third painter that is not in this repository,
//! and judged on those of the two that are (DEVELOPERS.md).

use super::bodies::{Body, fill};
use super::ground::Ground;
use super::light::linear_table;
use super::measure::Mask;
use super::network::Answer;
use super::reading::GrainKind;
use super::rim::{LightMap, PAPER};
use super::segment::patches;
use super::split::squared_distance;
use super::window::WindowImage;

/// Smaller bodies the network sees whole, px of the window (a card's has 20 to 30 to the mm).
const LEAST_PX: f64 = 36.0;
/// Where more of the window than this may be grain, grains lie on each other with shadow between them: nothing is told of them here.
const MOST_SHARE: f64 = 0.25;
/// Least share of such a body that is seen before its holes are filled.
const LEAST_SEEN_SHARE: f64 = 0.2;
/// What the network does not call grain and yet does not rule out either, in 1/[`super::network::LOGIT_UNIT`]. Paper and shadow lie below.
const BARELY: i8 = -64;
/// A pixel of a true grain is surer than this away from its rim.
const SURE: i8 = 64;
/// A body is darker than this, paper 1.
const DARK: f32 = 0.8;
/// So far inside its rim a body is looked at, px.
const INSIDE_PX: f32 = 3.0;
/// Least share of a body that is unsure before it is looked at.
const LEAST_UNSURE_SHARE: f64 = 0.15;

/// Lumps between these sizes are told, px: smaller ones are mostly grains with their shadow, larger patches are heaps.
const LUMP_PX: std::ops::Range<f64> = 48.0..480.0;
/// Least share of a lump's inside that the network does not call grain.
const LEAST_CEMENT_SHARE: f64 = 0.22;
/// How light cement is, paper 1; from memory, dry and wet.
const CEMENT: std::ops::Range<f32> = 0.12..0.5;
/// Least mean departure of the inside's tint from the cement's: grains of other stone show in it.
const LEAST_VARIETY: f64 = 0.015;
/// Cement lies all through a lump, a shadow to one side of its grain: most distance between the middles of both, radii of the body.
const MOST_ASIDE: f64 = 0.3;
/// A lump is compact; grains that touch, with shadow between them, are not.
const LEAST_LUMP_SOLIDITY: f64 = 0.8;

/// Most standard deviation of light inside an even stone, paper 1.
const MOST_UNEVEN: f64 = 0.06;
/// Least solidity of an even stone.
const LEAST_STONE_SOLIDITY: f64 = 0.95;
/// Least share of an even stone's outline with grain that is seen beside it.
const LEAST_RIM_SHARE: f64 = 0.8;
/// So far from the outline that grain may be seen, px.
const RIM_PX: usize = 2;

/// Takes the lumps out of an answer and gives them; makes it sure of the inside of even stones.
pub fn take_lumps(answer: &mut Answer, light: &LightMap, window: &WindowImage, ground: &Ground) -> Vec<Body> {
    let least_area = LEAST_PX * LEAST_PX * std::f64::consts::FRAC_PI_4;
    let marked = opened(&maybe(answer, light), answer.width, answer.height);
    if marked.iter().map(|value| usize::from(*value)).sum::<usize>() as f64 > MOST_SHARE * marked.len() as f64 {
        return Vec::new();
    }
    let tints = Tints { window, ground, table: linear_table() };
    let mut lumps = Vec::new();
    for mut mask in patches(&marked, |value| value != 0, answer.width, answer.height, (LEAST_SEEN_SHARE * least_area) as usize) {
        fill(&mut mask);
        let area = mask.area() as f64;
        let unsure = mask.places(answer.width).filter(|(_, at)| answer.grain[*at] < SURE).count() as f64;
        if area < least_area || unsure < LEAST_UNSURE_SHARE * area {
            continue;
        }
        let depth = squared_distance(&mask);
        let inside: Vec<usize> =
            mask.places(answer.width).filter(|(index, _)| depth[*index] > INSIDE_PX * INSIDE_PX).map(|(_, at)| at).collect();
        let solidity = area / mask.convex_area();
        let sized = LUMP_PX.contains(&(area / std::f64::consts::FRAC_PI_4).sqrt());
        if sized && solidity >= LEAST_LUMP_SOLIDITY && is_bound(&inside, answer, light, &tints) {
            for (_, at) in mask.places(answer.width) {
                (answer.grain[at], answer.seam[at]) = (i8::MIN + 1, i8::MIN + 1);
            }
            lumps.push(Body { mask, kind: GrainKind::Lump });
        } else if solidity >= LEAST_STONE_SOLIDITY && is_even(&inside, light) && rim_share(&mask, answer) >= LEAST_RIM_SHARE {
            inside.iter().for_each(|at| answer.grain[*at] = answer.grain[*at].max(SURE));
        }
    }
    lumps
}

/// 1 where the network calls grain what it sees, or does not rule it out of what is dark.
fn maybe(answer: &Answer, light: &LightMap) -> Vec<u8> {
    let dark = (DARK * PAPER) as u8;
    answer.grain.iter().zip(&light.values).map(|(grain, light)| u8::from(*grain > 0 || (*grain > BARELY && *light < dark))).collect()
}

/// What is at least three pixels thick up and down and along: threads between bodies are gone.
fn opened(marked: &[u8], width: usize, height: usize) -> Vec<u8> {
    let thinned = crossed(marked, width, height, |a, b| a & b);
    crossed(&thinned, width, height, |a, b| a | b)
}

/// Each pixel taken together with its four neighbours; the picture's edge stays empty.
fn crossed(marked: &[u8], width: usize, height: usize, together: impl Fn(u8, u8) -> u8) -> Vec<u8> {
    let mut out = vec![0; marked.len()];
    for y in 1..height.saturating_sub(1) {
        let row = |y: usize| &marked[y * width..(y + 1) * width];
        let (above, here, below) = (row(y - 1), row(y), row(y + 1));
        let to = &mut out[y * width..(y + 1) * width];
        for x in 1..width - 1 {
            to[x] = together(together(together(above[x], below[x]), together(here[x - 1], here[x + 1])), here[x]);
        }
    }
    out
}

/// Whether a body is grains bound by cement. `inside`: its pixels away from the rim.
fn is_bound(inside: &[usize], answer: &Answer, light: &LightMap, tints: &Tints<'_>) -> bool {
    let cement: Vec<usize> = inside.iter().copied().filter(|at| answer.grain[*at] <= 0).collect();
    if cement.is_empty() || (cement.len() as f64) < LEAST_CEMENT_SHARE * inside.len() as f64 {
        return false;
    }
    let [body_middle, cement_middle] = [inside, &cement].map(|pixels| middle(pixels, answer.width));
    let aside = (body_middle[0] - cement_middle[0]).hypot(body_middle[1] - cement_middle[1]);
    if aside > MOST_ASIDE * (inside.len() as f64 / std::f64::consts::PI).sqrt() {
        return false;
    }
    let sum: u64 = cement.iter().map(|at| u64::from(light.values[*at])).sum();
    if !CEMENT.contains(&(sum as f32 / cement.len() as f32 / PAPER)) {
        return false;
    }
    let mut of_cement: Vec<f32> = cement.iter().map(|at| tints.at(*at)).collect();
    let half = of_cement.len() / 2;
    let cement_tint = *of_cement.select_nth_unstable_by(half, f32::total_cmp).1;
    let departures: f64 = inside.iter().map(|at| f64::from((tints.at(*at) - cement_tint).abs())).sum();
    departures >= LEAST_VARIETY * inside.len() as f64
}

/// Mean column and row of pixels.
fn middle(pixels: &[usize], width: usize) -> [f64; 2] {
    let sum = pixels.iter().fold([0_usize; 2], |sum, at| [sum[0] + at % width, sum[1] + at / width]);
    sum.map(|value| value as f64 / pixels.len().max(1) as f64)
}

/// Whether a body is of one light away from its rim.
fn is_even(inside: &[usize], light: &LightMap) -> bool {
    let count = inside.len().max(1) as f64;
    let values = || inside.iter().map(|at| f64::from(light.values[*at]));
    let mean = values().sum::<f64>() / count;
    let variance = values().map(|value| (value - mean).powi(2)).sum::<f64>() / count;
    !inside.is_empty() && variance.sqrt() <= MOST_UNEVEN * f64::from(PAPER)
}

/// Share of a body's outline beside which the network sees grain, 0 to 1.
fn rim_share(mask: &Mask, answer: &Answer) -> f64 {
    let (mut outline, mut seen) = (0_usize, 0_usize);
    for (index, at) in mask.places(answer.width) {
        if [index - 1, index + 1, index - mask.width, index + mask.width].iter().all(|near| mask.inside[*near] != 0) {
            continue;
        }
        outline += 1;
        let (x, y) = (at % answer.width, at / answer.width);
        let columns = x.saturating_sub(RIM_PX)..(x + RIM_PX + 1).min(answer.width);
        let mut rows = y.saturating_sub(RIM_PX)..(y + RIM_PX + 1).min(answer.height);
        seen += usize::from(rows.any(|row| answer.grain[row * answer.width..][columns.clone()].iter().any(|grain| *grain > 0)));
    }
    seen as f64 / outline.max(1) as f64
}

/// Tints of single pixels over the paper's.
struct Tints<'a> {
    window: &'a WindowImage,
    ground: &'a Ground,
    table: [f32; 256],
}

impl Tints<'_> {
    /// Red less blue, as a share of all light; 0 where they are even.
    fn at(&self, at: usize) -> f32 {
        let width = self.window.width_px as usize;
        let block = self.ground.block_of(at % width, at / width);
        let [red, green, blue] =
            std::array::from_fn(|c| self.table[usize::from(self.window.rgb[3 * at + c])] / self.ground.paper[c][block]);
        // Next to no light has no tint.
        (red - blue) / (red + green + blue).max(0.03)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::debris::ground::find_ground;
    use crate::debris::settings::GroundKind;

    const SIDE: usize = 400;

    /// A grey disc of 90 px radius (7.5 mm) on white paper, with what is seen of it: a rim, an inside, and red grains that show in it.
    fn seen(rim: i8, inside: i8, grains: &[[f64; 2]]) -> (Answer, LightMap, WindowImage) {
        let mut rgb = vec![230_u8; 3 * SIDE * SIDE];
        let mut grain = vec![-120_i8; SIDE * SIDE];
        let mut values = vec![PAPER as u8; SIDE * SIDE];
        for at in 0..SIDE * SIDE {
            let [x, y] = [at % SIDE, at / SIDE].map(|place| place as f64 + 0.5);
            let from = |[cx, cy]: [f64; 2]| (x - cx).hypot(y - cy);
            let middle = from([120.0, 120.0]);
            if middle > 90.0 {
                continue;
            }
            let shows = grains.iter().any(|centre| from(*centre) < 16.0);
            (grain[at], values[at]) = if shows { (100, 50) } else { (if middle > 86.0 { rim } else { inside }, 60) };
            rgb[3 * at..3 * at + 3].copy_from_slice(if shows { &[150, 100, 70] } else { &[130, 130, 130] });
        }
        let window = WindowImage {
            width_px: SIDE as u32,
            height_px: SIDE as u32,
            px_per_mm: 24.0,
            rgb,
            white: Some([230.0; 3]),
            edge_sigma_px: None,
            sight: None,
        };
        let half = SIDE / 2;
        let answer =
            Answer { width: SIDE, height: SIDE, seam: vec![-120; grain.len()], grain, lump: vec![-120; half * half], half_width: half };
        (answer, LightMap { width: SIDE, height: SIDE, values }, window)
    }

    fn taken(answer: &mut Answer, light: &LightMap, window: &WindowImage) -> Vec<Body> {
        let ground = find_ground(window, GroundKind::White).unwrap();
        take_lumps(answer, light, window, &ground)
    }

    #[test]
    fn grains_in_grey_cement_are_one_lump_and_leave_the_answer() {
        for inside in [-30, -110] {
            // The deeper one is seen by its rim and its grains alone.
            let (mut answer, light, window) = seen(40, inside, &[[90.0, 100.0], [150.0, 130.0], [110.0, 160.0]]);
            let lumps = taken(&mut answer, &light, &window);
            assert_eq!(lumps.iter().map(|body| body.kind).collect::<Vec<_>>(), [GrainKind::Lump]);
            let area = lumps[0].mask.area() as f64;
            assert!((area / (std::f64::consts::PI * 90.0 * 90.0) - 1.0).abs() < 0.02, "{area}");
            assert!(answer.grain.iter().all(|grain| *grain < 0), "none of it is counted as grain again");
        }
    }

    #[test]
    fn grain_beside_its_shadow_is_no_lump() {
        // The light half is grain, the other half is dark and not: as much cement as a lump has, but on one side.
        let (mut answer, mut light, window) = seen(40, -30, &[[60.0, 120.0]]);
        for at in 0..SIDE * SIDE {
            if light.values[at] < 100 && at % SIDE < 120 {
                (answer.grain[at], light.values[at]) = (100, 50);
            }
        }
        assert!(taken(&mut answer, &light, &window).is_empty());
    }

    #[test]
    fn even_stone_with_a_rim_is_sure_and_no_lump() {
        for inside in [-30, -110] {
            let (mut answer, light, window) = seen(40, inside, &[]);
            assert!(taken(&mut answer, &light, &window).is_empty());
            assert_eq!(answer.grain[120 * SIDE + 120], SURE);
        }
    }

    #[test]
    fn dark_patch_without_a_rim_stays_what_the_network_says() {
        let (mut answer, light, window) = seen(-30, -30, &[]);
        let before = answer.grain.clone();
        assert!(taken(&mut answer, &light, &window).is_empty());
        assert_eq!(answer.grain, before);
    }
}
