//! The command `gritbook face`: documents that fit their schema, pictures, and refusals that change nothing.

use std::path::PathBuf;

use super::documents::{document, errors, gritbook, schema};

fn face(name: &str) -> String {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../fixtures/faces").join(name);
    path.to_str().expect("a plain path").to_owned()
}

#[test]
fn a_face_beside_its_last_photo_fits_its_schema_and_is_drawn() {
    let folder = tempfile::tempdir().unwrap();
    let picture = folder.path().join("face.png");
    let (cup, before) = (face("cup.jpg"), face("cup_before.jpg"));
    let output = gritbook(&["face", &cup, "--last", &before, "--json", "--picture", picture.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    let told = document(&output);
    assert_eq!((&told["schema"], &told["last"]["more"]), (&"gritbook.face/1".into(), &"yes".into()));
    assert_eq!(errors(&schema("face"), &told), Vec::<String>::new());
    let png = std::fs::read(&picture).unwrap();
    assert!(png.starts_with(b"\x89PNG") && png.len() > 200_000, "{} bytes", png.len());
    // For people: short lines, and who gives the grade.
    let output = gritbook(&["face", &cup, "--last", &before]);
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(text.contains("More grit than last time.") && text.contains("You give the grade.") && !text.contains('{'), "{text}");
}

#[test]
fn a_card_printed_too_small_makes_lengths_shorter_and_leaves_shares() {
    let told = |bar: &str| document(&gritbook(&["face", &face("cup.jpg"), "--json", "--bar-mm", bar]));
    let (straight, shrunken) = (told("100"), told("94"));
    assert_eq!(straight, document(&gritbook(&["face", &face("cup.jpg"), "--json"])));
    let number = |document: &serde_json::Value, place: &str| document.pointer(place).and_then(serde_json::Value::as_f64).unwrap();
    for (place, times) in [("/grit/largest/feret_max/mm", 0.94), ("/region/area_mm2", 0.94 * 0.94), ("/grit/share/value", 1.0)] {
        let ratio = number(&shrunken, place) / number(&straight, place);
        assert!((ratio / times - 1.0).abs() < 0.02, "{place}: {ratio}");
    }
    let codes = |document: &serde_json::Value| document["findings"].to_string();
    assert!(codes(&shrunken).contains("bar_off") && !codes(&straight).contains("bar_off"));
}

#[test]
fn a_bore_with_its_outline_fits_its_schema_too() {
    let truth: serde_json::Value = serde_json::from_slice(&std::fs::read(face("bore_chipped.truth.json")).unwrap()).unwrap();
    let corners = truth["outline_px"].as_array().unwrap().iter().flat_map(|point| point.as_array().unwrap());
    let outline: Vec<String> = corners.map(ToString::to_string).collect();
    let output = gritbook(&["face", &face("bore_chipped.jpg"), "--outline", &outline.join(","), "--json"]);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stdout));
    let told = document(&output);
    assert!(told["chips"]["count"].as_u64().unwrap() > 0 && told.get("grit").is_none());
    assert_eq!(errors(&schema("face"), &told), Vec::<String>::new());
}

#[test]
fn a_face_that_cannot_be_measured_is_refused_by_name_and_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let picture = folder.path().join("face.png");
    let (cup, text) = (face("cup.jpg"), super::fixture("bad/text.jpg"));
    let cases: [(&[&str], &str); 9] = [
        (&[&face("no_white.jpg")], "no_white"),
        (&[&face("two_faces.jpg")], "which_face"),
        (&[&face("bore_scored.jpg")], "no_face"),
        (&[text.to_str().unwrap()], "not_a_photo"),
        (&[&cup, "--last", text.to_str().unwrap()], "not_a_photo"),
        (&[&cup, "--outline", "0,0,9000,0,0,900"], "outline_outside"),
        (&[&cup, "--outline", "100,100,500,500,500,100,100,500"], "outline_crosses"),
        (&[&cup, "--outline", "100,100,500"], "bad_usage"),
        (&[&cup, "--bar-mm", "50"], "bad_bar"),
    ];
    for (arguments, code) in cases {
        let output = gritbook(&[&["face"], arguments, &["--json", "--picture", picture.to_str().unwrap()]].concat());
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        let error = document(&output);
        assert_eq!(error["error"]["code"], code, "{arguments:?}");
        assert_eq!(errors(&schema("error"), &error), Vec::<String>::new());
        assert!(!picture.exists(), "{arguments:?}");
    }
}
