//! `gritbook book DIR call`.

use std::path::PathBuf;

use clap::Args;
use gritbook_core::call::{CallCode, Costs, parse_costs};
use gritbook_core::fieldbook::CallQuestion;
use gritbook_core::model::entry::Called;

use super::{Desk, Failure, word};
use crate::commands::call::lines;
use crate::commands::life::read;

/// Ask for the call.
#[derive(Debug, Args)]
#[command(after_help = "\
Example: gritbook book yard call --pump 'Trailer 3' --next-pour-m3 80
         gritbook book yard call --pump 'Trailer 3' --next-pour-m3 80 --record --overrule pour_and_watch --reason 'crane is here today'

The answer stands on the whole record of the book. Without --record nothing is saved.")]
pub(super) struct AskCall {
    /// Which pump.
    #[arg(long)]
    pump: String,
    /// The coming pour, m3.
    #[arg(long)]
    next_pour_m3: f64,
    /// Running total now, m3; without it the last known one.
    #[arg(long)]
    pump_m3: Option<f64>,
    /// Concrete pressure of the coming pour, bar; without it as usual.
    #[arg(long)]
    concrete_bar: Option<f64>,
    /// Mix factor of the coming pour; without it as usual.
    #[arg(long)]
    mix_factor: Option<f64>,
    /// What things cost, a JSON file as for `gritbook call`.
    #[arg(long, value_name = "COSTS.json")]
    costs: Option<PathBuf>,
    /// Save the call in the record.
    #[arg(long)]
    record: bool,
    /// What is decided instead: pour, pour_and_watch or change_first.
    #[arg(long, requires = "record", requires = "reason")]
    overrule: Option<String>,
    /// Why it is decided otherwise.
    #[arg(long, requires = "overrule")]
    reason: Option<String>,
}

impl AskCall {
    pub(super) fn run(self, desk: &Desk) -> Result<(), Failure> {
        let costs = match &self.costs {
            Some(path) => parse_costs(&read(path)?)?,
            None => Costs::default(),
        };
        let instead: Option<CallCode> =
            self.overrule.as_deref().map(|text| word("a call", "pour, pour_and_watch, change_first", text)).transpose()?;
        let book = desk.open(false)?;
        let pump = super::pump(&book, &self.pump)?;
        let question = CallQuestion {
            next_pour_m3: self.next_pour_m3,
            pump_m3: self.pump_m3,
            concrete_bar: self.concrete_bar,
            mix_factor: self.mix_factor,
        };
        let call = book.call(pump, &question, &costs, desk.now)?;
        let mut told = lines(&call);
        if self.record {
            let entry = book.record_call(pump, Called::of_document(&call.document(), instead, self.reason)?, desk.now)?;
            told.push(format!("saved: entry {entry}"));
        }
        desk.tell(&call, told);
        Ok(())
    }
}
