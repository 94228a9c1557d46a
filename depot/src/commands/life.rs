//! `gritbook life`: how long parts last, from a history.

use std::path::PathBuf;

use anyhow::Context as _;
use gritbook_core::history::{NewRow, Refusal, Repair, parse_at};
use gritbook_core::life::summary::Estimate;
use gritbook_core::life::{LifeSummary, summary};
use gritbook_core::model::Part;
use gritbook_core::units::shown::UnitSystem;

use super::enroll::now;
use super::{Failure, Run, say, say_document};
use crate::report::chart::plain_number;
use crate::report::lives::life_chart;

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: gritbook life fleet.csv --plot life.svg\n\n\
    HISTORY.csv has one event a row: at, pump, cup, event, pump_m3, ... A bad row refuses the file whole and is listed.")]
pub struct Args {
    /// The history, a CSV file.
    history: PathBuf,
    /// Print one JSON document, gritbook.life/1.
    #[arg(long)]
    json: bool,
    /// Draw the counted and the fitted curve to this SVG file.
    #[arg(long, value_name = "P.svg")]
    plot: Option<PathBuf>,
    /// Which part.
    #[arg(long, value_parser = part, default_value = "cup", value_name = "PART")]
    part: Part,
}

fn part(word: &str) -> Result<Part, String> {
    serde_json::from_value(serde_json::Value::String(word.to_owned()))
        .map_err(|_| "use one of cup, guide_band, o_ring, plate, bore, coupler, bolts".to_owned())
}

/// A refusal as a failure: the error, with the bad rows beside it.
pub(super) fn refused(refusal: Refusal) -> Failure {
    let mut failure = Failure::from(refusal.error);
    if !refusal.rows.is_empty() {
        // Plain strings and numbers always serialise.
        failure.beside.insert("rows".to_owned(), serde_json::to_value(&refusal.rows).unwrap_or_default());
    }
    failure
}

/// Reads a file that the person named.
pub(super) fn read(path: &std::path::Path) -> Result<Vec<u8>, Failure> {
    std::fs::read(path).map_err(|cause| {
        let reason = format!("`{}` cannot be read", path.display());
        gritbook_core::CoreError::refused("no_such_file", reason, "check the name of the file").because(cause).into()
    })
}

/// Lists bad rows on standard error, for people.
pub(super) fn list_bad_rows(refusal: &Refusal) {
    use std::io::Write as _;
    let mut out = std::io::stderr().lock();
    for row in refusal.rows.iter().take(20) {
        // Standard error may be closed; the exit status still tells.
        let _ = writeln!(out, "  line {}: {}", row.line, row.reason);
        if let Some(repair) = &row.repair {
            let _ = writeln!(out, "    {}", offered(repair));
        }
    }
    if refusal.rows.len() > 20 {
        let _ = writeln!(out, "  and {} more", refusal.rows.len() - 20);
    }
    if refusal.rows.iter().any(|row| row.repair.is_some()) {
        let _ = writeln!(out, "  `gritbook repair FILE --out NEW.csv` writes a copy with what is offered; the file itself stays as it is");
    }
}

/// An offer in words.
pub(super) fn offered(repair: &Repair) -> String {
    match repair {
        Repair::Cell { column, was, value } if value.is_empty() => format!("offered: leave {column} `{was}` out"),
        Repair::Cell { column, was, value } => format!("offered: {column} `{value}` in place of `{was}`"),
        Repair::AddRow { add_row: NewRow { at, pump, cup, event } } => {
            let cup = if cup.is_empty() { "both cups".to_owned() } else { format!("cup {cup}") };
            format!("offered: one more row, `{event}` of {cup} on {pump} at {at}")
        }
    }
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
        let summary = summary(&history, self.part)?;
        if let Some(path) = &self.plot {
            std::fs::write(path, life_chart(&summary, false, |words| words.en, UnitSystem::Metric).to_svg())
                .with_context(|| format!("writing `{}` failed", path.display()))?;
        }
        if self.json {
            say_document(&summary)?;
        } else {
            print(&summary);
        }
        Ok(())
    }
}

fn print(summary: &LifeSummary) {
    let lives = &summary.lives;
    let estimate = |e: &Estimate, unit: &str| {
        let end = |end: Option<f64>| end.map_or_else(|| "not known".to_owned(), plain_number);
        format!("{}{unit}  (95 %: {} to {}{unit})", plain_number(e.value), end(e.low), end(e.high))
    };
    say(format!(
        "{} failed, {} sound when last seen, {} failed between two readings, {} before one.",
        lives.failures, lives.right_censored, lives.interval_censored, lives.left_censored
    ));
    if summary.age_unknown > 0 {
        say(format!("{} of the sound ones are of unknown age: they lasted longer than they were watched.", summary.age_unknown));
    }
    if summary.came_out_worn > 0 {
        say(format!("{} of the sound ones came out worn: they would not have gone on like the others.", summary.came_out_worn));
    }
    let ends: Vec<String> =
        summary.ends.iter().map(|end| format!("{:.0} % {} ({})", 100.0 * end.share, end.end.words(), end.lives)).collect();
    if !ends.is_empty() {
        say(format!("How they end, each way beside the others: {}.", ends.join(", ")));
    }
    if summary.prior_used {
        say(if summary.speaks_of_part() {
            "Too few failures for a fit: the stated prior speaks with them."
        } else {
            "Too few failures for a fit, and the stated prior is of cups: the figures below tell nothing of this part."
        });
    }
    say(format!("Shape  {}", estimate(&summary.shape, "")));
    say(format!("Scale  {}", estimate(&summary.scale_m3, " m3")));
    say(format!("B10    {}   one in ten has failed by then", estimate(&summary.b10_m3, " m3")));
    say(format!("Median {} m3, mean {} m3", plain_number(summary.median_m3), plain_number(summary.mean_m3)));
    if let Some(told) = &summary.with_signs {
        say(format!(
            "With what was seen ({} sound ones told by their signs; of the failures {:.1} by wear, {:.1} by mishap, {:.1} badly fitted):",
            told.told_by_signs, told.failed_worn, told.failed_by_mishap, told.failed_badly_fitted
        ));
        say(format!("  Shape  {}", estimate(&told.law.shape, "")));
        say(format!("  Scale  {}", estimate(&told.law.scale_m3, " m3")));
        say(format!("  B10    {}", estimate(&told.law.b10_m3, " m3")));
        say(format!(
            "  Lives follow {} better (weight of duty {:.2}).",
            if told.measure == "duty" { "duty, pressure times mix times m3," } else { "plain m3" },
            told.duty_weight
        ));
    }
}
