//! Rows of one pump taken in, one after the other: running total, duty, fitted parts, lives, signs and stops.
//!
//! Volume is kept as a position: m3 through the pump since its record begins. It is known in two ways, by the running total
//! and by the pours; the total wins. Where it shows more than the pours told, the rest went through at some moment since
//! the reading before, so the ages of what was fitted or failed in between are known only within it.
//!
//! ```text
//! mod    the row taken in, the position it moves to, duty, stops
//! parts  what is in, and how it went in and came out
//! life   lives, ended and running, with their ages
//! looks  what was seen in the box and at a part
//! ```

mod life;
mod looks;
mod parts;

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

pub use life::{Age, Life, LifeEnd};
pub use looks::{Observation, Seen};
use parts::Ended;
pub use parts::FittedPart;

use super::duty::DutyLine;
use super::row::{Event, Row};
use super::stops::{Stop, StopKind, Stops};
use crate::model::entry::RemovalReason;
use crate::model::{Cup, Part};

/// Excess of the running total over the pours that is put down to rounding, m3.
const ROUNDING_M3: f64 = 0.5;

/// A place along a pump's record that may be known within two ends only.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Place {
    low: f64,
    high: f64,
    /// No reading of the total was taken at it: the next reading may move its ends.
    open: bool,
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
    /// Moments with the position at them.
    passed: Vec<(DateTime<Utc>, f64)>,
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
            passed: Vec::new(),
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
        self.passed.push((row.at, self.position));
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

    /// Duty per m3 of what went through before the record.
    pub fn duty_rate_before_record(&self) -> f64 {
        self.duty.rate_before_record()
    }

    /// Where the record stood at a moment.
    pub fn position_at(&self, at: DateTime<Utc>) -> f64 {
        self.passed[..self.passed.partition_point(|(then, _)| *then <= at)].last().map_or(0.0, |(_, position)| *position)
    }

    /// First and last moment of the record.
    pub fn moments(&self) -> Option<[DateTime<Utc>; 2]> {
        Some([self.passed.first()?.0, self.passed.last()?.0])
    }

    /// From a moment on each m3 wears by a factor more, which no row tells; in place of an earlier turn.
    pub fn set_turn(&mut self, turn: Option<(DateTime<Utc>, f64)>) {
        let turn = turn.map(|(at, factor)| (self.position_at(at), factor));
        self.duty.set_turn(turn);
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
}

#[cfg(test)]
mod tests;
