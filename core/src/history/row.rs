//! What one row of a history says.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::model::entry::{Liquid, RemovalReason};
use crate::model::{Cup, Part};

/// What happened. Declared in the order in which rows of the same moment are taken in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Event {
    /// Came out before failing.
    Removed,
    /// Gave up mid-pour.
    Failed,
    /// A new part went in; the box was drained.
    Fitted,
    /// Was already in when the record starts.
    InUse,
    /// Something was measured.
    Measured,
    /// A part was graded.
    Graded,
    /// The box was drained and looked at.
    Checked,
    /// Concrete was pumped.
    Poured,
    /// The running total was read.
    Counter,
}

impl Event {
    /// Every event with its word in the table.
    pub const ALL: [(Self, &'static str); 9] = [
        (Self::Removed, "removed"),
        (Self::Failed, "failed"),
        (Self::Fitted, "fitted"),
        (Self::InUse, "in_use"),
        (Self::Measured, "measured"),
        (Self::Graded, "graded"),
        (Self::Checked, "checked"),
        (Self::Poured, "poured"),
        (Self::Counter, "counter"),
    ];
}

/// One row. Volumes are m3, pressures bar.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// When.
    pub at: DateTime<Utc>,
    /// The pump's name.
    pub pump: String,
    /// Which side; None for the whole pump, or where nobody knows.
    pub cup: Option<Cup>,
    /// What happened.
    pub event: Event,
    /// Running total of concrete pumped.
    pub pump_m3: Option<f64>,
    /// Volume of the pour.
    pub pour_m3: Option<f64>,
    /// Age of a part found in use.
    pub age_m3: Option<f64>,
    /// 0 paste only to 3 lumps.
    pub level: Option<u8>,
    /// 0 sound to 4 spent.
    pub grade: Option<u8>,
    /// What the liquid looked like.
    pub liquid: Option<Liquid>,
    /// Whether it was low.
    pub liquid_low: Option<bool>,
    /// Settled solids since the last drain, mL.
    pub settled_ml: Option<f64>,
    /// Volume-weighted mean concrete pressure since the pump's previous row, or of the pour.
    pub concrete_bar: Option<f64>,
    /// Volume-weighted mean mix factor since the pump's previous row, or of the pour; 1 is ordinary.
    pub mix_factor: Option<f64>,
    /// Name of what was measured; carries its unit.
    pub measure: String,
    /// The measured value.
    pub value: Option<f64>,
    /// Why a part came out.
    pub reason: Option<RemovalReason>,
    /// Which part.
    pub part: Part,
    /// Free words.
    pub note: String,
    /// Cells of columns that this program does not know.
    pub others: Vec<String>,
    /// Line in the file, from 1; changes no answer.
    pub line: u64,
}

impl Row {
    /// A row that says no more than that the pump is there, and its running total where it is known.
    pub(crate) fn counter(pump: &str, at: DateTime<Utc>, pump_m3: Option<f64>) -> Self {
        Self {
            at,
            pump: pump.to_owned(),
            cup: None,
            event: Event::Counter,
            pump_m3,
            pour_m3: None,
            age_m3: None,
            level: None,
            grade: None,
            liquid: None,
            liquid_low: None,
            settled_ml: None,
            concrete_bar: None,
            mix_factor: None,
            measure: String::new(),
            value: None,
            reason: None,
            part: Part::Cup,
            note: String::new(),
            others: Vec::new(),
            line: 0,
        }
    }

    /// The order in which rows are taken in. Two rows that compare equal say the same.
    pub(super) fn order(&self, other: &Self) -> std::cmp::Ordering {
        let number = |a: Option<f64>, b: Option<f64>| a.unwrap_or(-1.0).total_cmp(&b.unwrap_or(-1.0));
        (self.at, self.event, &self.pump, self.cup, self.part)
            .cmp(&(other.at, other.event, &other.pump, other.cup, other.part))
            .then_with(|| number(self.pump_m3, other.pump_m3))
            .then_with(|| number(self.pour_m3, other.pour_m3))
            .then_with(|| number(self.age_m3, other.age_m3))
            .then_with(|| (self.level, self.grade).cmp(&(other.level, other.grade)))
            .then_with(|| (self.liquid.map(|l| l as u8), self.liquid_low).cmp(&(other.liquid.map(|l| l as u8), other.liquid_low)))
            .then_with(|| number(self.settled_ml, other.settled_ml))
            .then_with(|| number(self.concrete_bar, other.concrete_bar))
            .then_with(|| number(self.mix_factor, other.mix_factor))
            .then_with(|| number(self.value, other.value))
            .then_with(|| {
                (&self.measure, self.reason.map(|r| r as u8), &self.note).cmp(&(&other.measure, other.reason.map(|r| r as u8), &other.note))
            })
            .then_with(|| self.others.cmp(&other.others))
    }
}
