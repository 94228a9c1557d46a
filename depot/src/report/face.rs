//! The picture of a measured wear surface: what was counted is outlined, the share stands in big type, the last photo lies beside it.
//!
//! Grit wears the thin violet outline, scores a thick one, chips a dashed one in ink. No colour carries a verdict, and no grade is named.

use std::fmt::Write as _;

use gritbook_core::debris::pose::homography_of;
use gritbook_core::face::FaceOutcome;
use gritbook_core::face::reading::{FaceReading, MarkedRegion};
use gritbook_core::face::words::{SUGGESTS, lines, more_words, share_words};
use gritbook_core::photo::Photo;
use gritbook_core::{CoreError, ErrorKind};
use resvg::tiny_skia::{Pixmap, PremultipliedColorU8, Transform};
use resvg::usvg;

use super::fonts::svg_options;

const INK: &str = "#16181A";
const PENCIL: &str = "#4F5256";
const PAPER: &str = "#FBF8F1";
const VIOLET: &str = "#3B2F8F";
/// Width of a panel that shows a photo, and of the gap around panels, px.
const PANEL_PX: f64 = 1000.0;
const GAP_PX: f64 = 24.0;
/// Letters on a line of small words under one panel.
const LETTERS: usize = 84;

/// The part of the photo that is shown: px of the photo at its upper left, and photo px along a pixel of the panel.
struct Crop {
    origin: [f64; 2],
    step: f64,
    size: [u32; 2],
}

/// Draws the picture as PNG.
///
/// # Errors
/// `failed` (internal) where the picture cannot be drawn.
pub fn face_png(outcome: &FaceOutcome) -> Result<Vec<u8>, CoreError> {
    let reading = &outcome.reading;
    let crop = crop_of(reading);
    let panels = if outcome.last.is_some() { 2.0 } else { 1.0 };
    let width = (panels * (f64::from(crop.size[0]) + GAP_PX) + GAP_PX).ceil();
    let words = small_words(reading);
    let head = 190.0;
    let height = (GAP_PX + f64::from(crop.size[1]) + head + 34.0 * words.len().max(1) as f64 + 2.0 * GAP_PX).ceil();
    let mut pixmap = Pixmap::new(width as u32, height as u32).ok_or_else(|| internal("the picture has no pixels"))?;
    pixmap.fill(resvg::tiny_skia::Color::from_rgba8(0xFB, 0xF8, 0xF1, 0xFF));
    let at = |point: [f64; 2]| [0, 1].map(|axis| crop.origin[axis] + point[axis] * crop.step);
    panel(&mut pixmap, GAP_PX as u32, &crop, |point| colour(&outcome.photo, at(point), crop.step));
    if let Some(last) = &outcome.last {
        let left = (2.0 * GAP_PX) as u32 + crop.size[0];
        let back = reading.last.as_ref().and_then(|beside| beside.alignment.as_ref()).and_then(|found| inverse(&found.last_to_this));
        match back {
            Some(back) => panel(&mut pixmap, left, &crop, |point| colour(last, mapped(&back, at(point)), crop.step)),
            None => {
                // Not laid over: shown whole, as it is.
                let step = (f64::from(last.width_px) / f64::from(crop.size[0])).max(f64::from(last.height_px) / f64::from(crop.size[1]));
                panel(&mut pixmap, left, &crop, |point| colour(last, point.map(|value| value * step), step));
            }
        }
    }
    let svg = drawing(reading, &crop, [width, height], &words, outcome.last.is_some());
    let tree = usvg::Tree::from_str(&svg, &svg_options()).map_err(|error| internal(&format!("the drawing is not readable: {error}")))?;
    resvg::render(&tree, Transform::identity(), &mut pixmap.as_mut());
    pixmap.encode_png().map_err(|error| internal(&format!("the PNG cannot be written: {error}")))
}

fn internal(reason: &str) -> CoreError {
    CoreError::new(ErrorKind::Internal, "failed", reason, "report this with the photo that led to it")
}

/// The surface with a little around it, inside the photo.
fn crop_of(reading: &FaceReading) -> Crop {
    let points = &reading.region.outline_px;
    let bound = |axis: usize, limit: u32| {
        let low = points.iter().map(|point| point[axis]).fold(f64::INFINITY, f64::min);
        let high = points.iter().map(|point| point[axis]).fold(f64::NEG_INFINITY, f64::max);
        let margin = 0.04 * (high - low);
        ((low - margin).max(0.0), (high + margin).min(f64::from(limit)))
    };
    let ((left, right), (top, bottom)) = (bound(0, reading.photo.width_px), bound(1, reading.photo.height_px));
    let step = ((right - left) / PANEL_PX).max((bottom - top) / PANEL_PX);
    Crop { origin: [left, top], step, size: [right - left, bottom - top].map(|side| (side / step).round().max(1.0) as u32) }
}

fn panel(pixmap: &mut Pixmap, left: u32, crop: &Crop, colour: impl Fn([f64; 2]) -> [u8; 3]) {
    let stride = pixmap.width() as usize;
    let top = GAP_PX as usize;
    for row in 0..crop.size[1] as usize {
        for column in 0..crop.size[0] as usize {
            let [r, g, b] = colour([column as f64 + 0.5, row as f64 + 0.5]);
            if let Some(opaque) = PremultipliedColorU8::from_rgba(r, g, b, 255)
                && let Some(pixel) = pixmap.pixels_mut().get_mut((top + row) * stride + left as usize + column)
            {
                *pixel = opaque;
            }
        }
    }
}

/// Mean colour of the photo over a square of `step` px about a point; paper outside the photo.
fn colour(photo: &Photo, [x, y]: [f64; 2], step: f64) -> [u8; 3] {
    let samples = step.ceil().clamp(1.0, 6.0) as usize;
    let mut sums = [0_u32; 3];
    for row in 0..samples {
        for column in 0..samples {
            let shift = |index: usize| ((index as f64 + 0.5) / samples as f64 - 0.5) * step;
            let (px, py) = (x + shift(column), y + shift(row));
            if !(px >= 0.0 && py >= 0.0 && px < f64::from(photo.width_px) && py < f64::from(photo.height_px)) {
                return [0xFB, 0xF8, 0xF1];
            }
            let at = (py as usize * photo.width_px as usize + px as usize) * 3;
            for (sum, value) in sums.iter_mut().zip(&photo.rgb[at..at + 3]) {
                *sum += u32::from(*value);
            }
        }
    }
    sums.map(|sum| (sum / (samples * samples) as u32) as u8)
}

fn mapped(h: &[[f64; 3]; 3], [x, y]: [f64; 2]) -> [f64; 2] {
    let [u, v, w] = [0, 1, 2].map(|row| h[row][0] * x + h[row][1] * y + h[row][2]);
    [u / w, v / w]
}

/// The way back of a homography, by where it sends four points.
fn inverse(h: &[[f64; 3]; 3]) -> Option<[[f64; 3]; 3]> {
    let from = [[0.0, 0.0], [1000.0, 0.0], [1000.0, 1000.0], [0.0, 1000.0]];
    let back = homography_of(&from.map(|point| mapped(h, point)), &from)?;
    Some([0, 1, 2].map(|row| [0, 1, 2].map(|column| back[(row, column)])))
}

/// Lines of the answer that do not stand in big type, broken to fit.
fn small_words(reading: &FaceReading) -> Vec<String> {
    let first = usize::from(reading.grit.is_some() || reading.chips.is_some());
    let more = more_of(reading);
    let mut broken = Vec::new();
    for (line, _) in lines(reading)
        .into_iter()
        .skip(first)
        .filter(|(line, _)| line != SUGGESTS.0 && !line.starts_with("Last time:") && Some(line.as_str()) != more)
    {
        let mut row = String::new();
        for word in line.split(' ') {
            if !row.is_empty() && row.chars().count() + 1 + word.chars().count() > LETTERS {
                broken.push(std::mem::take(&mut row));
            }
            if !row.is_empty() {
                row.push(' ');
            }
            row.push_str(word);
        }
        broken.push(row);
    }
    broken
}

/// More than last time, where there was one.
fn more_of(reading: &FaceReading) -> Option<&'static str> {
    reading.last.as_ref().map(|last| more_words(reading.surface, last.more).0)
}

fn drawing(reading: &FaceReading, crop: &Crop, [width, height]: [f64; 2], words: &[String], two: bool) -> String {
    let mut svg = format!(r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}">"#);
    let path = |outline: &[[f64; 2]]| {
        let mut path = String::with_capacity(outline.len() * 12);
        for (index, point) in outline.iter().enumerate() {
            let [x, y] = [0, 1].map(|axis| (point[axis] - crop.origin[axis]) / crop.step + GAP_PX);
            let _ = write!(path, "{}{x:.1} {y:.1}", if index == 0 { "M" } else { "L" });
        }
        path.push('Z');
        path
    };
    let mut outlined = |regions: &[MarkedRegion], strokes: &[(&str, f64, &str)]| {
        for region in regions {
            let path = path(&region.outline_px);
            for (colour, thick, dash) in strokes {
                let _ = write!(svg, r#"<path d="{path}" fill="none" stroke="{colour}" stroke-width="{thick}" {dash}/>"#);
            }
        }
    };
    outlined(reading.grit.as_ref().map_or(&[], |grit| &grit.regions), &[(PAPER, 3.0, ""), (VIOLET, 1.5, "")]);
    outlined(&reading.scores.regions, &[(PAPER, 5.0, ""), (VIOLET, 2.5, "")]);
    outlined(reading.chips.as_ref().map_or(&[], |chips| &chips.regions), &[(PAPER, 4.0, ""), (INK, 2.0, r#"stroke-dasharray="9 6""#)]);
    let edge = path(&reading.region.outline_px);
    let _ = write!(
        svg,
        r#"<path d="{edge}" fill="none" stroke="{PAPER}" stroke-width="4" stroke-opacity="0.8"/><path d="{edge}" fill="none" stroke="{INK}" stroke-width="1.5"/>"#
    );
    let top = GAP_PX + f64::from(crop.size[1]);
    let share = reading
        .grit
        .as_ref()
        .map(|grit| (grit.share, "under grit"))
        .or_else(|| reading.chips.as_ref().map(|chips| (chips.share, "chipped or dull")));
    let big = |svg: &mut String, x: f64, figure: &str, beside: &str, colour: &str| {
        let _ = write!(
            svg,
            r#"<text x="{x}" y="{0}" font-size="110" font-weight="bold" fill="{colour}">{figure}</text><text x="{x}" y="{1}" font-size="34" fill="{INK}">{beside}</text>"#,
            top + 112.0,
            top + 160.0
        );
    };
    let halves = |(figures, _): (String, String)| {
        figures.split_once(" (").map_or((figures.clone(), String::new()), |(figure, rest)| (figure.to_owned(), format!("({rest}")))
    };
    match share {
        Some((share, what)) => {
            let (figure, interval) = halves(share_words(&share));
            big(&mut svg, GAP_PX, &figure, &format!("{what} {interval}"), VIOLET);
        }
        None => big(&mut svg, GAP_PX, "?", "grit cannot be told here", INK),
    }
    if two {
        let x = 2.0 * GAP_PX + f64::from(crop.size[0]);
        match reading.last.as_ref().and_then(|last| last.share) {
            Some(share) => {
                let (figure, interval) = halves(share_words(&share));
                big(&mut svg, x, &figure, &format!("last time {interval}"), INK);
            }
            None => big(&mut svg, x, "?", "last time", INK),
        }
    }
    if let Some(more) = more_of(reading) {
        let x = 2.0 * GAP_PX + f64::from(crop.size[0]);
        let _ = write!(svg, r#"<text x="{x}" y="{}" font-size="38" font-weight="bold" fill="{INK}">{more}</text>"#, top + 216.0);
    }
    for (index, line) in words.iter().enumerate() {
        let y = top + 200.0 + 34.0 * index as f64;
        let _ = write!(svg, r#"<text x="{GAP_PX}" y="{y}" font-size="25" fill="{INK}">{}</text>"#, escaped(line));
    }
    let _ = write!(
        svg,
        r#"<text x="{}" y="{}" text-anchor="end" font-size="22" fill="{PENCIL}">{}</text></svg>"#,
        width - GAP_PX,
        height - 14.0,
        escaped(SUGGESTS.0)
    );
    svg
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}
