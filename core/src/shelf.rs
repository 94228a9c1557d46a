//! The shelf: how many cups to have before the next delivery comes.
//!
//! Each pump's cups have their own chance of coming out within the lead time, from the same forecast as the call; the number of
//! pumps that come down is their Poisson-binomial sum, exact. Both cups are changed in one visit, so a pump that comes down takes
//! two. Cups that a shop pulls before they fail are not in the chance: a shop that changes by plan needs its plan on top.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::call::{Ask, Costs, Judge};
use crate::error::CoreError;
use crate::history::{History, Timeline};

/// The schema name of a shelf document.
pub const SHELF_SCHEMA: &str = "gritbook.shelf/1";

/// What the shop asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShelfSettings {
    /// Days from order to delivery (1 to 365).
    pub lead_time_days: f64,
    /// Share of lead times in which the shelf must not run out, 0.5 to 0.9999.
    pub service: f64,
    /// What a day costs on which a pump stands for want of cups, 0 to 1e9, in any currency.
    pub standing_day_cost: f64,
}

impl Default for ShelfSettings {
    /// Two weeks, 95 % and 1,500 a day: our assumptions.
    fn default() -> Self {
        Self { lead_time_days: 14.0, service: 0.95, standing_day_cost: 1_500.0 }
    }
}

/// One pump's share in the demand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct PumpDemand {
    /// Which.
    pub pump: String,
    /// What it pumps in the lead time at its pace so far, m3.
    pub volume_m3: f64,
    /// Chance that a cup of it fails in that.
    pub chance: f64,
}

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Shelf {
    /// Always [`SHELF_SCHEMA`].
    pub schema: String,
    /// The last moment of the history: the shelf is judged as of then.
    pub at: DateTime<Utc>,
    /// As asked.
    pub lead_time_days: f64,
    /// As asked.
    pub service: f64,
    /// Cups expected to be needed.
    pub expected_cups: f64,
    /// Chance that 0, 1, 2, ... pumps come down, each taking two cups.
    pub pumps_down: Vec<f64>,
    /// Order when the shelf is down to this many cups: with so many it lasts through the lead time with the asked service.
    pub reorder_point_cups: u32,
    /// Chance that it lasts with so many.
    pub reached_service: f64,
    /// Cups expected to be wanting in a lead time with 0, 1, 2, ... pairs on the shelf.
    pub expected_wanting: Vec<f64>,
    /// What being without is expected to cost in a lead time with 0, 1, 2, ... pairs on the shelf: each pump that stands waits for
    /// the delivery, half a lead time on the mean.
    pub cost_of_being_without: Vec<f64>,
    /// By name.
    pub pumps: Vec<PumpDemand>,
}

/// Judges the shelf at the end of a history.
///
/// # Errors
/// `bad_setting`; `no_history` where it has no row; what the call gives.
pub fn shelf(history: &History, settings: &ShelfSettings) -> Result<Shelf, CoreError> {
    for (what, value, low, high) in [
        ("lead time, days,", settings.lead_time_days, 1.0, 365.0),
        ("service", settings.service, 0.5, 0.9999),
        ("cost of a standing day", settings.standing_day_cost, 0.0, 1e9),
    ] {
        if !(low..=high).contains(&value) {
            return Err(CoreError::refused("bad_setting", format!("the {what} {value} is outside {low} to {high}"), "correct it"));
        }
    }
    let Some(at) = history.rows.last().map(|row| row.at) else {
        return Err(CoreError::refused("no_history", "the history has no row", "record when cups are fitted and what is pumped"));
    };
    let mut judge = Judge::new(Costs::default())?;
    history.rows.iter().for_each(|row| judge.take_in(row));
    let mut pumps = Vec::new();
    for timeline in history.timelines() {
        let volume_m3 = pace_m3_per_day(history, &timeline) * settings.lead_time_days;
        let ask = Ask {
            at,
            at_text: at.to_rfc3339(),
            pump: timeline.pump().to_owned(),
            next_pour_m3: volume_m3,
            pump_m3: None,
            concrete_bar: None,
            mix_factor: None,
            bore_mm: None,
        };
        let chance = judge.answer(&ask)?.chance_of_failure;
        pumps.push(PumpDemand { pump: ask.pump, volume_m3, chance });
    }
    let pumps_down = poisson_binomial(&pumps.iter().map(|pump| pump.chance).collect::<Vec<_>>());
    let (down, reached_service) = least_covering(&pumps_down, settings.service);
    let wanting = expected_wanting(&pumps_down);
    Ok(Shelf {
        schema: SHELF_SCHEMA.to_owned(),
        at,
        lead_time_days: settings.lead_time_days,
        service: settings.service,
        expected_cups: 2.0 * pumps.iter().map(|pump| pump.chance).sum::<f64>(),
        cost_of_being_without: wanting.iter().map(|pairs| pairs * settings.standing_day_cost * settings.lead_time_days / 2.0).collect(),
        expected_wanting: wanting.iter().map(|pairs| 2.0 * pairs).collect(),
        pumps_down,
        reorder_point_cups: 2 * down,
        reached_service,
        pumps,
    })
}

/// What the pump does in a day, over its whole record. One that spans less than a day is taken for a day's work: two looks a minute apart
/// would make thousands of m3 of it.
fn pace_m3_per_day(history: &History, timeline: &Timeline) -> f64 {
    let mut rows = history.rows.iter().filter(|row| row.pump == timeline.pump());
    let Some(first) = rows.next() else { return 0.0 };
    let Some(last) = history.rows.last() else { return 0.0 };
    let days = (last.at - first.at).num_seconds() as f64 / 86_400.0;
    timeline.position_m3() / days.max(1.0)
}

/// Chances of 0, 1, 2, ... successes of independent trials with these chances; exact by convolution.
pub fn poisson_binomial(chances: &[f64]) -> Vec<f64> {
    let mut counts = vec![1.0];
    for chance in chances {
        counts.push(0.0);
        for k in (1..counts.len()).rev() {
            counts[k] = counts[k] * (1.0 - chance) + counts[k - 1] * chance;
        }
        counts[0] *= 1.0 - chance;
    }
    counts
}

/// Mean of what a demand with these chances exceeds 0, 1, 2, ... by.
pub fn expected_wanting(counts: &[f64]) -> Vec<f64> {
    // From the top: what exceeds k is what exceeds k + 1, and the chance to exceed k.
    let mut wanting = vec![0.0; counts.len()];
    let (mut sum, mut beyond) = (0.0, 0.0);
    for k in (0..counts.len()).rev() {
        sum += beyond;
        wanting[k] = sum;
        beyond += counts[k];
    }
    wanting
}

/// The least count that covers the demand with at least this chance, and the chance it covers.
fn least_covering(counts: &[f64], service: f64) -> (u32, f64) {
    let mut covered = 0.0;
    for (count, chance) in (0..).zip(counts) {
        covered += chance;
        if covered >= service {
            return (count, covered.min(1.0));
        }
    }
    (counts.len().saturating_sub(1) as u32, 1.0)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::history::parse;

    #[test]
    fn equal_chances_give_the_binomial() {
        // n = 4, p = 0.25: 81, 108, 54, 12, 1 over 256, by hand.
        let counts = poisson_binomial(&[0.25; 4]);
        for (got, want) in counts.iter().zip([81.0, 108.0, 54.0, 12.0, 1.0]) {
            assert!((got - want / 256.0).abs() < 1e-15);
        }
    }

    /// Many small chances come near the Poisson law of their sum: mean 2 and S = 4 give P(D <= S) = 0.94734698 (scipy and stockpyl agree).
    #[test]
    fn many_small_chances_come_near_the_poisson_law() {
        let counts = poisson_binomial(&[0.001; 2_000]);
        let within: f64 = counts[..=4].iter().sum();
        assert!((within - 0.947_346_98).abs() < 5e-4, "{within}");
        assert_eq!(least_covering(&counts, 0.947).0, 4);
        assert_eq!(least_covering(&counts, 0.95).0, 5);
    }

    #[test]
    fn pump_with_old_cups_asks_for_more_on_the_shelf_than_one_with_new_ones() {
        let of = |fitted: f64| {
            let text = format!(
                "at,pump,cup,event,pump_m3\n2025-01-01T06:00:00Z,P1,,in_use,0\n2025-03-01T06:00:00Z,P1,,fitted,{fitted}\n2025-06-01T06:00:00Z,P1,,counter,9000\n"
            );
            shelf(&parse(text.as_bytes()).unwrap(), &ShelfSettings { lead_time_days: 30.0, service: 0.9, ..ShelfSettings::default() })
                .unwrap()
        };
        let (young, old) = (of(8_900.0), of(100.0));
        assert!(young.expected_cups < old.expected_cups, "{} against {}", young.expected_cups, old.expected_cups);
        assert!((old.pumps_down.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        assert!(old.reached_service >= 0.9 && old.reorder_point_cups % 2 == 0);
    }

    #[test]
    fn record_of_a_minute_is_a_day_of_work_and_no_more() {
        let text = "at,pump,cup,event,pump_m3\n2025-01-01T06:00:00Z,P1,,in_use,100\n2025-01-01T06:01:00Z,P1,,counter,180\n";
        let found = shelf(&parse(text.as_bytes()).unwrap(), &ShelfSettings::default()).unwrap();
        assert_eq!(found.pumps[0].volume_m3, 14.0 * 80.0);
    }

    #[test]
    fn settings_out_of_range_and_an_empty_history_are_refused() {
        let history = parse(b"at,pump,event\n").unwrap();
        let code = |settings| shelf(&history, &settings).unwrap_err().code();
        assert_eq!(code(ShelfSettings::default()), "no_history");
        assert_eq!(code(ShelfSettings { lead_time_days: 0.0, ..ShelfSettings::default() }), "bad_setting");
        assert_eq!(code(ShelfSettings { service: 1.0, ..ShelfSettings::default() }), "bad_setting");
    }

    proptest! {
        /// Against every outcome of up to ten pumps, one by one.
        #[test]
        fn prop_convolution_is_the_sum_over_every_outcome(chances in prop::collection::vec(0.0..=1.0_f64, 0..10)) {
            let mut counts = vec![0.0; chances.len() + 1];
            for outcome in 0_u32..1 << chances.len() {
                let chance: f64 = chances.iter().enumerate().map(|(i, p)| if outcome >> i & 1 == 1 { *p } else { 1.0 - p }).product();
                counts[outcome.count_ones() as usize] += chance;
            }
            for (got, want) in poisson_binomial(&chances).iter().zip(&counts) {
                prop_assert!((got - want).abs() < 1e-12);
            }
        }

        #[test]
        fn prop_counts_sum_to_one_and_their_mean_is_the_sum_of_chances(chances in prop::collection::vec(0.0..=1.0_f64, 0..40)) {
            let counts = poisson_binomial(&chances);
            prop_assert!((counts.iter().sum::<f64>() - 1.0).abs() < 1e-12);
            let wanting = expected_wanting(&counts);
            for (shelf, wants) in wanting.iter().enumerate() {
                let by_sum: f64 = counts.iter().enumerate().map(|(k, p)| p * k.saturating_sub(shelf) as f64).sum();
                prop_assert!((by_sum - wants).abs() < 1e-9);
            }
            let mean: f64 = counts.iter().enumerate().map(|(k, p)| k as f64 * p).sum();
            prop_assert!((mean - chances.iter().sum::<f64>()).abs() < 1e-9);
        }
    }
}
