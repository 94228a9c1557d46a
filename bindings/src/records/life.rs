//! How long parts last.

use gritbook_core::history as core_history;
use gritbook_core::life::{self as core_life, summary as core_summary};

use crate::cross::{Cross, record};

record! {
    /// An estimate with its 95 % interval.
    Estimate = core_summary::Estimate {
        /// Best value.
        value: f64,
        /// Lower end; null where the data give none.
        low: Option<f64>,
        /// Upper end; null where the data give none.
        high: Option<f64>,
    }
}

/// A point of the life curve.
#[derive(Debug, Clone, Copy, PartialEq, uniffi::Record)]
pub struct LifePoint {
    /// Concrete through the part, m3.
    pub age_m3: f64,
    /// Share still sound, 0 to 1.
    pub sound: f64,
}

/// How long a kind of part lasts.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct LifeFacts {
    /// Lives that ended in failure.
    pub failures: u64,
    /// Lives that were sound when last seen.
    pub sound: u64,
    /// Too few failures for a fit: the stated prior speaks with them.
    pub prior_used: bool,
    /// Shape of the Weibull law.
    pub shape: Estimate,
    /// The age that 36.8 % reach, m3.
    pub scale_m3: Estimate,
    /// The age by which one in ten has failed, m3.
    pub b10_m3: Estimate,
    /// Half fail before, half after, m3.
    pub median_m3: f64,
    /// The fitted curve.
    pub fitted: Vec<LifePoint>,
    /// The counted curve (Kaplan-Meier): after each failure.
    pub counted: Vec<LifePoint>,
}

impl Cross<LifeFacts> for core_life::LifeSummary {
    fn cross(self) -> LifeFacts {
        let law = self.weibull();
        let to = law.quantile(0.97);
        let fitted = (0..=60).map(|i| to * f64::from(i) / 60.0).map(|age_m3| LifePoint { age_m3, sound: law.reliability(age_m3) });
        LifeFacts {
            failures: self.lives.all_failures().cross(),
            sound: self.lives.right_censored.cross(),
            prior_used: self.prior_used,
            shape: self.shape.cross(),
            scale_m3: self.scale_m3.cross(),
            b10_m3: self.b10_m3.cross(),
            median_m3: self.median_m3,
            fitted: fitted.collect(),
            counted: self.kaplan_meier.iter().map(|step| LifePoint { age_m3: step.age_m3, sound: step.reliability }).collect(),
        }
    }
}

record! {
    /// A look into the box that follows new cups.
    BreakInLook = core_history::BreakInLook {
        /// m3 through the newer cup after which it is due; 1 stands for the first pour.
        at_m3: f64,
        /// The box was looked at.
        done: bool,
        /// It is due now.
        due: bool,
    }
}

record! {
    /// Where the newer of a pump's cups stands in its first hundreds of cubic metres.
    BreakIn = core_history::BreakIn {
        /// When it was fitted, milliseconds since 1970, UTC.
        since: i64,
        /// m3 through it.
        through_m3: f64,
        /// The looks, in order.
        looks: Vec<BreakInLook>,
    }
}
