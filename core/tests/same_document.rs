//! The same photo and settings give the same document, byte for byte: on every run, and in debug and release builds alike.
//!
//! The figures are held to on Linux and x86-64 alone: another platform's mathematics may differ in a last digit.
//! `cargo test -p gritbook-core --test same_document` and the same with `--release` hold both to one figure.

use std::path::Path;

use gritbook_core::debris::read::read_photo;
use gritbook_core::debris::settings::{HandScale, ReadSettings};
use sha2::{Digest, Sha256};

/// Photo of `fixtures/photos`, and SHA-256 of its document with outlines. Whoever changes what a reading answers raises the method's
/// version and writes what this test then prints.
const DOCUMENTS: [(&str, Option<f64>, &str); 3] = [
    ("golden_spread.jpg", None, "fa841c6537966434507f55017ea4df02f93c8a8c1153453e1c8e0967eaf55b1e"),
    ("golden_touching.jpg", None, "d50a295dd4f0fe64aa8cfa40efe07bb7b6170b502ee751d8cb1cee8a75e1d0fb"),
    ("bad/heap_no_card.jpg", Some(10.0), "bb8b837975744e9e4c886f6d73d198e74112cecc2c44e7fe1688b72d1644de77"),
];

#[test]
fn document_of_a_photo_is_the_same_in_every_build_and_run() {
    let mut differing = Vec::new();
    for (name, px_per_mm, expected) in DOCUMENTS {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/photos").join(name);
        let bytes = std::fs::read(&path).unwrap();
        let hand = px_per_mm.map(|px_per_mm| HandScale { px_per_mm, window_px: None });
        let settings = ReadSettings { outlines: true, hand, ..ReadSettings::default() };
        let told = || match read_photo(&bytes, &settings) {
            Ok(reading) => serde_json::to_string(&reading).unwrap(),
            Err(refusal) => format!("{}: {}", refusal.error.code(), refusal.error.reason()),
        };
        let first = told();
        assert_eq!(first, told(), "{name}: two runs differ");
        let digest: String = Sha256::digest(first.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect();
        if cfg!(all(target_arch = "x86_64", target_os = "linux")) && digest != expected {
            differing.push(format!("{name}: {digest}"));
        }
    }
    assert!(differing.is_empty(), "{differing:#?}");
}
