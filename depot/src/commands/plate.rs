//! `gritbook plate`: flatness of a piston plate from heights on a grid or from feeler gaps under a straightedge.

use std::path::PathBuf;

use gritbook_core::wear::plate::{Centre, FeelerReading, Flatness, PlatePoint, PlateSettings, flatness, flatness_by_feeler};

use super::measured::{Wanted, table};
use super::{Failure, Run, say};
use crate::report::worn;

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: gritbook plate points.csv --resolution-mm 0.01 --limit-mm 0.1 --picture plate.png\n\n\
    POINTS.csv has the columns x_mm, y_mm, height_mm: at least four places over the whole plate, read with a dial from a\n\
    surface plate or from three supports. Only the form counts: a tilted setting changes nothing.\n\
    Or the columns line, x_mm, y_mm, gap_mm: the feeler that goes under a straightedge, at three places or more along each laying\n\
    of it, `line` counting the layings. Type the places where two layings cross alike on both: they tie the lines together.\n\
    Low in the centre: replace the plate (common practice, no published source). The maker's limit wins.")]
pub struct Args {
    /// The readings, a CSV file.
    points: PathBuf,
    /// Step of the dial or of the feelers, mm.
    #[arg(long, default_value_t = 0.01)]
    resolution_mm: f64,
    /// The shop's limit, mm; the default is our assumption.
    #[arg(long, default_value_t = gritbook_core::history::PLATE_LOW_LIMIT_MM)]
    limit_mm: f64,
    #[command(flatten)]
    wanted: Wanted,
}

impl Run for Args {
    fn json(&self) -> bool {
        self.wanted.json
    }

    fn run(self) -> Result<(), Failure> {
        let settings = PlateSettings { resolution_mm: self.resolution_mm, limit_mm: self.limit_mm };
        let found = match table(&self.points, ["line", "x_mm", "y_mm", "gap_mm"]) {
            Ok(rows) => flatness_by_feeler(&rows.into_iter().map(feeler).collect::<Result<Vec<_>, _>>()?, &settings)?,
            Err(failure) if failure.error.code() == "missing_columns" => {
                let rows = table(&self.points, ["x_mm", "y_mm", "height_mm"])?;
                let points: Vec<_> = rows.into_iter().map(|[x_mm, y_mm, height_mm]| PlatePoint { x_mm, y_mm, height_mm }).collect();
                flatness(&points, &settings)?
            }
            Err(failure) => return Err(failure),
        };
        self.wanted.give(&found, worn::plate, words)
    }
}

fn feeler([line, x_mm, y_mm, gap_mm]: [f64; 4]) -> Result<FeelerReading, Failure> {
    let whole = line.fract() == 0.0 && (0.0..=1e6).contains(&line);
    if !whole {
        let error =
            gritbook_core::CoreError::refused("bad_points", format!("{line} is not the number of a line"), "count the lines 1, 2, 3");
        return Err(error.into());
    }
    Ok(FeelerReading { line: line as u32, x_mm, y_mm, gap_mm })
}

fn words(found: &Flatness) {
    say(format_args!(
        "Flatness {}{:.3} mm (give or take {:.3}), limit {} mm: {}",
        if found.ties_whole_plate { "" } else { "at least " },
        found.minimum_zone_mm,
        found.uncertainty_mm,
        found.limit_mm,
        found.verdict.words().en
    ));
    say(match (found.centre, found.centre_low_mm) {
        (Centre::Low, Some(low)) => format!("Low in the centre by {low:.3} mm: replace it"),
        (Centre::High, Some(low)) => format!("High in the centre by {:.3} mm", -low),
        (Centre::NotSeen, _) | (_, None) => "The readings do not reach the centre".to_owned(),
        (Centre::Level, _) => "Centre and rim are level, as far as the readings tell".to_owned(),
    });
    say(format_args!("About the least-squares plane: {:.3} mm", found.least_squares_mm));
    let touched: Vec<_> = found
        .contacts
        .iter()
        .filter_map(|at| found.points.get(*at))
        .map(|point| format!("({}, {})", point.x_mm + 0.0, point.y_mm + 0.0))
        .collect();
    say(format_args!("The zone touches at {}", touched.join(" ")));
    for line in &found.lines {
        say(format_args!("Line {}: straight to {:.3} mm", line.line, line.straightness_mm));
    }
    if let Some(misfit) = found.misfit_mm {
        say(format_args!("Where lines cross they agree to {misfit:.3} mm"));
    }
    if !found.ties_whole_plate {
        say(
            "The lines meet in too few places: a twist between them is not seen. Lay the straightedge across two or more of them, off the middle.",
        );
    }
}
