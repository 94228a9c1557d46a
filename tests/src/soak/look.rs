//! What must hold after a kill, whatever was under way.

// Helpers of tests may fail loudly like the tests themselves.
#![allow(clippy::unwrap_used, clippy::missing_panics_doc)]

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::time::Duration;

use gritbook_core::fieldbook::{FieldBook, OpenOptions};
use gritbook_core::ids::{PhotoId, Sha256Hex};
use gritbook_core::model::SealedEntry;
use gritbook_core::outbox::{Body, Ended, Method, Request, Transport, run_outbox};
use gritbook_core::wire::v1::EntriesPage;

use super::work::{now, run_options};
use crate::draws::Draws;

/// What a book's processes said, over all their lives.
#[derive(Debug, Default)]
pub struct Promised {
    /// Entries that each save holds where it is whole, by token.
    tried: BTreeMap<String, usize>,
    /// Entries that were promised, by token.
    acked: BTreeMap<String, Vec<String>>,
    kept: BTreeSet<PhotoId>,
    /// What the depot's acknowledgement was stored for.
    sent: BTreeSet<String>,
    /// What failed as it was made to, by code, how often.
    pub troubles: BTreeMap<String, u32>,
    /// Entries that were there before.
    pub old: BTreeSet<String>,
}

impl Promised {
    /// Takes in what one process said. Its last line may be torn off: then it was never said.
    pub fn hear(&mut self, said: &str) {
        for line in said.split_inclusive('\n').filter_map(|line| line.strip_suffix('\n')) {
            let words: Vec<&str> = line.split(' ').collect();
            match words[..] {
                ["open"] => {}
                ["try", token, count] => drop(self.tried.insert(token.to_owned(), count.parse().unwrap())),
                ["ack", token, ids] => {
                    let ids: Vec<String> = ids.split(',').map(str::to_owned).collect();
                    let known = self.acked.entry(token.to_owned()).or_default();
                    // Done again after a crash: the same entries, or the first of them.
                    assert!(known.is_empty() || known.starts_with(&ids), "{token} was saved twice: {known:?} and {ids:?}");
                    if known.is_empty() {
                        *known = ids;
                    }
                }
                ["kept", hash] => drop(self.kept.insert(hash.parse().unwrap())),
                ["sent" | "sentphoto", id] => drop(self.sent.insert(id.to_owned())),
                ["trouble", code] => *self.troubles.entry(code.to_owned()).or_default() += 1,
                _ => panic!("the process said `{line}`"),
            }
        }
    }

    /// How many saves were promised.
    pub fn saves(&self) -> usize {
        self.acked.len()
    }

    /// Holds the book against what was promised.
    pub fn hold_against(&self, book: &FieldBook, when: &str) {
        let report = book.verify().unwrap();
        assert!(report.sound, "{when}: {report:?}");
        let entries = book.entries().unwrap();
        let mut by_person: BTreeMap<&str, Vec<String>> = BTreeMap::new();
        for sealed in entries.iter().filter(|sealed| sealed.entry.head.device == book.device()) {
            let id = sealed.entry.head.id.to_string();
            if !self.old.contains(&id) {
                by_person.entry(&sealed.entry.head.person).or_default().push(id);
            }
        }
        for (token, found) in &by_person {
            let count = self.tried.get(*token).unwrap_or_else(|| panic!("{when}: `{token}` is nobody's save"));
            assert_eq!(found.len(), *count, "{when}: `{token}` stands there in part or twice");
        }
        for (token, ids) in &self.acked {
            let found = by_person.get(token.as_str()).unwrap_or_else(|| panic!("{when}: the promised `{token}` is lost"));
            assert!(ids.iter().all(|id| found.contains(id)), "{when}: `{token}` was promised as {ids:?} and is {found:?}");
        }
        let there: BTreeSet<String> = entries.iter().map(|sealed| sealed.entry.head.id.to_string()).collect();
        assert!(self.old.is_subset(&there), "{when}: entries of the older version are gone");
        for photo in &self.kept {
            let bytes = std::fs::read(book.photo_path(photo).unwrap()).unwrap();
            assert_eq!(Sha256Hex::of(&bytes), *photo, "{when}");
        }
    }

    /// Whether what was told as sent is among what the depot holds.
    pub fn hold_against_depot(&self, depot: &AtDepot, when: &str) {
        for id in &self.sent {
            assert!(depot.ids.contains(id) || depot.photos.contains(id), "{when}: the depot took {id} and has it no longer");
        }
    }
}

/// What a depot holds.
pub struct AtDepot {
    /// Sealed texts.
    pub docs: BTreeSet<String>,
    ids: BTreeSet<String>,
    photos: BTreeSet<String>,
}

fn get(transport: &dyn Transport, path: String, headers: Vec<(String, String)>) -> gritbook_core::outbox::Answer {
    let request = Request { method: Method::Get, path, headers, body: Body::Empty };
    for _ in 0..400 {
        match transport.carry(&request) {
            Ok(answer) if answer.status < 500 => return answer,
            // It is killed now and then.
            _ => std::thread::sleep(Duration::from_millis(10)),
        }
    }
    panic!("the depot does not come back");
}

impl AtDepot {
    /// Reads it all over the wire and compares each photo in `wanted` with its name.
    pub fn read(transport: &dyn Transport, wanted: &BTreeSet<PhotoId>) -> Self {
        let (mut docs, mut ids, mut cursor) = (BTreeSet::new(), BTreeSet::new(), String::from("0"));
        loop {
            let answer = get(transport, format!("/v1/entries?after={cursor}&limit=500"), Vec::new());
            assert_eq!(answer.status, 200, "{}", String::from_utf8_lossy(&answer.body));
            let page: EntriesPage = serde_json::from_slice(&answer.body).unwrap();
            for raw in page.entries {
                let sealed = SealedEntry::from_text(raw.get().to_owned()).unwrap();
                assert!(ids.insert(sealed.entry.head.id.to_string()), "the depot has {} twice", sealed.entry.head.id);
                docs.insert(sealed.doc);
            }
            if !page.more {
                break;
            }
            cursor = page.cursor;
        }
        let mut photos = BTreeSet::new();
        for photo in wanted {
            let answer = get(transport, format!("/v1/photos/{photo}"), Vec::new());
            assert_eq!(answer.status, 200, "photo {photo}");
            assert_eq!(Sha256Hex::of(&answer.body), *photo);
            photos.insert(photo.to_string());
        }
        Self { docs, ids, photos }
    }
}

/// Photos that this book's own entries name.
pub fn named_photos(book: &FieldBook) -> BTreeSet<PhotoId> {
    let entries = book.entries().unwrap();
    entries
        .iter()
        .filter(|sealed| sealed.entry.head.device == book.device())
        .flat_map(|sealed| sealed.entry.body.photos())
        .copied()
        .collect()
}

/// Runs the outbox until nothing is left. It must come to an end, and park nothing.
pub fn finish(book: &FieldBook, transport: &dyn Transport, draws: &mut Draws, when: &str) {
    for _ in 0..2_000 {
        let report = run_outbox(book, transport, &run_options(draws), &now, &mut |_| {}).unwrap();
        assert_eq!(report.parked, 0, "{when}: {:?}", book.outbox().unwrap());
        if report.ended == Ended::Finished {
            assert_eq!(book.outbox().unwrap(), [], "{when}");
            return;
        }
        std::thread::sleep(Duration::from_millis(5));
    }
    panic!("{when}: the outbox never finishes: {:?}, {:?}", book.outbox_pause(), book.outbox());
}

/// The texts of a book.
pub fn docs(book: &FieldBook) -> BTreeSet<String> {
    book.entries().unwrap().into_iter().map(|sealed| sealed.doc).collect()
}

/// A fixture's SQL as a book of that schema version, with its photo.
pub fn lay_old_book(folder: &Path, version: u32) {
    let _ = std::fs::remove_dir_all(folder);
    std::fs::create_dir_all(folder.join("photos")).unwrap();
    let file = format!("{}/../fixtures/db/create_v{version}.sql", env!("CARGO_MANIFEST_DIR"));
    let database = rusqlite::Connection::open(folder.join("book.sqlite")).unwrap();
    database.execute_batch(&std::fs::read_to_string(file).unwrap()).unwrap();
    let photo = b"\xFF\xD8\xFF\xE0 begins like a photo, which is all the book asks";
    std::fs::write(folder.join("photos").join(format!("{}.jpg", Sha256Hex::of(photo))), photo).unwrap();
}

/// A copy of a book's folder as it is now; gives where.
pub fn copy_of(book: &FieldBook, to: &Path) -> PathBuf {
    copy(book.folder(), to);
    to.to_owned()
}

/// Opens a copy of a folder.
pub fn open_copy(from: &Path, to: &Path) -> FieldBook {
    copy(from, to);
    FieldBook::open(to, &OpenOptions { person: "Rosa".to_owned(), device_name: "phone".to_owned() }, now()).unwrap()
}

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for found in std::fs::read_dir(from).unwrap().map(Result::unwrap) {
        let target = to.join(found.file_name());
        if found.file_type().unwrap().is_dir() {
            copy(&found.path(), &target);
        } else if !found.file_name().to_string_lossy().ends_with("-shm") {
            std::fs::copy(found.path(), target).unwrap();
        }
    }
}
