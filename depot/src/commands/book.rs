//! `gritbook book DIR VERB`: a field book in a folder, through the same core that the phone uses.

mod call;
mod changeout;
mod check;
pub(super) mod documents;
mod record;
mod show;
mod sync;
mod write;

use std::path::{Path, PathBuf};
use std::time::SystemTime;

use chrono::{DateTime, FixedOffset, Utc};
use clap::Subcommand;
use gritbook_core::fieldbook::{FieldBook, OpenOptions};
use gritbook_core::ids::PumpId;
use gritbook_core::model::{Cup, Grade, Part};
use gritbook_core::{CoreError, ErrorKind};

use super::{Failure, Run, say};

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example: gritbook book yard check --pump 'Trailer 3' --pump-m3 1250 --photo box.jpg --grade A=2 --liquid grey
         gritbook book yard sync --depot https://depot.example --token TOKEN

The folder holds book.sqlite and photos/. What is saved is durable when the command returns. A damaged database is moved
aside and named, never deleted.")]
pub struct Args {
    /// The book's folder; `check` and `pump add` make it.
    dir: PathBuf,
    /// Who writes; stands in every entry.
    #[arg(long, global = true, env = "GRITBOOK_PERSON", default_value = "somebody")]
    person: String,
    /// When it happened, if not now (RFC 3339).
    #[arg(long, global = true, value_name = "TIME")]
    at: Option<DateTime<FixedOffset>>,
    /// Print JSON.
    #[arg(long, global = true)]
    json: bool,
    /// What to do.
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Debug, Subcommand)]
enum Verb {
    /// Save a box check: photo, level, grades, liquid.
    Check(check::Check),
    /// Grade a part.
    Grade(write::GradePart),
    /// Record a measurement.
    Measure(write::Measure),
    /// Record a part that was fitted, or was already in.
    Fit(write::Fit),
    /// Record a part that came out.
    Remove(write::Remove),
    /// Record a pour or a reading of the running total.
    Pour(write::Pour),
    /// Ask for the call on the next pour and, where told so, record it.
    Call(call::AskCall),
    /// How honest the recorded calls were: chances given against what happened.
    Record(record::Record),
    /// Which cause fits what a pump showed last.
    Diagnose(record::Diagnose),
    /// Change cups step by step: begin, mark, finish.
    Changeout(changeout::ChangeOut),
    /// Say that an entry was wrong and should not be there.
    Withdraw(write::Withdraw),
    /// The pumps of the book.
    #[command(subcommand)]
    Pump(write::Pump),
    /// The newest entries.
    Log(show::Log),
    /// What waits to be sent, what is parked, and what to do with it.
    Outbox(show::Outbox),
    /// Send what waits to the depot, and read what others wrote.
    Sync(sync::Sync),
    /// Write the whole book into files that need no program: history CSV, entries, photos.
    Export(show::Export),
    /// Walk every device's hash chain, hash every photo, check the database.
    Verify(show::Verify),
}

/// What every verb gets.
struct Desk {
    dir: PathBuf,
    person: String,
    now: DateTime<FixedOffset>,
    json: bool,
}

impl Run for Args {
    fn json(&self) -> bool {
        self.json
    }

    fn run(self) -> Result<(), Failure> {
        let desk = Desk { dir: self.dir, person: self.person, now: self.at.unwrap_or_else(now), json: self.json };
        match self.verb {
            Verb::Check(check) => check.run(&desk),
            Verb::Grade(grade) => grade.run(&desk),
            Verb::Measure(measure) => measure.run(&desk),
            Verb::Fit(fit) => fit.run(&desk),
            Verb::Remove(remove) => remove.run(&desk),
            Verb::Pour(pour) => pour.run(&desk),
            Verb::Call(call) => call.run(&desk),
            Verb::Record(record) => record.run(&desk),
            Verb::Diagnose(diagnose) => diagnose.run(&desk),
            Verb::Changeout(work) => work.run(&desk),
            Verb::Withdraw(withdraw) => withdraw.run(&desk),
            Verb::Pump(pump) => pump.run(&desk),
            Verb::Log(log) => log.run(&desk),
            Verb::Outbox(outbox) => outbox.run(&desk),
            Verb::Sync(sync) => sync.run(&desk),
            Verb::Export(export) => export.run(&desk),
            Verb::Verify(verify) => verify.run(&desk),
        }
    }
}

/// The system's time in UTC.
fn now() -> DateTime<FixedOffset> {
    DateTime::<Utc>::from(SystemTime::now()).fixed_offset()
}

impl Desk {
    /// Opens the book; where there is none, `begin` makes one.
    fn open(&self, begin: bool) -> Result<FieldBook, Failure> {
        if !begin && !self.dir.join("book.sqlite").exists() {
            return Err(CoreError::new(
                ErrorKind::NotFound,
                "no_such_book",
                format!("there is no field book in `{}`", self.dir.display()),
                "begin one with `check` or `pump add`, or check the folder's name",
            )
            .into());
        }
        let options = OpenOptions { person: self.person.clone(), device_name: device_name(&self.dir) };
        let book = FieldBook::open(&self.dir, &options, self.now)?;
        let opened = book.opened();
        if let Some(moved) = &opened.damaged_moved_to {
            self.note(format_args!("the database was damaged: it was moved to {} and a new one begun; the photos stayed", moved.display()));
        }
        if !opened.adopted_photos.is_empty() {
            self.note(format_args!("{} photos that a crash had left were taken in", opened.adopted_photos.len()));
        }
        for strange in &opened.strange_files {
            self.note(format_args!("{} is no photo of this book; it was left there", strange.display()));
        }
        Ok(book)
    }

    /// Something to tell beside the result; standard error, so that JSON stays whole.
    #[allow(clippy::print_stderr, clippy::unused_self)]
    fn note(&self, text: impl std::fmt::Display) {
        eprintln!("gritbook: {text}");
    }

    /// Prints a JSON document, or lines for people.
    fn tell(&self, document: &impl serde::Serialize, lines: impl IntoIterator<Item = String>) {
        if self.json {
            // Strings, finite numbers and lists of them always serialise.
            say(serde_json::to_string(document).unwrap_or_default());
        } else {
            lines.into_iter().for_each(say);
        }
    }
}

/// The folder's name stands for the device.
fn device_name(dir: &Path) -> String {
    let full = std::path::absolute(dir).unwrap_or_else(|_| dir.to_owned());
    full.file_name().map_or_else(|| "desk".to_owned(), |name| name.to_string_lossy().into_owned())
}

/// The pump by its name, or by its id.
fn pump(book: &FieldBook, name: &str) -> Result<PumpId, CoreError> {
    match book.pump_named(name) {
        Err(error) if matches!(error.code(), "no_such_pump" | "two_pumps") => match name.parse::<PumpId>() {
            Ok(id) => book.pump(id).map(|_| id),
            Err(_) => Err(error),
        },
        found => found,
    }
}

/// `A`, `B`: upper or lower case.
fn cup(text: &str) -> Result<Cup, CoreError> {
    match text.trim() {
        "A" | "a" => Ok(Cup::A),
        "B" | "b" => Ok(Cup::B),
        other => Err(CoreError::refused("bad_cup", format!("`{other}` is not a cup"), "use A or B")),
    }
}

fn grade(text: &str) -> Result<Grade, CoreError> {
    let bad =
        |_| CoreError::refused("bad_grade", format!("`{text}` is not a grade"), "use 0 sound, 1 bedded, 2 worn, 3 passing or 4 spent");
    Grade::new(text.trim().parse::<u8>().map_err(bad)?)
}

/// A word as it stands in JSON: `cup`, `guide_band`, `grey`.
fn word<T: serde::de::DeserializeOwned>(what: &'static str, words: &'static str, text: &str) -> Result<T, CoreError> {
    serde_json::from_value(serde_json::Value::String(text.trim().replace('-', "_").to_lowercase()))
        .map_err(|_| CoreError::refused("bad_word", format!("`{text}` is not {what}"), format!("use one of {words}")))
}

/// A document's text.
fn text_of(path: &Path) -> Result<String, CoreError> {
    std::fs::read_to_string(path).map_err(|cause| {
        CoreError::refused("no_such_file", format!("`{}` cannot be read", path.display()), "check the name of the file").because(cause)
    })
}

fn part(text: &str) -> Result<Part, CoreError> {
    word("a part", "cup, guide-band, o-ring, plate, bore, coupler, bolts", text)
}

/// The word of JSON for people: `guide band`.
fn plain(value: impl serde::Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word.replace('_', " "),
        Ok(other) => other.to_string(),
        Err(_) => String::new(),
    }
}
