//! A depot in memory that cuts, delays, refuses and forgets as it is told, and what must hold whatever it does.

use std::collections::{BTreeMap, HashMap, VecDeque};
use std::path::Path;
use std::sync::Mutex;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use chrono::{DateTime, Duration, FixedOffset};
use proptest::prelude::*;

use super::*;
use crate::fieldbook::FieldBook;
use crate::fieldbook::{BoxCheckDraft, OpenOptions, PhotoInput};
use crate::ids::{DeviceId, PumpId};
use crate::model::outgoing::QueueState;
use crate::model::{PumpSpec, SealedEntry};
use crate::wire::v1::{
    CODE_REVOKED, CODE_TOO_LATE, CODE_USED, CodeShown, EntriesBatch, EntriesPage, LET_IN_PATH, LET_IN_SCHEMA, LetIn, UNKNOWN_CODE, Verdict,
    VerdictOutcome, Verdicts,
};

/// What the link or the depot does to one request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fate {
    /// All goes well.
    Well,
    /// Nothing arrives.
    LostOnTheWay,
    /// It arrives whole, the answer does not.
    AnswerLost,
    /// Half of the body arrives, no answer.
    HalfArrives,
    /// 503 with Retry-After.
    Busy,
    /// 401: the token was taken away for a while.
    TokenRefused,
    /// A login page answers with 200.
    LoginPage,
    /// The bytes were damaged on the way: 460.
    Damaged,
    /// The depot forgot its unfinished uploads.
    Forgets,
    /// The process dies after the request went out and before its answer was stored.
    ProcessDies,
    /// The person or the system stops the run.
    Stopped,
}

#[derive(Default)]
struct Upload {
    sha256: String,
    length: usize,
    bytes: Vec<u8>,
}

/// The depot's memory.
#[derive(Default)]
struct Memory {
    entries: BTreeMap<crate::ids::EntryId, (String, u32)>,
    order: Vec<String>,
    photos: HashMap<String, Vec<u8>>,
    uploads: HashMap<String, Upload>,
    fates: VecDeque<Fate>,
    refuse_photo: Option<String>,
    refuse_kind: Option<&'static str>,
    most_entries: usize,
    /// Every code that was shown, in order.
    codes: Vec<String>,
    /// What is wrong with each code, in the depot's word.
    refuse_code: Option<&'static str>,
    arrivals_before_photo: Vec<String>,
    requests: u32,
}

struct FakeDepot(Mutex<Memory>);

fn body_of(request: &Request) -> Vec<u8> {
    match &request.body {
        Body::Empty => Vec::new(),
        Body::Bytes(bytes) => bytes.clone(),
        Body::File { path, offset, length } => {
            let bytes = std::fs::read(path).unwrap();
            let (offset, length) = (usize::try_from(*offset).unwrap(), usize::try_from(*length).unwrap());
            bytes[offset..offset + length].to_vec()
        }
    }
}

fn answer(status: u16, headers: &[(&str, String)], body: Vec<u8>) -> Answer {
    Answer { status, headers: headers.iter().map(|(name, value)| ((*name).to_owned(), value.clone())).collect(), body }
}

impl Memory {
    fn serve(&mut self, request: &Request, body: &[u8]) -> Answer {
        let header = |name: &str| request.headers.iter().find(|(key, _)| key.eq_ignore_ascii_case(name)).map(|(_, value)| value.as_str());
        match request.method {
            Method::Post if request.path == LET_IN_PATH => {
                let shown: CodeShown = serde_json::from_slice(body).unwrap();
                self.codes.push(shown.code);
                if let Some(word) = self.refuse_code {
                    let told = format!(r#"{{"type":"urn:gritbook:problem:{word}","title":"refused","status":409}}"#);
                    return answer(409, &[("content-type", "application/problem+json".into())], told.into());
                }
                answer(200, &[], serde_json::to_vec(&LetIn { schema: LET_IN_SCHEMA.into(), name: "phone".into() }).unwrap())
            }
            Method::Post => {
                let metadata: HashMap<String, String> = header("Upload-Metadata")
                    .unwrap()
                    .split(',')
                    .map(|pair| pair.split_once(' ').unwrap())
                    .map(|(key, value)| (key.to_owned(), String::from_utf8(STANDARD.decode(value).unwrap()).unwrap()))
                    .collect();
                let (id, sha256) = (metadata["upload_id"].clone(), metadata["sha256"].clone());
                if self.refuse_photo.as_ref() == Some(&sha256) {
                    return answer(422, &[], Vec::new());
                }
                let length = header("Upload-Length").unwrap().parse().unwrap();
                let fresh = !self.uploads.contains_key(&id);
                let upload = self.uploads.entry(id.clone()).or_insert(Upload { sha256: sha256.clone(), length, bytes: Vec::new() });
                assert_eq!(upload.sha256, sha256, "one id, one photo");
                if fresh {
                    upload.bytes.extend_from_slice(body);
                }
                let offset = self.settle(&id);
                answer(201, &[("location", format!("/v1/photos/{id}")), ("upload-offset", offset.to_string())], Vec::new())
            }
            Method::Head | Method::Patch => {
                let id = request.path.rsplit('/').next().unwrap().to_owned();
                let Some(upload) = self.uploads.get_mut(&id) else { return answer(404, &[], Vec::new()) };
                if request.method == Method::Patch {
                    let offset: usize = header("Upload-Offset").unwrap().parse().unwrap();
                    if offset != upload.bytes.len() {
                        return answer(409, &[], Vec::new());
                    }
                    upload.bytes.extend_from_slice(body);
                }
                let offset = self.settle(&id);
                answer(204, &[("upload-offset", offset.to_string())], Vec::new())
            }
            Method::Put => self.put(body),
            Method::Get => {
                let query = request.path.split_once("after=").unwrap().1;
                let after: usize = query.split('&').next().unwrap().parse().unwrap_or(0);
                let page: Vec<_> = self.order.iter().skip(after).take(2).cloned().collect();
                let cursor = after + page.len();
                let entries = page.into_iter().map(|doc| serde_json::value::RawValue::from_string(doc).unwrap()).collect();
                let page = EntriesPage {
                    schema: "gritbook.entries/1".into(),
                    entries,
                    cursor: cursor.to_string(),
                    more: cursor < self.order.len(),
                };
                answer(200, &[], serde_json::to_vec(&page).unwrap())
            }
            Method::Delete => answer(204, &[], Vec::new()),
        }
    }

    /// A whole upload becomes a photo; its bytes must be what was promised.
    fn settle(&mut self, id: &str) -> usize {
        let upload = &self.uploads[id];
        if upload.bytes.len() == upload.length {
            assert_eq!(Sha256Hex::of(&upload.bytes).to_string(), upload.sha256);
            self.photos.insert(upload.sha256.clone(), upload.bytes.clone());
        }
        upload.bytes.len()
    }

    fn put(&mut self, body: &[u8]) -> Answer {
        let batch: EntriesBatch = serde_json::from_slice(body).unwrap();
        if batch.entries.len() > self.most_entries {
            return answer(413, &[], Vec::new());
        }
        let mut verdicts = Vec::new();
        for raw in batch.entries {
            let sealed = SealedEntry::from_text(raw.get().to_owned()).unwrap();
            let id = sealed.entry.head.id;
            let outcome = if self.refuse_kind == Some(sealed.entry.body.kind()) {
                VerdictOutcome::Refused { code: "not_wanted".into(), reason: "not this kind".into(), advice: "none".into() }
            } else if let Some((_, times)) = self.entries.get_mut(&id) {
                *times += 1;
                VerdictOutcome::AlreadyThere
            } else {
                for photo in sealed.entry.body.photos() {
                    if !self.photos.contains_key(&photo.to_string()) {
                        self.arrivals_before_photo.push(photo.to_string());
                    }
                }
                self.entries.insert(id, (sealed.doc.clone(), 1));
                self.order.push(sealed.doc.clone());
                VerdictOutcome::Stored
            };
            verdicts.push(Verdict { id: Some(id), hash: sealed.hash, outcome });
        }
        answer(200, &[], serde_json::to_vec(&Verdicts { schema: "gritbook.verdicts/1".into(), verdicts }).unwrap())
    }
}

impl Transport for FakeDepot {
    fn carry(&self, request: &Request) -> Result<Answer, TransportFault> {
        let mut memory = self.0.lock().unwrap();
        memory.requests += 1;
        assert!(memory.requests < 2_000, "the outbox spins");
        let cut = || TransportFault { kind: TransportFaultKind::Cut, reason: "cut".into() };
        let body = body_of(request);
        let is_chunk = matches!(request.method, Method::Post | Method::Patch);
        match memory.fates.pop_front().unwrap_or(Fate::Well) {
            Fate::Well | Fate::ProcessDies => Ok(memory.serve(request, &body)),
            Fate::LostOnTheWay => Err(TransportFault { kind: TransportFaultKind::Offline, reason: "no signal".into() }),
            Fate::AnswerLost => {
                memory.serve(request, &body);
                Err(cut())
            }
            Fate::HalfArrives => {
                if is_chunk {
                    memory.serve(request, &body[..body.len() / 2]);
                }
                Err(cut())
            }
            Fate::Busy => Ok(answer(503, &[("retry-after", "7".to_owned())], Vec::new())),
            Fate::TokenRefused => Ok(answer(401, &[], Vec::new())),
            Fate::LoginPage => Ok(answer(200, &[("content-type", "text/html".to_owned())], b"<html>sign in</html>".to_vec())),
            Fate::Damaged if is_chunk => Ok(answer(460, &[], Vec::new())),
            Fate::Damaged => Err(cut()),
            Fate::Forgets => {
                memory.uploads.clear();
                Ok(memory.serve(request, &body))
            }
            Fate::Stopped => Err(TransportFault { kind: TransportFaultKind::Cancelled, reason: "stopped".into() }),
        }
    }
}

fn start() -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339("2026-03-02T07:15:00-06:00").unwrap()
}

fn open(folder: &Path, now: DateTime<FixedOffset>) -> FieldBook {
    FieldBook::open(folder, &OpenOptions { person: "Ana".into(), device_name: "test".into() }, now).unwrap()
}

fn settings() -> OutboxSettings {
    OutboxSettings { chunk_bytes: 40, batch_entries: 5, ..OutboxSettings::default() }
}

fn photo(number: u8) -> Vec<u8> {
    let mut bytes = vec![0xFF, 0xD8, 0xFF, number];
    bytes.extend((0..100 + u32::from(number) * 13).map(|index| (index % 251) as u8));
    bytes
}

/// A book with three checks; the first two share a photo, one has two photos.
fn filled(folder: &Path) -> (FieldBook, PumpId) {
    let book = open(folder, start());
    let pump = book.add_pump(PumpSpec::assumed("P1"), start()).unwrap();
    for (minute, photos) in [(1, vec![1]), (2, vec![1, 2]), (3, vec![])] {
        let draft = BoxCheckDraft {
            photos: photos.into_iter().map(|number| PhotoInput::Bytes(photo(number))).collect(),
            note: format!("check {minute}"),
            ..BoxCheckDraft::new(pump)
        };
        book.save_box_check(draft, start() + Duration::minutes(minute)).unwrap();
    }
    (book, pump)
}

/// Runs the outbox until nothing is left to do, over any pauses, restarts and deaths. `pull` once at the end of each run.
fn run_to_the_end(folder: &Path, mut book: FieldBook, depot: &FakeDepot, pull: bool) -> FieldBook {
    let mut now = start() + Duration::hours(1);
    let mut outbox = Outbox::new(settings(), 7, pull);
    loop {
        now += Duration::milliseconds(30);
        match outbox.next(&book, now).unwrap() {
            Next::Nothing => return book,
            Next::WaitUntil(until) => {
                assert!(until.timestamp_millis() > now.timestamp_millis());
                now = until.with_timezone(now.offset());
            }
            Next::Send { ticket, request } => {
                let dies = depot.0.lock().unwrap().fates.front() == Some(&Fate::ProcessDies);
                let result = depot.carry(&request);
                if dies {
                    drop((ticket, outbox, book));
                    book = open(folder, now);
                    outbox = Outbox::new(settings(), 11, pull);
                } else {
                    outbox.answer(&book, ticket, &result, now).unwrap();
                }
            }
        }
    }
}

fn fake(fates: impl IntoIterator<Item = Fate>) -> FakeDepot {
    FakeDepot(Mutex::new(Memory { fates: fates.into_iter().collect(), most_entries: 3, ..Memory::default() }))
}

fn assert_all_arrived(book: &FieldBook, depot: &FakeDepot) {
    let memory = depot.0.lock().unwrap();
    assert_eq!(book.outbox().unwrap(), [], "the queue is empty");
    let ours = book.entries().unwrap();
    assert_eq!(memory.entries.len(), ours.len());
    for sealed in &ours {
        assert_eq!(memory.entries[&sealed.entry.head.id].0, sealed.doc, "verbatim");
    }
    for number in [1, 2] {
        assert_eq!(memory.photos[&Sha256Hex::of(&photo(number)).to_string()], photo(number));
    }
    assert_eq!(memory.photos.len(), 2);
    assert_eq!(memory.arrivals_before_photo, Vec::<String>::new(), "no entry before its photo");
    assert!(book.verify().unwrap().sound);
}

#[test]
fn everything_arrives_over_a_good_link_in_few_requests() {
    let folder = tempfile::tempdir().unwrap();
    let (book, _) = filled(folder.path());
    let depot = fake([]);
    let book = run_to_the_end(folder.path(), book, &depot, false);
    assert_all_arrived(&book, &depot);
    // 117 and 130 bytes in chunks of 40: 3 and 4 requests; entries: the pump, the first check, the second and the third.
    assert_eq!(depot.0.lock().unwrap().requests, 3 + 4 + 3);
    assert!(depot.0.lock().unwrap().entries.values().all(|(_, times)| *times == 1));
}

#[test]
fn batch_that_is_too_large_for_the_depot_is_split_until_it_fits() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(folder.path(), start());
    let pump = book.add_pump(PumpSpec::assumed("P1"), start()).unwrap();
    for minute in 0..9 {
        book.save_box_check(BoxCheckDraft { note: "n".into(), ..BoxCheckDraft::new(pump) }, start() + Duration::minutes(minute)).unwrap();
    }
    let depot = fake([]);
    depot.0.lock().unwrap().most_entries = 1;
    let book = run_to_the_end(folder.path(), book, &depot, false);
    assert_eq!(book.outbox().unwrap(), []);
    assert_eq!(depot.0.lock().unwrap().entries.len(), 10);
}

#[test]
fn refused_photo_is_parked_with_its_reason_and_its_entry_goes_all_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let (book, _) = filled(folder.path());
    let depot = fake([]);
    let refused = Sha256Hex::of(&photo(1)).to_string();
    depot.0.lock().unwrap().refuse_photo = Some(refused.clone());
    let book = run_to_the_end(folder.path(), book, &depot, false);
    let left = book.outbox().unwrap();
    assert_eq!(left.len(), 1);
    assert_eq!(left[0].state, QueueState::Parked);
    assert_eq!(left[0].trouble.as_ref().unwrap().code, "depot_refused");
    assert_eq!(depot.0.lock().unwrap().entries.len(), 4);
    assert_eq!(depot.0.lock().unwrap().arrivals_before_photo, [refused.clone(), refused.clone()]);
    // The person retries after the office changed its mind.
    depot.0.lock().unwrap().refuse_photo = None;
    book.retry(left[0].item).unwrap();
    let book = run_to_the_end(folder.path(), book, &depot, false);
    assert_eq!(book.outbox().unwrap(), []);
    assert!(depot.0.lock().unwrap().photos.contains_key(&refused));
}

#[test]
fn refused_entry_is_parked_and_dropping_it_keeps_the_record() {
    let folder = tempfile::tempdir().unwrap();
    let (book, pump) = filled(folder.path());
    let depot = fake([]);
    depot.0.lock().unwrap().refuse_kind = Some("pump_set");
    let book = run_to_the_end(folder.path(), book, &depot, false);
    let left = book.outbox().unwrap();
    assert_eq!((left.len(), left[0].trouble.as_ref().unwrap().code.as_str()), (1, "not_wanted"));
    assert_eq!(book.pump_summary(pump).unwrap().waiting, 1);
    book.drop_item(left[0].item).unwrap();
    assert_eq!(book.outbox().unwrap()[0].state, QueueState::Dropped);
    assert_eq!(book.pump_summary(pump).unwrap().waiting, 0);
    assert_eq!(book.entries().unwrap().len(), 4);
    assert!(book.verify().unwrap().sound);
    assert_eq!(book.drop_item(999).unwrap_err().code(), "no_such_item");
}

#[test]
fn photo_whose_file_is_gone_is_parked_and_told_and_not_fatal() {
    let folder = tempfile::tempdir().unwrap();
    let (book, _) = filled(folder.path());
    let gone = Sha256Hex::of(&photo(2));
    std::fs::remove_file(book.photo_path(&gone).unwrap()).unwrap();
    let damaged = Sha256Hex::of(&photo(1));
    std::fs::write(book.photo_path(&damaged).unwrap(), b"\xFF\xD8\xFFdamaged").unwrap();
    let depot = fake([]);
    let book = run_to_the_end(folder.path(), book, &depot, false);
    let codes: Vec<_> = book.outbox().unwrap().into_iter().map(|item| item.trouble.unwrap().code).collect();
    assert_eq!(codes, ["photo_damaged", "photo_missing"]);
    assert_eq!(depot.0.lock().unwrap().entries.len(), 4);
    let report = book.verify().unwrap();
    assert!(!report.sound);
    assert_eq!((report.photos_missing, report.photos_damaged), (vec![gone], vec![damaged]));
}

#[test]
fn depot_that_never_keeps_a_byte_makes_the_queue_wait_instead_of_spinning() {
    let folder = tempfile::tempdir().unwrap();
    let (book, _) = filled(folder.path());
    let depot = fake([Fate::Damaged; 60]);
    let book = run_to_the_end(folder.path(), book, &depot, false);
    assert_all_arrived(&book, &depot);
}

#[test]
fn token_taken_away_parks_nothing_and_pauses_the_queue() {
    let folder = tempfile::tempdir().unwrap();
    let (book, _) = filled(folder.path());
    let depot = fake([Fate::TokenRefused; 50]);
    let options = RunOptions { settings: settings(), seed: 1, pull: true, now_please: true, code: None };
    let report = run_outbox(&book, &depot, &options, &start, &mut |_| {}).unwrap();
    let Ended::Paused { trouble: Some(trouble), .. } = report.ended else { panic!("{report:?}") };
    assert_eq!((trouble.code.as_str(), report.requests), ("depot_refused_token", 1));
    assert!(book.outbox().unwrap().iter().all(|item| item.state == QueueState::Waiting));
    assert_eq!(book.outbox_pause().unwrap().unwrap().failures, 1);
}

#[test]
fn code_is_shown_before_anything_else_until_it_was_taken_and_then_no_more() {
    let folder = tempfile::tempdir().unwrap();
    let (book, _) = filled(folder.path());
    let depot = fake([Fate::LostOnTheWay, Fate::LoginPage, Fate::AnswerLost]);
    let options = RunOptions { settings: settings(), seed: 1, pull: false, now_please: true, code: Some("c0de".into()) };
    let mut let_in = 0;
    let mut run = || run_outbox(&book, &depot, &options, &start, &mut |event| let_in += u32::from(*event == OutboxEvent::LetIn)).unwrap();
    for turn in [0, 1, 2] {
        let report = run();
        assert!(matches!(report.ended, Ended::Paused { .. }) && report.requests == 1, "{turn}: {report:?}");
    }
    assert_eq!(run().ended, Ended::Finished);
    assert_eq!((let_in, depot.0.lock().unwrap().codes.as_slice()), (1, &["c0de".to_owned(), "c0de".to_owned()][..]));
    assert_all_arrived(&book, &depot);
}

#[test]
fn code_that_is_never_taken_turns_the_device_away_and_one_that_may_yet_be_taken_does_not() {
    for (word, for_good) in [(CODE_USED, true), (UNKNOWN_CODE, true), (CODE_TOO_LATE, true), (CODE_REVOKED, true), ("too_many", false)] {
        let folder = tempfile::tempdir().unwrap();
        let (book, _) = filled(folder.path());
        let depot = fake([]);
        depot.0.lock().unwrap().refuse_code = Some(word);
        let options = RunOptions { settings: settings(), seed: 1, pull: false, now_please: true, code: Some("c0de".into()) };
        let mut events = Vec::new();
        let report = run_outbox(&book, &depot, &options, &start, &mut |event| events.push(event.clone())).unwrap();
        assert!(matches!(report.ended, Ended::Paused { trouble: Some(_), .. }) && report.requests == 1, "{report:?}");
        assert_eq!(events.contains(&OutboxEvent::TurnedAway), for_good, "{word}: {events:?}");
        assert!(book.outbox().unwrap().iter().all(|item| item.state == QueueState::Waiting), "nothing is parked for it");
        // With what let it in before, everything goes.
        let before = RunOptions { code: None, ..options };
        assert_eq!(run_outbox(&book, &depot, &before, &start, &mut |_| {}).unwrap().ended, Ended::Finished);
        assert_all_arrived(&book, &depot);
    }
}

#[test]
fn second_phone_sees_the_first_ones_work_and_both_agree_on_the_pump() {
    let (one, two) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let (first, pump) = filled(one.path());
    let second = open(two.path(), start());
    let same = second.add_pump(PumpSpec { bore_mm: 180.0, ..PumpSpec::assumed("p1") }, start() + Duration::days(1)).unwrap();
    assert_eq!(same, pump, "two phones that name the same pump mean the same pump");
    let depot = fake([]);
    let first = run_to_the_end(one.path(), first, &depot, true);
    let second = run_to_the_end(two.path(), second, &depot, true);
    let first = run_to_the_end(one.path(), first, &depot, true);
    let texts = |book: &FieldBook| book.entries().unwrap().into_iter().map(|sealed| sealed.doc).collect::<Vec<_>>();
    assert_eq!(texts(&first), texts(&second));
    assert_eq!(texts(&first).len(), 5);
    assert_eq!(first.pump(pump).unwrap().bore_mm, 180.0, "the last writer by hybrid time holds on both");
    assert_eq!(second.pump(pump).unwrap().bore_mm, 180.0);
    assert!(first.verify().unwrap().sound && second.verify().unwrap().sound);
    assert_eq!(second.verify().unwrap().photos_elsewhere, 2);
    assert_eq!(first.outbox().unwrap(), [], "what came from others is not sent back");
}

/// The answer to the first request is lost: the second asks for the upload's place alone, for bytes sent along again would not count.
#[test]
fn photo_whose_first_answer_was_lost_sends_no_byte_twice() {
    struct Counting(FakeDepot, Mutex<u64>);
    impl Transport for Counting {
        fn carry(&self, request: &Request) -> Result<Answer, TransportFault> {
            if let Body::File { length, .. } = &request.body {
                *self.1.lock().unwrap() += length;
            }
            self.0.carry(request)
        }
    }
    let folder = tempfile::tempdir().unwrap();
    let (book, _) = filled(folder.path());
    let depot = Counting(fake([Fate::Well, Fate::AnswerLost]), Mutex::new(0));
    let options = RunOptions { settings: settings(), seed: 1, pull: false, now_please: true, code: None };
    while run_outbox(&book, &depot, &options, &start, &mut |_| {}).unwrap().ended != Ended::Finished {}
    assert_all_arrived(&book, &depot.0);
    assert_eq!(*depot.1.lock().unwrap(), (photo(1).len() + photo(2).len()) as u64);
}

#[test]
fn two_phones_that_set_a_pump_in_the_same_moment_come_to_the_same_figures() {
    let folders = [tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap()];
    let depot = fake([]);
    let mut books: Vec<_> = folders
        .iter()
        .zip([180.0, 230.0])
        .map(|(folder, bore_mm)| {
            let book = open(folder.path(), start());
            book.add_pump(PumpSpec { bore_mm, ..PumpSpec::assumed("P1") }, start()).unwrap();
            book
        })
        .collect();
    for turn in [0, 1, 0] {
        let book = books.remove(turn);
        books.insert(turn, run_to_the_end(folders[turn].path(), book, &depot, true));
    }
    let pump = books[0].pump_named("P1").unwrap();
    assert_eq!(books[0].entries().unwrap(), books[1].entries().unwrap());
    assert_eq!(books[0].pump(pump).unwrap(), books[1].pump(pump).unwrap());
}

#[test]
fn entry_with_a_known_id_and_another_text_is_kept_aside_and_told() {
    let folder = tempfile::tempdir().unwrap();
    let (book, _) = filled(folder.path());
    let depot = fake([]);
    let book = run_to_the_end(folder.path(), book, &depot, false);
    {
        let mut memory = depot.0.lock().unwrap();
        let forged = memory.order[1].replace("check 1", "check 9");
        memory.order.push(forged);
        memory.order.push("{\"not\":\"an entry\"}".into());
    }
    let book = run_to_the_end(folder.path(), book, &depot, true);
    let aside = book.set_aside().unwrap();
    assert_eq!(aside.len(), 2);
    assert!(aside[0].doc.contains("check 9"));
    assert!(!book.verify().unwrap().sound);
    assert!(book.entries().unwrap().iter().all(|sealed| !sealed.doc.contains("check 9")));
}

#[test]
fn phone_decades_ahead_does_not_drag_the_other_clock_along() {
    let (one, two) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let future = DateTime::parse_from_rfc3339("2099-01-01T00:00:00Z").unwrap();
    let ahead = open(one.path(), future);
    ahead.add_pump(PumpSpec::assumed("P9"), future).unwrap();
    let depot = fake([]);
    run_to_the_end(one.path(), ahead, &depot, false);
    let (book, pump) = filled(two.path());
    let book = run_to_the_end(two.path(), book, &depot, true);
    let id =
        book.save_box_check(BoxCheckDraft { note: "n".into(), ..BoxCheckDraft::new(pump) }, start() + Duration::hours(2)).unwrap().check;
    let head = book.entry(id).unwrap().entry.head;
    assert_eq!(head.hlc.ms, (start() + Duration::hours(2)).timestamp_millis());
    assert!(book.pump_named("P9").is_ok(), "its entries are taken in all the same");
}

#[test]
fn book_restored_from_an_older_copy_goes_on_after_its_own_entries_at_the_depot() {
    let folder = tempfile::tempdir().unwrap();
    let (book, pump) = filled(folder.path());
    drop(book);
    let copy = tempfile::tempdir().unwrap();
    std::fs::copy(folder.path().join("book.sqlite"), copy.path().join("book.sqlite")).unwrap();
    let book = open(folder.path(), start());
    book.save_box_check(BoxCheckDraft { note: "after the copy".into(), ..BoxCheckDraft::new(pump) }, start()).unwrap();
    let depot = fake([]);
    run_to_the_end(folder.path(), book, &depot, false);
    let restored = open(copy.path(), start());
    let restored = run_to_the_end(copy.path(), restored, &depot, true);
    assert_eq!(restored.entries().unwrap().len(), 5);
    restored.save_box_check(BoxCheckDraft { note: "goes on".into(), ..BoxCheckDraft::new(pump) }, start()).unwrap();
    let own: Vec<DeviceId> =
        restored.verify().unwrap().devices.into_iter().filter(|chain| chain.breaks.is_empty()).map(|chain| chain.device).collect();
    assert_eq!(own, [restored.device()]);
}

fn any_fate() -> impl Strategy<Value = Fate> {
    prop_oneof![
        3 => Just(Fate::Well),
        2 => Just(Fate::LostOnTheWay),
        2 => Just(Fate::AnswerLost),
        2 => Just(Fate::HalfArrives),
        2 => Just(Fate::ProcessDies),
        1 => Just(Fate::Busy),
        1 => Just(Fate::TokenRefused),
        1 => Just(Fate::LoginPage),
        1 => Just(Fate::Damaged),
        1 => Just(Fate::Forgets),
        1 => Just(Fate::Stopped),
    ]
}

proptest! {
    // Each case writes a real book with fsyncs: some tens of ms.
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn prop_whatever_the_link_does_nothing_is_lost_or_doubled(fates in proptest::collection::vec(any_fate(), 0..40), pull in any::<bool>()) {
        let folder = tempfile::tempdir().unwrap();
        let (book, _) = filled(folder.path());
        let depot = fake(fates);
        let book = run_to_the_end(folder.path(), book, &depot, pull);
        assert_all_arrived(&book, &depot);
        prop_assert_eq!(book.entries().unwrap().len(), 4);
    }
}
