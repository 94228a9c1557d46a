//! The choice of least expected cost over the asked pour and the life thereafter.
//!
//! Renewal reward: under the best plan an ordinary cubic metre costs g (planned changes and failures, shared out). Going on
//! to a further volume v and changing then, unless a cup fails before, costs
//!
//! ```text
//! J(v) = failure (1 - S(v)) + planned S(v) - g * integral of S from 0 to v
//! ```
//!
//! where S is the chance that every cup lasts; changing now costs `planned`. Going on is worth it where the least J(v) over
//! all v from the asked pour on is below `planned`: a change throws away the rest of a life, it does not cost its whole
//! price each time. S and g are those of each law that is possible, and J is their mean: where cups may be short-lived, the new ones
//! would be too, so what makes failing likelier makes a change worth less. One g for all laws, which long lives rule, would have
//! going on cost less than it costs one who knows which law holds. Nor is the moment of the change settled today for whichever law
//! holds: by the next decision more is known, so a share ([`LEARNT`]) of what it would save to choose the moment by the law is taken off.
//! Watching costs its price and turns its share of the failures in
//! the asked pour into planned changes.
//! Source: age replacement (Barlow and Hunter 1960) for the cups at hand in place of new ones. What later looks into the box
//! would still tell is left out, which makes going on look a little dearer than it is.

use super::answer::CallCode;
use super::ask::Costs;
use super::forecast::Forecast;

/// The choice with what led to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// Least expected cost.
    pub call: CallCode,
    /// Expected cost of pouring, of pouring and watching, of changing first.
    pub costs: [f64; 3],
    /// Chance of failure in the asked pour.
    pub chance_of_failure: f64,
    /// Cost of an ordinary m3 under the best plan.
    pub cost_per_m3: f64,
    /// Age at which changing by plan costs least; None where running on does.
    pub best_change_age_m3: Option<f64>,
    /// Pours from here on, m3, with the call for each, where the call is another one than for the asked pour: the nearest
    /// smaller and the nearest bigger.
    pub other_pours: [Option<(f64, CallCode)>; 2],
}

/// Share of what it would save to know the law that is known by the next decision. Chosen among 0, 0.25, 0.5 and 1 on both kinds of invented
/// shops of `fixtures/fleet/kinds`, one of which costs least at 1 and the other at 0.
const LEARNT: f64 = 0.25;

const PLAN_STEPS: usize = 80;

/// Cost per m3 of new pairs that are changed at some age, and the least of it so far.
#[derive(Clone)]
struct Plan {
    /// m3 that a pair is expected to last, and its chance of lasting, up to the age reached.
    cycle: f64,
    lasting: f64,
    last: f64,
    best: f64,
    best_age_m3: f64,
}

impl Plan {
    const NEW: Self = Self { cycle: 0.0, lasting: 1.0, last: f64::INFINITY, best: f64::INFINITY, best_age_m3: 0.0 };

    /// Goes on to an age, `step` m3 after the one before, that a pair reaches with this chance.
    fn to(&mut self, age_m3: f64, step_m3: f64, lasting: f64, costs: &Costs) {
        self.cycle += step_m3 * f64::midpoint(self.lasting, lasting);
        self.lasting = lasting;
        self.last = (costs.planned_change * lasting + costs.failure_mid_pour * (1.0 - lasting)) / self.cycle;
        if self.last < self.best {
            (self.best, self.best_age_m3) = (self.last, age_m3);
        }
    }
}

/// Cost per m3 under the best plan for new pairs of cups, for each law; and that of one plan for whichever law holds, with its age of
/// the change.
fn best_plans(forecast: &Forecast, costs: &Costs, far_m3: f64) -> (Vec<f64>, f64, Option<f64>) {
    let age = |step: usize| far_m3 * (step as f64 / PLAN_STEPS as f64).powf(1.5);
    let mut each = vec![Plan::NEW; forecast.weights().count()];
    let mut one = Plan::NEW;
    for step in 1..=PLAN_STEPS {
        let (now, since) = (age(step), age(step) - age(step - 1));
        let mut mean = 0.0;
        for ((plan, weight), lasting) in each.iter_mut().zip(forecast.weights()).zip(forecast.new_pair_lasts_by_law(now)) {
            plan.to(now, since, lasting, costs);
            mean += weight * lasting;
        }
        one.to(now, since, mean, costs);
    }
    let at = (one.best < 0.995 * one.last).then_some(one.best_age_m3);
    (each.into_iter().map(|plan| plan.best).collect(), one.best, at)
}

/// What going on costs, for each of some volumes from now.
struct GoingOn {
    /// Chance that every cup lasts to it.
    lasting: Vec<f64>,
    /// Least expected cost of going on at least to it.
    least: Vec<f64>,
}

impl GoingOn {
    /// `by_law`: what an m3 costs under the best plan for each law; `volumes_m3` ascend from 0.
    fn new(forecast: &Forecast, costs: &Costs, by_law: &[f64], volumes_m3: &[f64]) -> Self {
        let (planned, failure) = (costs.planned_change, costs.failure_mid_pour);
        let parts: Vec<Vec<f64>> = volumes_m3.iter().map(|volume| forecast.all_last_by_law(*volume)).collect();
        // J(v) of each law times the law's weight, and the sum of all: one moment of the change for whichever law holds.
        let mut one_for_all = vec![0.0; volumes_m3.len()];
        let mut each_its_own = vec![0.0; volumes_m3.len()];
        for (law, (weight, per_m3)) in forecast.weights().zip(by_law).enumerate() {
            let mut spared = 0.0;
            let mut cost = Vec::with_capacity(volumes_m3.len());
            for (i, part) in parts.iter().enumerate() {
                if i > 0 {
                    spared += per_m3 * (volumes_m3[i] - volumes_m3[i - 1]) * f64::midpoint(parts[i - 1][law], part[law]);
                }
                cost.push(failure * (weight - part[law]) + planned * part[law] - spared);
            }
            one_for_all.iter_mut().zip(&cost).for_each(|(sum, cost)| *sum += cost);
            least_from_here_on(&mut cost);
            each_its_own.iter_mut().zip(&cost).for_each(|(sum, cost)| *sum += cost);
        }
        least_from_here_on(&mut one_for_all);
        let least = one_for_all.iter().zip(&each_its_own).map(|(one, own)| one - LEARNT * (one - own)).collect();
        Self { lasting: parts.iter().map(|parts| parts.iter().sum()).collect(), least }
    }
}

/// Each value, or a later one where that is less.
fn least_from_here_on(values: &mut [f64]) {
    for i in (0..values.len().saturating_sub(1)).rev() {
        values[i] = values[i].min(values[i + 1]);
    }
}

/// Chooses. `forecast` was made for the asked pour.
pub fn decide(forecast: &Forecast, costs: &Costs, pour_m3: f64) -> Choice {
    let (planned, failure) = (costs.planned_change, costs.failure_mid_pour);
    let far_m3 = forecast.far_m3();
    let (by_law, cost_per_m3, best_change_age_m3) = best_plans(forecast, costs, far_m3);

    // Volumes from now: fine up to the asked pour, wider after it.
    let mut volumes: Vec<f64> = [0.0, 0.1, 0.2, 0.35, 0.5, 0.7, 0.85, 1.0].iter().map(|share| share * pour_m3).collect();
    let asked = volumes.len() - 1;
    volumes.extend((1..=24).map(|step| pour_m3 + far_m3 * (f64::from(step) / 24.0).powi(2)));
    let going_on = GoingOn::new(forecast, costs, &by_law, &volumes);
    let (lasting, least) = (going_on.lasting, going_on.least);
    let costs_at = |i: usize| {
        let saved = (1.0 - lasting[i]) * costs.watch_saves * (failure - planned);
        [least[i], least[i] + costs.watch - saved, planned]
    };
    let call_of = |[pour, watch, change]: [f64; 3]| {
        if change < pour.min(watch) {
            CallCode::ChangeFirst
        } else if watch < pour {
            CallCode::PourAndWatch
        } else {
            CallCode::Pour
        }
    };
    let now = costs_at(asked);
    let call = call_of(now);
    let other = |i: usize| Some((volumes[i], call_of(costs_at(i)))).filter(|(volume, other)| *other != call && *volume > 0.0);
    Choice {
        call,
        costs: now,
        chance_of_failure: 1.0 - lasting[asked],
        cost_per_m3,
        best_change_age_m3,
        other_pours: [(0..asked).rev().find_map(other), (asked + 1..volumes.len()).find_map(other)],
    }
}

#[cfg(test)]
mod tests {
    use super::super::forecast::CupInput;
    use super::*;
    use crate::life::Weibull;
    use crate::life::condition::ConditionModel;
    use crate::life::joint::Mishaps;

    /// A pair of one age, under laws of these scales, all as likely.
    fn pair(scales: &[f64], age_m3: f64, pour_m3: f64) -> Forecast {
        let laws: Vec<Weibull> = scales.iter().map(|&scale| Weibull { shape: 2.5, scale }).collect();
        let cup = CupInput { watched: age_m3, age_then: Some(0.0), grades: Vec::new(), left_in: None };
        let mut forecast = Forecast::new(pour_m3, [true, true]);
        let tables = [ConditionModel::assumed().tables()];
        forecast.add(&laws, &[Some(cup.clone()), Some(cup)], &[], &tables, &Mishaps::default(), [1.0, 1.0]);
        forecast.finish();
        forecast
    }

    #[test]
    fn going_on_costs_no_less_than_it_costs_one_who_knows_which_law_holds() {
        let going_on = |scales: &[f64], age_m3: f64| decide(&pair(scales, age_m3, 80.0), &Costs::default(), 80.0).costs[0];
        for scales in [&[200.0, 20_000.0][..], &[1000.0, 4000.0, 16_000.0]] {
            for age_m3 in [0.0, 200.0, 600.0, 1000.0] {
                let known = scales.iter().map(|scale| going_on(&[*scale], age_m3)).sum::<f64>() / scales.len() as f64;
                let unknown = going_on(scales, age_m3);
                // Volumes are as far apart as a forecast reaches, so each sum has its own rounding.
                assert!(unknown > known - 0.02 * known.abs() - 10.0, "{scales:?} at {age_m3}: {unknown} against {known}");
            }
        }
    }

    #[test]
    fn knowing_more_by_the_next_decision_spares_nothing_where_the_law_is_known_and_something_where_it_is_not() {
        let least = |scales: &[f64]| {
            let forecast = pair(scales, 600.0, 80.0);
            let (costs, volumes) = (Costs::default(), [0.0, 80.0, 400.0, 1000.0, 3000.0, 9000.0]);
            let (by_law, ..) = best_plans(&forecast, &costs, forecast.far_m3());
            // One moment of the change for whichever law holds, worked out by itself.
            let parts: Vec<Vec<f64>> = volumes.iter().map(|volume| forecast.all_last_by_law(*volume)).collect();
            let worth = |i: usize| parts[i].iter().zip(&by_law).map(|(part, per_m3)| part * per_m3).sum::<f64>();
            let spared = |i: usize| (1..=i).map(|i| (volumes[i] - volumes[i - 1]) * f64::midpoint(worth(i - 1), worth(i))).sum::<f64>();
            let one_moment = |i: usize| {
                let lasting = forecast.all_last(volumes[i]);
                costs.failure_mid_pour * (1.0 - lasting) + costs.planned_change * lasting - spared(i)
            };
            let one = (1..volumes.len()).map(one_moment).fold(f64::INFINITY, f64::min);
            (one, GoingOn::new(&forecast, &costs, &by_law, &volumes).least[1])
        };
        let (one, now) = least(&[2000.0]);
        assert!((one - now).abs() < 1e-6, "{one} {now}");
        let (one, now) = least(&[500.0, 20_000.0]);
        assert!(now < one - 1.0, "{one} {now}");
    }

    #[test]
    fn new_cups_are_not_changed_for_new_ones_however_little_is_known() {
        for scales in [&[200.0, 20_000.0][..], &[300.0, 1000.0, 4000.0, 15_000.0], &[4000.0]] {
            let choice = decide(&pair(scales, 0.0, 80.0), &Costs::default(), 80.0);
            assert_ne!(choice.call, CallCode::ChangeFirst, "{scales:?}: {choice:?}");
        }
    }

    #[test]
    fn old_cups_are_changed_where_their_law_is_known() {
        let choice = decide(&pair(&[2000.0], 1800.0, 80.0), &Costs::default(), 80.0);
        assert_eq!(choice.call, CallCode::ChangeFirst, "{choice:?}");
        assert!(choice.best_change_age_m3.is_some_and(|age| age < 1800.0));
    }
}
