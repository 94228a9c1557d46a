//! The one way a photo enters: hash, signature, limits, strict decoding, orientation.

use std::io::Cursor;
use std::panic::{AssertUnwindSafe, catch_unwind};

use image::{DynamicImage, ImageDecoder as _, Limits};
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

use super::Photo;
use super::container::{Fault, Kind, Outline, outline};
use super::exif_facts::ExifFacts;
use crate::error::CoreError;
use crate::ids::Sha256Hex;

/// What a photo may cost, checked before memory is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PhotoLimits {
    /// Largest file, bytes.
    pub max_bytes: usize,
    /// Largest picture, pixels.
    pub max_pixels: u64,
    /// Shortest side that can still show anything, px.
    pub min_side_px: u32,
}

impl Default for PhotoLimits {
    /// 64 MB, 64 megapixels, 64 px.
    fn default() -> Self {
        Self { max_bytes: 64_000_000, max_pixels: 64_000_000, min_side_px: 64 }
    }
}

/// Decodes a JPEG or PNG file to an upright photo.
///
/// Peak memory is the RGB picture once, twice where it lies on its side. A flipped bit inside the picture's data may go
/// unseen: only the hash can tell.
///
/// # Errors
/// `not_a_photo`, `cut_off_file` (the end is missing, or the data break off inside), `too_big`, `too_small`.
pub fn load_photo(bytes: &[u8], limits: &PhotoLimits) -> Result<Photo, CoreError> {
    if bytes.len() > limits.max_bytes {
        let reason = format!("the file has {} bytes, more than {}", bytes.len(), limits.max_bytes);
        return Err(CoreError::refused("too_big", reason, "take the photo at the camera's ordinary size"));
    }
    let outline = outline(bytes).map_err(refuse)?;
    check_size(&outline, limits)?;
    let rgb = match outline.kind {
        Kind::Jpeg => decode_jpeg(&outline)?,
        Kind::Png => decode_png(&outline, limits)?,
    };
    let expected = outline.width_px as usize * outline.height_px as usize * 3;
    if rgb.len() != expected {
        return Err(not_a_photo("the picture's data do not fill its size"));
    }
    let facts = ExifFacts::read(outline.exif);
    let (width_px, height_px, rgb) = upright(rgb, outline.width_px, outline.height_px, facts.orientation);
    Ok(Photo { id: Sha256Hex::of(bytes), width_px, height_px, rgb, taken_at: facts.taken_at })
}

fn refuse(fault: Fault) -> CoreError {
    match fault {
        Fault::NotAPhoto(reason) => not_a_photo(reason),
        Fault::CutOff => cut_off("the file ends before the picture does"),
    }
}

fn not_a_photo(reason: impl Into<String>) -> CoreError {
    CoreError::refused("not_a_photo", reason, "choose a photo as the camera saved it, JPEG or PNG")
}

fn cut_off(reason: impl Into<String>) -> CoreError {
    CoreError::refused("cut_off_file", reason, "copy the photo again, or take a new one")
}

fn check_size(outline: &Outline<'_>, limits: &PhotoLimits) -> Result<(), CoreError> {
    let (width, height) = (outline.width_px, outline.height_px);
    if width == 0 || height == 0 {
        return Err(not_a_photo(format!("the file says its picture is {width} x {height} px")));
    }
    if u64::from(width) * u64::from(height) > limits.max_pixels {
        let reason = format!("{width} x {height} px is more than {:.0} megapixels", limits.max_pixels as f64 / 1e6);
        return Err(CoreError::refused("too_big", reason, "take the photo at the camera's ordinary size"));
    }
    if width.min(height) < limits.min_side_px {
        let reason = format!("{width} x {height} px: a side has fewer than {} px", limits.min_side_px);
        return Err(CoreError::refused("too_small", reason, "send the photo as the camera saved it, not a preview"));
    }
    Ok(())
}

/// From this width on, a row of blocks takes more bytes than the decoder reads ahead (8), whatever its code.
const END_CHECK_MIN_WIDTH_PX: u32 = 512;

fn decode_jpeg(outline: &Outline<'_>) -> Result<Vec<u8>, CoreError> {
    if !matches!(outline.components, 1 | 3) {
        return Err(not_a_photo(format!("a JPEG of {} colours is made for print, not by a camera", outline.components)));
    }
    let options = DecoderOptions::default()
        .set_strict_mode(true)
        .set_max_width(outline.width_px as usize)
        .set_max_height(outline.height_px as usize)
        .jpeg_set_out_colorspace(ColorSpace::RGB);
    // zune-jpeg 0.5.15 fills up with zeros once it has met the end marker, even in strict mode, but reports data that run out.
    // So it is not shown the marker: a picture that breaks off and was closed by a repair program is refused, too.
    let hide_end = outline.sequential && outline.width_px >= END_CHECK_MIN_WIDTH_PX;
    let data = if hide_end { &outline.picture[..outline.picture.len() - 2] } else { outline.picture };
    let decoded = catch_unwind(AssertUnwindSafe(|| {
        let mut decoder = JpegDecoder::new_with_options(Cursor::new(data), options);
        decoder.decode_headers().map_err(|cause| not_a_photo(format!("the JPEG's headers cannot be read: {cause:?}")))?;
        if decoder.dimensions() != Some((outline.width_px as usize, outline.height_px as usize)) {
            return Err(not_a_photo("the JPEG names two sizes"));
        }
        decoder.decode().map_err(|cause| cut_off(format!("the picture's data break off or are damaged: {cause:?}")))
    }));
    decoded.unwrap_or_else(|_| Err(not_a_photo("the JPEG cannot be decoded")))
}

fn decode_png(outline: &Outline<'_>, limits: &PhotoLimits) -> Result<Vec<u8>, CoreError> {
    let mut png_limits = Limits::default();
    // 16 bits and four channels at the full pixel count would take 8 bytes a pixel; such files are no camera's.
    png_limits.max_alloc = Some(limits.max_pixels * 4);
    let decoded = catch_unwind(AssertUnwindSafe(|| {
        let decoder = image::codecs::png::PngDecoder::with_limits(Cursor::new(outline.picture), png_limits)
            .map_err(|cause| not_a_photo("the PNG's headers cannot be read").because(cause))?;
        if decoder.total_bytes() > limits.max_pixels * 4 {
            let reason = format!("the picture takes {} bytes in memory, more than {}", decoder.total_bytes(), limits.max_pixels * 4);
            return Err(CoreError::refused("too_big", reason, "save it with 8 bits a channel, or smaller"));
        }
        let picture =
            DynamicImage::from_decoder(decoder).map_err(|cause| cut_off("the picture's data break off or are damaged").because(cause))?;
        Ok(if picture.color().has_alpha() { on_white(picture) } else { picture.into_rgb8().into_raw() })
    }));
    decoded.unwrap_or_else(|_| Err(not_a_photo("the PNG cannot be decoded")))
}

/// Transparent parts become white paper.
fn on_white(picture: DynamicImage) -> Vec<u8> {
    let rgba = picture.into_rgba8();
    let blend = |value: u8, alpha: u8| {
        let alpha = u32::from(alpha);
        ((u32::from(value) * alpha + 255 * (255 - alpha) + 127) / 255) as u8
    };
    rgba.pixels().flat_map(|pixel| [0, 1, 2].map(|channel| blend(pixel.0[channel], pixel.0[3]))).collect()
}

/// Applies EXIF orientation (CIPA DC-008: where row 0 and column 0 of the stored picture are in the upright one).
fn upright(mut rgb: Vec<u8>, width: u32, height: u32, orientation: u8) -> (u32, u32, Vec<u8>) {
    let (columns, rows) = (width as usize, height as usize);
    match orientation {
        2 => mirror_rows(&mut rgb, columns),
        3 => turn_half(&mut rgb),
        4 => {
            turn_half(&mut rgb);
            mirror_rows(&mut rgb, columns);
        }
        5..=8 => {
            // In the upright picture of `rows` columns, each stored row becomes a column: `mirror_x` counts it from the right,
            // `mirror_y` runs it upwards.
            let (mirror_x, mirror_y) = match orientation {
                5 => (false, false),
                6 => (true, false),
                7 => (true, true),
                _ => (false, true),
            };
            return (height, width, transposed(&rgb, columns, rows, mirror_x, mirror_y));
        }
        _ => {}
    }
    (width, height, rgb)
}

fn mirror_rows(rgb: &mut [u8], columns: usize) {
    for row in rgb.chunks_exact_mut(columns * 3) {
        turn_half(row);
    }
}

/// Reverses the order of pixels.
fn turn_half(rgb: &mut [u8]) {
    let (pixels, _) = rgb.as_chunks_mut::<3>();
    pixels.reverse();
}

fn transposed(rgb: &[u8], columns: usize, rows: usize, mirror_x: bool, mirror_y: bool) -> Vec<u8> {
    /// Tiles keep both pictures in the cache: a plain double loop takes four times as long at 12 megapixels.
    const TILE: usize = 32;
    let (source, _) = rgb.as_chunks::<3>();
    let mut upright = vec![0_u8; rgb.len()];
    let (target, _) = upright.as_chunks_mut::<3>();
    for tile_y in (0..columns).step_by(TILE) {
        for tile_x in (0..rows).step_by(TILE) {
            for y in tile_y..(tile_y + TILE).min(columns) {
                let column = if mirror_y { columns - 1 - y } else { y };
                for x in tile_x..(tile_x + TILE).min(rows) {
                    let row = if mirror_x { rows - 1 - x } else { x };
                    target[y * rows + x] = source[row * columns + column];
                }
            }
        }
    }
    upright
}

#[cfg(test)]
#[path = "load_tests.rs"]
mod tests;
