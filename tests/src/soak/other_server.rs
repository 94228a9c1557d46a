//! Our outbox against a tus server of others: photos over a link that is cut, entries answered here.

// Helpers of tests may fail loudly like the tests themselves.
#![allow(clippy::unwrap_used, clippy::missing_panics_doc)]

use std::collections::BTreeSet;
use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use gritbook_core::fieldbook::{BoxCheckDraft, FieldBook, OpenOptions, PhotoInput};
use gritbook_core::ids::Sha256Hex;
use gritbook_core::model::{PumpSpec, SealedEntry};
use gritbook_core::outbox::{Answer, Body, Ended, Method, OutboxSettings, Request, RunOptions, Transport, TransportFault, run_outbox};
use gritbook_core::wire::v1::{EntriesBatch, Verdict, VerdictOutcome, Verdicts};
use gritbook_depot::client::{HttpTransport, Patience};

use super::look::named_photos;
use super::work::now;
use crate::depot::photo_like;
use crate::draws::Draws;
use crate::fault_proxy::{Fault, FaultProxy, Link};

/// Takes entries itself: a tus server knows none.
struct PhotosThere {
    carrier: HttpTransport,
}

impl Transport for PhotosThere {
    fn carry(&self, request: &Request) -> Result<Answer, TransportFault> {
        let Body::Bytes(bytes) = &request.body else { return self.carrier.carry(request) };
        assert_eq!(request.method, Method::Put);
        let batch: EntriesBatch = serde_json::from_slice(bytes).unwrap();
        let verdicts = batch.entries.iter().map(|raw| {
            let sealed = SealedEntry::from_text(raw.get().to_owned()).unwrap();
            Verdict { id: Some(sealed.entry.head.id), hash: sealed.hash, outcome: VerdictOutcome::Stored }
        });
        let verdicts = Verdicts { schema: "gritbook.verdicts/1".to_owned(), verdicts: verdicts.collect() };
        Ok(Answer { status: 200, headers: Vec::new(), body: serde_json::to_vec(&verdicts).unwrap() })
    }
}

/// Starts `script` under Node in `home`, where its packages are, and sends `photos` photos. Gives the requests it took and the cuts.
pub fn run(script: &Path, home: &Path, photos: u32, seed: u64) -> (u32, u64) {
    let folder = tempfile::tempdir().unwrap();
    let shelf = folder.path().join("shelf");
    std::fs::create_dir(&shelf).unwrap();
    let mut node = Command::new("node")
        .arg(std::path::absolute(script).unwrap())
        .arg(&shelf)
        .current_dir(home)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut url = String::new();
    BufReader::new(node.stdout.take().unwrap()).read_line(&mut url).unwrap();
    let proxy = FaultProxy::start(url.trim().strip_prefix("http://").unwrap().parse().unwrap()).unwrap();
    let mut draws = Draws::new(seed);
    proxy.set_each(move || match draws.below(4) {
        0 => Link { down: Fault::Lose(draws.below(6) * 250), ..Link::default() },
        _ => Link { up: Fault::Cut(draws.below(2_500_000)), ..Link::default() },
    });
    let options = OpenOptions { person: "Rosa".to_owned(), device_name: "phone".to_owned() };
    let book = FieldBook::open(&folder.path().join("book"), &options, now()).unwrap();
    let pump = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
    for number in 0..photos {
        let photo = PhotoInput::Bytes(photo_like(1_500_000, seed * 100 + u64::from(number)));
        book.save_box_check(BoxCheckDraft { photos: vec![photo], ..BoxCheckDraft::new(pump) }, now()).unwrap();
    }
    let patience = Patience { connect: Duration::from_secs(2), silence: Duration::from_secs(2), answer: Duration::from_secs(5) };
    let mut requests = 0;
    for turn in 0.. {
        // A new connection each time, so that every run meets the link anew.
        let carrier = HttpTransport::with_patience(&proxy.url(), "t", None, patience).unwrap();
        let options = RunOptions { settings: OutboxSettings::default(), seed: turn, pull: false, now_please: true, code: None };
        let report = run_outbox(&book, &PhotosThere { carrier }, &options, &now, &mut |_| {}).unwrap();
        requests += report.requests;
        assert_eq!(report.parked, 0, "{:?}", book.outbox().unwrap());
        if report.ended == Ended::Finished {
            break;
        }
        assert!(turn < 1_000, "it never ends: {report:?}");
    }
    drop(node.stdin.take());
    node.wait().unwrap();
    let there: BTreeSet<Sha256Hex> = std::fs::read_dir(&shelf)
        .unwrap()
        .map(|file| file.unwrap().path())
        .filter(|path| path.extension().is_none())
        .map(|path| Sha256Hex::of(&std::fs::read(path).unwrap()))
        .collect();
    assert!(named_photos(&book).is_subset(&there), "every photo is there, whole: {there:?}");
    (requests, proxy.connections())
}
