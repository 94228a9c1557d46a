//! The verbs that show: log, outbox, verify, export.

use std::path::PathBuf;

use clap::Args;
use gritbook_core::fieldbook::PumpSummary;
use gritbook_core::model::entry::{EntryBody, SealedEntry};
use gritbook_core::model::{QueueState, QueuedItem, QueuedThing};
use gritbook_core::{CoreError, ErrorKind};

use super::documents;
use super::{Desk, Failure, plain};
use crate::commands::say;

/// The newest entries.
#[derive(Debug, Args)]
#[command(after_help = "\
Example: gritbook book yard log --pump 'Trailer 3' --limit 20

With --json one entry a line, exactly as it was sealed: its hash is the SHA-256 of the line without its line feed.")]
pub(super) struct Log {
    /// Only this pump.
    #[arg(long)]
    pump: Option<String>,
    /// At most so many, newest first.
    #[arg(long, default_value_t = 1_000_000)]
    limit: u32,
}

impl Log {
    pub(super) fn run(self, desk: &Desk) -> Result<(), Failure> {
        let book = desk.open(false)?;
        let pump = self.pump.as_deref().map(|name| super::pump(&book, name)).transpose()?;
        let names: std::collections::HashMap<_, _> = book.pumps()?.into_iter().map(|pump| (pump.id, pump.spec.name)).collect();
        for sealed in book.log(pump, self.limit)? {
            if desk.json {
                say(&sealed.doc);
            } else {
                let head = &sealed.entry.head;
                let name = names.get(&head.pump).map_or("?", String::as_str);
                say(format_args!("{}  {name}  {}  ({}, {})", head.at.format("%Y-%m-%d %H:%M"), what(&sealed), head.person, head.id));
            }
        }
        Ok(())
    }
}

/// An entry in a few words.
fn what(sealed: &SealedEntry) -> String {
    let side = |cup: Option<gritbook_core::model::Cup>| cup.map_or_else(String::new, |cup| format!(" {}", plain(cup)));
    match &sealed.entry.body {
        EntryBody::PumpSet(spec) => format!("pump set: bore {} mm, stroke {} mm", spec.bore_mm, spec.stroke_mm),
        EntryBody::BoxCheck(check) => {
            let mut words = vec![check.level.map_or_else(|| "no level".to_owned(), plain)];
            words.extend(check.liquid.map(|liquid| format!("liquid {}", plain(liquid))));
            words.extend(check.liquid_low.filter(|low| *low).map(|_| "liquid low".to_owned()));
            words.extend(check.pump_m3.map(|total| format!("{total} m3")));
            words.push(format!("{} photos", check.photos.len()));
            format!("box check: {}", words.join(", "))
        }
        EntryBody::Graded(graded) => format!("graded: {}{} {}", plain(graded.part), side(graded.cup), graded.grade.number()),
        EntryBody::Measured(measured) => {
            format!("measured: {}{} {} {}", plain(measured.part), side(measured.cup), measured.measure, measured.value)
        }
        EntryBody::Fitted(fitted) => {
            format!("{}: {}{}", if fitted.already_in { "already in" } else { "fitted" }, plain(fitted.part), side(fitted.cup))
        }
        EntryBody::Removed(removed) => format!("out: {}{}, {}", plain(removed.part), side(removed.cup), plain(removed.reason)),
        EntryBody::Poured(poured) => match poured.pour_m3 {
            Some(pour) => format!("poured: {pour} m3"),
            None => format!("running total: {} m3", poured.pump_m3.unwrap_or_default()),
        },
        EntryBody::Called(called) => match &called.overruled_to {
            Some(to) => format!("call overruled to {to}: {}", called.overrule_reason.as_deref().unwrap_or("")),
            None => "call".to_owned(),
        },
        EntryBody::ChangedOut(changed) => {
            let cups: Vec<_> = changed.cups.iter().map(|cup| plain(*cup)).collect();
            let skipped = changed.steps.iter().filter(|step| step.skipped.is_some()).count();
            format!("changed out: cups {}, {} steps, {skipped} skipped", cups.join(" and "), changed.steps.len())
        }
        EntryBody::Amended(amended) => format!("{} amended: {}", amended.amends, amended.reason),
        EntryBody::Other(other) => format!("{} (of a newer program)", other.kind),
    }
}

/// A pump in one line.
pub(super) fn pump_line(pump: &PumpSummary) -> String {
    let mut words = vec![pump.spec.name.clone()];
    words.extend(pump.name_shared.then(|| format!("(two pumps have this name; this is {})", pump.id)));
    words.push(match &pump.last_check {
        Some(check) => format!("{}, checked {}", check.level.map_or_else(|| "no level".to_owned(), plain), check.at.format("%Y-%m-%d")),
        None => "never checked".to_owned(),
    });
    words.extend(pump.gravest.map(|grade| format!("gravest grade {}", grade.number())));
    words.extend(pump.pump_m3.map(|total| format!("{total} m3")));
    words.extend((pump.waiting > 0).then(|| format!("{} waiting", pump.waiting)));
    words.join("  ")
}

/// What waits to be sent.
#[derive(Debug, Args)]
#[command(after_help = "Example: gritbook book yard outbox --retry 12")]
pub(super) struct Outbox {
    /// A parked or dropped item goes again.
    #[arg(long, value_name = "ITEM")]
    retry: Vec<i64>,
    /// An item is not sent; the record keeps it.
    #[arg(long, value_name = "ITEM")]
    drop: Vec<i64>,
}

impl Outbox {
    pub(super) fn run(self, desk: &Desk) -> Result<(), Failure> {
        let book = desk.open(false)?;
        self.retry.iter().try_for_each(|item| book.retry(*item))?;
        self.drop.iter().try_for_each(|item| book.drop_item(*item))?;
        let (items, pause) = (book.outbox()?, book.outbox_pause()?);
        let count = |state| items.iter().filter(|item| item.state == state).count();
        let mut lines: Vec<String> = items.iter().map(item_line).collect();
        lines.push(format!(
            "{} waiting, {} parked, {} dropped",
            count(QueueState::Waiting),
            count(QueueState::Parked),
            count(QueueState::Dropped)
        ));
        if let Some(pause) = &pause {
            lines.push(format!("the last try failed: {}", pause.reason));
        }
        desk.tell(&documents::Outbox { schema: "gritbook.outbox/1", items, pause }, lines);
        Ok(())
    }
}

fn item_line(item: &QueuedItem) -> String {
    let thing = match item.thing {
        QueuedThing::Entry { id } => format!("entry {id}"),
        QueuedThing::Photo { id, bytes, sent_bytes } => {
            format!("photo {id} ({bytes} bytes{})", sent_bytes.map_or_else(String::new, |sent| format!(", {sent} sent")))
        }
    };
    let trouble = item.trouble.as_ref().map_or_else(String::new, |trouble| format!(": {}; {}", trouble.reason, trouble.advice));
    format!("{}  {}  {thing}, {} tries{trouble}", item.item, plain(item.state), item.attempts)
}

/// Verify the book.
#[derive(Debug, Args)]
#[command(after_help = "\
Example: gritbook book yard verify

Exit status 0 where all is sound, 1 where something is not; what it is stands in the report.")]
pub(super) struct Verify {}

impl Verify {
    pub(super) fn run(self, desk: &Desk) -> Result<(), Failure> {
        let book = desk.open(false)?;
        let report = book.verify()?;
        let mut lines = Vec::new();
        for chain in &report.devices {
            let whose = if chain.own { "this device" } else { "device" };
            lines.push(format!("{whose} {}: {} entries, {} breaks", chain.device, chain.entries, chain.breaks.len()));
            lines.extend(
                chain.breaks.iter().map(|broken| format!("  broken at number {}: {} ({})", broken.seq, plain(broken.fault), broken.entry)),
            );
        }
        lines.push(format!(
            "photos: {} sound, {} missing, {} damaged, {} at the depot only, {} without an entry",
            report.photos_sound,
            report.photos_missing.len(),
            report.photos_damaged.len(),
            report.photos_elsewhere,
            report.photos_unclaimed.len()
        ));
        lines.extend(report.photos_missing.iter().map(|photo| format!("  missing: {photo}")));
        lines.extend(report.photos_damaged.iter().map(|photo| format!("  damaged: {photo}")));
        lines.extend((report.set_aside > 0).then(|| format!("{} entries from the depot stand aside", report.set_aside)));
        lines.extend(report.database.iter().cloned());
        lines.push(if report.sound { "the book is sound".to_owned() } else { "the book is not sound".to_owned() });
        let sound = report.sound;
        desk.tell(&report, lines);
        if sound {
            return Ok(());
        }
        let error = CoreError::new(ErrorKind::Corrupt, "not_sound", "the book is not sound", "see the report");
        Err(Failure { already_said: true, ..Failure::from(error) })
    }
}

/// Export the book.
#[derive(Debug, Args)]
#[command(after_help = "Example: gritbook book yard export --out yard-export")]
pub(super) struct Export {
    /// A new or empty folder.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
}

impl Export {
    pub(super) fn run(self, desk: &Desk) -> Result<(), Failure> {
        let book = desk.open(false)?;
        let exported = book.export(&self.out)?;
        let mut lines = vec![format!("{} entries and {} photos in {}", exported.entries, exported.photos, exported.folder.display())];
        lines.extend((exported.photos_missing > 0).then(|| format!("{} photos are missing: run verify", exported.photos_missing)));
        let document = documents::Exported {
            schema: "gritbook.exported/1",
            folder: exported.folder,
            entries: exported.entries,
            photos: exported.photos,
            photos_missing: exported.photos_missing,
        };
        desk.tell(&document, lines);
        Ok(())
    }
}
