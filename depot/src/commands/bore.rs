//! `gritbook bore`: a bore from diameters at stations along it.

use std::path::PathBuf;

use gritbook_core::wear::bore::{Bore, BoreReading, BoreSettings, bore};

use super::measured::{Wanted, table};
use super::{Failure, Run, say};
use crate::report::worn;

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: gritbook bore stations.csv --nominal-mm 200 --chrome-mm 0.25 --cup-mm 199.2 --picture bore.png\n\n\
    STATIONS.csv has the columns station_mm, direction_deg, diameter_mm: some places along the bore, two directions at each.\n\
    The maker's limit wins; the default of 0.4 mm on the diameter is our assumption.")]
pub struct Args {
    /// The readings, a CSV file.
    stations: PathBuf,
    /// Diameter when new, mm; without it the wear is the least that it can be.
    #[arg(long)]
    nominal_mm: Option<f64>,
    /// Chrome when new, mm on the radius.
    #[arg(long)]
    chrome_mm: Option<f64>,
    /// Diameter of the cup's body, mm.
    #[arg(long)]
    cup_mm: Option<f64>,
    /// Step of the gauge, mm.
    #[arg(long, default_value_t = 0.01)]
    resolution_mm: f64,
    /// The shop's limit of wear, mm on the diameter.
    #[arg(long, default_value_t = 0.4)]
    limit_mm: f64,
    #[command(flatten)]
    wanted: Wanted,
}

impl Run for Args {
    fn json(&self) -> bool {
        self.wanted.json
    }

    fn run(self) -> Result<(), Failure> {
        let rows = table(&self.stations, ["station_mm", "direction_deg", "diameter_mm"])?;
        let readings: Vec<_> = rows
            .into_iter()
            .map(|[station_mm, direction_deg, diameter_mm]| BoreReading { station_mm, direction_deg, diameter_mm })
            .collect();
        let settings = BoreSettings {
            nominal_mm: self.nominal_mm,
            chrome_mm: self.chrome_mm,
            cup_mm: self.cup_mm,
            resolution_mm: self.resolution_mm,
            limit_mm: self.limit_mm,
        };
        let found = bore(&readings, &settings)?;
        self.wanted.give(&found, worn::bore, words)
    }
}

fn words(found: &Bore) {
    say(format_args!(
        "Worn {}{:.3} mm on the diameter (give or take {:.3}), limit {} mm: {}",
        if found.nominal_mm.is_some() { "" } else { "at least " },
        found.wear_mm,
        found.uncertainty_mm,
        found.limit_mm,
        found.verdict.words().en
    ));
    for station in &found.stations {
        let oval = station.ovality_mm.map_or_else(|| "one direction only".to_owned(), |oval| format!("oval by {oval:.3} mm"));
        say(format_args!("  at {} mm: mean {:.3} mm, {oval}", station.station_mm, station.mean_mm));
    }
    if let Some(taper) = found.taper_mm {
        say(format_args!("Taper {taper:.3} mm (largest less smallest along one direction)"));
    }
    if let Some(left) = found.chrome_left_mm {
        say(if left > 0.0 {
            format!("Chrome left about {left:.3} mm where it is thinnest, if it wore evenly all round")
        } else {
            format!("Chrome is through by {:.3} mm, if it wore evenly all round", -left)
        });
    }
    if let Some(clearance) = found.cup_clearance_mm {
        say(format_args!("Cup clearance up to {clearance:.3} mm on the diameter"));
    }
    say(&found.blind_to);
}
