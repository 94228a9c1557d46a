//! How fast a thickness wears between two readings of one place, and how much concrete is left in it.

use serde::{Deserialize, Serialize};

/// Wear over the concrete pumped between two readings.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Rate {
    /// Wear, mm for each 1000 m3; null where none shows.
    pub wear_mm_per_1000_m3: Option<f64>,
    /// Concrete until the limit is reached, m3, at the rate so far; 0 where it is reached.
    pub left_m3: Option<f64>,
    /// The same if it wears as fast as the gauge's step allows: the figure to plan with.
    pub left_least_m3: Option<f64>,
}

impl Rate {
    /// From a thickness now and one `m3` of concrete ago, both read in steps of `step_mm`.
    pub(super) fn between(before_mm: f64, now_mm: f64, m3: f64, limit_mm: f64, step_mm: f64) -> Self {
        let rate = |worn_mm: f64| worn_mm / m3 * 1000.0;
        let left = |thickness: f64, rate: f64| ((thickness - limit_mm) / rate * 1000.0).max(0.0);
        let seen = rate(before_mm - now_mm);
        // Both readings may be off by half a step, the one of today as well.
        let most = rate(before_mm - now_mm + step_mm);
        Self {
            wear_mm_per_1000_m3: (seen > 0.0).then_some(seen),
            left_m3: (seen > 0.0).then(|| left(now_mm, seen)),
            left_least_m3: (most > 0.0).then(|| left(now_mm - step_mm / 2.0, most)),
        }
    }
}
