//! The whole way: a book filled out of signal, a link that breaks again and again, and a depot that has every byte in the end.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail loudly, as the tests do")]

use std::cell::Cell;
use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::Path;

use chrono::{DateTime, FixedOffset, TimeDelta};
use gritbook_core::debris::reading::LevelCode;
use gritbook_core::fieldbook::{BoxCheckDraft, FieldBook, GradeDraft, OpenOptions, PhotoInput};
use gritbook_core::ids::{PhotoId, Sha256Hex};
use gritbook_core::model::entry::{Liquid, SealedEntry};
use gritbook_core::model::part::{Cup, Grade, GradeSource, Part};
use gritbook_core::model::pump::PumpSpec;
use gritbook_core::outbox::{Body, Ended, Method, OutboxSettings, Request, RunOptions, RunReport, Transport as _, run_outbox};
use gritbook_core::wire::v1::EntriesPage;
use gritbook_depot::client::HttpTransport;
use gritbook_depot::server::archive::{Archive as _, SqliteArchive};
use gritbook_depot::server::{RunningDepot, Settings, make_token, start, token_hash};
use gritbook_system_tests::depot::photo_like;
use gritbook_system_tests::fault_proxy::{Fault, FaultProxy, Link};
use tempfile::TempDir;

fn morning() -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339("2026-09-21T06:30:00-06:00").unwrap()
}

fn depot(data: &Path) -> RunningDepot {
    start(data, "127.0.0.1:0".parse::<SocketAddr>().unwrap(), Settings::default(), false).unwrap()
}

fn enroll(data: &Path, name: &str) -> String {
    let token = make_token().unwrap();
    let archive = SqliteArchive::open(data).unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
    runtime.block_on(archive.enroll(name.into(), token_hash(&token), morning().to_utc())).unwrap();
    token
}

fn book(folder: &Path, person: &str) -> FieldBook {
    let options = OpenOptions { person: person.into(), device_name: format!("{person}'s phone") };
    FieldBook::open(folder, &options, morning()).unwrap()
}

fn spec(name: &str) -> PumpSpec {
    PumpSpec { stroke_mm: 1600.0, ..PumpSpec::assumed(name) }
}

/// A day's work on one pump: as many box checks as photos, with grades; gives the photos by name.
fn day_of_work(book: &FieldBook, photos: &[Vec<u8>]) -> BTreeMap<PhotoId, Vec<u8>> {
    let pump = book.add_pump(spec("Yard 4"), morning()).unwrap();
    for (number, photo) in (0_i64..).zip(photos) {
        let mut draft = BoxCheckDraft::new(pump);
        draft.pump_m3 = Some(1200.0 + number as f64 * 35.0);
        draft.photos = vec![PhotoInput::Bytes(photo.clone())];
        draft.level_by_eye = Some(LevelCode::SomeSand);
        draft.liquid = Some(Liquid::Grey);
        let grade = |cup, grade| GradeDraft {
            part: Part::Cup,
            cup: Some(cup),
            grade: Grade::new(grade).unwrap(),
            source: GradeSource::Eye,
            criteria: "1".into(),
            photos: Vec::new(),
        };
        draft.grades = vec![grade(Cup::A, 1), grade(Cup::B, 2)];
        book.save_box_check(draft, morning() + TimeDelta::minutes(20 * (number + 1))).unwrap();
    }
    photos.iter().map(|photo| (Sha256Hex::of(photo), photo.clone())).collect()
}

fn demo_photo(name: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/photos").join(name)).unwrap()
}

/// One run of the outbox over a fresh connection; the clock moves on by an hour with every run, so no pause is waited for.
fn run(book: &FieldBook, url: &str, token: &str, clock: &Cell<i64>, chunk_bytes: u64) -> RunReport {
    let transport = HttpTransport::new(url, token, None).unwrap();
    let settings = OutboxSettings { chunk_bytes, ..OutboxSettings::default() };
    let options = RunOptions { settings, seed: clock.get().unsigned_abs(), pull: true, now_please: false, code: None };
    clock.set(clock.get() + 1);
    let now = || morning() + TimeDelta::hours(24 + clock.get());
    run_outbox(book, &transport, &options, &now, &mut |_| {}).unwrap()
}

fn fetch(transport: &HttpTransport, path: &str, range: Option<String>) -> Vec<u8> {
    let headers = range.map(|range| ("Range".to_owned(), range)).into_iter().collect();
    let answer = transport.carry(&Request { method: Method::Get, path: path.into(), headers, body: Body::Empty }).unwrap();
    assert!(answer.status == 200 || answer.status == 206, "{path}: {}", answer.status);
    answer.body
}

/// Everything that the depot has, compared with everything that the book holds.
fn all_is_there_once(depot: &RunningDepot, data: &Path, token: &str, entries: &[SealedEntry], photos: &BTreeMap<PhotoId, Vec<u8>>) {
    let transport = HttpTransport::new(&depot.url(), token, None).unwrap();
    let page: EntriesPage = serde_json::from_slice(&fetch(&transport, "/v1/entries?limit=500", None)).unwrap();
    assert!(!page.more);
    let mut there: Vec<_> = page.entries.iter().map(|text| text.get().to_owned()).collect();
    let mut here: Vec<_> = entries.iter().map(|entry| entry.doc.clone()).collect();
    there.sort();
    here.sort();
    assert_eq!(there, here);
    for (name, bytes) in photos {
        let mut found = Vec::new();
        while found.len() < bytes.len() {
            found.extend(fetch(
                &transport,
                &format!("/v1/photos/{name}"),
                Some(format!("bytes={}-{}", found.len(), found.len() + 999_999)),
            ));
        }
        assert_eq!(Sha256Hex::of(&found), *name);
        assert_eq!(&found, bytes);
    }
    assert_eq!(std::fs::read_dir(data.join("photos")).unwrap().count(), photos.len());
    assert_eq!(std::fs::read_dir(data.join("incoming")).unwrap().count(), 0);
}

#[test]
fn link_cut_at_many_bytes_in_both_directions_loses_and_doubles_nothing() {
    let folder = TempDir::new().unwrap();
    let data = folder.path().join("depot");
    let depot = depot(&data);
    let token = enroll(&data, "phone");
    let proxy = FaultProxy::start(depot.address()).unwrap();
    let book = book(&folder.path().join("book"), "Rosa");
    let photos = day_of_work(&book, &[demo_photo("demo_sand.jpg"), photo_like(70_000, 1), photo_like(33_333, 2), photo_like(300, 3)]);
    let clock = Cell::new(0);
    let mut broken = 0;
    for number in 0..160_u64 {
        // From inside the first head to beyond a chunk; an odd step, so that the cuts fall everywhere.
        let at = 1 + number * 331 % 24_000;
        let link = match number % 5 {
            0..=2 => Link { up: Fault::Cut(at), ..Link::default() },
            3 => Link { down: Fault::Cut(at % 900), ..Link::default() },
            _ => Link { up: Fault::HalfClose(at), ..Link::default() },
        };
        proxy.set(link);
        let report = run(&book, &proxy.url(), &token, &clock, 16 * 1024);
        assert_eq!(report.parked, 0, "cut {number}: {:?}", book.outbox().unwrap());
        broken += u32::from(matches!(report.ended, Ended::Paused { .. }));
        if book.outbox().unwrap().is_empty() {
            break;
        }
    }
    assert!(broken > 20, "only {broken} runs met a broken link");
    proxy.set(Link::default());
    let report = run(&book, &proxy.url(), &token, &clock, 16 * 1024);
    assert_eq!((report.ended, report.parked), (Ended::Finished, 0));
    assert!(book.outbox().unwrap().is_empty());
    all_is_there_once(&depot, &data, &token, &book.entries().unwrap(), &photos);
    assert!(book.verify().unwrap().sound);
}

#[test]
fn byte_changed_on_the_way_is_noticed_and_sent_again() {
    let folder = TempDir::new().unwrap();
    let data = folder.path().join("depot");
    let depot = depot(&data);
    let token = enroll(&data, "phone");
    let proxy = FaultProxy::start(depot.address()).unwrap();
    let book = book(&folder.path().join("book"), "Rosa");
    let photos = day_of_work(&book, &[photo_like(90_000, 4)]);
    let clock = Cell::new(0);
    // Every connection changes one byte well inside the photo.
    proxy.set(Link { up: Fault::Flip(30_000), ..Link::default() });
    let first = run(&book, &proxy.url(), &token, &clock, 40_000);
    assert_eq!(first.parked, 0);
    // A clean run takes five requests: the photo in three parts, the entries, and the question for others' entries.
    assert!(first.requests > 5, "the changed byte was not noticed: {first:?}");
    proxy.set(Link::default());
    for _ in 0..3 {
        run(&book, &proxy.url(), &token, &clock, 40_000);
    }
    assert!(book.outbox().unwrap().is_empty(), "{:?}", book.outbox().unwrap());
    all_is_there_once(&depot, &data, &token, &book.entries().unwrap(), &photos);
}

#[test]
fn token_taken_away_midway_keeps_everything_and_a_new_one_finishes() {
    let folder = TempDir::new().unwrap();
    let data = folder.path().join("depot");
    let depot = depot(&data);
    let old = enroll(&data, "phone");
    let proxy = FaultProxy::start(depot.address()).unwrap();
    let book = book(&folder.path().join("book"), "Rosa");
    let photos = day_of_work(&book, &[photo_like(90_000, 5), photo_like(5000, 6)]);
    let clock = Cell::new(0);
    proxy.set(Link { up: Fault::Cut(30_000), ..Link::default() });
    run(&book, &proxy.url(), &old, &clock, 16 * 1024);
    let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
    runtime.block_on(SqliteArchive::open(&data).unwrap().revoke("phone".into(), morning().to_utc())).unwrap();
    let waiting = book.outbox().unwrap().len();
    let report = run(&book, &depot.url(), &old, &clock, 16 * 1024);
    match report.ended {
        // The depot's own code, or the outbox's where the answer was to a HEAD and so had no body.
        Ended::Paused { trouble: Some(trouble), .. } => {
            assert!(["token_revoked", "depot_refused_token"].contains(&trouble.code.as_str()), "{trouble:?}");
        }
        other => panic!("{other:?}"),
    }
    assert_eq!((report.parked, book.outbox().unwrap().len()), (0, waiting));
    // The upload that the old token began is gone on with.
    let new = enroll(&data, "phone");
    assert_eq!(run(&book, &depot.url(), &new, &clock, 16 * 1024).ended, Ended::Finished);
    all_is_there_once(&depot, &data, &new, &book.entries().unwrap(), &photos);
}

#[test]
fn depot_stopped_and_started_between_requests_is_the_same_depot() {
    let folder = TempDir::new().unwrap();
    let data = folder.path().join("depot");
    let book = book(&folder.path().join("book"), "Rosa");
    let photos = day_of_work(&book, &[photo_like(60_000, 7), photo_like(60_000, 8)]);
    let clock = Cell::new(0);
    let token = {
        let first = depot(&data);
        let token = enroll(&data, "phone");
        first.stop();
        token
    };
    for _ in 0..12 {
        let depot = depot(&data);
        let proxy = FaultProxy::start(depot.address()).unwrap();
        proxy.set(Link { up: Fault::Cut(21_000), ..Link::default() });
        assert_eq!(run(&book, &proxy.url(), &token, &clock, 16 * 1024).parked, 0);
        depot.stop();
    }
    let depot = depot(&data);
    assert_eq!(run(&book, &depot.url(), &token, &clock, 16 * 1024).ended, Ended::Finished);
    all_is_there_once(&depot, &data, &token, &book.entries().unwrap(), &photos);
}

#[test]
fn second_phone_sees_what_the_first_wrote_and_both_chains_are_sound() {
    let folder = TempDir::new().unwrap();
    let data = folder.path().join("depot");
    let depot = depot(&data);
    let (one, two) = (book(&folder.path().join("one"), "Rosa"), book(&folder.path().join("two"), "Luis"));
    let (token_one, token_two) = (enroll(&data, "one"), enroll(&data, "two"));
    let mut photos = day_of_work(&one, &[photo_like(3000, 9)]);
    photos.extend(day_of_work(&two, &[photo_like(4000, 10)]));
    let clock = Cell::new(0);
    for (book, token) in [(&one, &token_one), (&two, &token_two), (&one, &token_one)] {
        let report = run(book, &depot.url(), token, &clock, 1 << 20);
        assert_eq!((report.ended, report.parked, report.set_aside), (Ended::Finished, 0, 0));
    }
    let docs = |book: &FieldBook| {
        let mut docs: Vec<_> = book.entries().unwrap().into_iter().map(|entry| entry.doc).collect();
        docs.sort();
        docs
    };
    assert_eq!(docs(&one), docs(&two));
    assert_eq!(one.verify().unwrap().devices.len(), 2);
    assert!(one.verify().unwrap().sound && two.verify().unwrap().sound);
    all_is_there_once(&depot, &data, &token_one, &one.entries().unwrap(), &photos);
}
