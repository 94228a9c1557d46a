//! A history and asks in, answers out.
//!
//! Rows and asks are walked in order of time together, so an ask is answered from the rows taken in before it and can use
//! nothing later. What is known of a pump is computed anew only after it has a new row.

use std::collections::{BTreeMap, BTreeSet};

use super::answer::{Answer, AskError, CALL_SCHEMA, Call, CallCode, Chance, CupForecast, ErrorBody, ExpectedCost};
use super::ask::{Ask, BadAsk, Costs};
use super::decide::decide;
use super::forecast::{CupInput, Forecast, LAWS, SharedSign, SignKind};
use super::reasons::{Facts, reasons, would_change};
use crate::error::CoreError;
use crate::history::{FittedPart, History, Life, LifeEnd, Row, StopKind, Timeline};
use crate::life::condition::{ConditionModel, KnownSign};
use crate::life::fleet::{Fleet, GridLife, equal_slices};
use crate::model::entry::Liquid;
use crate::model::{Cup, Part};

const CUPS: [Cup; 2] = [Cup::A, Cup::B];

/// Signs of one kind that a forecast looks back on; older ones say little beside newer ones.
const LOOK_BACK: usize = 8;

/// A measure of use that lives are counted in. Which one the lives follow is judged by the evidence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Measure {
    /// m3.
    Volume,
    /// m3 weighted by pressure and mix.
    Duty,
}

const MEASURES: [Measure; 2] = [Measure::Volume, Measure::Duty];

/// Signs of ended lives of one pump.
#[derive(Debug, Clone, Default, PartialEq)]
struct Signs {
    failures: usize,
    levels: Vec<KnownSign>,
    grades: Vec<KnownSign>,
}

/// Takes in rows in order of time and answers asks between them.
pub struct Judge {
    costs: Costs,
    timelines: BTreeMap<String, Timeline>,
    changed: BTreeSet<String>,
    fleets: [Fleet; 2],
    /// ln evidence of both measures, while no pump has changed.
    evidence: Option<[f64; 2]>,
    signs: BTreeMap<String, Signs>,
    model: ConditionModel,
    failures: usize,
    tells_duty: bool,
}

impl Judge {
    /// A judge who knows nothing yet.
    ///
    /// # Errors
    /// `bad_costs`.
    pub fn new(costs: Costs) -> Result<Self, CoreError> {
        costs.check()?;
        Ok(Self {
            costs,
            timelines: BTreeMap::new(),
            changed: BTreeSet::new(),
            fleets: [Fleet::new(), Fleet::new()],
            evidence: None,
            signs: BTreeMap::new(),
            model: ConditionModel::assumed(),
            failures: 0,
            tells_duty: false,
        })
    }

    /// Takes in the next row; rows must come in the order of a [`History`].
    pub fn take_in(&mut self, row: &Row) {
        if !self.changed.contains(&row.pump) {
            self.changed.insert(row.pump.clone());
        }
        self.timelines.entry(row.pump.clone()).or_insert_with(|| Timeline::new(&row.pump)).take_in(row);
    }

    /// Brings what is known of the changed pumps up to date.
    fn catch_up(&mut self) {
        let changed = std::mem::take(&mut self.changed);
        let told_before = self.tells_duty;
        self.tells_duty |= changed.iter().filter_map(|pump| self.timelines.get(pump)).any(Timeline::tells_duty);
        let mut learned_more = false;
        for (pump, timeline) in &self.timelines {
            // With the first told pressure all pumps enter the duty fleet.
            let first_duty = self.tells_duty && !told_before;
            if !(first_duty || changed.contains(pump)) {
                continue;
            }
            let lives = timeline.lives(Part::Cup);
            for (fleet, measure) in self.fleets.iter_mut().zip(MEASURES) {
                if measure == Measure::Duty && !self.tells_duty {
                    continue;
                }
                let at_failures: Vec<f64> = lives
                    .iter()
                    .filter(|life| life.end == LifeEnd::Failed && life.through_m3.is_exact())
                    .map(|life| if measure == Measure::Duty { life.duty_rate } else { 1.0 })
                    .collect();
                if fleet.set_pump(pump, &grid_lives(timeline, &lives, measure), &at_failures) {
                    self.evidence = None;
                }
            }
            let signs = signs_of(timeline, &lives);
            if self.signs.get(pump) != Some(&signs) {
                learned_more |= signs.failures > 0;
                self.signs.insert(pump.clone(), signs);
            }
        }
        if learned_more {
            self.failures = self.signs.values().map(|signs| signs.failures).sum();
            let levels: Vec<_> = self.signs.values().flat_map(|signs| signs.levels.iter().copied()).collect();
            let grades: Vec<_> = self.signs.values().flat_map(|signs| signs.grades.iter().copied()).collect();
            self.model = ConditionModel::assumed().learned(&levels, &grades);
        }
    }

    /// Weight of the duty measure against volume, from the evidence and even odds before it.
    fn duty_weight(&mut self) -> f64 {
        if !self.tells_duty {
            return 0.0;
        }
        let [volume, duty] = *self.evidence.get_or_insert_with(|| [self.fleets[0].ln_evidence(), self.fleets[1].ln_evidence()]);
        1.0 / (1.0 + (volume - duty).exp())
    }

    /// Answers one ask from the rows taken in so far.
    ///
    /// # Errors
    /// `unknown_pump`; `bad_ask` where the running total lies below the last known one.
    pub fn answer(&mut self, ask: &Ask) -> Result<Call, CoreError> {
        self.catch_up();
        let duty_weight = self.duty_weight();
        let Some(timeline) = self.timelines.get(&ask.pump) else {
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
        let mut forecast = Forecast::new(ask.next_pour_m3, [cups[0].is_some(), cups[1].is_some()]);
        let lives = timeline.lives(Part::Cup);
        let in_duty = (LAWS as f64 * duty_weight).round() as usize;
        for (measure, fleet, laws) in [(Measure::Volume, &self.fleets[0], LAWS - in_duty), (Measure::Duty, &self.fleets[1], in_duty)] {
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
                Measure::Duty => [timeline.duty_rate(ask.concrete_bar, ask.mix_factor), timeline.duty_rate(None, None)],
            };
            let laws = equal_slices(&fleet.posterior(&ask.pump, &grid_lives(timeline, &lives, measure)), laws);
            let inputs = cups.clone().map(|cup| cup.map(|cup| cup_input(timeline, &cup, measure, here, &use_at, rates[1])));
            let signs = shared_signs(timeline, &cups, measure, &use_at);
            forecast.add(&laws, &inputs, &signs, &self.model, rates);
        }
        forecast.finish();

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
        let facts = Facts {
            stops: &stops,
            choice: &choice,
            costs: &self.costs,
            pour_m3: ask.next_pour_m3,
            cups: &facts_of_cups,
            last_seen: timeline.box_seen().last().filter(|seen| since.is_none_or(|since| seen.at >= since)).map(|seen| seen.what),
            failures: self.failures,
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

fn grid_lives(timeline: &Timeline, lives: &[Life], measure: Measure) -> Vec<GridLife> {
    let mean_rate = timeline.duty_rate(None, None);
    lives.iter().map(|life| grid_life(life, measure, mean_rate)).collect()
}

fn grid_life(life: &Life, measure: Measure, mean_rate: f64) -> GridLife {
    let (through, rate) = match measure {
        Measure::Volume => (life.through_m3, 1.0),
        Measure::Duty => (life.through_duty, mean_rate),
    };
    let failed = life.end == LifeEnd::Failed;
    let (low, high) = match failed {
        // A failure at once still takes a little use, so that its density is finite.
        true if life.through_m3.is_exact() => (through.middle().max(0.5 * rate), through.middle().max(0.5 * rate)),
        true => (through.low, through.high.max(through.low + 0.5 * rate)),
        false => (through.low, through.low),
    };
    GridLife { watched_from: life.age_then_m3.map(|age| age * rate), low, high, failed, running: life.end == LifeEnd::Running }
}

/// Levels and grades of lives that ended in failure at a known age, each with its share of that life.
fn signs_of(timeline: &Timeline, lives: &[Life]) -> Signs {
    let failures = lives.iter().filter(|life| life.end == LifeEnd::Failed).count();
    let mut signs = Signs { failures, ..Signs::default() };
    for life in lives.iter().filter(|life| life.end == LifeEnd::Failed && life.through_m3.is_exact()) {
        let Some(then) = life.age_then_m3 else { continue };
        let whole = then + life.through_m3.middle();
        if whole <= 0.0 {
            continue;
        }
        let [from, to] = life.span_m3;
        for seen in timeline.box_seen().iter().filter(|seen| seen.position_m3 > from && seen.position_m3 <= to) {
            if let Some(step) = seen.what.level {
                signs.levels.push(KnownSign { life_share: (then + seen.position_m3 - from) / whole, step });
            }
        }
        signs.grades.extend(life.grades.iter().map(|&([at, _], step)| KnownSign { life_share: (then + at) / whole, step }));
    }
    signs
}

fn cup_input(timeline: &Timeline, cup: &FittedPart, measure: Measure, here: f64, use_at: &dyn Fn(f64) -> f64, mean_rate: f64) -> CupInput {
    let watched = watched_use(timeline, cup, measure, here, use_at);
    let rate = if measure == Measure::Duty { mean_rate } else { 1.0 };
    let skip = cup.grades.len().saturating_sub(LOOK_BACK);
    let grades =
        cup.grades.iter().skip(skip).map(|seen| (watched_use(timeline, cup, measure, seen.position_m3, use_at), seen.what)).collect();
    CupInput { watched, age_then: cup.age_then_m3.map(|age| age * rate), grades }
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

fn shared_signs(timeline: &Timeline, cups: &[Option<FittedPart>; 2], measure: Measure, use_at: &dyn Fn(f64) -> f64) -> Vec<SharedSign> {
    // Looks before the younger cup went in show another cup; they speak of nothing that is still in.
    let since = cups.iter().flatten().map(|cup| cup.since).max();
    let looks: Vec<_> =
        timeline.box_seen().iter().rev().take_while(|seen| since.is_none_or(|since| seen.at >= since)).take(LOOK_BACK).collect();
    let mut signs = Vec::new();
    for seen in looks.into_iter().rev() {
        let watched: [Option<f64>; 2] =
            std::array::from_fn(|c| cups[c].as_ref().map(|cup| watched_use(timeline, cup, measure, seen.position_m3, use_at)));
        // Nothing went through since the change: what is in the box is what the old cups left.
        if watched.iter().flatten().all(|used| *used <= 0.0) {
            continue;
        }
        let mut push = |kind, step| signs.push(SharedSign { kind, step, watched });
        if let Some(level) = seen.what.level {
            push(SignKind::Level, level);
        }
        match seen.what.liquid {
            Some(Liquid::Muddy) => push(SignKind::Muddy, 1),
            Some(Liquid::Clear | Liquid::Grey) => push(SignKind::Muddy, 0),
            Some(Liquid::Oily) | None => {}
        }
        if let Some(low) = seen.what.liquid_low {
            push(SignKind::Low, u8::from(low));
        }
    }
    signs
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
