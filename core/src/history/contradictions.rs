//! Rows that contradict each other: a cup that fails after it came out, comes out without having been in, or goes in right over one that
//! just went in; running totals in another unit than the pours; and rows dated later than now.
//!
//! A table is refused for them, since nobody can know which of two rows is wrong; a book's own record is not, for its mechanic stands at the
//! pump and cannot mend it there. What a timeline makes of such rows stands in [`super::timeline`].

use std::collections::BTreeMap;

use chrono::{DateTime, Duration, Utc};

use super::parse::BadRow;
use super::repair::{NewRow, Repair};
use super::row::{Event, Row};
use crate::model::{Cup, Part};
use crate::units::M3_PER_YD3;

/// Two cups that go into one place within this time, and nothing was pumped between, are one too many.
const AT_ONCE: Duration = Duration::days(1);

/// Rows dated later than now, up to so many of one pump, are mistyped years or months. A record of which more lies ahead is not: it was
/// made with a clock that is wrong, or invented.
const MISTYPED: usize = 2;

/// A clock may be wrong by this much.
const CLOCK_SLACK: Duration = Duration::days(1);

/// How near the gain of a running total must come to yards for metres, or metres for yards, of what was poured, and how often, to be that.
const SAME_UNIT: f64 = 0.015;
const OFTEN: usize = 5;

/// What is known of one place for a cup.
#[derive(Clone, Copy)]
enum Slot {
    /// `fresh`: since when, where it was fitted and nothing was pumped since.
    In {
        fresh: Option<DateTime<Utc>>,
        line: u64,
    },
    Out {
        failed: bool,
        line: u64,
    },
    /// Either: one of the pump's cups failed and nobody knows which.
    Unclear,
}

/// One pump's cups, as its rows have them.
#[derive(Default)]
struct Pump {
    slots: [Option<Slot>; 2],
    /// The highest running total so far.
    total: f64,
}

fn places(cup: Option<Cup>) -> &'static [usize] {
    match cup {
        Some(Cup::A) => &[0],
        Some(Cup::B) => &[1],
        None => &[0, 1],
    }
}

fn name(cup: Option<Cup>) -> String {
    cup.map_or("a cup".to_owned(), |cup| format!("cup {cup:?}"))
}

/// Rows on cups that contradict an earlier row of the same pump, and rows of parts that come out without having been in. `rows` sorted.
pub(super) fn contradictions(rows: &[Row]) -> Vec<BadRow> {
    let mut pumps = BTreeMap::<&str, Pump>::new();
    let mut begins = BTreeMap::<&str, DateTime<Utc>>::new();
    let mut bad = Vec::new();
    for row in rows {
        let begin = *begins.entry(&row.pump).or_insert(row.at);
        if row.part != Part::Cup {
            continue;
        }
        let pump = pumps.entry(&row.pump).or_default();
        pump.pumped(row);
        match row.event {
            Event::Removed => bad.extend(pump.remove(row, begin)),
            Event::Failed => bad.extend(pump.fail(row)),
            Event::Fitted => bad.extend(pump.fit(row)),
            Event::InUse => {
                places(row.cup).iter().for_each(|&at| pump.slots[at] = Some(Slot::In { fresh: None, line: row.line }));
            }
            Event::Measured | Event::Graded | Event::Checked | Event::Poured | Event::Counter => {}
        }
    }
    bad
}

impl Pump {
    /// Takes in whether the row tells that the pump has pumped. A cubic metre is let pass: totals are rounded.
    fn pumped(&mut self, row: &Row) {
        let poured = row.event == Event::Poured && row.pour_m3.is_none_or(|poured| poured > 0.0);
        if poured || row.pump_m3.is_some_and(|total| total > self.total + 1.0) {
            for slot in self.slots.iter_mut().flatten() {
                if let Slot::In { fresh, .. } = slot {
                    *fresh = None;
                }
            }
        }
        self.total = row.pump_m3.map_or(self.total, |total| total.max(self.total));
    }

    fn remove(&mut self, row: &Row, begin: DateTime<Utc>) -> Option<BadRow> {
        let all = |is: &dyn Fn(Option<Slot>) -> bool| places(row.cup).iter().all(|&at| is(self.slots[at]));
        let bad = if all(&|slot| slot.is_none()) {
            let reason = format!("{} is removed, but no row tells that it was fitted or in use", name(row.cup));
            // At the same moment a removal comes first.
            let before = begin - Duration::seconds(1);
            Some(BadRow::offering(row.line, reason, Some(Repair::AddRow { add_row: NewRow::of(row, before, Event::InUse) })))
        } else if all(&|slot| matches!(slot, Some(Slot::Out { failed: false, .. }))) {
            let line = self.line_of(row.cup);
            Some(BadRow::offering(
                row.line,
                format!("{} is removed again: it came out at line {line} and none was fitted since", name(row.cup)),
                None,
            ))
        } else {
            None
        };
        self.take_out(row, false);
        bad
    }

    fn fail(&mut self, row: &Row) -> Option<BadRow> {
        if row.cup.is_none() {
            let gone = self.slots.iter().all(|slot| matches!(slot, Some(Slot::Out { .. })));
            let line = self.line_of(row.cup);
            for slot in &mut self.slots {
                *slot = Some(Slot::Unclear);
            }
            return gone.then(|| {
                BadRow::offering(row.line, format!("a cup fails, but both came out before (line {line}) and none was fitted since"), None)
            });
        }
        let bad = match self.slots[places(row.cup)[0]] {
            Some(Slot::Out { failed, line }) => {
                let how = if failed { "it failed before" } else { "it was removed before" };
                Some(BadRow::offering(
                    row.line,
                    format!("{} fails after {how}, at line {line}, and none was fitted since", name(row.cup)),
                    None,
                ))
            }
            _ => None,
        };
        self.take_out(row, true);
        bad
    }

    /// A cup that goes in after others were pumped with is a change, even where nobody wrote down what came out.
    fn fit(&mut self, row: &Row) -> Option<BadRow> {
        let over = places(row.cup).iter().filter_map(|&at| match self.slots[at] {
            Some(Slot::In { fresh: Some(since), line }) if row.at - since < AT_ONCE => Some((at, line)),
            _ => None,
        });
        let bad = over.min_by_key(|(_, line)| *line).map(|(at, line)| {
            let which = name(row.cup.or(Some(if at == 0 { Cup::A } else { Cup::B })));
            BadRow::offering(
                row.line,
                format!("{which} is fitted twice at once: the one of line {line} is in, and nothing was pumped since"),
                None,
            )
        });
        places(row.cup).iter().for_each(|&at| self.slots[at] = Some(Slot::In { fresh: Some(row.at), line: row.line }));
        bad
    }

    fn take_out(&mut self, row: &Row, failed: bool) {
        for &at in places(row.cup) {
            // A cup that failed is also taken out: the failure is what ended it.
            if !matches!(self.slots[at], Some(Slot::Out { failed: true, .. })) {
                self.slots[at] = Some(Slot::Out { failed, line: row.line });
            }
        }
    }

    /// The line that last told of these places.
    fn line_of(&self, cup: Option<Cup>) -> u64 {
        let of = |slot: &Slot| match slot {
            Slot::In { line, .. } | Slot::Out { line, .. } => *line,
            Slot::Unclear => 0,
        };
        places(cup).iter().filter_map(|&at| self.slots[at].as_ref().map(of)).max().unwrap_or(0)
    }
}

/// The first running total of each pump that gains cubic yards where cubic metres were poured, or the other way round, time and again.
pub(super) fn other_units(rows: &[Row]) -> Vec<BadRow> {
    struct Told {
        total: f64,
        poured: f64,
        /// Gains looked at; those in yards for metres and in metres for yards, with the line of the first.
        gains: usize,
        other: [(usize, u64); 2],
    }
    let mut pumps = BTreeMap::<&str, Told>::new();
    for row in rows {
        let poured = if row.event == Event::Poured { row.pour_m3.unwrap_or(0.0) } else { 0.0 };
        let Some(told) = pumps.get_mut(row.pump.as_str()) else {
            if let Some(total) = row.pump_m3 {
                pumps.insert(&row.pump, Told { total, poured: 0.0, gains: 0, other: [(0, 0); 2] });
            }
            continue;
        };
        told.poured += poured;
        let Some(total) = row.pump_m3 else { continue };
        // Less than a few cubic metres cannot be told apart from rounding.
        if told.poured > 5.0 {
            told.gains += 1;
            let gain = (total - told.total) / told.poured;
            for ((count, line), unit) in told.other.iter_mut().zip([1.0 / M3_PER_YD3, M3_PER_YD3]) {
                if (gain / unit - 1.0).abs() < SAME_UNIT {
                    *line = if *count == 0 { row.line } else { *line };
                    *count += 1;
                }
            }
        }
        (told.total, told.poured) = (total, 0.0);
    }
    let bad = |(pump, told): (&str, Told)| {
        let at = (0..2).find(|&k| told.other[k].0 >= OFTEN && 5 * told.other[k].0 >= 4 * told.gains)?;
        let (total, pour, times) = [("yd3", "m3", 1.308), ("m3", "yd3", 0.765)][at];
        let reason = format!(
            "the running totals of {pump} gain {times} times what is poured: they are {total} where the pours are {pour}; give both in m3"
        );
        Some(BadRow::offering(told.other[at].1, reason, None))
    };
    pumps.into_iter().filter_map(bad).collect()
}

/// Rows dated later than `now`: bad where a pump has one or two of them behind a record of the past.
pub(super) fn later_than(rows: &[Row], now: DateTime<Utc>) -> Vec<BadRow> {
    let mut ahead = BTreeMap::<&str, (usize, Vec<&Row>)>::new();
    for row in rows {
        let (past, later) = ahead.entry(&row.pump).or_default();
        if row.at > now + CLOCK_SLACK { later.push(row) } else { *past += 1 }
    }
    let mistyped = ahead.into_values().filter(|(past, later)| later.len() <= MISTYPED && *past > 0);
    let told = |row: &Row| {
        let reason = format!("{} lies ahead of today, {}", row.at.format("%Y-%m-%d"), now.format("%Y-%m-%d"));
        BadRow::offering(row.line, reason, None)
    };
    mistyped.flat_map(|(_, later)| later.into_iter().map(told)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::{parse, parse_at, repaired};

    const HEAD: &str = "at,pump,cup,event,pump_m3,pour_m3\n";

    /// A history of one pump: day of May 2026 with hours, cup, event and what follows.
    fn table(rows: &[(&str, &str, &str, &str)]) -> String {
        let rows = rows.iter().map(|(day, cup, event, rest)| format!("2026-05-{day}:00Z,P,{cup},{event},{rest}\n"));
        format!("{HEAD}{}", rows.collect::<String>())
    }

    fn reasons(text: &str) -> Vec<(u64, String)> {
        match parse(text.as_bytes()) {
            Ok(_) => Vec::new(),
            Err(refusal) => refusal.rows.into_iter().map(|row| (row.line, row.reason)).collect(),
        }
    }

    const NEW: [(&str, &str, &str, &str); 2] = [("01T06:00", "A", "fitted", "100,"), ("01T06:00", "B", "fitted", "100,")];

    fn after_new(rows: &[(&str, &str, &str, &str)]) -> String {
        table(&[&NEW, rows].concat())
    }

    #[test]
    fn what_happens_at_a_change_is_no_contradiction() {
        for rows in [
            // A fails, B comes out with it, new ones go in.
            &[("05T06:00", "A", "failed", "500,"), ("05T07:00", "B", "removed", "500,"), ("05T08:00", "", "fitted", "500,")][..],
            // The failed one is written down as taken out too.
            &[("05T06:00", "A", "failed", "500,"), ("05T07:00", "A", "removed", "500,"), ("05T08:00", "A", "fitted", "500,")],
            // All at one moment, in whatever order of lines.
            &[("05T06:00", "", "fitted", "500,"), ("05T06:00", "B", "removed", "500,"), ("05T06:00", "A", "failed", "500,")],
            // The other cup's removal was not written down.
            &[("05T06:00", "A", "failed", "500,"), ("05T08:00", "A", "fitted", "500,"), ("05T08:00", "B", "fitted", "500,")],
            // The pour in which it failed is written down afterwards.
            &[("05T06:00", "A", "failed", "480,"), ("05T09:00", "", "poured", "500,40"), ("05T12:00", "", "fitted", "500,")],
            // It waited for parts.
            &[("05T06:00", "A", "failed", "500,"), ("11T08:00", "", "fitted", "500,")],
            // Nobody knows which one failed.
            &[("05T06:00", "", "failed", "500,"), ("05T08:00", "B", "fitted", "500,"), ("09T08:00", "A", "failed", "700,")],
            &[("05T06:00", "", "removed", "500,"), ("05T08:00", "", "fitted", "500,")],
        ] {
            assert_eq!(reasons(&after_new(rows)), []);
        }
        assert_eq!(reasons(&table(&[("01T06:00", "A", "in_use", "100,"), ("05T06:00", "A", "removed", "500,")])), []);
        // A record may begin with a failure: that cup was in, at an age that nobody knows.
        assert_eq!(reasons(&table(&[("01T06:00", "A", "failed", "100,")])), []);
    }

    #[test]
    fn cups_that_fail_or_come_out_after_they_are_out_are_named_with_the_line_before() {
        let out = ("05T06:00", "A", "removed", "500,");
        let of = |row| reasons(&after_new(&[out, row]));
        assert_eq!(
            of(("06T06:00", "A", "failed", "600,")),
            [(5, "cup A fails after it was removed before, at line 4, and none was fitted since".to_owned())]
        );
        assert_eq!(of(("05T06:00", "A", "failed", "500,"))[0].0, 5);
        assert_eq!(
            of(("06T06:00", "A", "removed", "600,")),
            [(5, "cup A is removed again: it came out at line 4 and none was fitted since".to_owned())]
        );
        assert_eq!(of(("06T06:00", "B", "failed", "600,")), []);
        let failed = ("05T06:00", "A", "failed", "500,");
        assert_eq!(reasons(&after_new(&[failed, ("06T06:00", "A", "failed", "600,")]))[0].0, 5);
        let both = ("05T06:00", "", "removed", "500,");
        assert_eq!(reasons(&after_new(&[both, ("06T06:00", "", "failed", "600,")]))[0].0, 5);
    }

    #[test]
    fn two_cups_fitted_at_once_are_named_and_a_change_of_which_half_was_written_down_is_not() {
        let reason = |line| format!("cup A is fitted twice at once: the one of line {line} is in, and nothing was pumped since");
        assert_eq!(reasons(&after_new(&[("01T06:00", "A", "fitted", "100,")])), [(4, reason(2))]);
        assert_eq!(reasons(&after_new(&[("01T09:00", "", "fitted", "100,")])), [(4, reason(2))]);
        let twice = [("05T06:00", "A", "failed", "500,"), ("05T08:00", "A", "fitted", "500,"), ("05T08:00", "A", "fitted", "500,")];
        assert_eq!(reasons(&after_new(&twice)), [(6, reason(5))]);
        // 400 m3 went through the one before, or a pour; or it came out again.
        for rows in [
            &[("05T06:00", "A", "fitted", "500,")][..],
            &[("01T10:00", "", "poured", ",40"), ("01T20:00", "", "fitted", ",")],
            &[("01T10:00", "A", "removed", "100,"), ("01T11:00", "A", "fitted", "100,")],
        ] {
            assert_eq!(reasons(&after_new(rows)), []);
        }
    }

    #[test]
    fn cup_that_comes_out_without_having_been_in_is_named_and_its_begin_offered() {
        let text = table(&[("01T06:00", "", "counter", "100,"), ("05T06:00", "A", "removed", "500,")]);
        assert_eq!(reasons(&text), [(3, "cup A is removed, but no row tells that it was fitted or in use".to_owned())]);
        let rows = parse(repaired(text.as_bytes()).unwrap().0.as_bytes()).unwrap().rows;
        assert_eq!((rows[0].event, rows[0].cup, rows.len()), (Event::InUse, Some(Cup::A), 3));
        // As the record's first row, and where the table has no column for the cup.
        assert!(repaired(table(&[("05T06:00", "A", "removed", "500,")]).as_bytes()).is_ok());
        assert!(repaired(b"at,pump,event\n2026-05-01T06:00:00Z,P,removed\n").is_ok());
    }

    #[test]
    fn totals_in_yards_beside_pours_in_metres_are_named() {
        let rows = |per_m3: f64| {
            let mut total = 100.0;
            let pour = |day: usize| {
                let poured = 40.0 + 7.0 * (day % 4) as f64;
                total += poured * per_m3;
                format!("2026-05-{day:02}T09:00:00Z,P,,poured,{total:.1},{poured}\n")
            };
            format!("{}{}", table(&NEW), (2..9).map(pour).collect::<String>())
        };
        let found = reasons(&rows(1.0 / M3_PER_YD3));
        assert!(found.len() == 1 && found[0].0 == 4 && found[0].1.contains("they are yd3"), "{found:?}");
        assert!(reasons(&rows(M3_PER_YD3))[0].1.contains("the pours are yd3"));
        for honest in [1.0, 1.03, 1.2] {
            assert_eq!(reasons(&rows(honest)), []);
        }
    }

    #[test]
    fn row_dated_ahead_of_a_record_of_the_past_is_named_and_an_invented_future_is_not() {
        let now = |day: &str| format!("{day}T12:00:00Z").parse().unwrap();
        let text = after_new(&[("05T06:00", "", "poured", "150,50"), ("06T06:00", "", "poured", "200,50")]);
        assert!(parse_at(text.as_bytes(), now("2026-05-06")).is_ok());
        let text = format!("{text}2062-05-07T06:00:00Z,P,,poured,250,50\n");
        let refusal = parse_at(text.as_bytes(), now("2026-05-07")).unwrap_err();
        assert_eq!(refusal.rows.iter().map(|row| row.line).collect::<Vec<_>>(), [6]);
        assert!(refusal.rows[0].reason.contains("2062-05-07 lies ahead of today, 2026-05-07"));
        assert!(parse_at(text.as_bytes(), now("2026-04-01")).is_ok());
    }
}
