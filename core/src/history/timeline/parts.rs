//! What is in, and how it went in and came out.

use chrono::{DateTime, Utc};

use super::life::{Age, LifeEnd};
use super::looks::Observation;
use super::{Event, Place, Row, StopKind, Timeline};
use crate::model::entry::RemovalReason;
use crate::model::{Cup, Part};

/// A part that is in.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedPart {
    /// Which.
    pub part: Part,
    /// Which side; None where it has none.
    pub cup: Option<Cup>,
    /// When it went in, or when the record first knew it.
    pub since: DateTime<Utc>,
    /// Its age then, m3: 0 when fitted new, None where nobody knows.
    pub age_then_m3: Option<f64>,
    /// Grades given to it, oldest first.
    pub grades: Vec<Observation<u8>>,
    pub(super) start: Place,
}

#[derive(Debug, Clone)]
pub(super) struct Ended {
    pub(super) part: FittedPart,
    pub(super) end: Place,
    pub(super) how: LifeEnd,
}

impl Timeline {
    pub(super) fn sides(part: Part, cup: Option<Cup>) -> Vec<Option<Cup>> {
        match (part, cup) {
            (Part::Cup, None) => vec![Some(Cup::A), Some(Cup::B)],
            _ => vec![cup],
        }
    }

    pub(super) fn fit_part(&mut self, row: &Row, here: Place) {
        for cup in Self::sides(row.part, row.cup) {
            let key = (row.part, cup);
            if row.part == Part::Cup
                && let Some(place) = self.unclear_failure.take()
            {
                // Nobody knew which cup had failed; the one that is changed first is taken to be it.
                self.end(key, place, LifeEnd::Failed);
            }
            if row.event == Event::InUse && self.fitted.contains_key(&key) {
                // The record knows it already.
                continue;
            }
            self.end(key, here, LifeEnd::Removed(None));
            let age_then_m3 = if row.event == Event::Fitted { Some(0.0) } else { row.age_m3 };
            let fitted = FittedPart { part: row.part, cup, since: row.at, age_then_m3, grades: Vec::new(), start: here };
            self.fitted.insert(key, fitted);
            if row.event == Event::Fitted {
                self.stops.part_fitted(row.part, cup);
                self.settle_lumps();
            }
        }
    }

    /// Lumps are settled once both cups are newer than the look that showed them.
    fn settle_lumps(&mut self) {
        let newer = |cup: Cup, at| self.fitted.get(&(Part::Cup, Some(cup))).is_some_and(|fitted| fitted.since >= at);
        if self.stops.lumps_since().is_some_and(|at| newer(Cup::A, at) && newer(Cup::B, at)) {
            self.stops.lift(StopKind::Lumps, None, Part::Cup);
        }
    }

    pub(super) fn end_part(&mut self, row: &Row, here: Place, how: LifeEnd) {
        if row.part == Part::Cup && row.cup.is_none() && how == LifeEnd::Failed {
            self.unclear_failure = Some(here);
            self.stops.raise(StopKind::CupOut, row, None, 1.0, 0.0);
            return;
        }
        for cup in Self::sides(row.part, row.cup) {
            let key = (row.part, cup);
            if !self.fitted.contains_key(&key) {
                // It was in since before the record began, at an unknown age.
                let start = Place::default();
                let known = self.ended.iter().any(|ended| (ended.part.part, ended.part.cup) == key);
                if !known {
                    let fitted = FittedPart { part: row.part, cup, since: row.at, age_then_m3: None, grades: Vec::new(), start };
                    self.fitted.insert(key, fitted);
                }
            }
            self.end(key, here, how);
            if row.part == Part::Cup {
                self.stops.raise(StopKind::CupOut, row, cup, 1.0, 0.0);
                // A cup that was done explains the lumps; the box is drained at the change.
                if matches!(how, LifeEnd::Failed | LifeEnd::Removed(Some(RemovalReason::Worn | RemovalReason::Damaged))) {
                    self.stops.lift(StopKind::Lumps, None, Part::Cup);
                }
                self.stops.lift(StopKind::CupSpent, cup, Part::Cup);
            }
        }
    }

    fn end(&mut self, key: (Part, Option<Cup>), end: Place, how: LifeEnd) {
        if let Some(part) = self.fitted.remove(&key) {
            self.ended.push(Ended { part, end, how });
        }
    }

    /// The cup that is in on this side; one that the record never names is in since before it begins, at an unknown age.
    pub fn cup(&self, cup: Cup) -> Option<FittedPart> {
        let key = (Part::Cup, Some(cup));
        if let Some(fitted) = self.fitted.get(&key) {
            return Some(fitted.clone());
        }
        let came_out = self.ended.iter().any(|ended| (ended.part.part, ended.part.cup) == key);
        (!came_out && self.rows > 0).then(|| FittedPart {
            part: Part::Cup,
            cup: Some(cup),
            since: DateTime::<Utc>::MIN_UTC,
            age_then_m3: None,
            grades: Vec::new(),
            start: Place::default(),
        })
    }

    /// m3 through a fitted part since it was fitted or found, at a place along the record.
    pub fn through_m3(&self, part: &FittedPart, position_m3: f64) -> Age {
        Age { low: (position_m3 - part.start.high).max(0.0), high: (position_m3 - part.start.low).max(0.0) }
    }

    /// The same in duty.
    pub fn through_duty(&self, part: &FittedPart, position_m3: f64) -> Age {
        let here = self.duty_at(position_m3);
        Age { low: (here - self.duty_at(part.start.high)).max(0.0), high: (here - self.duty_at(part.start.low)).max(0.0) }
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{ages, row, timeline};
    use super::*;

    #[test]
    fn event_for_the_whole_pump_concerns_both_cups() {
        let t = timeline(&[row(1, "", "fitted", "1000,"), row(5, "", "removed", "1500,,,,,,planned,")]);
        assert_eq!(ages(&t).len(), 2);
        assert!(t.lives(Part::Cup).iter().all(|life| life.end == LifeEnd::Removed(Some(RemovalReason::Planned))));
    }

    #[test]
    fn failure_of_an_unknown_cup_falls_to_the_one_that_is_changed() {
        let t = timeline(&[row(1, "", "fitted", "1000,"), row(5, "", "failed", "1500,"), row(6, "B", "fitted", "1500,")]);
        let lives = ages(&t);
        assert_eq!(lives[0], (Some(Cup::B), LifeEnd::Failed, 500.0, 500.0));
        assert_eq!((lives[1].0, lives[1].1), (Some(Cup::A), LifeEnd::Running));
        assert!(t.stops().is_empty());
    }

    #[test]
    fn lumps_stay_a_stop_while_one_of_two_sound_cups_is_from_before() {
        let mut rows = vec![
            row(1, "", "fitted", "1000,"),
            row(2, "", "checked", "1100,,,,3,"),
            row(3, "A", "removed", "1100,,,,,,planned,"),
            row(3, "A", "fitted", "1100,"),
        ];
        assert_eq!(timeline(&rows).stops().len(), 1);
        rows.push(row(4, "B", "removed", "1100,,,,,,planned,"));
        rows.push(row(4, "B", "fitted", "1100,"));
        assert_eq!(timeline(&rows).stops().len(), 0);
    }
}
