//! A little of the soak in every test run; `gritbook-soak` has the long runs (tests/README.md).

use std::path::PathBuf;

use gritbook_system_tests::soak::kills::{Plan, run};

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
