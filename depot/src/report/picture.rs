//! A drawing as a file: SVG, or PNG by the file's name.

use std::path::Path;

use gritbook_core::{CoreError, ErrorKind};
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg;

use super::chart::{Drawing, Palette, to_svg};
use super::fonts::svg_options;

/// A PNG is drawn this much larger than its CSS pixels, so that it is sharp on a phone.
const PNG_SCALE: f32 = 2.0;

/// The drawing's bytes for a file of this name, by day.
///
/// # Errors
/// `bad_picture_name` where the name ends neither in `.svg` nor in `.png`.
pub fn picture(path: &Path, drawing: &Drawing) -> Result<Vec<u8>, CoreError> {
    let svg = to_svg(drawing, &Palette::DAY);
    match path.extension().and_then(|end| end.to_str()).map(str::to_ascii_lowercase).as_deref() {
        Some("svg") => Ok(svg.into_bytes()),
        Some("png") => png(&svg),
        _ => Err(CoreError::refused(
            "bad_picture_name",
            format!("`{}` ends neither in .svg nor in .png", path.display()),
            "name the picture with one of the two",
        )),
    }
}

fn png(svg: &str) -> Result<Vec<u8>, CoreError> {
    let failed = |reason: String| CoreError::new(ErrorKind::Internal, "failed", reason, "report this with what was drawn");
    let tree = usvg::Tree::from_str(svg, &svg_options()).map_err(|error| failed(format!("the drawing is not readable: {error}")))?;
    let size = tree.size();
    let [width, height] = [size.width(), size.height()].map(|side| (side * PNG_SCALE).round() as u32);
    let mut pixmap = Pixmap::new(width, height).ok_or_else(|| failed("the picture has no pixels".to_owned()))?;
    resvg::render(&tree, Transform::from_scale(PNG_SCALE, PNG_SCALE), &mut pixmap.as_mut());
    pixmap.encode_png().map_err(|error| failed(format!("the PNG cannot be written: {error}")))
}
