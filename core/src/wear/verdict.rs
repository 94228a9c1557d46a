//! A measure against its limit, honest about what the reading could not tell apart.

use serde::{Deserialize, Serialize};

use crate::model::words::Words;

/// What a measure says against a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Within the limit, whatever the reading's uncertainty hides.
    Good,
    /// Over the limit, whatever the reading's uncertainty hides.
    Bad,
    /// The limit lies within the uncertainty: measure finer, or take it for bad.
    TooClose,
    /// Within the limit as far as was measured, and more has to be measured before it is good.
    MeasureMore,
}

impl Verdict {
    /// In words.
    pub fn words(self) -> Words {
        let (en, es) = match self {
            Self::Good => ("good", "bien"),
            Self::Bad => ("bad", "mal"),
            Self::TooClose => {
                ("too close to call: measure finer, or take it for bad", "muy justo para decidir: mida más fino, o tómelo por malo")
            }
            Self::MeasureMore => ("not all seen: measure more before you call it good", "falta ver: mida más antes de darlo por bueno"),
        };
        Words { en, es }
    }
}

/// A value that must not exceed its limit, known to within `uncertainty` either way.
pub(super) fn at_most(value: f64, uncertainty: f64, limit: f64) -> Verdict {
    if value + uncertainty <= limit {
        Verdict::Good
    } else if value - uncertainty > limit {
        Verdict::Bad
    } else {
        Verdict::TooClose
    }
}

/// A value that must not fall below its limit.
pub(super) fn at_least(value: f64, uncertainty: f64, limit: f64) -> Verdict {
    at_most(-value, uncertainty, -limit)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limit_within_the_uncertainty_is_too_close_to_call() {
        assert_eq!(at_most(0.08, 0.01, 0.10), Verdict::Good);
        assert_eq!(at_most(0.095, 0.01, 0.10), Verdict::TooClose);
        assert_eq!(at_most(0.105, 0.01, 0.10), Verdict::TooClose);
        assert_eq!(at_most(0.12, 0.01, 0.10), Verdict::Bad);
        assert_eq!(at_least(4.2, 0.1, 4.0), Verdict::Good);
        assert_eq!(at_least(3.8, 0.1, 4.0), Verdict::Bad);
    }
}
