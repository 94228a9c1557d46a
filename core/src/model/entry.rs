//! An entry of the record: sealed once, never changed. A wrong one is amended by a later one.
//!
//! An entry's canonical text is the exact JSON that the device wrote when it sealed it. It is stored and carried
//! verbatim, so fields that a program does not know survive, and its SHA-256 is what the device's next entry names
//! in `prev`: a missing or changed entry shows.

use chrono::{DateTime, FixedOffset};
use serde::{Deserialize, Serialize};

use crate::debris::reading::{LevelCode, Reading};
use crate::ids::{DeviceId, EntryId, PhotoId, PumpId, Sha256Hex};
use crate::model::part::{Cup, Grade, GradeSource, Part};
use crate::model::pump::PumpSpec;

/// The schema name of an entry.
pub const ENTRY_SCHEMA: &str = "gritbook.entry/1";

/// Hybrid logical time: milliseconds of the wall clock, never going back, and a counter within one of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct HybridTime {
    /// Milliseconds since 1970, UTC.
    pub ms: i64,
    /// Order within one millisecond.
    pub count: u32,
}

/// What every entry carries, whatever its kind.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EntryHead {
    /// Always [`ENTRY_SCHEMA`] when written by this program.
    pub schema: String,
    /// Made on the device.
    pub id: EntryId,
    /// Who wrote it.
    pub device: DeviceId,
    /// 1, 2, 3, ... within the device.
    pub seq: u64,
    /// The person, as they gave their name to the device.
    pub person: String,
    /// The device's wall clock with its offset.
    pub at: DateTime<FixedOffset>,
    /// Order across devices.
    pub hlc: HybridTime,
    /// Hash of the device's previous entry; null for its first.
    pub prev: Option<Sha256Hex>,
    /// The pump it speaks of.
    pub pump: PumpId,
}

/// An entry: head and body in one JSON object.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// The common part.
    #[serde(flatten)]
    pub head: EntryHead,
    /// What happened.
    #[serde(flatten)]
    pub body: EntryBody,
}

/// An entry with its canonical text and seal.
#[derive(Debug, Clone, PartialEq)]
pub struct SealedEntry {
    /// The parsed entry.
    pub entry: Entry,
    /// The exact JSON, as first written.
    pub doc: String,
    /// SHA-256 of `doc`.
    pub hash: Sha256Hex,
}

/// The liquid in the box.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Liquid {
    /// Clear.
    Clear,
    /// Grey: cement fines, normal.
    Grey,
    /// Muddy: holds mortar.
    Muddy,
    /// Oily: a film of oil.
    Oily,
}

/// What happened, by kind. JSON: `"kind": "box_check", "body": {...}`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", content = "body", rename_all = "snake_case")]
pub enum EntryBody {
    /// A pump was added, or its figures were set anew.
    PumpSet(PumpSpec),
    /// The box was drained and looked at.
    BoxCheck(BoxCheck),
    /// A part was graded.
    Graded(Graded),
    /// Something was measured.
    Measured(Measured),
    /// A part was fitted.
    Fitted(Fitted),
    /// A part was taken out, before failing or after.
    Removed(Removed),
    /// Concrete was pumped.
    Poured(Poured),
    /// The call was made, and perhaps overruled.
    Called(Called),
    /// An earlier entry was wrong.
    Amended(Amended),
}

/// The box was drained and looked at.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BoxCheck {
    /// Running total of concrete pumped, m3.
    pub pump_m3: Option<f64>,
    /// Photos of the drained material, by hash, in the order taken.
    pub photos: Vec<PhotoId>,
    /// The reading of the first photo that could be read.
    pub reading: Option<Reading>,
    /// The level: the reading's, or as judged by eye where there is none.
    pub level: Option<LevelCode>,
    /// How the level was found.
    pub level_source: Option<GradeSource>,
    /// What the liquid looked like.
    pub liquid: Option<Liquid>,
    /// Whether the liquid was low.
    pub liquid_low: Option<bool>,
    /// Settled solids since the last drain, mL.
    pub settled_ml: Option<f64>,
    /// Free words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub note: String,
}

/// A part was graded.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Graded {
    /// Which part.
    pub part: Part,
    /// Which side; null where the part has none.
    pub cup: Option<Cup>,
    /// 0 sound to 4 spent.
    pub grade: Grade,
    /// By eye or by measure.
    pub source: GradeSource,
    /// Edition of the criteria that the grade was given against.
    pub criteria: String,
    /// Running total, m3.
    pub pump_m3: Option<f64>,
    /// Photos of the wear surface, by hash.
    pub photos: Vec<PhotoId>,
    /// Free words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub note: String,
}

/// Something was measured; the unit is part of the measure's name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// Which part.
    pub part: Part,
    /// Which side.
    pub cup: Option<Cup>,
    /// For example `bore_wear_mm`.
    pub measure: String,
    /// The value in the unit that the name carries.
    pub value: f64,
    /// Running total, m3.
    pub pump_m3: Option<f64>,
}

/// A part was fitted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fitted {
    /// Which part.
    pub part: Part,
    /// Which side.
    pub cup: Option<Cup>,
    /// Running total, m3.
    pub pump_m3: Option<f64>,
    /// True where it was already in when the record starts.
    pub already_in: bool,
    /// Its age then, m3, where known.
    pub age_m3: Option<f64>,
}

/// Why a part came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum RemovalReason {
    /// Worn, before it failed.
    Worn,
    /// On plan.
    Planned,
    /// Damaged by something else.
    Damaged,
    /// Because the other cup was changed.
    OtherCup,
    /// It gave up mid-pour.
    Failed,
}

/// A part was taken out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Removed {
    /// Which part.
    pub part: Part,
    /// Which side.
    pub cup: Option<Cup>,
    /// Why.
    pub reason: RemovalReason,
    /// Running total, m3.
    pub pump_m3: Option<f64>,
}

/// Concrete was pumped.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Poured {
    /// This pour, m3; null where only the running total was read.
    pub pour_m3: Option<f64>,
    /// Running total after it, m3.
    pub pump_m3: Option<f64>,
    /// Volume-weighted mean concrete pressure, bar.
    pub concrete_bar: Option<f64>,
    /// 1 is an ordinary mix.
    pub mix_factor: Option<f64>,
}

/// The call, as the book gave it and as the mechanic made it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Called {
    /// The answer document, `gritbook.call/1`.
    pub answer: serde_json::Value,
    /// What the mechanic decided, where it differs.
    pub overruled_to: Option<String>,
    /// Why.
    pub overrule_reason: Option<String>,
}

/// An earlier entry was wrong: this is what it should have said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Amended {
    /// The entry that was wrong; it stays in the record.
    pub amends: EntryId,
    /// Why.
    pub reason: String,
    /// What holds instead; null where it should not be there at all.
    pub instead: Option<Box<EntryBody>>,
}
