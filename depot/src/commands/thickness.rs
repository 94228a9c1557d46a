//! `gritbook thickness`: a cup's lip or wall, or a guide band, against what may be left of it.

use clap::ValueEnum;
use gritbook_core::wear::thickness::{Thickness, ThicknessSettings, ThinPart, thickness};

use super::measured::Wanted;
use super::{Failure, Run, say};
use crate::report::worn;

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: gritbook thickness cup-lip 10.6 9.4 10.2 10.6 --new-mm 12 --limit-mm 8 --before-mm 11 --since-m3 2000\n\n\
    Read it at three or four places around. What may be left is the maker's or the shop's figure: none is assumed."
)]
pub struct Args {
    /// What was measured.
    part: PartName,
    /// The readings around it, mm.
    #[arg(required = true)]
    readings_mm: Vec<f64>,
    /// When new, mm.
    #[arg(long)]
    new_mm: f64,
    /// Least that may be left, mm.
    #[arg(long)]
    limit_mm: f64,
    /// Step of the caliper, mm.
    #[arg(long, default_value_t = 0.1)]
    resolution_mm: f64,
    /// Least thickness at an earlier time, mm.
    #[arg(long, requires = "since_m3")]
    before_mm: Option<f64>,
    /// Concrete pumped since then, m3.
    #[arg(long, requires = "before_mm")]
    since_m3: Option<f64>,
    #[command(flatten)]
    wanted: Wanted,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum PartName {
    CupLip,
    CupWall,
    GuideBand,
}

impl Run for Args {
    fn json(&self) -> bool {
        self.wanted.json
    }

    fn run(self) -> Result<(), Failure> {
        let part = match self.part {
            PartName::CupLip => ThinPart::CupLip,
            PartName::CupWall => ThinPart::CupWall,
            PartName::GuideBand => ThinPart::GuideBand,
        };
        let settings = ThicknessSettings {
            part,
            new_mm: self.new_mm,
            limit_mm: self.limit_mm,
            resolution_mm: self.resolution_mm,
            before: self.before_mm.zip(self.since_m3),
        };
        self.wanted.give(&thickness(&self.readings_mm, &settings)?, worn::thickness, words)
    }
}

fn words(found: &Thickness) {
    say(format_args!(
        "{:.2} mm at the thinnest, reading {} (give or take {:.2}), limit {} mm: {}",
        found.least_mm,
        found.least_at,
        found.uncertainty_mm,
        found.limit_mm,
        found.verdict.words().en
    ));
    say(format_args!("{:.0} % of what may wear is used", found.used_percent.max(0.0)));
    if let Some(uneven) = found.uneven_mm.filter(|uneven| *uneven > 4.0 * found.uncertainty_mm) {
        say(format_args!("Worn unevenly by {uneven:.2} mm: look at the rod and at the bore"));
    }
    let Some(rate) = found.rate else { return };
    if let (Some(wear), Some(left)) = (rate.wear_mm_per_1000_m3, rate.left_m3) {
        say(format_args!("Wear {wear:.2} mm for each 1000 m3; {left:.0} m3 left at that rate"));
    }
    if let Some(least) = rate.left_least_m3 {
        say(format_args!("Plan with {least:.0} m3: what the caliper's step may hide is taken off"));
    }
}
