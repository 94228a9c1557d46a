//! A turn of the shop's work that no row tells: harsher mixes, higher pressures or other cups from some day on, on all pumps.
//!
//! Where rows tell pressures and mixes, duty follows them. Where none does, cups that wear out sooner (or later) than those before still show
//! it. Two steps: under each pump's law so far, the day that parts failures from expected failures most (a likelihood ratio of two
//! Poisson rates against one); then lives with all their signs, m3 since that day counted times a factor, against plain m3 by the evidence
//! of the whole fleet, as for pressures and mixes.

use chrono::{DateTime, Utc};

use super::super::weibull::Weibull;
use super::Record;
use crate::history::{Life, Timeline};

/// Odds of a turn against none before the evidence of lives with their signs, one that failures made suspected. Chosen with
/// [`LEAST_LIKELIER`] on the invented shops of `fixtures/fleet/kinds`, seeds 41 to 43, with pressures and mixes left out of every kind.
pub(super) const ODDS: f64 = 0.01;

/// How much likelier, ln, two rates of failing must be than one for a turn to be suspected.
const LEAST_LIKELIER: f64 = 3.0;

/// Days on which the work may have turned: this many parts of the record, without the first and the last.
const PARTS: i32 = 12;

/// By how much more each m3 may wear since.
const MORE: [f64; 3] = [1.3, 1.6, 2.0];

/// One life as the search for the day needs it. m3.
pub(super) struct Watched {
    pump: String,
    law: Weibull,
    /// Age when watching began.
    from: f64,
    /// Place along the pump's record then.
    begin: f64,
    through: f64,
    /// Weight of its end as a wear-out failure.
    worn_out: f64,
}

impl Watched {
    pub(super) fn new(pump: &str, life: &Life, worn_out: f64, law: &Weibull) -> Self {
        Self {
            pump: pump.to_owned(),
            law: *law,
            from: life.age_then_m3.unwrap_or(0.35 * law.scale),
            begin: life.span_m3[0],
            through: life.through_m3.middle(),
            worn_out,
        }
    }
}

/// Turns that failures speak for.
#[derive(Debug, PartialEq)]
pub(super) struct Suspected {
    /// When.
    pub(super) at: DateTime<Utc>,
    /// By how much more each m3 may wear since.
    pub(super) factors: [f64; 3],
}

/// The day that parts failures from expected ones most, where it parts them enough.
pub(super) fn suspected(record: &Record, watched: &[Watched]) -> Option<Suspected> {
    let moments: Vec<[DateTime<Utc>; 2]> = record.values().filter_map(Timeline::moments).collect();
    let first = moments.iter().map(|[first, _]| *first).min()?;
    let last = moments.iter().map(|[_, last]| *last).max()?;
    let mut best: Option<(f64, Suspected)> = None;
    for part in 2..PARTS {
        let at = first + (last - first) * part / PARTS;
        // Before and after.
        let (mut failed, mut expected) = ([0.0; 2], [0.0; 2]);
        for life in watched {
            let Some(timeline) = record.get(&life.pump) else { continue };
            let place = timeline.position_at(at);
            let before = (place - life.begin).clamp(0.0, life.through);
            let [begun, then, ended] = [0.0, before, life.through].map(|through| life.law.hazard_sum(life.from + through));
            expected[0] += then - begun;
            expected[1] += ended - then;
            failed[usize::from(life.begin + life.through > place)] += life.worn_out;
        }
        if failed[0] < 1.0 || failed[1] < 2.0 || expected[0] <= 0.0 || expected[1] <= 0.0 {
            continue;
        }
        let rates = [0, 1].map(|k: usize| failed[k] / expected[k]);
        let one = (failed[0] + failed[1]) / (expected[0] + expected[1]);
        let likelier = failed[0] * (rates[0] / one).ln() + failed[1] * (rates[1] / one).ln();
        if likelier > best.as_ref().map_or(LEAST_LIKELIER, |(before, _)| *before) {
            let factors = if rates[1] > rates[0] { MORE } else { MORE.map(|more| 1.0 / more) };
            best = Some((likelier, Suspected { at, factors }));
        }
    }
    best.map(|(_, suspected)| suspected)
}

#[cfg(test)]
mod tests {
    use std::fmt::Write as _;

    use super::super::{Measure, Shop};
    use super::*;
    use crate::history::{History, parse};

    /// Six pumps whose pairs fail after some 2400 m3, those fitted from January 2026 on after `later` m3; 300 m3 a week.
    fn shop(later: f64, told: &str) -> (Shop, History) {
        let mut text = "at,pump,cup,event,pump_m3,concrete_bar\n".to_owned();
        let begin: DateTime<Utc> = "2025-01-01T06:00:00Z".parse().unwrap();
        for pump in 0..6 {
            let mut total = 0.0;
            let mut at = begin + chrono::Duration::days(pump);
            for turn in 0.. {
                let spread = 0.8 + 0.1 * f64::from((turn * 3 + pump as i32 * 2) % 5);
                let life = spread * if at < begin + chrono::Duration::days(365) { 2400.0 } else { later };
                let ends = at + chrono::Duration::minutes((life / 300.0 * 7.0 * 1440.0) as i64);
                if ends > begin + chrono::Duration::days(700) {
                    break;
                }
                writeln!(text, "{},P{pump},,fitted,{total:.1},", at.to_rfc3339()).unwrap();
                total += life;
                writeln!(text, "{},P{pump},A,failed,{total:.1},{told}", ends.to_rfc3339()).unwrap();
                at = ends + chrono::Duration::hours(1);
            }
        }
        let history = parse(text.as_bytes()).unwrap();
        let mut shop = Shop::new();
        history.rows.iter().for_each(|row| shop.take_in(row));
        shop.learn_all();
        (shop, history)
    }

    #[test]
    fn cups_that_wear_out_sooner_since_a_day_are_a_turn_and_later_ones_too() {
        for (later, from, to) in [(1300.0, 1.3, 2.0), (4200.0, 0.5, 0.8)] {
            let (shop, _) = shop(later, "");
            let (at, factor) = shop.turn().unwrap();
            assert!((from..=to).contains(&factor), "{factor}");
            let day: DateTime<Utc> = "2026-01-01T06:00:00Z".parse().unwrap();
            assert!((at - day).num_days().abs() < 100, "{at}");
            assert!(shop.duty_weight() > 0.9, "{}", shop.duty_weight());
            let use_of = |from: f64, to: f64| shop.timeline("P0").unwrap().duty_at(to) - shop.timeline("P0").unwrap().duty_at(from);
            let end = shop.timeline("P0").unwrap().position_m3();
            assert!((use_of(0.0, 100.0) - 100.0).abs() < 1e-6 && (use_of(end - 100.0, end) - 100.0 * factor).abs() < 1e-6);
        }
    }

    #[test]
    fn steady_work_is_no_turn_and_told_pressures_leave_nothing_to_guess() {
        assert_eq!(shop(2400.0, "").0.turn(), None);
        let (told, _) = shop(1300.0, "60");
        assert_eq!(told.turn(), None);
        assert!(told.fleet(Measure::Duty).ended_of("P0").is_some());
    }

    #[test]
    fn a_pump_that_is_new_after_the_turn_has_it_from_its_begin() {
        let (mut shop, history) = shop(1300.0, "");
        let (_, factor) = shop.turn().unwrap();
        let mut row = history.rows.last().unwrap().clone();
        row.pump = "NEW".to_owned();
        shop.take_in(&row);
        assert!((shop.timeline("NEW").unwrap().duty_at(50.0) - 50.0 * factor).abs() < 1e-9);
    }
}
