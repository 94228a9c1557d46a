//! Photographs with known sizes, read as a person without a card would: scale by hand.
//!
//! The pictures are not ours to keep here; a test that cannot find its picture says that it skips.

#![allow(clippy::print_stderr, reason = "a skipped test says so")]

use std::path::{Path, PathBuf};
use std::process::Command;

use gritbook_core::debris::read::read_photo;
use gritbook_core::debris::reading::Reading;
use gritbook_core::debris::settings::{HandScale, ReadSettings};

fn by_hand(px_per_mm: f64) -> ReadSettings {
    ReadSettings { hand: Some(HandScale { px_per_mm, window_px: None }), ..ReadSettings::default() }
}

fn shared_photo(name: &str) -> Option<Vec<u8>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/real-photos").join(name);
    let bytes = std::fs::read(&path).ok();
    if bytes.is_none() {
        eprintln!("SKIPPED: {} is not here", path.display());
    }
    bytes
}

/// The coins that ship with scikit-image; nothing is downloaded.
fn coins_png() -> Option<PathBuf> {
    let script = "import os, skimage; print(os.path.join(os.path.dirname(skimage.__file__), 'data', 'coins.png'))";
    let found = Command::new("python3").args(["-c", script]).output().ok().filter(|output| output.status.success());
    let path = found.map(|output| PathBuf::from(String::from_utf8_lossy(&output.stdout).trim())).filter(|path| path.exists());
    if path.is_none() {
        eprintln!("SKIPPED: python3 has no scikit-image with coins.png");
    }
    path
}

/// Row, column and area-equivalent diameter in px of the 24 coins, computed with scikit-image 0.26.0 by the recipe of its gallery
/// page "Comparing edge-based and region-based segmentation" (Sobel, markers below 30 and above 150, watershed, holes filled).
const COINS: [[f64; 3]; 24] = [
    [43.5, 334.7, 57.58],
    [50.8, 155.3, 45.88],
    [51.1, 215.2, 45.44],
    [52.4, 276.1, 39.49],
    [54.4, 44.2, 41.54],
    [56.1, 100.2, 37.48],
    [118.8, 270.6, 49.44],
    [124.3, 44.7, 40.65],
    [123.7, 205.3, 39.23],
    [124.5, 336.2, 38.68],
    [125.6, 102.3, 37.61],
    [127.2, 153.5, 37.03],
    [186.7, 347.0, 63.24],
    [193.1, 212.4, 47.03],
    [193.6, 273.5, 43.64],
    [195.6, 101.7, 43.28],
    [197.4, 43.7, 37.83],
    [197.7, 154.1, 38.30],
    [259.8, 45.9, 55.98],
    [261.2, 172.3, 54.70],
    [263.2, 300.6, 50.37],
    [263.3, 244.0, 47.41],
    [265.5, 113.9, 42.46],
    [267.9, 358.2, 43.48],
];

#[test]
fn every_coin_is_found_within_five_percent_of_its_size() {
    let Some(path) = coins_png() else { return };
    let reading = read_photo(&std::fs::read(path).unwrap(), &by_hand(1.0)).expect("coins lie on a plain ground");
    let mut wrong = Vec::new();
    for [row, column, diameter] in COINS {
        let near = reading.grains.iter().find(|grain| (grain.x_mm - column).hypot(grain.y_mm - row) < 6.0 && grain.ecd_mm > 25.0);
        match near {
            Some(grain) if (grain.ecd_mm / diameter - 1.0).abs() <= 0.05 => {}
            Some(grain) => wrong.push(format!("coin at {row}, {column}: {:.2} instead of {diameter} px", grain.ecd_mm)),
            None => wrong.push(format!("coin at {row}, {column} of {diameter} px is missing")),
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    let coins = reading.grains.iter().filter(|grain| grain.ecd_mm > 25.0).count();
    assert_eq!(coins, 24);
    let strays: Vec<f64> = reading.grains.iter().filter(|grain| grain.ecd_mm <= 25.0 && !grain.cut).map(|grain| grain.ecd_mm).collect();
    assert!(strays.is_empty(), "specks taken for coins: {strays:?}");
}

/// `sand_1000_1400um.jpg`: the hand-measured median of its grains is 84.4 px (SediNet, `grain_size_sieved_sands/data_pescadero_sieve.csv`).
/// Of `sand_710um.jpg` no sizes were measured: its grains must only come out smaller than the frame is, and larger than blur.
#[test]
fn heaped_sand_is_read_by_its_texture_within_a_fifth_and_says_so() {
    for (name, low_px, high_px) in [("sand_1000_1400um.jpg", 84.4 * 0.8, 84.4 * 1.2), ("sand_710um.jpg", 20.0, 84.4)] {
        let Some(bytes) = shared_photo(name) else { continue };
        let reading = read_photo(&bytes, &by_hand(10.0)).expect("heaped sand of one size");
        assert_eq!(reading.method.name, "texture", "{name}");
        let sizes = reading.gradation.expect("one middle size");
        let d50_px = sizes.d50_mm * 10.0;
        assert!((low_px..high_px).contains(&d50_px), "{name}: {d50_px:.1} px");
        // The largest grain of a heap was not seen: only that half of it is larger than its middle size can speak.
        let largest = reading.level.reasons.iter().find(|reason| reason.code == "largest_grain_mm").map(|reason| reason.value);
        assert_eq!(largest, (sizes.d50_mm >= 4.75).then_some(sizes.d50_mm), "{name}");
        let [low, high] = sizes.interval95.d50_mm;
        assert!(high - low >= 0.4 * sizes.d50_mm, "{name}: the interval says how little is known");
        assert!(reading.grains.is_empty());
        let said = reading.quality.findings.iter().find(|finding| finding.code == "heaped").expect("the reading says that it is a heap");
        assert!(said.advice.contains("at least sand") && said.advice.contains("quarter"), "{name}");
    }
}

/// Hand-drawn truth of the gravel tiles (0.39 mm/px) counts 124 and 45 grains; a reading must come near or not come at all.
#[test]
fn gravel_in_a_bank_is_refused_rather_than_read_wrongly() {
    for name in ["gravel_dense.jpg", "gravel_sparse.jpg"] {
        let Some(bytes) = shared_photo(name) else { continue };
        let outcome: Result<Reading, _> = read_photo(&bytes, &by_hand(1.0 / 0.39));
        let refusal = outcome.expect_err("sand between the stones is no plain ground");
        assert_eq!(refusal.error.code(), "too_crowded", "{name}");
    }
}
