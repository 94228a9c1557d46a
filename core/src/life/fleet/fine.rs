//! A posterior between the points of its grid.
//!
//! The logarithm of a posterior is smooth in ln shape and ln scale, so polynomials through neighbours give it between them, however narrow
//! the posterior is.

use super::super::weibull::Weibull;
use super::grid::{Grid, SCALES};
use super::laws::Cell;

/// Points for each step of the grid.
const FINER: i32 = 8;

/// Points whose weight is below e to this of the greatest are left out.
const LEAST_LN: f64 = -16.0;

/// Weights on the grid as cells of a grid that is finer in both directions.
pub(super) fn finely(grid: &Grid, weights: &[f64]) -> Vec<Cell> {
    let ln: Vec<f64> = weights.iter().map(|weight| weight.max(1e-300).ln()).collect();
    let along_scale: Vec<Vec<f64>> = ln.chunks_exact(SCALES).map(between).collect();
    let columns = along_scale[0].len();
    let mut fine = vec![Vec::new(); columns];
    for (column, fine) in fine.iter_mut().enumerate() {
        let down: Vec<f64> = along_scale.iter().map(|row| row[column]).collect();
        *fine = between(&down);
    }
    let top = fine.iter().flatten().copied().fold(f64::NEG_INFINITY, f64::max);
    let step = |ends: &[f64], at: usize| {
        let place = at as f64 / f64::from(FINER);
        let last = ends.len() - 1;
        ends[0] + (ends[last] - ends[0]) * place / last as f64
    };
    let mut cells = Vec::new();
    for (column, ln) in fine.iter().enumerate() {
        for (row, ln) in ln.iter().enumerate().filter(|(_, ln)| **ln > top + LEAST_LN) {
            let at = [step(&grid.ln_shape, row), step(&grid.scale_ln, column)];
            cells.push(Cell { life: Weibull { shape: at[0].exp(), scale: at[1].exp() }, ln: at, weight: (ln - top).exp() });
        }
    }
    let sum: f64 = cells.iter().map(|cell| cell.weight).sum();
    cells.iter_mut().for_each(|cell| cell.weight /= sum);
    cells
}

/// What lies below this is rounded off, and no curve goes through it.
const ROUNDED_LN: f64 = -600.0;

/// Values between neighbours too: at each point the polynomial through the nearest value and two on each side.
fn between(values: &[f64]) -> Vec<f64> {
    let last = values.len() - 1;
    let at = |at: i32| {
        let place = f64::from(at) / f64::from(FINER);
        let middle = (place.round() as usize).clamp(2, last - 2);
        let near = &values[middle - 2..=middle + 2];
        if near.iter().any(|value| *value < ROUNDED_LN) {
            let below = (place as usize).min(last - 1);
            return values[below] + (place - below as f64) * (values[below + 1] - values[below]);
        }
        let s = place - middle as f64;
        let weight = |k: usize| {
            (0..5).filter(|other| *other != k).map(|other| (s + 2.0 - other as f64) / (k as f64 - other as f64)).product::<f64>()
        };
        near.iter().enumerate().map(|(k, value)| value * weight(k)).sum()
    };
    (0..=last as i32 * FINER).map(at).collect()
}

#[cfg(test)]
mod tests {
    use super::super::{Fleet, GridLife};

    /// A thousand lives at the places of equal chance of a Weibull law: the interval of its scale is known by theory,
    /// 1.05 / (shape sqrt n) of ln scale (Fisher information of the complete sample; Meeker and Escobar 1998, from memory).
    #[test]
    fn interval_with_many_lives_is_that_of_theory_and_not_a_step_of_the_grid() {
        let (shape, scale, n) = (2.5_f64, 3334.0_f64, 1000);
        let quantile = |at: f64| scale * (-(1.0 - at).ln()).powf(1.0 / shape);
        let lives: Vec<GridLife> = (0..n).map(|i| GridLife::plain(quantile((f64::from(i) + 0.5) / f64::from(n)), true)).collect();
        let cells = Fleet::new().posterior_finely("all", &lives);
        let mean = |k: usize| cells.iter().map(|cell| cell.weight * cell.ln[k]).sum::<f64>();
        let sd = |k: usize| cells.iter().map(|cell| cell.weight * (cell.ln[k] - mean(k)).powi(2)).sum::<f64>().sqrt();
        let root = f64::from(n).sqrt();
        assert!((mean(1) - scale.ln()).abs() < 0.002, "{}", mean(1).exp());
        assert!((sd(1) / (1.053 / (shape * root)) - 1.0).abs() < 0.08, "{}", sd(1));
        assert!((sd(0) / (0.780 / root) - 1.0).abs() < 0.08, "{}", sd(0));
        assert!((cells.iter().map(|cell| cell.weight).sum::<f64>() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn few_lives_give_what_the_grid_gives() {
        let lives = [1800.0, 2600.0, 3100.0].map(|life| GridLife::plain(life, true));
        let fleet = Fleet::new();
        let mean = |cells: Vec<super::Cell>, k: usize| cells.iter().map(|cell| cell.weight * cell.ln[k]).sum::<f64>();
        for k in 0..2 {
            let (fine, plain) = (mean(fleet.posterior_finely("all", &lives), k), mean(fleet.posterior("all", &lives), k));
            assert!((fine - plain).abs() < 0.01, "{fine} {plain}");
        }
    }
}
