//! `gritbook shelf`: how many cups to have before the next delivery comes.

use std::path::PathBuf;

use gritbook_core::history::parse_at;
use gritbook_core::shelf::{ShelfSettings, shelf};

use super::enroll::now;
use super::life::{list_bad_rows, read, refused};
use super::{Failure, Run, say, say_document};

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: gritbook shelf fleet.csv --lead-time-days 21 --service 0.95\n\n\
    Each pump's chance comes from the same forecast as the call, over what it pumps in the lead time at its pace so far. A pump\n\
    that comes down takes two cups. Cups that the shop pulls by plan come on top.")]
pub struct Args {
    /// The history, a CSV file.
    history: PathBuf,
    /// Days from order to delivery.
    #[arg(long, default_value_t = 14.0)]
    lead_time_days: f64,
    /// Share of lead times in which the shelf must not run out.
    #[arg(long, default_value_t = 0.95)]
    service: f64,
    /// What a day costs on which a pump stands for want of cups, in the shop's own currency.
    #[arg(long, default_value_t = 1500.0)]
    standing_day_cost: f64,
    /// Print one JSON document, gritbook.shelf/1.
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
        let settings =
            ShelfSettings { lead_time_days: self.lead_time_days, service: self.service, standing_day_cost: self.standing_day_cost };
        let found = shelf(&history, &settings)?;
        if self.json {
            return say_document(&found);
        }
        say(format_args!(
            "Order when {} cups are left: they last {} days with {:.1} %. Expected need: {:.1} cups.",
            found.reorder_point_cups,
            found.lead_time_days,
            100.0 * found.reached_service,
            found.expected_cups
        ));
        for (pairs, (cups, cost)) in found.expected_wanting.iter().zip(&found.cost_of_being_without).enumerate().take(5) {
            say(format_args!(
                "  with {} on the shelf: {cups:.2} wanting on the mean; pumps that stand cost {cost:.0} in that time, at {} a day",
                2 * pairs,
                self.standing_day_cost
            ));
        }
        for pump in &found.pumps {
            say(format_args!("  {}: {:.0} m3 in that time, {:.1} % that a cup fails", pump.pump, pump.volume_m3, 100.0 * pump.chance));
        }
        Ok(())
    }
}
