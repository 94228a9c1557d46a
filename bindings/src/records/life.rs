//! How long parts last.

use gritbook_core::history as core_history;
use gritbook_core::ids::PumpId;
use gritbook_core::life::{self as core_life, summary as core_summary};

use crate::cross::{Cross, Piece, record};
use crate::grades::Words;

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

/// A look into the box that follows new cups.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct BreakInLook {
    /// m3 through the newer cup after which it is due.
    pub at_m3: f64,
    /// It follows the first pour, whatever its volume.
    pub first_pour: bool,
    /// The box was looked at.
    pub done: bool,
    /// It is due now.
    pub due: bool,
    /// What to look for.
    pub look_for: Words,
}

impl Piece for core_history::BreakInLook {}

impl Cross<BreakInLook> for core_history::BreakInLook {
    fn cross(self) -> BreakInLook {
        let (first_pour, look_for) = (self.first_pour(), self.look_for().cross());
        let Self { at_m3, done, due } = self;
        BreakInLook { at_m3, first_pour, done, due, look_for }
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

/// The looks of one pump.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct PumpBreakIn {
    /// Which pump.
    pub pump_id: String,
    /// Its looks.
    pub break_in: BreakIn,
}

impl Piece for (PumpId, core_history::BreakIn) {}

impl Cross<PumpBreakIn> for (PumpId, core_history::BreakIn) {
    fn cross(self) -> PumpBreakIn {
        let (pump, looks) = self;
        PumpBreakIn { pump_id: pump.cross(), break_in: looks.cross() }
    }
}
