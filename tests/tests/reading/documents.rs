//! What the command prints fits the schemas that it prints.

use std::process::{Command, Output};

use serde_json::Value;

use super::fixture;

pub(super) fn gritbook(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_gritbook-under-test")).args(arguments).output().expect("the command starts")
}

pub(super) fn document(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(&output.stdout)))
}

pub(super) fn schema(name: &str) -> jsonschema::Validator {
    let output = gritbook(&["schema", name]);
    assert!(output.status.success());
    jsonschema::validator_for(&document(&output)).expect("a valid schema")
}

pub(super) fn errors(validator: &jsonschema::Validator, document: &Value) -> Vec<String> {
    validator.iter_errors(document).map(|error| format!("{}: {error}", error.instance_path())).collect()
}

#[test]
fn a_reading_fits_its_schema() {
    let output = gritbook(&["read", fixture("golden_spread.jpg").to_str().unwrap(), "--json", "--outlines"]);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    let reading = document(&output);
    assert_eq!(reading["schema"], "gritbook.reading/1");
    assert!(reading["grains"][0]["outline_mm"].is_array());
    assert_eq!(errors(&schema("reading"), &reading), Vec::<String>::new());
}

#[test]
fn a_document_with_a_missing_field_does_not_fit() {
    let mut reading = document(&gritbook(&["read", fixture("golden_spread.jpg").to_str().unwrap(), "--json"]));
    reading.as_object_mut().unwrap().remove("level");
    assert!(!errors(&schema("reading"), &reading).is_empty());
}

#[test]
fn a_refusal_is_an_error_document_with_status_2() {
    let error_schema = schema("error");
    for (file, code) in [("bad/no_card.jpg", "no_card"), ("bad/text.jpg", "not_a_photo"), ("bad/nowhere.jpg", "no_such_file")] {
        let output = gritbook(&["read", fixture(file).to_str().unwrap(), "--json"]);
        assert_eq!(output.status.code(), Some(2), "{file}");
        let error = document(&output);
        assert_eq!(error["schema"], "gritbook.error/1");
        assert_eq!(error["error"]["code"], code, "{file}");
        assert_eq!(errors(&error_schema, &error), Vec::<String>::new(), "{file}");
    }
}

#[test]
fn a_refused_photo_shows_what_its_gates_measured() {
    let error = document(&gritbook(&["read", fixture("bad/glare.jpg").to_str().unwrap(), "--json"]));
    assert_eq!(error["error"]["code"], "glare");
    assert_eq!(error["quality"]["accepted"], false);
    assert_eq!(error["quality"]["findings"][0]["code"], "glare");
}

#[test]
fn pictures_are_what_their_names_say_and_a_bad_name_writes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let read = |curve: &str| {
        let (overlay, curve) = (at("seen.png"), at(curve));
        let photo = fixture("golden_spread.jpg");
        gritbook(&["read", photo.to_str().unwrap(), "--json", "--overlay", overlay.to_str().unwrap(), "--curve", curve.to_str().unwrap()])
    };
    let refused = read("sizes.pdf");
    assert_eq!(refused.status.code(), Some(2));
    assert_eq!(document(&refused)["error"]["code"], "bad_picture_name");
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    for (name, begins) in [("sizes.svg", b"<svg"), ("sizes.png", b"\x89PNG")] {
        assert_eq!(read(name).status.code(), Some(0), "{name}");
        assert!(std::fs::read(at(name)).unwrap().starts_with(begins), "{name}");
    }
    assert!(std::fs::read(at("seen.png")).unwrap().starts_with(b"\x89PNG"));
}

#[test]
fn a_card_printed_too_small_is_put_right_by_its_bar_and_said() {
    let photo = fixture("golden_spread.jpg");
    let photo = photo.to_str().unwrap();
    let read = |bar: &str| document(&gritbook(&["read", photo, "--json", "--bar-mm", bar]));
    let (straight, shrunken) = (read("100"), read("94"));
    assert_eq!(straight, document(&gritbook(&["read", photo, "--json"])));
    assert_eq!(straight["quality"]["findings"].as_array().unwrap().len(), 0);
    let finding = &shrunken["quality"]["findings"][0];
    assert_eq!(
        (finding["code"].as_str(), finding["value"].as_f64(), finding["limit"].as_f64()),
        (Some("bar_off"), Some(94.0), Some(100.0))
    );
    assert_eq!(shrunken["quality"]["accepted"], true);
    for place in ["/scale/window_mm/0", "/grains/0/ecd_mm", "/gradation/d50_mm"] {
        let of = |document: &serde_json::Value| document.pointer(place).and_then(serde_json::Value::as_f64).unwrap();
        let ratio = of(&shrunken) / of(&straight);
        assert!((ratio / 0.94 - 1.0).abs() < 0.01, "{place}: {ratio}");
    }
    assert_eq!(shrunken["cover_percent"], straight["cover_percent"]);
    for bar in ["50", "-100", "NaN", "130"] {
        assert_eq!(document(&gritbook(&["read", photo, "--json", &format!("--bar-mm={bar}")]))["error"]["code"], "bad_bar", "{bar}");
    }
}
