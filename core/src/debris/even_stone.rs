//! Large stones of which the network sees a part only: even ones, of the paper's own tint or nearly black.
//!
//! Of a large grey or black stone the network may see no more than the rim. As a whole it is plain to see: dark, even all over, with a rim
//! all round that the network is nearly sure of; a shadow has no rim.

use super::bodies::fill;
use super::measure::Mask;
use super::network::Answer;
use super::rim::{LightMap, PAPER};
use super::segment::patches;
use super::split::squared_distance;

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

/// Most standard deviation of light inside an even stone, paper 1.
const MOST_UNEVEN: f64 = 0.06;
/// Least solidity of an even stone.
const LEAST_STONE_SOLIDITY: f64 = 0.95;
/// Least share of an even stone's outline with grain that is seen beside it.
const LEAST_RIM_SHARE: f64 = 0.8;
/// So far from the outline that grain may be seen, px.
const RIM_PX: usize = 2;

/// Makes an answer sure of the inside of even stones.
pub fn take_even_stones(answer: &mut Answer, light: &LightMap) {
    let least_area = LEAST_PX * LEAST_PX * std::f64::consts::FRAC_PI_4;
    let marked = opened(&maybe(answer, light), answer.width, answer.height);
    if marked.iter().map(|value| usize::from(*value)).sum::<usize>() as f64 > MOST_SHARE * marked.len() as f64 {
        return;
    }
    for mut mask in patches(&marked, |value| value != 0, answer.width, answer.height, (LEAST_SEEN_SHARE * least_area) as usize) {
        fill(&mut mask);
        let area = mask.area() as f64;
        let unsure = mask.places(answer.width).filter(|(_, at)| answer.grain[*at] < SURE).count() as f64;
        if area < least_area || unsure < LEAST_UNSURE_SHARE * area || area < LEAST_STONE_SOLIDITY * mask.convex_area() {
            continue;
        }
        let depth = squared_distance(&mask);
        let inside: Vec<usize> =
            mask.places(answer.width).filter(|(index, _)| depth[*index] > INSIDE_PX * INSIDE_PX).map(|(_, at)| at).collect();
        if is_even(&inside, light) && rim_share(&mask, answer) >= LEAST_RIM_SHARE {
            inside.iter().for_each(|at| answer.grain[*at] = answer.grain[*at].max(SURE));
        }
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    const SIDE: usize = 400;

    /// A dark disc of 90 px radius on paper, with what the network sees of it: a rim and an inside.
    fn seen(rim: i8, inside: i8) -> (Answer, LightMap) {
        let mut grain = vec![-120_i8; SIDE * SIDE];
        let mut values = vec![PAPER as u8; SIDE * SIDE];
        for at in 0..SIDE * SIDE {
            let [x, y] = [at % SIDE, at / SIDE].map(|place| place as f64 + 0.5);
            let middle = (x - 120.0).hypot(y - 120.0);
            if middle <= 90.0 {
                (grain[at], values[at]) = (if middle > 86.0 { rim } else { inside }, 60);
            }
        }
        let half = SIDE / 2;
        let answer =
            Answer { width: SIDE, height: SIDE, seam: vec![-120; grain.len()], grain, lump: vec![-120; half * half], half_width: half };
        (answer, LightMap { width: SIDE, height: SIDE, values })
    }

    #[test]
    fn even_stone_with_a_rim_is_sure() {
        for inside in [-30, -110] {
            let (mut answer, light) = seen(40, inside);
            take_even_stones(&mut answer, &light);
            assert_eq!(answer.grain[120 * SIDE + 120], SURE);
            assert_eq!(answer.grain[300 * SIDE + 300], -120, "paper stays paper");
        }
    }

    #[test]
    fn patch_of_many_tones_stays_what_the_network_says() {
        let (mut answer, mut light) = seen(40, -30);
        light
            .values
            .iter_mut()
            .enumerate()
            .filter(|(at, _)| (at % SIDE / 20).is_multiple_of(2))
            .for_each(|(_, light)| *light = (*light).min(20));
        let before = answer.grain.clone();
        take_even_stones(&mut answer, &light);
        assert_eq!(answer.grain, before);
    }

    #[test]
    fn dark_patch_without_a_rim_stays_what_the_network_says() {
        let (mut answer, light) = seen(-30, -30);
        let before = answer.grain.clone();
        take_even_stones(&mut answer, &light);
        assert_eq!(answer.grain, before);
    }
}
