//! Finding the card in a photo: marks are read on a reduced picture, then all their edges are fitted at full size.

use super::card::{Card, MARK_SIDE_MM, WINDOW_MM};
use super::detect::read_marks;
use super::fit::{Fit, MarkEdges, Misfit};
use super::mark::{FoundMark, Sampler};
use super::pose::{CardPose, Lens, apply, homography_of};
use super::spread::sharpness_of;
use crate::error::CoreError;
use crate::photo::Photo;
use crate::photo::quality::{Sharpness, why_no_card};
use crate::photo::reduced::reduced;

/// Long side of the first reduced picture, px: a card that fills the frame has modules of about 10 px there.
const FIRST_LONG_SIDE_PX: u32 = 2100;

/// Largest picture that is searched, px: beyond it the search alone would take a second.
const MAX_SEARCH_PX: u64 = 17_000_000;

/// Largest lasting misfit of the card's edges, mm. A flat card stays below 0.01 (painted photos, 4.5 to 24 px/mm). At 0.05 a card
/// rolled to a cylinder puts the window's corners 0.15 mm off: half a percent of a grain's size.
pub const MAX_BEND_MM: f64 = 0.05;

/// How far marks may lie from one common plane before they cannot belong to one card, mm.
const MAX_DISAGREEMENT_MM: f64 = 6.0;

/// Share of a mark's edges that must be seen for it to count.
const MIN_EDGE_SHARE: f64 = 0.4;

/// Finds the card.
///
/// Works from any two of its marks, whatever edition of the card they stand on. With three or more, a radial lens term is
/// fitted as well.
///
/// # Errors
/// `no_card` (fewer than two marks legible, and nothing else to blame), `blurred`, `too_dark`, `glare` (no mark legible, and that
/// is why), `card_cut_off` (the window lies partly outside the photo), `card_bent` (the marks do not lie in one plane),
/// `two_cards` (marks of more than one card).
pub fn locate_card(photo: &Photo) -> Result<CardPose, CoreError> {
    let pose = locate_marks(photo)?;
    window_inside(photo, &pose)?;
    Ok(pose)
}

/// The card's plane from its marks alone: its window may be covered, or lie partly outside the photo.
///
/// # Errors
/// As [`locate_card`], but for a window that is cut off.
pub(crate) fn locate_marks(photo: &Photo) -> Result<CardPose, CoreError> {
    let marks = find_marks(photo);
    let sampler = Sampler::new(photo);
    let lens = Lens::straight(photo.width_px, photo.height_px);
    one_card_only(&marks)?;
    let listed: Vec<MarkEdges<'_>> = marks.iter().map(MarkEdges::new).collect();
    let refined: Vec<(MarkEdges<'_>, Fit)> =
        listed.into_iter().filter_map(|mark| refine_alone(&sampler, &mark, lens).map(|fit| (mark, fit))).collect();
    let marks_found = refined.len() as u32;
    let window_mm = refined.first().map_or(WINDOW_MM, |(mark, _)| mark.mark.place.window_mm);
    if refined.len() < 2 {
        return Err(too_few_marks(photo, refined.first().map(|(_, fit)| fit), window_mm));
    }

    let (marks, fits): (Vec<_>, Vec<_>) = refined.into_iter().unzip();
    let mut fit = common_plane(&marks, &fits, lens)?;
    let with_lens = marks.len() >= 3;
    let mut misfits = Vec::new();
    let some: Vec<MarkEdges<'_>> = marks.iter().map(|mark| mark.thinned(3)).collect();
    for round in 0..4 {
        misfits = match round {
            0 => fit.measure(&sampler, &some, 0.7),
            1 => fit.measure(&sampler, &some, 0.5),
            _ => fit.measure(&sampler, &marks, 0.5),
        };
        if round < 3 {
            fit = fit.step(&misfits, with_lens && round > 0).ok_or_else(|| bent(f64::NAN))?;
        }
    }
    let edges: usize = marks.iter().map(|mark| mark.edges.len()).sum();
    let bend_mm = lasting_misfit(&misfits, marks.len());
    if (misfits.len() as f64) < MIN_EDGE_SHARE * edges as f64 || bend_mm.is_nan() || bend_mm > MAX_BEND_MM {
        return Err(bent(bend_mm));
    }
    let residual_mm = (misfits.iter().map(|misfit| misfit.error_mm.powi(2)).sum::<f64>() / misfits.len() as f64).sqrt();
    let mut pose = CardPose {
        homography: fit.homography,
        lens: fit.lens,
        residual_mm,
        bend_mm,
        marks_found,
        window_mm,
        sharpness: Sharpness { edge_sigma_px: 0.0, edge_sigma_mm: 0.0 },
    };
    pose.sharpness = sharpness_of(&sampler, &marks, &pose);
    Ok(pose)
}

fn bent(bend_mm: f64) -> CoreError {
    let reason = if bend_mm.is_finite() {
        format!("the marks do not lie in one plane: {bend_mm:.2} mm off, more than {MAX_BEND_MM:.2} mm")
    } else {
        "the marks do not lie in one plane".to_owned()
    };
    CoreError::refused("card_bent", reason, "lay the card flat on a board and take the photo again")
}

fn two_cards(reason: &str) -> CoreError {
    CoreError::refused("two_cards", reason, "leave one card in the picture")
}

fn cut_off() -> CoreError {
    let advice = "hold the phone a little higher, with the whole window and all four marks in the picture";
    CoreError::refused("card_cut_off", "part of the card's window lies outside the photo", advice)
}

fn too_few_marks(photo: &Photo, only: Option<&Fit>, window_mm: [f64; 2]) -> CoreError {
    let Some(fit) = only else { return why_no_card(photo) };
    // One mark cannot witness a bent card, but it is good enough to tell why the others are missing.
    if window_corners(window_mm).iter().any(|corner| !inside(photo, fit.photo_px(*corner), 0.0)) {
        return cut_off();
    }
    let advice = "clear the other marks of dirt, fingers and shine, and take the photo again";
    CoreError::refused("no_card", "only one of the card's marks is legible; two are needed", advice)
}

/// Marks of differing windows, or the same mark in two places, belong to two cards.
fn one_card_only(marks: &[FoundMark]) -> Result<(), CoreError> {
    for (index, mark) in marks.iter().enumerate() {
        for other in &marks[..index] {
            if mark.place == other.place {
                return Err(two_cards("the same mark is in the picture twice"));
            }
            if mark.place.window_mm != other.place.window_mm {
                return Err(two_cards("the marks speak of different windows"));
            }
        }
    }
    Ok(())
}

/// Fits a mark by itself, from its rough corners to its own edges.
fn refine_alone(sampler: &Sampler<'_>, mark: &MarkEdges<'_>, lens: Lens) -> Option<Fit> {
    let homography = homography_of(&mark.mark.corners_mm(), &mark.mark.rough_px)?;
    let mut fit = Fit { homography, lens, gain_mm: 0.0 };
    let alone = [mark.thinned(3)];
    for reach in [0.9, 0.7, 0.5] {
        let misfits = fit.measure(sampler, &alone, reach);
        if (misfits.len() as f64) < MIN_EDGE_SHARE * alone[0].edges.len() as f64 {
            return None;
        }
        fit = fit.step(&misfits, false)?;
    }
    Some(fit)
}

/// A first common homography from the marks' own corners.
fn common_plane(marks: &[MarkEdges<'_>], fits: &[Fit], lens: Lens) -> Result<Fit, CoreError> {
    let (mut mm, mut px) = (Vec::new(), Vec::new());
    for (mark, fit) in marks.iter().zip(fits) {
        for corner in mark.mark.corners_mm() {
            mm.push(corner);
            px.push(fit.photo_px(corner));
        }
    }
    let homography = homography_of(&mm, &px).ok_or_else(|| bent(f64::NAN))?;
    let inverse = homography.try_inverse().ok_or_else(|| bent(f64::NAN))?;
    let distance = |(mm, px): (&[f64; 2], &[f64; 2])| {
        let seen = apply(&inverse, *px);
        (seen[0] - mm[0]).powi(2) + (seen[1] - mm[1]).powi(2)
    };
    let apart = (mm.iter().zip(&px).map(distance).sum::<f64>() / mm.len() as f64).sqrt();
    if apart.is_nan() || apart > MAX_DISAGREEMENT_MM {
        return Err(two_cards("the marks stand where no single card can have them"));
    }
    let gain_mm = fits.iter().map(|fit| fit.gain_mm).sum::<f64>() / fits.len() as f64;
    Ok(Fit { homography, lens, gain_mm })
}

/// Root mean square of the blocks' mean errors, mm, the noise of the means taken off.
fn lasting_misfit(misfits: &[Misfit], marks: usize) -> f64 {
    let mut sums = vec![[0.0_f64; 3]; marks * 8];
    for misfit in misfits {
        let block = &mut sums[misfit.mark * 8 + misfit.edge.block];
        // Beyond a third of a millimetre it is a blot or a shadow, not the paper.
        let error = misfit.error_mm.clamp(-0.35, 0.35);
        block[0] += 1.0;
        block[1] += error;
        block[2] += error * error;
    }
    let (mut total, mut blocks) = (0.0, 0.0);
    for [count, sum, squares] in sums {
        if count >= 8.0 {
            let mean = sum / count;
            let noise = (squares / count - mean * mean).max(0.0) / (count - 1.0);
            total += (mean * mean - noise).max(0.0);
            blocks += 1.0;
        }
    }
    if blocks > 0.0 { f64::sqrt(total / blocks) } else { f64::NAN }
}

fn window_corners([width, height]: [f64; 2]) -> [[f64; 2]; 4] {
    [[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]]
}

fn inside(photo: &Photo, px: [f64; 2], margin: f64) -> bool {
    px[0] >= -margin && px[1] >= -margin && px[0] <= f64::from(photo.width_px) + margin && px[1] <= f64::from(photo.height_px) + margin
}

fn window_inside(photo: &Photo, pose: &CardPose) -> Result<(), CoreError> {
    // In front of the camera, the right way round, and in the frame.
    let depth = |mm: [f64; 2]| pose.homography[(2, 0)] * mm[0] + pose.homography[(2, 1)] * mm[1] + pose.homography[(2, 2)];
    let corners = window_corners(pose.window_mm);
    if corners.iter().any(|corner| depth(*corner) <= 0.0 || !inside(photo, pose.photo_px(*corner), 0.0)) {
        return Err(cut_off());
    }
    Ok(())
}

/// Every legible mark: on a middling picture first, then on a coarser one (noise and blur average out) and finer ones.
fn find_marks(photo: &Photo) -> Vec<FoundMark> {
    let long = photo.width_px.max(photo.height_px);
    let first = long.div_ceil(FIRST_LONG_SIDE_PX).max(1);
    let whole = [photo.width_px, photo.height_px];
    let mut found: Vec<FoundMark> = Vec::new();
    for factor in [first, first * 2, first.div_ceil(2)] {
        let pixels = u64::from(whole[0] / factor) * u64::from(whole[1] / factor);
        if (factor == first && !found.is_empty()) || pixels > MAX_SEARCH_PX {
            continue;
        }
        merge(&mut found, read_marks(&reduced(photo, [0, 0], whole, factor)));
        if found.len() >= 2 && found.len() < 4 {
            look_where_marks_should_be(photo, &mut found, factor);
        }
        if found.len() >= 2 {
            break;
        }
    }
    found
}

/// Adds marks that are new: not the same one seen twice in the same place.
fn merge(found: &mut Vec<FoundMark>, more: Vec<FoundMark>) {
    for mark in more {
        let centre = |mark: &FoundMark| [0, 1].map(|axis| mark.rough_px.iter().map(|corner| corner[axis]).sum::<f64>() / 4.0);
        let side = (mark.rough_px[1][0] - mark.rough_px[0][0]).hypot(mark.rough_px[1][1] - mark.rough_px[0][1]);
        let same = |other: &FoundMark| {
            let (a, b) = (centre(&mark), centre(other));
            mark.place == other.place && (a[0] - b[0]).hypot(a[1] - b[1]) < side / 2.0
        };
        if !found.iter().any(same) {
            found.push(mark);
        }
    }
}

/// With two or three marks known, the places of the others follow if this is the card as we print it: a look at those alone,
/// at twice the resolution, costs a tenth of another search of the whole picture.
fn look_where_marks_should_be(photo: &Photo, found: &mut Vec<FoundMark>, factor: u32) {
    let card = Card::new();
    if !found.iter().all(|mark| card.marks.contains(&mark.place)) {
        return;
    }
    let (mm, px): (Vec<_>, Vec<_>) = found.iter().flat_map(|mark| mark.corners_mm().into_iter().zip(mark.rough_px)).unzip();
    let Some(homography) = homography_of(&mm, &px) else { return };
    for place in card.marks {
        if found.iter().any(|mark| mark.place == place) {
            continue;
        }
        let margin = MARK_SIDE_MM * 0.4;
        let [left, top, side, _] = place.rect_mm();
        let (low, high) = (-margin, side + margin);
        let corners = [[low, low], [high, low], [high, high], [low, high]].map(|[x, y]| apply(&homography, [left + x, top + y]));
        let bound = |axis: usize, size: u32| {
            let values = corners.map(|corner| corner[axis]);
            let clamp = |value: f64| value.clamp(0.0, f64::from(size)) as u32;
            (clamp(values.into_iter().fold(f64::INFINITY, f64::min)), clamp(values.into_iter().fold(f64::NEG_INFINITY, f64::max)))
        };
        let ((x0, x1), (y0, y1)) = (bound(0, photo.width_px), bound(1, photo.height_px));
        let factor = factor.div_ceil(2);
        if x1 <= x0 + 40 * factor || y1 <= y0 + 40 * factor || u64::from(x1 - x0) * u64::from(y1 - y0) > MAX_SEARCH_PX {
            continue;
        }
        let more = read_marks(&reduced(photo, [x0, y0], [x1 - x0, y1 - y0], factor));
        merge(found, more.into_iter().filter(|mark| mark.place == place).collect());
    }
}

#[cfg(test)]
#[path = "find_tests.rs"]
mod tests;
