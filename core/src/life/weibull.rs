//! The two-parameter Weibull distribution: R(t) = exp(-(t/scale)^shape).

use serde::{Deserialize, Serialize};
use statrs::function::gamma::{checked_gamma_ur, gamma};

/// A Weibull distribution of lives.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Weibull {
    /// No unit, above 0. Above 1 the chance of failing grows with age.
    pub shape: f64,
    /// The age that 36.8 % reach, in the unit of the lives; above 0.
    pub scale: f64,
}

impl Weibull {
    /// Cumulative hazard (t/scale)^shape; 0 below age 0.
    pub fn hazard_sum(&self, age: f64) -> f64 {
        if age <= 0.0 { 0.0 } else { (age / self.scale).powf(self.shape) }
    }

    /// Chance to last beyond `age`.
    pub fn reliability(&self, age: f64) -> f64 {
        (-self.hazard_sum(age)).exp()
    }

    /// Natural logarithm of the density; minus infinity at ages not above 0.
    pub fn ln_density(&self, age: f64) -> f64 {
        if age <= 0.0 {
            return f64::NEG_INFINITY;
        }
        let x = (age / self.scale).ln();
        (self.shape / self.scale).ln() + (self.shape - 1.0) * x - (self.shape * x).exp()
    }

    /// Chance to last `more` beyond `age`, having reached `age`: R(age + more) / R(age).
    pub fn conditional_reliability(&self, age: f64, more: f64) -> f64 {
        (self.hazard_sum(age) - self.hazard_sum(age + more)).exp()
    }

    /// The age by which the share `failed` (0 to 1) has failed: `quantile(0.1)` is B10.
    pub fn quantile(&self, failed: f64) -> f64 {
        self.scale * (-(-failed).ln_1p()).powf(1.0 / self.shape)
    }

    /// Mean life: scale * Gamma(1 + 1/shape).
    pub fn mean(&self) -> f64 {
        self.scale * gamma(1.0 + 1.0 / self.shape)
    }

    /// Standard deviation of life.
    pub fn standard_deviation(&self) -> f64 {
        let (one, two) = (gamma(1.0 + 1.0 / self.shape), gamma(1.0 + 2.0 / self.shape));
        self.scale * (two - one * one).max(0.0).sqrt()
    }

    /// Mean of what is left of a life that has reached `age`: (scale/shape) Gamma(1/shape, H) exp(H), H the hazard sum.
    pub fn mean_residual(&self, age: f64) -> f64 {
        let sum = self.hazard_sum(age);
        if sum == 0.0 {
            return self.mean();
        }
        let inverse = 1.0 / self.shape;
        // Far out both factors leave the range of numbers; there the residual tends to one over the hazard.
        if sum < 200.0
            && let Ok(upper) = checked_gamma_ur(inverse, sum)
            && upper > 0.0
        {
            return self.scale * inverse * gamma(inverse) * upper * sum.exp();
        }
        self.scale * inverse * sum.powf(inverse - 1.0) * (1.0 + (inverse - 1.0) / sum)
    }

    /// Median of what is left of a life that has reached `age`.
    pub fn median_residual(&self, age: f64) -> f64 {
        self.scale * (self.hazard_sum(age) + std::f64::consts::LN_2).powf(1.0 / self.shape) - age.max(0.0)
    }

    /// The distribution of the first failure among two that live and fail apart: scale * 2^(-1/shape).
    pub fn first_of_two(&self) -> Self {
        Self { shape: self.shape, scale: self.scale * 2.0_f64.powf(-1.0 / self.shape) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// R(T + t)/R(T), mean and median residual life: worked out with scipy 1.17.1 for a textbook pair of parameters and
    /// for the maximum-likelihood fits of two published sets (NIST/SEMATECH handbook apr413; shock absorbers).
    #[test]
    fn what_is_left_of_a_life_agrees_with_scipy() {
        let near = |a: f64, b: f64| assert!((a - b).abs() < 2e-8 * b.abs().max(1.0), "{a} against {b}");
        for (shape, scale, reached, more, reliability, mean, median) in [
            (2.5, 1000.0, 500.0, 1000.0, 0.075_857_457, 490.792_556, 445.785_171),
            (1.720_797_3, 606.527_56, 400.0, 100.0, 0.795_571_327, 330.814_160, 268.317_256),
            (3.160_579_6, 27_717.362_09, 20_000.0, 5_000.0, 0.694_054_016, 9_089.971_442, 8_145.683_514),
        ] {
            let life = Weibull { shape, scale };
            near(life.conditional_reliability(reached, more), reliability);
            near(life.mean_residual(reached), mean);
            near(life.median_residual(reached), median);
        }
    }

    /// READ itl.nist.gov/div898/handbook/apr/section4/apr413.htm: mean 540.737, standard deviation 323.806.
    #[test]
    fn mean_and_spread_agree_with_the_nist_handbook() {
        let life = Weibull { shape: 1.720_797_3, scale: 606.527_56 };
        assert!((life.mean() - 540.737).abs() < 1e-3);
        assert!((life.standard_deviation() - 323.806).abs() < 1e-3);
    }

    #[test]
    fn far_beyond_the_scale_the_mean_residual_stays_finite_and_runs_on_smoothly() {
        let life = Weibull { shape: 4.0, scale: 100.0 };
        let (before, after) = (life.mean_residual(375.9), life.mean_residual(376.1));
        assert!(before > after && (before - after) / before < 1e-2, "{before} {after}");
        assert!(life.mean_residual(5_000.0) > 0.0);
    }
}
