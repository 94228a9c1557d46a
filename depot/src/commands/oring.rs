//! `gritbook oring`: an O-ring's squeeze in its groove.

use gritbook_core::wear::oring::{ORing, ORingFit, oring};

use super::measured::Wanted;
use super::{Failure, Run, say};
use crate::report::worn;

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: gritbook oring --section-mm 5.0 --groove-mm 191.2 --bore-mm 200.1 --groove-width-mm 6.5\n\n\
    Section where the ring is thinnest, groove at its bottom, bore where it is widest. The limits of 10 to 25 % are one trade\n\
    page's for moving rings, not a standard: the maker's figures win. No burrs or sharp edges at the groove.")]
pub struct Args {
    /// Section of the ring, mm.
    #[arg(long)]
    section_mm: f64,
    /// Diameter at the bottom of the groove, mm.
    #[arg(long)]
    groove_mm: f64,
    /// Diameter of the bore, mm.
    #[arg(long)]
    bore_mm: f64,
    /// Width of the groove, mm.
    #[arg(long)]
    groove_width_mm: Option<f64>,
    /// Step of the gauges, mm.
    #[arg(long, default_value_t = 0.05)]
    resolution_mm: f64,
    /// Least squeeze, percent.
    #[arg(long, default_value_t = 10.0)]
    least_percent: f64,
    /// Most squeeze, percent.
    #[arg(long, default_value_t = 25.0)]
    most_percent: f64,
    #[command(flatten)]
    wanted: Wanted,
}

impl Run for Args {
    fn json(&self) -> bool {
        self.wanted.json
    }

    fn run(self) -> Result<(), Failure> {
        let found = oring(&ORingFit {
            section_mm: self.section_mm,
            groove_mm: self.groove_mm,
            groove_width_mm: self.groove_width_mm,
            bore_mm: self.bore_mm,
            resolution_mm: self.resolution_mm,
            least_percent: self.least_percent,
            most_percent: self.most_percent,
        })?;
        self.wanted.give(&found, worn::oring, words)
    }
}

fn words(found: &ORing) {
    say(format_args!(
        "Squeeze {:.1} % (give or take {:.1}), wanted {} to {} %: {}",
        found.squeeze_percent,
        found.uncertainty_percent,
        found.least_percent,
        found.most_percent,
        found.verdict.words().en
    ));
    if found.squeeze_percent <= 0.0 {
        say("The ring does not touch the bore");
    }
    if let Some(fill) = found.fill_percent {
        let tight = if fill > 85.0 { ": no room to swell" } else { "" };
        say(format_args!("The groove is {fill:.0} % full{tight}"));
    }
}
