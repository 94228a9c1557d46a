//! A history and asks in, answers out.
//!
//! Rows and asks are walked in order of time together, so an ask is answered from the rows taken in before it and can use
//! nothing later. What is known of a pump is computed anew only after it has a new row.

use super::answer::{Answer, AskError, CALL_SCHEMA, Call, CallCode, Chance, CupForecast, ErrorBody, ExpectedCost};
use super::ask::{Ask, BadAsk, Costs};
use super::decide::decide;
use super::known::{CUPS, Coming, Known, LEFT_IN_M3, laws_in_duty};
use super::reasons::{Facts, Turned, reasons, would_change};
use crate::error::CoreError;
use crate::history::{FittedPart, History, Row, StopKind};
use crate::life::shop::Shop;

/// Takes in rows in order of time and answers asks between them.
pub struct Judge {
    costs: Costs,
    shop: Shop,
}

impl Judge {
    /// A judge who knows nothing yet.
    ///
    /// # Errors
    /// `bad_costs`.
    pub fn new(costs: Costs) -> Result<Self, CoreError> {
        costs.check()?;
        Ok(Self { costs, shop: Shop::new() })
    }

    /// Takes in the next row; rows must come in the order of a [`History`].
    pub fn take_in(&mut self, row: &Row) {
        self.shop.take_in(row);
    }

    /// The turn that the forecasts go by: one too unlikely to stand for a single law has no part in them.
    fn turned(&self) -> Option<Turned> {
        let (at, factor) = self.shop.turn().filter(|_| laws_in_duty(&self.shop) > 0)?;
        Some(Turned { at, factor, chance: self.shop.duty_weight() })
    }

    /// The call after a look into the box now that shows paste only, some sand, or sand (lumps are a hard stop); None where it stays `call`
    /// whatever is seen. A worse level never leads to a milder call, and paste only never to a graver one than without a look. Sand again may
    /// well: that it is no more than sand now says more than that it was sand some time ago.
    fn after_a_look(&self, known: &Known<'_>, ask: &Ask, call: CallCode) -> Option<[CallCode; 3]> {
        let then = |level| decide(&known.forecast(Some(level)), &self.costs, ask.next_pour_m3).call;
        let mildest = if call == CallCode::Pour { call } else { then(0) };
        let gravest = if mildest == CallCode::ChangeFirst { mildest } else { then(2) };
        let between = if mildest == gravest { mildest } else { then(1) };
        Some([mildest, between, gravest]).filter(|after| after.iter().any(|then| *then != call))
    }

    /// Answers one ask from the rows taken in so far.
    ///
    /// # Errors
    /// `unknown_pump`; `bad_ask` where the running total lies below the last known one.
    pub fn answer(&mut self, ask: &Ask) -> Result<Call, CoreError> {
        self.shop.catch_up(&ask.pump);
        let Some(timeline) = self.shop.timeline(&ask.pump) else {
            return Err(CoreError::refused(
                "unknown_pump",
                "nothing is known of this pump at the asked moment",
                "check its name, or record at least one row of it before",
            ));
        };
        let mut here = timeline.position_m3();
        if let (Some(total), Some(known)) = (ask.pump_m3, timeline.total_m3()) {
            if total < known - 1.0 {
                let reason = format!("pump_m3 {total} is below {known:.1}, the last known running total");
                return Err(CoreError::refused("bad_ask", reason, "give the running total as it reads now, or leave it out"));
            }
            here += (total - known).max(0.0);
        }
        let cups: [Option<FittedPart>; 2] = CUPS.map(|cup| timeline.cup(cup));
        let coming = Coming { here, pour_m3: ask.next_pour_m3, concrete_bar: ask.concrete_bar, mix_factor: ask.mix_factor };
        let known = Known::of(&self.shop, timeline, coming);
        let forecast = known.forecast(None);
        let choice = decide(&forecast, &self.costs, ask.next_pour_m3);
        let stops = timeline.stops();
        let hard_stop = !stops.is_empty();
        let call = if hard_stop { CallCode::ChangeFirst } else { choice.call };
        let far_m3 = forecast.far_m3();
        let mut forecasts = Vec::new();
        let mut facts_of_cups = Vec::new();
        for (which, cup) in cups.iter().enumerate() {
            let Some(fitted) = cup else { continue };
            let through = timeline.through_m3(fitted, here).middle();
            let age_m3 = fitted.age_then_m3.map(|then| then + through);
            let (value, low, high) = forecast.cup_lasts(which, ask.next_pour_m3);
            let exposure_mpa_km = ask
                .bore_mm
                .filter(|_| fitted.age_then_m3 == Some(0.0))
                .and_then(|bore_mm| timeline.exposure_mpa_km(here - through, here, bore_mm));
            forecasts.push(CupForecast {
                cup: CUPS[which],
                age_m3,
                exposure_mpa_km,
                chance_lasts_pour: Chance { value, low, high },
                change_by_m3: forecast.lasts_until(which, self.costs.lasting_limit, far_m3),
            });
            facts_of_cups.push((CUPS[which], age_m3, fitted.grades.last().map(|seen| seen.what)));
        }
        // The visit is for cups unless what must be put right is something else.
        let not_cups = |kind: StopKind| matches!(kind, StopKind::BoltMissing | StopKind::SensorBarMoved | StopKind::PartSpent);
        let change_cups = match call {
            CallCode::ChangeFirst if hard_stop && stops.iter().all(|stop| not_cups(stop.kind)) => Vec::new(),
            CallCode::ChangeFirst => CUPS.to_vec(),
            CallCode::Pour | CallCode::PourAndWatch => Vec::new(),
        };
        let since = cups.iter().flatten().map(|cup| cup.since).max();
        let last_seen = timeline.box_seen().last().filter(|seen| since.is_none_or(|since| seen.at >= since)).map(|seen| seen.what);
        let tells = !hard_stop && known.not_looked_for_m3() > LEFT_IN_M3;
        let look_first = if tells { self.after_a_look(&known, ask, call) } else { None };
        let failures = self.shop.failures();
        let facts = Facts {
            stops: &stops,
            choice: &choice,
            costs: &self.costs,
            pour_m3: ask.next_pour_m3,
            cups: &facts_of_cups,
            last_seen,
            followed: last_seen.and_then(|seen| seen.level).map(|level| self.shop.followed().counted(level)),
            break_in: timeline.break_in(here),
            look_first,
            turn: self.turned(),
            failures,
            median_life_m3: forecast.median_life_m3(),
        };
        let [pour, pour_and_watch, change_first] = choice.costs;
        Ok(Call {
            schema: CALL_SCHEMA.to_owned(),
            at: ask.at_text.clone(),
            pump: ask.pump.clone(),
            next_pour_m3: ask.next_pour_m3,
            cups: forecasts,
            chance_of_failure: choice.chance_of_failure,
            call,
            change_cups,
            reasons: reasons(&facts),
            would_change: would_change(&facts),
            hard_stop,
            best_change_age_m3: choice.best_change_age_m3,
            expected_cost: ExpectedCost { currency: self.costs.currency.clone(), pour, pour_and_watch, change_first },
        })
    }
}

/// Answers asks in their own order, each from what is stamped at or before it.
///
/// # Errors
/// `bad_costs`. An ask that cannot be answered is an [`Answer::Error`] in its place.
pub fn judge(history: &History, asks: &[Result<Ask, BadAsk>], costs: &Costs) -> Result<Vec<Answer>, CoreError> {
    let mut judge = Judge::new(costs.clone())?;
    let mut order: Vec<usize> = (0..asks.len()).collect();
    order.sort_by_key(|&i| asks[i].as_ref().ok().map(|ask| ask.at));
    let mut rows = history.rows.iter().peekable();
    let mut answers: Vec<Option<Answer>> = vec![None; asks.len()];
    for i in order {
        answers[i] = Some(match &asks[i] {
            Err(bad) => Answer::Error(bad.clone()),
            Ok(ask) => {
                while let Some(row) = rows.next_if(|row| row.at <= ask.at) {
                    judge.take_in(row);
                }
                match judge.answer(ask) {
                    Ok(call) => Answer::Call(Box::new(call)),
                    Err(error) => Answer::Error(AskError {
                        at: ask.at_text.clone(),
                        pump: ask.pump.clone(),
                        error: ErrorBody { code: error.code().to_owned(), reason: error.to_string(), advice: error.advice().to_owned() },
                    }),
                }
            }
        });
    }
    Ok(answers.into_iter().flatten().collect())
}

#[cfg(test)]
#[path = "judge_tests.rs"]
mod tests;
