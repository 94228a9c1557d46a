//! `gritbook plate`: flatness of a piston plate from heights on a grid.

use std::path::PathBuf;

use gritbook_core::wear::flatness::{Centre, PlatePoint, PlateSettings, flatness};

use super::measured::table;
use super::{Failure, Run, say, say_document};

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: gritbook plate points.csv --resolution-mm 0.01 --limit-mm 0.1\n\n\
    POINTS.csv has the columns x_mm, y_mm, height_mm: at least four places over the whole plate, read with a dial from a\n\
    surface plate or from three supports. Only the form counts: a tilted setting changes nothing.\n\
    Low in the centre: replace the plate (common practice, no published source). The maker's limit wins.")]
pub struct Args {
    /// The readings, a CSV file.
    points: PathBuf,
    /// Step of the dial, mm.
    #[arg(long, default_value_t = 0.01)]
    resolution_mm: f64,
    /// The shop's limit, mm; the default is our assumption.
    #[arg(long, default_value_t = gritbook_core::history::PLATE_LOW_LIMIT_MM)]
    limit_mm: f64,
    /// Print one JSON document, gritbook.plate/1.
    #[arg(long)]
    json: bool,
}

impl Run for Args {
    fn json(&self) -> bool {
        self.json
    }

    fn run(self) -> Result<(), Failure> {
        let rows = table(&self.points, ["x_mm", "y_mm", "height_mm"])?;
        let points: Vec<_> = rows.into_iter().map(|[x_mm, y_mm, height_mm]| PlatePoint { x_mm, y_mm, height_mm }).collect();
        let found = flatness(&points, &PlateSettings { resolution_mm: self.resolution_mm, limit_mm: self.limit_mm })?;
        if self.json {
            return say_document(&found);
        }
        say(format_args!(
            "Flatness {:.3} mm (give or take {:.3}), limit {} mm: {}",
            found.minimum_zone_mm,
            found.uncertainty_mm,
            found.limit_mm,
            found.verdict.words().en
        ));
        say(match (found.centre, found.centre_low_mm) {
            (Centre::Low, Some(low)) => format!("Low in the centre by {low:.3} mm: replace it"),
            (Centre::High, Some(low)) => format!("High in the centre by {:.3} mm", -low),
            (Centre::NotSeen, _) | (_, None) => "The readings do not reach the centre".to_owned(),
            (Centre::Level, _) => "Centre and rim are level, as far as the dial tells".to_owned(),
        });
        say(format_args!("About the least-squares plane: {:.3} mm", found.least_squares_mm));
        let touched: Vec<_> = found.contacts.iter().map(|at| format!("({}, {})", points[*at].x_mm, points[*at].y_mm)).collect();
        say(format_args!("The zone touches at {}", touched.join(" ")));
        Ok(())
    }
}
