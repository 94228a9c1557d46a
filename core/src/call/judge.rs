//! A history and asks in, answers out.
//!
//! Rows and asks are walked in order of time together, so an ask is answered from the rows taken in before it and can use
//! nothing later. What is known of a pump is computed anew only after it has a new row.

use super::answer::{Answer, AskError, CALL_SCHEMA, Call, CallCode, Chance, CupForecast, ErrorBody, ExpectedCost};
use super::ask::{Ask, BadAsk, Costs};
use super::decide::decide;
use super::forecast::{Correction, CupInput, Forecast, LAWS, SharedLook};
use super::reasons::{Facts, Turned, reasons, would_change};
use crate::error::CoreError;
use crate::history::{FittedPart, History, Row, StopKind, Timeline};
use crate::life::condition::SETTLED_SHARES;
use crate::life::fleet::{GridLife, equal_slices};
use crate::life::shop::{Measure, Shop, look_of};
use crate::model::Cup;

const CUPS: [Cup; 2] = [Cup::A, Cup::B];

/// Signs of one kind that a forecast looks back on; older ones say little beside newer ones.
const LOOK_BACK: usize = 8;

/// Volume for which forecasts are held against each other, m3: an ordinary pour. The asked pour's own volume has no part in it,
/// so a bigger pour cannot look safer.
const REFERENCE_M3: f64 = 60.0;

/// A pour to come.
struct Coming {
    /// Place along the pump's record at which it begins.
    here: f64,
    pour_m3: f64,
    concrete_bar: Option<f64>,
    mix_factor: Option<f64>,
}

/// How what is known is made one, as powers of hazards beside the forecast's own: one pooled Weibull law for the whole shop; what followed the
/// newest level in this shop; and how far the forecast lies from the shop's usual hazard. Where signs mislead or cups wear in a way that the
/// model does not know, the simpler ones hold it back. The powers are those of the largest likelihood over both kinds of invented shops of
/// `fixtures/fleet/kinds` (their filters' own chances for 51 933 asks; alone, the one kind gives 0.24, 0.23 and -0.08, the other 0.19, 0.41
/// and -0.08).
const POOLED_POWER: f64 = 0.21;
const FOLLOWED_POWER: f64 = 0.34;
const USUAL_POWER: f64 = -0.08;

/// Power of what went through since the newest level: a lip torn since then showed nothing at it. By the largest likelihood over both kinds
/// of invented shops (alone, the one gives 0.08, the other 0.10). Of lumps it says nothing: they are the end.
const SINCE_POWER: f64 = 0.1;

/// Volume since the newest level at which that power changes nothing, and the least and the most that it counts, m3. Assumption.
const SINCE_USUAL_M3: f64 = 100.0;
const SINCE_M3: [f64; 2] = [14.0, 2000.0];

/// Share of a mean life from now over which what followed a level counts: then another look tells. 0.03 and 0.1 cost
/// the same on the invented shops, all of a life more.
const NEAR_SHARE: f64 = 0.05;

/// Standard deviation of ln hazard for what those powers might as well have been in the shop at hand.
const BLEND_SPREAD: f64 = 0.2;

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

    /// The factors by which the forecast's hazards are taken, from what simpler ones say of an ordinary pour.
    fn blend(&self, timeline: &Timeline, coming: &Coming, forecast: &Forecast) -> Correction {
        let ln = |hazard: f64| hazard.max(1e-9).ln();
        let own = ln(forecast.ordinary_hazard(REFERENCE_M3));
        let pooled = self.shop.pooled();
        let of_cup = |cup: Cup| {
            let Some(fitted) = timeline.cup(cup) else { return 0.0 };
            let age = timeline.through_m3(&fitted, coming.here).middle() + fitted.age_then_m3.unwrap_or(0.35 * pooled.scale);
            pooled.hazard_sum(age + REFERENCE_M3) - pooled.hazard_sum(age)
        };
        let simple = ln(of_cup(Cup::A) + of_cup(Cup::B));
        let usual = ln(2.0 * REFERENCE_M3 / pooled.mean());
        let newest = newest_level(timeline);
        let followed = self.shop.followed().times(newest.map(|(level, _)| level));
        let since = newest.filter(|(level, _)| *level < 3).map_or(SINCE_USUAL_M3, |(_, at)| coming.here - at);
        let since = (since.clamp(SINCE_M3[0], SINCE_M3[1]) / SINCE_USUAL_M3).ln();
        let away = POOLED_POWER * (simple - own).clamp(-3.0, 3.0) + USUAL_POWER * (own - usual).clamp(-4.0, 4.0);
        Correction {
            lasting: away.exp(),
            near: (FOLLOWED_POWER * followed.ln().clamp(-3.0, 4.0) + SINCE_POWER * since).exp(),
            near_m3: NEAR_SHARE * pooled.mean(),
            ln_spread: BLEND_SPREAD,
        }
    }

    /// How many of so many laws are counted in duty.
    fn in_duty(&self, laws: usize) -> usize {
        (laws as f64 * self.shop.duty_weight()).round() as usize
    }

    /// The turn that the forecasts go by: one too unlikely to stand for a single law has no part in them.
    fn turned(&self) -> Option<Turned> {
        let (at, factor) = self.shop.turn().filter(|_| self.in_duty(LAWS) > 0)?;
        Some(Turned { at, factor, chance: self.shop.duty_weight() })
    }

    /// The forecast of a pump's cups for a coming pour.
    fn forecast(&self, timeline: &Timeline, coming: &Coming) -> Forecast {
        let cups: [Option<FittedPart>; 2] = CUPS.map(|cup| timeline.cup(cup));
        let mut forecast = Forecast::new(coming.pour_m3, [cups[0].is_some(), cups[1].is_some()]);
        let in_duty = self.in_duty(LAWS);
        for measure in [Measure::Volume, Measure::Duty] {
            let laws = match measure {
                Measure::Volume => LAWS - in_duty,
                Measure::Duty => in_duty,
            };
            if laws == 0 {
                continue;
            }
            let use_at = |position: f64| match measure {
                Measure::Volume => position,
                // Volume that the ask adds to the record goes at the usual rate.
                Measure::Duty => {
                    timeline.duty_at(position.min(timeline.position_m3()))
                        + (position - timeline.position_m3()).max(0.0) * timeline.duty_rate(None, None)
                }
            };
            let rates = match measure {
                Measure::Volume => [1.0, 1.0],
                Measure::Duty => [timeline.duty_rate(coming.concrete_bar, coming.mix_factor), timeline.duty_rate(None, None)],
            };
            let pulled = self.shop.pulled_share();
            let before = timeline.duty_rate_before_record();
            let inputs = cups.clone().map(|cup| cup.map(|cup| cup_input(timeline, &cup, measure, coming.here, &use_at, before, pulled)));
            // The signs of the cups that are in weigh the laws in the forecast; here they count with their use alone.
            let running: Vec<GridLife> = inputs
                .iter()
                .flatten()
                .map(|cup| GridLife { watched_from: cup.age_then, running: true, ..GridLife::plain(cup.watched, false) })
                .collect();
            let cells = self.shop.fleet(measure).posterior(timeline.pump(), &running);
            let looks = shared_looks(timeline, &cups, measure, &use_at, self.shop.settled_classes());
            forecast.add(&equal_slices(&cells, laws), &inputs, &looks, self.shop.ways(), self.shop.mishaps(), rates);
        }
        forecast.finish();
        forecast
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
        let mut forecast = self.forecast(timeline, &coming);
        forecast.correct(self.blend(timeline, &coming, &forecast));

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

/// The newest level of the box since both cups went in, and the place along the record at which it was seen.
fn newest_level(timeline: &Timeline) -> Option<(u8, f64)> {
    let since = CUPS.iter().filter_map(|cup| timeline.cup(*cup)).map(|cup| cup.since).max();
    let mut seen = timeline.box_seen().iter().rev().take_while(|seen| since.is_none_or(|since| seen.at >= since));
    seen.find_map(|seen| Some((seen.what.level?, seen.position_m3)))
}

/// Use after a look, m3, from which on the cups have been left in: whoever looks may ask before he decides.
const LEFT_IN_M3: f64 = 5.0;

fn cup_input(
    timeline: &Timeline,
    cup: &FittedPart,
    measure: Measure,
    here: f64,
    use_at: &dyn Fn(f64) -> f64,
    rate_before: f64,
    pulled: f64,
) -> CupInput {
    let watched = watched_use(timeline, cup, measure, here, use_at);
    let rate = if measure == Measure::Duty { rate_before } else { 1.0 };
    let skip = cup.grades.len().saturating_sub(LOOK_BACK);
    let grades =
        cup.grades.iter().skip(skip).map(|seen| (watched_use(timeline, cup, measure, seen.position_m3, use_at), seen.what)).collect();
    let looked = timeline.box_seen().iter().rev().take_while(|seen| seen.at >= cup.since).map(|seen| seen.position_m3);
    let graded = cup.grades.iter().rev().map(|seen| seen.position_m3);
    let last = looked.chain(graded).filter(|at| *at <= here - LEFT_IN_M3).fold(f64::NEG_INFINITY, f64::max);
    let left_in = (last.is_finite()).then(|| (watched_use(timeline, cup, measure, last, use_at), pulled));
    CupInput { watched, age_then: cup.age_then_m3.map(|age| age * rate), grades, left_in }
}

/// Use of a cup at a place since it was fitted or found; the middle of what is possible.
fn watched_use(timeline: &Timeline, cup: &FittedPart, measure: Measure, position: f64, use_at: &dyn Fn(f64) -> f64) -> f64 {
    match measure {
        Measure::Volume => timeline.through_m3(cup, position).middle(),
        Measure::Duty => {
            let through = timeline.through_m3(cup, position);
            (use_at(position) - f64::midpoint(use_at(position - through.high), use_at(position - through.low))).max(0.0)
        }
    }
}

fn shared_looks(
    timeline: &Timeline,
    cups: &[Option<FittedPart>; 2],
    measure: Measure,
    use_at: &dyn Fn(f64) -> f64,
    classes: Option<&[f64; SETTLED_SHARES.len()]>,
) -> Vec<SharedLook> {
    // Looks before the younger cup went in show another cup; they speak of nothing that is still in.
    let since = cups.iter().flatten().map(|cup| cup.since).max();
    let looks: Vec<_> =
        timeline.box_seen().iter().rev().take_while(|seen| since.is_none_or(|since| seen.at >= since)).take(LOOK_BACK).collect();
    let mut shared = Vec::new();
    for seen in looks.into_iter().rev() {
        let watched: [Option<f64>; 2] =
            std::array::from_fn(|c| cups[c].as_ref().map(|cup| watched_use(timeline, cup, measure, seen.position_m3, use_at)));
        // Nothing went through since the change: what is in the box is what the old cups left.
        if watched.iter().flatten().any(|used| *used > 0.0) {
            shared.push(SharedLook { look: look_of(&seen.what, 0.0, classes), watched });
        }
    }
    shared
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
