//! Maximum likelihood for the two-parameter Weibull under censoring and left truncation.
//!
//! Exact failures and right censoring: the scale follows from the shape in closed form and the shape from one equation,
//! solved between brackets. With interval or left censored lives the likelihood itself is maximised in both parameters.
//! Intervals: Wald on the log scale from the observed information, and likelihood ratio by profile; the latter are the
//! ones to show. Source of the method: Meeker and Escobar, Statistical Methods for Reliability Data, chapters 7 and 8
//! (from memory; every figure is checked against published or independently computed values below).

use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF as _, Normal};

use super::numeric::{minimum, root};
use super::sample::{Ending, LifeSample};
use super::weibull::Weibull;
use crate::error::CoreError;
use crate::order;

/// The least number of failures a fit by maximum likelihood stands on; below it the stated prior speaks.
///
/// Two points always lie on a curve, three nearly do. Five is common practice, no published source.
pub const LEAST_FAILURES: usize = 5;

/// An interval, `low` to `high`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// Variances and covariance of the estimates, from the observed information.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Covariance {
    /// Standard error of the shape.
    pub shape_se: f64,
    /// Standard error of the scale.
    pub scale_se: f64,
    /// Covariance of the two.
    pub both: f64,
}

/// How many lives of each kind a fit stands on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct LifeCounts {
    /// Failed at a known age.
    pub failures: usize,
    /// Sound at the last known age: removed before failing, or still in.
    pub right_censored: usize,
    /// Failed between two ages.
    pub interval_censored: usize,
    /// Failed before an age, from 0.
    pub left_censored: usize,
    /// Of all these: found in use at a known age above 0.
    pub watched_from_later: usize,
}

impl LifeCounts {
    /// Counts `lives`.
    pub fn of(lives: &[LifeSample]) -> Self {
        let mut counts = Self::default();
        for life in lives {
            match life.ending {
                Ending::Failed(_) => counts.failures += 1,
                Ending::SoundAt(_) => counts.right_censored += 1,
                Ending::FailedBetween(low, _) if low <= 0.0 => counts.left_censored += 1,
                Ending::FailedBetween(..) => counts.interval_censored += 1,
            }
            counts.watched_from_later += usize::from(life.watched_from > 0.0);
        }
        counts
    }

    /// Failures of every kind.
    pub fn all_failures(&self) -> usize {
        self.failures + self.interval_censored + self.left_censored
    }
}

/// A fit by maximum likelihood.
#[derive(Debug, Clone)]
pub struct Fit {
    /// The estimates.
    pub weibull: Weibull,
    /// Log-likelihood at its maximum.
    pub log_likelihood: f64,
    /// From the observed information; None where it is not positive definite.
    pub covariance: Option<Covariance>,
    /// What it stands on.
    pub counts: LifeCounts,
    likelihood: Likelihood,
}

/// The sample in the form that the likelihood needs; ages are divided by `unit` so that powers stay in range.
#[derive(Debug, Clone)]
struct Likelihood {
    unit: f64,
    /// ln of exact failure ages.
    failed: Vec<f64>,
    /// (ln age, sign): +1 for every end of an exact or right censored life, -1 where watching began late.
    sums: Vec<(f64, f64)>,
    /// ln of both ends of failures known only between them (minus infinity for 0).
    between: Vec<(f64, f64)>,
    /// Sum of ln failure ages, for the density.
    failed_ln_sum: f64,
}

/// ln shape and ln scale are kept within these while searching; field data never come near (shape 0.02 to 55).
const LN_SHAPE: (f64, f64) = (-4.0, 4.0);

/// The scale lies within a factor of a million around the longest age seen, which is the unit.
const LN_SCALE: (f64, f64) = (-14.0, 14.0);

impl Likelihood {
    fn of(lives: &[LifeSample]) -> Self {
        let unit = lives
            .iter()
            .map(|life| match life.ending {
                Ending::Failed(age) | Ending::SoundAt(age) | Ending::FailedBetween(_, age) => age,
            })
            .fold(0.0, f64::max);
        let mut this = Self { unit, failed: Vec::new(), sums: Vec::new(), between: Vec::new(), failed_ln_sum: 0.0 };
        for life in lives {
            match life.ending {
                Ending::Failed(age) => {
                    this.failed.push((age / unit).ln());
                    this.sums.push(((age / unit).ln(), 1.0));
                }
                Ending::SoundAt(age) if age > 0.0 => this.sums.push(((age / unit).ln(), 1.0)),
                Ending::SoundAt(_) => {}
                Ending::FailedBetween(low, high) => this.between.push(((low / unit).ln(), (high / unit).ln())),
            }
            if life.watched_from > 0.0 {
                this.sums.push(((life.watched_from / unit).ln(), -1.0));
            }
        }
        // The order of the lives must not change the last digit.
        this.failed.sort_by(f64::total_cmp);
        order::pairs(&mut this.sums);
        order::pairs(&mut this.between);
        this.failed_ln_sum = this.failed.iter().fold(0.0, |sum, ln_age| sum + ln_age);
        this
    }

    /// Log-likelihood at ln shape and ln(scale / unit), in the original unit.
    fn at(&self, ln_shape: f64, ln_scale: f64) -> f64 {
        let shape = ln_shape.exp();
        let d = self.failed.len() as f64;
        let mut sum = d * (ln_shape - ln_scale - self.unit.ln()) + (shape - 1.0) * (self.failed_ln_sum - d * ln_scale);
        for &(ln_age, sign) in &self.sums {
            sum -= sign * (shape * (ln_age - ln_scale)).exp();
        }
        for &(ln_low, ln_high) in &self.between {
            let (low, high) = ((shape * (ln_low - ln_scale)).exp(), (shape * (ln_high - ln_scale)).exp());
            // R(low) - R(high), without losing digits where they are close.
            sum += -low + (-(low - high).exp_m1()).ln();
        }
        if sum.is_nan() { f64::NEG_INFINITY } else { sum }
    }

    /// The best ln scale at a given ln shape, and the log-likelihood there.
    fn best_scale(&self, ln_shape: f64) -> (f64, f64) {
        if self.between.is_empty() {
            let shape = ln_shape.exp();
            let sum: f64 = self.sums.iter().map(|&(ln_age, sign)| sign * (shape * ln_age).exp()).sum();
            let ln_scale = (sum / self.failed.len() as f64).ln() / shape;
            return (ln_scale, self.at(ln_shape, ln_scale));
        }
        let (ln_scale, negative) = minimum(|ln_scale| -self.at(ln_shape, ln_scale), LN_SCALE.0, LN_SCALE.1, 1e-10);
        (ln_scale, -negative)
    }

    /// The best ln shape at a given ln scale, and the log-likelihood there.
    fn best_shape_at_scale(&self, ln_scale: f64) -> (f64, f64) {
        let (ln_shape, negative) = minimum(|ln_shape| -self.at(ln_shape, ln_scale), LN_SHAPE.0, LN_SHAPE.1, 1e-10);
        (ln_shape, -negative)
    }

    /// d/d(shape) of the profile log-likelihood over -failures: negative below the root, positive above.
    fn profile_slope(&self, shape: f64) -> f64 {
        let (mut sum, mut weighted) = (0.0, 0.0);
        for &(ln_age, sign) in &self.sums {
            let power = sign * (shape * ln_age).exp();
            sum += power;
            weighted += power * ln_age;
        }
        weighted / sum - 1.0 / shape - self.failed_ln_sum / self.failed.len() as f64
    }

    fn maximum(&self) -> Option<(f64, f64)> {
        let mut ln_shape = if self.between.is_empty() {
            // Look for the sign change on a ladder first: late watching can make the slope wander.
            let ladder: Vec<f64> = (0..=64).map(|i| LN_SHAPE.0 + (LN_SHAPE.1 - LN_SHAPE.0) * f64::from(i) / 64.0).collect();
            let mut best: Option<(f64, f64)> = None;
            for pair in ladder.windows(2) {
                let [low, high] = [pair[0], pair[1]];
                if let Some(found) = root(|ln_shape| self.profile_slope(ln_shape.exp()), low, high, 1e-13) {
                    let value = self.best_scale(found).1;
                    if best.is_none_or(|(_, before)| value > before) {
                        best = Some((found, value));
                    }
                }
            }
            best?.0
        } else {
            minimum(|ln_shape| -self.best_scale(ln_shape).1, LN_SHAPE.0, LN_SHAPE.1, 1e-10).0
        };
        let mut ln_scale = self.best_scale(ln_shape).0;
        if !self.between.is_empty() {
            // The search by values is good to about 1e-8; two Newton steps take it to rounding.
            for _ in 0..3 {
                let gradient = self.gradient(ln_shape, ln_scale);
                let [[a, b], [_, c]] = self.information(ln_shape, ln_scale);
                let det = a * c - b * b;
                if !(det > 0.0 && a > 0.0) {
                    break;
                }
                let step = [(c * gradient[0] - b * gradient[1]) / det, (a * gradient[1] - b * gradient[0]) / det];
                if step.iter().any(|s| !s.is_finite() || s.abs() > 1e-3) {
                    break;
                }
                ln_shape += step[0];
                ln_scale += step[1];
            }
        }
        let at_edge = ln_shape < LN_SHAPE.0 + 0.01 || ln_shape > LN_SHAPE.1 - 0.01;
        (ln_shape.is_finite() && ln_scale.is_finite() && !at_edge).then_some((ln_shape, ln_scale))
    }

    fn gradient(&self, ln_shape: f64, ln_scale: f64) -> [f64; 2] {
        let h = 1e-4;
        let slope = |f: &dyn Fn(f64) -> f64| (8.0 * (f(h) - f(-h)) - (f(2.0 * h) - f(-2.0 * h))) / (12.0 * h);
        [slope(&|d| self.at(ln_shape + d, ln_scale)), slope(&|d| self.at(ln_shape, ln_scale + d))]
    }

    /// Observed information in (ln shape, ln scale), by fourth-order differences.
    fn information(&self, ln_shape: f64, ln_scale: f64) -> [[f64; 2]; 2] {
        let h = 2e-3;
        let centre = self.at(ln_shape, ln_scale);
        let second = |f: &dyn Fn(f64) -> f64| -(-f(2.0 * h) + 16.0 * f(h) - 30.0 * centre + 16.0 * f(-h) - f(-2.0 * h)) / (12.0 * h * h);
        let a = second(&|d| self.at(ln_shape + d, ln_scale));
        let c = second(&|d| self.at(ln_shape, ln_scale + d));
        // Along the diagonal: a + 2 b + c.
        let both = second(&|d| self.at(ln_shape + d, ln_scale + d));
        let b = (both - a - c) / 2.0;
        [[a, b], [b, c]]
    }
}

/// Fits a Weibull distribution to `lives` by maximum likelihood.
///
/// The order of the lives changes nothing; multiplying every age by a factor multiplies the scale alone.
///
/// # Errors
/// `bad_life` for an impossible age; `too_few_failures` below [`LEAST_FAILURES`]; `no_finite_fit` where the likelihood has
/// no maximum, for example when all failures share one age.
pub fn fit(lives: &[LifeSample]) -> Result<Fit, CoreError> {
    for life in lives {
        life.check()?;
    }
    let counts = LifeCounts::of(lives);
    let failures = counts.all_failures();
    if failures < LEAST_FAILURES {
        return Err(CoreError::refused(
            "too_few_failures",
            format!("{failures} failures are too few for a fit, it takes {LEAST_FAILURES}"),
            "use the fit with the stated prior until more lives have ended",
        ));
    }
    let likelihood = Likelihood::of(lives);
    let no_fit = || {
        CoreError::refused(
            "no_finite_fit",
            "these lives have no finite Weibull fit: the failures share one age, or all lie in one unresolved interval",
            "use the fit with the stated prior until lives of other lengths are in the history",
        )
    };
    let (ln_shape, ln_scale) = likelihood.maximum().ok_or_else(no_fit)?;
    let weibull = Weibull { shape: ln_shape.exp(), scale: ln_scale.exp() * likelihood.unit };
    let [[a, b], [_, c]] = likelihood.information(ln_shape, ln_scale);
    let det = a * c - b * b;
    let covariance = (det > 0.0 && a > 0.0).then(|| Covariance {
        shape_se: (c / det).sqrt() * weibull.shape,
        scale_se: (a / det).sqrt() * weibull.scale,
        both: -b / det * weibull.shape * weibull.scale,
    });
    Ok(Fit { weibull, log_likelihood: likelihood.at(ln_shape, ln_scale), covariance, counts, likelihood })
}

/// Half-width of a standard normal at two-sided `confidence` (0.95 gives 1.959964).
fn normal_width(confidence: f64) -> f64 {
    Normal::standard().inverse_cdf(0.5 + confidence / 2.0)
}

impl Fit {
    /// Wald intervals of shape and scale on the log scale.
    pub fn wald(&self, confidence: f64) -> Option<(Interval, Interval)> {
        let z = normal_width(confidence);
        let around = |value: f64, se: f64| {
            let factor = (z * se / value).exp();
            Interval { low: value / factor, high: value * factor }
        };
        self.covariance.map(|c| (around(self.weibull.shape, c.shape_se), around(self.weibull.scale, c.scale_se)))
    }

    /// Wald interval, on the log scale, of the age by which the share `failed` has failed.
    pub fn wald_quantile(&self, failed: f64, confidence: f64) -> Option<Interval> {
        let Covariance { shape_se, scale_se, both } = self.covariance?;
        let Weibull { shape, scale } = self.weibull;
        let quantile = self.weibull.quantile(failed);
        // ln t = ln scale + ln(-ln(1 - p)) / shape, by the delta method.
        let by_shape = -(-(-failed).ln_1p()).ln() / (shape * shape);
        let by_scale = 1.0 / scale;
        let variance = (by_shape * shape_se).powi(2) + (by_scale * scale_se).powi(2) + 2.0 * by_shape * by_scale * both;
        let factor = (normal_width(confidence) * variance.sqrt()).exp();
        Some(Interval { low: quantile / factor, high: quantile * factor })
    }

    /// Likelihood-ratio interval of the shape.
    pub fn shape_interval(&self, confidence: f64) -> Option<Interval> {
        let interval = self.profile(self.weibull.shape.ln(), confidence, |ln_shape| self.likelihood.best_scale(ln_shape).1)?;
        Some(Interval { low: interval.low.exp(), high: interval.high.exp() })
    }

    /// Likelihood-ratio interval of the scale.
    pub fn scale_interval(&self, confidence: f64) -> Option<Interval> {
        let unit = self.likelihood.unit;
        let best = (self.weibull.scale / unit).ln();
        let interval = self.profile(best, confidence, |ln_scale| self.likelihood.best_shape_at_scale(ln_scale).1)?;
        Some(Interval { low: interval.low.exp() * unit, high: interval.high.exp() * unit })
    }

    /// Likelihood-ratio interval of the age by which the share `failed` has failed (B10 for 0.1).
    pub fn quantile_interval(&self, failed: f64, confidence: f64) -> Option<Interval> {
        let unit = self.likelihood.unit;
        let ln_sum = (-(-failed).ln_1p()).ln();
        let best = (self.weibull.quantile(failed) / unit).ln();
        let interval = self.profile(best, confidence, |ln_age| {
            let at = |ln_shape: f64| self.likelihood.at(ln_shape, ln_age - ln_sum / ln_shape.exp());
            -minimum(|ln_shape| -at(ln_shape), LN_SHAPE.0, LN_SHAPE.1, 1e-10).1
        })?;
        Some(Interval { low: interval.low.exp() * unit, high: interval.high.exp() * unit })
    }

    /// Where a profile log-likelihood falls by half the chi-square quantile, on both sides of `best` (a logarithm).
    fn profile(&self, best: f64, confidence: f64, mut value: impl FnMut(f64) -> f64) -> Option<Interval> {
        let fall = ChiSquared::new(1.0).ok()?.inverse_cdf(confidence) / 2.0;
        let target = self.log_likelihood - fall;
        let mut side = |sign: f64| {
            let mut near = best;
            let mut step = 0.1;
            for _ in 0..60 {
                let far = near + sign * step;
                if value(far) < target {
                    let (low, high) = if sign < 0.0 { (far, near) } else { (near, far) };
                    return root(|at| value(at) - target, low, high, 1e-10);
                }
                near = far;
                step *= 1.5;
                if (near - best).abs() > 25.0 {
                    break;
                }
            }
            None
        };
        Some(Interval { low: side(-1.0)?, high: side(1.0)? })
    }
}

#[cfg(test)]
pub(crate) mod published;

#[cfg(test)]
mod tests;
