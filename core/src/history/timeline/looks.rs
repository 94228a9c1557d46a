//! What was seen in the box and at a part, and where along the record.

use chrono::{DateTime, Utc};

use super::{Row, Timeline};
use crate::model::entry::Liquid;

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

impl Timeline {
    pub(super) fn grade(&mut self, row: &Row, grade: u8) {
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

    pub(super) fn look(&mut self, row: &Row) {
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

    /// Looks into the box, oldest first.
    pub fn box_seen(&self) -> &[Observation<Seen>] {
        &self.box_seen
    }
}
