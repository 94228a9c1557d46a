//! `gritbook bolt`: torque, clamp load and tap of a bolt.

use clap::ValueEnum;
use gritbook_core::units::NM_PER_FT_LBF;
use gritbook_core::wear::bolt::{Bolt, BoltGrade, Lubrication, Thread, bolt};

use super::measured::Wanted;
use super::{Failure, Run, say};
use crate::report::worn;

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: gritbook bolt 3/8-24 --grade 8 --threads lubricated\n         gritbook bolt M12 --grade 10.9 --maker-nm 95\n\n\
    The maker's figure wins. What is computed is 75 % of proof load by T = K d F; real friction scatters by a quarter and more."
)]
pub struct Args {
    /// The thread: 3/8-24, 1/2-13, M12, M12x1.25 ...
    thread: String,
    /// Strength: 2, 5, 8 (inch) or 8.8, 10.9, 12.9 (metric).
    #[arg(long)]
    grade: Grade,
    /// State of the threads.
    #[arg(long, default_value = "dry")]
    threads: Threads,
    /// The maker's torque, N m.
    #[arg(long)]
    maker_nm: Option<f64>,
    #[command(flatten)]
    wanted: Wanted,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Grade {
    #[value(name = "2")]
    Sae2,
    #[value(name = "5")]
    Sae5,
    #[value(name = "8")]
    Sae8,
    #[value(name = "8.8")]
    Iso8_8,
    #[value(name = "10.9")]
    Iso10_9,
    #[value(name = "12.9")]
    Iso12_9,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Threads {
    Dry,
    Plated,
    Lubricated,
}

impl Run for Args {
    fn json(&self) -> bool {
        self.wanted.json
    }

    fn run(self) -> Result<(), Failure> {
        let grade = match self.grade {
            Grade::Sae2 => BoltGrade::Sae2,
            Grade::Sae5 => BoltGrade::Sae5,
            Grade::Sae8 => BoltGrade::Sae8,
            Grade::Iso8_8 => BoltGrade::Iso8_8,
            Grade::Iso10_9 => BoltGrade::Iso10_9,
            Grade::Iso12_9 => BoltGrade::Iso12_9,
        };
        let lubrication = match self.threads {
            Threads::Dry => Lubrication::Dry,
            Threads::Plated => Lubrication::Plated,
            Threads::Lubricated => Lubrication::Lubricated,
        };
        let found = bolt(&Thread::of(&self.thread)?, grade, lubrication, self.maker_nm)?;
        self.wanted.give(&found, worn::bolt, words)
    }
}

fn words(found: &Bolt) {
    say(format_args!(
        "{}: {:.0} N m ({:.0} ft lb), {}",
        found.thread.name,
        found.torque_nm,
        found.torque_nm / NM_PER_FT_LBF,
        match found.maker_nm {
            Some(_) => format!("the maker's figure; computed {:.0} N m", found.computed_nm),
            None => format!("computed with K = {}; the maker's figure wins where you have it", found.nut_factor),
        }
    ));
    say(format_args!(
        "Clamp load {:.1} kN, proof load {:.1} kN, stress area {:.1} mm2",
        found.clamp_kn, found.proof_kn, found.stress_area_mm2
    ));
    let named = found.tap_drill.as_ref().map_or_else(String::new, |name| format!(" ({name})"));
    say(format_args!("Chase with a {} tap; drill for a new thread {:.2} mm{named}", found.chase_with, found.tap_drill_mm));
}
