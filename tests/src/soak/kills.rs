//! The round: a book and a depot of their own, processes that work and are killed, and a look after it.

// Helpers of tests may fail loudly like the tests themselves.
#![allow(clippy::unwrap_used, clippy::missing_panics_doc)]

use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use gritbook_core::fieldbook::{BoxCheckDraft, FieldBook, OpenOptions};
use gritbook_core::model::PumpSpec;
use tempfile::TempDir;

use super::depot_process::{DepotProcess, Killer, enroll};
use super::look::{AtDepot, Promised, docs, finish, lay_old_book, named_photos};
use super::work::{PUMP, book_folder, now, open};
use crate::draws::Draws;

/// What to run.
pub struct Plan {
    /// This program, which works as the mechanic's process when called with `work`.
    pub soak: PathBuf,
    /// The command `gritbook`.
    pub gritbook: PathBuf,
    /// The same seed makes the same choices; when the kernel runs what is not the seed's.
    pub seed: u64,
    /// How many kills of the mechanic's process at least.
    pub kills: u32,
}

/// What was done.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub struct Tally {
    /// Rounds: each a new book and depot.
    pub rounds: u32,
    /// Kills of the mechanic's process.
    pub kills: u32,
    /// Of them while an older book was brought to this version, or just after.
    pub migrating: u32,
    /// Kills of the depot.
    pub depot_kills: u32,
    /// Times that everything was looked at.
    pub looks: u32,
    /// Saves that were promised, and held against the book at each look.
    pub saves: usize,
    /// Entries that arrived, each once.
    pub entries: usize,
    /// Photos that arrived.
    pub photos: usize,
}

/// Rounds until the kills are done. Panics at the first thing that does not hold, and leaves that round's folder.
pub fn run(plan: &Plan, mut after_round: impl FnMut(&Tally)) -> Tally {
    let mut draws = Draws::new(plan.seed);
    let mut tally = Tally::default();
    while tally.kills < plan.kills {
        let seed = draws.bits();
        let folder = tempfile::tempdir().unwrap();
        round(plan, seed, &folder, &mut tally);
        tally.rounds += 1;
        after_round(&tally);
    }
    tally
}

fn spawn(plan: &Plan, folder: &Path, seed: u64, depot: Option<(&DepotProcess, &str)>) -> Child {
    let mut command = Command::new(&plan.soak);
    command.args(["work", "--seed", &seed.to_string()]).arg(folder);
    if let Some((depot, token)) = depot {
        command.args(["--depot", &depot.url(), "--token", token]);
    }
    command.env_remove("GRITBOOK_FAILPOINT").stdout(Stdio::piped()).stderr(Stdio::inherit()).spawn().unwrap()
}

fn killed(mut child: Child) -> String {
    child.kill().unwrap();
    let mut said = Vec::new();
    child.stdout.take().unwrap().read_to_end(&mut said).unwrap();
    let status = child.wait().unwrap();
    let said = String::from_utf8(said).unwrap();
    assert!(status.code().is_none(), "the process ended by itself, {status}: {said}");
    said
}

fn round(plan: &Plan, seed: u64, folder: &TempDir, tally: &mut Tally) {
    let mut draws = Draws::new(seed);
    let (here, data) = (folder.path(), folder.path().join("depot"));
    let tokens = [enroll(&data, "phone"), enroll(&data, "other")];
    let depot = Arc::new(DepotProcess::start(&plan.gritbook, &data));
    let other = other_phone(here, &depot, &tokens[1], &mut draws);
    let mut promised = Promised::default();
    if let Some(version @ 1..) = Some(u32::try_from(draws.below(4)).unwrap()).filter(|version| *version < 3) {
        promised.old = migrate(plan, here, version, &mut draws, tally);
    }
    let killer = draws.one_in(2).then(|| Killer::begin(Arc::clone(&depot), draws.bits(), Duration::from_millis(250)));
    let mut seen = std::collections::BTreeSet::new();
    for series in 0..8_u32 {
        let when = format!("round {seed}, series {series}, {}", here.display());
        // Killed again before anybody looked.
        for _ in 0..=draws.below(3) {
            let child = spawn(plan, here, draws.bits(), Some((&depot, &tokens[0])));
            let most = if draws.one_in(4) { 30 } else { 140 };
            std::thread::sleep(draws.wait(Duration::from_millis(most)));
            promised.hear(&killed(child));
            tally.kills += 1;
        }
        let book = open(here, "looks").unwrap();
        assert_eq!(book.opened().damaged_moved_to, None, "{when}");
        assert!(book.opened().strange_files.is_empty(), "{when}: {:?}", book.opened().strange_files);
        promised.hold_against(&book, &when);
        let carrier = depot.carrier(&tokens[0]);
        finish(&book, &carrier, &mut draws, &when);
        let new: std::collections::BTreeSet<_> = named_photos(&book).difference(&seen).copied().collect();
        let there = AtDepot::read(&carrier, &new);
        assert_eq!(docs(&book), there.docs, "{when}: the depot has what the book has");
        seen.extend(new);
        tally.looks += 1;
    }
    if let Some(killer) = killer {
        tally.depot_kills += killer.end();
    }
    let when = format!("round {seed}, at its end, {}", here.display());
    let book = open(here, "looks").unwrap();
    let carrier = depot.carrier(&tokens[0]);
    let there = AtDepot::read(&carrier, &seen);
    promised.hold_against_depot(&there, &when);
    finish(&other, &depot.carrier(&tokens[1]), &mut draws, &when);
    assert_eq!(docs(&other), docs(&book), "{when}: both phones have the same entries");
    assert!(other.verify().unwrap().sound, "{when}");
    tally.saves += promised.saves();
    tally.entries += there.docs.len();
    tally.photos += seen.len();
}

/// Another phone, whose work the first one reads.
fn other_phone(here: &Path, depot: &DepotProcess, token: &str, draws: &mut Draws) -> FieldBook {
    let options = OpenOptions { person: "other".to_owned(), device_name: "other".to_owned() };
    let book = FieldBook::open(&here.join("other"), &options, now()).unwrap();
    let pump = book.add_pump(PumpSpec::assumed(PUMP), now()).unwrap();
    for _ in 0..3 {
        book.save_box_check(BoxCheckDraft { note: "other".to_owned(), ..BoxCheckDraft::new(pump) }, now()).unwrap();
    }
    finish(&book, &depot.carrier(token), draws, "the other phone begins");
    book
}

/// Kills while an older book is brought to this version, each on the old book laid anew; without a depot, which would know what an
/// earlier one of them wrote. The last one's is worked on. Gives its entries.
fn migrate(plan: &Plan, here: &Path, version: u32, draws: &mut Draws, tally: &mut Tally) -> std::collections::BTreeSet<String> {
    let mut old = std::collections::BTreeSet::new();
    for _ in 0..6 {
        lay_old_book(&book_folder(here), version);
        let _ = std::fs::remove_file(here.join("under_way"));
        let child = spawn(plan, here, draws.bits(), None);
        std::thread::sleep(draws.wait(Duration::from_millis(40)));
        let said = killed(child);
        tally.kills += 1;
        tally.migrating += 1;
        let book = open(here, "looks").unwrap();
        assert_eq!(book.opened().damaged_moved_to, None);
        let report = book.verify().unwrap();
        // The second version's fixture holds one text that was kept aside.
        assert!(report.sound || (version == 2 && report.set_aside == 1), "version {version}: {report:?}");
        assert!(report.photos_damaged.is_empty() && report.photos_missing.is_empty() && report.database.is_none(), "{report:?}");
        assert!(report.devices.iter().all(|chain| chain.breaks.is_empty()), "version {version}: {report:?}");
        // What the fixture wrote; its people are not ours.
        let of_old = |person: &str| !said.contains(&format!("try {person} ")) && person != "other";
        let entries = book.entries().unwrap();
        old = entries.iter().filter(|sealed| of_old(&sealed.entry.head.person)).map(|sealed| sealed.entry.head.id.to_string()).collect();
        assert!(old.len() >= 3, "version {version} had more than {} entries", old.len());
        if said.contains("try ") {
            // It came to work already: begun anew, for this is about the schema.
            lay_old_book(&book_folder(here), version);
            let _ = std::fs::remove_file(here.join("under_way"));
        }
    }
    if version == 2 {
        // Some of its entries are at another depot: the round goes on with a new book.
        std::fs::remove_dir_all(book_folder(here)).unwrap();
        old.clear();
    }
    old
}
