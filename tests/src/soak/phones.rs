//! Some phones and a depot in one thread: a seed decides who does what when, and what becomes of every message.
//!
//! The phones are the real book and outbox, the depot is the real one without a socket. Each request is handed to a net that delivers
//! it, at any later moment or never or twice or in part, in any order; answers get lost after the depot has acted; phones die and
//! start again; their clocks are hours off and jump. When all that ends, everybody must come to the same record.

// Helpers of tests may fail loudly like the tests themselves.
#![allow(clippy::unwrap_used, clippy::missing_panics_doc)]

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use axum::body::Body;
use chrono::{DateTime, Duration, FixedOffset};
use gritbook_core::fieldbook::{BoxCheckDraft, FieldBook, GradeDraft, GradesDraft, OpenOptions, PhotoInput};
use gritbook_core::ids::PumpId;
use gritbook_core::model::entry::{EntryBody, Poured, SealedEntry};
use gritbook_core::model::{Cup, Grade, GradeSource, Part, PumpSpec};
use gritbook_core::outbox::{Next, Outbox, OutboxSettings, Request, Ticket, TransportFault, TransportFaultKind};
use gritbook_depot::server::Settings;

use super::look::{AtDepot, docs, named_photos};
use super::work::PUMP;
use crate::depot::photo_like;
use crate::direct::{Direct, DirectDepot, body_of, torn};
use crate::draws::Draws;

/// What happened, over all runs.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub struct Tally {
    /// Runs.
    pub runs: u32,
    /// Entries in the end, over all runs.
    pub entries: usize,
    /// Entries that two phones amended to different things.
    pub clashes: usize,
    /// Requests that never arrived.
    pub lost: u32,
    /// Answers that never arrived, the depot having acted.
    pub unheard: u32,
    /// Requests that arrived twice.
    pub doubled: u32,
    /// Requests that arrived after their phone had given up on them.
    pub late: u32,
    /// Requests of which a part arrived.
    pub torn: u32,
    /// Phones that died.
    pub deaths: u32,
    /// Starts of the depot on what it had.
    pub restarts: u32,
}

struct Phone {
    folder: PathBuf,
    book: FieldBook,
    outbox: Outbox,
    /// The request under way and its number.
    waits: Option<(Ticket, u64)>,
    clock_off: Duration,
    made: BTreeSet<String>,
    token: String,
}

struct Message {
    number: u64,
    from: usize,
    request: Request,
    body: Vec<u8>,
}

struct Run {
    draws: Draws,
    base: DateTime<FixedOffset>,
    phones: Vec<Phone>,
    net: Vec<Message>,
    sent: u64,
    depot: DirectDepot,
    data: PathBuf,
}

/// Runs of seeds that follow from `seed`. Panics with the run's own seed at the first thing that does not hold.
pub fn run(seed: u64, runs: u32) -> Tally {
    let mut draws = Draws::new(seed);
    let mut tally = Tally::default();
    for _ in 0..runs {
        one(draws.bits(), &mut tally);
        tally.runs += 1;
    }
    tally
}

/// Memory where there is some: it is the order of messages that is tried here, not the disk.
fn scratch() -> tempfile::TempDir {
    tempfile::tempdir_in("/dev/shm").or_else(|_| tempfile::tempdir()).unwrap()
}

fn cut() -> TransportFault {
    TransportFault { kind: TransportFaultKind::Cut, reason: "the link was cut".to_owned() }
}

fn outbox(draws: &mut Draws) -> Outbox {
    let settings = OutboxSettings {
        chunk_bytes: 500 + draws.below(4_000),
        batch_entries: 1 + draws.index(6),
        checksum_chunks: draws.one_in(2),
        page_entries: 1 + u32::try_from(draws.below(6)).unwrap(),
        ..OutboxSettings::default()
    };
    Outbox::new(settings, draws.bits(), true)
}

fn open(folder: &Path, now: DateTime<FixedOffset>) -> FieldBook {
    FieldBook::open(folder, &OpenOptions { person: "somebody".to_owned(), device_name: "phone".to_owned() }, now).unwrap()
}

/// One run; everything in it follows from `seed`, but for the names that entries are given.
pub fn one(seed: u64, tally: &mut Tally) {
    let mut draws = Draws::new(seed);
    let folder = scratch();
    let data = folder.path().join("depot");
    let depot = DirectDepot::open(&data, Settings::default());
    let base = DateTime::parse_from_rfc3339("2026-06-01T06:00:00Z").unwrap();
    let agree = draws.one_in(2);
    let phones = (0..2 + draws.index(3)).map(|index| {
        // In half of the runs all clocks agree to the millisecond: the device then decides what came last.
        let clock_off =
            if agree { Duration::zero() } else { Duration::seconds(i64::try_from(draws.below(48 * 3600)).unwrap() - 24 * 3600) };
        let folder = folder.path().join(format!("phone{index}"));
        let token = depot.enroll_token(&format!("phone {index}"), base.to_utc());
        let book = open(&folder, base + clock_off);
        Phone { folder, book, outbox: outbox(&mut draws), waits: None, clock_off, made: BTreeSet::new(), token }
    });
    let phones = phones.collect();
    let mut run = Run { draws, base, phones, net: Vec::new(), sent: 0, depot, data };
    // In half of the runs everybody knows some pours to begin with, which two may then amend at once.
    if run.draws.one_in(2) {
        let now = run.now(0);
        let phone = &mut run.phones[0];
        let pump = phone.book.add_pump(PumpSpec::assumed(PUMP), now).unwrap();
        for _ in 0..2 {
            let poured = Poured { pour_m3: Some(20.0), pump_m3: None, concrete_bar: None, mix_factor: None };
            phone.book.poured(pump, poured, now).unwrap();
        }
        phone.made.extend(own_last(&phone.book, 3));
        (0..run.phones.len()).for_each(|index| run.settle(index, seed));
    }
    for _ in 0..60 + run.draws.below(120) {
        run.step(tally);
    }
    if agree {
        run.all_at_once();
    }
    run.end(seed, tally);
}

impl Run {
    fn now(&self, phone: usize) -> DateTime<FixedOffset> {
        self.base + self.phones[phone].clock_off
    }

    fn carrier(&self, phone: usize) -> Direct {
        self.depot.with_token(&self.phones[phone].token)
    }

    fn step(&mut self, tally: &mut Tally) {
        // Whole seconds, and often none: two phones then write at the very same moment.
        self.base += Duration::seconds(i64::try_from(self.draws.below(3)).unwrap());
        let phone = self.draws.index(self.phones.len());
        match self.draws.below(20) {
            0..=4 => self.work(phone),
            5..=9 => self.send(phone),
            10..=15 => self.deliver(tally),
            16 => {
                // It gives up; the request may arrive all the same.
                self.hear(phone, None, &Err(cut()));
            }
            17 => {
                let now = self.now(phone);
                let fresh = outbox(&mut self.draws);
                let phone = &mut self.phones[phone];
                phone.waits = None;
                phone.outbox = fresh;
                phone.book = open(&phone.folder, now);
                tally.deaths += 1;
            }
            18 => {
                let days = if self.draws.one_in(8) { 4 } else { 0 };
                let hours = i64::try_from(self.draws.below(24)).unwrap() - 12;
                self.phones[phone].clock_off = Duration::hours(hours) + Duration::days(days);
            }
            _ => {
                self.depot = DirectDepot::open(&self.data, Settings::default());
                tally.restarts += 1;
            }
        }
    }

    fn work(&mut self, index: usize) {
        let now = self.now(index);
        let draws = &mut self.draws;
        let phone = &mut self.phones[index];
        let book = &phone.book;
        let pump = match book.pump_named(PUMP) {
            Ok(pump) => pump,
            Err(_) => {
                let spec = PumpSpec { bore_mm: 150.0 + draws.below(60) as f64, ..PumpSpec::assumed(PUMP) };
                let pump = book.add_pump(spec, now).unwrap();
                phone.made.extend(own_last(book, 1));
                pump
            }
        };
        let photo = |draws: &mut Draws| PhotoInput::Bytes(photo_like(200 + draws.index(9_000), draws.bits()));
        let grade = |cup| GradeDraft {
            part: Part::Cup,
            cup: Some(cup),
            grade: Grade::new(2).unwrap(),
            source: GradeSource::Eye,
            criteria: "soak".to_owned(),
            photos: Vec::new(),
        };
        let made = match draws.below(6) {
            0 | 1 => {
                let photos = (0..draws.below(3)).map(|_| photo(draws)).collect();
                let saved = book
                    .save_box_check(
                        BoxCheckDraft { photos, grades: vec![grade(Cup::A)], note: "soak".into(), ..BoxCheckDraft::new(pump) },
                        now,
                    )
                    .unwrap();
                std::iter::once(saved.check).chain(saved.grades).collect()
            }
            2 => book.save_grades(GradesDraft { pump, pump_m3: None, grades: vec![grade(Cup::B)], work: None }, now).unwrap(),
            3 => vec![book.set_pump(pump, PumpSpec { bore_mm: 150.0 + draws.below(60) as f64, ..book.pump(pump).unwrap() }, now).unwrap()],
            4 => {
                let poured = Poured { pour_m3: Some(20.0), pump_m3: None, concrete_bar: None, mix_factor: None };
                vec![book.poured(pump, poured, now).unwrap()]
            }
            _ => {
                let all = book.effective(pump).unwrap();
                let pours: Vec<_> = all.iter().filter(|one| matches!(one.sealed.entry.body, EntryBody::Poured(_))).collect();
                if pours.is_empty() {
                    return;
                }
                // Few to choose from, so that two phones choose the same.
                let chosen = &pours[draws.index(pours.len().min(3))].sealed.entry.head.id;
                let poured = Poured { pour_m3: Some(10.0 + draws.below(3) as f64), pump_m3: None, concrete_bar: None, mix_factor: None };
                let instead = if draws.one_in(3) { None } else { Some(EntryBody::Poured(poured)) };
                vec![book.amend(*chosen, "soak", instead, now).unwrap()]
            }
        };
        phone.made.extend(made.iter().map(ToString::to_string));
    }

    /// Everybody sets the pump's figures in the same millisecond of a later day.
    fn all_at_once(&mut self) {
        self.base += Duration::days(10);
        for phone in &mut self.phones {
            phone.clock_off = Duration::zero();
            if let Ok(pump) = phone.book.pump_named(PUMP) {
                let spec = PumpSpec { bore_mm: 150.0 + self.draws.below(60) as f64, ..phone.book.pump(pump).unwrap() };
                phone.made.insert(phone.book.set_pump(pump, spec, self.base).unwrap().to_string());
            }
        }
    }

    fn send(&mut self, index: usize) {
        let now = self.now(index);
        let phone = &mut self.phones[index];
        if phone.waits.is_some() {
            return;
        }
        phone.book.end_pause(now).unwrap();
        match phone.outbox.next(&phone.book, now).unwrap() {
            Next::Send { ticket, request } => {
                self.sent += 1;
                let body = body_of(&request);
                self.net.push(Message { number: self.sent, from: index, request, body });
                phone.waits = Some((ticket, self.sent));
            }
            // All sent and read: it asks anew the next time.
            Next::Nothing => phone.outbox = outbox(&mut self.draws),
            Next::WaitUntil(until) => panic!("the pause was ended, and it waits until {until}"),
        }
    }

    /// Tells a phone what came of its request; an answer to another request than the one it waits for is nobody's.
    fn hear(&mut self, index: usize, number: Option<u64>, result: &Result<gritbook_core::outbox::Answer, TransportFault>) -> bool {
        let now = self.now(index);
        let phone = &mut self.phones[index];
        let Some((ticket, waits_for)) = phone.waits.take() else { return false };
        if number.is_some_and(|number| number != waits_for) {
            phone.waits = Some((ticket, waits_for));
            return false;
        }
        phone.outbox.answer(&phone.book, ticket, result, now).unwrap();
        true
    }

    fn deliver(&mut self, tally: &mut Tally) {
        if self.net.is_empty() {
            return;
        }
        let chosen = self.draws.index(self.net.len());
        let message = self.net.swap_remove(chosen);
        let (from, number) = (message.from, message.number);
        tally.late += u32::from(self.phones[from].waits.as_ref().is_none_or(|(_, waits_for)| *waits_for != number));
        let carrier = self.carrier(from);
        match self.draws.below(10) {
            0 => {
                tally.lost += 1;
                self.hear(from, Some(number), &Err(cut()));
            }
            1 => {
                let part = message.body[..self.draws.index(message.body.len() + 1)].to_vec();
                carrier.carry_body(&message.request, torn(part));
                tally.torn += 1;
                self.hear(from, Some(number), &Err(cut()));
            }
            2 | 3 => {
                carrier.carry_body(&message.request, Body::from(message.body));
                tally.unheard += 1;
                self.hear(from, Some(number), &Err(cut()));
            }
            4 => {
                let answer = carrier.carry_body(&message.request, Body::from(message.body.clone()));
                self.hear(from, Some(number), &Ok(answer));
                self.net.push(message);
                tally.doubled += 1;
            }
            _ => {
                let answer = carrier.carry_body(&message.request, Body::from(message.body));
                self.hear(from, Some(number), &Ok(answer));
            }
        }
    }

    /// The link is well again. What is still under way arrives, then everybody sends and reads to the end, twice.
    fn end(mut self, seed: u64, tally: &mut Tally) {
        while let Some(message) = self.net.pop() {
            let answer = self.carrier(message.from).carry_body(&message.request, Body::from(message.body));
            self.hear(message.from, Some(message.number), &Ok(answer));
        }
        for index in (0..self.phones.len()).chain(0..self.phones.len()) {
            self.hear(index, None, &Err(cut()));
            self.settle(index, seed);
        }
        self.hold(seed, tally);
    }

    /// Sends and reads all there is, over a good link.
    fn settle(&mut self, index: usize, seed: u64) {
        self.phones[index].outbox = outbox(&mut self.draws);
        let now = self.now(index);
        let carrier = self.carrier(index);
        let phone = &mut self.phones[index];
        for requests in 0.. {
            phone.book.end_pause(now).unwrap();
            let Next::Send { ticket, request } = phone.outbox.next(&phone.book, now).unwrap() else { break };
            let answer = carrier.carry_body(&request, Body::from(body_of(&request)));
            phone.outbox.answer(&phone.book, ticket, &Ok(answer), now).unwrap();
            assert!(requests < 2_000, "run {seed}: phone {index} never ends: {:?}", phone.book.outbox().unwrap());
        }
    }

    fn hold(&self, seed: u64, tally: &mut Tally) {
        let mut photos = BTreeSet::new();
        for (index, phone) in self.phones.iter().enumerate() {
            let when = format!("run {seed}, phone {index}");
            assert_eq!(phone.book.outbox().unwrap(), [], "{when}: nothing waits, nothing is parked");
            let report = phone.book.verify().unwrap();
            assert!(report.sound, "{when}: {report:?}");
            let own = phone.book.entries().unwrap().into_iter().filter(|sealed| sealed.entry.head.device == phone.book.device());
            let own: Vec<String> = own.map(|sealed| sealed.entry.head.id.to_string()).collect();
            assert_eq!(own.len(), phone.made.len(), "{when}");
            assert_eq!(own.into_iter().collect::<BTreeSet<_>>(), phone.made, "{when}: what it made is there once");
            photos.extend(named_photos(&phone.book));
        }
        let there = AtDepot::read(&self.carrier(0), &photos);
        let first = &self.phones[0].book;
        let sealed = first.entries().unwrap();
        for (index, phone) in self.phones.iter().enumerate() {
            let when = format!("run {seed}, phone {index}");
            assert_eq!(docs(&phone.book), there.docs, "{when}: the same entries as at the depot");
            assert_eq!(phone.book.entries().unwrap(), sealed, "{when}: in the same order");
        }
        let Ok(pump) = first.pump_named(PUMP) else { return };
        let clashes = clashing(&sealed);
        for (index, phone) in self.phones.iter().enumerate() {
            let when = format!("run {seed}, phone {index}");
            assert_eq!(phone.book.pump(pump).unwrap(), last_set(&sealed, pump), "{when}: the last writer's figures hold");
            let shown =
                phone.book.effective(pump).unwrap().into_iter().filter(|one| one.clash).map(|one| one.sealed.entry.head.id.to_string());
            assert_eq!(shown.collect::<BTreeSet<_>>(), clashes, "{when}: clashes are shown");
        }
        tally.entries += sealed.len();
        tally.clashes += clashes.len();
    }
}

fn own_last(book: &FieldBook, count: u32) -> Vec<String> {
    let own = book.entries().unwrap().into_iter().filter(|sealed| sealed.entry.head.device == book.device());
    let mut own: Vec<_> = own.map(|sealed| (sealed.entry.head.seq, sealed.entry.head.id.to_string())).collect();
    own.sort();
    own.into_iter().rev().take(count as usize).map(|(_, id)| id).collect()
}

/// Entries that two devices amended to different things, from the texts alone.
fn clashing(entries: &[SealedEntry]) -> BTreeSet<String> {
    let mut amended: BTreeMap<String, BTreeSet<(String, String)>> = BTreeMap::new();
    for sealed in entries {
        let doc: serde_json::Value = serde_json::from_str(&sealed.doc).unwrap();
        if doc["kind"] == "amended" {
            let of = doc["body"]["amends"].as_str().unwrap().to_owned();
            amended.entry(of).or_default().insert((doc["device"].to_string(), doc["body"]["instead"].to_string()));
        }
    }
    let two = |all: &BTreeSet<(String, String)>| all.iter().any(|one| all.iter().any(|other| one.0 != other.0 && one.1 != other.1));
    amended.into_iter().filter(|(_, all)| two(all)).map(|(of, _)| of).collect()
}

/// The figures of the last that set them: by hybrid time, then by device.
fn last_set(entries: &[SealedEntry], pump: PumpId) -> PumpSpec {
    let set = entries.iter().filter(|sealed| sealed.entry.head.pump == pump).filter_map(|sealed| match &sealed.entry.body {
        EntryBody::PumpSet(spec) => Some((sealed.entry.head.hlc, sealed.entry.head.device, spec)),
        _ => None,
    });
    set.max_by_key(|(hlc, device, _)| (*hlc, device.to_string())).unwrap().2.clone()
}
