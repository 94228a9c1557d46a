//! One kind of sign: its chances along a life, as a table, and corrected by counts.

use super::super::numeric::minimum;

/// Chances of one kind of sign.
#[derive(Debug, Clone, PartialEq)]
pub struct SignModel {
    /// Share of life at which the chance of a sign at or beyond step k + 1 is one half; ascending.
    pub cuts: Vec<f64>,
    /// Width of the curves, in shares of life.
    pub width: f64,
    /// Share of signs that may be any step, 0 to 1.
    pub misread: f64,
}

/// Signs of one life are not independent of each other (same cup, same eye, wear that runs ahead stays ahead): each counts for
/// this share of its log-likelihood. Assumption; chosen among 0.5, 0.75 and 1 on simulated fleets. See [`trusted`].
pub const TRUST: f64 = 0.75;

/// A chance to the power of [`TRUST`]: two square roots, a tenth of the time of a general power.
pub fn trusted(chance: f64) -> f64 {
    let root = chance.sqrt();
    root * root.sqrt()
}

/// How far a shop's cuts may lie from the assumed ones (standard deviation, shares of life). Assumption; on simulated fleets
/// whose signs come early, as assumed or late, 0.25 forecast better than 0.15.
pub const CUT_SPREAD: f64 = 0.25;

/// The same for ln width. Assumption.
pub const LN_WIDTH_SPREAD: f64 = 0.6;

/// Shares of misread signs that are tried, with the prior odds of each. Assumption.
const MISREADS: [(f64, f64); 5] = [(0.01, 0.2), (0.03, 0.3), (0.08, 0.25), (0.15, 0.15), (0.25, 0.1)];

/// Places along a life at which chances are tabulated, 0 to 1.5.
pub const PLACES: usize = 193;
const PLACES_PER_LIFE: f64 = 128.0;

/// Bins of a life in which signs are counted for learning, 0 to 1.
pub const SHARE_BINS: usize = 40;

fn logistic(x: f64) -> f64 {
    1.0 / (1.0 + (-x).exp())
}

impl SignModel {
    /// A model with its first misread share.
    pub fn new(cuts: &[f64], width: f64) -> Self {
        Self { cuts: cuts.to_vec(), width, misread: 0.03 }
    }

    /// Chance of a sign at or below `step` at `life_share`, were none misread.
    pub fn at_most(&self, step: u8, life_share: f64) -> f64 {
        match self.cuts.get(usize::from(step)) {
            Some(cut) => logistic((cut - life_share) / self.width),
            None => 1.0,
        }
    }

    /// How many steps there are.
    pub fn steps(&self) -> usize {
        self.cuts.len() + 1
    }

    /// Chance of exactly this sign at `life_share`, misread ones among them.
    pub(super) fn chance(&self, step: u8, life_share: f64) -> f64 {
        let below = if step == 0 { 0.0 } else { self.at_most(step - 1, life_share) };
        (1.0 - self.misread) * (self.at_most(step, life_share) - below).max(1e-12) + self.misread / self.steps() as f64
    }

    /// The chances as a table.
    pub fn table(&self) -> SignTable {
        let steps = self.steps();
        let mut chances = vec![0.0; steps * PLACES];
        // ln of the ratio of each step's chance to the one below, kept from falling along the life.
        let mut ratios = vec![f64::NEG_INFINITY; steps];
        for place in 0..PLACES {
            let share = place as f64 / PLACES_PER_LIFE;
            let mut sum = 0.0;
            let mut ln = 0.0;
            for step in 0..steps {
                if step > 0 {
                    let ratio = (self.chance(step as u8, share) / self.chance(step as u8 - 1, share)).ln();
                    ratios[step] = ratios[step].max(ratio);
                    ln += ratios[step];
                }
                chances[step * PLACES + place] = ln.exp();
                sum += ln.exp();
            }
            (0..steps).for_each(|step| chances[step * PLACES + place] /= sum);
        }
        SignTable { chances }
    }

    /// The model corrected by counted signs, against `prior`: each cut normal with [`CUT_SPREAD`], ln width with
    /// [`LN_WIDTH_SPREAD`]. One turn of a maximum a posteriori, from `self` on; a few reach it.
    #[must_use]
    pub fn learned(&self, prior: &Self, counts: &SignCounts) -> Self {
        if counts.total() <= 0.0 {
            return prior.clone();
        }
        let seen: Vec<(usize, usize, f64)> = counts.seen();
        let cost = |model: &Self| {
            let away: f64 = model.cuts.iter().zip(&prior.cuts).map(|(a, b)| 0.5 * ((a - b) / CUT_SPREAD).powi(2)).sum::<f64>()
                + 0.5 * ((model.width / prior.width).ln() / LN_WIDTH_SPREAD).powi(2);
            let mut sum = 0.0;
            let mut at = (usize::MAX, Vec::new());
            for (bin, step, count) in &seen {
                if at.0 != *bin {
                    let share = (*bin as f64 + 0.5) / SHARE_BINS as f64;
                    at = (*bin, (0..model.steps()).map(|step| model.chance(step as u8, share)).collect());
                }
                sum += count * at.1[*step].ln();
            }
            away - TRUST * sum
        };
        let mut model = self.clone();
        for k in 0..model.cuts.len() {
            let low = if k == 0 { -0.3 } else { model.cuts[k - 1] + 0.02 };
            let high = model.cuts.get(k + 1).map_or(1.6, |next| next - 0.02);
            let mut trial = model.clone();
            let best = minimum(
                |cut| {
                    trial.cuts[k] = cut;
                    cost(&trial)
                },
                low,
                high.max(low),
                3e-3,
            );
            model.cuts[k] = best.0;
        }
        let mut trial = model.clone();
        let best = minimum(
            |ln_width| {
                trial.width = ln_width.exp();
                cost(&trial)
            },
            0.02_f64.ln(),
            0.4_f64.ln(),
            3e-3,
        );
        model.width = best.0.exp();
        let tried = MISREADS.iter().map(|&(misread, odds)| {
            let trial = Self { misread, ..model.clone() };
            (cost(&trial) - odds.ln(), misread)
        });
        if let Some((_, misread)) = tried.min_by(|a, b| a.0.total_cmp(&b.0)) {
            model.misread = misread;
        }
        model
    }

    /// The model moved along the life by `shift` shares: one way in which it may be wrong.
    #[must_use]
    pub fn moved(&self, shift: f64) -> Self {
        Self { cuts: self.cuts.iter().map(|cut| cut + shift).collect(), ..self.clone() }
    }
}

/// Chances of the steps of one sign along a life. The ratio of any step's chance to the one below never falls along it.
#[derive(Debug, Clone, PartialEq)]
pub struct SignTable {
    chances: Vec<f64>,
}

impl SignTable {
    /// How many steps there are.
    pub fn steps(&self) -> usize {
        self.chances.len() / PLACES
    }

    /// The place of a share of life in the table; beyond 1.5 the last.
    pub fn place(life_share: f64) -> usize {
        ((life_share * PLACES_PER_LIFE + 0.5) as usize).min(PLACES - 1)
    }

    /// Chances of one step at every place.
    pub fn of_step(&self, step: u8) -> &[f64] {
        let step = usize::from(step).min(self.steps() - 1);
        &self.chances[step * PLACES..(step + 1) * PLACES]
    }

    /// Chance of exactly this step at `life_share`.
    pub fn chance(&self, step: u8, life_share: f64) -> f64 {
        self.of_step(step)[Self::place(life_share)]
    }
}

/// Signs of one kind counted by share of life and step; counts may be parts of one where the share is not known for sure.
#[derive(Debug, Clone, PartialEq)]
pub struct SignCounts {
    steps: usize,
    counts: Vec<f64>,
}

impl SignCounts {
    /// None yet.
    pub fn new(steps: usize) -> Self {
        Self { steps, counts: vec![0.0; steps * SHARE_BINS] }
    }

    /// Counts a sign.
    pub fn add(&mut self, life_share: f64, step: u8, count: f64) {
        let bin = ((life_share * SHARE_BINS as f64) as usize).min(SHARE_BINS - 1);
        self.counts[bin * self.steps + usize::from(step).min(self.steps - 1)] += count;
    }

    /// How many in all.
    pub fn total(&self) -> f64 {
        self.counts.iter().sum()
    }

    fn seen(&self) -> Vec<(usize, usize, f64)> {
        let all = self.counts.iter().enumerate().map(|(i, count)| (i / self.steps, i % self.steps, *count));
        all.filter(|(_, _, count)| *count > 1e-4).collect()
    }
}
