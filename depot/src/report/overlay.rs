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

use super::beside::{Rect, beside};
use super::chart::width_of;
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
    let named = named(&reading.grains);
    let is_named = |grain: &Grain| named.iter().any(|(one, _)| std::ptr::eq(*one, grain));
    // A paper-coloured line under each outline keeps it readable on dark stones. A single grain that words name has a stronger one: of
    // two neighbours it is clear which is meant.
    for (grain, outline) in reading.grains.iter().zip(outlines_mm) {
        let path = path_of(outline, scale);
        let thick = if grain.kind == GrainKind::Grain && is_named(grain) { 2.8 } else { 1.6 };
        let (colour, dash) =
            if grain.cut { (INK, format!(r#" stroke-dasharray="{0:.1} {0:.1}""#, 5.0 * unit)) } else { (VIOLET, String::new()) };
        if grain.kind == GrainKind::Lump {
            let _ = write!(svg, r#"<path d="{path}" fill="none" stroke="{colour}" stroke-width="{:.2}"/>"#, 7.0 * unit);
        }
        let _ = write!(
            svg,
            r#"<path d="{path}" fill="none" stroke="{PAPER}" stroke-opacity="0.85" stroke-width="{:.2}"/>"#,
            2.0 * thick * unit
        );
        let _ = write!(svg, r#"<path d="{path}" fill="none" stroke="{colour}" stroke-width="{:.2}"{dash}/>"#, thick * unit);
    }
    let size = 26.0 * unit;
    let body = |grain: &Grain| Rect::around([grain.x_mm * scale, grain.y_mm * scale], [grain.feret_max_mm / 2.0 * scale; 2]);
    let words: Vec<_> = named.iter().map(|(grain, words)| (body(grain), [width_of(words, size), 1.2 * size])).collect();
    let others: Vec<Rect> = reading.grains.iter().filter(|grain| !is_named(grain)).map(body).collect();
    for ((_, words), at) in named.iter().zip(beside(&words, &others, [width, picture_height], 8.0 * unit)) {
        let _ = write!(
            svg,
            r#"<text x="{:.1}" y="{:.1}" text-anchor="middle" font-size="{size:.1}" font-weight="bold" fill="{INK}" stroke="{PAPER}" stroke-width="{:.1}" stroke-linejoin="round" paint-order="stroke">{words}</text>"#,
            f64::midpoint(at.left, at.right),
            f64::midpoint(at.top, at.foot) + 0.35 * size,
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
fn named(grains: &[Grain]) -> Vec<(&Grain, String)> {
    let largest_first = |wanted: &dyn Fn(&&Grain) -> bool| {
        let mut list: Vec<&Grain> = grains.iter().filter(wanted).collect();
        list.sort_by(|a, b| b.ecd_mm.total_cmp(&a.ecd_mm));
        list
    };
    let say = |words: &str, grain: &Grain| format!("{words} {:.1} mm", grain.ecd_mm);
    let lumps = largest_first(&|grain| grain.kind == GrainKind::Lump);
    let mut list: Vec<(&Grain, String)> = lumps.into_iter().take(5).map(|grain| (grain, say("lump", grain))).collect();
    let single = largest_first(&|grain| grain.kind == GrainKind::Grain);
    let Some((largest, others)) = single.split_first() else { return list };
    list.push((largest, say(if largest.may_be_lump { "largest, a lump?" } else { "largest" }, largest)));
    let maybe = others.iter().filter(|grain| grain.may_be_lump).take(3);
    list.extend(maybe.map(|grain| (*grain, say("a lump?", grain))));
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

#[cfg(test)]
mod tests {
    use super::*;

    fn grain(ecd_mm: f64, kind: GrainKind, may_be_lump: bool) -> Grain {
        Grain {
            x_mm: 30.0,
            y_mm: 30.0,
            ecd_mm,
            feret_min_mm: ecd_mm,
            feret_max_mm: ecd_mm,
            area_mm2: std::f64::consts::FRAC_PI_4 * ecd_mm * ecd_mm,
            circularity: 1.0,
            solidity: 1.0,
            kind,
            may_be_lump,
            cut: false,
            outline_mm: None,
        }
    }

    #[test]
    fn lumps_the_largest_and_what_may_be_a_lump_are_named_and_nothing_else() {
        let words = |grains: &[Grain]| named(grains).into_iter().map(|(_, words)| words).collect::<Vec<_>>();
        let grains: Vec<Grain> = [(1.0, false), (2.5, true), (4.0, false), (3.0, false), (2.1, true), (2.2, true), (2.3, true)]
            .map(|(ecd_mm, may_be_lump)| grain(ecd_mm, GrainKind::Grain, may_be_lump))
            .into_iter()
            .chain([grain(2.0, GrainKind::Lump, false), grain(6.0, GrainKind::Lump, false)])
            .collect();
        assert_eq!(words(&grains), ["lump 6.0 mm", "lump 2.0 mm", "largest 4.0 mm", "a lump? 2.5 mm", "a lump? 2.3 mm", "a lump? 2.2 mm"]);
        assert_eq!(
            words(&[grain(3.0, GrainKind::Grain, true), grain(2.4, GrainKind::Grain, true)]),
            ["largest, a lump? 3.0 mm", "a lump? 2.4 mm"]
        );
        assert!(words(&[]).is_empty());
    }
}
