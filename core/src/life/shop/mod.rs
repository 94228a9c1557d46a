//! A shop's whole record of cups, and what it teaches: the laws of their lives, how signs speak along them, what fails beside wear.
//!
//! Learning goes by turns over all lives and looks (a few rounds from what is assumed), so it is not done at every row: it is due
//! when the ended lives or the looks have grown by an eighth since the last time, and works on the record as it was at that row. When
//! it is due follows from the rows alone, so an answer does not depend on what else was asked. What a pump's own
//! lives and signs say since then is taken in at once.
//!
//! ```text
//! mod      rows taken in, and when to learn
//! followed what followed each level
//! learned  what a record teaches, and the rounds of learning it
//! reading  a pump's lives and looks in one measure of use
//! turn     a turn of the shop's work that no row tells
//! ```

mod followed;
mod learned;
mod reading;
mod turn;

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use super::condition::{ConditionTables, SETTLED_SHARES};
use super::fleet::{Fleet, GridLife};
use super::joint::{Mishaps, Softened};
use super::weibull::Weibull;
use crate::history::{Row, Timeline};
pub use followed::Followed;
use learned::Learned;
pub use reading::look_of;

/// A measure of use that lives are counted in. Which one the lives follow is judged by the evidence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    /// m3.
    Volume,
    /// m3 weighted by pressure and mix; where no row tells either, by a turn of the work that the lives show ([`turn`]).
    Duty,
}

const MEASURES: [Measure; 2] = [Measure::Volume, Measure::Duty];

/// Each pump's record.
type Record = BTreeMap<String, Timeline>;

/// A shop's record.
pub struct Shop {
    timelines: Record,
    fleets: [Fleet; 2],
    learned: Learned,
    /// Ended lives and looks so far, and when learning was last due.
    grown: [usize; 2],
    learned_at: [usize; 2],
    /// The record as it was when learning was last due, where that is still to be done.
    due: Option<Record>,
}

impl Default for Shop {
    fn default() -> Self {
        Self::new()
    }
}

impl Shop {
    /// Nothing is known yet.
    pub fn new() -> Self {
        Self {
            timelines: Record::new(),
            fleets: [Fleet::new(), Fleet::new()],
            learned: Learned::nothing(),
            grown: [0, 0],
            learned_at: [0, 0],
            due: None,
        }
    }

    /// Takes in the next row; rows must come in the order of a [`crate::history::History`].
    pub fn take_in(&mut self, row: &Row) {
        if !self.timelines.contains_key(&row.pump) {
            let mut timeline = Timeline::new(&row.pump);
            timeline.set_turn(self.learned.turn());
            self.timelines.insert(row.pump.clone(), timeline);
        }
        let Some(timeline) = self.timelines.get_mut(&row.pump) else { return };
        let before = [timeline.ended_cups(), timeline.box_seen().len()];
        timeline.take_in(row);
        self.grown[0] += timeline.ended_cups() - before[0];
        self.grown[1] += timeline.box_seen().len() - before[1];
        let enough = |i: usize, least: usize| self.grown[i] >= self.learned_at[i] + (self.learned_at[i] / 8).max(least);
        if enough(0, 1) || enough(1, 12) {
            self.learned_at = self.grown;
            self.due = Some(self.timelines.clone());
        }
    }

    /// Learns where that is due, and takes in what `pump`'s own ended lives say since.
    pub fn catch_up(&mut self, pump: &str) {
        if let Some(record) = self.due.take() {
            self.learn(record);
        }
        if let Some(timeline) = self.timelines.get(pump) {
            for measure in MEASURES.into_iter().filter(|measure| *measure == Measure::Volume || self.learned.duty > 0.0) {
                if self.fleets[measure as usize].ended_of(pump) != Some(timeline.ended_cups()) {
                    let (grid, _) = self.learned.soften(timeline, measure);
                    let ended: Vec<GridLife> = grid.into_iter().filter(|life| !life.running).collect();
                    self.fleets[measure as usize].set_ended(pump, &ended);
                }
            }
        }
    }

    /// Learns from the whole record, due or not.
    pub fn learn_all(&mut self) {
        self.due = None;
        self.learn(self.timelines.clone());
    }

    fn learn(&mut self, record: Record) {
        self.learned.learn(record, &mut self.fleets);
        let turn = self.learned.turn();
        self.timelines.values_mut().for_each(|timeline| timeline.set_turn(turn));
    }

    /// One pump's record.
    pub fn timeline(&self, pump: &str) -> Option<&Timeline> {
        self.timelines.get(pump)
    }

    /// The lives in one measure.
    pub fn fleet(&self, measure: Measure) -> &Fleet {
        &self.fleets[measure as usize]
    }

    /// Weight of the duty measure against volume, from the evidence.
    pub fn duty_weight(&self) -> f64 {
        self.learned.duty
    }

    /// Where duty is m3 weighted by a turn of the shop's work that no row tells: since when, and by how much more each m3 wears.
    pub fn turn(&self) -> Option<(DateTime<Utc>, f64)> {
        self.learned.turn()
    }

    /// What followed each level.
    pub fn followed(&self) -> &Followed {
        &self.learned.followed
    }

    /// The ways in which signs may speak, as tables; the first is the likeliest.
    pub fn ways(&self) -> &[ConditionTables] {
        &self.learned.ways
    }

    /// What fails cups beside wear.
    pub fn mishaps(&self) -> &Mishaps {
        &self.learned.mishaps
    }

    /// Share of cups found worn that the shop pulls, 0 to 1.
    pub fn pulled_share(&self) -> f64 {
        self.learned.pulled_share
    }

    /// Where the classes of settled solids begin, mL for each m3; None while too few are on record.
    pub fn settled_classes(&self) -> Option<&[f64; SETTLED_SHARES.len()]> {
        self.learned.settled_per_m3.as_ref()
    }

    /// One law for the whole shop, m3, as a spreadsheet would have it.
    pub fn pooled(&self) -> &Weibull {
        &self.learned.pooled
    }

    /// Failures of cups on record.
    pub fn failures(&self) -> usize {
        self.timelines.values().map(Timeline::failed_cups).sum()
    }

    /// Every life of a cup in m3 with what its signs say of it, as of the last learning.
    pub fn signed_lives_m3(&self) -> Vec<(GridLife, Softened)> {
        let of = |timeline| {
            let (grid, softened) = self.learned.soften(timeline, Measure::Volume);
            grid.into_iter().zip(softened).collect::<Vec<_>>()
        };
        self.timelines.values().flat_map(of).collect()
    }
}
