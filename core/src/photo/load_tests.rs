use image::{ExtendedColorType, ImageEncoder as _, Rgb, RgbImage};
use proptest::prelude::*;

use super::*;

/// A picture without symmetry: red = 2 x, green = 3 y, blue = x + y.
fn gradient(width: u32, height: u32) -> RgbImage {
    RgbImage::from_fn(width, height, |x, y| Rgb([(x * 2).min(255) as u8, (y * 3).min(255) as u8, (x + y).min(255) as u8]))
}

fn jpeg(picture: &RgbImage) -> Vec<u8> {
    let mut file = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut file, 95).encode_image(picture).unwrap();
    file
}

fn png(bytes: &[u8], width: u32, height: u32, color: ExtendedColorType) -> Vec<u8> {
    let mut file = Vec::new();
    image::codecs::png::PngEncoder::new(&mut file).write_image(bytes, width, height, color).unwrap();
    file
}

/// The JPEG with an EXIF segment right after its start.
fn with_exif(file: &[u8], block: &[u8]) -> Vec<u8> {
    let length = u16::try_from(block.len() + 8).unwrap().to_be_bytes();
    [&file[..2], &[0xFF, 0xE1], &length, b"Exif\0\0", block, &file[2..]].concat()
}

fn exif_block(orientation: u16, taken: &str, subsec: &str, offset: &str) -> Vec<u8> {
    let ascii = |tag, text: &str| exif::Field { tag, ifd_num: In::PRIMARY, value: exif::Value::Ascii(vec![text.as_bytes().to_vec()]) };
    use exif::{In, Tag};
    let fields = [
        exif::Field { tag: Tag::Orientation, ifd_num: In::PRIMARY, value: exif::Value::Short(vec![orientation]) },
        ascii(Tag::DateTimeOriginal, taken),
        ascii(Tag::SubSecTimeOriginal, subsec),
        ascii(Tag::OffsetTimeOriginal, offset),
    ];
    let mut writer = exif::experimental::Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    let mut block = Cursor::new(Vec::new());
    writer.write(&mut block, false).unwrap();
    block.into_inner()
}

fn code(bytes: &[u8]) -> &'static str {
    load_photo(bytes, &PhotoLimits::default()).unwrap_err().code()
}

fn load(bytes: &[u8]) -> Photo {
    load_photo(bytes, &PhotoLimits::default()).unwrap()
}

fn near(photo: &Photo, x: u32, y: u32, expected: [u8; 3]) -> bool {
    let at = ((y * photo.width_px + x) * 3) as usize;
    photo.rgb[at..at + 3].iter().zip(expected).all(|(value, expected)| value.abs_diff(expected) < 14)
}

#[test]
fn ordinary_jpeg_is_read_and_named_by_its_hash() {
    let file = jpeg(&gradient(96, 72));
    let photo = load(&file);
    assert_eq!((photo.width_px, photo.height_px, photo.rgb.len()), (96, 72, 96 * 72 * 3));
    assert_eq!(photo.id, Sha256Hex::of(&file));
    assert!(near(&photo, 90, 10, [180, 30, 100]) && near(&photo, 5, 60, [10, 180, 65]));
    assert_eq!(photo.taken_at, None);
}

#[test]
fn progressive_and_grey_jpeg_and_odd_png_are_read() {
    assert!(near(&load(include_bytes!("../../testdata/progressive.jpg")), 90, 10, [180, 30, 100]));
    let grey = image::GrayImage::from_fn(96, 72, |x, _| image::Luma([x as u8 * 2]));
    let mut file = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut file, 95).encode_image(&grey).unwrap();
    assert!(near(&load(&file), 80, 20, [160, 160, 160]));
    let wide: Vec<u8> = (0..80 * 70).flat_map(|i| [0x12, 0x34 + (i % 2) as u8, 0xC0, 0x00, 0x80, 0xFF]).collect();
    let photo = load(&png(&wide, 80, 70, ExtendedColorType::Rgb16));
    assert_eq!(photo.rgb.len(), 80 * 70 * 3);
    let clear: Vec<u8> = (0..80 * 70).flat_map(|_| [10, 20, 30, 0]).collect();
    assert!(near(&load(&png(&clear, 80, 70, ExtendedColorType::Rgba8)), 3, 3, [255, 255, 255]));
}

#[test]
fn four_colour_jpeg_is_refused_in_words() {
    let error = load_photo(include_bytes!("../../testdata/four_colours.jpg"), &PhotoLimits::default()).unwrap_err();
    assert_eq!(error.code(), "not_a_photo");
    assert!(error.reason().contains("4 colours"), "{}", error.reason());
}

#[test]
fn all_eight_orientations_come_out_upright() {
    let file = jpeg(&gradient(96, 72));
    // Upright position of the stored pixel (90, 10), from CIPA DC-008's table of where row 0 and column 0 end up.
    let (w, h, x, y) = (96, 72, 90, 10);
    let expected = [
        (w, h, x, y),
        (w, h, w - 1 - x, y),
        (w, h, w - 1 - x, h - 1 - y),
        (w, h, x, h - 1 - y),
        (h, w, y, x),
        (h, w, h - 1 - y, x),
        (h, w, h - 1 - y, w - 1 - x),
        (h, w, y, w - 1 - x),
    ];
    for (orientation, (width, height, x, y)) in (1..).zip(expected) {
        let photo = load(&with_exif(&file, &exif_block(orientation, "2026:05:01 10:11:12", "", "")));
        assert_eq!((photo.width_px, photo.height_px), (width, height), "orientation {orientation}");
        assert!(near(&photo, x, y, [180, 30, 100]), "orientation {orientation}");
    }
}

#[test]
fn orientation_agrees_with_another_implementation() {
    let picture = gradient(97, 71);
    for value in 1..=8 {
        let (width, height, rgb) = upright(picture.as_raw().clone(), 97, 71, value);
        let mut other = DynamicImage::ImageRgb8(picture.clone());
        other.apply_orientation(image::metadata::Orientation::from_exif(value).unwrap());
        assert_eq!((width, height, &rgb[..]), (other.width(), other.height(), other.as_bytes()), "orientation {value}");
    }
}

#[test]
fn time_is_read_with_what_the_camera_wrote() {
    let file = jpeg(&gradient(96, 72));
    let taken = |date, subsec, offset| load(&with_exif(&file, &exif_block(1, date, subsec, offset))).taken_at;
    assert_eq!(taken("2026:05:01 10:11:12", "345", "+02:00").as_deref(), Some("2026-05-01T10:11:12.345+02:00"));
    assert_eq!(taken("2026:05:01 10:11:12", "", "-06:30").as_deref(), Some("2026-05-01T10:11:12-06:30"));
    assert_eq!(taken("2026:05:01 10:11:12", "x", "?").as_deref(), Some("2026-05-01T10:11:12"));
    assert_eq!(taken("2026:13:01 10:11:12", "", ""), None);
    assert_eq!(taken("    :  :     :  :  ", "", ""), None);
}

#[test]
fn broken_exif_costs_nothing_but_itself() {
    let file = jpeg(&gradient(96, 72));
    let whole = exif_block(6, "2026:05:01 10:11:12", "", "");
    for length in 0..whole.len() {
        load(&with_exif(&file, &whole[..length]));
    }
    load(&with_exif(&file, &[0xFF; 300]));
}

#[test]
fn jpeg_cut_at_any_length_is_an_error() {
    for file in [jpeg(&gradient(96, 72)), include_bytes!("../../testdata/progressive.jpg").to_vec()] {
        for length in 0..file.len() {
            let error = code(&file[..length]);
            assert!(if length == 0 { error == "not_a_photo" } else { error == "cut_off_file" }, "{error} at {length} of {}", file.len());
        }
    }
}

#[test]
fn png_cut_at_any_length_is_an_error() {
    let file = png(gradient(80, 70).as_raw(), 80, 70, ExtendedColorType::Rgb8);
    for length in 1..file.len() {
        assert_eq!(code(&file[..length]), "cut_off_file", "at {length} of {}", file.len());
    }
}

#[test]
fn jpeg_that_breaks_off_before_a_forged_end_is_an_error() {
    let file = jpeg(&gradient(640, 300));
    load(&file);
    for tenths in 2..10 {
        let mut forged = file[..file.len() * tenths / 10].to_vec();
        if forged.last() == Some(&0xFF) {
            forged.pop();
        }
        forged.extend([0xFF, 0xD9]);
        assert_eq!(code(&forged), "cut_off_file", "{tenths} tenths");
    }
}

#[test]
fn plain_pictures_at_the_end_check_width_are_read() {
    // The fewest bytes a row of blocks can take: one even tone.
    for value in [0, 128, 255] {
        let picture = image::GrayImage::from_pixel(512, 64, image::Luma([value]));
        let mut file = Vec::new();
        image::codecs::jpeg::JpegEncoder::new_with_quality(&mut file, 10).encode_image(&picture).unwrap();
        assert!(near(&load(&file), 500, 60, [value; 3]));
        load(&jpeg(&RgbImage::from_pixel(512, 64, Rgb([value; 3]))));
    }
}

#[test]
fn bytes_after_the_picture_do_no_harm() {
    let mut file = jpeg(&gradient(96, 72));
    file.extend(b"a clip that some cameras append");
    load(&file);
}

#[test]
fn things_that_are_no_photo_are_named_so() {
    for bytes in [
        &b""[..],
        b"hello, this is text named .jpg",
        b"GIF89a......",
        b"\xFF\xD8\xFF\xD9",
        b"\xFF\xD8hello",
        b"\x89PNG\r\n\x1a\n\0\0\0\0IEND\xAE\x42\x60\x82",
    ] {
        assert_eq!(code(bytes), "not_a_photo", "{bytes:?}");
    }
}

#[test]
fn limits_are_checked_before_decoding() {
    assert_eq!(code(&jpeg(&gradient(1, 1))), "too_small");
    let mut huge = jpeg(&gradient(96, 72));
    let frame = huge.windows(2).position(|pair| pair == [0xFF, 0xC0]).unwrap();
    huge[frame + 5..frame + 9].fill(0xFF);
    assert_eq!(code(&huge), "too_big");
    let small = PhotoLimits { max_bytes: 100, ..PhotoLimits::default() };
    assert_eq!(load_photo(&jpeg(&gradient(96, 72)), &small).unwrap_err().code(), "too_big");
    let few = PhotoLimits { max_pixels: 5000, ..PhotoLimits::default() };
    assert_eq!(load_photo(&jpeg(&gradient(96, 72)), &few).unwrap_err().code(), "too_big");
    let mut huge = png(gradient(80, 70).as_raw(), 80, 70, ExtendedColorType::Rgb8);
    huge[16..24].copy_from_slice(&[0x7F, 0xFF, 0xFF, 0xFF, 0x7F, 0xFF, 0xFF, 0xFF]);
    assert_eq!(code(&huge), "too_big");
}

proptest! {
    #[test]
    fn prop_random_bytes_never_panic(bytes in proptest::collection::vec(any::<u8>(), 0..600), kind in 0_usize..3) {
        let start: &[u8] = [&[][..], &[0xFF, 0xD8, 0xFF], b"\x89PNG\r\n\x1a\n\0\0\0\x0DIHDR"][kind];
        let _ = load_photo(&[start, &bytes].concat(), &PhotoLimits::default());
    }

    #[test]
    fn prop_flipped_bytes_give_a_whole_photo_or_an_error(places in proptest::collection::vec((0.0..1.0_f64, any::<u8>()), 1..8), png_file in any::<bool>()) {
        let picture = gradient(80, 70);
        let mut file = if png_file { png(picture.as_raw(), 80, 70, ExtendedColorType::Rgb8) } else { jpeg(&picture) };
        for (place, value) in places {
            let at = (place * file.len() as f64) as usize;
            file[at] ^= value;
        }
        // A flipped size may ask for much: the tests keep to small memory.
        let limits = PhotoLimits { max_pixels: 1_000_000, ..PhotoLimits::default() };
        if let Ok(photo) = load_photo(&file, &limits) {
            prop_assert_eq!(photo.rgb.len(), photo.width_px as usize * photo.height_px as usize * 3);
        }
    }
}
