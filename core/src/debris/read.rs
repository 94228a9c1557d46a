//! Photo to reading document: load, find the scale, judge the photo, read the window, state what was found.

use super::bodies::DOUBT_REFUSED;
use super::card::BAR_MM;
use super::find::locate_card;
use super::gradation::{ERROR_OF_DOUBT, Particle, SEGMENTATION_SHARE, frame_weight, gradation, with_segmentation_error};
use super::grains::{METHOD_NAME, METHOD_VERSION, Spread, Stopwatch, Timings, read_window};
use super::hard_shadow::{self, HardShadow};
use super::level::{LevelFacts, judge as judge_level};
use super::reading::{
    Amount, Finding, Gradation, GradationInterval, Grain, GrainKind, Level, LevelCode, Method, PhotoFacts, Quality, READING_SCHEMA,
    Reading, Scale, ScaleSource,
};
use super::rectify::{window_by_hand, window_from_card};
use super::rim::PAPER;
use super::settings::{LevelLimits, ReadSettings, is_off};
use super::sight::Sight;
use super::texture;
use super::window::WindowImage;
use crate::error::{CoreError, ErrorKind};
use crate::photo::quality::{Gates, judge, refusal, sharpness_of_strong_edges};
use crate::photo::{PhotoLimits, load_photo};

/// Why a photo gives no reading, with what its gates measured as far as they got.
#[derive(Debug, Clone)]
pub struct Refusal {
    /// What was wrong and what to do.
    pub error: CoreError,
    /// What the gates measured; `None` where the photo did not get that far.
    pub quality: Option<Quality>,
}

impl From<CoreError> for Refusal {
    fn from(error: CoreError) -> Self {
        Self { error, quality: None }
    }
}

/// A reading with what does not belong into its document.
#[derive(Debug, Clone)]
pub struct ReadOutcome {
    /// The document.
    pub reading: Reading,
    /// The window that was read, for an overlay.
    pub window: WindowImage,
    /// Outline of each grain, mm, in the order of the reading's grains.
    pub outlines_mm: Vec<Vec<[f64; 2]>>,
    /// How long each step took.
    pub timings: Timings,
}

/// Reads a photo.
///
/// The same bytes and settings give the same document, byte for byte.
///
/// # Errors
/// Those of [`load_photo`], [`locate_card`], [`window_by_hand`], the photo gates and [`read_window`]; `bad_setting`.
pub fn read_photo(bytes: &[u8], settings: &ReadSettings) -> Result<Reading, Refusal> {
    read_photo_fully(bytes, settings).map(|outcome| outcome.reading)
}

/// [`read_photo`] with the window and the timings beside the document.
///
/// # Errors
/// As [`read_photo`].
pub fn read_photo_fully(bytes: &[u8], settings: &ReadSettings) -> Result<ReadOutcome, Refusal> {
    settings.check()?;
    let mut timings = Timings::new();
    let mut watch = Stopwatch::new(&mut timings);
    let photo = load_photo(bytes, &PhotoLimits::default())?;
    watch.lap("load");
    let facts =
        PhotoFacts { sha256: photo.id.to_string(), width_px: photo.width_px, height_px: photo.height_px, taken_at: photo.taken_at.clone() };
    // The photo goes where its window is made; a 12-megapixel one holds 36 MB.
    let (window, scale, sharpness) = match &settings.hand {
        Some(hand) => {
            let (window, scale) = window_by_hand(photo, hand.px_per_mm, hand.window_px)?;
            watch.lap("window");
            let sharpness = sharpness_of_strong_edges(&window);
            (window, scale, sharpness)
        }
        None => {
            let pose = locate_card(&photo)?;
            watch.lap("locate");
            let window = window_from_card(&photo, &pose);
            drop(photo);
            let print = settings.bar_mm / BAR_MM;
            let pose = pose.printed(print);
            watch.lap("rectify");
            (WindowImage { px_per_mm: window.px_per_mm / print, sight: Sight::of(&pose), ..window }, pose.scale(), pose.sharpness)
        }
    };
    let quality = judge(&window, &scale, &sharpness, &Gates::default());
    watch.lap("quality");
    if let Some(error) = refusal(&quality, scale.source) {
        return Err(Refusal { error, quality: Some(quality) });
    }
    let spread =
        read_window(&window, scale.px_per_mm, settings, &mut timings).map_err(|error| crowded(error, quality.clone(), settings))?;
    if spread.doubt > DOUBT_REFUSED {
        return Err(unclear(spread.doubt, quality));
    }
    let mut watch = Stopwatch::new(&mut timings);
    let reading = document(facts, scale, quality, &spread, settings)?;
    watch.lap("gradation");
    Ok(ReadOutcome { reading, window, outlines_mm: spread.outlines_mm, timings })
}

/// What a card printed at another scale leaves to be said, though its sizes are put right.
fn bar_finding(bar_mm: f64) -> Finding {
    let advice = "sizes were put right by the card's bar; print a new card at 100 %, not fitted to the page";
    Finding { code: "bar_off".to_owned(), value: bar_mm, limit: BAR_MM, advice: advice.to_owned() }
}

/// A crowded window is a finding on the photo's quality too; where no paper is seen the photo is not accepted either.
fn crowded(error: CoreError, mut quality: Quality, settings: &ReadSettings) -> Refusal {
    if error.code() == "too_crowded" {
        quality.accepted = false;
        let finding =
            Finding { code: "too_crowded".into(), value: 100.0, limit: settings.crowded_cover_percent, advice: error.advice().to_owned() };
        quality.findings.insert(0, finding);
    }
    quality.accepted &= error.code() != "paper_hidden";
    Refusal { error, quality: Some(quality) }
}

/// Decimals of a length in mm: a tenth of a micrometre, far below what any photo tells, so that no digit of worth is lost.
const MM_DECIMALS: i32 = 4;

/// To so many decimals, for a document.
pub(crate) fn rounded(value: f64, decimals: i32) -> f64 {
    let unit = 10_f64.powi(decimals);
    // Adding zero turns -0 into 0.
    (value * unit).round() / unit + 0.0
}

fn mm(value: f64) -> f64 {
    rounded(value, MM_DECIMALS)
}

/// What the photo's hard shadows, taken off, leave to be said.
fn hard_shadow_finding(shadow: &HardShadow) -> Finding {
    Finding {
        code: "hard_shadow".to_owned(),
        value: f64::from(shadow.level) / f64::from(PAPER) * 100.0,
        limit: hard_shadow::SOFT_ENOUGH_PERCENT,
        advice: hard_shadow::ADVICE.to_owned(),
    }
}

/// Doubt from which on a reading says so, as a share. The named scenes have 0.007 to 0.05.
const DOUBT_SAID: f64 = 0.055;

fn doubt_finding(doubt: f64, limit: f64) -> Finding {
    let advice = "grains and what lies beside them are hard to tell apart: shade the card with your body, rinse film and mud off, and \
                  photograph again";
    Finding { code: "unclear".to_owned(), value: 100.0 * doubt, limit: 100.0 * limit, advice: advice.to_owned() }
}

/// The refusal of a photo of which too much is doubtful.
fn unclear(doubt: f64, mut quality: Quality) -> Refusal {
    let finding = doubt_finding(doubt, DOUBT_REFUSED);
    // Up, so that what lies just above the limit is not said to equal it.
    let value = (10.0 * finding.value).ceil() / 10.0;
    let reason = format!("{value:.1} % of what looks like grain is doubtful, more than {:.0} %", finding.limit);
    let error = CoreError::refused("unclear", reason, finding.advice.clone());
    quality.accepted = false;
    quality.findings.insert(0, finding);
    Refusal { error, quality: Some(quality) }
}

/// Whether only a touch tells if a grain is a lump of a size that counts.
fn asks_touch(grain: &Grain, limits: &LevelLimits) -> bool {
    grain.may_be_lump && grain.ecd_mm >= limits.lump_mm
}

/// The largest grain that may be a lump, where it would make the level `lumps` and nothing else does.
fn may_be_lump_finding(spread: &Spread, level: &Level, limits: &LevelLimits) -> Option<Finding> {
    let largest = spread.grains.iter().filter(|grain| asks_touch(grain, limits)).map(|grain| grain.ecd_mm).max_by(f64::total_cmp)?;
    let asks = level.code != LevelCode::Lumps;
    // Common practice, no published source.
    let advice = "a large grain may be a lump: press it, gloves on; a lump crumbles, a stone does not. If it crumbles, the level is lumps: set it by eye";
    asks.then(|| Finding { code: "may_be_lump".to_owned(), value: largest, limit: limits.lump_mm, advice: advice.to_owned() })
}

/// What a heap read as a whole leaves to be said.
fn heap_finding(settings: &ReadSettings) -> Finding {
    let advice = texture::ADVICE.to_owned();
    Finding { code: "heaped".to_owned(), value: 100.0, limit: settings.crowded_cover_percent, advice }
}

fn document(photo: PhotoFacts, scale: Scale, mut quality: Quality, spread: &Spread, settings: &ReadSettings) -> Result<Reading, CoreError> {
    let window_mm = scale.window_mm;
    quality.findings.extend((scale.source == ScaleSource::Card && is_off(settings.bar_mm)).then(|| bar_finding(settings.bar_mm)));
    quality.findings.extend(spread.hard_shadow.as_ref().map(hard_shadow_finding));
    quality.findings.extend(spread.texture.as_ref().map(|_| heap_finding(settings)));
    let level = judge_level(level_facts(spread, window_mm, settings), &settings.limits);
    quality.findings.extend(may_be_lump_finding(spread, &level, &settings.limits));
    quality.findings.extend((spread.doubt > DOUBT_SAID).then(|| doubt_finding(spread.doubt, DOUBT_SAID)));
    let known_error = if spread.hard_shadow.is_some() { hard_shadow::SEGMENTATION_SHARE } else { SEGMENTATION_SHARE };
    let outline_error = known_error.max(ERROR_OF_DOUBT * spread.doubt);
    let particles: Vec<Particle> = spread
        .grains
        .iter()
        .zip(&spread.boxes_mm)
        .filter(|(grain, _)| !grain.cut)
        .map(|(grain, box_mm)| Particle { ecd_mm: grain.ecd_mm, weight: frame_weight(window_mm, *box_mm) })
        .collect();
    let gradation = match &spread.texture {
        Some(texture) => Some(texture.gradation(&settings.extra_sieves_mm)),
        None => gradation(&particles, &settings.extra_sieves_mm, settings.bootstrap_rounds, settings.bootstrap_seed)
            .map(|known| with_segmentation_error(known, outline_error)),
    };
    let method = if spread.texture.is_some() { texture::METHOD_NAME } else { METHOD_NAME };
    let grains_ml = spread.volume_mm3 / 1000.0;
    let settings_value = serde_json::to_value(settings)
        .map_err(|error| CoreError::new(ErrorKind::Internal, "failed", "writing the settings failed", "report this").because(error))?;
    Ok(Reading {
        schema: READING_SCHEMA.into(),
        photo,
        level: round_level(level),
        scale: round_scale(scale),
        quality: round_quality(quality),
        smallest_resolved_mm: mm(spread.smallest_resolved_mm),
        cover_percent: rounded(spread.cover_percent, 4),
        amount: Amount {
            grains_ml: rounded(grains_ml, 6),
            sample_ml: settings.sample_ml,
            share_percent: rounded(100.0 * grains_ml / settings.sample_ml, 4),
        },
        grains: spread
            .grains
            .iter()
            .zip(&spread.outlines_mm)
            .map(|(grain, outline)| Grain {
                may_be_lump: asks_touch(grain, &settings.limits),
                ..round_grain(grain, settings.outlines.then_some(outline))
            })
            .collect(),
        gradation: gradation.map(round_gradation),
        method: Method { name: method.into(), settings: settings_value, version: METHOD_VERSION.into() },
    })
}

/// Cut grains count for the cover and, by their visible part, for the largest: a stone is at least as large as what is seen of it.
fn level_facts(spread: &Spread, window_mm: [f64; 2], settings: &ReadSettings) -> LevelFacts {
    if let Some(texture) = &spread.texture {
        // Half of the volume is larger than the middle size: a coarse heap holds a coarse grain. Of a finer one the largest was not seen.
        let coarse = texture.d50_mm >= settings.limits.coarse_grain_mm;
        return LevelFacts { cover_percent: 100.0, largest_grain_mm: coarse.then_some(texture.d50_mm), largest_lump_mm: None };
    }
    let largest =
        |kind: GrainKind| spread.grains.iter().filter(|grain| grain.kind == kind).map(|grain| grain.ecd_mm).max_by(f64::total_cmp);
    let area: f64 = spread.grains.iter().filter(|grain| grain.ecd_mm >= settings.limits.sand_from_mm).map(|grain| grain.area_mm2).sum();
    LevelFacts {
        cover_percent: 100.0 * area / (window_mm[0] * window_mm[1]),
        largest_grain_mm: largest(GrainKind::Grain),
        largest_lump_mm: largest(GrainKind::Lump),
    }
}

fn round_level(mut level: Level) -> Level {
    for reason in &mut level.reasons {
        reason.value = mm(reason.value);
    }
    level
}

fn round_scale(mut scale: Scale) -> Scale {
    scale.px_per_mm = rounded(scale.px_per_mm, 5);
    scale.residual_mm = scale.residual_mm.map(|value| rounded(value, 5));
    scale.window_mm = scale.window_mm.map(mm);
    scale.window_corners_px = scale.window_corners_px.map(|corner| corner.map(|value| rounded(value, 3)));
    scale
}

fn round_quality(mut quality: Quality) -> Quality {
    for finding in &mut quality.findings {
        finding.value = rounded(finding.value, 4);
    }
    quality
}

fn round_grain(grain: &Grain, outline: Option<&Vec<[f64; 2]>>) -> Grain {
    Grain {
        x_mm: mm(grain.x_mm),
        y_mm: mm(grain.y_mm),
        ecd_mm: mm(grain.ecd_mm),
        feret_min_mm: mm(grain.feret_min_mm),
        feret_max_mm: mm(grain.feret_max_mm),
        area_mm2: rounded(grain.area_mm2, 5),
        circularity: rounded(grain.circularity, 4),
        solidity: rounded(grain.solidity, 4),
        kind: grain.kind,
        may_be_lump: grain.may_be_lump,
        cut: grain.cut,
        outline_mm: outline.map(|outline| outline.iter().map(|point| point.map(mm)).collect()),
    }
}

fn round_gradation(mut gradation: Gradation) -> Gradation {
    for share in &mut gradation.finer_percent {
        *share = rounded(*share, 4);
    }
    for value in [&mut gradation.d10_mm, &mut gradation.d50_mm, &mut gradation.d90_mm] {
        *value = mm(*value);
    }
    for interval in [Some(&mut gradation.interval95), gradation.window95.as_mut()].into_iter().flatten() {
        *interval = GradationInterval::of([interval.d10_mm, interval.d50_mm, interval.d90_mm].map(|pair| pair.map(mm)));
    }
    gradation.fineness_modulus = rounded(gradation.fineness_modulus, 4);
    gradation
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grain(ecd_mm: f64, may_be_lump: bool) -> Grain {
        let area_mm2 = std::f64::consts::FRAC_PI_4 * ecd_mm * ecd_mm;
        Grain {
            x_mm: 30.0,
            y_mm: 30.0,
            ecd_mm,
            feret_min_mm: ecd_mm,
            feret_max_mm: ecd_mm,
            area_mm2,
            circularity: 1.0,
            solidity: 1.0,
            kind: GrainKind::Grain,
            may_be_lump,
            cut: false,
            outline_mm: None,
        }
    }

    fn asked(grains: Vec<Grain>) -> Option<Finding> {
        let spread = Spread {
            grains,
            boxes_mm: Vec::new(),
            outlines_mm: Vec::new(),
            smallest_resolved_mm: 0.2,
            cover_percent: 1.0,
            volume_mm3: 1.0,
            edge_sigma_px: None,
            hard_shadow: None,
            doubt: 0.0,
            texture: None,
        };
        let limits = LevelLimits::default();
        let level = judge_level(level_facts(&spread, [60.0, 60.0], &ReadSettings::default()), &limits);
        may_be_lump_finding(&spread, &level, &limits)
    }

    #[test]
    fn a_touch_is_asked_for_where_it_would_change_the_level() {
        let finding = asked(vec![grain(2.5, true), grain(3.4, true), grain(4.0, false)]).unwrap();
        assert_eq!((finding.code.as_str(), finding.value, finding.limit), ("may_be_lump", 3.4, 2.0));
        // Of a crumb below the limit nothing hangs on the answer.
        assert_eq!(asked(vec![grain(1.9, true), grain(4.0, false)]), None);
        assert!(!asks_touch(&grain(1.9, true), &LevelLimits::default()) && asks_touch(&grain(2.0, true), &LevelLimits::default()));
        // A stone of 5 mm has made the level `lumps` already.
        assert_eq!(asked(vec![grain(3.4, true), grain(5.0, false)]), None);
    }

    #[test]
    fn a_document_says_only_of_what_may_be_a_lump_that_it_may() {
        let written = |may_be_lump: bool| serde_json::to_value(grain(3.0, may_be_lump)).unwrap();
        assert_eq!(written(true)["may_be_lump"], true);
        assert!(written(false).get("may_be_lump").is_none());
        assert_eq!(serde_json::from_value::<Grain>(written(false)).unwrap(), grain(3.0, false));
    }
}
