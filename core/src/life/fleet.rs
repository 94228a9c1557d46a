//! The stated prior for few data, and the posterior on a grid with a factor of its own for each pump.
//!
//! Model: lives on one pump are Weibull with a shape common to the fleet and a scale of the pump's own; the logarithms of
//! the pumps' scales spread normally around the fleet's. With few lives the prior speaks, with many it is forgotten, and a
//! pump with few lives leans on the fleet (partial pooling). On a grid of ln scale "a factor of its own" is a shift, so
//! integrating over it is a convolution: no sampling, the same answer on every machine.
//!
//! A part of unknown age is met in the middle of a life: what is left of it follows the equilibrium law R(t)/mean of renewal
//! theory (Cox, Renewal Theory, 1962; from memory).

use std::sync::OnceLock;

use statrs::function::gamma::{checked_gamma_ur, ln_gamma};

use super::joint::{END_STEP, ENDS};
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

const SHAPES: usize = 28;
const SCALES: usize = 90;
/// ln shape of the first grid row and the step: 0.6 to 12.
const LN_SHAPE_0: f64 = -0.510_825_623_765_990_7;
const LN_SHAPE_STEP: f64 = 0.110_952_6;
/// ln scale of the first grid column and the step: 50 to about 386 000.
const LN_SCALE_0: f64 = 3.912_023_005_428_146;
const LN_SCALE_STEP: f64 = 0.1;

/// One point of the posterior.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// The life law.
    pub life: Weibull,
    /// Its weight; the weights of a posterior sum to 1.
    pub weight: f64,
}

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

/// Tables that depend on the grid alone.
struct Grid {
    /// Rows of the finest grid from one row of this to the next.
    stride: usize,
    shape: Vec<f64>,
    ln_scale: [f64; SCALES],
    scale: [f64; SCALES],
    /// scale^-shape for each cell.
    power: Vec<f64>,
    ln_prior: Vec<f64>,
    /// ln of the upper regularised gamma function Q(1/shape, H) over ln H, for lives of unknown age.
    ln_upper: OnceLock<Vec<[f64; UPPER]>>,
    /// ln Gamma(1 + 1/shape).
    ln_mean: Vec<f64>,
    kernels: Vec<Vec<f64>>,
}

const UPPER: usize = 181;
const UPPER_FROM: f64 = -12.0;
const UPPER_STEP: f64 = 0.1;

impl Grid {
    fn new(stride: usize) -> Self {
        let shape: Vec<f64> = (0..SHAPES).step_by(stride).map(|i| (LN_SHAPE_0 + LN_SHAPE_STEP * i as f64).exp()).collect();
        let ln_scale: [f64; SCALES] = std::array::from_fn(|j| LN_SCALE_0 + LN_SCALE_STEP * j as f64);
        let normal = |x: f64, (mean, sd): (f64, f64)| -0.5 * ((x - mean) / sd).powi(2);
        let mut power = Vec::with_capacity(shape.len() * SCALES);
        let mut ln_prior = Vec::with_capacity(shape.len() * SCALES);
        for shape in &shape {
            for ln_scale in ln_scale {
                power.push((-shape * ln_scale).exp());
                ln_prior.push(normal(shape.ln(), PRIOR_LN_SHAPE) + normal(ln_scale, PRIOR_LN_SCALE));
            }
        }
        let kernels = PUMP_SPREADS
            .iter()
            .map(|(sd, _)| {
                let reach = (3.0 * sd / LN_SCALE_STEP).ceil() as i32;
                let raw: Vec<f64> = (-reach..=reach).map(|k| (-0.5 * (f64::from(k) * LN_SCALE_STEP / sd).powi(2)).exp()).collect();
                let sum: f64 = raw.iter().sum();
                raw.into_iter().map(|weight| weight / sum).collect()
            })
            .collect();
        let ln_mean = shape.iter().map(|shape| ln_gamma(1.0 + 1.0 / shape)).collect();
        Self { stride, shape, ln_scale, scale: ln_scale.map(f64::exp), power, ln_prior, ln_upper: OnceLock::new(), ln_mean, kernels }
    }

    /// The one grid: it depends on nothing, and is made once.
    fn shared() -> &'static Self {
        static GRID: OnceLock<Grid> = OnceLock::new();
        GRID.get_or_init(|| Self::new(1))
    }

    /// The same with every second shape, for first guesses.
    fn shared_rough() -> &'static Self {
        static GRID: OnceLock<Grid> = OnceLock::new();
        GRID.get_or_init(|| Self::new(2))
    }

    fn cells(&self) -> usize {
        self.power.len()
    }

    /// ln of the upper regularised gamma function; only lives of unknown age need it.
    fn upper(&self) -> Vec<[f64; UPPER]> {
        self.shape
            .iter()
            .map(|shape| {
                std::array::from_fn(|k| {
                    let sum = (UPPER_FROM + UPPER_STEP * k as f64).exp();
                    checked_gamma_ur(1.0 / shape, sum).ok().filter(|q| *q > 1e-290).map_or_else(|| far_upper(1.0 / shape, sum), f64::ln)
                })
            })
            .collect()
    }

    /// Log-likelihood of lives on one pump, on every cell.
    fn ln_likelihood(&self, lives: &[GridLife]) -> Vec<f64> {
        let mut out = Vec::with_capacity(self.cells());
        let known: Vec<_> = lives.iter().filter_map(|life| life.watched_from.map(|from| (from, life))).collect();
        let exact = || known.iter().filter(|(_, life)| life.is_exact_failure());
        let failures: f64 = exact().map(|(_, life)| life.worn_out).sum();
        let ln_sum: f64 = exact().map(|(from, life)| life.worn_out * (from + life.low).ln()).sum();
        // Lives that need more than the sums above: failures between two ages, and parts of unknown age.
        let others: Vec<_> = lives.iter().filter(|life| life.watched_from.is_none() || life.failed_between()).collect();
        let signed: Vec<(usize, f64, &[f64; ENDS])> = known
            .iter()
            .filter(|(_, life)| life.sound_weight() > 1e-3)
            .filter_map(|(from, life)| {
                let at = (((from + life.low).max(1.0).ln() - LN_SCALE_0) / LN_SCALE_STEP).round().clamp(0.0, (SCALES - 1) as f64);
                life.ratio.as_ref().map(|ratio| (at as usize, life.sound_weight(), ratio))
            })
            .collect();
        let beyond = beyond();
        let mut told = [0.0_f32; SCALES];
        for (i, shape) in self.shape.iter().enumerate() {
            let mut power_sum = 0.0;
            for (from, life) in &known {
                let end = if life.failed_between() { 0.0 } else { from + life.low };
                let weight = if life.failed_between() { 1.0 } else { life.survived_weight() };
                power_sum += weight * (end.powf(*shape) - from.powf(*shape));
            }
            let ends: Vec<[f64; 2]> = others
                .iter()
                .map(|life| [life.low, life.high].map(|through| (life.watched_from.unwrap_or(0.0) + through).max(0.0).powf(*shape)))
                .collect();
            for (j, ln_scale) in self.ln_scale.iter().enumerate() {
                let power = self.power[i * SCALES + j];
                let mut ln = failures * (shape.ln() - shape * ln_scale) + (shape - 1.0) * ln_sum - power_sum * power;
                for (life, end) in others.iter().zip(&ends) {
                    let [low, high] = end.map(|end| end * power);
                    ln += match life.watched_from {
                        // The sum above took back R(from) already.
                        Some(_) => life.survived_weight() * (-low + (-(low - high).exp_m1()).max(1e-300).ln()),
                        None if life.failed => life.survived_weight() * (-low - ln_scale - self.ln_mean[i]),
                        None => self.ln_residual(i, low),
                    };
                }
                out.push(ln);
            }
            // Whole lives are multiplied and their logarithm taken once for several: each factor is at least 1e-30.
            let mut product = [1.0_f64; SCALES];
            let mut multiplied = 0;
            for (at, weight, ratio) in &signed {
                told.fill(0.0);
                for (b, ratio) in ratio.iter().enumerate() {
                    let row = i * self.stride * ENDS + b;
                    let from = row * BEYOND + SCALES - 1 - at;
                    let begins = (beyond.begins[row] + at).saturating_sub(SCALES - 1).min(SCALES);
                    let ratio = *ratio as f32;
                    for (sum, chance) in told[begins..].iter_mut().zip(&beyond.chances[from + begins..from + SCALES]) {
                        *sum += ratio * chance;
                    }
                }
                if *weight == 1.0 {
                    product.iter_mut().zip(&told).for_each(|(product, told)| *product *= f64::from(told.max(1e-30)));
                    multiplied += 1;
                    if multiplied == MULTIPLIED {
                        add_ln(&mut out[i * SCALES..], &mut product);
                        multiplied = 0;
                    }
                } else {
                    for (value, told) in out[i * SCALES..].iter_mut().zip(&told) {
                        *value += weight * f64::from(fast_ln(told.max(1e-30)));
                    }
                }
            }
            if multiplied > 0 {
                add_ln(&mut out[i * SCALES..], &mut product);
            }
        }
        out
    }

    /// ln Q(1/shape, H): the chance that what is left of a life met in its middle lasts to a hazard sum of H.
    fn ln_residual(&self, row: usize, sum: f64) -> f64 {
        if sum <= 0.0 {
            return 0.0;
        }
        let at = (sum.ln() - UPPER_FROM) / UPPER_STEP;
        if at <= 0.0 {
            return 0.0;
        }
        let index = at as usize;
        if index + 1 >= UPPER {
            return far_upper(1.0 / self.shape[row], sum);
        }
        let table = &self.ln_upper.get_or_init(|| self.upper())[row];
        let part = at - index as f64;
        table[index] * (1.0 - part) + table[index + 1] * part
    }

    /// Blurs every row by the kernel; beyond the edges the outermost value stands in.
    fn blur(&self, kernel: &[f64], from: &[f64], to: &mut [f64]) {
        let reach = kernel.len() / 2;
        let mut padded = vec![0.0; SCALES + 2 * reach];
        for (row, out) in from.chunks_exact(SCALES).zip(to.chunks_exact_mut(SCALES)) {
            padded[..reach].fill(row[0]);
            padded[reach..reach + SCALES].copy_from_slice(row);
            padded[reach + SCALES..].fill(row[SCALES - 1]);
            out.fill(0.0);
            for (k, weight) in kernel.iter().enumerate() {
                for (value, shifted) in out.iter_mut().zip(&padded[k..]) {
                    *value += weight * shifted;
                }
            }
        }
    }
}

/// Columns of [`beyond`]: every distance between an age and a scale on the grid.
const BEYOND: usize = 2 * SCALES - 1;

/// Factors of at least 1e-30 whose product stays above the smallest double.
const MULTIPLIED: usize = 10;

/// Adds the logarithms of `product` to `sum` and begins it anew.
fn add_ln(sum: &mut [f64], product: &mut [f64; SCALES]) {
    for (sum, product) in sum.iter_mut().zip(product) {
        *sum += product.ln();
        *product = 1.0;
    }
}

/// Natural logarithm of a normal positive number to single precision, in a form that compilers turn into vector code.
///
/// Source: the polynomial of Cephes' logf (S. Moshier; from memory, held against `ln` below).
fn fast_ln(x: f32) -> f32 {
    const TO_ROOT_HALF: u32 = 0x3F35_04F3;
    let bits = x.to_bits().wrapping_sub(TO_ROOT_HALF);
    let exponent = (bits as i32) >> 23;
    let mantissa = f32::from_bits((bits & 0x007F_FFFF).wrapping_add(TO_ROOT_HALF));
    let z = mantissa - 1.0;
    let mut p = 7.037_683_6e-2_f32;
    for c in [-0.115_146_1, 0.116_769_98, -0.124_201_41, 0.142_493_23, -0.166_680_58, 0.200_007_15, -0.249_999_94, 0.333_333_3] {
        p = p * z + c;
    }
    z + z * z * (z * p - 0.5) + exponent as f32 * std::f32::consts::LN_2
}

/// Chance to end in each bin beyond an age, having reached it.
struct Beyond {
    /// For each shape, bin, and place of the scale over the age. In single precision: it weighs likelihoods of signs, which are not
    /// known to a millionth.
    chances: Vec<f32>,
    /// For each shape and bin the first place at which the chance is more than nothing: about half of the table is none.
    begins: Vec<usize>,
}

fn beyond() -> &'static Beyond {
    static TABLE: OnceLock<Beyond> = OnceLock::new();
    TABLE.get_or_init(|| {
        let mut chances = vec![0.0_f32; SHAPES * ENDS * BEYOND];
        for i in 0..SHAPES {
            let shape = (LN_SHAPE_0 + LN_SHAPE_STEP * i as f64).exp();
            let grown: [f64; ENDS] = std::array::from_fn(|b| 1.0 - (shape * END_STEP * (b + 1) as f64).exp());
            for column in 0..BEYOND {
                let ln_scale_over_age = (column as f64 - (SCALES - 1) as f64) * LN_SCALE_STEP;
                let sum = (-shape * ln_scale_over_age).exp();
                let mut before = 1.0;
                for (b, grown) in grown.iter().enumerate() {
                    let after = if b + 1 == ENDS || before == 0.0 { 0.0 } else { (sum * grown).exp() };
                    // Denormal numbers would only be slow.
                    let chance = before - after;
                    chances[(i * ENDS + b) * BEYOND + column] = if chance > 1e-30 { chance as f32 } else { 0.0 };
                    before = after;
                }
            }
        }
        let begins = chances.chunks_exact(BEYOND).map(|row| row.iter().position(|chance| *chance > 0.0).unwrap_or(BEYOND)).collect();
        Beyond { chances, begins }
    })
}

fn far_upper(a: f64, sum: f64) -> f64 {
    (a - 1.0) * sum.ln() - sum - ln_gamma(a)
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
        let mut scratch = vec![0.0; grid.cells()];
        let mut tops = vec![0.0; grid.shape.len()];
        for (top, (row, out)) in tops.iter_mut().zip(plain.chunks_exact(SCALES).zip(scratch.chunks_exact_mut(SCALES))) {
            *top = row.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            for (value, ln) in out.iter_mut().zip(row) {
                *value = (ln - *top).exp();
            }
        }
        let blurred = std::array::from_fn(|k| {
            let mut out = vec![0.0; grid.cells()];
            grid.blur(&grid.kernels[k], &scratch, &mut out);
            for (row, top) in out.chunks_exact_mut(SCALES).zip(&tops) {
                for value in row {
                    *value = value.max(1e-300).ln() + top;
                }
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
        let mut blurred = vec![0.0; self.grid.cells()];
        for (k, mut term) in terms.into_iter().enumerate() {
            // What is e^-60 of the best is nothing.
            term.iter_mut().for_each(|value| *value = if *value > top - 60.0 { (*value - top).exp() } else { 0.0 });
            self.grid.blur(&self.grid.kernels[k], &term, &mut blurred);
            own.iter_mut().zip(&blurred).for_each(|(sum, value)| *sum += value);
        }
        own
    }

    /// One law for all lives as if no pump differed and every part that came out sound could have gone on: the pooled Weibull of a
    /// spreadsheet, with the stated prior so that it speaks from the first life on.
    pub fn pooled(&self, lives: &[GridLife]) -> Weibull {
        let ln: Vec<f64> = self.grid.ln_likelihood(lives).iter().zip(&self.grid.ln_prior).map(|(plain, prior)| plain + prior).collect();
        let top = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        middle_law(&self.cells(&ln.iter().map(|value| (value - top).exp()).collect::<Vec<_>>()))
    }

    fn cells(&self, own: &[f64]) -> Vec<Cell> {
        let sum: f64 = own.iter().sum();
        own.iter()
            .enumerate()
            .filter(|(_, weight)| **weight > 1e-7 * sum)
            .map(|(cell, weight)| Cell {
                life: Weibull { shape: self.grid.shape[cell / SCALES], scale: self.grid.scale[cell % SCALES] },
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
        let all: Vec<f64> = (0..PUMP_SPREADS.len()).flat_map(|k| self.fleet_terms(k, None)).collect();
        let top = all.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let jacobian: f64 = self.pumps.values().map(|term| term.ln_jacobian).sum();
        top + all.iter().map(|ln| (ln - top).exp()).sum::<f64>().ln() + jacobian
    }

    /// The posterior of `pump`'s own life law, given the other pumps and its own ended lives as set so far, and `lives` beside them.
    pub fn posterior(&self, pump: &str, lives: &[GridLife]) -> Vec<Cell> {
        let settled = self.others.get(pump).or(self.of_all.as_ref());
        let mut own = match settled {
            Some(others) => others.clone(),
            None => self.blurred_sum(std::array::from_fn(|k| self.fleet_terms(k, Some(pump)))),
        };
        let ended = self.own.get(pump).map(|(_, plain)| plain);
        if !lives.is_empty() || ended.is_some() {
            let mut plain = self.grid.ln_likelihood(lives);
            for (sum, ended) in plain.iter_mut().zip(ended.into_iter().flatten()) {
                *sum += ended;
            }
            weigh(&mut own, &plain);
        }
        self.cells(&own)
    }
}

/// Weights times likelihoods given as logarithms, but for a common factor.
fn weigh(weights: &mut [f64], ln: &[f64]) {
    let top = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let product: Vec<f64> =
        weights.iter().zip(ln).map(|(weight, ln)| if *weight > 0.0 { weight * (ln - top).exp() } else { 0.0 }).collect();
    if product.iter().sum::<f64>() > 1e-250 {
        weights.copy_from_slice(&product);
        return;
    }
    // The two contradict each other so that their product is nothing: by logarithms.
    let ln: Vec<f64> = weights.iter().zip(ln).map(|(weight, ln)| weight.max(1e-300).ln() + ln).collect();
    let top = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    weights.iter_mut().zip(&ln).for_each(|(weight, ln)| *weight = (ln - top).exp());
}

/// The law in the middle of a posterior: means of ln shape and ln scale.
pub fn middle_law(cells: &[Cell]) -> Weibull {
    let mean = |f: &dyn Fn(&Weibull) -> f64| cells.iter().map(|cell| cell.weight * f(&cell.life).ln()).sum::<f64>().exp();
    Weibull { shape: mean(&|law| law.shape), scale: mean(&|law| law.scale) }
}

/// `count` laws of equal weight that stand for a posterior: the middle of each equal slice of its weight (means of ln shape and ln scale), so
/// that they move smoothly with it. The slices go along the rows of the grid, there and back, so that each holds neighbours.
pub fn equal_slices(cells: &[Cell], count: usize) -> Vec<Weibull> {
    if count == 0 {
        return Vec::new();
    }
    let mut ordered: Vec<&Cell> = Vec::with_capacity(cells.len());
    for (number, row) in cells.chunk_by(|a, b| a.life.shape == b.life.shape).enumerate() {
        let begins = ordered.len();
        ordered.extend(row);
        if number % 2 == 1 {
            ordered[begins..].reverse();
        }
    }
    let share = cells.iter().map(|cell| cell.weight).sum::<f64>() / count as f64;
    let mut laws = Vec::with_capacity(count);
    let (mut filled, mut ln_shape, mut ln_scale) = (0.0, 0.0, 0.0);
    for cell in ordered {
        let (shape, scale) = (cell.life.shape.ln(), cell.life.scale.ln());
        let mut left = cell.weight;
        while left > 0.0 {
            let taken = left.min(share - filled);
            (filled, ln_shape, ln_scale) = (filled + taken, ln_shape + taken * shape, ln_scale + taken * scale);
            left -= taken;
            // The last slice is closed below, whatever rounding leaves.
            if filled < share * (1.0 - 1e-9) || laws.len() + 1 == count {
                break;
            }
            laws.push(Weibull { shape: (ln_shape / filled).exp(), scale: (ln_scale / filled).exp() });
            (filled, ln_shape, ln_scale) = (0.0, 0.0, 0.0);
        }
    }
    if filled > 0.0 {
        laws.push(Weibull { shape: (ln_shape / filled).exp(), scale: (ln_scale / filled).exp() });
    }
    laws
}

/// Mean age of a part that was met in use and has been watched for `watched` since: the share `v` (0 to 1) of such parts is
/// younger. Its age Y has a density proportional to R(Y) above `watched`.
pub fn age_of_unknown(life: &Weibull, watched: f64, v: f64) -> f64 {
    let inverse = 1.0 / life.shape;
    let upper = |age: f64| if age <= 0.0 { 1.0 } else { checked_gamma_ur(inverse, life.hazard_sum(age)).unwrap_or(0.0) };
    let target = (1.0 - v) * upper(watched);
    let (mut low, mut high) = (watched, watched.max(life.scale) * 4.0 + life.scale * 8.0_f64.powf(inverse));
    if target <= 1e-280 {
        return watched;
    }
    for _ in 0..40 {
        let middle = f64::midpoint(low, high);
        if upper(middle) > target {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn known(age: f64, failed: bool) -> GridLife {
        GridLife::plain(age, failed)
    }

    fn mean_ln(cells: &[Cell], f: impl Fn(&Weibull) -> f64) -> f64 {
        cells.iter().map(|cell| cell.weight * f(&cell.life)).sum()
    }

    #[test]
    fn fast_logarithm_is_the_logarithm_to_single_precision() {
        for x in (0..4000).map(|i| (0.035 * f64::from(i) - 69.0).exp() as f32) {
            let exact = f64::from(x).ln();
            assert!((f64::from(fast_ln(x)) - exact).abs() < 2e-7 * exact.abs().max(1.0), "{x}");
        }
    }

    #[test]
    fn lives_of_every_kind_weigh_alike_whichever_way_they_are_multiplied() {
        let told = |weight: f64| {
            let ratio = std::array::from_fn(|b| (-0.2 * b as f64).exp());
            let lives: Vec<GridLife> = (0..25)
                .map(|i| GridLife {
                    ratio: Some(ratio),
                    failed: weight < 1.0,
                    worn_out: 0.0,
                    mishap: weight,
                    ..known(900.0 + 40.0 * f64::from(i), false)
                })
                .collect();
            mean_ln(&Fleet::new().posterior("P", &lives), |life| life.scale.ln())
        };
        assert!((told(1.0) - told(1.0 - 1e-7)).abs() < 1e-4, "{} {}", told(1.0), told(1.0 - 1e-7));
    }

    #[test]
    fn what_contradicts_itself_is_weighed_by_logarithms() {
        let mut weights = [1.0, 0.0, 0.0];
        weigh(&mut weights, &[-2000.0, 0.0, -1.0]);
        assert_eq!((weights[0], weights[1]), (0.0, 1.0));
        let mut weights = [1.0, 3.0];
        weigh(&mut weights, &[0.0, -1.0]);
        assert!((weights[1] / weights[0] - 3.0 / 1.0_f64.exp()).abs() < 1e-12);
    }

    #[test]
    fn without_lives_the_prior_speaks_and_holds_700_and_20000() {
        let cells = Fleet::new().posterior("P", &[]);
        let below = |age: f64| cells.iter().map(|cell| cell.weight * (1.0 - cell.life.reliability(age))).sum::<f64>();
        assert!(below(700.0) > 0.05, "{}", below(700.0));
        assert!(below(20_000.0) < 0.95, "{}", below(20_000.0));
        assert!((mean_ln(&cells, |life| life.shape.ln()) - PRIOR_LN_SHAPE.0).abs() < 0.05);
    }

    #[test]
    fn many_lives_overrule_the_prior() {
        // Lives at the quantiles of shape 4, scale 1500.
        let truth = Weibull { shape: 4.0, scale: 1500.0 };
        let mut fleet = Fleet::new();
        for pump in 0..6 {
            let lives: Vec<_> = (0..20).map(|i| known(truth.quantile((f64::from(i) + 0.5) / 20.0), true)).collect();
            fleet.set_pump(&format!("P{pump}"), &lives, &[]);
        }
        let cells = fleet.posterior("another", &[]);
        assert!((mean_ln(&cells, |life| life.scale.ln()) - truth.scale.ln()).abs() < 0.04);
        assert!((mean_ln(&cells, |life| life.shape.ln()) - truth.shape.ln()).abs() < 0.12);
    }

    #[test]
    fn pump_with_few_lives_leans_on_the_fleet() {
        let mut fleet = Fleet::new();
        for pump in 0..8 {
            let lives: Vec<_> = (0..12).map(|i| known(2000.0 + 100.0 * f64::from(i), true)).collect();
            fleet.set_pump(&format!("P{pump}"), &lives, &[]);
        }
        let ln_scale = |cells: Vec<Cell>| mean_ln(&cells, |life| life.scale.ln());
        let alone = ln_scale(Fleet::new().posterior("new", &[known(900.0, true)]));
        let leaning = ln_scale(fleet.posterior("new", &[known(900.0, true)]));
        let others = ln_scale(fleet.posterior("new", &[]));
        assert!(alone < leaning + 1.0 && leaning < others, "{alone} {leaning} {others}");
        assert!(leaning > 1200.0_f64.ln(), "{}", leaning.exp());
    }

    #[test]
    fn interval_and_exact_agree_where_the_interval_is_narrow() {
        let mean = |lives: &[GridLife]| mean_ln(&Fleet::new().posterior("P", lives), |life| life.scale.ln());
        let narrow = GridLife { low: 999.9, high: 1000.1, ..known(1000.0, true) };
        let exact = mean(&[known(1000.0, true), known(1500.0, false)]);
        assert!((exact - mean(&[narrow, known(1500.0, false)])).abs() < 1e-5);
    }

    #[test]
    fn running_life_counts_for_the_fleet_only_by_tenths() {
        let mut fleet = Fleet::new();
        let running = |age: f64| [GridLife { running: true, ..known(age, false) }];
        assert!(fleet.set_pump("P", &running(1000.0), &[]));
        assert!(!fleet.set_pump("P", &running(1050.0), &[]));
        assert!(fleet.set_pump("P", &running(1200.0), &[]));
        assert!(fleet.set_pump("P", &[known(1200.0, true)], &[1.0]));
    }

    #[test]
    fn part_of_unknown_age_is_older_than_it_was_watched_and_younger_is_likelier_with_early_failure() {
        let life = Weibull { shape: 3.0, scale: 1000.0 };
        let median = age_of_unknown(&life, 0.0, 0.5);
        // For a shape far above 1 the age is nearly uniform over a life: its median is near half the mean.
        assert!((median / life.mean() - 0.5).abs() < 0.06, "{median}");
        assert!(age_of_unknown(&life, 700.0, 0.5) > 700.0);
        assert!(age_of_unknown(&life, 700.0, 0.1) < age_of_unknown(&life, 700.0, 0.9));
    }

    #[test]
    fn running_life_of_unknown_age_speaks_for_longer_lives_than_nothing() {
        let mean = |lives: &[GridLife]| mean_ln(&Fleet::new().posterior("P", lives), |life| life.scale.ln());
        let unknown = GridLife { watched_from: None, ..known(6000.0, false) };
        assert!(mean(&[unknown]) > mean(&[]) + 0.1);
        assert!(mean(&[GridLife { low: 300.0, high: 300.0, failed: true, ..unknown }]) < mean(&[]));
    }
}
