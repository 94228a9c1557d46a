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
//! price each time. Watching costs its price and turns its share of the failures in the asked pour into planned changes.
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

const PLAN_STEPS: usize = 80;

/// Cost per m3 under the best plan for new pairs of cups, and the age of the change.
fn best_plan(forecast: &Forecast, costs: &Costs, far_m3: f64) -> (f64, Option<f64>) {
    let (planned, failure) = (costs.planned_change, costs.failure_mid_pour);
    let age = |step: usize| far_m3 * (step as f64 / PLAN_STEPS as f64).powf(1.5);
    let (mut best, mut at) = (f64::INFINITY, 0.0);
    let (mut cycle, mut before) = (0.0, 1.0);
    let mut last = f64::INFINITY;
    for step in 1..=PLAN_STEPS {
        let lasting = forecast.new_pair_lasts(age(step));
        cycle += (age(step) - age(step - 1)) * f64::midpoint(before, lasting);
        before = lasting;
        last = (planned * lasting + failure * (1.0 - lasting)) / cycle;
        if last < best {
            (best, at) = (last, age(step));
        }
    }
    (best, (best < 0.995 * last).then_some(at))
}

/// Chooses. `forecast` was made for the asked pour.
pub fn decide(forecast: &Forecast, costs: &Costs, pour_m3: f64) -> Choice {
    let (planned, failure) = (costs.planned_change, costs.failure_mid_pour);
    let far_m3 = forecast.far_m3();
    let (cost_per_m3, best_change_age_m3) = best_plan(forecast, costs, far_m3);

    // Volumes from now: fine up to the asked pour, wider after it.
    let mut volumes: Vec<f64> = [0.0, 0.1, 0.2, 0.35, 0.5, 0.7, 0.85, 1.0].iter().map(|share| share * pour_m3).collect();
    let asked = volumes.len() - 1;
    volumes.extend((1..=24).map(|step| pour_m3 + far_m3 * (f64::from(step) / 24.0).powi(2)));
    let lasting: Vec<f64> = volumes.iter().map(|volume| forecast.all_last(*volume)).collect();
    let mut poured = vec![0.0; volumes.len()];
    for i in 1..volumes.len() {
        poured[i] = poured[i - 1] + (volumes[i] - volumes[i - 1]) * f64::midpoint(lasting[i - 1], lasting[i]);
    }
    let going_on: Vec<f64> =
        (0..volumes.len()).map(|i| failure * (1.0 - lasting[i]) + planned * lasting[i] - cost_per_m3 * poured[i]).collect();
    // Least cost of going on at least to each volume.
    let mut least = going_on.clone();
    for i in (0..least.len() - 1).rev() {
        least[i] = least[i].min(least[i + 1]);
    }
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
