//! Small pictures for the page, made once and kept beside the photos.

use std::io::Cursor;
use std::path::{Path, PathBuf};

use gritbook_core::{CoreError, ErrorKind};
use image::imageops::FilterType;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder as _, ImageReader, Limits};

use super::super::archive::PhotoRow;
use super::super::on_disk;
use super::super::shelf::Shelf;

/// Longer side of a small picture, px.
const SIDE: u32 = 640;
/// The largest photo that is drawn; larger ones are kept and can be fetched, only not drawn.
const LONGEST_SIDE: u32 = 16_384;
const MOST_PIXELS: u64 = 80_000_000;

fn not_drawn(reason: impl std::fmt::Display) -> CoreError {
    CoreError::new(
        ErrorKind::NotFound,
        "not_drawn",
        format!("no small picture can be made of this photo: {reason}"),
        "fetch the photo itself",
    )
}

/// The JPEG bytes of a small picture of `photo`, as they were kept where it was made before.
pub(super) async fn small(shelf: &Shelf, photo: PhotoRow) -> Result<Vec<u8>, CoreError> {
    kept_or_made(shelf, shelf.thumb_path(photo.sha256), photo, small_of).await
}

/// The JPEG bytes of a part of the upright `photo` (x, y, width, height in its pixels), no side longer than `side`.
pub(super) async fn part(shelf: &Shelf, photo: PhotoRow, part: [u32; 4], side: u32) -> Result<Vec<u8>, CoreError> {
    kept_or_made(shelf, shelf.window_path(photo.sha256, part), photo, move |bytes| part_of(bytes, part, side)).await
}

async fn kept_or_made(
    shelf: &Shelf,
    kept: PathBuf,
    photo: PhotoRow,
    made: impl FnOnce(&[u8]) -> Result<Vec<u8>, CoreError> + Send + 'static,
) -> Result<Vec<u8>, CoreError> {
    if let Ok(bytes) = tokio::fs::read(&kept).await {
        return Ok(bytes);
    }
    let bytes = shelf.whole(photo).await?;
    on_disk(move || {
        let picture = made(&bytes)?;
        keep(&kept, &picture);
        Ok(picture)
    })
    .await
}

fn small_of(photo: &[u8]) -> Result<Vec<u8>, CoreError> {
    picture(photo, |mut picture, orientation| {
        if picture.width() > SIDE || picture.height() > SIDE {
            picture = picture.thumbnail(SIDE, SIDE);
        }
        picture.apply_orientation(orientation);
        Ok(picture)
    })
}

fn part_of(photo: &[u8], [x, y, width, height]: [u32; 4], side: u32) -> Result<Vec<u8>, CoreError> {
    picture(photo, |mut picture, orientation| {
        picture.apply_orientation(orientation);
        let inside = x.checked_add(width).is_some_and(|end| end <= picture.width())
            && y.checked_add(height).is_some_and(|end| end <= picture.height());
        if !inside {
            return Err(not_drawn("the part lies outside of it"));
        }
        let part = picture.crop_imm(x, y, width, height);
        Ok(if width > side || height > side { part.resize(side, side, FilterType::Triangle) } else { part })
    })
}

fn picture(photo: &[u8], made: impl FnOnce(DynamicImage, Orientation) -> Result<DynamicImage, CoreError>) -> Result<Vec<u8>, CoreError> {
    let mut reader = ImageReader::new(Cursor::new(photo)).with_guessed_format().map_err(not_drawn)?;
    let mut limits = Limits::default();
    limits.max_image_width = Some(LONGEST_SIDE);
    limits.max_image_height = Some(LONGEST_SIDE);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(not_drawn)?;
    let (width, height) = decoder.dimensions();
    // The decoder's own limits do not hold on this path (image issue 3081): checked here before anything is allocated.
    if width > LONGEST_SIDE || height > LONGEST_SIDE || u64::from(width) * u64::from(height) > MOST_PIXELS {
        return Err(not_drawn(format_args!("{width} x {height} pixels are too many")));
    }
    let orientation = decoder.orientation().map_err(not_drawn)?;
    let picture = made(DynamicImage::from_decoder(decoder).map_err(not_drawn)?, orientation)?;
    let mut bytes = Vec::new();
    let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(Cursor::new(&mut bytes), 82);
    picture.to_rgb8().write_with_encoder(encoder).map_err(not_drawn)?;
    Ok(bytes)
}

/// Keeping is a convenience: where the disk is full the picture is made again next time. Renamed into place, so that a
/// half-written one is never served.
fn keep(kept: &Path, bytes: &[u8]) {
    let made = kept.parent().and_then(|folder| tempfile::NamedTempFile::new_in(folder).ok());
    if let Some(mut file) = made
        && std::io::Write::write_all(&mut file, bytes).is_ok()
    {
        let _ = file.persist(kept);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write as _;

    fn png(picture: &image::RgbImage) -> Vec<u8> {
        let mut bytes = Cursor::new(Vec::new());
        picture.write_to(&mut bytes, image::ImageFormat::Png).unwrap();
        bytes.into_inner()
    }

    /// A shelf with one photo on it.
    async fn shelf_with(folder: &Path, bytes: &[u8]) -> (Shelf, PhotoRow) {
        let shelf = Shelf::open(folder).unwrap();
        shelf.append_at("a", 0).unwrap().write_all(bytes).unwrap();
        let photo = shelf.examine("a", None, bytes.len() as u64).await.unwrap();
        shelf.promote("a", photo.clone()).await.unwrap();
        (shelf, photo)
    }

    #[tokio::test]
    async fn small_picture_is_made_once_and_keeps_the_shape() {
        let folder = tempfile::tempdir().unwrap();
        let bytes = png(&image::RgbImage::from_pixel(1280, 320, image::Rgb([200, 190, 180])));
        let (shelf, photo) = shelf_with(folder.path(), &bytes).await;
        let made = small(&shelf, photo.clone()).await.unwrap();
        let picture = image::load_from_memory(&made).unwrap();
        assert_eq!((picture.width(), picture.height()), (640, 160));
        shelf.photos().remove(photo.clone()).await.unwrap();
        assert_eq!(small(&shelf, photo.clone()).await.unwrap(), made);
        // Taken away with the photo, it is not drawn from what is no longer there.
        shelf.remove(photo.clone()).await.unwrap();
        assert_eq!(small(&shelf, photo).await.unwrap_err().code(), "shelf_failed");
    }

    #[test]
    fn part_of_a_picture_is_cut_out_and_one_that_lies_outside_is_refused() {
        let shade =
            |x: u32, y: u32| image::Rgb(if (100..300).contains(&x) && (50..150).contains(&y) { [0, 0, 0] } else { [255, 255, 255] });
        let photo = png(&image::RgbImage::from_fn(400, 200, shade));
        let made = image::load_from_memory(&part_of(&photo, [100, 50, 200, 100], 100).unwrap()).unwrap().to_luma8();
        assert_eq!(made.dimensions(), (100, 50));
        assert!(made.pixels().all(|pixel| pixel.0[0] < 40));
        assert_eq!(part_of(&photo, [300, 50, 200, 100], 100).unwrap_err().code(), "not_drawn");
    }

    #[tokio::test]
    async fn what_is_no_picture_is_told_and_nothing_is_kept() {
        let folder = tempfile::tempdir().unwrap();
        let (shelf, photo) = shelf_with(folder.path(), b"\xFF\xD8\xFF and then nothing of a JPEG").await;
        assert_eq!(small(&shelf, photo.clone()).await.unwrap_err().code(), "not_drawn");
        assert!(!shelf.thumb_path(photo.sha256).exists());
    }
}
