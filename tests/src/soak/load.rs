//! Many phones at once, and pages over many entries: what a depot process takes and how long it needs.

// Helpers of tests may fail loudly like the tests themselves.
#![allow(clippy::unwrap_used, clippy::missing_panics_doc)]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use axum::body::Body;
use gritbook_core::fieldbook::{BoxCheckDraft, FieldBook, OpenOptions, PhotoInput};
use gritbook_core::ids::{DeviceId, PumpId};
use gritbook_core::model::PumpSpec;
use gritbook_core::model::entry::Poured;
use gritbook_core::outbox::{self, Ended, Method, OutboxSettings, Request, RunOptions, Transport as _, run_outbox};
use gritbook_depot::client::HttpTransport;
use gritbook_depot::server::Settings;
use serde_json::json;

use super::depot_process::DepotProcess;
use super::work::now;
use crate::depot::{batch, entry, photo_like};
use crate::direct::DirectDepot;
use crate::draws::Draws;

/// What to play.
pub struct Day {
    /// The command `gritbook`.
    pub gritbook: PathBuf,
    /// The depot's data goes below this folder; the phones' books are kept where temporary files are.
    pub dir: PathBuf,
    /// Phones, all at once.
    pub phones: u32,
    /// Entries of each.
    pub entries: u32,
    /// Of them with a photo.
    pub photos: u32,
    /// Bytes of a photo.
    pub photo_bytes: usize,
}

/// What came of it.
#[derive(Debug, Default, Clone, PartialEq)]
pub struct Done {
    /// From the first request to the last answer.
    pub seconds: f64,
    /// Photo bytes a second at the depot, MB.
    pub mb_per_second: f64,
    /// Largest memory of the depot's process (`VmRSS`, proc(5)), MB.
    pub depot_mb: f64,
    /// Of it what is not files (`RssAnon`), MB.
    pub depot_own_mb: f64,
    /// Requests.
    pub requests: u64,
    /// Pauses that the depot asked for, by code.
    pub asked_to_wait: BTreeMap<String, u32>,
    /// Everything else that went wrong, by code.
    pub errors: BTreeMap<String, u32>,
    /// `dd conv=fsync` of 1 GB into the same folder, MB a second.
    pub disk_mb_per_second: f64,
}

fn memory(pid: u32, what: &str) -> f64 {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix(what)).unwrap_or_default();
    line.trim_matches(|sign: char| !sign.is_ascii_digit()).parse::<f64>().unwrap_or(0.0) * 1024.0 / 1e6
}

/// What a plain copy with fsync reaches in this folder, MB a second.
pub fn disk_speed(dir: &Path) -> f64 {
    let file = dir.join("dd.bin");
    let begun = Instant::now();
    let done =
        Command::new("dd").args(["if=/dev/zero", "bs=1M", "count=1000", "conv=fsync"]).arg(format!("of={}", file.display())).output();
    assert!(done.unwrap().status.success());
    let speed = 1000.0 * 1.048_576 / begun.elapsed().as_secs_f64();
    std::fs::remove_file(file).unwrap();
    speed
}

/// Plays the day; beside it, where asked for, what the disk itself takes.
pub fn day(day: &Day, with_disk: bool) -> Done {
    let folder = tempfile::tempdir_in(&day.dir).unwrap();
    let data = folder.path().join("depot");
    let tokens: Vec<String> = {
        let depot = DirectDepot::open(&data, Settings::default());
        (0..day.phones).map(|phone| depot.enroll_token(&format!("phone {phone}"), now().to_utc())).collect()
    };
    let disk_mb_per_second = if with_disk { disk_speed(folder.path()) } else { 0.0 };
    let depot = DepotProcess::start(&day.gritbook, &data);
    let pid = depot.pid().unwrap();
    let over = Arc::new(AtomicBool::new(false));
    let watching = {
        let over = Arc::clone(&over);
        std::thread::spawn(move || {
            let (mut most, mut own) = (0.0_f64, 0.0_f64);
            while !over.load(Ordering::SeqCst) {
                most = most.max(memory(pid, "VmRSS:"));
                own = own.max(memory(pid, "RssAnon:"));
                std::thread::sleep(Duration::from_millis(100));
            }
            (most, own)
        })
    };
    let requests = AtomicU64::new(0);
    let ready = AtomicU32::new(0);
    let begun = Mutex::new(None);
    let (waits, errors) = (Mutex::new(BTreeMap::new()), Mutex::new(BTreeMap::new()));
    std::thread::scope(|scope| {
        for (index, token) in tokens.iter().enumerate() {
            let (requests, ready, begun, waits, errors, url) = (&requests, &ready, &begun, &waits, &errors, depot.url());
            scope.spawn(move || {
                let home = tempfile::tempdir().unwrap();
                let book = a_day(home.path(), day, index as u64);
                // All begin together, once the last has its day's work in its book.
                ready.fetch_add(1, Ordering::SeqCst);
                while ready.load(Ordering::SeqCst) < day.phones {
                    std::thread::sleep(Duration::from_millis(20));
                }
                begun.lock().unwrap().get_or_insert_with(Instant::now);
                let carrier = HttpTransport::new(&url, token, None).unwrap();
                for turn in 0.. {
                    let options = RunOptions {
                        settings: OutboxSettings::default(),
                        seed: index as u64 * 1000 + turn,
                        pull: false,
                        now_please: false,
                        code: None,
                    };
                    let report = run_outbox(&book, &carrier, &options, &now, &mut |_| {}).unwrap();
                    requests.fetch_add(u64::from(report.requests), Ordering::SeqCst);
                    match report.ended {
                        Ended::Finished => break,
                        Ended::Paused { until, trouble } => {
                            if let Some(trouble) = trouble {
                                let asked = ["depot_busy", "too_many_requests", "upload_busy"].contains(&trouble.code.as_str());
                                let which = if asked { waits } else { errors };
                                *which.lock().unwrap().entry(format!("{}: {}", trouble.code, trouble.reason)).or_insert(0) += 1;
                            }
                            std::thread::sleep((until - now().to_utc()).to_std().unwrap_or_default());
                        }
                        Ended::Cancelled => unreachable!("nobody cancels"),
                    }
                    assert!(turn < 200, "phone {index} never ends");
                }
                assert_eq!(book.outbox().unwrap(), []);
            });
        }
    });
    let seconds = begun.into_inner().unwrap().unwrap().elapsed().as_secs_f64();
    over.store(true, Ordering::SeqCst);
    let (depot_mb, depot_own_mb) = watching.join().unwrap();
    let photos = std::fs::read_dir(data.join("photos")).unwrap().count();
    assert_eq!(photos, (day.phones * day.photos) as usize, "every photo is on the shelf");
    let entries: i64 = rusqlite::Connection::open(data.join("depot.sqlite"))
        .unwrap()
        .query_row("SELECT count(*) FROM entry", [], |row| row.get(0))
        .unwrap();
    // The pump of each, and its entries.
    assert_eq!(entries, i64::from(day.phones * (1 + day.entries)));
    let all_bytes = f64::from(day.phones) * f64::from(day.photos) * day.photo_bytes as f64;
    Done {
        seconds,
        mb_per_second: all_bytes / 1e6 / seconds,
        depot_mb,
        depot_own_mb,
        requests: requests.into_inner(),
        asked_to_wait: waits.into_inner().unwrap(),
        errors: errors.into_inner().unwrap(),
        disk_mb_per_second,
    }
}

fn a_day(home: &Path, day: &Day, index: u64) -> FieldBook {
    let options = OpenOptions { person: "Rosa".to_owned(), device_name: format!("phone {index}") };
    let book = FieldBook::open(home, &options, now()).unwrap();
    let pump = book.add_pump(PumpSpec::assumed(&format!("P{}", index % 60)), now()).unwrap();
    for turn in 0..day.entries {
        if turn < day.photos {
            let photos = vec![PhotoInput::Bytes(photo_like(day.photo_bytes, index * 1000 + u64::from(turn)))];
            book.save_box_check(BoxCheckDraft { photos, note: "load".to_owned(), ..BoxCheckDraft::new(pump) }, now()).unwrap();
        } else {
            let poured = Poured { pour_m3: Some(30.0), pump_m3: None, concrete_bar: Some(60.0), mix_factor: None };
            book.poured(pump, poured, now()).unwrap();
        }
    }
    book
}

/// Times of one kind of page, ms.
#[derive(Debug, Clone, PartialEq)]
pub struct PageTimes {
    /// The page.
    pub page: String,
    /// Half of them took less.
    pub p50_ms: f64,
    /// Nineteen of twenty took less.
    pub p95_ms: f64,
    /// The longest.
    pub most_ms: f64,
}

/// Fills a depot with entries and asks for its pages, `asks` times each kind, one at a time.
pub fn pages(gritbook: &Path, dir: &Path, entries: u32, asks: u32) -> Vec<PageTimes> {
    let folder = tempfile::tempdir_in(dir).unwrap();
    let data = folder.path().join("depot");
    let (token, pumps, ids) = fill(&data, entries);
    let depot = DepotProcess::start(gritbook, &data);
    let carrier = depot.carrier(&token);
    let mut draws = Draws::new(1);
    let mut kinds: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    for turn in 0..asks {
        let pump = &pumps[draws.index(pumps.len())];
        let id = &ids[draws.index(ids.len())];
        let after = draws.below(u64::from(entries));
        for (kind, path) in [
            ("first page", "/".to_owned()),
            ("pump", format!("/pumps/{pump}")),
            ("pump, page 20", format!("/pumps/{pump}?page=20")),
            ("grades", format!("/pumps/{pump}/grades")),
            ("entry", format!("/entries/{id}")),
            ("parts", "/parts".to_owned()),
            ("what is new", "/news?had=1".to_owned()),
            ("search, plain", "/search".to_owned()),
            ("search for a kind", "/search?kind=graded".to_owned()),
            ("search for a pump", format!("/search?pump={pump}")),
            ("search for words", format!("/search?q=P{}", turn % 60)),
            ("list of pumps", "/v1/pumps".to_owned()),
            ("200 entries after one", format!("/v1/entries?after={after}&limit=200")),
            ("health", "/healthz".to_owned()),
            ("metrics", "/metrics".to_owned()),
        ] {
            let request = Request { method: Method::Get, path: path.clone(), headers: Vec::new(), body: outbox::Body::Empty };
            let begun = Instant::now();
            let answer = carrier.carry(&request).unwrap();
            let took = begun.elapsed().as_secs_f64() * 1000.0;
            assert_eq!(answer.status, 200, "{path}: {}", String::from_utf8_lossy(&answer.body));
            kinds.entry(kind.to_owned()).or_default().push(took);
        }
    }
    let times = kinds.into_iter().map(|(page, mut times)| {
        times.sort_by(f64::total_cmp);
        let at = |share: f64| times[((times.len() - 1) as f64 * share).round() as usize];
        PageTimes { page, p50_ms: at(0.5), p95_ms: at(0.95), most_ms: at(1.0) }
    });
    times.collect()
}

/// A depot of 60 pumps and 200 devices, in the kinds that a shop writes. Gives a token, the pumps and some entries.
fn fill(data: &Path, entries: u32) -> (String, Vec<String>, Vec<String>) {
    let depot = DirectDepot::open(data, Settings::default());
    let token = depot.enroll_token("office", now().to_utc());
    let carrier = depot.with_token(&token);
    let pumps: Vec<PumpId> = (0..60).map(|number| PumpId::named(&format!("P{number}"))).collect();
    let devices: Vec<DeviceId> = (0..200).map(|_| DeviceId::new(now().to_utc())).collect();
    let mut draws = Draws::new(3);
    let mut ids: Vec<String> = Vec::new();
    let mut texts = Vec::new();
    for number in 0..entries {
        let (pump, device) = (pumps[(number % 60) as usize], devices[(number % 200) as usize]);
        let photo = format!("{:064x}", u128::from(draws.bits()));
        let (kind, body) = match number {
            0..60 => ("pump_set", serde_json::to_value(PumpSpec::assumed(&format!("P{number}"))).unwrap()),
            _ => match draws.below(20) {
                0..=8 => (
                    "box_check",
                    json!({ "pump_m3": 120.5, "photos": [photo], "reading": null, "level": "some_sand", "level_source": "eye",
                            "liquid": "grey", "liquid_low": false, "settled_ml": null, "note": "drained and looked at" }),
                ),
                9..=14 => (
                    "graded",
                    json!({ "part": "cup", "cup": "A", "grade": draws.below(5), "source": "eye", "criteria": "c", "pump_m3": 120.5, "photos": [] }),
                ),
                15 if !ids.is_empty() => {
                    ("amended", json!({ "amends": ids[draws.index(ids.len())], "reason": "the other pump", "instead": null }))
                }
                _ => ("poured", json!({ "pour_m3": 30.0, "pump_m3": null, "concrete_bar": 60.0, "mix_factor": null })),
            },
        };
        let text = entry(device, u64::from(number / 200) + 1, pump, kind, &body);
        let id = text.split("\"id\":\"").nth(1).unwrap()[..36].to_owned();
        if number % 50 == 0 && kind != "amended" {
            ids.push(id);
        }
        texts.push(text);
        if texts.len() == 400 || number + 1 == entries {
            let request = Request {
                method: Method::Put,
                path: "/v1/entries".to_owned(),
                headers: vec![("content-type".to_owned(), "application/json".to_owned())],
                body: outbox::Body::Empty,
            };
            let answer = carrier.carry_body(&request, Body::from(batch(&texts)));
            let said = String::from_utf8_lossy(&answer.body).into_owned();
            assert!(answer.status == 200 && !said.contains("refused"), "{said}");
            texts.clear();
        }
    }
    (token, pumps.iter().map(ToString::to_string).collect(), ids)
}
