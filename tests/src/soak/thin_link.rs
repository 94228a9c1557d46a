//! Photos over a link as thin as 2G that is cut again and again: how many bytes it takes.

// Helpers of tests may fail loudly like the tests themselves.
#![allow(clippy::unwrap_used, clippy::missing_panics_doc)]

use std::collections::BTreeSet;
use std::time::{Duration, Instant};

use gritbook_core::fieldbook::{BoxCheckDraft, FieldBook, OpenOptions, PhotoInput};
use gritbook_core::model::PumpSpec;
use gritbook_core::outbox::{Ended, OutboxSettings, RunOptions, run_outbox};
use gritbook_depot::client::{HttpTransport, Patience};
use gritbook_depot::server::{Settings, start};

use super::depot_process::enroll;
use super::look::{AtDepot, docs, named_photos};
use super::work::now;
use crate::depot::photo_like;
use crate::draws::Draws;
use crate::fault_proxy::{Fault, FaultProxy, Link};

/// The link.
#[derive(Debug, Clone, Copy)]
pub struct Thin {
    /// Bytes a second.
    pub rate: u32,
    /// How late every piece is.
    pub delay: Duration,
    /// Seconds from a connection's beginning to its cut: up to twice this, evenly.
    pub cut_after: Duration,
    /// Photos.
    pub photos: u32,
    /// Bytes of each.
    pub photo_bytes: usize,
    /// How long the phone waits for what.
    pub patience: Patience,
}

/// What it took.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Took {
    /// Bytes that the photos hold.
    pub photo_bytes: u64,
    /// Bytes that went up, heads and entries included.
    pub up_bytes: u64,
    /// Connections.
    pub connections: u64,
    /// Of them cut, or their answer lost.
    pub faults: u32,
    /// Seconds.
    pub seconds: f64,
}

/// Sends a book's photos through a proxy that is cut at seeded places, loses answers and now and then stands still.
pub fn run(thin: Thin, seed: u64) -> Took {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("depot");
    let token = enroll(&data, "phone");
    let depot = start(&data, "127.0.0.1:0".parse().unwrap(), Settings::default(), false).unwrap();
    let options = OpenOptions { person: "Rosa".to_owned(), device_name: "phone".to_owned() };
    let book = FieldBook::open(&folder.path().join("book"), &options, now()).unwrap();
    let pump = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
    for photo in 0..thin.photos {
        let photos = vec![PhotoInput::Bytes(photo_like(thin.photo_bytes, seed * 1000 + u64::from(photo)))];
        book.save_box_check(BoxCheckDraft { photos, note: "n".to_owned(), ..BoxCheckDraft::new(pump) }, now()).unwrap();
    }
    let proxy = FaultProxy::start(depot.address()).unwrap();
    let mut draws = Draws::new(seed);
    let faults = std::sync::Arc::new(std::sync::atomic::AtomicU32::new(0));
    let counted = std::sync::Arc::clone(&faults);
    proxy.set_each(move || {
        let link = Link { delay: thin.delay, rate: Some(thin.rate), ..Link::default() };
        let bytes = u64::from(thin.rate) * draws.wait(2 * thin.cut_after).as_millis() as u64 / 1000;
        counted.fetch_add(1, std::sync::atomic::Ordering::SeqCst);
        match draws.below(6) {
            // An answer's head is some hundred bytes: the first is lost, or a later one.
            0 => Link { down: Fault::Lose(draws.below(3) * 250), ..link },
            1 => Link { up: Fault::Stall(bytes), ..link },
            2 => Link { down: Fault::Cut(draws.below(900)), ..link },
            _ => Link { up: Fault::Cut(bytes), ..link },
        }
    });
    let begun = Instant::now();
    let carrier = HttpTransport::with_patience(&proxy.url(), &token, None, thin.patience).unwrap();
    for turn in 0.. {
        let options = RunOptions { settings: OutboxSettings::default(), seed: seed + turn, pull: true, now_please: true, code: None };
        let report = run_outbox(&book, &carrier, &options, &now, &mut |_| {}).unwrap();
        assert_eq!(report.parked, 0, "{:?}", book.outbox().unwrap());
        if report.ended == Ended::Finished {
            break;
        }
        assert!(turn < 5_000, "it never arrives: {report:?}, {:?}", book.outbox().unwrap());
    }
    let seconds = begun.elapsed().as_secs_f64();
    let photos: BTreeSet<_> = named_photos(&book);
    let direct = super::depot_process::carrier(&depot.url(), &token);
    assert_eq!(AtDepot::read(&direct, &photos).docs, docs(&book));
    assert_eq!(book.outbox().unwrap(), []);
    Took {
        photo_bytes: u64::from(thin.photos) * thin.photo_bytes as u64,
        up_bytes: proxy.up_bytes(),
        connections: proxy.connections(),
        faults: faults.load(std::sync::atomic::Ordering::SeqCst),
        seconds,
    }
}
