//! Rows of one pump taken in, one after the other: running total, duty, fitted parts, lives, signs and stops.
//!
//! Volume is kept as a position: m3 through the pump since its record begins. It is known in two ways, by the running total
//! and by the pours; the total wins. Where it shows more than the pours told, the rest went through at some moment since
//! the reading before, so the ages of what was fitted or failed in between are known only within it.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use super::duty::DutyLine;
use super::row::{Event, Row};
use super::stops::{Stop, StopKind, Stops};
use crate::life::{Ending, LifeSample};
use crate::model::entry::{Liquid, RemovalReason};
use crate::model::{Cup, Part};

/// Excess of the running total over the pours that is put down to rounding, m3.
const ROUNDING_M3: f64 = 0.5;

/// A use of a part, in m3 or in duty, known within two ends.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Age {
    /// At least this.
    pub low: f64,
    /// At most this.
    pub high: f64,
}

impl Age {
    /// The middle of what is possible.
    pub fn middle(self) -> f64 {
        f64::midpoint(self.low, self.high)
    }

    /// Whether both ends agree to a rounding.
    pub fn is_exact(self) -> bool {
        self.high - self.low <= ROUNDING_M3
    }
}

/// A place along a pump's record that may be known within two ends only.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Place {
    low: f64,
    high: f64,
    /// No reading of the total was taken at it: the next reading may move its ends.
    open: bool,
}

/// What was seen at a part or in the box, at a place along the record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observation<T> {
    /// When.
    pub at: DateTime<Utc>,
    /// m3 through the pump since its record begins.
    pub position_m3: f64,
    /// What.
    pub what: T,
}

/// What a look into the box showed.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Seen {
    /// 0 paste only to 3 lumps.
    pub level: Option<u8>,
    /// The liquid.
    pub liquid: Option<Liquid>,
    /// Whether it was low.
    pub liquid_low: Option<bool>,
    /// Settled solids, mL.
    pub settled_ml: Option<f64>,
    /// m3 pumped since the box was last drained; None where that is not known.
    pub since_drain_m3: Option<f64>,
}

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
    start: Place,
}

/// How a life ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LifeEnd {
    /// It gave up mid-pour.
    Failed,
    /// It came out before failing; the reason where one was given.
    Removed(Option<RemovalReason>),
    /// It is still in.
    Running,
}

/// One life of a part, ended or running.
#[derive(Debug, Clone, PartialEq)]
pub struct Life {
    /// Which part.
    pub part: Part,
    /// Which side.
    pub cup: Option<Cup>,
    /// How it ended.
    pub end: LifeEnd,
    /// Its age when watching began, m3; None where nobody knows.
    pub age_then_m3: Option<f64>,
    /// m3 through it while it was watched.
    pub through_m3: Age,
    /// The same in duty.
    pub through_duty: Age,
    /// Places along the record between which it was watched, m3 (middle of what is possible).
    pub span_m3: [f64; 2],
    /// Duty per m3 around its end: turns a density over duty into one over m3.
    pub duty_rate: f64,
    /// Grades, as the use (middle of what is possible, in m3 and in duty) at which each was given.
    pub grades: Vec<([f64; 2], u8)>,
}

impl Life {
    /// The life as a sample for a fit, ages in m3; None where it says nothing (no use at all).
    ///
    /// A part of unknown age that failed is known only to have lasted longer than it was watched.
    pub fn sample_m3(&self) -> Option<LifeSample> {
        self.sample(self.through_m3, self.age_then_m3)
    }

    fn sample(&self, through: Age, age_then: Option<f64>) -> Option<LifeSample> {
        let from = age_then.unwrap_or(0.0);
        let (low, high) = (from + through.low, from + through.high);
        let ending = match (self.end, age_then) {
            (LifeEnd::Failed, Some(_)) if high <= 0.0 => Ending::FailedBetween(0.0, 1.0),
            (LifeEnd::Failed, Some(_)) if through.is_exact() => Ending::Failed(f64::midpoint(low, high)),
            (LifeEnd::Failed, Some(_)) => Ending::FailedBetween(low, high),
            _ => Ending::SoundAt(low),
        };
        let says_something = !matches!(ending, Ending::SoundAt(age) if age <= from);
        says_something.then_some(LifeSample { watched_from: from, ending })
    }
}

/// Everything known of one pump after the rows taken in so far.
#[derive(Debug, Clone)]
pub struct Timeline {
    pump: String,
    position: f64,
    /// Last reading of the running total and the position at it.
    reading: Option<(f64, f64)>,
    /// Index of the first ended life whose end lies after the last reading, and so may move.
    open_from: usize,
    duty: DutyLine,
    fitted: BTreeMap<(Part, Option<Cup>), FittedPart>,
    ended: Vec<Ended>,
    box_seen: Vec<Observation<Seen>>,
    drained_at: Option<f64>,
    stops: Stops,
    /// A cup failed and nobody knows which: where.
    unclear_failure: Option<Place>,
    rows: usize,
}

#[derive(Debug, Clone)]
struct Ended {
    part: FittedPart,
    end: Place,
    how: LifeEnd,
}

impl Timeline {
    /// An empty record of `pump`.
    pub fn new(pump: &str) -> Self {
        Self {
            pump: pump.to_owned(),
            position: 0.0,
            reading: None,
            open_from: 0,
            duty: DutyLine::default(),
            fitted: BTreeMap::new(),
            ended: Vec::new(),
            box_seen: Vec::new(),
            drained_at: None,
            stops: Stops::default(),
            unclear_failure: None,
            rows: 0,
        }
    }

    /// The pump's name.
    pub fn pump(&self) -> &str {
        &self.pump
    }

    /// How many rows were taken in; grows with each, so it tells whether anything changed.
    pub fn rows(&self) -> usize {
        self.rows
    }

    /// m3 through the pump since its record begins, as far as it is recorded.
    pub fn position_m3(&self) -> f64 {
        self.position
    }

    /// The running total now, m3: the last reading and the pours since; None where none was ever read.
    pub fn total_m3(&self) -> Option<f64> {
        self.reading.map(|(total, at)| total + self.position - at)
    }

    /// Takes in the next row; rows must come in their sorted order.
    pub fn take_in(&mut self, row: &Row) {
        self.rows += 1;
        self.advance(row);
        let here = Place { low: self.position, high: self.position, open: row.pump_m3.is_none() };
        match row.event {
            Event::Fitted | Event::InUse => self.fit_part(row, here),
            Event::Removed if row.reason == Some(RemovalReason::Failed) => self.end_part(row, here, LifeEnd::Failed),
            Event::Removed => self.end_part(row, here, LifeEnd::Removed(row.reason)),
            Event::Failed => self.end_part(row, here, LifeEnd::Failed),
            Event::Measured => self.stops.measure(row),
            Event::Graded | Event::Checked | Event::Poured | Event::Counter => {}
        }
        if let Some(grade) = row.grade {
            self.grade(row, grade);
        }
        if row.event == Event::Checked || row.level.is_some() || row.liquid.is_some() || row.liquid_low.is_some() {
            self.look(row);
        }
        if matches!(row.event, Event::Checked | Event::Fitted) {
            self.drained_at = Some(self.position);
        }
    }

    /// Moves the position to where the row stands and extends the duty line.
    fn advance(&mut self, row: &Row) {
        let pour = if row.event == Event::Poured { row.pour_m3.unwrap_or(0.0) } else { 0.0 };
        let told_by_pours = self.position + pour;
        let Some(total) = row.pump_m3 else {
            self.extend(told_by_pours, pour, row);
            return;
        };
        let (now, excess) = match self.reading {
            Some((before, at)) => {
                let now = at + (total - before).max(0.0);
                (now, now - told_by_pours)
            }
            // Before the first reading anything up to the total may have gone through unrecorded.
            None => (told_by_pours, total - told_by_pours),
        };
        let most = if excess > ROUNDING_M3 { excess } else { 0.0 };
        // What happened since the reading before, without a reading of its own, happened somewhere within the excess.
        let first = self.reading.is_none();
        let shift = |place: &mut Place| {
            if place.open {
                if first {
                    place.low -= most;
                } else {
                    place.high += most;
                }
                *place = Place { low: place.low.min(now), high: place.high.min(now), open: false };
            }
        };
        for part in self.fitted.values_mut() {
            shift(&mut part.start);
        }
        for ended in &mut self.ended[self.open_from..] {
            shift(&mut ended.part.start);
            shift(&mut ended.end);
        }
        self.open_from = self.ended.len();
        if let Some(place) = &mut self.unclear_failure {
            shift(place);
        }
        self.extend(now, if pour > 0.0 { pour } else { f64::INFINITY }, row);
        self.reading = Some((total, self.position));
    }

    fn extend(&mut self, to: f64, told_m3: f64, row: &Row) {
        self.duty.extend(self.position, to, told_m3, row);
        self.position = to;
    }

    /// Duty per m3 at this pressure and mix; what is not told is taken as the pump's mean so far, else as ordinary.
    pub fn duty_rate(&self, bar: Option<f64>, mix: Option<f64>) -> f64 {
        self.duty.rate(bar, mix)
    }

    /// Whether any row told a pressure or a mix.
    pub fn tells_duty(&self) -> bool {
        self.duty.tells()
    }

    /// Duty at a place along the record, m3.
    pub fn duty_at(&self, position_m3: f64) -> f64 {
        self.duty.at(position_m3)
    }

    /// Loaded exposure of a cup between two places for a pump of this bore, MPa km; None where no pressure was told between.
    pub fn exposure_mpa_km(&self, from_m3: f64, to_m3: f64, bore_mm: f64) -> Option<f64> {
        self.duty.exposure_mpa_km(from_m3, to_m3, bore_mm)
    }

    fn sides(part: Part, cup: Option<Cup>) -> Vec<Option<Cup>> {
        match (part, cup) {
            (Part::Cup, None) => vec![Some(Cup::A), Some(Cup::B)],
            _ => vec![cup],
        }
    }

    fn fit_part(&mut self, row: &Row, here: Place) {
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

    fn end_part(&mut self, row: &Row, here: Place, how: LifeEnd) {
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

    fn grade(&mut self, row: &Row, grade: u8) {
        let position_m3 = self.position;
        for cup in Self::sides(row.part, row.cup) {
            if let Some(fitted) = self.fitted.get_mut(&(row.part, cup))
                && row.cup.is_some()
            {
                fitted.grades.push(Observation { at: row.at, position_m3, what: grade });
            }
            self.stops.grade(row, cup, grade);
        }
    }

    fn look(&mut self, row: &Row) {
        let seen = Seen {
            level: row.level,
            liquid: row.liquid,
            liquid_low: row.liquid_low,
            settled_ml: row.settled_ml,
            since_drain_m3: self.drained_at.map(|at| self.position - at),
        };
        self.box_seen.push(Observation { at: row.at, position_m3: self.position, what: seen });
        self.stops.look(row);
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

    /// How many lives of cups have ended.
    pub fn ended_cups(&self) -> usize {
        self.ended.iter().filter(|ended| ended.part.part == Part::Cup).count()
    }

    /// How many lives of cups ended in failure.
    pub fn failed_cups(&self) -> usize {
        self.ended.iter().filter(|ended| ended.part.part == Part::Cup && ended.how == LifeEnd::Failed).count()
    }

    /// Looks into the box, oldest first.
    pub fn box_seen(&self) -> &[Observation<Seen>] {
        &self.box_seen
    }

    /// Hard stops in force, gravest first. A cup that is out counts only until one is in again.
    pub fn stops(&self) -> Vec<Stop> {
        self.stops
            .iter()
            .filter(|stop| {
                stop.kind != StopKind::CupOut
                    || match stop.cup {
                        Some(_) => !self.fitted.contains_key(&(Part::Cup, stop.cup)),
                        None => self.unclear_failure.is_some(),
                    }
            })
            .cloned()
            .collect()
    }

    /// Ended and running lives of a part, in the order in which they ended; running ones last.
    pub fn lives(&self, part: Part) -> Vec<Life> {
        let here = Place { low: self.position, high: self.position, open: false };
        let ended = self.ended.iter().filter(|ended| ended.part.part == part).map(|ended| self.life(&ended.part, ended.end, ended.how));
        let running = self.fitted.values().filter(|fitted| fitted.part == part).map(|fitted| self.life(fitted, here, LifeEnd::Running));
        ended.chain(running).collect()
    }

    fn life(&self, part: &FittedPart, end: Place, how: LifeEnd) -> Life {
        let through_m3 = Age { low: (end.low - part.start.high).max(0.0), high: (end.high - part.start.low).max(0.0) };
        let duty = |place: f64| self.duty_at(place);
        let through_duty =
            Age { low: (duty(end.low) - duty(part.start.high)).max(0.0), high: (duty(end.high) - duty(part.start.low)).max(0.0) };
        let duty_rate = self.duty.rate_before(end.high);
        let grades = part
            .grades
            .iter()
            .map(|seen| ([self.through_m3(part, seen.position_m3).middle(), self.through_duty(part, seen.position_m3).middle()], seen.what))
            .collect();
        Life {
            part: part.part,
            cup: part.cup,
            end: how,
            age_then_m3: part.age_then_m3,
            through_m3,
            through_duty,
            span_m3: [f64::midpoint(part.start.low, part.start.high), f64::midpoint(end.low, end.high)],
            duty_rate,
            grades,
        }
    }
}

#[cfg(test)]
#[path = "timeline_tests.rs"]
mod tests;
