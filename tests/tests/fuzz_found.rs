//! What fuzzing found before, and a few inputs by hand, held against the same rules as in the fuzzer (`tests/fuzz`).

#![allow(clippy::expect_used, reason = "what does not hold ends the test, as it ends the fuzzer")]

#[allow(unreachable_pub, reason = "a library of its own in the fuzzer")]
#[path = "../fuzz/src/lib.rs"]
mod fuzzed;

use std::path::Path;

fn found(target: &str) -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/found").join(target);
    let Ok(files) = std::fs::read_dir(folder) else { return Vec::new() };
    files.map(|file| std::fs::read(file.expect("a file of the folder").path()).expect("a file that is read")).collect()
}

#[test]
fn photos_of_any_bytes_are_read_or_refused_with_advice() {
    let fixtures = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/photos/bad");
    let broken = ["zero_size.jpg", "cut_off.png", "only_start.jpg", "huge_claim.png", "text.jpg"]
        .map(|name| std::fs::read(fixtures.join(name)).expect("a fixture"));
    found("photo").iter().chain(&broken).for_each(|bytes| fuzzed::photo(bytes));
}

#[test]
fn pictures_of_any_plates_are_read_or_refused_with_advice() {
    let plates = [vec![], vec![10; 60], (0..=255).collect::<Vec<u8>>()];
    found("shapes").iter().chain(&plates).for_each(|bytes| fuzzed::shapes(bytes));
}

#[test]
fn settings_of_any_figures_are_taken_or_refused_with_advice() {
    let figures = [f64::NAN, f64::INFINITY, -1.0, 0.0, 1e-300, 1e300, 8.0].map(|figure| figure.to_le_bytes().repeat(30));
    found("settings").iter().chain(&figures).for_each(|bytes| fuzzed::settings(bytes));
}

#[test]
fn texts_of_any_bytes_are_taken_as_they_came_or_refused() {
    let texts = ["", "{}", "[]", "pump_id,m3\nA,NaN\n", "\u{feff}{\"v\":1}", "{\"a\":1,\"a\":2}"].map(|text| text.as_bytes().to_vec());
    found("texts").iter().chain(&texts).for_each(|bytes| fuzzed::texts(bytes));
}
