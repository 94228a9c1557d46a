//! This photo beside the last one of the same part: laid over it, and what has changed, with its doubt.

use super::align::align;
use super::colour::{Lab, ciede2000};
use super::read::{Measured, measured};
use super::reading::{Beside, Change, FaceReading, FaceRemark, More, Share, Surface, Turn};
use super::settings::FaceSettings;
use crate::debris::read::rounded;
use crate::debris::reading::PhotoFacts;
use crate::error::CoreError;
use crate::error_words::spanish;
use crate::photo::{Photo, PhotoLimits, load_photo};

/// A change up to this much at most is no more than last time: half a point in a hundred.
const NO_MORE: f64 = 0.005;
/// Colours of one part that differ by more between two photos (CIEDE2000) are of two parts, or of light that was not measured.
const SAME_PART: f64 = 22.0;

/// A document with the photos it is about, upright, for a picture of them.
#[derive(Debug, Clone)]
pub struct FaceOutcome {
    /// The document.
    pub reading: FaceReading,
    /// This photo.
    pub photo: Photo,
    /// The last one, where one was given.
    pub last: Option<Photo>,
}

/// Measures a photo, and lays the last photo of the same part beside it where one is given. A last photo that cannot be measured is
/// said to be so; one that is not a photo at all is refused.
///
/// # Errors
/// Those of [`super::measure_face`]; of the last photo those of [`load_photo`] and `bad_setting`.
pub fn measure_beside(bytes: &[u8], settings: &FaceSettings, last: Option<(&[u8], &FaceSettings)>) -> Result<FaceOutcome, CoreError> {
    let this = measured(bytes, settings)?;
    let Some((last_bytes, last_settings)) = last else {
        return Ok(FaceOutcome { reading: this.reading, photo: this.photo, last: None });
    };
    last_settings.check()?;
    match measured(last_bytes, last_settings) {
        Ok(last) => {
            let beside = beside(&this, &last);
            Ok(FaceOutcome { reading: FaceReading { last: Some(beside), ..this.reading }, photo: this.photo, last: Some(last.photo) })
        }
        Err(error) => {
            let photo = load_photo(last_bytes, &PhotoLimits::default())?;
            let in_spanish = spanish(error.code()).map_or("", |words| words.reason);
            let remark = FaceRemark {
                code: error.code().to_owned(),
                en: format!("The last photo could not be measured: {}.", error.reason()),
                es: format!("No se pudo medir la foto de la vez pasada. {in_spanish}").trim_end().to_owned(),
            };
            let facts = facts_of(&photo);
            let beside = Beside { photo: facts, share: None, alignment: None, change: None, more: More::CannotTell, remarks: vec![remark] };
            Ok(FaceOutcome { reading: FaceReading { last: Some(beside), ..this.reading }, photo: this.photo, last: Some(photo) })
        }
    }
}

fn facts_of(photo: &Photo) -> PhotoFacts {
    PhotoFacts { sha256: photo.id.to_string(), width_px: photo.width_px, height_px: photo.height_px, taken_at: photo.taken_at.clone() }
}

fn share_of(reading: &FaceReading) -> Option<Share> {
    match reading.surface {
        Surface::Coloured => reading.grit.as_ref().map(|grit| grit.share),
        Surface::Metal => reading.chips.as_ref().map(|chips| chips.share),
    }
}

fn beside(this: &Measured, last: &Measured) -> Beside {
    let mut remarks = Vec::new();
    let mut remark =
        |code: &str, en: &str, es: &str| remarks.push(FaceRemark { code: code.to_owned(), en: en.to_owned(), es: es.to_owned() });
    let alignment = align(this, last);
    let same_surface = this.reading.surface == last.reading.surface;
    let lab = |[l, a, b]: [f64; 3]| Lab { l, a, b };
    let colours = ciede2000(lab(this.reading.region.colour_lab), lab(last.reading.region.colour_lab));
    let same_colour = this.reading.surface == Surface::Metal || colours <= SAME_PART;
    if !same_surface {
        remark("other_surface", "The last photo shows another kind of surface.", "La foto pasada muestra otra clase de superficie.");
    } else if !same_colour {
        remark(
            "other_colour",
            "The last photo's surface has another colour: another part?",
            "La superficie de la foto pasada es de otro color: ¿otra pieza?",
        );
    }
    match &alignment {
        None => remark(
            "not_aligned",
            "The two outlines do not fit: they are not laid over each other.",
            "Los dos contornos no coinciden: no se ponen uno sobre otro.",
        ),
        Some(found) if found.turn == Turn::Unknown => remark(
            "turn_unknown",
            "How far the part was turned in between is not told: shares are compared, places are not.",
            "No se sabe cuánto giró la pieza: se comparan las partes cubiertas, no los lugares.",
        ),
        Some(_) => {}
    }
    let share = share_of(&last.reading);
    let comparable = same_surface && same_colour && alignment.is_some();
    let change = share.zip(share_of(&this.reading)).filter(|_| comparable).map(|(before, now)| change(before, now));
    Beside { photo: facts_of(&last.photo), share, alignment, change, more: more(change), remarks }
}

/// The two intervals are of two photos and independent: their halves add up in squares.
fn change(before: Share, now: Share) -> Change {
    let value = now.value - before.value;
    let low = value - (now.value - now.low).hypot(before.high - before.value);
    let high = value + (now.high - now.value).hypot(before.value - before.low);
    Change { value: rounded(value, 5), low: rounded(low, 5), high: rounded(high, 5) }
}

fn more(change: Option<Change>) -> More {
    match change {
        Some(change) if change.low > 0.0 => More::Yes,
        Some(change) if change.high <= NO_MORE => More::No,
        _ => More::CannotTell,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn share(value: f64, low: f64, high: f64) -> Share {
        Share { value, low, high }
    }

    #[test]
    fn more_is_said_only_where_the_intervals_leave_no_doubt() {
        let told = |before: Share, now: Share| more(Some(change(before, now)));
        assert_eq!(told(share(0.03, 0.025, 0.035), share(0.07, 0.06, 0.08)), More::Yes);
        assert_eq!(told(share(0.03, 0.025, 0.035), share(0.033, 0.027, 0.04)), More::CannotTell);
        assert_eq!(told(share(0.05, 0.045, 0.055), share(0.04, 0.036, 0.044)), More::No);
        assert_eq!(more(None), More::CannotTell);
    }

    #[test]
    fn doubt_of_a_change_is_that_of_both_shares_together() {
        let found = change(share(0.10, 0.10 - 0.03, 0.10 + 0.03), share(0.20, 0.20 - 0.04, 0.20 + 0.04));
        assert!((found.value - 0.10).abs() < 1e-9 && (found.low - 0.05).abs() < 1e-9 && (found.high - 0.15).abs() < 1e-9);
    }
}
