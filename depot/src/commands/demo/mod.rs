//! `gritbook demo`: one day on a small fleet of our own invention, with the real parts of the tool at work.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use chrono::{DateTime, FixedOffset, Utc};
use gritbook_core::call::CallCode;
use gritbook_core::debris::card::Paper;
use gritbook_core::debris::reading::Reading;
use gritbook_core::fieldbook::{BoxCheckDraft, FieldBook, GradeDraft, OpenOptions, PhotoInput, SavedCheck};
use gritbook_core::ids::PumpId;
use gritbook_core::model::entry::Liquid;
use gritbook_core::model::{Cup, Grade, GradeSource, Part};
use gritbook_core::outbox::{Ended, OutboxEvent, OutboxSettings, RunOptions, RunReport, run_outbox};
use gritbook_core::wear::grade::{CRITERIA_EDITION, GRADE_NAMES, criterion};
use gritbook_core::{CoreError, ErrorKind};
use indicatif::{ProgressBar, ProgressStyle};

use super::{Failure, Run, say};
use crate::client::HttpTransport;
use crate::report::card_sheet::CardSheet;
use crate::server::{Settings, start};

mod link;
mod past;
mod readings;
mod work;

use past::{PASTS, Past};

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: gritbook demo --dir demo --keep-serving")]
pub struct Args {
    /// Where to put pictures, book and depot; made anew, and must not exist yet with something in it.
    #[arg(long, value_name = "DIR", default_value = "gritbook-demo")]
    dir: PathBuf,
    /// Leave the depot running, so that its page can be looked at.
    #[arg(long)]
    keep_serving: bool,
}

/// A check of the story: which photo, what the thumb said.
struct Scene {
    past: &'static Past,
    photo: &'static [u8],
    grades: [u8; 2],
    liquid: Liquid,
}

const SCENES: [Scene; 3] = [
    Scene {
        past: &PASTS[0],
        photo: include_bytes!("../../../../fixtures/photos/demo_some_sand.jpg"),
        grades: [1, 1],
        liquid: Liquid::Grey,
    },
    Scene { past: &PASTS[1], photo: include_bytes!("../../../../fixtures/photos/demo_sand.jpg"), grades: [2, 3], liquid: Liquid::Muddy },
    Scene { past: &PASTS[2], photo: include_bytes!("../../../../fixtures/photos/demo_lumps.jpg"), grades: [3, 4], liquid: Liquid::Muddy },
];

/// The pour that is asked for, m3.
const TOMORROW_M3: f64 = 80.0;

impl Run for Args {
    fn run(self) -> Result<(), Failure> {
        let dir = fresh_folder(&self.dir)?;
        say("A day on a small fleet. Pumps, people and figures are invented; the work on them is real.\n");

        say("1  The debris card");
        let sheet = CardSheet::draw(Paper::A4, 300.0 / 25.4)?;
        write(&dir.join("card.pdf"), &sheet.pdf()?)?;
        say(format_args!("   {}: print it at 100 %, the bar must measure 100 mm\n", dir.join("card.pdf").display()));

        say("2  Three boxes, drained and photographed (no signal)");
        let options = OpenOptions { person: "R. Salcedo".into(), device_name: "demo phone".into() };
        let book = FieldBook::open(&dir.join("book"), &options, now())?;
        let mut pumps = Vec::new();
        for scene in &SCENES {
            let pump = scene.past.record(&book, now())?;
            let reading = readings::read(scene.past.pump, scene.photo, &dir)?;
            let saved = save(&book, pump, scene, reading)?;
            pumps.push(pump);
            say(format_args!(
                "   saved: entry {} with {} grades; durable on the phone, waiting to be sent\n",
                saved.check,
                saved.grades.len()
            ));
        }

        say("3  The call for tomorrow, from the book's own lives and today's signs");
        for (scene, pump) in SCENES.iter().zip(&pumps) {
            if work::call(&book, *pump, TOMORROW_M3, now())? == CallCode::ChangeFirst && scene.past.pump == "Otter" {
                say("\n4  Otter comes down: the change-out, with its hold points");
                work::change_out(&book, *pump, scene.past.total_m3(), now())?;
                work::call(&book, *pump, TOMORROW_M3, now() + chrono::TimeDelta::hours(4))?;
            }
        }
        say("");

        say("5  Back towards the yard: the signal comes, goes, and comes again");
        let depot = start(
            &dir.join("depot"),
            SocketAddr::from(([127, 0, 0, 1], 0)),
            Settings { page_open: true, ..Settings::default() },
            self.keep_serving,
        )?;
        let token = super::enroll::let_in(&dir.join("depot"), "demo phone")?;
        let link = link::CutLink::new(HttpTransport::new(&depot.url(), &token, None)?, 3);
        let first = send(&book, &link)?;
        if let Ended::Paused { trouble: Some(trouble), .. } = &first.ended {
            say(format_args!("   {}; {} items wait, nothing is lost", trouble.reason, book.outbox()?.len()));
        }
        link.back_in_range();
        let second = send(&book, &link)?;
        say(format_args!(
            "   back in range: {} photos and {} entries are at the depot, {} items wait",
            first.photos_sent + second.photos_sent,
            first.entries_sent + second.entries_sent,
            book.outbox()?.len()
        ));
        let report = book.verify()?;
        if !report.sound || second.ended != Ended::Finished {
            return Err(CoreError::new(
                ErrorKind::Internal,
                "demo_failed",
                "the record is not whole at the end of the demo",
                "report this",
            )
            .into());
        }
        say(format_args!("   the chain of entries is whole, {} photos are what they were\n", report.photos_sound));

        say("6  The depot's page");
        let page = fetch(&depot.url())?;
        write(&dir.join("page.html"), page.as_bytes())?;
        say(format_args!("   {}", dir.join("page.html").display()));
        if self.keep_serving {
            say(format_args!("   {} until Ctrl-C", depot.url()));
            depot.wait();
        } else {
            depot.stop();
            say("   run it again with --keep-serving to look around");
        }
        say("\nBefore hands go near a box: lock out, bleed, read zero. The maker's manual and local rules come first.");
        Ok(())
    }
}

fn save(book: &FieldBook, pump: PumpId, scene: &Scene, reading: Reading) -> Result<SavedCheck, CoreError> {
    let mut grades = Vec::new();
    for (cup, number) in [Cup::A, Cup::B].into_iter().zip(scene.grades) {
        let grade = Grade::new(number)?;
        say(format_args!("   cup {cup:?}: {number} {}. {}", GRADE_NAMES[usize::from(number)].en, criterion(Part::Cup, grade).en));
        grades.push(GradeDraft {
            part: Part::Cup,
            cup: Some(cup),
            grade,
            source: GradeSource::Eye,
            criteria: CRITERIA_EDITION.into(),
            photos: Vec::new(),
        });
    }
    let draft = BoxCheckDraft {
        pump_m3: Some(scene.past.total_m3()),
        photos: vec![PhotoInput::Bytes(scene.photo.to_vec())],
        reading: Some(reading),
        grades,
        liquid: Some(scene.liquid),
        ..BoxCheckDraft::new(pump)
    };
    book.save_box_check(draft, now())
}

/// One run of the outbox, with a bar for the photo under way.
fn send(book: &FieldBook, link: &link::CutLink<HttpTransport>) -> Result<RunReport, CoreError> {
    let bar = ProgressBar::new(0).with_style(
        ProgressStyle::with_template("   {msg} [{bar:30}] {bytes}/{total_bytes}").unwrap_or_else(|_| ProgressStyle::default_bar()),
    );
    let options = RunOptions {
        settings: OutboxSettings { chunk_bytes: 256 * 1024, ..OutboxSettings::default() },
        seed: 7,
        pull: true,
        now_please: true,
        code: None,
    };
    let report = run_outbox(book, link, &options, &now, &mut |event| {
        if let OutboxEvent::PhotoProgress { sent_bytes, length_bytes, .. } = event {
            bar.set_message("photo");
            bar.set_length(*length_bytes);
            bar.set_position(*sent_bytes);
        }
    });
    bar.finish_and_clear();
    report
}

fn fetch(url: &str) -> Result<String, Failure> {
    let mut answer = ureq::get(&format!("{url}/")).call().map_err(anyhow::Error::from)?;
    Ok(answer.body_mut().read_to_string().map_err(anyhow::Error::from)?)
}

fn now() -> DateTime<FixedOffset> {
    DateTime::<Utc>::from(SystemTime::now()).fixed_offset()
}

/// An empty folder of that name; one that holds something is refused, so that a demo never writes over anything.
fn fresh_folder(dir: &Path) -> Result<PathBuf, CoreError> {
    let refuse = |cause| {
        CoreError::refused("bad_folder", format!("`{}` cannot be made", dir.display()), "choose another folder with --dir").because(cause)
    };
    std::fs::create_dir_all(dir).map_err(refuse)?;
    if std::fs::read_dir(dir).map_err(refuse)?.next().is_some() {
        return Err(CoreError::refused(
            "folder_not_empty",
            format!("`{}` holds something already", dir.display()),
            "delete it if it is an old demo, or choose another with --dir",
        ));
    }
    Ok(dir.to_owned())
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), CoreError> {
    std::fs::write(path, bytes).map_err(|cause| {
        CoreError::new(
            ErrorKind::Storage,
            "not_written",
            format!("`{}` cannot be written", path.display()),
            "free some space or choose another folder",
        )
        .because(cause)
    })
}
