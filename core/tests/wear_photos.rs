//! Painted wear surfaces of `fixtures/faces`, measured through the public interface and held against what was painted.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::path::Path;

use gritbook_core::face::reading::{FaceReading, FindingCode, More, Share, Surface, Turn, WhiteSource};
use gritbook_core::face::{FaceSettings, measure_beside, measure_face, words};
use serde_json::Value;

fn fixture(name: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/faces").join(name)
}

fn photo(name: &str) -> Vec<u8> {
    std::fs::read(fixture(&format!("{name}.jpg"))).unwrap()
}

fn truth(name: &str) -> Value {
    serde_json::from_slice(&std::fs::read(fixture(&format!("{name}.truth.json"))).unwrap()).unwrap()
}

fn points(value: &Value) -> Vec<[f64; 2]> {
    serde_json::from_value(value.clone()).unwrap()
}

/// The settings that a person would give for this photo: an outline for metal, a white spot where there is no card.
fn settings(truth: &Value) -> FaceSettings {
    FaceSettings {
        outline_px: truth["give_outline"].as_bool().unwrap().then(|| points(&truth["outline_px"])),
        white_px: truth.get("white_px").map(|part| serde_json::from_value(part.clone()).unwrap()),
        ..FaceSettings::default()
    }
}

fn measured(name: &str) -> (FaceReading, Value) {
    let truth = truth(name);
    (measure_face(&photo(name), &settings(&truth)).unwrap(), truth)
}

fn holds(share: &Share, truth: &Value, name: &str) {
    let true_share = truth.as_f64().unwrap();
    assert!(share.low <= true_share && true_share <= share.high, "{name}: {true_share} in {share:?}");
    assert!(share.high - share.low < 0.03, "{name}: {share:?} says next to nothing");
}

#[test]
fn share_under_grit_and_largest_grain_are_told_with_intervals_that_hold_the_truth() {
    for name in ["cup", "cup_before"] {
        let (reading, truth) = measured(name);
        assert_eq!(reading.surface, Surface::Coloured);
        let grit = reading.grit.unwrap();
        holds(&grit.share, &truth["share"], name);
        let (largest, drawn) = (grit.largest.unwrap().feret_max, truth["largest_mm"].as_f64().unwrap());
        let told = largest.mm.unwrap();
        assert!((told - drawn).abs() <= largest.doubt_share * told, "{name}: {told} for {drawn} mm");
        let scale = reading.scale.unwrap();
        assert!((scale.px_per_mm / truth["px_per_mm"].as_f64().unwrap() - 1.0).abs() < 0.02, "{name}: {scale:?}");
        assert!(reading.chips.is_none());
    }
    let (clean, _) = measured("clean");
    let grit = clean.grit.unwrap();
    assert!(grit.share.value < 0.001 && grit.largest.is_none(), "{:?}", grit.share);
    assert_eq!(clean.scores.count, 0);
}

#[test]
fn last_photo_is_laid_over_this_one_to_half_a_millimetre_and_more_grit_is_said() {
    let (now, before) = (truth("cup"), truth("cup_before"));
    let (usual, last) = (photo("cup"), photo("cup_before"));
    let plain = FaceSettings::default();
    let outcome = measure_beside(&usual, &plain, Some((&last, &plain))).unwrap();
    let beside = outcome.reading.last.as_ref().unwrap();
    assert_eq!(beside.more, More::Yes);
    let change = beside.change.unwrap();
    let grown = now["share"].as_f64().unwrap() - before["share"].as_f64().unwrap();
    assert!(change.low <= grown && grown <= change.high, "{grown} in {change:?}");
    let alignment = beside.alignment.as_ref().unwrap();
    assert_eq!(alignment.turn, Turn::ByMarks);
    let map = |h: &[[f64; 3]; 3], [x, y]: [f64; 2]| {
        let [u, v, w] = [0, 1, 2].map(|row| h[row][0] * x + h[row][1] * y + h[row][2]);
        [u / w, v / w]
    };
    let part_to = |truth: &Value| -> [[f64; 3]; 3] { serde_json::from_value(truth["part_to_px"].clone()).unwrap() };
    let (to_now, to_before) = (part_to(&now), part_to(&before));
    for part_mm in [[0.0, 0.0], [40.0, 0.0], [0.0, -40.0], [-30.0, 30.0]] {
        let (told, drawn) = (map(&alignment.last_to_this, map(&to_before, part_mm)), map(&to_now, part_mm));
        let off_mm = (told[0] - drawn[0]).hypot(told[1] - drawn[1]) / now["px_per_mm"].as_f64().unwrap();
        assert!(off_mm < 0.5, "{off_mm:.2} mm at {part_mm:?}");
    }
    let said = words::lines(&outcome.reading);
    assert!(said.iter().any(|(en, es)| en == "More grit than last time." && es == "Más arena que la vez pasada."));
    assert_eq!(said.last().unwrap().0, words::SUGGESTS.0, "who gives the grade stands under every answer");
}

#[test]
fn the_same_photo_twice_is_no_more_than_last_time_or_cannot_be_told() {
    let bytes = photo("clean");
    let plain = FaceSettings::default();
    let beside = measure_beside(&bytes, &plain, Some((&bytes, &plain))).unwrap().reading.last.unwrap();
    assert_eq!(beside.more, More::No, "{:?}", beside.change);
    let alignment = beside.alignment.unwrap();
    assert!(alignment.overlap > 0.999, "{alignment:?}");
}

#[test]
fn another_part_is_not_compared() {
    let (bytes, last) = (photo("cup"), photo("bore_chipped"));
    let of_bore = settings(&truth("bore_chipped"));
    let beside = measure_beside(&bytes, &FaceSettings::default(), Some((&last, &of_bore))).unwrap().reading.last.unwrap();
    assert_eq!((beside.more, beside.change), (More::CannotTell, None));
    assert!(beside.remarks.iter().any(|remark| remark.code == "other_surface"), "{:?}", beside.remarks);
    // A last photo that cannot be measured is said to be so; the new one still is measured.
    let outcome = measure_beside(&bytes, &FaceSettings::default(), Some((&photo("no_white"), &FaceSettings::default()))).unwrap();
    let beside = outcome.reading.last.unwrap();
    assert_eq!((beside.more, beside.remarks[0].code.as_str()), (More::CannotTell, "no_white"));
    assert!(!beside.remarks[0].es.is_empty() && outcome.reading.grit.is_some());
}

#[test]
fn chips_and_scores_of_a_bore_are_found_where_they_were_painted() {
    let near = |outline: &[[f64; 2]], [x, y]: [f64; 2], reach: f64| {
        let bound = |axis: usize| {
            let values = outline.iter().map(|point| point[axis]);
            (values.clone().fold(f64::INFINITY, f64::min) - reach, values.fold(f64::NEG_INFINITY, f64::max) + reach)
        };
        let ((left, right), (top, bottom)) = (bound(0), bound(1));
        (left..=right).contains(&x) && (top..=bottom).contains(&y)
    };
    for name in ["bore_chipped", "bore_scored"] {
        let (reading, truth) = measured(name);
        assert_eq!(reading.surface, Surface::Metal);
        assert!(reading.grit.is_none(), "grit is not told on bare metal");
        let chips = reading.chips.unwrap();
        holds(&chips.share, &truth["chip_share"], name);
        let drawn = truth["chips"].as_array().unwrap();
        assert_eq!(chips.count as usize, drawn.len(), "{name}");
        for chip in drawn {
            let at: [f64; 2] = serde_json::from_value(chip["at_px"].clone()).unwrap();
            assert!(chips.regions.iter().any(|region| near(&region.outline_px, at, 2.0)), "{name}: {at:?}");
        }
        let drawn = truth["scores"].as_array().unwrap();
        let found = drawn.iter().filter(|score| {
            let at: [f64; 2] = serde_json::from_value(score["at_px"].clone()).unwrap();
            reading.scores.regions.iter().any(|region| near(&region.outline_px, at, 4.0))
        });
        assert!(found.count() + 1 >= drawn.len(), "{name}: all scores but one");
        assert!(reading.scores.count as usize <= drawn.len(), "{name}: no more than were painted");
        if let Some(longest) = reading.scores.longest {
            let painted = drawn.iter().map(|score| score["length_mm"].as_f64().unwrap()).fold(0.0, f64::max);
            assert!((longest.mm.unwrap() / painted - 1.0).abs() < 0.1, "{name}: {longest:?} for {painted} mm");
        }
    }
}

#[test]
fn without_the_card_shares_are_told_and_millimetres_are_not() {
    let (reading, truth) = measured("by_white");
    let grit = reading.grit.unwrap();
    holds(&grit.share, &truth["share"], "by_white");
    assert!(reading.scale.is_none() && grit.largest.unwrap().feret_max.mm.is_none() && reading.region.area_mm2.is_none());
    assert_eq!(reading.white.source, WhiteSource::White);
    assert!(reading.findings.iter().any(|said| said.code == FindingCode::NoCard));
}

#[test]
fn what_cannot_be_measured_is_refused_by_name_with_advice() {
    let plain = FaceSettings::default();
    let with_outline = |outline: &[[f64; 2]]| FaceSettings { outline_px: Some(outline.to_vec()), ..FaceSettings::default() };
    let bad_spot = |part: [f64; 4]| FaceSettings { white_px: Some(part), ..FaceSettings::default() };
    let both = FaceSettings { grey_px: Some([1.0, 1.0, 9.0, 9.0]), ..bad_spot([1.0, 1.0, 9.0, 9.0]) };
    let (cup, bore) = (photo("cup"), photo("bore_chipped"));
    let cases: [(&[u8], FaceSettings, &str); 12] = [
        (&photo("no_white"), plain.clone(), "no_white"),
        (&photo("two_faces"), plain.clone(), "which_face"),
        (&bore, plain.clone(), "no_face"),
        (b"not a photo", plain.clone(), "not_a_photo"),
        (&cup[..20_000], plain.clone(), "cut_off_file"),
        (&cup, with_outline(&[[10.0, 10.0], [5000.0, 10.0], [10.0, 500.0]]), "outline_outside"),
        (&cup, with_outline(&[[100.0, 100.0], [500.0, 500.0], [500.0, 100.0], [100.0, 500.0]]), "outline_crosses"),
        (&cup, with_outline(&[[100.0, 100.0], [500.0, 500.0]]), "bad_outline"),
        (&cup, with_outline(&[[100.0, 100.0], [150.0, 100.0], [150.0, 150.0]]), "face_too_small"),
        (&cup, bad_spot([1790.0, 10.0, 40.0, 40.0]), "bad_white"),
        (&cup, both, "two_whites"),
        (&cup, FaceSettings { least_difference: f64::NAN, ..FaceSettings::default() }, "bad_setting"),
    ];
    for (bytes, settings, code) in cases {
        let error = measure_face(bytes, &settings).unwrap_err();
        assert_eq!(error.code(), code, "{error}");
        assert!(!error.advice().is_empty());
    }
}

#[test]
fn same_photos_give_the_same_document_byte_for_byte_and_it_survives_json() {
    let (bytes, last) = (photo("cup"), photo("cup_before"));
    let plain = FaceSettings::default();
    let told = || serde_json::to_string(&measure_beside(&bytes, &plain, Some((&last, &plain))).unwrap().reading).unwrap();
    let first = told();
    assert_eq!(first, told());
    let back: FaceReading = serde_json::from_str(&first).unwrap();
    assert_eq!(serde_json::to_string(&back).unwrap(), first);
}
