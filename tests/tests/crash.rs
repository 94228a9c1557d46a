//! Kills the command at every named point between save and acknowledged send, and at random moments; then looks whether
//! what was acknowledged is there, nothing is lost or doubled, no row stands without its photo, and the chain is whole.
//!
//! A killed process keeps what the kernel has: this shows the order of steps, not a pulled battery.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail loudly, as the tests do")]

use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::Duration;

use gritbook_core::ids::Sha256Hex;
use gritbook_core::model::SealedEntry;
use gritbook_system_tests::depot::photo_like;
use gritbook_system_tests::soak::depot_process::DepotProcess;
use gritbook_system_tests::soak::look::AtDepot;
use serde_json::Value;
use tempfile::TempDir;

const GRITBOOK: &str = env!("CARGO_BIN_EXE_gritbook-under-test");

/// Every point of a save, in its order; true where the save is committed by then.
const SAVE_POINTS: [(&str, bool); 9] = [
    ("before_photo_write", false),
    ("photo_part_written", false),
    ("photo_renamed", false),
    ("photo_durable", false),
    ("check_before_transaction", false),
    ("check_photo_rows_written", false),
    ("check_entry_written", false),
    ("check_before_commit", false),
    ("check_committed", true),
];

/// Every point of a send.
const SEND_POINTS: [&str; 6] =
    ["outbox_next", "outbox_handed_out", "outbox_carried", "outbox_answered", "outbox_answer_before_commit", "outbox_answer_stored"];

/// A book in a folder, with a photo to take.
struct Scene {
    folder: TempDir,
    photo: PathBuf,
    bytes: Vec<u8>,
}

impl Scene {
    /// A book with one pump.
    fn new(seed: u64) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let bytes = photo_like(50_000, seed);
        let photo = folder.path().join("camera.jpg");
        std::fs::write(&photo, &bytes).unwrap();
        let scene = Self { folder, photo, bytes };
        assert!(scene.book(&["pump", "add", "P1"], None).status.success());
        scene
    }

    fn dir(&self) -> PathBuf {
        self.folder.path().join("book")
    }

    fn command(&self, verb: &[&str], failpoint: Option<&str>) -> Command {
        let mut command = Command::new(GRITBOOK);
        command.arg("book").arg(self.dir()).arg("--json").args(verb).env_remove("GRITBOOK_FAILPOINT").stdin(Stdio::null());
        if let Some(failpoint) = failpoint {
            command.env("GRITBOOK_FAILPOINT", failpoint);
        }
        command
    }

    fn book(&self, verb: &[&str], failpoint: Option<&str>) -> Output {
        self.command(verb, failpoint).output().unwrap()
    }

    fn check_verb(&self) -> Vec<String> {
        let photo = self.photo.to_str().unwrap();
        ["check", "--pump", "P1", "--pump-m3", "1250", "--photo", photo, "--level", "sand", "--grade", "A=2", "--grade", "B=1"]
            .map(str::to_owned)
            .to_vec()
    }

    fn check(&self, failpoint: Option<&str>) -> Output {
        let verb = self.check_verb();
        self.book(&verb.iter().map(String::as_str).collect::<Vec<_>>(), failpoint)
    }

    /// The sealed texts, oldest first.
    fn log(&self) -> Vec<String> {
        let output = self.book(&["log"], None);
        assert!(output.status.success(), "{output:?}");
        let mut lines: Vec<String> = String::from_utf8(output.stdout).unwrap().lines().map(str::to_owned).collect();
        lines.reverse();
        lines
    }

    /// The verify report, which must be sound.
    fn sound(&self, when: &str) -> Value {
        let output = self.book(&["verify"], None);
        let report: Value = serde_json::from_slice(&output.stdout).unwrap();
        assert!(output.status.success(), "{when}: {report}");
        assert_eq!(report["sound"], true, "{when}");
        report
    }

    fn waiting(&self) -> usize {
        let outbox: Value = serde_json::from_slice(&self.book(&["outbox"], None).stdout).unwrap();
        outbox["items"].as_array().unwrap().len()
    }

    fn photos(&self) -> Vec<String> {
        let names = std::fs::read_dir(self.dir().join("photos")).unwrap().map(|found| found.unwrap().file_name().into_string().unwrap());
        names.filter(|name| !name.starts_with('.')).collect()
    }
}

fn kinds(log: &[String]) -> Vec<String> {
    log.iter().map(|doc| SealedEntry::from_text(doc.clone()).unwrap().entry.body.kind().to_owned()).collect()
}

#[test]
fn process_killed_at_each_point_of_a_save_leaves_all_of_it_or_nothing() {
    for (index, (point, committed)) in SAVE_POINTS.into_iter().enumerate() {
        let scene = Scene::new(100 + index as u64);
        let output = scene.check(Some(&format!("{point}:abort")));
        assert!(!output.status.success() && output.status.code().is_none(), "{point} was not hit: {output:?}");
        scene.sound(point);
        let expected: &[&str] = if committed { &["pump_set", "box_check", "graded", "graded"] } else { &["pump_set"] };
        assert_eq!(kinds(&scene.log()), expected, "{point}");
        assert_eq!(scene.waiting(), if committed { 5 } else { 1 }, "{point}: an entry and its queue row live and die together");

        // The mechanic does it again: where the first was lost it is there once.
        if !committed {
            assert!(scene.check(None).status.success(), "{point}");
            assert_eq!(kinds(&scene.log()), ["pump_set", "box_check", "graded", "graded"], "{point}");
        }
        let report = scene.sound(point);
        assert_eq!(report["photos_sound"], 1, "{point}");
        assert_eq!(report["photos_unclaimed"].as_array().unwrap().len(), 0, "{point}");
        assert_eq!(scene.photos(), [format!("{}.jpg", Sha256Hex::of(&scene.bytes))], "{point}");
    }
}

#[test]
fn process_killed_while_a_grade_with_its_photo_is_saved_leaves_all_of_it_or_nothing() {
    let points = ["before_photo_write", "photo_renamed", "photo_durable", "grades_before_transaction"];
    for (index, point) in points.into_iter().enumerate() {
        let scene = Scene::new(400 + index as u64);
        let verb = ["grade", "--pump", "P1", "--cup", "A", "--grade", "2", "--photo", scene.photo.to_str().unwrap()];
        let output = scene.book(&verb, Some(&format!("{point}:abort")));
        assert!(!output.status.success() && output.status.code().is_none(), "{point} was not hit: {output:?}");
        scene.sound(point);
        assert_eq!((kinds(&scene.log()), scene.waiting()), (vec!["pump_set".to_owned()], 1), "{point}");
        assert!(scene.book(&verb, None).status.success(), "{point}");
        assert_eq!((kinds(&scene.log()).len(), scene.waiting()), (2, 3), "{point}: the grade and its photo, once");
        let report = scene.sound(point);
        assert_eq!((&report["photos_sound"], report["photos_unclaimed"].as_array().unwrap().len()), (&Value::from(1), 0), "{point}");
    }
}

#[test]
fn step_that_fails_at_each_point_of_a_save_is_told_and_saves_nothing() {
    for (index, (point, committed)) in SAVE_POINTS.into_iter().enumerate() {
        if committed {
            continue;
        }
        let scene = Scene::new(200 + index as u64);
        let output = scene.check(Some(&format!("{point}:error")));
        assert_eq!(output.status.code(), Some(1), "{point}: {output:?}");
        let document: Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(document["error"]["code"], "failpoint");
        assert_eq!(kinds(&scene.log()), ["pump_set"], "{point}");
        scene.sound(point);
    }
}

#[test]
fn process_killed_while_a_change_out_is_recorded_leaves_all_of_it_or_nothing_and_finishing_again_records_it_once() {
    let all = ["changed_out", "removed", "fitted"];
    for (index, (point, committed)) in [("change_out_entry_written", false), ("change_out_committed", true)].into_iter().enumerate() {
        let scene = Scene::new(300 + index as u64);
        let begun = scene.book(&["changeout", "--pump", "P1", "--cups", "A"], None);
        let mut state: Value = serde_json::from_slice(&begun.stdout).unwrap();
        while !state["next"].is_null() {
            let marked = scene.book(&["changeout", "--pump", "P1", "--done"], None);
            state = serde_json::from_slice(&marked.stdout).unwrap();
        }
        let finish = ["changeout", "--pump", "P1", "--finish", "--out", "A=worn"];
        let output = scene.book(&finish, Some(&format!("{point}:abort")));
        assert!(!output.status.success() && output.status.code().is_none(), "{point} was not hit: {output:?}");
        scene.sound(point);
        let after_the_pump = |log: &[String]| kinds(log)[1..].to_vec();
        assert_eq!(after_the_pump(&scene.log()), if committed { &all[..] } else { &[] }, "{point}");
        // The work under way is still a file: finished again, it stands once.
        assert!(scene.book(&finish, None).status.success(), "{point}");
        assert_eq!(after_the_pump(&scene.log()), all, "{point}");
        scene.sound(point);
    }
}

/// A point that no test kills at proves nothing.
#[test]
fn every_failpoint_of_the_core_is_one_that_a_test_kills_at() {
    fn sources(folder: &Path, all: &mut String) {
        for file in std::fs::read_dir(folder).unwrap() {
            let path = file.unwrap().path();
            if path.is_dir() {
                sources(&path, all);
            } else {
                all.push_str(&std::fs::read_to_string(&path).unwrap());
            }
        }
    }
    let mut core = String::new();
    sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../core/src"), &mut core);
    let tests = include_str!("crash.rs");
    let points: Vec<&str> = core.split("failpoint!(\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    assert!(points.len() > 10, "{points:?}");
    let unkilled: Vec<_> = points.into_iter().filter(|point| !tests.contains(&format!("\"{point}\""))).collect();
    assert_eq!(unkilled, [""; 0]);
}

#[test]
fn process_killed_while_the_schema_goes_up_goes_on_at_the_next_opening() {
    let sql = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/db/create_v1.sql")).unwrap();
    for point in ["migrate_before_commit", "migrate_step_done"] {
        let scene = Scene::new(300);
        let database = scene.dir().join("book.sqlite");
        std::fs::remove_file(&database).unwrap();
        rusqlite::Connection::open(&database).unwrap().execute_batch(&sql).unwrap();
        let photo = b"\xFF\xD8\xFF\xE0 begins like a photo, which is all the book asks";
        std::fs::write(scene.dir().join("photos").join(format!("{}.jpg", Sha256Hex::of(photo))), photo).unwrap();
        let output = scene.book(&["log"], Some(&format!("{point}:abort")));
        assert!(output.status.code().is_none(), "{point} was not hit: {output:?}");
        assert_eq!(scene.log().len(), 5, "{point}");
        scene.sound(point);
    }
}

#[test]
fn process_killed_at_random_moments_of_a_save_keeps_what_it_acknowledged() {
    let scene = Scene::new(400);
    let mut acknowledged = 0;
    for round in 0..25_u64 {
        let bytes = photo_like(200_000, 4_000 + round);
        std::fs::write(&scene.photo, &bytes).unwrap();
        let verb = scene.check_verb();
        let mut child = scene
            .command(&verb.iter().map(String::as_str).collect::<Vec<_>>(), None)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        // Steps of 3 ms from start to well after a save on an idle machine.
        std::thread::sleep(Duration::from_millis(3 * round));
        child.kill().unwrap();
        let mut said = String::new();
        child.stdout.take().unwrap().read_to_string(&mut said).unwrap();
        child.wait().unwrap();
        let log = scene.log();
        if let Ok(document) = serde_json::from_str::<Value>(&said) {
            let id = document["check"].as_str().unwrap();
            assert!(log.iter().any(|doc| doc.contains(id)), "round {round}: what was acknowledged is there");
            acknowledged += 1;
        }
        let checks = kinds(&log).iter().filter(|kind| *kind == "box_check").count();
        let grades = kinds(&log).iter().filter(|kind| *kind == "graded").count();
        assert_eq!(grades, 2 * checks, "round {round}: a check and its grades live and die together");
        assert!(checks >= acknowledged, "round {round}");
        scene.sound(&format!("round {round}"));
    }
}

#[test]
fn process_killed_at_each_point_of_a_send_loses_and_doubles_nothing() {
    let data = tempfile::tempdir().unwrap();
    let depot = DepotProcess::start(Path::new(GRITBOOK), data.path());
    let (url, token) = (depot.url(), depot.enroll("phone"));
    let mut seed = 500;
    let mut killed = 0;
    for point in SEND_POINTS {
        // The first time the point is passed, the second, ... until the whole run passes it.
        for strike in 1.. {
            assert!(strike < 40, "{point}: the run never ends");
            seed += 1;
            let scene = Scene::new(seed);
            assert!(scene.check(None).status.success());
            // 50,000 bytes in chunks of 20,000: a create, two patches, then the entries.
            let sync = ["sync", "--depot", &url, "--token", &token, "--chunk-bytes", "20000", "--no-pull"];
            let output = scene.book(&sync, Some(&format!("{point}:abort:{strike}")));
            let passed = output.status.success();
            assert!(passed || output.status.code().is_none(), "{point} {strike}: {output:?}");
            killed += u32::from(!passed);
            scene.sound(point);
            if !passed {
                assert!(scene.book(&sync, None).status.success(), "{point} {strike}");
            }
            assert_eq!(scene.waiting(), 0, "{point} {strike}");
            // Reading holds that each entry is there once, and the photo's bytes against its hash.
            let there = AtDepot::read(&depot.carrier(&token), &[Sha256Hex::of(&scene.bytes)].into());
            for doc in scene.log() {
                assert!(there.docs.contains(&doc), "{point} {strike}: verbatim");
            }
            if passed {
                break;
            }
        }
    }
    assert!(killed > 20, "only {killed} kills: the points are not where they should be");
}
