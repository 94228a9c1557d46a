//! What is held of any bytes at all. Each function panics where that does not hold; the fuzzer looks for bytes that make it.
//!
//! `tests/tests/fuzz_found.rs` replays with these what was found before (`found/<function>/`).

use gritbook_core::debris::read::read_photo;
use gritbook_core::debris::settings::{GroundKind, HandScale, ReadSettings};
use gritbook_core::face::reading::Surface;
use gritbook_core::face::{FaceSettings, measure_face};
use gritbook_core::history::{figures, parse};
use gritbook_core::model::SealedEntry;
use gritbook_core::outbox::Enrolment;
use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{ExtendedColorType, ImageEncoder as _};

/// A file that says it is a photo: read with the card, by hand, as a wear surface, as an enrolment code.
pub fn photo(bytes: &[u8]) {
    read(bytes, &ReadSettings::default());
    read(bytes, &ReadSettings { hand: Some(HandScale { px_per_mm: 8.0, window_px: None }), ..ReadSettings::default() });
    measure(bytes, &FaceSettings::default());
    let _ = Enrolment::of_photo(bytes);
}

/// A picture made of black, grey and white plates from `bytes`, four to a plate: what looks for marks and codes meets odd geometry.
pub fn shapes(bytes: &[u8]) {
    const WIDTH: usize = 640;
    const HEIGHT: usize = 480;
    let mut grey = vec![200_u8; WIDTH * HEIGHT];
    for plate in bytes.chunks_exact(6).take(400) {
        let (x, y) = (usize::from(plate[0]) * WIDTH / 256, usize::from(plate[1]) * HEIGHT / 256);
        let (wide, high) = (1 + usize::from(plate[2]) * 2, 1 + usize::from(plate[3]) * 2);
        let lean = f64::from(plate[5] as i8) / 128.0;
        for row in y..(y + high).min(HEIGHT) {
            let from = (x as f64 + lean * (row - y) as f64).clamp(0.0, WIDTH as f64) as usize;
            grey[row * WIDTH + from..row * WIDTH + (from + wide).min(WIDTH)].fill(plate[4]);
        }
    }
    photo(&png(WIDTH as u32, HEIGHT as u32, &grey));
}

/// Settings of any figures, on a small picture of plates.
pub fn settings(bytes: &[u8]) {
    let mut left = bytes;
    let mut number = || {
        let (now, rest) = left.split_at_checked(8)?;
        left = rest;
        Some(f64::from_le_bytes(now.try_into().ok()?))
    };
    let mut take = || number().unwrap_or(1.0);
    let hand = HandScale { px_per_mm: take(), window_px: Some([take() as u32, take() as u32, take() as u32, take() as u32]) };
    let grounds = [GroundKind::Auto, GroundKind::White];
    let read_settings = ReadSettings {
        hand: (take() > 0.0).then_some(hand),
        bar_mm: take(),
        ground: grounds[usize::from(take() > 0.0)],
        sample_ml: take(),
        extra_sieves_mm: vec![take(), take()],
        ..ReadSettings::default()
    };
    let spot = [take(), take(), take(), take()];
    let outline = (0..4 + (take().abs() as usize % 4)).map(|_| [take(), take()]).collect();
    let face = FaceSettings {
        outline_px: (take() > 0.0).then_some(outline),
        white_px: (take() > 0.0).then_some(spot),
        surface: (take() > 0.0).then_some(Surface::Metal),
        bar_mm: read_settings.bar_mm,
        least_difference: take(),
        smallest_px: take(),
        ..FaceSettings::default()
    };
    let (width, height) = (320_u32, 240);
    let picture: Vec<u8> = (0..width * height).map(|at| if (at % width / 12 + at / width / 12) % 5 == 0 { 60 } else { 210 }).collect();
    let file = png(width, height, &picture);
    read(&file, &read_settings);
    measure(&file, &face);
}

/// A line of another device, a history, a table of figures, a code's payload.
pub fn texts(bytes: &[u8]) {
    let _ = parse(bytes);
    let _ = figures(bytes, ["x_mm", "y_mm", "z_mm"]);
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let _ = Enrolment::of_payload(text);
    if let Ok(entry) = SealedEntry::from_text(text.to_owned()) {
        assert_eq!(entry.doc, text, "an entry of another device is kept as it came");
    }
}

fn read(bytes: &[u8], settings: &ReadSettings) {
    match read_photo(bytes, settings) {
        Ok(reading) => {
            let text = serde_json::to_string(&reading).expect("a reading is a document");
            let told =
                ["\"gradation\":null", "\"hand\":null", "\"window_px\":null"].iter().fold(text, |text, unset| text.replace(unset, ""));
            assert!(!told.contains("null"), "a figure that is none: {told}");
        }
        Err(refusal) => assert!(!refusal.error.advice().is_empty(), "a refusal says what to do: {}", refusal.error),
    }
}

fn measure(bytes: &[u8], settings: &FaceSettings) {
    match measure_face(bytes, settings) {
        Ok(face) => {
            let text = serde_json::to_string(&face).expect("a measured face is a document");
            let value: serde_json::Value = serde_json::from_str(&text).expect("what was written is read");
            let shares = value.pointer("/grit/share/value").and_then(serde_json::Value::as_f64);
            assert!(shares.is_none_or(|share| (0.0..=1.0).contains(&share)), "a share beyond 1: {text}");
        }
        Err(error) => assert!(!error.advice().is_empty(), "a refusal says what to do: {error}"),
    }
}

fn png(width: u32, height: u32, grey: &[u8]) -> Vec<u8> {
    let mut file = Vec::new();
    let encoder = PngEncoder::new_with_quality(&mut file, CompressionType::Fast, FilterType::NoFilter);
    encoder.write_image(grey, width, height, ExtendedColorType::L8).expect("a picture in memory is written");
    file
}
