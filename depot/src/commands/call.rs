//! `gritbook call`: the call at each asked moment.

use std::path::PathBuf;

use anyhow::Context as _;
use gritbook_core::call::{Answer, Call, Costs, judge, parse_asks, parse_costs};
use gritbook_core::history::parse_at;
use gritbook_core::{CoreError, ErrorKind};

use super::enroll::now;
use super::life::{list_bad_rows, read, refused};
use super::{Failure, Run, say};

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: gritbook call fleet.csv --ask tomorrow.csv --costs costs.json --json\n\n\
    ASK.csv: at,pump,next_pour_m3 and, where known, pump_m3, concrete_bar, mix_factor, bore_mm.\n\
    COSTS.json: currency, planned_change, failure_mid_pour, watch, watch_saves, lasting_limit; what is left out stays at its default\n\
    (USD 900, 6000, 60, 0.5, 0.95: assumptions of ours, not a price list).\n\
    Each ask is answered from what is stamped at or before it. One that cannot be answered says so in its line; the others\n\
    are answered all the same and the exit status is 2.")]
pub struct Args {
    /// The history, a CSV file.
    history: PathBuf,
    /// The asked moments, a CSV file.
    #[arg(long, value_name = "ASK.csv")]
    ask: PathBuf,
    /// What things cost, a JSON file.
    #[arg(long, value_name = "COSTS.json")]
    costs: Option<PathBuf>,
    /// Print one JSON document a line, gritbook.call/1.
    #[arg(long)]
    json: bool,
}

impl Run for Args {
    fn json(&self) -> bool {
        self.json
    }

    fn run(self) -> Result<(), Failure> {
        let refuse = |refusal| {
            if !self.json {
                list_bad_rows(&refusal);
            }
            refused(refusal)
        };
        let costs = match &self.costs {
            Some(path) => parse_costs(&read(path)?)?,
            None => Costs::default(),
        };
        let history = parse_at(&read(&self.history)?, now()).map_err(refuse)?;
        let asks = parse_asks(&read(&self.ask)?).map_err(refuse)?;
        let answers = judge(&history, &asks, &costs)?;
        let mut unanswered = 0;
        for answer in &answers {
            unanswered += usize::from(matches!(answer, Answer::Error(_)));
            if self.json {
                say(serde_json::to_string(answer).context("writing an answer failed")?);
            } else {
                match answer {
                    Answer::Call(call) => {
                        lines(call).into_iter().for_each(say);
                        say("");
                    }
                    Answer::Error(bad) => {
                        say(format!("{} {}\n  Not answered: {}\n  {}\n", bad.at, bad.pump, bad.error.reason, bad.error.advice))
                    }
                }
            }
        }
        if unanswered > 0 {
            let reason = format!("{unanswered} of {} asks could not be answered", answers.len());
            let error = CoreError::new(ErrorKind::Refused, "unanswered_asks", reason, "see their lines; the others are answered");
            // With --json every line has been said already.
            return Err(Failure { already_said: self.json, ..error.into() });
        }
        Ok(())
    }
}

/// A call for people.
pub(super) fn lines(call: &Call) -> Vec<String> {
    let mut lines = vec![format!("{} {}, {} m³: {}", call.at, call.pump, call.next_pour_m3, call.call.sentence().en)];
    lines.extend(call.reasons.iter().map(|reason| format!("  {}", reason.text)));
    for cup in &call.cups {
        let chance = &cup.chance_lasts_pour;
        let by = cup.change_by_m3.map_or_else(String::new, |by| format!("; change within {by:.0} m³"));
        lines.push(format!(
            "  Cup {:?}: lasts the pour with {:.1} % ({:.1} to {:.1} %){by}.",
            cup.cup,
            100.0 * chance.value,
            100.0 * chance.low,
            100.0 * chance.high
        ));
    }
    lines.extend(call.would_change.iter().map(|hint| format!("  Would change it: {}", hint.text)));
    lines.extend(call.best_change_age_m3.map(|age| format!("  If nobody looked into the box, changing at {age:.0} m³ would cost least.")));
    lines
}
