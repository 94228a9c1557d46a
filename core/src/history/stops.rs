//! Hard stops: what forbids a pour whatever the chance, how each comes and how it goes.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use super::row::Row;
use crate::model::{Cup, Part};

/// What forbids a pour, whatever the chance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum StopKind {
    /// Lumps in the box.
    Lumps,
    /// A cup is graded spent.
    CupSpent,
    /// Another part is graded spent.
    PartSpent,
    /// The plate is low in its centre.
    PlateLow,
    /// A coupler bolt is missing or broken.
    BoltMissing,
    /// The sensor bar was moved.
    SensorBarMoved,
    /// A cup failed and no new one is in.
    CupOut,
}

/// A hard stop in force.
#[derive(Debug, Clone, PartialEq)]
pub struct Stop {
    /// What.
    pub kind: StopKind,
    /// On which side; None for the whole pump, or where nobody knows.
    pub cup: Option<Cup>,
    /// Which part, where it is one.
    pub part: Part,
    /// Since when.
    pub at: DateTime<Utc>,
    /// The value that made it one.
    pub value: f64,
    /// The limit it passed.
    pub limit: f64,
}

/// Plate: low in the centre by more than this counts as out of flat, mm. Assumption, for the shop to set; the rule itself
/// (low in the centre: replace) is common practice, no published source.
pub const PLATE_LOW_LIMIT_MM: f64 = 0.1;

/// The stops in force on one pump, by kind, side and part.
#[derive(Debug, Clone, Default)]
pub(super) struct Stops(BTreeMap<(StopKind, Option<Cup>, Part), Stop>);

impl Stops {
    pub(super) fn raise(&mut self, kind: StopKind, row: &Row, cup: Option<Cup>, value: f64, limit: f64) {
        let part = if kind == StopKind::Lumps { Part::Cup } else { row.part };
        self.0.insert((kind, cup, part), Stop { kind, cup, part, at: row.at, value, limit });
    }

    /// Lifts a kind of stop of a part on one side, or on both where no side is named.
    pub(super) fn lift(&mut self, kind: StopKind, cup: Option<Cup>, part: Part) {
        self.0.retain(|&(there, side, stopped), _| !(there == kind && stopped == part && same_side(side, cup)));
    }

    /// A grade raises or lifts the stop that belongs to the part.
    pub(super) fn grade(&mut self, row: &Row, cup: Option<Cup>, grade: u8) {
        let kind = match row.part {
            Part::Cup => StopKind::CupSpent,
            Part::Plate => StopKind::PlateLow,
            Part::Bolts => StopKind::BoltMissing,
            Part::GuideBand | Part::ORing | Part::Bore | Part::Coupler => StopKind::PartSpent,
        };
        if grade >= 4 {
            self.raise(kind, row, cup, f64::from(grade), 4.0);
        } else {
            self.lift(kind, cup, row.part);
        }
    }

    /// A measure that has a stop raises or lifts it: `plate_low_centre_mm`, `bolts_missing`, `sensor_bar_moved`.
    pub(super) fn measure(&mut self, row: &Row) {
        let (kind, limit) = match row.measure.as_str() {
            "plate_low_centre_mm" => (StopKind::PlateLow, PLATE_LOW_LIMIT_MM),
            "bolts_missing" => (StopKind::BoltMissing, 0.0),
            "sensor_bar_moved" | "sensor_bar_moved_mm" => (StopKind::SensorBarMoved, 0.0),
            _ => return,
        };
        match row.value {
            Some(value) if value > limit => self.raise(kind, row, row.cup, value, limit),
            _ => self.lift(kind, row.cup, row.part),
        }
    }

    /// A look into the box: lumps raise a stop, less at a later look lifts it.
    pub(super) fn look(&mut self, row: &Row) {
        match row.level {
            Some(3) => self.raise(StopKind::Lumps, row, None, 3.0, 3.0),
            Some(_) => self.lift(StopKind::Lumps, None, Part::Cup),
            None => {}
        }
    }

    /// A new part went in: that settles its own stops, and with a cup those of what is taken apart for it.
    pub(super) fn part_fitted(&mut self, part: Part, cup: Option<Cup>) {
        self.0.retain(|&(kind, side, stopped), _| {
            let taken_apart =
                part == Part::Cup && matches!(stopped, Part::GuideBand | Part::ORing | Part::Plate | Part::Coupler | Part::Bolts);
            let settled = (stopped == part || taken_apart) && !matches!(kind, StopKind::Lumps | StopKind::SensorBarMoved);
            !(settled && same_side(side, cup))
        });
    }

    /// When lumps were last seen, while they are a stop.
    pub(super) fn lumps_since(&self) -> Option<DateTime<Utc>> {
        self.0.get(&(StopKind::Lumps, None, Part::Cup)).map(|stop| stop.at)
    }

    /// In the order of [`StopKind`].
    pub(super) fn iter(&self) -> impl Iterator<Item = &Stop> {
        self.0.values()
    }
}

fn same_side(one: Option<Cup>, other: Option<Cup>) -> bool {
    one == other || one.is_none() || other.is_none()
}
