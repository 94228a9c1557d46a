//! Every document that `gritbook book` and its neighbours print fits the schema that `gritbook schema` prints for it.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail loudly, as the tests do")]

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

const GRITBOOK: &str = env!("CARGO_BIN_EXE_gritbook-under-test");

fn gritbook(arguments: &[&str]) -> (Option<i32>, Vec<Value>) {
    let output = Command::new(GRITBOOK).args(arguments).env_remove("GRITBOOK_FAILPOINT").output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let lines = text.lines().map(|line| serde_json::from_str(line).unwrap_or_else(|_| panic!("no JSON: {line}")));
    (output.status.code(), lines.collect())
}

/// The document's own name picks the schema; `gritbook.call/1` is checked against `gritbook schema call`.
fn fits_its_schema(document: &Value) {
    let name = document["schema"].as_str().unwrap_or_else(|| panic!("no schema named in {document}"));
    let thing = name.strip_prefix("gritbook.").and_then(|name| name.strip_suffix("/1")).unwrap_or_else(|| panic!("{name}"));
    let output = Command::new(GRITBOOK).args(["schema", thing]).output().unwrap();
    assert!(output.status.success(), "no schema for {thing}");
    let schema: Value = serde_json::from_slice(&output.stdout).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let errors: Vec<_> = validator.iter_errors(document).map(|error| format!("{}: {error}", error.instance_path())).collect();
    assert_eq!(errors, Vec::<String>::new(), "{name}: {document}");
}

struct Desk(tempfile::TempDir);

impl Desk {
    fn run(&self, arguments: &[&str]) -> Value {
        let book = self.0.path().join("book");
        let (status, mut lines) = gritbook(&[&["book", book.to_str().unwrap()], arguments, &["--json"]].concat());
        assert_eq!(status, Some(0), "{arguments:?}: {lines:?}");
        lines.iter().for_each(fits_its_schema);
        lines.pop().unwrap_or_default()
    }
}

fn photo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/photos").join(name)
}

/// Low in the centre by 0.08 mm.
const DISHED: &str = "x_mm;y_mm;height_mm\n0;0;0,08\n200;0;0,08\n0;200;0,08\n200;200;0,08\n100;100;0\n";

#[test]
fn every_verb_prints_a_document_that_fits_its_schema() {
    let desk = Desk(tempfile::tempdir().unwrap());
    let sand = photo("demo_sand.jpg");
    desk.run(&["pump", "add", "P1", "--switches", "two"]);
    desk.run(&["check", "--pump", "P1", "--pump-m3", "1250", "--photo", sand.to_str().unwrap(), "--grade", "A=2", "--liquid", "grey"]);
    desk.run(&["check", "--pump", "P1", "--pump-m3", "900", "--level", "some-sand"]);
    desk.run(&["grade", "--pump", "P1", "--part", "plate", "--cup", "A", "--grade", "1"]);
    desk.run(&["measure", "--pump", "P1", "--part", "bore", "--cup", "A", "--measure", "bore_wear_mm", "--value", "0.2"]);
    let plate = desk.0.path().join("plate.json");
    std::fs::write(desk.0.path().join("plate.csv"), DISHED).unwrap();
    let measured = gritbook(&["plate", desk.0.path().join("plate.csv").to_str().unwrap(), "--json"]).1.remove(0);
    std::fs::write(&plate, measured.to_string()).unwrap();
    desk.run(&["measure", "--pump", "P1", "--cup", "B", "--from", plate.to_str().unwrap()]);
    desk.run(&["fit", "--pump", "P1", "--part", "cup", "--cup", "A", "--pump-m3", "1250"]);
    desk.run(&["pour", "--pump", "P1", "--pour-m3", "60"]);
    desk.run(&["remove", "--pump", "P1", "--part", "cup", "--cup", "A", "--reason", "worn"]);
    desk.run(&["pump", "list"]);
    desk.run(&["call", "--pump", "P1", "--next-pour-m3", "80", "--record"]);
    desk.run(&["outbox"]);
    desk.run(&["verify"]);
    desk.run(&["check", "--pump", "P1", "--level", "sand", "--liquid", "muddy"]);
    assert_eq!(desk.run(&["diagnose", "--pump", "P1"])["causes"].as_array().unwrap().len(), 6);
    assert_eq!(desk.run(&["record"])["without_outcome"], 1, "the pour of that call is still to come");
    let plot = desk.0.path().join("record.svg");
    desk.run(&["record", "--plot", plot.to_str().unwrap()]);
    assert!(std::fs::read(&plot).unwrap().starts_with(b"<svg"));
    // Every entry kind so far, one a line.
    let book = desk.0.path().join("book");
    let log = gritbook(&["book", book.to_str().unwrap(), "log", "--json"]).1;
    log.iter().for_each(fits_its_schema);
    assert_eq!(log[log.len() - 1]["kind"], "pump_set", "the oldest comes last");
    let kept = log.iter().map(|entry| &entry["body"]).find(|body| body["measure"] == "plate_low_centre_mm").unwrap();
    assert_eq!((&kept["document"], &kept["value"]), (&measured, &measured["centre_low_mm"]), "the whole measurement is in the record");
    let out = desk.0.path().join("out");
    desk.run(&["export", "--out", out.to_str().unwrap()]);
}

#[test]
fn change_out_goes_step_by_step_through_the_command_and_is_recorded_once() {
    let desk = Desk(tempfile::tempdir().unwrap());
    desk.run(&["pump", "add", "P1"]);
    let mut state = desk.run(&["changeout", "--pump", "P1", "--cups", "A"]);
    assert_eq!((&state["marked"], &state["next"]["hold"]), (&Value::from(0), &Value::from(true)));
    let again = gritbook(&["book", desk.0.path().join("book").to_str().unwrap(), "changeout", "--pump", "P1", "--cups", "A", "--json"]);
    assert_eq!((again.0, &again.1[0]["error"]["code"]), (Some(2), &Value::from("already_begun")));
    let of = state["of"].as_u64().unwrap();
    for number in 1..=of {
        let mark: &[&str] = if number == 3 { &["--skip", "line already off"] } else { &["--done"] };
        state = desk.run(&[&["changeout", "--pump", "P1"], mark].concat());
        assert_eq!(state["marked"], number);
    }
    assert_eq!(state["next"], Value::Null);
    let finish = ["changeout", "--pump", "P1", "--finish", "--out", "A=worn", "--pump-m3", "1300"];
    assert!(desk.run(&finish)["entry"].is_string());
    let book = desk.0.path().join("book");
    let over = gritbook(&[&["book", book.to_str().unwrap()], &finish[..], &["--json"]].concat());
    assert_eq!((over.0, &over.1[0]["error"]["code"]), (Some(2), &Value::from("not_begun")));
    let log = gritbook(&["book", book.to_str().unwrap(), "log", "--json"]).1;
    let kinds: Vec<_> = log.iter().map(|entry| entry["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds, ["fitted", "removed", "changed_out", "pump_set"]);
    log.iter().for_each(fits_its_schema);
    assert_eq!(log[2]["body"]["steps"][2]["skipped"], "line already off");
}

#[test]
fn enrolment_and_sync_documents_fit_their_schemas() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("depot");
    let (status, lines) =
        gritbook(&["enroll", "--data", data.to_str().unwrap(), "--name", "north", "--depot", "https://depot.example", "--json"]);
    assert_eq!(status, Some(0));
    fits_its_schema(&lines[0]);
    let (status, lines) = gritbook(&["enroll", "--data", data.to_str().unwrap(), "--name", "north", "--revoke", "--json"]);
    assert_eq!(status, Some(0));
    fits_its_schema(&lines[0]);
    let book = folder.path().join("book");
    let book = book.to_str().unwrap();
    assert_eq!(gritbook(&["book", book, "pump", "add", "P1", "--json"]).0, Some(0));
    // Nobody listens there: refused at once, everything kept.
    let (status, lines) = gritbook(&["book", book, "sync", "--depot", "http://127.0.0.1:9", "--token", "t", "--json"]);
    assert_eq!(status, Some(3), "{lines:?}");
    fits_its_schema(&lines[0]);
    fits_its_schema(&lines[0]["sync"]);
    assert_eq!(lines[0]["sync"]["waiting"], 1);
    // One token in 64 begins with a hyphen: it is no flag.
    assert_eq!(gritbook(&["book", book, "sync", "--depot", "http://127.0.0.1:9", "--token", "-nT0ken", "--json"]).0, Some(3));
}

#[test]
fn measured_wear_prints_documents_that_fit_and_refuses_what_cannot_be() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let plate = file("plate.csv", DISHED);
    let edge = "line,x_mm,y_mm,gap_mm\n1,-80,0,0\n1,0,0,0.2\n1,80,0,0\n2,0,-80,0\n2,0,0,0.2\n2,0,80,0\n";
    let feeler = file("feeler.csv", edge);
    let stray = file("stray.csv", &format!("{edge}3,40,40,0.1\n"));
    let bore = file("bore.csv", "station_mm,direction_deg,diameter_mm\n50,0,200.12\n50,90,200.05\n1050,0,200.31\n");
    for arguments in [
        &["plate", &plate][..],
        &["plate", &feeler, "--resolution-mm", "0.05"],
        &["bore", &bore, "--nominal-mm", "200", "--chrome-mm", "0.25"],
        &["bore", &bore],
        &["thickness", "cup-lip", "10.6", "9.4", "10.2", "--new-mm", "12", "--limit-mm", "8", "--before-mm", "11", "--since-m3", "2000"],
        &["oring", "--section-mm", "5", "--groove-mm", "191", "--bore-mm", "200", "--groove-width-mm", "6.5"],
        &["bolt", "3/8-24", "--grade", "8", "--threads", "lubricated"],
        &["bolt", "M12", "--grade", "10.9", "--maker-nm", "95"],
        &[
            "line",
            "--od-mm",
            "133",
            "--wall-mm",
            "5.9",
            "--pressure-bar",
            "85",
            "--allowed-mpa",
            "150",
            "--before-mm",
            "7.1",
            "--since-m3",
            "12000",
        ],
    ] {
        let (status, lines) = gritbook(&[arguments, &["--json"]].concat());
        assert_eq!(status, Some(0), "{arguments:?}: {lines:?}");
        fits_its_schema(&lines[0]);
        for (picture, begins) in [("it.svg", &b"<svg"[..]), ("it.png", b"\x89PNG")] {
            let picture = folder.path().join(picture);
            assert_eq!(gritbook(&[arguments, &["--json", "--picture", picture.to_str().unwrap()]].concat()).0, Some(0));
            assert!(std::fs::read(&picture).unwrap().starts_with(begins), "{arguments:?}");
        }
        // For people too: some lines and no JSON.
        let output = Command::new(GRITBOOK).args(arguments).output().unwrap();
        let text = String::from_utf8(output.stdout).unwrap();
        assert!(output.status.success() && text.lines().count() >= 2 && !text.contains('{'), "{text}");
    }
    let fleet = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/fleet/history.csv");
    let (status, lines) = gritbook(&["shelf", fleet.to_str().unwrap(), "--lead-time-days", "21", "--json"]);
    assert_eq!((status, lines[0]["pumps"].as_array().unwrap().len()), (Some(0), 4));
    fits_its_schema(&lines[0]);
    let (_, found) = gritbook(&["plate", &plate, "--json"]);
    assert_eq!((&found[0]["centre"], &found[0]["verdict"]), (&Value::from("low"), &Value::from("good")));
    let half = file("half.csv", "x_mm,y_mm,height_mm\n0,0,0\n1,0,zero\n");
    let narrow = file("narrow.csv", "x_mm,y_mm\n0,0\n");
    for (arguments, code) in [
        (&["plate", &half][..], "bad_rows"),
        (&["plate", &narrow], "missing_columns"),
        (&["plate", "/nowhere.csv"], "no_such_file"),
        (&["plate", &stray], "bad_points"),
        (&["plate", &plate, "--picture", "plate.gif"], "bad_picture_name"),
        (&["thickness", "cup-lip", "10", "--new-mm", "8", "--limit-mm", "9"], "out_of_range"),
        (&["oring", "--section-mm", "5", "--groove-mm", "200", "--bore-mm", "190"], "out_of_range"),
        (&["bore", &bore, "--nominal-mm", "20"], "bad_setting"),
        (&["bolt", "M11", "--grade", "8.8"], "bad_thread"),
        (&["bolt", "M12", "--grade", "8"], "bad_grade_of_bolt"),
        (&["line", "--od-mm", "133", "--wall-mm", "90", "--pressure-bar", "85", "--allowed-mpa", "150"], "out_of_range"),
    ] {
        let (status, lines) = gritbook(&[arguments, &["--json"]].concat());
        assert_eq!((status, lines[0]["error"]["code"].as_str().unwrap()), (Some(2), code), "{arguments:?}");
        fits_its_schema(&lines[0]);
    }
}
