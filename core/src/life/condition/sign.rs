//! One kind of sign: its chances along a life, as a table, and corrected by counts.

use super::super::elementary::{exps, lns};
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
/// this share of its log-likelihood. Assumption; chosen among 0.5, 0.75 and 1 on simulated fleets.
/// While lives are learned from; a forecast weighs them by how old they are.
pub const TRUST: f64 = 0.75;

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

/// The middle of a bin.
fn share_of_bin(bin: usize) -> f64 {
    (bin as f64 + 0.5) / SHARE_BINS as f64
}

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
    #[cfg(test)]
    pub(super) fn chance(&self, step: u8, life_share: f64) -> f64 {
        let mut at_most = 0.0;
        let mut chance = 0.0;
        for step in 0..=step {
            let below = at_most;
            at_most = self.at_most(step, life_share);
            chance = self.with_misread(at_most - below);
        }
        chance
    }

    /// Chance of a sign, misread ones among them, from that of one that is not misread.
    fn with_misread(&self, read: f64) -> f64 {
        (1.0 - self.misread) * read.max(1e-12) + self.misread / self.steps() as f64
    }

    /// The chances as a table.
    pub fn table(&self) -> SignTable {
        let steps = self.steps();
        let mut chances = vec![0.0; steps * PLACES];
        let mut below = [0.0; PLACES];
        for (step, row) in chances.chunks_exact_mut(PLACES).enumerate() {
            let at_most = self.all_at_most(step, |place| place as f64 / PLACES_PER_LIFE);
            for (chance, (at_most, below)) in row.iter_mut().zip(at_most.iter().zip(&below)) {
                *chance = self.with_misread(at_most - below);
            }
            below = at_most;
        }
        // The ratio of each step's chance to the one below is kept from falling along the life: in place of the chances, their ratio to the
        // first step's.
        let mut sums = [1.0; PLACES];
        for step in (1..steps).rev() {
            let (lower, upper) = chances.split_at_mut(step * PLACES);
            let mut ratio: f64 = 0.0;
            for (upper, lower) in upper.iter_mut().zip(&lower[(step - 1) * PLACES..]).take(PLACES) {
                ratio = ratio.max(*upper / lower);
                *upper = ratio;
            }
        }
        chances[..PLACES].fill(1.0);
        for step in 1..steps {
            let (lower, upper) = chances.split_at_mut(step * PLACES);
            for ((upper, lower), sum) in upper.iter_mut().zip(&lower[(step - 1) * PLACES..]).zip(&mut sums) {
                *upper *= lower;
                *sum += *upper;
            }
        }
        for row in chances.chunks_exact_mut(PLACES) {
            row.iter_mut().zip(&sums).for_each(|(chance, sum)| *chance /= sum);
        }
        SignTable { chances }
    }

    /// [`Self::at_most`] for one step at many shares of life.
    fn all_at_most<const N: usize>(&self, step: usize, share: impl Fn(usize) -> f64) -> [f64; N] {
        let Some(cut) = self.cuts.get(step) else { return [1.0; N] };
        let mut values = std::array::from_fn(|i| (share(i) - cut) / self.width);
        exps(&mut values, 0.0);
        values.map(|value| 1.0 / (1.0 + value))
    }

    /// The model corrected by counted signs, against `prior`: each cut normal with [`CUT_SPREAD`], ln width with
    /// [`LN_WIDTH_SPREAD`]. One turn of a maximum a posteriori, from `self` on; a few reach it.
    #[must_use]
    pub fn learned(&self, prior: &Self, counts: &SignCounts) -> Self {
        if counts.total() <= 0.0 {
            return prior.clone();
        }
        let seen = counts.seen();
        let away = |model: &Self| {
            let cuts: f64 = model.cuts.iter().zip(&prior.cuts).map(|(a, b)| 0.5 * ((a - b) / CUT_SPREAD).powi(2)).sum();
            cuts + 0.5 * ((model.width / prior.width).ln() / LN_WIDTH_SPREAD).powi(2)
        };
        let cost = |model: &Self| {
            let at_most = model.at_most_by_bin();
            away(model) - TRUST * seen.iter().enumerate().map(|(step, seen)| model.ln_seen(step, &at_most, seen)).sum::<f64>()
        };
        let mut model = self.clone();
        for k in 0..model.cuts.len() {
            let low = if k == 0 { -0.3 } else { model.cuts[k - 1] + 0.02 };
            let high = model.cuts.get(k + 1).map_or(1.6, |next| next - 0.02);
            let mut trial = model.clone();
            // A cut has a part in the signs on both sides of it alone.
            let mut at_most = model.at_most_by_bin();
            let others: f64 =
                (0..seen.len()).filter(|step| ![k, k + 1].contains(step)).map(|step| model.ln_seen(step, &at_most, &seen[step])).sum();
            let best = minimum(
                |cut| {
                    trial.cuts[k] = cut;
                    at_most[k] = trial.all_at_most(k, share_of_bin);
                    let beside: f64 = [k, k + 1].map(|step| trial.ln_seen(step, &at_most, &seen[step])).iter().sum();
                    away(&trial) - TRUST * (others + beside)
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

    /// [`Self::at_most`] of every step, in the middle of each bin.
    fn at_most_by_bin(&self) -> Vec<[f64; SHARE_BINS]> {
        (0..self.steps()).map(|step| self.all_at_most(step, share_of_bin)).collect()
    }

    /// ln of the chance of all signs of one step that were seen; `at_most` of each step, in the middle of each bin.
    fn ln_seen(&self, step: usize, at_most: &[[f64; SHARE_BINS]], seen: &[f64; SHARE_BINS]) -> f64 {
        let mut chances = at_most[step];
        if let Some(below) = step.checked_sub(1).map(|below| &at_most[below]) {
            chances.iter_mut().zip(below).for_each(|(chance, below)| *chance -= below);
        }
        chances.iter_mut().for_each(|chance| *chance = self.with_misread(*chance));
        lns(&mut chances, 1e-300, 0.0);
        chances.iter().zip(seen).map(|(ln, count)| ln * count).sum()
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

    /// The bin of a share of life; beyond a whole one the last.
    pub fn bin(life_share: f64) -> usize {
        ((life_share * SHARE_BINS as f64) as usize).min(SHARE_BINS - 1)
    }

    /// Counts a sign.
    pub fn add(&mut self, life_share: f64, step: u8, count: f64) {
        self.counts[Self::bin(life_share) * self.steps + usize::from(step).min(self.steps - 1)] += count;
    }

    /// Counts a sign of which it is not known for sure in which bin it stands: a part for each.
    pub fn add_all(&mut self, bins: &[f64; SHARE_BINS], step: u8) {
        let step = usize::from(step).min(self.steps - 1);
        self.counts.iter_mut().skip(step).step_by(self.steps).zip(bins).for_each(|(sum, count)| *sum += count);
    }

    /// How many in all.
    pub fn total(&self) -> f64 {
        self.counts.iter().sum()
    }

    /// For each step how often it was seen in each bin; next to never is never.
    fn seen(&self) -> Vec<[f64; SHARE_BINS]> {
        let told = |count: f64| if count > 1e-4 { count } else { 0.0 };
        (0..self.steps).map(|step| std::array::from_fn(|bin| told(self.counts[bin * self.steps + step]))).collect()
    }
}
