//! Photo to document: white, surface, ground, marks, what each of them is, and how far to trust it.

use super::departure::{FOREIGN, LINE, mark};
use super::ground::{Ground, learn};
use super::marks::{Mark, Scene};
use super::outline::{check_outline, fill};
use super::raster::{Raster, raster_of};
use super::reading::{FACE_SCHEMA, FaceFinding, FaceReading, FaceScale, FindingCode, Region, RegionSource, Surface, White};
use super::region::{find_surface, spread};
use super::settings::FaceSettings;
use super::tally::Tally;
use super::white::{NamedWhite, find_white};
use super::words::finding;
use crate::debris::card::BAR_MM;
use crate::debris::find::locate_marks;
use crate::debris::measure::polygon_area;
use crate::debris::pose::CardPose;
use crate::debris::read::rounded;
use crate::debris::reading::{Method, PhotoFacts};
use crate::debris::segment::patches;
use crate::debris::settings::is_off;
use crate::debris::window::WindowImage;
use crate::error::{CoreError, ErrorKind};
use crate::photo::quality::sharpness_of_strong_edges;
use crate::photo::{Photo, PhotoLimits, load_photo};

/// Name and version of the method; the version changes whenever answers may.
const METHOD_NAME: &str = "face";
const METHOD_VERSION: &str = "1";

/// A channel from here on is burnt out by shine, 8-bit, after smoothing.
const BURNT: u8 = 246;
/// Shine over more than this share of the surface: too little is seen.
const MAX_HIDDEN: f64 = 0.3;
/// Rim that is left out inside a drawn outline, px of the raster.
const RIM_LEFT_PX: usize = 3;
/// Narrowest surface, photo px; and the width below which it is said.
const MIN_FACE_PX: f64 = 120.0;
const SMALL_FACE_PX: f64 = 400.0;
/// Edge spread above which a photo is too soft, and above which it is said; photo px.
const MAX_EDGE_SIGMA_PX: f64 = 7.0;
const SOFT_EDGE_SIGMA_PX: f64 = 2.5;
/// Chroma below which a surface has no colour to tell grit by, and lightness below which bare metal is not bright.
const NO_CHROMA: f64 = 8.0;
const NOT_BRIGHT: f64 = 30.0;
/// The white's level below which it is said that there is little light, 8-bit.
const DIM_WHITE: f64 = 100.0;
/// The white's level from which it may be burnt out, 8-bit.
const BURNT_WHITE: f64 = 250.0;

/// A measured surface with what lays it beside another one.
#[derive(Debug, Clone)]
pub(crate) struct Measured {
    pub(crate) reading: FaceReading,
    pub(crate) photo: Photo,
    pub(crate) raster: Raster,
    /// 1 on the surface, holes and shine included.
    pub(crate) region: Vec<u8>,
    /// 1 on every mark.
    pub(crate) marks: Vec<u8>,
}

/// Measures a photo of a wear surface.
///
/// The same bytes and settings give the same document, byte for byte. It suggests; it never grades.
///
/// # Errors
/// Those of [`load_photo`]; `bad_setting`, `bad_bar`, `two_whites`; `bad_outline`, `outline_outside`, `outline_crosses`; `no_white` (neither card nor
/// a white shown), `bad_white` (the spot shown is outside the photo or uneven), `too_dark`; `no_face`, `which_face`, `face_too_small`,
/// `blurred`, `face_hidden` (shine over too much of it).
pub fn measure_face(bytes: &[u8], settings: &FaceSettings) -> Result<FaceReading, CoreError> {
    measured(bytes, settings).map(|measured| measured.reading)
}

pub(crate) fn measured(bytes: &[u8], settings: &FaceSettings) -> Result<Measured, CoreError> {
    settings.check()?;
    let photo = load_photo(bytes, &PhotoLimits::default())?;
    let size = [photo.width_px, photo.height_px];
    if let Some(outline) = &settings.outline_px {
        check_outline(outline, size)?;
    }
    let pose = locate_marks(&photo);
    let (NamedWhite { white, table }, pose) = find_white(&photo, pose, settings)?;
    let pose = pose.map(|pose| pose.printed(settings.bar_mm / BAR_MM));
    let (source, outline_px) = match &settings.outline_px {
        Some(outline) => (RegionSource::Outline, outline.clone()),
        None => (RegionSource::Colour, find_surface(&photo, &table)?),
    };
    // Where the outline does not lie in the card's plane, the card tells nothing about it.
    let raster = pose.as_ref().and_then(|pose| raster_of(&photo, Some(pose), &outline_px));
    let pose = raster.is_some().then_some(pose).flatten();
    let raster = raster.or_else(|| raster_of(&photo, None, &outline_px)).ok_or_else(|| too_small(0.0))?;
    let mut findings = Vec::new();
    check_size(&outline_px, &mut findings)?;
    let edge_sigma_px = edge_sigma(&raster, pose.as_ref(), &mut findings)?;

    let in_raster: Vec<[f64; 2]> = outline_px.iter().filter_map(|point| raster.place.raster_px(*point)).collect();
    let mut region = vec![0_u8; raster.width * raster.height];
    fill(&in_raster, raster.width, raster.height, &mut region, 1);
    if source == RegionSource::Outline {
        // A hand's outline runs over the edge here and there, and the edge itself is half of what lies around.
        spread(&mut region, raster.width, raster.height, RIM_LEFT_PX, false);
    }
    let region_px = count(&region);
    let seen = without_shine(&raster, &region);
    let hidden_share = 1.0 - count(&seen) / region_px.max(1.0);
    if region_px < 100.0 || hidden_share > MAX_HIDDEN {
        return Err(hidden(hidden_share));
    }
    let ground = learn(&raster, &seen, &table, settings.surface).ok_or_else(|| hidden(1.0))?;
    let own = super::colour::lab_of_linear(ground.own.map(f64::from));
    let marked = mark(&raster, &seen, &ground, &table);
    let scene = Scene { raster: &raster, inside: &seen, ground: &ground, table: &table, marked: &marked, edge_sigma: edge_sigma_px };
    let mut tally = Tally::new(&scene, settings, count(&seen));
    sort_marks(&scene, &mut tally);
    let marks = tally.painted();

    if hidden_share > 0.005 {
        findings.push(finding(FindingCode::Glare, hidden_share, 0.005));
    }
    say_light(&white, &mut findings);
    if pose.is_none() {
        findings.push(finding(FindingCode::NoCard, 0.0, 2.0));
    } else if is_off(settings.bar_mm) {
        findings.push(finding(FindingCode::BarOff, settings.bar_mm, BAR_MM));
    }
    let told = told_of(&ground, own, settings, &mut findings);
    let scale = pose.as_ref().map(|pose| scale_of(pose, &raster));
    let area_mm2 = raster.place.px_per_mm().map(|px_per_mm| rounded(region_px / (px_per_mm * px_per_mm), 1));
    let answer = tally.answer(hidden_share, scale.is_some(), &mut findings);
    let settings_value = serde_json::to_value(settings)
        .map_err(|error| CoreError::new(ErrorKind::Internal, "failed", "writing the settings failed", "report this").because(error))?;
    let reading = FaceReading {
        schema: FACE_SCHEMA.to_owned(),
        photo: PhotoFacts { sha256: photo.id.to_string(), width_px: size[0], height_px: size[1], taken_at: photo.taken_at.clone() },
        surface: ground.surface,
        scale,
        white,
        region: Region {
            source,
            area_px: rounded(polygon_area(&outline_px), 0),
            area_mm2,
            colour_lab: [own.l, own.a, own.b].map(|value| rounded(value, 2)),
            hidden_share: rounded(hidden_share, 4),
            outline_px: outline_px.iter().map(|point| point.map(|value| rounded(value, 1))).collect(),
        },
        grit: answer.grit.filter(|_| told.grit),
        scores: answer.scores,
        chips: answer.chips.filter(|_| told.chips),
        findings: findings.into_iter().map(|said| FaceFinding { value: rounded(said.value, 4), ..said }).collect(),
        last: None,
        method: Method { name: METHOD_NAME.to_owned(), settings: settings_value, version: METHOD_VERSION.to_owned() },
    };
    Ok(Measured { reading, photo, raster, region, marks })
}

/// Foreign stuff and chips first, then the thin lines that are left.
fn sort_marks(scene: &Scene<'_>, tally: &mut Tally<'_>) {
    let (width, height) = (scene.raster.width, scene.raster.height);
    let mut owned = vec![0_u8; width * height];
    for patch in patches(scene.marked, |value| value & FOREIGN != 0, width, height, 4) {
        for mark in scene.refined(&patch, &mut owned, true) {
            tally.take(mark);
        }
    }
    let mut lines: Vec<u8> = scene.marked.iter().zip(&owned).map(|(marked, owned)| u8::from(marked & LINE != 0 && *owned == 0)).collect();
    for grow in [true, false] {
        spread(&mut lines, width, height, 1, grow);
    }
    for patch in patches(&lines, |value| value != 0, width, height, 24) {
        let Some(shape) = patch.shape() else { continue };
        // Most of these are the fringes of something wide.
        let rough = Mark { mask: patch, shape, difference: 0.0, sharp: 1.0, bright: false };
        if tally.is_line(&rough, 4.0, 0.3) {
            for mark in scene.refined(&rough.mask, &mut owned, false) {
                tally.take_line(mark);
            }
        }
    }
}

/// What the surface's own colour allows to be told.
struct Told {
    grit: bool,
    chips: bool,
}

fn told_of(ground: &Ground, own: super::colour::Lab, settings: &FaceSettings, findings: &mut Vec<FaceFinding>) -> Told {
    let told = match ground.surface {
        Surface::Coloured => Told { grit: own.chroma() >= NO_CHROMA, chips: false },
        Surface::Metal => Told { grit: false, chips: settings.surface == Some(Surface::Metal) || own.l >= NOT_BRIGHT },
    };
    if !told.grit && !told.chips {
        findings.insert(0, finding(FindingCode::NoColour, own.chroma(), NO_CHROMA));
    }
    told
}

fn say_light(white: &White, findings: &mut Vec<FaceFinding>) {
    let highest = white.srgb.iter().copied().fold(0.0, f64::max);
    if highest >= BURNT_WHITE {
        findings.push(finding(FindingCode::WhiteBurnt, highest, BURNT_WHITE));
    }
    let level = (white.srgb[0] + 2.0 * white.srgb[1] + white.srgb[2]) / 4.0;
    if level < DIM_WHITE && white.source != super::reading::WhiteSource::Grey {
        findings.push(finding(FindingCode::Dark, level, DIM_WHITE));
    }
}

fn scale_of(pose: &CardPose, raster: &Raster) -> FaceScale {
    let middle = [raster.width as f64 / 2.0, raster.height as f64 / 2.0];
    let px_per_mm = raster.place.px_per_mm().unwrap_or(f64::NAN) * raster.place.photo_px_per_px(middle);
    FaceScale { px_per_mm: rounded(px_per_mm, 4), residual_mm: rounded(pose.residual_mm, 5), marks_found: pose.marks_found }
}

fn count(mask: &[u8]) -> f64 {
    mask.iter().filter(|value| **value != 0).count() as f64
}

/// The region without what shine burnt out, and a rim around that.
fn without_shine(raster: &Raster, region: &[u8]) -> Vec<u8> {
    let mut shine: Vec<u8> = raster
        .rgb
        .as_chunks::<3>()
        .0
        .iter()
        .zip(region)
        .map(|(pixel, inside)| u8::from(*inside != 0 && pixel.iter().all(|value| *value >= BURNT)))
        .collect();
    if shine.contains(&1) {
        spread(&mut shine, raster.width, raster.height, 3, true);
    }
    region.iter().zip(shine).map(|(inside, shine)| u8::from(*inside != 0 && shine == 0)).collect()
}

fn hidden(share: f64) -> CoreError {
    let reason = format!("shine hides {:.0} % of the surface, more than {:.0} %", 100.0 * share, 100.0 * MAX_HIDDEN);
    CoreError::refused("face_hidden", reason, "shade the part with your body, switch the flash off, and photograph it from another side")
}

fn too_small(width_px: f64) -> CoreError {
    let reason = format!("the surface is {width_px:.0} px wide in the photo, less than {MIN_FACE_PX:.0}");
    CoreError::refused("face_too_small", reason, "go closer until the part fills half of the picture, with the card beside it")
}

fn check_size(outline_px: &[[f64; 2]], findings: &mut Vec<FaceFinding>) -> Result<(), CoreError> {
    let hull = crate::debris::measure::convex_hull(outline_px.to_vec());
    let (narrow, _) = crate::debris::measure::feret(&hull);
    // A bay-ridden outline may be wide and hold nothing.
    let width = narrow.min(polygon_area(outline_px).sqrt());
    if width < MIN_FACE_PX {
        return Err(too_small(width));
    }
    if width < SMALL_FACE_PX {
        findings.push(finding(FindingCode::FaceSmall, width, SMALL_FACE_PX));
    }
    Ok(())
}

/// Spread of a sharp edge in the raster, px, its smoothing included.
fn edge_sigma(raster: &Raster, pose: Option<&CardPose>, findings: &mut Vec<FaceFinding>) -> Result<f64, CoreError> {
    let middle = [raster.width as f64 / 2.0, raster.height as f64 / 2.0];
    let step = raster.place.photo_px_per_px(middle);
    // The card says how sharp the photo is. Without it the sharpest edges on the surface do, where there are any.
    let of_photo = match pose {
        Some(pose) => pose.sharpness.edge_sigma_px,
        None => {
            let window = WindowImage {
                width_px: raster.width as u32,
                height_px: raster.height as u32,
                px_per_mm: 1.0,
                rgb: raster.rgb.clone(),
                white: None,
                edge_sigma_px: None,
                sight: None,
            };
            let smoothed = sharpness_of_strong_edges(&window).edge_sigma_px;
            if smoothed > 0.0 { (smoothed * smoothed - 0.5).max(0.36).sqrt() * step } else { 1.2 }
        }
    };
    if of_photo > MAX_EDGE_SIGMA_PX {
        let reason = format!("edges are spread over {of_photo:.1} px, more than {MAX_EDGE_SIGMA_PX:.1} px");
        return Err(CoreError::refused(
            "blurred",
            reason,
            "hold the phone still with both hands, touch the part on the screen to focus, and wipe the lens",
        ));
    }
    if of_photo > SOFT_EDGE_SIGMA_PX {
        findings.push(finding(FindingCode::Blur, of_photo, SOFT_EDGE_SIGMA_PX));
    }
    let in_raster = of_photo / step;
    Ok((in_raster * in_raster + 0.5).sqrt())
}
