//! The chance that each cup lasts: its law, its age, the signs seen at it and in the shared box.
//!
//! For each law that the posterior holds possible, what is left of each cup's life is cut into slices of known chance; the
//! signs weigh the slices (and pairs of slices, since the box shows the worse cup), and the law itself by how well it
//! explains them. The slices do not depend on the asked pour, so a bigger pour can never look safer.

use crate::life::Weibull;
use crate::life::condition::{ConditionModel, SignModel, TRUST, trusted};
use crate::life::fleet::age_of_unknown;
use crate::life::numeric::weighted_quantile;

/// Chance of failing by the end of each slice, given that the cup has lasted so far.
const BREAKS: [f64; SLICES + 1] =
    [0.0, 0.0025, 0.006, 0.012, 0.025, 0.045, 0.075, 0.11, 0.155, 0.21, 0.27, 0.34, 0.41, 0.49, 0.57, 0.65, 0.73, 0.81, 0.89, 0.96, 1.0];
const SLICES: usize = 20;

/// Laws that stand for a posterior.
pub(super) const LAWS: usize = 60;

/// What is known of one cup, in one measure of use.
#[derive(Debug, Clone, PartialEq)]
pub struct CupInput {
    /// Use through it while it was watched.
    pub watched: f64,
    /// Use when watching began; None where nobody knows.
    pub age_then: Option<f64>,
    /// Grades: watched use at each, and the grade.
    pub grades: Vec<(f64, u8)>,
}

/// What a sign in the box is a sign of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SignKind {
    /// The passing level.
    Level,
    /// The liquid is muddy (1) or not (0).
    Muddy,
    /// The liquid is low (1) or not (0).
    Low,
}

/// A sign in the box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SharedSign {
    /// Of what.
    pub kind: SignKind,
    /// The step seen.
    pub step: u8,
    /// Watched use of each cup at it; None for a cup that was not in yet.
    pub watched: [Option<f64>; 2],
}

/// One possible law with the cups' prospects under it.
#[derive(Debug, Clone)]
struct Prospect {
    life: Weibull,
    weight: f64,
    /// Use per m3 during the asked pour, and after it.
    rates: [f64; 2],
    /// Use of each cup now.
    now: [f64; 2],
    /// Chance of each pair of slices.
    joint: Vec<f64>,
    margins: [[f64; SLICES]; 2],
}

/// The cups' prospects.
#[derive(Debug, Clone)]
pub struct Forecast {
    prospects: Vec<Prospect>,
    present: [bool; 2],
    pour_m3: f64,
}

impl Forecast {
    /// No cup yet: a forecast for a pour, to which laws are added by [`Forecast::add`].
    pub fn new(pour_m3: f64, present: [bool; 2]) -> Self {
        Self { prospects: Vec::with_capacity(LAWS), present, pour_m3 }
    }

    /// Adds laws of equal weight in one measure of use, in which the cups and signs are given; `rates`: use per m3 during the
    /// asked pour and after it.
    pub fn add(&mut self, laws: &[Weibull], cups: &[Option<CupInput>; 2], signs: &[SharedSign], model: &ConditionModel, rates: [f64; 2]) {
        for (index, law) in laws.iter().enumerate() {
            self.prospects.push(prospect(*law, index, cups, signs, model, rates));
        }
    }

    /// Makes the weights sum to 1; called once, after the last [`Forecast::add`].
    pub fn finish(&mut self) {
        let top = self.prospects.iter().map(|p| p.weight).fold(f64::NEG_INFINITY, f64::max);
        let mut sum = 0.0;
        for prospect in &mut self.prospects {
            prospect.weight = (prospect.weight - top).exp();
            sum += prospect.weight;
        }
        self.prospects.iter_mut().for_each(|prospect| prospect.weight /= sum);
    }

    fn use_of(&self, prospect: &Prospect, more_m3: f64) -> f64 {
        let [during, after] = prospect.rates;
        more_m3.min(self.pour_m3) * during + (more_m3 - self.pour_m3).max(0.0) * after
    }

    /// Chance that cup `which` (0 A, 1 B) lasts `more_m3` from now, as if the other held: mean and 90 % interval.
    pub fn cup_lasts(&self, which: usize, more_m3: f64) -> (f64, f64, f64) {
        let mut values: Vec<(f64, f64)> = self
            .prospects
            .iter()
            .map(|p| {
                let lasting = lasting_shares(&p.life, p.now[which], self.use_of(p, more_m3));
                (p.margins[which].iter().zip(lasting).map(|(share, lasts)| share * lasts).sum::<f64>(), p.weight)
            })
            .collect();
        let mean = values.iter().map(|(value, weight)| value * weight).sum::<f64>().clamp(0.0, 1.0);
        let low = weighted_quantile(&mut values, 0.05);
        let high = weighted_quantile(&mut values, 0.95);
        // With a skewed chance the mean may lie beyond a quantile; the interval holds it all the same.
        (mean, low.clamp(0.0, mean), high.clamp(mean, 1.0))
    }

    /// Chance that every cup lasts `more_m3` from now.
    pub fn all_last(&self, more_m3: f64) -> f64 {
        let mut sum = 0.0;
        for p in &self.prospects {
            let more = self.use_of(p, more_m3);
            let one = if self.present[0] { lasting_shares(&p.life, p.now[0], more) } else { [1.0; SLICES] };
            let other = if self.present[1] { lasting_shares(&p.life, p.now[1], more) } else { [1.0; SLICES] };
            let pairs = p.joint.chunks_exact(SLICES).zip(one);
            sum += p.weight
                * pairs.map(|(row, lasts)| lasts * row.iter().zip(other).map(|(share, lasts)| share * lasts).sum::<f64>()).sum::<f64>();
        }
        sum.clamp(0.0, 1.0)
    }

    /// Chance that two new cups both last `age_m3` of ordinary work.
    pub fn new_pair_lasts(&self, age_m3: f64) -> f64 {
        self.prospects.iter().map(|p| p.weight * (-2.0 * p.life.hazard_sum(age_m3 * p.rates[1])).exp()).sum()
    }

    /// The volume of ordinary work that one in fifty of new pairs reaches at most, over what is possible.
    pub fn far_m3(&self) -> f64 {
        self.prospects.iter().map(|p| p.weight * p.life.quantile(0.97) / p.rates[1]).sum()
    }

    /// Median life of a new cup in ordinary work, m3.
    pub fn median_life_m3(&self) -> f64 {
        let mut values: Vec<_> = self.prospects.iter().map(|p| (p.life.quantile(0.5) / p.rates[1], p.weight)).collect();
        weighted_quantile(&mut values, 0.5)
    }

    /// Volume from now at which the chance of cup `which` to last falls to `limit`; None beyond `far_m3`.
    pub fn lasts_until(&self, which: usize, limit: f64, far_m3: f64) -> Option<f64> {
        let mean = |more: f64| {
            self.prospects
                .iter()
                .map(|p| {
                    let lasting = lasting_shares(&p.life, p.now[which], self.use_of(p, more));
                    p.weight * p.margins[which].iter().zip(lasting).map(|(share, lasts)| share * lasts).sum::<f64>()
                })
                .sum::<f64>()
        };
        if mean(far_m3) > limit {
            return None;
        }
        let (mut low, mut high) = (0.0, far_m3);
        for _ in 0..26 {
            let middle = f64::midpoint(low, high);
            if mean(middle) > limit {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(low)
    }
}

/// For each slice, the share of it that lies beyond `more` from now.
fn lasting_shares(life: &Weibull, now: f64, more: f64) -> [f64; SLICES] {
    let failed = -(life.hazard_sum(now) - life.hazard_sum(now + more)).exp_m1();
    std::array::from_fn(|k| 1.0 - ((failed - BREAKS[k]) / (BREAKS[k + 1] - BREAKS[k])).clamp(0.0, 1.0))
}

fn prospect(
    life: Weibull,
    index: usize,
    cups: &[Option<CupInput>; 2],
    signs: &[SharedSign],
    model: &ConditionModel,
    rates: [f64; 2],
) -> Prospect {
    let mut now = [0.0; 2];
    let mut begun = [0.0; 2];
    // Use at failure, in the middle of each slice.
    let mut ends = [[1.0; SLICES]; 2];
    let mut weights = [[0.0; SLICES]; 2];
    for (c, cup) in cups.iter().enumerate() {
        let Some(cup) = cup else {
            weights[c][0] = 1.0;
            continue;
        };
        // Laws take turns with a young, a middling and an old cup where nobody knows its age.
        let turn = (index + c) % 3;
        let age_then = cup.age_then.unwrap_or_else(|| age_of_unknown(&life, cup.watched, (turn as f64 + 0.5) / 3.0) - cup.watched);
        begun[c] = age_then;
        now[c] = age_then + cup.watched;
        let sum = life.hazard_sum(now[c]);
        for k in 0..SLICES {
            let middle = f64::midpoint(BREAKS[k], BREAKS[k + 1]);
            let end = life.scale * (sum - (-middle).ln_1p()).powf(1.0 / life.shape);
            ends[c][k] = end;
            let ln_signs: f64 = cup.grades.iter().map(|&(at, step)| model.grade.chance(step, (age_then + at) / end).ln()).sum();
            weights[c][k] = (BREAKS[k + 1] - BREAKS[k]) * (TRUST * ln_signs).exp();
        }
    }

    let mut joint = vec![1.0; SLICES * SLICES];
    for sign in signs {
        let sign_model: &SignModel = match sign.kind {
            SignKind::Level => &model.level,
            SignKind::Muddy => &model.muddy,
            SignKind::Low => &model.low,
        };
        // Chance that each cup alone stays at or below the step, and below it; a cup that was not in yet shows nothing.
        let mut at_most = [[1.0; SLICES]; 2];
        let mut below = [[1.0; SLICES]; 2];
        for c in 0..2 {
            if let (Some(at), Some(_)) = (sign.watched[c], &cups[c]) {
                for k in 0..SLICES {
                    let share = (begun[c] + at) / ends[c][k];
                    at_most[c][k] = sign_model.at_most(sign.step, share);
                    below[c][k] = if sign.step == 0 { 0.0 } else { sign_model.at_most(sign.step - 1, share) };
                }
            } else if sign.step == 0 {
                below[c] = [0.0; SLICES];
            }
        }
        for (k, row) in joint.chunks_exact_mut(SLICES).enumerate() {
            for (l, chance) in row.iter_mut().enumerate() {
                *chance *= (at_most[0][k] * at_most[1][l] - below[0][k] * below[1][l]).max(1e-12);
            }
        }
    }
    let mut sum = 0.0;
    for (k, row) in joint.chunks_exact_mut(SLICES).enumerate() {
        for (l, chance) in row.iter_mut().enumerate() {
            let signs = if signs.is_empty() { 1.0 } else { trusted(*chance) };
            *chance = weights[0][k] * weights[1][l] * signs;
            sum += *chance;
        }
    }
    let mut margins = [[0.0; SLICES]; 2];
    for (k, row) in joint.chunks_exact_mut(SLICES).enumerate() {
        for (l, chance) in row.iter_mut().enumerate() {
            *chance /= sum;
            margins[0][k] += *chance;
            margins[1][l] += *chance;
        }
    }
    Prospect { life, weight: sum.max(1e-300).ln(), rates, now, joint, margins }
}
