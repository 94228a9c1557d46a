//! One life: how it ended, and from which age it was watched.

use crate::error::CoreError;

/// How a life ended, as far as it is known. Ages in the unit of use (m3 unless said otherwise).
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ending {
    /// It failed at this age.
    Failed(f64),
    /// It was sound at this age: still in, or taken out before failing. Right censored.
    SoundAt(f64),
    /// It failed at an age between the two; from 0 it is left censored, else interval censored.
    FailedBetween(f64, f64),
}

/// One life.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LifeSample {
    /// Age at which watching began: 0 where it was watched from new. A part found in use at this age could not have
    /// failed before (left truncation).
    pub watched_from: f64,
    /// How it ended.
    pub ending: Ending,
}

impl LifeSample {
    /// Failed at `age`, watched from new.
    pub fn failed(age: f64) -> Self {
        Self { watched_from: 0.0, ending: Ending::Failed(age) }
    }

    /// Sound at `age`, watched from new.
    pub fn sound_at(age: f64) -> Self {
        Self { watched_from: 0.0, ending: Ending::SoundAt(age) }
    }

    /// Failed between two ages, watched from new.
    pub fn failed_between(low: f64, high: f64) -> Self {
        Self { watched_from: 0.0, ending: Ending::FailedBetween(low, high) }
    }

    /// The age to which it is known to have lasted.
    pub fn lasted(&self) -> f64 {
        match self.ending {
            Ending::Failed(age) | Ending::SoundAt(age) | Ending::FailedBetween(age, _) => age,
        }
    }

    /// Whether it failed.
    pub fn has_failed(&self) -> bool {
        !matches!(self.ending, Ending::SoundAt(_))
    }

    /// Checks the ages: finite, not negative, in order; a failure at an age above 0.
    ///
    /// # Errors
    /// `bad_life` with the value that is wrong.
    pub fn check(&self) -> Result<(), CoreError> {
        let bad = |what: String| {
            Err(CoreError::refused("bad_life", what, "a life needs finite ages, not below 0, and an end not before its start"))
        };
        let from = self.watched_from;
        if !(from.is_finite() && from >= 0.0) {
            return bad(format!("a life watched from age {from}"));
        }
        match self.ending {
            Ending::Failed(age) if !(age.is_finite() && age > 0.0 && age >= from) => {
                bad(format!("a failure at age {age}, watched from {from}"))
            }
            Ending::SoundAt(age) if !(age.is_finite() && age >= from) => bad(format!("sound at age {age}, watched from {from}")),
            Ending::FailedBetween(low, high) if !(low >= from && high > low && high.is_finite()) => {
                bad(format!("a failure between ages {low} and {high}, watched from {from}"))
            }
            _ => Ok(()),
        }
    }
}
