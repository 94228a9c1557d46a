//! The overlay: the window as read, with every counted grain outlined, so that a mechanic can see what was counted.
//!
//! Whole grains wear the violet outline; a lump a double one and its name; what was left out of the gradation because the
//! window's border cuts it is dashed in ink. Below the picture: the answer in words and a 5 mm bar. No colour carries a verdict.

use std::fmt::Write as _;

use gritbook_core::debris::reading::{Grain, GrainKind, Reading};
use gritbook_core::debris::window::WindowImage;
use gritbook_core::{CoreError, ErrorKind};
use resvg::tiny_skia::{Pixmap, PremultipliedColorU8, Transform};
use resvg::usvg;

use super::fonts::svg_options;
use super::words::{level_sentence, measure_sentence};

const INK: &str = "#16181A";
const PENCIL: &str = "#4F5256";
const PAPER: &str = "#FBF8F1";
const VIOLET: &str = "#3B2F8F";
/// The picture is drawn at least this wide, so that outlines of small windows are still lines, px.
const LEAST_WIDTH_PX: u32 = 1200;

/// Draws the overlay as PNG.
///
/// `outlines_mm` gives each grain's outline, in the order of the reading's grains.
///
/// # Errors
/// `failed` (internal) where the picture cannot be drawn.
pub fn overlay_png(reading: &Reading, window: &WindowImage, outlines_mm: &[Vec<[f64; 2]>]) -> Result<Vec<u8>, CoreError> {
    let grow = LEAST_WIDTH_PX.div_ceil(window.width_px).max(1);
    let (width, picture_height) = (window.width_px * grow, window.height_px * grow);
    let unit = f64::from(width) / 1000.0;
    let footer = (128.0 * unit).round() as u32;
    let height = picture_height + footer;
    let mut pixmap = Pixmap::new(width, height).ok_or_else(|| internal("the picture has no pixels"))?;
    paint_window(&mut pixmap, window, grow);
    let svg = drawing(reading, outlines_mm, [f64::from(width), f64::from(picture_height), f64::from(height)], unit);
    let tree =
        usvg::Tree::from_str(&svg, &svg_options()).map_err(|error| internal(&format!("the overlay's drawing is not readable: {error}")))?;
    resvg::render(&tree, Transform::identity(), &mut pixmap.as_mut());
    pixmap.encode_png().map_err(|error| internal(&format!("the PNG cannot be written: {error}")))
}

fn internal(reason: &str) -> CoreError {
    CoreError::new(ErrorKind::Internal, "failed", reason, "report this with the photo that led to it")
}

fn paint_window(pixmap: &mut Pixmap, window: &WindowImage, grow: u32) {
    let width = (window.width_px * grow) as usize;
    let (source_width, grow) = (window.width_px as usize, grow as usize);
    for (index, pixel) in pixmap.pixels_mut().iter_mut().enumerate() {
        let (x, y) = (index % width / grow, index / width / grow);
        let colour = if y < window.height_px as usize {
            let at = 3 * (y * source_width + x);
            [window.rgb[at], window.rgb[at + 1], window.rgb[at + 2]]
        } else {
            [0xFB, 0xF8, 0xF1]
        };
        if let Some(opaque) = PremultipliedColorU8::from_rgba(colour[0], colour[1], colour[2], 255) {
            *pixel = opaque;
        }
    }
}

fn drawing(reading: &Reading, outlines_mm: &[Vec<[f64; 2]>], size_px: [f64; 3], unit: f64) -> String {
    let [width, picture_height, height] = size_px;
    let scale = width / reading.scale.window_mm[0];
    let mut svg = format!(r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}">"#);
    // A paper-coloured line under each outline keeps it readable on dark stones.
    for (grain, outline) in reading.grains.iter().zip(outlines_mm) {
        let path = path_of(outline, scale);
        let (colour, thick, dash) =
            if grain.cut { (INK, 1.6, format!(r#" stroke-dasharray="{0:.1} {0:.1}""#, 5.0 * unit)) } else { (VIOLET, 1.6, String::new()) };
        if grain.kind == GrainKind::Lump {
            let _ = write!(svg, r#"<path d="{path}" fill="none" stroke="{colour}" stroke-width="{:.2}"/>"#, 7.0 * unit);
        }
        let _ = write!(svg, r#"<path d="{path}" fill="none" stroke="{PAPER}" stroke-opacity="0.85" stroke-width="{:.2}"/>"#, 3.2 * unit);
        let _ = write!(svg, r#"<path d="{path}" fill="none" stroke="{colour}" stroke-width="{:.2}"{dash}/>"#, thick * unit);
    }
    for (grain, words) in named(reading) {
        let (x, y) = (grain.x_mm * scale, grain.y_mm * scale);
        let reach = grain.feret_max_mm / 2.0 * scale + 8.0 * unit;
        let size = 26.0 * unit;
        // Words go to the side that has room, and stay inside the picture.
        let (anchor, at) = if x > width * 0.6 { ("end", x - reach) } else { ("start", x + reach) };
        let base = (y + size * 0.35).clamp(size * 1.2, picture_height - size * 0.5);
        let _ = write!(
            svg,
            r#"<text x="{at:.1}" y="{base:.1}" text-anchor="{anchor}" font-size="{size:.1}" font-weight="bold" fill="{INK}" stroke="{PAPER}" stroke-width="{:.1}" stroke-linejoin="round" paint-order="stroke">{words}</text>"#,
            6.0 * unit
        );
    }
    let bar = 5.0 * scale;
    let (left, line) = (28.0 * unit, picture_height + 40.0 * unit);
    let _ = write!(
        svg,
        r#"<text x="{left:.1}" y="{:.1}" font-size="{:.1}" font-weight="bold" fill="{INK}">{}</text><text x="{left:.1}" y="{:.1}" font-size="{:.1}" fill="{PENCIL}">{}</text>"#,
        line + 6.0 * unit,
        34.0 * unit,
        level_sentence(reading),
        line + 46.0 * unit,
        22.0 * unit,
        measure_sentence(reading),
    );
    let left_out = reading.grains.iter().filter(|grain| grain.cut).count();
    if left_out > 0 {
        let _ = write!(
            svg,
            r#"<text x="{left:.1}" y="{:.1}" font-size="{:.1}" fill="{PENCIL}">Dashed: cut by the border, not in the sizes ({left_out}).</text>"#,
            line + 76.0 * unit,
            19.0 * unit
        );
    }
    let (right, foot) = (width - 28.0 * unit, picture_height + 62.0 * unit);
    let _ = write!(
        svg,
        r#"<path d="M{0:.1} {1:.1}V{2:.1}H{3:.1}V{1:.1}" fill="none" stroke="{INK}" stroke-width="{4:.1}"/><text x="{5:.1}" y="{6:.1}" text-anchor="middle" font-size="{7:.1}" fill="{INK}">5 mm</text>"#,
        right - bar,
        foot - 12.0 * unit,
        foot,
        right,
        3.0 * unit,
        right - bar / 2.0,
        foot + 30.0 * unit,
        24.0 * unit,
    );
    svg.push_str("</svg>");
    svg
}

/// The lumps (up to five), the largest single grain and what may be a lump (up to three), with their size in words.
fn named(reading: &Reading) -> Vec<(&Grain, String)> {
    let mut lumps: Vec<&Grain> = reading.grains.iter().filter(|grain| grain.kind == GrainKind::Lump).collect();
    lumps.sort_by(|a, b| b.ecd_mm.total_cmp(&a.ecd_mm));
    let mut list: Vec<(&Grain, String)> = lumps.into_iter().take(5).map(|grain| (grain, format!("lump {:.1} mm", grain.ecd_mm))).collect();
    let largest = reading.grains.iter().filter(|grain| grain.kind == GrainKind::Grain).max_by(|a, b| a.ecd_mm.total_cmp(&b.ecd_mm));
    list.extend(
        largest.map(|grain| (grain, format!("largest{} {:.1} mm", if grain.may_be_lump { ", a lump?" } else { "" }, grain.ecd_mm))),
    );
    let asked = |grain: &&Grain| grain.may_be_lump && largest.is_none_or(|largest| !std::ptr::eq(*grain, largest));
    let mut maybe: Vec<&Grain> = reading.grains.iter().filter(asked).collect();
    maybe.sort_by(|a, b| b.ecd_mm.total_cmp(&a.ecd_mm));
    list.extend(maybe.into_iter().take(3).map(|grain| (grain, format!("a lump? {:.1} mm", grain.ecd_mm))));
    list
}

fn path_of(outline: &[[f64; 2]], scale: f64) -> String {
    let mut path = String::with_capacity(outline.len() * 12);
    for (index, [x, y]) in outline.iter().enumerate() {
        let _ = write!(path, "{}{:.1} {:.1}", if index == 0 { "M" } else { "L" }, x * scale, y * scale);
    }
    path.push('Z');
    path
}
