//! The grid of shapes and scales, and the likelihood of lives on it.

use std::sync::OnceLock;

use multiversion::multiversion;
use statrs::function::gamma::{checked_gamma_ur, ln_gamma};

use super::super::elementary::exps;
use super::beyond::{MULTIPLIED, Told, WIDE, add_ln, beyond};
use super::{GridLife, PRIOR_LN_SCALE, PRIOR_LN_SHAPE, PUMP_SPREADS};

pub(super) const SHAPES: usize = 28;
pub(super) const SCALES: usize = 90;
/// ln shape of the first grid row and the step: 0.6 to 12.
pub(super) const LN_SHAPE_0: f64 = -0.510_825_623_765_990_7;
pub(super) const LN_SHAPE_STEP: f64 = 0.110_952_6;
/// ln scale of the first grid column and the step: 50 to about 386 000.
const LN_SCALE_0: f64 = 3.912_023_005_428_146;
pub(super) const LN_SCALE_STEP: f64 = 0.1;

/// Tables that depend on the grid alone.
pub(super) struct Grid {
    /// Rows of the finest grid from one row of this to the next.
    stride: usize,
    pub(super) shape: Vec<f64>,
    pub(super) ln_shape: Vec<f64>,
    ln_scale: [f64; SCALES],
    pub(super) scale: [f64; SCALES],
    /// ln of `scale` as rounding left it.
    pub(super) scale_ln: [f64; SCALES],
    /// scale^-shape for each cell.
    power: Vec<f64>,
    pub(super) ln_prior: Vec<f64>,
    /// ln of the upper regularised gamma function Q(1/shape, H) over ln H, for lives of unknown age.
    ln_upper: OnceLock<Vec<[f64; UPPER]>>,
    /// ln Gamma(1 + 1/shape).
    ln_mean: Vec<f64>,
    pub(super) kernels: Vec<Vec<f64>>,
}

/// The farthest that a kernel reaches to one side, in steps of the scale.
const MOST_REACH: usize = 15;

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
        let scale = ln_scale.map(f64::exp);
        Self {
            stride,
            ln_shape: shape.iter().map(|shape| shape.ln()).collect(),
            shape,
            ln_scale,
            scale,
            scale_ln: scale.map(f64::ln),
            power,
            ln_prior,
            ln_upper: OnceLock::new(),
            ln_mean,
            kernels,
        }
    }

    /// The one grid: it depends on nothing, and is made once.
    pub(super) fn shared() -> &'static Self {
        static GRID: OnceLock<Grid> = OnceLock::new();
        GRID.get_or_init(|| Self::new(1))
    }

    /// The same with every second shape, for first guesses.
    pub(super) fn shared_rough() -> &'static Self {
        static GRID: OnceLock<Grid> = OnceLock::new();
        GRID.get_or_init(|| Self::new(2))
    }

    pub(super) fn cells(&self) -> usize {
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
    pub(super) fn ln_likelihood(&self, lives: &[GridLife]) -> Vec<f64> {
        let known: Vec<_> = lives.iter().filter_map(|life| life.watched_from.map(|from| (from, life))).collect();
        let exact = || known.iter().filter(|(_, life)| life.is_exact_failure());
        let failures: f64 = exact().map(|(_, life)| life.worn_out).sum();
        let ln_sum: f64 = exact().map(|(from, life)| life.worn_out * (from + life.low).ln()).sum();
        // Lives that need more than the sums above: failures between two ages, and parts of unknown age.
        let others: Vec<_> = lives.iter().filter(|life| life.watched_from.is_none() || life.failed_between()).collect();
        let signed: Vec<(f64, Told)> = known
            .iter()
            .filter(|(_, life)| life.sound_weight() > 1e-3)
            .filter_map(|(from, life)| {
                let at = (((from + life.low).max(1.0).ln() - LN_SCALE_0) / LN_SCALE_STEP).round().clamp(0.0, (SCALES - 1) as f64);
                life.ratio.as_ref().map(|ratio| (life.sound_weight(), Told::new(at as usize, ratio)))
            })
            .collect();
        let power_sums = self.power_sums(&known);
        let beyond = beyond();
        let mut out = vec![0.0; self.cells()];
        for (i, row) in out.chunks_exact_mut(SCALES).enumerate() {
            let (shape, ln_shape) = (self.shape[i], self.ln_shape[i]);
            let powers = &self.power[i * SCALES..(i + 1) * SCALES];
            for ((ln, ln_scale), power) in row.iter_mut().zip(&self.ln_scale).zip(powers) {
                *ln = failures * (ln_shape - shape * ln_scale) + (shape - 1.0) * ln_sum - power_sums[i] * power;
            }
            for life in &others {
                let end = [life.low, life.high].map(|through| (life.watched_from.unwrap_or(0.0) + through).max(0.0).powf(shape));
                for ((ln, ln_scale), power) in row.iter_mut().zip(&self.ln_scale).zip(powers) {
                    let [low, high] = end.map(|end| end * power);
                    *ln += match life.watched_from {
                        // The sum above took back R(from) already.
                        Some(_) => life.survived_weight() * (-low + (-(low - high).exp_m1()).max(1e-300).ln()),
                        None if life.failed => life.survived_weight() * (-low - ln_scale - self.ln_mean[i]),
                        None => self.ln_residual(i, low),
                    };
                }
            }
            // Whole lives are multiplied and their logarithm taken once for several.
            let mut product = [1.0_f64; WIDE];
            let mut multiplied = 0;
            for (weight, told) in &signed {
                if *weight == 1.0 {
                    beyond.multiply(i * self.stride, told, &mut product);
                    multiplied += 1;
                    if multiplied == MULTIPLIED {
                        add_ln(row, &mut product);
                        multiplied = 0;
                    }
                } else {
                    beyond.add_weighted(i * self.stride, told, *weight, row);
                }
            }
            if multiplied > 0 {
                add_ln(row, &mut product);
            }
        }
        out
    }

    /// For each shape, the ages that lives are known to have reached to its power, less those at which watching began.
    fn power_sums(&self, known: &[(f64, &GridLife)]) -> Vec<f64> {
        let mut sums = vec![0.0; self.shape.len()];
        let mut powers = sums.clone();
        let mut add = |age: f64, weight: f64| {
            if age > 0.0 {
                let ln_age = age.ln();
                powers.iter_mut().zip(&self.shape).for_each(|(power, shape)| *power = shape * ln_age);
                exps(&mut powers, 0.0);
                sums.iter_mut().zip(&powers).for_each(|(sum, power)| *sum += weight * power);
            }
        };
        for (from, life) in known {
            let (end, weight) = if life.failed_between() { (0.0, 1.0) } else { (from + life.low, life.survived_weight()) };
            add(end, weight);
            add(*from, -weight);
        }
        sums
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

    /// Blurs a row by the kernel; beyond the edges the outermost value stands in.
    pub(super) fn blur(kernel: &[f64], row: &[f64], out: &mut [f64]) {
        let reach = kernel.len() / 2;
        let mut padded = [0.0; SCALES + 2 * MOST_REACH];
        padded[..reach].fill(row[0]);
        padded[reach..reach + SCALES].copy_from_slice(row);
        padded[reach + SCALES..].fill(row[SCALES - 1]);
        convolve(kernel, &padded, out);
    }
}

#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn convolve(kernel: &[f64], padded: &[f64], out: &mut [f64]) {
    out.fill(0.0);
    for (k, weight) in kernel.iter().enumerate() {
        for (value, shifted) in out.iter_mut().zip(&padded[k..]) {
            *value += weight * shifted;
        }
    }
}

fn far_upper(a: f64, sum: f64) -> f64 {
    (a - 1.0) * sum.ln() - sum - ln_gamma(a)
}
