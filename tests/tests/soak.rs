//! A little of the soak in every test run; `gritbook-soak` has the long runs (tests/README.md).

use std::path::PathBuf;
use std::time::Duration;

use gritbook_depot::client::Patience;
use gritbook_system_tests::soak::kills::{Plan, run};
use gritbook_system_tests::soak::thin_link::{self, Thin};
use gritbook_system_tests::soak::{load, phones, power};

fn power_plan(seed: u64) -> power::Plan {
    power::Plan {
        soak: PathBuf::from(env!("CARGO_BIN_EXE_gritbook-soak")),
        gritbook: PathBuf::from(env!("CARGO_BIN_EXE_gritbook-under-test")),
        seed,
    }
}

#[test]
fn power_cut_at_random_moments_takes_nothing_that_was_promised() {
    let Some(tally) = power::book_cut_off(&power_plan(1), 120) else { return };
    assert!(tally.promises > 300, "{tally:?}");
    let Some(tally) = power::depot_cut_off(&power_plan(1), 24) else { return };
    assert!(tally.promises > 24, "{tally:?}");
}

#[test]
fn disk_that_fails_fills_or_reads_short_is_told_and_takes_nothing_that_was_promised() {
    let Some(tally) = power::book_on_a_failing_disk(&power_plan(1), 60) else { return };
    assert!(tally.troubles.contains_key("storage_full") && tally.troubles.contains_key("book_failed"), "{tally:?}");
}

#[test]
fn read_that_fails_once_at_any_place_of_an_opening_moves_no_database_aside() {
    let Some(troubles) = power::openings_with_a_failing_read(&power_plan(1), 30) else { return };
    // SQLite itself calls some of these damage.
    assert!(troubles.iter().sum::<u32>() > 0);
}

#[test]
fn phones_and_a_depot_over_a_link_that_loses_doubles_and_delays_come_to_the_same_record() {
    let tally = phones::run(1, 150);
    assert!(tally.clashes > 20 && tally.lost > 200 && tally.doubled > 200 && tally.late > 200 && tally.torn > 200, "{tally:?}");
}

/// The same link as `thin-link` plays, forty times as quick.
#[test]
fn photos_over_a_link_that_is_cut_again_and_again_take_at_most_a_tenth_more_bytes() {
    let patience = Patience { connect: Duration::from_secs(2), silence: Duration::from_millis(500), answer: Duration::from_millis(1500) };
    let thin =
        Thin { rate: 240_000, delay: Duration::ZERO, cut_after: Duration::from_millis(500), photos: 3, photo_bytes: 600_000, patience };
    let took = thin_link::run(thin, 1);
    assert!(took.faults >= 8, "{took:?}");
    assert!(took.up_bytes as f64 <= 1.1 * took.photo_bytes as f64, "{took:?}");
}

#[test]
fn phones_at_once_are_all_taken_in_without_an_error_and_in_little_memory() {
    let dir = tempfile::tempdir().unwrap();
    let gritbook = PathBuf::from(env!("CARGO_BIN_EXE_gritbook-under-test"));
    let day = load::Day { gritbook, dir: dir.path().to_owned(), phones: 24, entries: 4, photos: 2, photo_bytes: 300_000 };
    let done = load::day(&day, false);
    assert!(done.errors.is_empty(), "{done:?}");
    // Only where proc(5) tells it.
    assert!(done.depot_mb < 300.0, "{done:?}");
}

#[test]
fn process_and_depot_killed_at_random_moments_of_mixed_work_lose_and_double_nothing() {
    let plan = Plan {
        soak: PathBuf::from(env!("CARGO_BIN_EXE_gritbook-soak")),
        gritbook: PathBuf::from(env!("CARGO_BIN_EXE_gritbook-under-test")),
        seed: 1,
        kills: 40,
    };
    let tally = run(&plan, |_| {});
    assert!(tally.looks >= 16 && tally.saves > 20 && tally.entries > 20, "{tally:?}");
}
