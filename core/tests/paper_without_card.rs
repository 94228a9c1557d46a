//! White paper without a card: read as on the card, with a scale by hand.

#![allow(clippy::unwrap_used, reason = "a test without its fixture fails")]

use std::path::Path;

use gritbook_core::debris::read::read_photo;
use gritbook_core::debris::settings::{GroundKind, HandScale, ReadSettings};

fn fixture(name: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/photos").join(name)).unwrap()
}

/// Scale and a window within the card's, from `golden_spread.truth.json`.
const PX_PER_MM: f64 = 10.902_39;
const WITHIN_PX: [u32; 4] = [694, 450, 617, 627];

fn by_hand(window_px: Option<[u32; 4]>, ground: GroundKind) -> ReadSettings {
    ReadSettings { hand: Some(HandScale { px_per_mm: PX_PER_MM, window_px }), ground, ..ReadSettings::default() }
}

#[test]
fn grains_on_white_paper_are_read_by_hand_as_with_the_card() {
    let bytes = fixture("golden_spread.jpg");
    let card = read_photo(&bytes, &ReadSettings::default()).unwrap();
    let hand = read_photo(&bytes, &by_hand(Some(WITHIN_PX), GroundKind::Auto)).unwrap();
    let (by_card, by_hand) = (card.gradation.unwrap(), hand.gradation.unwrap());
    for (name, one, other) in
        [("d10", by_card.d10_mm, by_hand.d10_mm), ("d50", by_card.d50_mm, by_hand.d50_mm), ("d90", by_card.d90_mm, by_hand.d90_mm)]
    {
        assert!((other / one - 1.0).abs() < 0.04, "{name}: {one} with the card, {other} by hand");
    }
    assert!((hand.cover_percent - card.cover_percent).abs() < 0.5, "{} and {}", hand.cover_percent, card.cover_percent);
    assert_eq!(hand.level.code, card.level.code);
}

/// As a ground of any colour the same window gave 418 grains in place of 457, and D10 7 % too small.
#[test]
fn white_paper_is_known_without_being_told() {
    let bytes = fixture("golden_spread.jpg");
    let told = read_photo(&bytes, &by_hand(Some(WITHIN_PX), GroundKind::White)).unwrap();
    let found = read_photo(&bytes, &by_hand(Some(WITHIN_PX), GroundKind::Auto)).unwrap();
    assert_eq!(told.grains, found.grains);
}

#[test]
fn print_and_marks_in_the_window_are_doubted_not_counted() {
    let refusal = read_photo(&fixture("good/plain.png"), &by_hand(None, GroundKind::Auto)).unwrap_err();
    assert_eq!(refusal.error.code(), "unclear");
}
