//! The stated prior for few data, and the posterior on a grid with a factor of its own for each pump.
//!
//! Model: lives on one pump are Weibull with a shape common to the fleet and a scale of the pump's own; the logarithms of
//! the pumps' scales spread normally around the fleet's. With few lives the prior speaks, with many it is forgotten, and a
//! pump with few lives leans on the fleet (partial pooling). On a grid of ln scale "a factor of its own" is a shift, so
//! integrating over it is a convolution: no sampling, the same answer on every machine.
//!
//! A part of unknown age is met in the middle of a life: what is left of it follows the equilibrium law R(t)/mean of renewal
//! theory (Cox, Renewal Theory, 1962; from memory).
//!
//! ```text
//! grid    the grid of shapes and scales, and the likelihood of lives on it
//! beyond  chances to end in bins beyond an age, and sums of logarithms
//! fine    a posterior between the points of the grid
//! laws    what stands for a posterior: its middle, equal slices of it, the age of a part found in use
//! ```

mod beyond;
mod fine;
mod grid;
mod laws;

use fine::finely;
use grid::{Grid, SCALES};
use laws::weigh;
pub use laws::{Cell, age_of_unknown, equal_slices, middle_law};

use super::elementary::{exps, lns};
use super::joint::ENDS;
use super::weibull::Weibull;

/// Prior of the shape: ln shape is normal. Median 2.5, 95 % between 0.9 and 6.7. Assumption: cups wear out, so above 1
/// mostly; no published source for the figure.
pub const PRIOR_LN_SHAPE: (f64, f64) = (0.916_290_731_874_155, 0.5);

/// Prior of the scale in m3: ln scale is normal. Median 4000 m3, 95 % between 460 and 34 500 m3. Assumption, wide enough for
/// what trade pages tell: cups of small old pumps about 765 m3 (READ concreteconstruction.net, water leakage into pumped
/// concrete), piston sets of large truck pumps about 15 000 m3 (READ m.saintyoldawin.com, cost of maintenance).
pub const PRIOR_LN_SCALE: (f64, f64) = (8.294_049_640_102_028, 1.1);

/// How far the pumps' ln scales spread around the fleet's (standard deviation), with the prior weight of each. Assumption.
pub const PUMP_SPREADS: [(f64, f64); 3] = [(0.1, 0.3), (0.25, 0.4), (0.5, 0.3)];

/// A life as the grid takes it, in any one measure of use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GridLife {
    /// Use when watching began; None where nobody knows.
    pub watched_from: Option<f64>,
    /// Use while watched, at least.
    pub low: f64,
    /// Use while watched, at most; the same as `low` where it is known.
    pub high: f64,
    /// It failed at the end of it.
    pub failed: bool,
    /// It is still in.
    pub running: bool,
    /// Of a failure: the weight of it as wear, 0 to 1.
    pub worn_out: f64,
    /// Of a failure: the weight of it as a mishap that wear had no part in; what is left of 1 is a bad fit, which tells nothing
    /// of how long good ones last.
    pub mishap: f64,
    /// Relative likelihood of the signs seen, for an end in each bin beyond its use; None where they tell nothing.
    pub ratio: Option<[f64; ENDS]>,
}

impl GridLife {
    /// A life without signs, watched from new: failed at `age`, or sound then.
    pub fn plain(age: f64, failed: bool) -> Self {
        Self { watched_from: Some(0.0), low: age, high: age, failed, running: false, worn_out: 1.0, mishap: 0.0, ratio: None }
    }

    /// The weight with which it speaks of an end beyond its use.
    fn sound_weight(&self) -> f64 {
        if self.failed { self.mishap } else { 1.0 }
    }

    /// The weight with which its use is known to have been survived.
    fn survived_weight(&self) -> f64 {
        if self.failed { self.worn_out + self.mishap } else { 1.0 }
    }

    fn failed_between(&self) -> bool {
        self.failed && self.high > self.low
    }

    fn is_exact_failure(&self) -> bool {
        self.failed && self.high <= self.low && self.low > 0.0
    }
}

/// What one pump's lives say: its log-likelihood on the grid with the pump's own factor integrated out.
struct PumpTerm {
    ended: Vec<GridLife>,
    running: Vec<GridLife>,
    blurred: [Vec<f64>; PUMP_SPREADS.len()],
    /// Sum of ln (use per m3) at the failures: turns densities over use into densities over m3.
    ln_jacobian: f64,
}

/// The fleet's lives in one measure of use, and what follows from them.
pub struct Fleet {
    grid: &'static Grid,
    pumps: std::collections::BTreeMap<String, PumpTerm>,
    /// Each pump's own ended lives and their log-likelihood, its factor not integrated out; may be newer than `pumps`.
    own: std::collections::BTreeMap<String, (Vec<GridLife>, Vec<f64>)>,
    /// What the other pumps say of each, as of the last [`Fleet::settle`]; empty where a pump was set since.
    others: std::collections::BTreeMap<String, Vec<f64>>,
    /// What all pumps say of one that is not among them, as of the same.
    of_all: Option<Vec<f64>>,
}

impl Default for Fleet {
    fn default() -> Self {
        Self::new()
    }
}

impl Fleet {
    /// No lives yet: the prior alone.
    pub fn new() -> Self {
        Self::on(Grid::shared())
    }

    /// The same on a coarser grid of shapes, for first guesses: half the work.
    pub fn rough() -> Self {
        Self::on(Grid::shared_rough())
    }

    fn on(grid: &'static Grid) -> Self {
        Self { grid, pumps: Default::default(), own: Default::default(), others: Default::default(), of_all: None }
    }

    /// Sets what is known of `pump`: all its lives, ended and running. `use_per_m3` at each failure, for
    /// [`Fleet::ln_evidence`]. Returns whether that is anything new.
    ///
    /// For the fleet a running life counts with the last tenth of a power of e that it has passed: still true, hardly less,
    /// and new only now and then. The pump's own posterior takes its lives as they are.
    pub fn set_pump(&mut self, pump: &str, lives: &[GridLife], use_per_m3_at_failures: &[f64]) -> bool {
        let (running, ended): (Vec<GridLife>, Vec<GridLife>) = lives.iter().copied().partition(|life| life.running);
        let running: Vec<GridLife> = running
            .into_iter()
            .map(|life| {
                let passed = if life.low > 0.0 { ((life.low.ln() * 10.0).floor() / 10.0).exp().min(life.low) } else { 0.0 };
                GridLife { low: passed, high: passed, ..life }
            })
            .collect();
        self.set_ended(pump, &ended);
        if self.pumps.get(pump).is_some_and(|term| term.ended == ended && term.running == running) {
            return false;
        }
        self.others.clear();
        self.of_all = None;
        let grid = self.grid;
        let mut plain = grid.ln_likelihood(&running);
        if let Some((_, ended)) = self.own.get(pump) {
            plain.iter_mut().zip(ended).for_each(|(sum, ended)| *sum += ended);
        }
        let tops: Vec<f64> = plain.chunks_exact(SCALES).map(|row| row.iter().copied().fold(f64::NEG_INFINITY, f64::max)).collect();
        plain.chunks_exact_mut(SCALES).zip(&tops).for_each(|(row, top)| exps(row, *top));
        let blurred = std::array::from_fn(|k| {
            let mut out = vec![0.0; grid.cells()];
            for ((row, out), top) in plain.chunks_exact(SCALES).zip(out.chunks_exact_mut(SCALES)).zip(&tops) {
                Grid::blur(&grid.kernels[k], row, out);
                lns(out, 1e-300, *top);
            }
            out
        });
        let ln_jacobian = use_per_m3_at_failures.iter().map(|rate| rate.ln()).sum();
        self.pumps.insert(pump.to_owned(), PumpTerm { ended, running, blurred, ln_jacobian });
        true
    }

    /// Sets the ended lives of a pump for its own posterior; the others learn of them with the next [`Fleet::set_pump`].
    pub fn set_ended(&mut self, pump: &str, ended: &[GridLife]) {
        if self.own.get(pump).is_none_or(|(known, _)| known != ended) {
            self.own.insert(pump.to_owned(), (ended.to_vec(), self.grid.ln_likelihood(ended)));
        }
    }

    /// How many ended lives of a pump are set; None where nothing is.
    pub fn ended_of(&self, pump: &str) -> Option<usize> {
        self.own.get(pump).map(|(ended, _)| ended.len())
    }

    /// Works out what all pumps say of each, once for many calls of [`Fleet::posterior`].
    pub fn settle(&mut self) {
        let all: [Vec<f64>; PUMP_SPREADS.len()] = std::array::from_fn(|k| self.fleet_terms(k, None));
        let others = self.pumps.iter().map(|(name, term)| {
            let terms = std::array::from_fn(|k| all[k].iter().zip(&term.blurred[k]).map(|(sum, own)| sum - own).collect());
            (name.clone(), self.blurred_sum(terms))
        });
        self.others = others.collect();
        self.of_all = Some(self.blurred_sum(all));
    }

    /// As [`Fleet::settle`] at a fraction of its cost, for a first guess: each pump's own lives count among the others' too.
    pub fn settle_roughly(&mut self) {
        self.others.clear();
        self.of_all = Some(self.blurred_sum(std::array::from_fn(|k| self.fleet_terms(k, None))));
    }

    /// Sum over the spreads of what the others say, with the pump's own factor integrated over; not normalised.
    fn blurred_sum(&self, terms: [Vec<f64>; PUMP_SPREADS.len()]) -> Vec<f64> {
        let top = terms.iter().flatten().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut own = vec![0.0; self.grid.cells()];
        let mut blurred = [0.0; SCALES];
        for (kernel, mut term) in self.grid.kernels.iter().zip(terms) {
            for (row, own) in term.chunks_exact_mut(SCALES).zip(own.chunks_exact_mut(SCALES)) {
                // What is e^-60 of the best is nothing.
                row.iter_mut().for_each(|value| *value = if *value > top - 60.0 { *value } else { f64::NEG_INFINITY });
                if row.iter().all(|value| *value == f64::NEG_INFINITY) {
                    continue;
                }
                exps(row, top);
                Grid::blur(kernel, row, &mut blurred);
                own.iter_mut().zip(&blurred).for_each(|(sum, value)| *sum += value);
            }
        }
        own
    }

    /// One law for all lives as if no pump differed and every part that came out sound could have gone on: the pooled Weibull of a
    /// spreadsheet, with the stated prior so that it speaks from the first life on.
    pub fn pooled(&self, lives: &[GridLife]) -> Weibull {
        let mut ln = self.grid.ln_likelihood(lives);
        ln.iter_mut().zip(&self.grid.ln_prior).for_each(|(plain, prior)| *plain += prior);
        let top = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        exps(&mut ln, top);
        middle_law(&self.cells(&ln))
    }

    fn cells(&self, own: &[f64]) -> Vec<Cell> {
        let sum: f64 = own.iter().sum();
        own.iter()
            .enumerate()
            .filter(|(_, weight)| **weight > 1e-7 * sum)
            .map(|(cell, weight)| Cell {
                life: Weibull { shape: self.grid.shape[cell / SCALES], scale: self.grid.scale[cell % SCALES] },
                ln: [self.grid.ln_shape[cell / SCALES], self.grid.scale_ln[cell % SCALES]],
                weight: weight / sum,
            })
            .collect()
    }

    /// Prior times the likelihood of all pumps but `without`, for spread `k`; natural logarithms.
    fn fleet_terms(&self, k: usize, without: Option<&str>) -> Vec<f64> {
        let mut sum = self.grid.ln_prior.clone();
        let ln_weight = PUMP_SPREADS[k].1.ln();
        sum.iter_mut().for_each(|value| *value += ln_weight);
        for (_, term) in self.pumps.iter().filter(|(name, _)| without != Some(name.as_str())) {
            for (value, add) in sum.iter_mut().zip(&term.blurred[k]) {
                *value += add;
            }
        }
        sum
    }

    /// ln of the marginal likelihood of all lives, as densities over m3: compares measures of use with each other.
    pub fn ln_evidence(&self) -> f64 {
        let mut all: Vec<f64> = (0..PUMP_SPREADS.len()).flat_map(|k| self.fleet_terms(k, None)).collect();
        let top = all.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let jacobian: f64 = self.pumps.values().map(|term| term.ln_jacobian).sum();
        exps(&mut all, top);
        top + all.iter().sum::<f64>().ln() + jacobian
    }

    /// The posterior of `pump`'s own life law, given the other pumps and its own ended lives as set so far, and `lives` beside them.
    pub fn posterior(&self, pump: &str, lives: &[GridLife]) -> Vec<Cell> {
        self.cells(&self.weights(pump, lives))
    }

    /// The same between the points of the grid too, for intervals: with many lives all of it may lie within one step.
    pub fn posterior_finely(&self, pump: &str, lives: &[GridLife]) -> Vec<Cell> {
        finely(self.grid, &self.weights(pump, lives))
    }

    fn weights(&self, pump: &str, lives: &[GridLife]) -> Vec<f64> {
        let settled = self.others.get(pump).or(self.of_all.as_ref());
        let mut own = match settled {
            Some(others) => others.clone(),
            None => self.blurred_sum(std::array::from_fn(|k| self.fleet_terms(k, Some(pump)))),
        };
        match (self.own.get(pump).map(|(_, plain)| plain), lives.is_empty()) {
            (None, true) => {}
            (Some(ended), true) => weigh(&mut own, ended),
            (ended, false) => {
                let mut plain = self.grid.ln_likelihood(lives);
                plain.iter_mut().zip(ended.into_iter().flatten()).for_each(|(sum, ended)| *sum += ended);
                weigh(&mut own, &plain);
            }
        }
        own
    }
}

#[cfg(test)]
mod tests;
