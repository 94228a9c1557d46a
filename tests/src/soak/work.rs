//! The mechanic's process: seeded work on one book, told line by line as it is tried and as it is saved.
//!
//! ```text
//! try TOKEN COUNT          about to save COUNT entries, all of which carry TOKEN as their person
//! ack TOKEN ENTRY,...      the save returned: these entries are promised
//! kept HASH                a photo without an entry is promised
//! sent ENTRY, sentphoto HASH   the depot's acknowledgement is stored
//! trouble CODE             something failed as it was made to, and was told
//! fault WHAT               something failed that must not
//! ```

// Helpers of tests may fail loudly like the tests themselves.
#![allow(clippy::unwrap_used, clippy::missing_panics_doc)]

use std::fmt::Display;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use chrono::{DateTime, FixedOffset, Utc};
use gritbook_core::CoreError;
use gritbook_core::changeout::Progress;
use gritbook_core::fieldbook::{BoxCheckDraft, ChangeOutEnd, FieldBook, GradeDraft, GradesDraft, OpenOptions, PhotoInput};
use gritbook_core::ids::{EntryId, PumpId, WorkId};
use gritbook_core::model::entry::{EntryBody, Poured, RemovalReason};
use gritbook_core::model::{Cup, Grade, GradeSource, Part, PumpSpec};
use gritbook_core::outbox::{OutboxEvent, OutboxSettings, RunOptions, run_outbox};

use super::depot_process::carrier;
use crate::depot::photo_like;
use crate::draws::Draws;

/// The pump that everybody works on.
pub const PUMP: &str = "P1";

/// What the process is told.
pub struct Orders {
    /// Holds the book and what is under way.
    pub folder: PathBuf,
    /// Makes the choices; every process of a folder has its own.
    pub seed: u64,
    /// Where the depot answers, and the token.
    pub depot: Option<(String, String)>,
    /// Ends by itself after so many turns; the book is closed and opened again now and then.
    pub turns: Option<u32>,
    /// What fails is told and done again or left, as people do; else the process ends.
    pub go_on: bool,
}

/// The book's folder below the orders' folder.
pub fn book_folder(folder: &Path) -> PathBuf {
    folder.join("book")
}

/// Opens the book.
///
/// # Errors
/// What opening gives.
pub fn open(folder: &Path, person: &str) -> Result<FieldBook, CoreError> {
    FieldBook::open(&book_folder(folder), &OpenOptions { person: person.to_owned(), device_name: "soak".to_owned() }, now())
}

/// The system's time.
pub fn now() -> DateTime<FixedOffset> {
    DateTime::<Utc>::from(SystemTime::now()).fixed_offset()
}

/// How the outbox is run here: parts so small that a photo takes several.
pub fn run_options(draws: &mut Draws) -> RunOptions {
    let settings = OutboxSettings {
        chunk_bytes: 8_000 + draws.below(60_000),
        batch_entries: 1 + draws.index(9),
        checksum_chunks: draws.one_in(2),
        page_entries: 7,
        ..OutboxSettings::default()
    };
    RunOptions { settings, seed: draws.bits(), pull: true, now_please: true, code: None }
}

fn say(line: impl Display) {
    // One write a line; a reader that is gone is the parent's end, which ends this process too.
    let _ = writeln!(std::io::stdout().lock(), "{line}");
}

/// Turns until a process that ends by itself closes the book and opens it again.
const TURNS_A_SITTING: u32 = 7;

/// After so many failures people put the phone away.
const MOST_TROUBLES: u32 = 25;

/// Works until killed, or until the turns are done.
pub fn work(orders: &Orders) {
    let mut draws = Draws::new(orders.seed);
    let mut turn = 0;
    let mut troubles = 0;
    loop {
        if let Err(error) = sitting(orders, &mut draws, &mut turn, &mut troubles) {
            if !orders.go_on {
                return say(format_args!("fault {}: {error}", error.code()));
            }
            troubles += 1;
            say(format_args!("trouble {}", error.code()));
            if troubles > MOST_TROUBLES {
                return;
            }
        }
        if orders.turns.is_some_and(|turns| turn >= turns) {
            return;
        }
    }
}

/// From opening the book to closing it.
fn sitting(orders: &Orders, draws: &mut Draws, turn: &mut u32, troubles: &mut u32) -> Result<(), CoreError> {
    let book = open(&orders.folder, "nobody yet")?;
    say("open");
    let mut hand = Hand { book, orders, draws: draws.clone(), turn: *turn };
    hand.again()?;
    for sitting in 0.. {
        if orders.turns.is_some_and(|turns| hand.turn >= turns || sitting >= TURNS_A_SITTING) {
            break;
        }
        hand.draws = Draws::new(draws.bits());
        let done = hand.one();
        *turn = hand.turn;
        match done {
            Ok(()) => {}
            Err(error) if orders.go_on && *troubles < MOST_TROUBLES => {
                *troubles += 1;
                say(format_args!("trouble {}", error.code()));
            }
            Err(error) => return Err(error),
        }
    }
    Ok(())
}

struct Hand<'a> {
    book: FieldBook,
    orders: &'a Orders,
    draws: Draws,
    turn: u32,
}

/// Work that a shell does again after a crash, because it never heard that it was saved.
const UNDER_WAY: &str = "under_way";

impl Hand<'_> {
    fn token(&mut self) -> String {
        self.turn += 1;
        format!("{:016x}-{}", self.orders.seed, self.turn)
    }

    /// Tells, saves, tells.
    fn save(
        &mut self,
        token: &str,
        count: usize,
        save: impl FnOnce(&FieldBook, &mut Draws) -> Result<Vec<EntryId>, CoreError>,
    ) -> Result<(), CoreError> {
        self.book.set_person(token)?;
        say(format_args!("try {token} {count}"));
        let ids = save(&self.book, &mut self.draws)?;
        let ids: Vec<String> = ids.iter().map(ToString::to_string).collect();
        say(format_args!("ack {token} {}", ids.join(",")));
        Ok(())
    }

    fn pump(&mut self) -> Result<PumpId, CoreError> {
        if self.book.pump_named(PUMP).is_err() {
            let token = self.token();
            self.save(&token, 1, |book, _| {
                book.add_pump(PumpSpec::assumed(PUMP), now())?;
                Ok(book.log(None, 1)?.iter().map(|sealed| sealed.entry.head.id).collect())
            })?;
        }
        self.book.pump_named(PUMP)
    }

    fn one(&mut self) -> Result<(), CoreError> {
        let pump = self.pump()?;
        let token = self.token();
        match self.draws.below(10) {
            0 | 1 => self.check(&token, pump),
            2 => self.grade(&token, pump),
            3 => self.photograph(),
            4 => self.change_out(&token, pump),
            5 => self.amend(&token, pump),
            6 => self.save(&token, 1, |book, draws| {
                let poured =
                    Poured { pour_m3: Some(10.0 + draws.below(50) as f64), pump_m3: None, concrete_bar: Some(60.0), mix_factor: None };
                Ok(vec![book.poured(pump, poured, now())?])
            }),
            7 => self.save(&token, 1, |book, draws| {
                let spec = PumpSpec { bore_mm: 150.0 + draws.below(80) as f64, ..book.pump(pump)? };
                Ok(vec![book.set_pump(pump, spec, now())?])
            }),
            _ => self.sync(),
        }
    }

    /// What was under way when the last process died is done again, under the name it had.
    fn again(&mut self) -> Result<(), CoreError> {
        let Ok(note) = std::fs::read_to_string(self.orders.folder.join(UNDER_WAY)) else { return Ok(()) };
        let (kind, rest) = note.split_once('\n').unwrap();
        let (token, rest) = rest.split_once('\n').unwrap();
        let pump = self.pump()?;
        if kind == "check" { self.save_check(token, pump, rest) } else { self.finish(token, &Progress::of_document(rest)?) }
    }

    /// Notes what is under way as a shell does: whole or not at all.
    fn note(&self, text: &str) {
        let part = self.orders.folder.join("under_way.part");
        std::fs::write(&part, text).unwrap();
        std::fs::rename(part, self.orders.folder.join(UNDER_WAY)).unwrap();
    }

    fn check(&mut self, token: &str, pump: PumpId) -> Result<(), CoreError> {
        let work = WorkId::new(now().to_utc());
        let rest = format!("{} {work}", self.draws.bits());
        self.note(&format!("check\n{token}\n{rest}"));
        self.save_check(token, pump, &rest)
    }

    fn save_check(&mut self, token: &str, pump: PumpId, rest: &str) -> Result<(), CoreError> {
        let (seed, work) = rest.split_once(' ').unwrap();
        let mut draws = Draws::new(seed.parse().unwrap());
        let photos = (0..draws.below(3)).map(|_| photo(&mut draws)).collect();
        let grades: Vec<_> = [Cup::A, Cup::B].into_iter().take(draws.index(3)).map(|cup| grade(cup, &mut draws)).collect();
        let draft = BoxCheckDraft {
            pump_m3: Some(1000.0),
            photos,
            grades: grades.clone(),
            work: Some(work.parse()?),
            note: "soak".to_owned(),
            ..BoxCheckDraft::new(pump)
        };
        self.save(token, 1 + grades.len(), |book, _| {
            let saved = book.save_box_check(draft, now())?;
            Ok(std::iter::once(saved.check).chain(saved.grades).collect())
        })?;
        let _ = std::fs::remove_file(self.orders.folder.join(UNDER_WAY));
        Ok(())
    }

    fn grade(&mut self, token: &str, pump: PumpId) -> Result<(), CoreError> {
        self.save(token, 2, |book, draws| {
            let mut grades = vec![grade(Cup::A, draws), grade(Cup::B, draws)];
            grades[0].photos.push(photo(draws));
            book.save_grades(GradesDraft { pump, pump_m3: None, grades, work: None }, now())
        })
    }

    fn photograph(&mut self) -> Result<(), CoreError> {
        let kept = self.book.keep_photo(&photo(&mut self.draws), now())?;
        say(format_args!("kept {kept}"));
        Ok(())
    }

    fn change_out(&mut self, token: &str, pump: PumpId) -> Result<(), CoreError> {
        let cups: &[Cup] = if self.draws.one_in(2) { &[Cup::A] } else { &[Cup::A, Cup::B] };
        let mut progress = Progress::begin(pump, self.book.pump(pump)?, cups, now())?;
        while let Some(step) = progress.next() {
            progress.mark(&step.key, None, Vec::new(), now())?;
        }
        self.note(&format!("change_out\n{token}\n{}", progress.document()));
        self.finish(token, &progress)
    }

    fn finish(&mut self, token: &str, progress: &Progress) -> Result<(), CoreError> {
        let cups = progress.begun.cups.len();
        let end = ChangeOutEnd {
            pump_m3: Some(1000.0),
            reasons: vec![RemovalReason::Worn; cups],
            parts_used: String::new(),
            note: String::new(),
        };
        self.save(token, 1 + 2 * cups, |book, _| {
            let saved = book.finish_change_out(progress, end, now())?;
            // Recorded before: only the work's own entry is told.
            Ok(std::iter::once(saved.work).chain(saved.lives).collect())
        })?;
        let _ = std::fs::remove_file(self.orders.folder.join(UNDER_WAY));
        Ok(())
    }

    fn amend(&mut self, token: &str, pump: PumpId) -> Result<(), CoreError> {
        let effective = self.book.effective(pump)?;
        let fits = |body: &EntryBody| matches!(body, EntryBody::BoxCheck(_) | EntryBody::Graded(_) | EntryBody::Poured(_));
        let all: Vec<_> = effective.into_iter().filter(|one| fits(&one.sealed.entry.body)).collect();
        if all.is_empty() {
            return Ok(());
        }
        let chosen = all[self.draws.index(all.len())].clone();
        self.save(token, 1, |book, draws| {
            let instead = if draws.one_in(2) { Some(chosen.sealed.entry.body.clone()) } else { None };
            Ok(vec![book.amend(chosen.sealed.entry.head.id, "soak", instead, now())?])
        })
    }

    fn sync(&mut self) -> Result<(), CoreError> {
        let Some((url, token)) = &self.orders.depot else { return Ok(()) };
        let options = run_options(&mut self.draws);
        let mut told = |event: &OutboxEvent| match event {
            OutboxEvent::EntrySent(id) => say(format_args!("sent {id}")),
            OutboxEvent::PhotoSent(id) => say(format_args!("sentphoto {id}")),
            OutboxEvent::Parked { trouble, .. } => say(format_args!("fault parked: {}: {}", trouble.code, trouble.reason)),
            _ => {}
        };
        run_outbox(&self.book, &carrier(url, token), &options, &now, &mut told)?;
        Ok(())
    }
}

fn photo(draws: &mut Draws) -> PhotoInput {
    PhotoInput::Bytes(photo_like(2_000 + draws.index(150_000), draws.bits()))
}

fn grade(cup: Cup, draws: &mut Draws) -> GradeDraft {
    GradeDraft {
        part: Part::Cup,
        cup: Some(cup),
        grade: Grade::new(u8::try_from(draws.below(5)).unwrap()).unwrap(),
        source: GradeSource::Eye,
        criteria: "soak".to_owned(),
        photos: Vec::new(),
    }
}
