//! `gritbook repair`: a copy with what was offered, the history itself as it was.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail loudly, as the tests do")]

use std::path::Path;
use std::process::Command;

use serde_json::Value;

const BAD: &str = "at,pump,event,pump_m3,concrete_bar,level\n2026-01-01T06:00:00-06:00,P,counter,1000,,\n\
                   2026-01-02T06:00:00-06:00,P,counter,1386.4 yd3,,\n2026-01-03T06:00:00-06:00,P,checked,1100,,Lumps\n";

fn repair(history: &Path, out: &Path) -> (Option<i32>, Value) {
    let output = Command::new(env!("CARGO_BIN_EXE_gritbook-under-test"))
        .args(["repair", "--json"])
        .arg(history)
        .arg("--out")
        .arg(out)
        .output()
        .unwrap();
    (output.status.code(), serde_json::from_slice(&output.stdout).unwrap())
}

#[test]
fn copy_holds_what_was_offered_reads_as_a_history_and_the_file_stays_as_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let (history, out) = (folder.path().join("fleet.csv"), folder.path().join("repaired.csv"));
    std::fs::write(&history, BAD).unwrap();
    let (status, document) = repair(&history, &out);
    assert_eq!((status, document["schema"].as_str()), (Some(0), Some("gritbook.repaired/1")), "{document}");
    let put_in: Vec<_> =
        document["rows"].as_array().unwrap().iter().map(|row| (row["line"].clone(), row["repair"]["value"].clone())).collect();
    assert_eq!(put_in, [(3.into(), "1059.979".into()), (4.into(), "3".into())]);
    assert_eq!(std::fs::read_to_string(&history).unwrap(), BAD);
    assert_eq!(std::fs::read_to_string(&out).unwrap(), BAD.replace("1386.4 yd3", "1059.979").replace("Lumps", "3"));
    assert_eq!(repair(&out, &folder.path().join("again.csv")).1["error"]["code"], "nothing_to_repair");
}

#[test]
fn nothing_that_is_there_is_written_over() {
    let folder = tempfile::tempdir().unwrap();
    let (history, other) = (folder.path().join("fleet.csv"), folder.path().join("other.csv"));
    std::fs::write(&history, BAD).unwrap();
    std::fs::write(&other, "mine").unwrap();
    for out in [&history, &other] {
        let (status, document) = repair(&history, out);
        assert_eq!((status, document["error"]["code"].as_str()), (Some(2), Some("file_exists")), "{document}");
    }
    assert_eq!((std::fs::read_to_string(&history).unwrap().as_str(), std::fs::read_to_string(&other).unwrap().as_str()), (BAD, "mine"));
}

#[test]
fn row_that_nothing_can_be_offered_for_keeps_the_copy_back() {
    let folder = tempfile::tempdir().unwrap();
    let (history, out) = (folder.path().join("fleet.csv"), folder.path().join("repaired.csv"));
    std::fs::write(&history, format!("{BAD}2026-01-04T06:00:00-06:00,P,counter,\"1,060\",,\n")).unwrap();
    let (status, document) = repair(&history, &out);
    assert_eq!((status, document["error"]["code"].as_str()), (Some(2), Some("bad_rows")), "{document}");
    assert!(!out.exists());
}
