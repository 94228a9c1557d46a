//! What stands for a posterior: its middle, equal slices of it, the age of a part found in use.

use statrs::function::gamma::checked_gamma_ur;

use super::super::elementary::exps;
use super::super::weibull::Weibull;

/// One point of the posterior.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// The life law.
    pub life: Weibull,
    /// ln of its shape and of its scale.
    pub ln: [f64; 2],
    /// Its weight; the weights of a posterior sum to 1.
    pub weight: f64,
}

/// Weights times likelihoods given as logarithms, but for a common factor.
pub(super) fn weigh(weights: &mut [f64], ln: &[f64]) {
    let top = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mut product = ln.to_vec();
    exps(&mut product, top);
    product.iter_mut().zip(weights.iter()).for_each(|(value, weight)| *value *= weight);
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
    let mean = |k: usize| cells.iter().map(|cell| cell.weight * cell.ln[k]).sum::<f64>().exp();
    Weibull { shape: mean(0), scale: mean(1) }
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
        let [shape, scale] = cell.ln;
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
