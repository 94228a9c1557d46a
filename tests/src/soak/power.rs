//! Power cuts and failing disks under the same work.

// Helpers of tests may fail loudly like the tests themselves.
#![allow(clippy::unwrap_used, clippy::missing_panics_doc)]

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use gritbook_core::fieldbook::{BoxCheckDraft, FieldBook, GradeDraft, OpenOptions, PhotoInput};
use gritbook_core::model::{Cup, Grade, GradeSource, Part, PumpSpec};
use gritbook_core::outbox::{OutboxEvent, run_outbox};
use gritbook_depot::server::Settings;

use super::depot_process::DepotProcess;
use super::look::{AtDepot, Promised, copy_of, docs, finish, named_photos, open_copy};
use super::work::{PUMP, book_folder, now, open, run_options};
use crate::depot::photo_like;
use crate::direct::DirectDepot;
use crate::disk::cut::{Cut, Disk};
use crate::disk::{library, notes, watch};
use crate::draws::Draws;

const CUTS: [Cut; 6] = [Cut::All, Cut::Some, Cut::SomeInOrder, Cut::Nothing, Cut::Some, Cut::SomeInOrder];

/// What to run.
pub struct Plan {
    /// This program, which works as the mechanic's process when called with `work`.
    pub soak: PathBuf,
    /// The command `gritbook`.
    pub gritbook: PathBuf,
    /// Makes the choices.
    pub seed: u64,
}

/// What was done.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub struct Tally {
    /// Pieces of work that were noted, each cut off at many places.
    pub works: u32,
    /// Calls noted.
    pub calls: usize,
    /// Power cuts, or failing calls.
    pub cuts: u32,
    /// Promises held against what was left, over all cuts.
    pub promises: usize,
    /// What failing calls came to, by code.
    pub troubles: BTreeMap<String, u32>,
}

fn work(plan: &Plan, here: &Path, seed: u64, turns: u32, log: Option<&Path>, fail: Option<&str>, library: &Path) -> String {
    let mut command = Command::new(&plan.soak);
    // Two folders deep: their names have to be durable too.
    command.args(["work", "--seed", &seed.to_string(), "--turns", &turns.to_string()]).arg(here.join("yard"));
    if fail.is_some() {
        command.arg("--go-on");
    }
    watch(&mut command, library, here, log, fail);
    let output = command.stderr(Stdio::inherit()).output().unwrap();
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success() && !said.contains("fault "), "seed {seed}, {fail:?}: {} {said}", output.status);
    said
}

/// Work on a book, cut off at seeded places. Nothing where this machine cannot do it, which is said.
pub fn book_cut_off(plan: &Plan, cuts: u32) -> Option<Tally> {
    let library = library()?;
    let mut draws = Draws::new(plan.seed);
    let mut tally = Tally::default();
    while tally.cuts < cuts {
        let seed = draws.bits();
        let folder = tempfile::tempdir().unwrap();
        let (here, log) = (folder.path().join("disk"), folder.path().join("log"));
        std::fs::create_dir(&here).unwrap();
        work(plan, &here, seed, 24, Some(&log), None, library);
        let noted = Noted::read(seed, folder.path());
        assert!(noted.notes.len() > 200, "only {} calls were noted: {:?}", noted.notes.len(), noted.notes);
        let look = |left: &Path, promised: &Promised, draws: &mut Draws, turn: u32, when: &str| {
            look_at_book(&left.join("yard"), promised, draws, turn, when);
            promised.saves()
        };
        noted.cut_off(0, 40, &mut draws, &mut tally, Promised::hear, look);
    }
    Some(tally)
}

/// Work whose calls were noted: `disk` and `log` stand in its folder.
struct Noted<'a> {
    seed: u64,
    folder: &'a Path,
    log: Vec<u8>,
    notes: Vec<notes::Note>,
}

impl<'a> Noted<'a> {
    fn read(seed: u64, folder: &'a Path) -> Self {
        let log = std::fs::read(folder.join("log")).unwrap();
        let notes = notes::read(&log);
        Self { seed, folder, log, notes }
    }

    fn said(&self, note: &notes::Note) -> Option<&str> {
        let notes::Note::Said { text } = note else { return None };
        Some(std::str::from_utf8(&self.log[text.clone()]).unwrap())
    }

    /// Lays the disk anew as cuts at `many` seeded places from `from` on may have left it, each looked at with what was promised by
    /// then; `hear` takes in what was said, `look` gives how many promises it held against what was left.
    fn cut_off<P: Default>(
        &self,
        from: usize,
        many: usize,
        draws: &mut Draws,
        tally: &mut Tally,
        hear: impl Fn(&mut P, &str),
        mut look: impl FnMut(&Path, &P, &mut Draws, u32, &str) -> usize,
    ) {
        tally.works += 1;
        tally.calls += self.notes.len();
        let mut places: Vec<usize> = (0..many).map(|_| from + draws.index(self.notes.len() + 1 - from)).collect();
        places.sort_unstable();
        let (mut disk, mut promised, mut at) = (Disk::new(&self.log, &self.folder.join("disk")), P::default(), 0);
        for place in places {
            for note in &self.notes[at..place] {
                disk.take(note);
                self.said(note).into_iter().for_each(|said| hear(&mut promised, said));
            }
            at = place;
            let cut = CUTS[tally.cuts as usize % CUTS.len()];
            let left = self.folder.join("left");
            std::fs::create_dir(&left).unwrap();
            disk.lay(cut, draws, &left);
            let when = format!("seed {}, cut off after {place} calls, {cut:?}", self.seed);
            tally.promises += look(&left, &promised, draws, tally.cuts, &when);
            tally.cuts += 1;
            std::fs::remove_dir_all(&left).unwrap();
        }
    }
}

fn look_at_book(yard: &Path, promised: &Promised, draws: &mut Draws, turn: u32, when: &str) {
    let book = open(yard, "looks").unwrap_or_else(|error| panic!("{when}: {error:?}"));
    assert_eq!(book.opened().damaged_moved_to, None, "{when}");
    assert_eq!(book.opened().strange_files, Vec::<PathBuf>::new(), "{when}");
    promised.hold_against(&book, when);
    // It goes on after what is there, and all of it arrives.
    let pump = book.pump_named(PUMP).or_else(|_| book.add_pump(PumpSpec::assumed(PUMP), now())).unwrap();
    let photos = vec![PhotoInput::Bytes(photo_like(3_000, draws.bits()))];
    book.save_box_check(BoxCheckDraft { photos, note: "after".to_owned(), ..BoxCheckDraft::new(pump) }, now()).unwrap();
    assert!(book.verify().unwrap().sound, "{when}");
    if turn.is_multiple_of(8) {
        let depot = DirectDepot::open(&yard.join("depot"), Settings::default());
        let carrier = depot.enroll("phone", now().to_utc());
        finish(&book, &carrier, draws, when);
        assert_eq!(AtDepot::read(&carrier, &named_photos(&book)).docs, docs(&book), "{when}");
    }
}

/// Work on a disk of which one call fails, or each from some moment on, told and gone on with; then the disk is well again.
pub fn book_on_a_failing_disk(plan: &Plan, calls: u32) -> Option<Tally> {
    let library = library()?;
    let mut draws = Draws::new(plan.seed ^ 0xFA11);
    let mut tally = Tally::default();
    let kinds = [
        "write_eio",
        "write_enospc",
        "write_short",
        "read_eio",
        "read_short",
        "sync_eio",
        "rename_eio",
        "open_eio",
        "write_enospc+",
        "write_eio+",
    ];
    while tally.cuts < calls {
        let seed = draws.bits();
        let kind = kinds[tally.cuts as usize % kinds.len()];
        // Writes and reads are many, the others few.
        let most = if kind.starts_with("write") || kind.starts_with("read") { 300 } else { 40 };
        let fail = format!("{kind}:{}", 1 + draws.below(most));
        let folder = tempfile::tempdir().unwrap();
        let said = work(plan, folder.path(), seed, 20, None, Some(&fail), library);
        let mut promised = Promised::default();
        promised.hear(&said);
        let when = format!("seed {seed}, {fail}: {said}");
        if let Ok(files) = std::fs::read_dir(book_folder(&folder.path().join("yard"))) {
            let names: Vec<_> = files.map(|file| file.unwrap().file_name().into_string().unwrap()).collect();
            assert!(!names.iter().any(|name| name.contains("damaged")), "{when}: a well database was moved aside: {names:?}");
        }
        look_at_book(&folder.path().join("yard"), &promised, &mut draws, tally.cuts, &when);
        tally.cuts += 1;
        tally.works += 1;
        tally.promises += promised.saves();
        for (code, count) in promised.troubles {
            *tally.troubles.entry(code).or_default() += count;
        }
    }
    Some(tally)
}

/// Opens a book with its first, second, ... read failing once: how many troubles each time.
pub fn openings_with_a_failing_read(plan: &Plan, places: u32) -> Option<Vec<u32>> {
    let library = library()?;
    let folder = tempfile::tempdir().unwrap();
    work(plan, folder.path(), plan.seed, 12, None, None, library);
    let yard = folder.path().join("yard");
    let whole = docs(&open(&yard, "looks").unwrap());
    let troubles = (1..=places).map(|place| {
        let said = work(plan, folder.path(), plan.seed, 0, None, Some(&format!("read_eio:{place}")), library);
        let book = open(&yard, "looks").unwrap();
        assert_eq!(docs(&book), whole, "read {place}: {said}");
        assert!(
            !std::fs::read_dir(book_folder(&yard)).unwrap().any(|file| file.unwrap().file_name().to_string_lossy().contains("damaged"))
        );
        u32::try_from(said.matches("trouble").count()).unwrap()
    });
    Some(troubles.collect())
}

/// A depot that receives, cut off at seeded places; the phone has forgotten what it was told is there.
pub fn depot_cut_off(plan: &Plan, cuts: u32) -> Option<Tally> {
    let library = library()?;
    let mut draws = Draws::new(plan.seed ^ 0xDE90);
    let mut tally = Tally::default();
    while tally.cuts < cuts {
        let seed = draws.bits();
        let folder = tempfile::tempdir().unwrap();
        let (here, log) = (folder.path().join("disk"), folder.path().join("log"));
        std::fs::create_dir(&here).unwrap();
        let data = here.join("yard").join("depot");
        let environment = |command: &mut Command| watch(command, library, &here, Some(&log), None);
        let depot = DepotProcess::start_with(&plan.gritbook, &data, environment);
        let token = depot.enroll("phone");
        // The token, too, was promised.
        notes::say(&log, "enrolled\n");
        let book = a_days_work(&folder.path().join("phone"), &mut draws);
        let mut told = |event: &OutboxEvent| match event {
            OutboxEvent::EntrySent(id) => notes::say(&log, &format!("sent {id}\n")),
            OutboxEvent::PhotoSent(id) => notes::say(&log, &format!("sentphoto {id}\n")),
            _ => {}
        };
        let before = copy_of(&book, &folder.path().join("before"));
        let carrier = depot.carrier(&token);
        run_outbox(&book, &carrier, &run_options(&mut draws), &now, &mut told).unwrap();
        assert_eq!(book.outbox().unwrap(), []);
        drop(depot);
        let noted = Noted::read(seed, folder.path());
        let begun = noted.notes.iter().position(|note| noted.said(note) == Some("enrolled\n")).unwrap();
        let hear = |promised: &mut BTreeSet<String>, said: &str| {
            // The depot says things too.
            if let Some(("sent" | "sentphoto", id)) = said.trim_end().split_once(' ') {
                promised.insert(id.to_owned());
            }
        };
        let again = folder.path().join("again");
        let look = |left: &Path, promised: &BTreeSet<String>, draws: &mut Draws, _, when: &str| {
            look_at_depot(&left.join("yard").join("depot"), &token, promised, &before, &again, draws, when);
            promised.len()
        };
        noted.cut_off(begun + 1, 12, &mut draws, &mut tally, hear, look);
    }
    Some(tally)
}

fn look_at_depot(data: &Path, token: &str, promised: &BTreeSet<String>, before: &Path, again: &Path, draws: &mut Draws, when: &str) {
    let depot = DirectDepot::open(data, Settings::default());
    let carrier = depot.with_token(token);
    let photos = promised.iter().filter_map(|id| id.parse().ok()).collect();
    let there = AtDepot::read(&carrier, &photos);
    for id in promised.iter().filter(|id| id.len() < 64) {
        assert!(there.docs.iter().any(|doc| doc.contains(id.as_str())), "{when}: entry {id} was acknowledged and is lost");
    }
    // A phone that never heard any of it sends it all: what is there is there once, the rest comes.
    let book = open_copy(before, again);
    finish(&book, &carrier, draws, when);
    assert_eq!(AtDepot::read(&carrier, &named_photos(&book)).docs, docs(&book), "{when}");
    drop(book);
    std::fs::remove_dir_all(again).unwrap();
}

fn a_days_work(folder: &Path, draws: &mut Draws) -> FieldBook {
    let options = OpenOptions { person: "Rosa".to_owned(), device_name: "phone".to_owned() };
    let book = FieldBook::open(folder, &options, now()).unwrap();
    let pump = book.add_pump(PumpSpec::assumed(PUMP), now()).unwrap();
    for _ in 0..4 {
        let photos = vec![PhotoInput::Bytes(photo_like(10_000 + draws.index(200_000), draws.bits()))];
        let grade = GradeDraft {
            part: Part::Cup,
            cup: Some(Cup::A),
            grade: Grade::new(1).unwrap(),
            source: GradeSource::Eye,
            criteria: "soak".to_owned(),
            photos: Vec::new(),
        };
        book.save_box_check(BoxCheckDraft { photos, grades: vec![grade], ..BoxCheckDraft::new(pump) }, now()).unwrap();
    }
    book
}
