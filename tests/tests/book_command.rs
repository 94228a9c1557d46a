//! `gritbook book` as a person at a desk uses it: what it prints, its exit statuses, and what it leaves on the disk.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail loudly, as the tests do")]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use gritbook_core::ids::Sha256Hex;
use gritbook_core::model::SealedEntry;
use serde_json::Value;
use tempfile::TempDir;

const GRITBOOK: &str = env!("CARGO_BIN_EXE_gritbook-under-test");

struct Desk(TempDir);

impl Desk {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn dir(&self) -> PathBuf {
        self.0.path().join("book")
    }

    fn run(&self, arguments: &[&str]) -> Output {
        let mut command = Command::new(GRITBOOK);
        command.arg("book").arg(self.dir()).args(arguments).env_remove("GRITBOOK_FAILPOINT");
        command.output().unwrap()
    }

    fn json(&self, arguments: &[&str]) -> (Option<i32>, Value) {
        let output = self.run(&[arguments, &["--json"]].concat());
        let document = serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("not one JSON document: {output:?}"));
        (output.status.code(), document)
    }

    fn log(&self) -> Vec<String> {
        let output = self.run(&["log", "--json"]);
        assert_eq!(output.status.code(), Some(0));
        String::from_utf8(output.stdout).unwrap().lines().rev().map(str::to_owned).collect()
    }
}

fn photo(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/photos").join(name).to_str().unwrap().to_owned()
}

#[test]
fn photographed_check_is_saved_with_its_reading_and_the_chain_can_be_followed_by_hand() {
    let desk = Desk::new();
    let (status, saved) = desk.json(&["check", "--pump", "P1", "--pump-m3", "1250", "--photo", &photo("demo_sand.jpg"), "--grade", "A=2"]);
    assert_eq!(status, Some(0), "{saved}");
    assert_eq!((&saved["level"], &saved["new_pump"]), (&Value::from("sand"), &Value::from(true)));
    let log = desk.log();
    assert_eq!(log.len(), 3);
    let mut before = Value::Null;
    for (line, seq) in log.iter().zip(1..) {
        let entry: Value = serde_json::from_str(line).unwrap();
        assert_eq!((&entry["seq"], &entry["prev"]), (&Value::from(seq), &before));
        before = Value::from(Sha256Hex::of(line.as_bytes()).to_string());
    }
    let check: Value = serde_json::from_str(&log[1]).unwrap();
    assert_eq!(check["body"]["level_source"], "measured");
    assert_eq!(check["body"]["reading"]["schema"], "gritbook.reading/1");
    let kept = desk.dir().join("photos").join(format!("{}.jpg", check["body"]["photos"][0].as_str().unwrap()));
    assert_eq!(std::fs::read(kept).unwrap(), std::fs::read(photo("demo_sand.jpg")).unwrap());
    let (status, report) = desk.json(&["verify"]);
    assert_eq!((status, &report["sound"]), (Some(0), &Value::from(true)));
}

#[test]
fn photo_that_cannot_be_read_saves_nothing_unless_a_person_says_what_to_do() {
    let desk = Desk::new();
    let blank = desk.0.path().join("blank.png");
    image::RgbImage::from_pixel(800, 600, image::Rgb([200, 200, 200])).save(&blank).unwrap();
    let blank = blank.to_str().unwrap();
    let (status, document) = desk.json(&["check", "--pump", "P1", "--photo", blank]);
    assert_eq!((status, &document["schema"]), (Some(2), &Value::from("gritbook.error/1")), "{document}");
    assert!(!desk.dir().exists(), "not even the folder");
    let (status, document) = desk.json(&["check", "--pump", "P1", "--photo", blank, "--keep-photo"]);
    assert_eq!((status, &document["level"]), (Some(0), &Value::Null), "{document}");
    let (status, document) = desk.json(&["check", "--pump", "P1", "--photo", blank, "--level", "some-sand"]);
    assert_eq!((status, &document["level"]), (Some(0), &Value::from("some_sand")));
    let text = desk.0.path().join("diary.jpg");
    std::fs::write(&text, "dear diary").unwrap();
    let (status, _) = desk.json(&["check", "--pump", "P1", "--photo", text.to_str().unwrap(), "--keep-photo"]);
    assert_eq!(status, Some(2), "what is no photo is not kept as one");
    assert_eq!(std::fs::read_dir(desk.dir().join("photos")).unwrap().count(), 1);
}

#[test]
fn mistyped_input_is_refused_with_what_to_do_and_changes_nothing() {
    let desk = Desk::new();
    for verb in ["log", "outbox", "verify"] {
        let (status, document) = desk.json(&[verb]);
        assert_eq!((status, &document["error"]["code"]), (Some(2), &Value::from("no_such_book")));
    }
    assert!(!desk.dir().exists());
    assert_eq!(desk.run(&["pump", "add", "P1"]).status.code(), Some(0));
    let cases: [(&[&str], &str); 10] = [
        (&["check", "--pump"], "bad_usage"),
        (&["check", "--pump", "P1"], "empty_check"),
        (&["check", "--pump", "P1", "--level", "mud"], "bad_word"),
        (&["check", "--pump", "P1", "--grade", "C=2"], "bad_cup"),
        (&["check", "--pump", "P1", "--grade", "A=9"], "bad_grade"),
        (&["check", "--pump", "P1", "--note", "x", "--pump-m3", "-4"], "out_of_range"),
        (&["check", "--pump", "P1", "--photo", "/nowhere.jpg"], "no_such_file"),
        (&["grade", "--pump", "P2", "--grade", "2"], "no_such_pump"),
        (&["pour", "--pump", "P1"], "nothing_poured"),
        (&["pump", "add", "p1"], "pump_exists"),
    ];
    for (arguments, code) in cases {
        let output = desk.run(&[arguments, &["--json"]].concat());
        let document: Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!((output.status.code(), document["error"]["code"].as_str().unwrap()), (Some(2), code), "{document}");
        assert!(!document["error"]["advice"].as_str().unwrap().is_empty());
    }
    assert_eq!(desk.log().len(), 1);
}

#[test]
fn depot_that_cannot_be_reached_is_status_3_and_everything_is_kept() {
    let desk = Desk::new();
    assert_eq!(desk.run(&["check", "--pump", "P1", "--level", "lumps"]).status.code(), Some(0));
    // A port that was free a moment ago.
    let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let url = format!("http://127.0.0.1:{port}");
    let (status, document) = desk.json(&["sync", "--depot", &url, "--token", &"a".repeat(43)]);
    assert_eq!((status, &document["error"]["code"]), (Some(3), &Value::from("depot_unavailable")), "{document}");
    assert_eq!(document["sync"]["waiting"], 2);
    let (_, outbox) = desk.json(&["outbox"]);
    assert!(outbox["items"].as_array().unwrap().iter().all(|item| item["state"] == "waiting"));
    assert_eq!(outbox["pause"]["code"], "offline");
}

#[test]
fn book_of_a_newer_program_is_refused_and_untouched_and_a_damaged_one_is_moved_aside() {
    let desk = Desk::new();
    assert_eq!(desk.run(&["check", "--pump", "P1", "--level", "lumps"]).status.code(), Some(0));
    let database = desk.dir().join("book.sqlite");
    rusqlite::Connection::open(&database).unwrap().pragma_update(None, "user_version", 99).unwrap();
    let before = std::fs::read(&database).unwrap();
    let (status, document) = desk.json(&["log"]);
    assert_eq!((status, &document["error"]["code"]), (Some(2), &Value::from("newer_schema")));
    assert_eq!(std::fs::read(&database).unwrap(), before);

    std::fs::write(&database, b"not a database any more").unwrap();
    let output = desk.run(&["log"]);
    assert_eq!(output.status.code(), Some(0));
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("book.sqlite.damaged-"), "{said}");
    // Its log files, where there are any, are moved along under the same name.
    let is_database = |path: &PathBuf| path.to_str().unwrap().contains("damaged") && path.to_str().unwrap().ends_with('Z');
    let kept = std::fs::read_dir(desk.dir()).unwrap().map(|found| found.unwrap().path()).find(is_database);
    assert_eq!(std::fs::read(kept.unwrap()).unwrap(), b"not a database any more");
}

#[test]
fn every_verb_of_a_shift_works_and_the_export_tells_it_again() {
    let desk = Desk::new();
    let at = |hour: u32| format!("2026-03-02T{hour:02}:00:00-06:00");
    let steps: [&[&str]; 9] = [
        &["pump", "add", "P1", "--bore-mm", "180", "--stroke-mm", "1000"],
        &["fit", "--pump", "P1", "--cup", "A", "--already-in", "--age-m3", "300", "--pump-m3", "1000"],
        &["pour", "--pump", "P1", "--pour-m3", "80", "--pump-m3", "1080", "--concrete-bar", "65"],
        &["check", "--pump", "P1", "--pump-m3", "1080", "--level", "sand", "--liquid", "muddy", "--liquid-low", "--settled-ml", "40"],
        &["grade", "--pump", "P1", "--part", "guide-band", "--cup", "A", "--grade", "3"],
        &["measure", "--pump", "P1", "--part", "bore", "--cup", "A", "--measure", "bore_wear_mm", "--value", "0.35"],
        &["remove", "--pump", "P1", "--cup", "A", "--reason", "worn"],
        &["fit", "--pump", "P1", "--cup", "A"],
        &["pump", "set", "P1", "--drive-side", "piston"],
    ];
    for (step, hour) in steps.iter().zip(6..) {
        let output = desk.run(&[*step, &["--at", &at(hour), "--person", "Ana"]].concat());
        assert_eq!(output.status.code(), Some(0), "{step:?}: {output:?}");
    }
    let log = desk.log();
    let wrong = SealedEntry::from_text(log[4].clone()).unwrap().entry.head;
    assert_eq!((wrong.person.as_str(), wrong.at.to_rfc3339()), ("Ana", at(10)));
    assert_eq!(desk.run(&["withdraw", &wrong.id.to_string(), "--reason", "wrong pump"]).status.code(), Some(0));
    let (_, pumps) = desk.json(&["pump", "list"]);
    assert_eq!(pumps["pumps"][0]["spec"]["drive_side"], "piston");
    assert_eq!(pumps["pumps"][0]["gravest"], Value::Null, "the only grade was withdrawn");
    let out = desk.0.path().join("out");
    assert_eq!(desk.run(&["export", "--out", out.to_str().unwrap()]).status.code(), Some(0));
    let history = std::fs::read_to_string(out.join("history.csv")).unwrap();
    let events: Vec<&str> = history.lines().skip(1).map(|line| line.split(',').nth(3).unwrap()).collect();
    assert_eq!(events, ["in_use", "poured", "checked", "measured", "removed", "fitted"]);
    assert_eq!(desk.run(&["export", "--out", out.to_str().unwrap()]).status.code(), Some(2), "nothing is overwritten");
}
