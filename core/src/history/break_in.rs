//! The looks that follow new cups: after the first pour, and at two volumes after it.
//!
//! A badly fitted cup or band leaks from the start and gives up early; a look tells it from a sound one while a visit is still cheap.
//! When to look is an assumption (common practice is only to look soon, no published source): the last look stands where most badly
//! fitted cups have shown themselves in the model of `life::joint` (one in twelve of a life, 300 m3 of 4000).

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::timeline::Timeline;
use crate::model::Cup;
use crate::wear::grade::Words;

/// m3 through new cups after which a look is due: after the first pour, then at these.
pub const BREAK_IN_M3: [f64; 3] = [1.0, 100.0, 300.0];

/// A look this share early counts.
const EARLY: f64 = 0.8;

/// m3 after which nobody asks for these looks any more.
const OVER_M3: f64 = 600.0;

/// A look that follows new cups.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct BreakInLook {
    /// m3 through the newer cup after which it is due; the first stands for the first pour.
    pub at_m3: f64,
    /// The box was looked at.
    pub done: bool,
    /// It is due now.
    pub due: bool,
}

/// Where the newer of a pump's cups stands in its first hundreds of cubic metres.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct BreakIn {
    /// When it was fitted.
    pub since: DateTime<Utc>,
    /// m3 through it.
    pub through_m3: f64,
    /// The looks, in order.
    pub looks: Vec<BreakInLook>,
}

impl BreakInLook {
    /// It stands for the first pour, whatever its volume.
    pub fn first_pour(&self) -> bool {
        self.at_m3 <= BREAK_IN_M3[0]
    }

    /// What to look for: common practice; that mud soon after new cups speaks for the bore is from the page named in
    /// `diagnosis::table`.
    pub fn look_for(&self) -> Words {
        if self.first_pour() {
            Words {
                en: "Only paste may have come. Sand or mud now: a cup or its band went in badly, or the bore is worn.",
                es: "Sólo puede haber pasado lechada. Arena o lodo ahora: una copa o su banda quedó mal montada, o el cilindro está gastado.",
            }
        } else if self.at_m3 < BREAK_IN_M3[2] {
            Words {
                en: "Still paste only, the water grey. Muddy again: measure the bore before more new cups.",
                es: "Todavía sólo lechada, el agua gris. Lodosa otra vez: mida el cilindro antes de más copas nuevas.",
            }
        } else {
            Words {
                en: "As clean as at the looks before. From here on the usual checks.",
                es: "Tan limpia como en las revisiones anteriores. De aquí en adelante, las de siempre.",
            }
        }
    }
}

impl BreakIn {
    /// The first look that is due now.
    pub fn due(&self) -> Option<&BreakInLook> {
        self.looks.iter().find(|look| look.due)
    }

    /// The first look that comes due within `more_m3` from now; none while one is due already.
    pub fn due_within(&self, more_m3: f64) -> Option<&BreakInLook> {
        let comes = |look: &&BreakInLook| !look.done && look.at_m3 <= self.through_m3 + more_m3;
        if self.due().is_some() { None } else { self.looks.iter().find(comes) }
    }
}

impl Timeline {
    /// The looks that follow new cups, at a place along the record; None where no cup was fitted new, all are done, or it is long since.
    pub fn break_in(&self, here_m3: f64) -> Option<BreakIn> {
        let newer = [Cup::A, Cup::B].into_iter().filter_map(|cup| self.cup(cup)).max_by_key(|cup| cup.since)?;
        let through = |position: f64| self.through_m3(&newer, position).middle();
        let through_m3 = through(here_m3);
        if newer.age_then_m3 != Some(0.0) || through_m3 > OVER_M3 {
            return None;
        }
        let seen_at = self
            .box_seen()
            .iter()
            .filter(|seen| seen.at >= newer.since)
            .map(|seen| through(seen.position_m3))
            .fold(f64::NEG_INFINITY, f64::max);
        let looks = BREAK_IN_M3.map(|at_m3| {
            let done = seen_at >= EARLY * at_m3;
            BreakInLook { at_m3, done, due: !done && through_m3 >= at_m3 }
        });
        let open = looks.iter().any(|look| !look.done);
        open.then(|| BreakIn { since: newer.since, through_m3, looks: looks.to_vec() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::parse;

    /// New cups at 1000 m3, then these rows; the state at the end.
    fn after(rows: &str) -> Option<BreakIn> {
        let head = "at,pump,cup,event,pump_m3,level\n2026-01-01T06:00:00Z,P,A,fitted,1000,\n2026-01-01T06:00:00Z,P,B,fitted,1000,\n";
        let history = parse(format!("{head}{rows}").as_bytes()).unwrap();
        let timeline = history.timelines().remove(0);
        timeline.break_in(timeline.position_m3())
    }

    fn told(found: &BreakIn) -> Vec<(bool, bool)> {
        found.looks.iter().map(|look| (look.done, look.due)).collect()
    }

    #[test]
    fn before_the_first_pour_nothing_is_due_and_the_first_look_comes_with_it() {
        let found = after("").unwrap();
        assert_eq!(told(&found), [(false, false); 3]);
        assert_eq!(found.due_within(60.0).map(|look| look.at_m3), Some(1.0));
        assert_eq!(found.due_within(0.5), None);
    }

    #[test]
    fn after_the_first_pour_a_look_is_due_until_it_is_taken() {
        let poured = "2026-01-02T06:00:00Z,P,,counter,1060,\n";
        let found = after(poured).unwrap();
        assert_eq!(told(&found), [(false, true), (false, false), (false, false)]);
        assert_eq!(found.due_within(60.0), None);
        let found = after(&format!("{poured}2026-01-02T08:00:00Z,P,,checked,1060,0\n")).unwrap();
        assert_eq!(told(&found), [(true, false), (false, false), (false, false)]);
        assert_eq!(found.due_within(60.0).map(|look| look.at_m3), Some(100.0));
    }

    #[test]
    fn a_look_a_little_early_counts_and_the_last_one_ends_it() {
        let found = after("2026-01-02T06:00:00Z,P,,checked,1085,0\n2026-01-03T06:00:00Z,P,,counter,1320,\n").unwrap();
        assert_eq!(told(&found), [(true, false), (true, false), (false, true)]);
        assert_eq!(after("2026-01-02T06:00:00Z,P,,checked,1300,0\n"), None);
    }

    #[test]
    fn old_cups_and_long_poured_ones_ask_for_no_such_look() {
        assert_eq!(after("2026-01-02T06:00:00Z,P,,counter,1700,\n"), None);
        let history = parse(b"at,pump,cup,event,pump_m3\n2026-01-01T06:00:00Z,P,A,in_use,1000\n").unwrap();
        assert_eq!(history.timelines().remove(0).break_in(0.0), None);
    }

    #[test]
    fn each_look_says_what_to_look_for_and_no_two_say_the_same() {
        let found = after("").unwrap();
        assert_eq!(found.looks.iter().map(BreakInLook::first_pour).collect::<Vec<_>>(), [true, false, false]);
        let words: std::collections::HashSet<_> = found.looks.iter().map(|look| look.look_for().es).collect();
        assert_eq!(words.len(), 3);
    }

    #[test]
    fn one_new_cup_is_watched_for_itself() {
        let rows =
            "2026-01-05T06:00:00Z,P,,checked,1400,1\n2026-01-05T07:00:00Z,P,B,removed,1400,\n2026-01-05T08:00:00Z,P,B,fitted,1400,\n";
        let found = after(&format!("{rows}2026-01-06T06:00:00Z,P,,counter,1450,\n")).unwrap();
        assert_eq!(told(&found), [(false, true), (false, false), (false, false)]);
        assert!((found.through_m3 - 50.0).abs() < 1e-9);
    }
}
