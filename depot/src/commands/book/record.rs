//! `gritbook book DIR record` and `diagnose`: how honest the recorded calls were, and which cause fits what a pump showed last.

use std::path::PathBuf;

use anyhow::Context as _;
use clap::Args;
use gritbook_core::call::TrackRecord;

use super::{Desk, Failure};
use crate::report::lives::track_chart;

/// How honest the recorded calls were.
#[derive(Debug, Args)]
#[command(after_help = "\
Example: gritbook book yard record --plot record.svg

Counts the calls that were saved with `call --record`, each with the chance that it gave then, against what happened in the next pour.")]
pub(super) struct Record {
    /// Draw the chances against what happened to this SVG file.
    #[arg(long, value_name = "P.svg")]
    plot: Option<PathBuf>,
}

/// Which cause fits what a pump showed last.
#[derive(Debug, Args)]
#[command(after_help = "Example: gritbook book yard diagnose --pump 'Trailer 3'")]
pub(super) struct Diagnose {
    /// Which pump.
    #[arg(long)]
    pump: String,
}

impl Diagnose {
    pub(super) fn run(self, desk: &Desk) -> Result<(), Failure> {
        let book = desk.open(false)?;
        let found = book.diagnose(super::pump(&book, &self.pump)?)?;
        desk.tell(&found, crate::commands::diagnose::lines(&found));
        Ok(())
    }
}

impl Record {
    pub(super) fn run(self, desk: &Desk) -> Result<(), Failure> {
        let record = desk.open(false)?.track_record()?;
        if let Some(path) = &self.plot {
            std::fs::write(path, track_chart(&record, |words| words.en).to_svg())
                .with_context(|| format!("writing `{}` failed", path.display()))?;
        }
        desk.tell(&record, lines(&record));
        Ok(())
    }
}

fn lines(record: &TrackRecord) -> Vec<String> {
    if record.forecasts == 0 {
        return vec![format!("No recorded call has an outcome yet; {} wait for one or were followed by a change.", record.without_outcome)];
    }
    let mut lines = vec![format!(
        "{} forecasts with an outcome, {} without; {} failed where {:.1} were expected.",
        record.forecasts, record.without_outcome, record.failed, record.expected
    )];
    if let (Some(brier), Some(log), Some(share_brier), Some(share_log)) =
        (record.brier, record.log_score, record.brier_of_share, record.log_score_of_share)
    {
        lines.push(format!(
            "Brier {brier:.4}, log score {log:.4}; one who always says the mean: {share_brier:.4}, {share_log:.4}. Less is better."
        ));
    }
    lines.extend(record.bins.iter().map(|bin| {
        format!(
            "  {:.0} to {:.0} %: {} forecasts, mean {:.1} %, {} failed",
            100.0 * bin.from,
            100.0 * bin.to,
            bin.forecasts,
            100.0 * bin.mean_chance,
            bin.failed
        )
    }));
    lines
}
