//! The white that colours are held against: the card's, or a spot shown by hand.

use super::light::LightTable;
use super::reading::{White, WhiteSource};
use super::settings::FaceSettings;
use crate::debris::pose::CardPose;
use crate::debris::read::rounded;
use crate::debris::rectify::{Source, white_patches};
use crate::error::CoreError;
use crate::photo::Photo;

/// White darker than this drowns colours in noise, 8-bit.
const MIN_WHITE: f64 = 60.0;
/// The same of a grey spot.
const MIN_GREY: f64 = 30.0;
/// The card's two patches may differ by this factor in light before the darker one is taken for shaded or covered.
const PATCHES_AGREE: f64 = 1.25;
/// A spot shown by hand may hold this much spread between its lower and upper fifth, 8-bit, before it is no plain spot.
const MAX_SPREAD: u8 = 40;

/// A white, and what it makes of code values.
pub(crate) struct NamedWhite {
    pub(crate) white: White,
    pub(crate) table: LightTable,
}

/// A spot shown by hand wins over the card's white; the card's pose is kept either way.
pub(crate) fn find_white(
    photo: &Photo,
    pose: Result<CardPose, CoreError>,
    settings: &FaceSettings,
) -> Result<(NamedWhite, Option<CardPose>), CoreError> {
    let shown = match (settings.white_px, settings.grey_px) {
        (Some(part), _) => Some((WhiteSource::White, part)),
        (None, Some(part)) => Some((WhiteSource::Grey, part)),
        (None, None) => None,
    };
    if let Some((source, part)) = shown {
        return Ok((named(source, spot(photo, part)?)?, pose.ok()));
    }
    let pose = pose.map_err(no_white)?;
    let source = Source { rgb: &photo.rgb, width: photo.width_px as usize, height: photo.height_px as usize };
    let light = |white: &[f64; 3]| white.iter().map(|code| code.powf(2.2)).sum::<f64>();
    let patches = white_patches(&source, &pose);
    let brightest = patches.iter().max_by(|one, other| light(one).total_cmp(&light(other))).copied();
    let Some(brightest) = brightest else {
        let reason = "the card's white patches lie outside the photo or are another edition's";
        return Err(CoreError::refused("no_white", reason, NO_WHITE_ADVICE));
    };
    let alike: Vec<_> = patches.iter().filter(|patch| light(patch) * PATCHES_AGREE >= light(&brightest)).collect();
    let mean = [0, 1, 2].map(|channel| alike.iter().map(|patch| patch[channel]).sum::<f64>() / alike.len() as f64);
    Ok((named(WhiteSource::Card, mean)?, Some(pose)))
}

const NO_WHITE_ADVICE: &str = "lay the card beside the part with its white in the picture, or show a white or grey spot in the photo";

fn no_white(cause: CoreError) -> CoreError {
    // Dark and bright photos are refused as what they are.
    if matches!(cause.code(), "too_dark" | "two_cards") {
        return cause;
    }
    CoreError::refused("no_white", "there is no legible card in the photo, and no white was shown", NO_WHITE_ADVICE).because(cause)
}

fn named(source: WhiteSource, srgb: [f64; 3]) -> Result<NamedWhite, CoreError> {
    let level = (srgb[0] + 2.0 * srgb[1] + srgb[2]) / 4.0;
    let least = if source == WhiteSource::Grey { MIN_GREY } else { MIN_WHITE };
    if level < least {
        let reason = format!("white comes out at {level:.0} of 255, less than {least:.0}");
        return Err(CoreError::refused("too_dark", reason, "go where there is more light; open shade is best"));
    }
    let table = if source == WhiteSource::Grey { LightTable::of_grey(srgb) } else { LightTable::new(srgb) };
    Ok(NamedWhite { white: White { source, srgb: srgb.map(|code| rounded(code, 2)) }, table })
}

/// Median of each channel in the spot.
fn spot(photo: &Photo, [left, top, width, height]: [f64; 4]) -> Result<[f64; 3], CoreError> {
    let size = [photo.width_px, photo.height_px].map(f64::from);
    let inside = [left, top, width, height].iter().all(|value| value.is_finite())
        && left >= 0.0
        && top >= 0.0
        && width >= 4.0
        && height >= 4.0
        && left + width <= size[0]
        && top + height <= size[1];
    let bad =
        |reason: String| CoreError::refused("bad_white", reason, "show a plain white or grey spot of at least 4 x 4 px inside the photo");
    if !inside {
        return Err(bad(format!(
            "the spot {left}, {top} of {width} x {height} px is not inside the photo of {} x {} px",
            size[0], size[1]
        )));
    }
    let mut channels: [Vec<u8>; 3] = Default::default();
    let (first, last) = (left as usize, (left + width) as usize);
    for row in top as usize..(top + height) as usize {
        let line = &photo.rgb[(row * photo.width_px as usize + first) * 3..(row * photo.width_px as usize + last) * 3];
        for pixel in line.as_chunks::<3>().0 {
            for (channel, value) in channels.iter_mut().zip(pixel) {
                channel.push(*value);
            }
        }
    }
    let mut median = [0.0; 3];
    for (median, channel) in median.iter_mut().zip(&mut channels) {
        channel.sort_unstable();
        let at = |share: usize| channel[(channel.len() - 1) * share / 10];
        if at(8) - at(2) > MAX_SPREAD {
            return Err(bad(format!("the spot shown is not plain: its light spreads from {} to {} of 255", at(2), at(8))));
        }
        *median = f64::from(at(5));
    }
    Ok(median)
}
