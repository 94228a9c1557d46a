//! `gritbook line`: a delivery pipe's wall against the pressure it must hold.

use gritbook_core::wear::line::{Line, LinePipe, line};

use super::measured::Wanted;
use super::{Failure, Run, say};
use crate::report::worn;

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: gritbook line --od-mm 133 --wall-mm 5.9 --pressure-bar 85 --allowed-mpa 150 --before-mm 7.1 --since-m3 12000 --pour-m3 90\n\n\
    --wall-mm is the thinnest place that an ultrasonic gauge found, after setting it on the same steel. The allowed stress is\n\
    the shop's: the pipe maker's figure wins. Never open a line under pressure."
)]
pub struct Args {
    /// Outer diameter, mm.
    #[arg(long)]
    od_mm: f64,
    /// Least wall measured, mm.
    #[arg(long)]
    wall_mm: f64,
    /// Greatest pressure on the concrete, bar.
    #[arg(long)]
    pressure_bar: f64,
    /// Stress that is allowed in the wall, MPa.
    #[arg(long)]
    allowed_mpa: f64,
    /// Step of the gauge, mm.
    #[arg(long, default_value_t = 0.1)]
    resolution_mm: f64,
    /// Wall at the same place earlier, mm.
    #[arg(long, requires = "since_m3")]
    before_mm: Option<f64>,
    /// Concrete pumped since then, m3.
    #[arg(long, requires = "before_mm")]
    since_m3: Option<f64>,
    /// Concrete in a usual pour, m3.
    #[arg(long)]
    pour_m3: Option<f64>,
    #[command(flatten)]
    wanted: Wanted,
}

impl Run for Args {
    fn json(&self) -> bool {
        self.wanted.json
    }

    fn run(self) -> Result<(), Failure> {
        let found = line(&LinePipe {
            od_mm: self.od_mm,
            wall_mm: self.wall_mm,
            pressure_bar: self.pressure_bar,
            allowed_mpa: self.allowed_mpa,
            resolution_mm: self.resolution_mm,
            before: self.before_mm.zip(self.since_m3),
            pour_m3: self.pour_m3,
        })?;
        self.wanted.give(&found, worn::line, words)
    }
}

fn words(found: &Line) {
    say(format_args!(
        "Wall {:.2} mm (give or take {:.2}), needed {:.2} mm: {}",
        found.wall_mm,
        found.uncertainty_mm,
        found.needed_mm,
        found.verdict.words().en
    ));
    say(format_args!(
        "It holds {:.0} bar at that stress; stress now {:.0} MPa inside (thick wall), {:.0} MPa (thin wall)",
        found.holds_bar, found.lame_inner_mpa, found.thin_mpa
    ));
    if let Some(rate) = found.wear_mm_per_1000_m3 {
        say(format_args!("Wear {rate:.3} mm for each 1000 m3; {:.0} m3 left at that rate", found.left_m3.unwrap_or_default()));
    }
    if let Some(least) = found.left_least_m3 {
        let pours = found.pours_left.map_or_else(String::new, |pours| format!(", {pours:.0} usual pours"));
        say(format_args!("Plan with {least:.0} m3{pours}: what the gauge's step may hide is taken off"));
    }
}
