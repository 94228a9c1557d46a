//! What grades, levels and the liquid say about how far a cup is through its life.
//!
//! A cup that will fail at use T has gone through the share f = use / T of its life. A worse sign is likelier the larger f is:
//! the chance of a sign at or beyond step k is a logistic curve in f with its middle at `cuts[k]` and a width. Wrong signs
//! happen: the curve gives each of them some chance at any f, the wider the more. In this family a worse sign always moves the judgement
//! towards failure (monotone likelihood ratio), whatever the prior.
//!
//! The box is shared: its level is that of the worse of both cups, each with its own chance of a sign.
//!
//! The figures are assumptions, for a shop's own ended lives to correct ([`ConditionModel::learned`]).

use super::numeric::minimum;

/// Chances of one kind of sign.
#[derive(Debug, Clone, PartialEq)]
pub struct SignModel {
    /// Share of life at which the chance of a sign at or beyond step k + 1 is one half; ascending.
    pub cuts: Vec<f64>,
    /// Width of the curves, in shares of life.
    pub width: f64,
}

/// All signs.
#[derive(Debug, Clone, PartialEq)]
pub struct ConditionModel {
    /// Levels 0 to 3: paste only, some sand, sand, lumps.
    pub level: SignModel,
    /// Grades 0 to 4.
    pub grade: SignModel,
    /// Muddy or not.
    pub muddy: SignModel,
    /// Low or not.
    pub low: SignModel,
}

/// Signs of one life are not independent of each other (same cup, same eye): each counts for this share of its
/// log-likelihood. Assumption. See [`trusted`].
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

/// A sign seen at a known share of life.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KnownSign {
    /// Use at the sign over use at the failure, 0 to 1.
    pub life_share: f64,
    /// The step of the sign.
    pub step: u8,
}

fn logistic(x: f64) -> f64 {
    1.0 / (1.0 + (-x).exp())
}

impl SignModel {
    /// Chance of a sign at or below `step` at `life_share`.
    pub fn at_most(&self, step: u8, life_share: f64) -> f64 {
        match self.cuts.get(usize::from(step)) {
            Some(cut) => logistic((cut - life_share) / self.width),
            None => 1.0,
        }
    }

    /// Chance of exactly this sign at `life_share`.
    pub fn chance(&self, step: u8, life_share: f64) -> f64 {
        let below = if step == 0 { 0.0 } else { self.at_most(step - 1, life_share) };
        (self.at_most(step, life_share) - below).max(1e-12)
    }

    /// Chance that the worse of two cups, at these shares, shows exactly this sign.
    pub fn chance_of_worse(&self, step: u8, one: f64, other: f64) -> f64 {
        let both = |step: u8| self.at_most(step, one) * self.at_most(step, other);
        let below = if step == 0 { 0.0 } else { both(step - 1) };
        (both(step) - below).max(1e-12)
    }

    /// The model corrected by signs whose share of life is known, against `self` as a prior: each cut normal with
    /// [`CUT_SPREAD`], ln width with [`LN_WIDTH_SPREAD`]. Maximum a posteriori by turns.
    #[must_use]
    pub fn learned(&self, signs: &[KnownSign]) -> Self {
        if signs.is_empty() {
            return self.clone();
        }
        let cost = |model: &Self| {
            let prior: f64 = model.cuts.iter().zip(&self.cuts).map(|(a, b)| 0.5 * ((a - b) / CUT_SPREAD).powi(2)).sum::<f64>()
                + 0.5 * ((model.width / self.width).ln() / LN_WIDTH_SPREAD).powi(2);
            prior - TRUST * signs.iter().map(|sign| model.chance(sign.step, sign.life_share).ln()).sum::<f64>()
        };
        let mut model = self.clone();
        for _ in 0..3 {
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
                    1e-4,
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
                1e-4,
            );
            model.width = best.0.exp();
        }
        model
    }
}

impl ConditionModel {
    /// What is assumed before a shop's own lives speak. The order of signs is common practice, no published source: paste
    /// only is normal, sand means that cups are passing, lumps that they are done; muddy water means a badly worn piston
    /// (READ chinapumpparts.com, News 114); box water that falls passes the worn seal (READ concreteconstruction.net, water
    /// leakage into pumped concrete). The places along a life are our assumption.
    pub fn assumed() -> Self {
        Self {
            level: SignModel { cuts: vec![0.55, 0.8, 0.97], width: 0.15 },
            grade: SignModel { cuts: vec![0.2, 0.45, 0.7, 0.93], width: 0.15 },
            muddy: SignModel { cuts: vec![0.95], width: 0.15 },
            low: SignModel { cuts: vec![1.05], width: 0.2 },
        }
    }

    /// The model corrected by levels and grades of lives that ended in failure.
    #[must_use]
    pub fn learned(&self, levels: &[KnownSign], grades: &[KnownSign]) -> Self {
        Self { level: self.level.learned(levels), grade: self.grade.learned(grades), ..self.clone() }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn chances_of_all_steps_sum_to_one() {
        let model = ConditionModel::assumed();
        for share in [0.0, 0.3, 0.8, 1.2] {
            let sum: f64 = (0..=3).map(|step| model.level.chance(step, share)).sum();
            assert!((sum - 1.0).abs() < 1e-9);
            let pair: f64 = (0..=3).map(|step| model.level.chance_of_worse(step, share, 0.5)).sum();
            assert!((pair - 1.0).abs() < 1e-9);
        }
        assert!((model.grade.at_most(1, 0.45) - 0.5).abs() < 1e-12);
    }

    #[test]
    fn trusted_is_the_power_of_trust() {
        for chance in [0.0, 1e-9, 0.3, 1.0_f64] {
            assert!((trusted(chance) - chance.powf(TRUST)).abs() < 1e-12);
        }
    }

    #[test]
    fn a_shop_whose_cups_show_sand_early_is_learned_from() {
        let model = ConditionModel::assumed();
        let truth = SignModel { cuts: vec![0.35, 0.6, 0.85], width: 0.05 };
        // Signs in the exact proportions of the truth.
        let mut signs = Vec::new();
        for i in 0..40 {
            let life_share = (f64::from(i) + 0.5) / 40.0;
            for step in 0..=3 {
                let count = (truth.chance(step, life_share) * 10.0).round() as usize;
                signs.extend(std::iter::repeat_n(KnownSign { life_share, step }, count));
            }
        }
        let learned = model.level.learned(&signs);
        for (got, expected) in learned.cuts.iter().zip(&truth.cuts) {
            assert!((got - expected).abs() < 0.03, "{learned:?}");
        }
        assert_eq!(model.level.learned(&[]), model.level);
    }

    proptest! {
        /// Likelihood ratio of a worse sign to a better one never falls as the share of life grows.
        #[test]
        fn prop_worse_sign_speaks_for_a_later_life(share in 0.0..1.5_f64, more in 0.0..0.5_f64, step in 0_u8..4) {
            let model = ConditionModel::assumed().grade;
            let ratio = |share: f64| model.chance(step + 1, share) / model.chance(step, share);
            prop_assert!(ratio(share + more) >= ratio(share) * (1.0 - 1e-6));
        }
    }
}
