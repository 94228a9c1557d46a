//! The possible ends of one life with their weights.

use std::sync::OnceLock;

use super::super::condition::{PLACES, SignTable};
use super::super::elementary::exps;
use super::super::weibull::Weibull;
use super::mishaps::PULLED_AT;
use super::{END_STEP, ENDS, Mishaps, SignedEnd, SignedLife};

/// One end more than [`ENDS`]: a failure by wear at the life's use.
pub(super) const MOST_ENDS: usize = ENDS + 1;

/// The possible ends of a life with their weights, from the nearest to the farthest.
pub(super) struct Working {
    /// How many there are: the rest of each list means nothing.
    pub(super) ends: usize,
    /// Use at each over the whole life, from new.
    whole: [f64; MOST_ENDS],
    pub(super) weight: [f64; MOST_ENDS],
    pub(super) prior: [f64; MOST_ENDS],
    /// Use when watching began.
    from: f64,
    /// The first end stands for a failure by wear at the life's use.
    pub(super) failed: bool,
    pub(super) unsure: bool,
    /// How much its signs teach.
    pub(super) teaches: f64,
}

impl Working {
    /// Ends of a life before its signs, weighed by the law alone.
    pub(super) fn new(life: &SignedLife, law: &Weibull, grown: &[f64; ENDS], mishaps: &Mishaps, soft: f64) -> Self {
        // Where nobody knows the age a middling one stands in; such a life teaches nothing about the signs.
        let from = life.age_then.unwrap_or(0.35 * law.scale);
        let unsure = life.age_then.is_none();
        let used = (from + life.through).max(1e-3 * law.scale);
        let failed = life.end == SignedEnd::Failed;
        let sum = law.hazard_sum(used);
        let hazard = law.shape / used * sum;
        let mut afters = grown.map(|grown| sum * grown);
        exps(&mut afters, 0.0);
        afters[ENDS - 1] = 0.0;
        // Failing by a mishap, the end of wear still lies ahead.
        let odds = if failed { mishaps.hazard(law.scale) } else { 1.0 };
        let first = usize::from(failed);
        let mut whole = [used; MOST_ENDS];
        let mut prior = [hazard; MOST_ENDS];
        let mut before = 1.0;
        for ((whole, prior), (after, middle)) in whole[first..].iter_mut().zip(&mut prior[first..]).zip(afters.iter().zip(middles())) {
            *whole = used * middle;
            *prior = odds * (before - after).max(1e-12);
            before = *after;
        }
        let ends = first + ENDS;
        let total: f64 = prior[..ends].iter().sum();
        // The end of a life that came out is itself guessed from its signs, and such lives left alone would run away with them. But where cups are
        // pulled by their looks those that fail are the few whose signs told little: learned from them alone, signs seem to come later than they do.
        let teaches = match life.end {
            SignedEnd::Failed => 1.0,
            SignedEnd::Out(true) => soft,
            SignedEnd::Out(false) | SignedEnd::Running => 0.0,
        };
        Self { ends, whole, weight: prior.map(|prior| prior / total), prior, from, failed, unsure, teaches }
    }

    /// Keeps the odds of a mishap within [`MISHAP_ODDS`] of what they are without signs.
    fn bound_mishap(&mut self) {
        let odds = |wear: f64, rest: f64| rest / wear.max(1e-300);
        let before = odds(self.prior[0], self.prior[1..self.ends].iter().sum());
        let wear = self.weight[0];
        let now = odds(wear, 1.0 - wear).clamp(before / MISHAP_ODDS, before * MISHAP_ODDS);
        let rest = now / (1.0 + now);
        let scale = rest / (1.0 - wear).max(1e-300);
        self.weight[0] = 1.0 - rest;
        self.weight[1..self.ends].iter_mut().for_each(|weight| *weight *= scale);
    }

    /// Share of the life at each end, at this use since watching began.
    pub(super) fn shares(&self, through: f64) -> [f64; MOST_ENDS] {
        let (used, mut shares) = (self.from + through, [0.0; MOST_ENDS]);
        shares.iter_mut().zip(&self.whole).for_each(|(share, whole)| *share = used / whole);
        shares
    }

    /// The same as places in a table of signs.
    pub(super) fn places(&self, through: f64) -> [u8; MOST_ENDS] {
        const { assert!(PLACES <= 256) };
        let mut places = [0; MOST_ENDS];
        places.iter_mut().zip(self.shares(through)).for_each(|(place, share)| *place = SignTable::place(share) as u8);
        places
    }

    /// The weights by what was seen: `ln` of it for each end.
    pub(super) fn weigh(&mut self, ln: &[f64; MOST_ENDS]) {
        let top = ln[..self.ends].iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut seen = *ln;
        exps(&mut seen[..self.ends], top);
        let mut total = 0.0;
        for ((weight, prior), seen) in self.weight.iter_mut().zip(&self.prior).zip(&seen).take(self.ends) {
            *weight = prior * seen;
            total += *weight;
        }
        self.weight.iter_mut().for_each(|weight| *weight /= total.max(1e-300));
        if self.failed {
            self.bound_mishap();
        }
    }

    /// Share of life at this use with its weight, for learning how signs speak. A failure counts at the use it had, mishap or not: sorting out
    /// those whose signs do not fit would make the rest fit ever better.
    pub(super) fn taught(&self, through: f64) -> impl Iterator<Item = (f64, f64)> {
        let told = if self.failed { 1 } else { self.ends };
        let ends = self.whole.iter().zip(&self.weight).take(told);
        let weighed = ends.map(move |(whole, weight)| ((self.from + through) / whole, if self.failed { 1.0 } else { *weight }));
        weighed.filter(|(_, weight)| *weight > 1e-3)
    }

    /// The chance that whoever looks at this use finds it worn enough to pull.
    pub(super) fn found_worn(&self, through: f64) -> f64 {
        let mut odds = self.shares(through).map(|share| (PULLED_AT.0 - share) / PULLED_AT.1);
        exps(&mut odds, 0.0);
        self.weight.iter().zip(&odds).take(self.ends).map(|(weight, odds)| weight / (1.0 + odds)).sum()
    }
}

/// The most by which signs may speak for a mishap or against it.
const MISHAP_ODDS: f64 = 8.0;

/// How much less than nothing of the hazard summed over a life is left to the end of each bin beyond it, for lives of this shape: 1 less
/// what the sum has grown to by then.
pub(super) fn grown(shape: f64) -> [f64; ENDS] {
    let mut grown = std::array::from_fn(|b| shape * END_STEP * (b + 1) as f64);
    exps(&mut grown, 0.0);
    grown.map(|grown| 1.0 - grown)
}

/// The middle of each end bin, as a multiple of the use at which they begin.
fn middles() -> &'static [f64; ENDS] {
    static MIDDLES: OnceLock<[f64; ENDS]> = OnceLock::new();
    MIDDLES.get_or_init(|| std::array::from_fn(|b| (END_STEP * (b as f64 + 0.5)).exp()))
}
