//! `gritbook diagnose`: which cause fits what a pump showed last.

use std::path::PathBuf;

use gritbook_core::diagnosis::{Diagnosis, diagnose};
use gritbook_core::history::parse_at;

use super::enroll::now;
use super::life::{list_bad_rows, read, refused};
use super::{Failure, Run, say, say_document};

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: gritbook diagnose fleet.csv --pump Heron\n\n\
    Weighs worn cups, a worn bore, a bad fit, a rod seal and damage by the box, the liquid, the time since the last change, the grades and\n\
    the measured bore together, and says what to look at next. The chances behind it are assumptions, not measurements.")]
pub struct Args {
    /// The history, a CSV file.
    history: PathBuf,
    /// Which pump.
    #[arg(long)]
    pump: String,
    /// Print one JSON document, gritbook.diagnosis/1.
    #[arg(long)]
    json: bool,
}

impl Run for Args {
    fn json(&self) -> bool {
        self.json
    }

    fn run(self) -> Result<(), Failure> {
        let history = parse_at(&read(&self.history)?, now()).map_err(|refusal| {
            if !self.json {
                list_bad_rows(&refusal);
            }
            refused(refusal)
        })?;
        let found = diagnose(&history, &self.pump)?;
        if self.json {
            return say_document(&found);
        }
        lines(&found).into_iter().for_each(say);
        Ok(())
    }
}

/// A diagnosis for people.
pub(super) fn lines(found: &Diagnosis) -> Vec<String> {
    let mut lines = vec![format!("{}: what fits best", found.pump)];
    let likely = found.causes.iter().filter(|cause| cause.share >= 0.02);
    lines.extend(likely.map(|cause| format!("  {:3.0} %  {}  ({})", 100.0 * cause.share, cause.text, cause.source)));
    lines.push(format!("Look next: {}", found.look_next));
    lines.extend(found.signs.iter().map(|sign| format!("  {}", sign.text)));
    lines.push("Hands go near the box only after lock-out and a gauge that reads zero. The maker's manual comes first.".to_owned());
    lines
}
