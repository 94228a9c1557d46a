//! `gritbook book DIR changeout`: the work under way is a file in the book's folder until it is finished.

use std::path::PathBuf;

use clap::Args;
use gritbook_core::CoreError;
use gritbook_core::changeout::{Progress, Step};
use gritbook_core::fieldbook::{ChangeOutEnd, FieldBook, PhotoInput};
use gritbook_core::ids::{EntryId, PumpId};
use gritbook_core::model::Cup;
use gritbook_core::model::entry::RemovalReason;

use super::documents::{self, NextStep};
use super::{Desk, Failure, cup, plain, word};

/// Change cups step by step.
#[derive(Debug, Args)]
#[command(after_help = "\
Example: gritbook book yard changeout --pump 'Trailer 3' --cups A,B        begins, and shows the first step
         gritbook book yard changeout --pump 'Trailer 3' --done            marks the step shown, and shows the next
         gritbook book yard changeout --pump 'Trailer 3' --skip 'no band on this pump'
         gritbook book yard changeout --pump 'Trailer 3' --finish --out A=worn --out B=other_cup --pump-m3 1250

The maker's manual, local codes and licensed practice come first. The steps remind; they do not train.")]
pub(super) struct ChangeOut {
    /// Which pump.
    #[arg(long)]
    pump: String,
    /// Begin the change of these cups: A, B or A,B.
    #[arg(long, value_delimiter = ',', conflicts_with_all = ["done", "skip", "back", "finish"])]
    cups: Vec<String>,
    /// The step shown is done.
    #[arg(long, conflicts_with_all = ["skip", "back", "finish"])]
    done: bool,
    /// Photos taken at it.
    #[arg(long, value_name = "FILE", requires = "done")]
    photo: Vec<PathBuf>,
    /// The step shown is skipped, and why.
    #[arg(long, value_name = "REASON", conflicts_with_all = ["back", "finish"])]
    skip: Option<String>,
    /// Take the last mark back.
    #[arg(long, conflicts_with = "finish")]
    back: bool,
    /// All steps are marked: record the work.
    #[arg(long)]
    finish: bool,
    /// Why a cup came out: A=worn, planned, damaged, other_cup or failed.
    #[arg(long, value_name = "CUP=REASON", requires = "finish")]
    out: Vec<String>,
    /// Running total, m3.
    #[arg(long, requires = "finish")]
    pump_m3: Option<f64>,
    /// Parts that were used.
    #[arg(long, requires = "finish", default_value = "")]
    parts: String,
}

impl ChangeOut {
    pub(super) fn run(self, desk: &Desk) -> Result<(), Failure> {
        let book = desk.open(false)?;
        let pump = super::pump(&book, &self.pump)?;
        let under_way = UnderWay { file: desk.dir.join(format!("changeout-{pump}.json")) };
        let mut progress = if self.cups.is_empty() { under_way.read()? } else { self.begin(&book, pump, &under_way, desk)? };
        let mut entry = None;
        if self.finish {
            let saved = book.finish_change_out(&progress, self.end(&progress)?, desk.now)?;
            entry = Some(saved.work);
            under_way.remove()?;
        } else {
            if self.back {
                progress.take_back();
            } else if self.done || self.skip.is_some() {
                let mut photos = Vec::new();
                for photo in &self.photo {
                    photos.push(book.keep_photo(&PhotoInput::Path(photo.clone()), desk.now)?);
                }
                // Past the last step there is nothing to mark: `mark` says so.
                let step = progress.next().map_or_else(String::new, |step| step.key);
                progress.mark(&step, self.skip.as_deref(), photos, desk.now)?;
            }
            under_way.write(&progress)?;
        }
        tell(desk, &progress, entry);
        Ok(())
    }

    fn begin(&self, book: &FieldBook, pump: PumpId, under_way: &UnderWay, desk: &Desk) -> Result<Progress, Failure> {
        if under_way.file.exists() {
            return Err(CoreError::refused(
                "already_begun",
                "a change-out of this pump is under way",
                format!("go on with --done or --skip, or delete `{}` to begin anew", under_way.file.display()),
            )
            .into());
        }
        let cups = self.cups.iter().map(|text| cup(text)).collect::<Result<Vec<_>, _>>()?;
        Ok(Progress::begin(pump, book.pump(pump)?, &cups, desk.now)?)
    }

    fn end(&self, progress: &Progress) -> Result<ChangeOutEnd, CoreError> {
        let mut given: Vec<(Cup, RemovalReason)> = Vec::new();
        for text in &self.out {
            let (side, why) = text.split_once('=').unwrap_or((text, ""));
            given.push((cup(side)?, word("a reason", "worn, planned, damaged, other_cup, failed", why)?));
        }
        // A cup without a reason leaves the list short, and core refuses it.
        let reasons = progress.begun.cups.iter().filter_map(|cup| given.iter().find(|(side, _)| side == cup).map(|(_, why)| *why));
        Ok(ChangeOutEnd { pump_m3: self.pump_m3, reasons: reasons.collect(), parts_used: self.parts.clone(), note: String::new() })
    }
}

/// The file of a work under way; replaced whole, so that a kill leaves the one before or the one after.
struct UnderWay {
    file: PathBuf,
}

impl UnderWay {
    fn read(&self) -> Result<Progress, CoreError> {
        let text = std::fs::read_to_string(&self.file).map_err(|cause| {
            CoreError::refused("not_begun", "no change-out of this pump is under way", "begin it with --cups A,B").because(cause)
        })?;
        Progress::of_document(&text)
    }

    fn write(&self, progress: &Progress) -> Result<(), CoreError> {
        let new = self.file.with_extension("new");
        let failed = |cause| {
            CoreError::new(gritbook_core::ErrorKind::Storage, "not_written", "the work under way cannot be written", "free some space")
                .because(cause)
        };
        let mut file = std::fs::File::create(&new).map_err(failed)?;
        std::io::Write::write_all(&mut file, progress.document().as_bytes()).map_err(failed)?;
        file.sync_all().map_err(failed)?;
        std::fs::rename(&new, &self.file).map_err(failed)
    }

    fn remove(&self) -> Result<(), CoreError> {
        std::fs::remove_file(&self.file).map_err(|cause| {
            let advice = "delete it by hand; the work is recorded, and recording it again changes nothing";
            CoreError::new(gritbook_core::ErrorKind::Storage, "not_removed", "the file of the finished work cannot be removed", advice)
                .because(cause)
        })
    }
}

fn tell(desk: &Desk, progress: &Progress, entry: Option<EntryId>) {
    let (marked, of) = (progress.marks.len(), progress.steps().len());
    let next = if entry.is_some() { None } else { progress.next() };
    let mut lines = Vec::new();
    match (&next, entry) {
        (Some(step), _) => lines.extend(step_lines(step, marked + 1, of)),
        (None, Some(entry)) => lines.push(format!("recorded: entry {entry}")),
        (None, None) => lines.push("all steps are marked: record the work with --finish".to_owned()),
    }
    let document = documents::ChangeOut {
        schema: "gritbook.changeout_state/1",
        work: progress.begun.work,
        marked,
        of,
        next: next.map(NextStep::from),
        entry,
    };
    desk.tell(&document, lines);
}

fn step_lines(step: &Step, number: usize, of: usize) -> Vec<String> {
    let hold = if step.hold { "  HOLD POINT" } else { "" };
    let mut lines = vec![format!("Step {number} of {of}: {}{hold}", step.title.en)];
    if let Some(caution) = &step.caution {
        lines.push(format!("  {}: {}", caution.signal.words().en, caution.text.en));
        lines.push(format!("  It protects: {}", caution.protects.en));
    }
    lines.push(format!("  {}", step.text.en));
    if step.photo {
        lines.push("  Take a photo here.".to_owned());
    }
    if let Some(records) = step.records {
        lines.push(format!("  This step records: cup {} {}", step.cup.map_or_else(String::new, plain), plain(records)));
    }
    lines.extend(step.sources.iter().map(|source| format!("  ({source})")));
    lines
}
