//! The gates a photo must pass, and what each of them measured.
//!
//! | code | value and limit are |
//! |---|---|
//! | `blurred` | spread (sigma) of a sharp edge, mm on the card; px for a scale set by hand |
//! | `too_dark` | the card's white (or the brightest twentieth of the window), 8-bit sRGB |
//! | `glare` | share of the window burnt out by reflected light, percent |
//! | `too_small` | photo pixels per millimetre |
//! | `of_a_screen` | share of the window with a grid of lights in it, percent |
//! | `overexposed` | the card's white, 8-bit sRGB; a warning, refuses nothing |
//! | `bar_off` | what the card's bar measures and should measure, mm; a warning of a card printed at another scale |
//! | `unclear` | share of what is seen inside grains that the reading doubts, percent; a warning or a refusal, by the reading |
//! | `heaped` | cover, percent; a warning of a reading by texture |
//! | `may_be_lump` | largest grain that looks much like a lump, and the least size of a lump that counts, mm; a warning, by the reading |
//! | `hard_shadow` | light of paper in its shadows, percent of open paper's; a warning, added by the reading that took them off |

use super::Photo;
use super::reduced::{Reduced, reduced};
use super::screen::striped_percent;
use crate::debris::reading::{Finding, Quality, Scale, ScaleSource};
use crate::debris::window::WindowImage;
use crate::error::CoreError;

/// How sharp a photo is: the sigma of the Gauss curve that would blur an ideal edge as much.
///
/// Measured on the card's own edges in linear light, in the worse of two directions; without a card on the strongest edges
/// in the picture ([`sharpness_of_strong_edges`]).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sharpness {
    /// Sigma in photo pixels.
    pub edge_sigma_px: f64,
    /// Sigma in mm on the card.
    pub edge_sigma_mm: f64,
}

/// Limits of the gates. They are ours (no published source) and stand in the reading beside what was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gates {
    /// Blur above this hides what tells sand from paste, mm on the card.
    pub max_edge_sigma_mm: f64,
    /// The same without a card, px: there the smallest resolved size says the rest.
    pub max_edge_sigma_px: f64,
    /// White below this drowns grains in noise, 8-bit sRGB.
    pub min_white: f64,
    /// Burnt-out share of the window, percent.
    pub max_glare_percent: f64,
    /// Share of the window with a screen's grid in it, percent; only for the card, whose window is plain paper.
    pub max_striped_percent: f64,
    /// Fewer pixels cannot show sand, px/mm; only for the card, whose print fills the frame.
    pub min_px_per_mm: f64,
}

impl Default for Gates {
    fn default() -> Self {
        Self {
            max_edge_sigma_mm: 0.14,
            max_edge_sigma_px: 8.0,
            min_white: 60.0,
            max_glare_percent: 2.0,
            max_striped_percent: 50.0,
            min_px_per_mm: 6.0,
        }
    }
}

/// Side of the squares in which burnt-out light is counted, mm: larger than the glints on wet grains.
const GLARE_SQUARE_MM: f64 = 1.0;

/// From this value on a channel counts as burnt out, 8-bit.
const BURNT: u8 = 250;

/// White from here on may be burnt out itself, so that light brighter than paper cannot be told, 8-bit.
const WHITE_NEAR_TOP: f64 = 240.0;

/// Judges a photo by its rectified window, its scale and its sharpness.
pub fn judge(window: &WindowImage, scale: &Scale, sharpness: &Sharpness, gates: &Gates) -> Quality {
    let mut findings = Vec::new();
    let mut refuse = |code: &str, value: f64, limit: f64, advice: &str| {
        findings.push(Finding { code: code.to_owned(), value, limit, advice: advice.to_owned() });
    };
    let by_card = scale.source == ScaleSource::Card;
    if by_card && scale.px_per_mm < gates.min_px_per_mm {
        refuse("too_small", scale.px_per_mm, gates.min_px_per_mm, TOO_SMALL_ADVICE);
    }
    let white = window.white.map_or_else(|| brightest(window), |[r, g, b]| (r + 2.0 * g + b) / 4.0);
    if white < gates.min_white {
        refuse("too_dark", white, gates.min_white, TOO_DARK_ADVICE);
    }
    let (blur, blur_limit) =
        if by_card { (sharpness.edge_sigma_mm, gates.max_edge_sigma_mm) } else { (sharpness.edge_sigma_px, gates.max_edge_sigma_px) };
    if blur > blur_limit {
        refuse("blurred", blur, blur_limit, BLURRED_ADVICE);
    }
    if by_card {
        let share = striped_percent(window);
        if share > gates.max_striped_percent {
            refuse("of_a_screen", share, gates.max_striped_percent, OF_A_SCREEN_ADVICE);
        }
    }
    // Paper as bright as that is burnt out by exposure, not by a reflection: told, but not refused, since grains still stand dark on it.
    let overexposed = white > WHITE_NEAR_TOP;
    if by_card && !overexposed {
        let share = burnt_percent(window);
        if share > gates.max_glare_percent {
            refuse("glare", share, gates.max_glare_percent, GLARE_ADVICE);
        }
    }
    let accepted = findings.is_empty();
    if by_card && overexposed {
        let advice = "turn the card away from the brightest light, or touch the card on the screen to set the exposure";
        findings.push(Finding { code: "overexposed".to_owned(), value: white, limit: WHITE_NEAR_TOP, advice: advice.to_owned() });
    }
    Quality { accepted, findings }
}

const TOO_SMALL_ADVICE: &str = "go closer until the card fills the picture, and send the photo as the camera saved it";
const TOO_DARK_ADVICE: &str = "go where there is more light; open shade is best";
const BLURRED_ADVICE: &str = "hold the phone still with both hands, touch the card on the screen to focus, and wipe the lens";
const OF_A_SCREEN_ADVICE: &str = "photograph the card itself, not a picture of it";
const GLARE_ADVICE: &str = "shade the card with your body and switch the flash off";

/// The error that a refused photo gives: the first, gravest finding. `None` for an accepted one.
pub fn refusal(quality: &Quality, source: ScaleSource) -> Option<CoreError> {
    if quality.accepted {
        return None;
    }
    let finding = quality.findings.first()?;
    let (value, limit) = (finding.value, finding.limit);
    let (code, reason) = match finding.code.as_str() {
        "blurred" => {
            let unit = if source == ScaleSource::Card { "mm" } else { "px" };
            ("blurred", format!("edges are spread over {value:.2} {unit}, more than {limit:.2} {unit}"))
        }
        "too_dark" => ("too_dark", format!("white comes out at {value:.0} of 255, less than {limit:.0}")),
        "glare" => ("glare", format!("{value:.1} % of the window is burnt out by reflected light, more than {limit:.1} %")),
        "of_a_screen" => ("of_a_screen", format!("a screen's grid runs through {value:.0} % of the window, more than {limit:.0} %")),
        "too_small" => ("too_small", format!("the photo has {value:.1} pixels per millimetre, fewer than {limit:.1}")),
        other => ("refused_photo", format!("{other}: {value:.2} against {limit:.2}")),
    };
    Some(CoreError::refused(code, reason, finding.advice.clone()))
}

/// Value that the brightest twentieth of the window reaches, (r + 2 g + b) / 4.
fn brightest(window: &WindowImage) -> f64 {
    let mut counts = [0_u64; 256];
    for pixel in window.rgb.chunks_exact(3) {
        counts[usize::from(luma(pixel))] += 1;
    }
    f64::from(quantile(&counts, 0.95))
}

fn luma(pixel: &[u8]) -> u8 {
    ((u32::from(pixel[0]) + 2 * u32::from(pixel[1]) + u32::from(pixel[2])) / 4) as u8
}

/// Smallest value with at least `share` of the counts at or below it.
fn quantile(counts: &[u64; 256], share: f64) -> u8 {
    let total: u64 = counts.iter().sum();
    let mut seen = 0;
    for (value, count) in (0..=255).zip(counts) {
        seen += count;
        if seen as f64 >= share * total as f64 {
            return value;
        }
    }
    255
}

/// Share of squares of a millimetre that are burnt out in eight of ten pixels, percent.
fn burnt_percent(window: &WindowImage) -> f64 {
    let side = ((GLARE_SQUARE_MM * window.px_per_mm).round() as usize).max(2);
    let (width, height) = (window.width_px as usize, window.height_px as usize);
    let (mut squares, mut burnt) = (0_u64, 0_u64);
    for top in (0..height.saturating_sub(side - 1)).step_by(side) {
        for left in (0..width.saturating_sub(side - 1)).step_by(side) {
            let rows = (top..top + side).map(|row| &window.rgb[(row * width + left) * 3..(row * width + left + side) * 3]);
            let count: usize = rows.map(|row| row.chunks_exact(3).filter(|pixel| pixel.iter().all(|c| *c >= BURNT)).count()).sum();
            squares += 1;
            burnt += u64::from(count * 10 >= side * side * 8);
        }
    }
    if squares == 0 { 0.0 } else { 100.0 * burnt as f64 / squares as f64 }
}

/// Sharpness without a card: at the strongest half percent of the steps (central difference, kernel -1 0 1, 8-bit luma at the
/// window's own scale) along rows and along columns, rise over (slope sqrt(2 pi)); the median of the worse direction.
///
/// A picture without edges gives 0: there is nothing to tell it by.
pub fn sharpness_of_strong_edges(window: &WindowImage) -> Sharpness {
    let gray: Vec<u8> = window.rgb.chunks_exact(3).map(luma).collect();
    let edge_sigma_px = strong_edge_sigma_px(&gray, window.width_px as usize, window.height_px as usize);
    Sharpness { edge_sigma_px, edge_sigma_mm: edge_sigma_px / window.px_per_mm }
}

fn strong_edge_sigma_px(gray: &[u8], width: usize, height: usize) -> f64 {
    let rows = edge_sigma_along(gray, width, height, 1, width);
    let columns = edge_sigma_along(gray, height, width, width, 1);
    rows.max(columns)
}

/// Along lines of `length` pixels that are `step` apart in memory; the lines themselves are `line_step` apart.
fn edge_sigma_along(gray: &[u8], length: usize, lines: usize, step: usize, line_step: usize) -> f64 {
    if length < 5 || lines == 0 {
        return 0.0;
    }
    // Every fourth line is enough, and four times as fast.
    let picked = || (0..lines).step_by(4).map(|line| line * line_step);
    let slope = |at: usize| i32::from(gray[at + step]) - i32::from(gray[at - step]);
    let mut counts = [0_u64; 256];
    for start in picked() {
        for index in 1..length - 1 {
            counts[slope(start + index * step).unsigned_abs() as usize] += 1;
        }
    }
    // Below a slope of 8 of 510 it is noise or shade.
    let threshold = i32::from(quantile(&counts, 0.995)).max(8);
    let mut sigmas = Vec::new();
    for start in picked() {
        for index in 1..length - 1 {
            let at = start + index * step;
            let here = slope(at);
            let peak = |other: usize| slope(start + other * step) * here.signum() <= here.abs();
            if here.abs() < threshold || (index > 1 && !peak(index - 1)) || (index + 2 < length && !peak(index + 1)) {
                continue;
            }
            // The rise lasts while the picture keeps going the same way, by at least a twentieth of the peak.
            let goes_on = |other: usize| slope(start + other * step) * here.signum() * 20 >= here.abs();
            let (mut from, mut to) = (index, index);
            while from > 1 && goes_on(from - 1) {
                from -= 1;
            }
            while to + 2 < length && goes_on(to + 1) {
                to += 1;
            }
            let value = |index: usize| f64::from(gray[start + index * step]);
            let rise = (value((to + 1).min(length - 1)) - value(from.saturating_sub(1))).abs();
            // The difference over two pixels widens a true edge by a variance of a third.
            let sigma = rise / (f64::from(here.abs()) / 2.0 * (2.0 * std::f64::consts::PI).sqrt());
            sigmas.push((sigma * sigma - 1.0 / 3.0).max(0.0).sqrt());
        }
    }
    let middle = sigmas.len() / 2;
    if sigmas.is_empty() { 0.0 } else { *sigmas.select_nth_unstable_by(middle, f64::total_cmp).1 }
}

/// Edges this much softer along one direction come from a hand that moved. Sharp scenes give at most 1.25, smears that hide the
/// marks 2.2 and more.
const SMEAR_LIMIT: f64 = 1.7;

/// How much more the picture's strongest edges rise in their best direction than across it (square of the slopes): a smear
/// takes the slopes along it and leaves those across. `None` where the edges are too weak to be print on paper: wood has a
/// direction of its own.
fn smear(gray: &[u8], width: usize, height: usize, bright: f64) -> Option<f64> {
    if width < 3 || height < 3 {
        return None;
    }
    let slopes = || {
        (1..height - 1).flat_map(move |row| {
            (1..width - 1).map(move |column| {
                let at = row * width + column;
                let difference = |a: usize, b: usize| i64::from(gray[a]) - i64::from(gray[b]);
                (difference(at + 1, at - 1), difference(at + width, at - width))
            })
        })
    };
    let steepness = |(dx, dy): (i64, i64)| (((dx * dx + dy * dy) as f64).sqrt() / 2.0).min(255.0) as usize;
    let mut counts = [0_u64; 256];
    slopes().for_each(|slope| counts[steepness(slope)] += 1);
    let least = quantile(&counts, 0.97);
    if f64::from(least) < 0.05 * bright {
        return None;
    }
    let (mut xx, mut xy, mut yy) = (0_i64, 0_i64, 0_i64);
    for (dx, dy) in slopes().filter(|slope| steepness(*slope) >= usize::from(least)) {
        xx += dx * dx;
        xy += dx * dy;
        yy += dy * dy;
    }
    let (xx, xy, yy) = (xx as f64, xy as f64, yy as f64);
    let (middle, apart) = ((xx + yy) / 2.0, (((xx - yy) / 2.0).powi(2) + xy * xy).sqrt());
    Some((middle + apart) / (middle - apart).max(1.0))
}

/// A photo in which no mark can be read: what is to blame, as far as the photo tells.
pub(crate) fn why_no_card(photo: &Photo) -> CoreError {
    let long = photo.width_px.max(photo.height_px);
    let short = photo.width_px.min(photo.height_px);
    let Reduced { luma, width, height, .. } = reduced(photo, [0, 0], [photo.width_px, photo.height_px], 1);
    let mut counts = [0_u64; 256];
    luma.iter().for_each(|value| counts[usize::from(*value)] += 1);

    let bright = quantile(&counts, 0.98);
    if f64::from(bright) < Gates::default().min_white {
        let reason = format!("no mark of the card can be made out; the brightest part of the photo reaches {bright} of 255");
        return CoreError::refused("too_dark", reason, TOO_DARK_ADVICE);
    }
    let burnt: u64 = counts[usize::from(BURNT)..].iter().sum();
    let burnt_share = burnt as f64 / luma.len() as f64;
    if burnt_share > 0.5 {
        let reason = format!("no mark of the card can be made out; {:.0} % of the photo is burnt out", burnt_share * 100.0);
        return CoreError::refused("glare", reason, GLARE_ADVICE);
    }
    // A card that fills the frame has 112 mm on the short side.
    let fewest = (112.0 * Gates::default().min_px_per_mm) as u32;
    if short < fewest {
        let reason = format!("no mark of the card can be made out; the photo has {short} px on its short side, fewer than {fewest}");
        return CoreError::refused("too_small", reason, TOO_SMALL_ADVICE);
    }
    // Marks stay legible to a spread of half a module, about 0.35 % of the frame where the card fills it.
    let sigma = strong_edge_sigma_px(&luma, width, height);
    let limit = f64::from(long) * 0.0015;
    if sigma > limit {
        let reason = format!("no mark of the card can be made out; edges are spread over {sigma:.1} px, more than {limit:.1} px");
        return CoreError::refused("blurred", reason, BLURRED_ADVICE);
    }
    let Reduced { luma, width, height, .. } = reduced(photo, [0, 0], [photo.width_px, photo.height_px], (long / 1000).max(1));
    if let Some(ratio) = smear(&luma, width, height, f64::from(bright))
        && ratio > SMEAR_LIMIT
    {
        let reason = format!("no mark of the card can be made out; edges are {ratio:.1} times softer along one direction than across it");
        return CoreError::refused("blurred", reason, BLURRED_ADVICE);
    }
    CoreError::refused("no_card", "no mark of the debris card is in the photo", "photograph the card with all four marks in the picture")
}

#[cfg(test)]
#[path = "quality_tests.rs"]
mod tests;
