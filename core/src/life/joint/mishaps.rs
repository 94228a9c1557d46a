//! What fails cups beside wear, and pulling by looks.

/// Share of life at which a cup that is pulled as worn is half likely to be pulled, and the width of that. Assumption.
pub(super) const PULLED_AT: (f64, f64) = (0.72, 0.12);

/// Chance that whoever looks at a cup at this share of its life finds it worn enough to pull, in a shop that always pulls such cups.
pub fn found_worn(life_share: f64) -> f64 {
    1.0 / (1.0 + ((PULLED_AT.0 - life_share) / PULLED_AT.1).exp())
}

/// Pulls among cups found worn, as if seen: a shop may pull by looks or run to failure. Assumption: three in ten, soon outweighed.
const PULL_PRIOR: (f64, f64) = (0.6, 2.0);

/// The share of cups found worn that a shop pulls, from its `pulls` and how many of its looks must have found a cup worn.
pub fn pulled_share(pulls: f64, found_worn: f64) -> f64 {
    ((PULL_PRIOR.0 + pulls) / (PULL_PRIOR.1 + found_worn)).min(0.95)
}

/// Mean use to failure of a badly fitted cup, as a share of the scale of good ones. Assumption.
pub const BAD_FIT_SHARE: f64 = 0.08;

/// What fails cups beside wear.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mishaps {
    /// Share of fits that go wrong.
    pub bad_fit: f64,
    /// Failures from outside (a stone, a broken bolt) for each life of wear.
    pub per_life: f64,
}

/// Prior of the share of bad fits: bad ones among all, as if seen. Assumption: about one in thirty.
const BAD_FIT_PRIOR: (f64, f64) = (0.7, 25.0);

/// Prior of mishaps for each life: mishaps in lives, as if seen. Assumption: about one in twenty-five.
const MISHAP_PRIOR: (f64, f64) = (1.0, 25.0);

/// More mishaps for each life than this are not believed: then it is wear that the signs do not show.
const MOST_MISHAPS: f64 = 0.35;

impl Default for Mishaps {
    /// What is assumed before a shop's own failures speak.
    fn default() -> Self {
        Self::learned(0.0, 0.0, 0.0, 0.0)
    }
}

impl Mishaps {
    /// From counts, parts of one where a cause is not known for sure: bad fits among `fits`, mishaps in `lives` worth of use.
    pub fn learned(bad_fits: f64, fits: f64, mishaps: f64, lives: f64) -> Self {
        Self {
            bad_fit: (BAD_FIT_PRIOR.0 + bad_fits) / (BAD_FIT_PRIOR.1 + fits),
            per_life: ((MISHAP_PRIOR.0 + mishaps) / (MISHAP_PRIOR.1 + lives)).min(MOST_MISHAPS),
        }
    }

    /// Hazard of a mishap for each unit of use.
    pub fn hazard(&self, scale: f64) -> f64 {
        self.per_life / scale
    }

    /// Chance that a fit has not been a bad one that failed by `age`.
    pub fn fit_holds(&self, scale: f64, age: f64) -> f64 {
        1.0 - self.bad_fit + self.bad_fit * (-age.max(0.0) / (BAD_FIT_SHARE * scale)).exp()
    }

    /// Hazard of a bad fit at `age`, given that the cup has lasted so far.
    pub fn bad_fit_hazard(&self, scale: f64, age: f64) -> f64 {
        let mean = BAD_FIT_SHARE * scale;
        self.bad_fit * (-age / mean).exp() / mean / self.fit_holds(scale, age)
    }
}
