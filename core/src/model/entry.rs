//! An entry of the record: sealed once, never changed. A wrong one is amended by a later one.
//!
//! An entry's canonical text is the exact JSON that the device wrote when it sealed it. It is stored and carried
//! verbatim, so fields that a program does not know survive, and its SHA-256 is what the device's next entry names
//! in `prev`: a missing or changed entry shows.

use chrono::{DateTime, FixedOffset};
use serde::de::{DeserializeOwned, Error as _};
use serde::{Deserialize, Deserializer, Serialize};
use serde_json::{Map, Value};

use crate::debris::reading::{LevelCode, Reading};
use crate::error::CoreError;
use crate::ids::{DeviceId, EntryId, PhotoId, PumpId, Sha256Hex, WorkId};
use crate::model::part::{Cup, Grade, GradeSource, Part};
use crate::model::pump::PumpSpec;
use crate::model::strict_json;
use crate::model::words::Words;

/// The schema name of an entry.
pub const ENTRY_SCHEMA: &str = "gritbook.entry/1";

/// Hybrid logical time: milliseconds of the wall clock, never going back, and a counter within one of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct HybridTime {
    /// Milliseconds since 1970, UTC.
    pub ms: i64,
    /// Order within one millisecond.
    pub count: u32,
}

/// What every entry carries, whatever its kind.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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

impl Liquid {
    /// What it looks like, in a word.
    pub fn name(self) -> Words {
        let (en, es) = match self {
            Self::Clear => ("clear", "clara"),
            Self::Grey => ("grey", "gris"),
            Self::Muddy => ("muddy", "lodosa"),
            Self::Oily => ("oily", "aceitosa"),
        };
        Words { en, es }
    }
}

/// What happened, by kind. JSON: `"kind": "box_check", "body": {...}`.
///
/// A kind that a newer program wrote is kept as [`EntryBody::Other`]: it can be carried, listed and verified.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
    /// Parts were changed, step by step.
    ChangedOut(ChangedOut),
    /// An earlier entry was wrong.
    Amended(Amended),
    /// A kind that this program does not know.
    #[serde(untagged)]
    Other(OtherBody),
}

/// The body of a kind that this program does not know, kept as it came.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct OtherBody {
    /// The kind's name.
    pub kind: String,
    /// What it holds.
    #[serde(default)]
    pub body: serde_json::Value,
}

// Both read from a `Value`, by hand: what serde derives for flattened and tagged types holds each body's reader three times over, which
// made 0.3 MB of the phone's library, and takes a known kind with a wrong body for an unknown kind.
impl<'de> Deserialize<'de> for Entry {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Self::of_fields(Map::deserialize(deserializer)?).map_err(D::Error::custom)
    }
}

impl<'de> Deserialize<'de> for EntryBody {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Self::taken_from(&mut Map::deserialize(deserializer)?).map_err(D::Error::custom)
    }
}

impl Entry {
    fn of_fields(mut fields: Map<String, Value>) -> serde_json::Result<Self> {
        let body = EntryBody::taken_from(&mut fields)?;
        Ok(Self { head: serde_json::from_value(Value::Object(fields))?, body })
    }
}

impl EntryBody {
    /// Takes `kind` and `body` out of an entry's fields.
    fn taken_from(fields: &mut Map<String, Value>) -> serde_json::Result<Self> {
        let Some(Value::String(kind)) = fields.remove("kind") else {
            return Err(serde_json::Error::custom("its `kind` is missing or is no text"));
        };
        let body = fields.remove("body").unwrap_or_default();
        fn known<T: DeserializeOwned>(kind: &str, body: Value, make: fn(T) -> EntryBody) -> serde_json::Result<EntryBody> {
            serde_json::from_value(body)
                .map(make)
                .map_err(|cause| serde_json::Error::custom(format!("the body of `{kind}` does not fit: {cause}")))
        }
        match kind.as_str() {
            "pump_set" => known(&kind, body, Self::PumpSet),
            "box_check" => known(&kind, body, Self::BoxCheck),
            "graded" => known(&kind, body, Self::Graded),
            "measured" => known(&kind, body, Self::Measured),
            "fitted" => known(&kind, body, Self::Fitted),
            "removed" => known(&kind, body, Self::Removed),
            "poured" => known(&kind, body, Self::Poured),
            "called" => known(&kind, body, Self::Called),
            "changed_out" => known(&kind, body, Self::ChangedOut),
            "amended" => known(&kind, body, Self::Amended),
            _ => Ok(Self::Other(OtherBody { kind, body })),
        }
    }
}

impl EntryBody {
    /// The kind as it stands in `kind`.
    pub fn kind(&self) -> &str {
        match self {
            Self::PumpSet(_) => "pump_set",
            Self::BoxCheck(_) => "box_check",
            Self::Graded(_) => "graded",
            Self::Measured(_) => "measured",
            Self::Fitted(_) => "fitted",
            Self::Removed(_) => "removed",
            Self::Poured(_) => "poured",
            Self::Called(_) => "called",
            Self::ChangedOut(_) => "changed_out",
            Self::Amended(_) => "amended",
            Self::Other(other) => &other.kind,
        }
    }

    /// The photos it names, in the order taken; those of an amendment are what it puts in place.
    pub fn photos(&self) -> &[PhotoId] {
        match self {
            Self::BoxCheck(check) => &check.photos,
            Self::Graded(graded) => &graded.photos,
            Self::ChangedOut(changed) => &changed.photos,
            Self::Amended(amended) => amended.instead.as_ref().map_or(&[], |instead| instead.photos()),
            _ => &[],
        }
    }

    /// The running total it tells, m3.
    pub fn pump_m3(&self) -> Option<f64> {
        match self {
            Self::BoxCheck(check) => check.pump_m3,
            Self::Graded(graded) => graded.pump_m3,
            Self::Measured(measured) => measured.pump_m3,
            Self::Fitted(fitted) => fitted.pump_m3,
            Self::Removed(removed) => removed.pump_m3,
            Self::Poured(poured) => poured.pump_m3,
            Self::ChangedOut(changed) => changed.pump_m3,
            Self::PumpSet(_) | Self::Called(_) | Self::Amended(_) | Self::Other(_) => None,
        }
    }
}

impl SealedEntry {
    /// Writes the entry's canonical text and takes its hash.
    ///
    /// # Errors
    /// `not_sealable` where the text would not read back as the same entry (a number that is not finite).
    pub fn seal(entry: Entry) -> Result<Self, CoreError> {
        let refuse = |reason: String| CoreError::refused("not_sealable", reason, "every number of an entry must be finite");
        let doc = serde_json::to_string(&entry).map_err(|cause| refuse("the entry cannot be written as JSON".into()).because(cause))?;
        let hash = Sha256Hex::of(doc.as_bytes());
        let sealed = Self { entry, doc, hash };
        // JSON has no NaN: it would be written as null and read back as something else, for ever.
        match Self::from_text(sealed.doc.clone()) {
            Ok(back) if back.entry == sealed.entry => Ok(sealed),
            Ok(_) => Err(refuse("the entry does not read back as it was written".into())),
            Err(cause) => Err(refuse("the entry does not read back".into()).because(cause)),
        }
    }

    /// Takes an entry's canonical text as it came, from the store or over the wire.
    ///
    /// # Errors
    /// `bad_entry` where it is not JSON, names a field twice, lacks a field of the head, or holds a known kind with a body that does not
    /// fit.
    pub fn from_text(doc: String) -> Result<Self, CoreError> {
        let refuse = |reason: &str| {
            CoreError::refused("bad_entry", format!("an entry cannot be read: {reason}"), "send entries as they were sealed")
        };
        let entry = match strict_json::from_str(&doc) {
            Ok(Value::Object(fields)) => Entry::of_fields(fields).map_err(|cause| refuse("what it holds").because(cause)),
            Ok(_) => Err(refuse("it is no JSON object")),
            Err(cause) => Err(refuse("its JSON").because(cause)),
        }?;
        let hash = Sha256Hex::of(doc.as_bytes());
        Ok(Self { entry, doc, hash })
    }
}

/// The box was drained and looked at.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
    /// Names the check as it was begun on the device: saved twice, it is recorded once.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub work: Option<WorkId>,
    /// Free words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub note: String,
}

/// A part was graded.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
    /// Names the grading as it was begun on the device: saved twice, it is recorded once. Grades of one grading share it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub work: Option<WorkId>,
    /// Free words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub note: String,
}

/// Something was measured; the unit is part of the measure's name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
    /// The whole measurement, a document such as `gritbook.plate/1`: readings, settings, verdict.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub document: Option<serde_json::Value>,
    /// Names the measuring as it was begun on the device: saved twice, it is recorded once.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub work: Option<WorkId>,
}

/// A part was fitted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Called {
    /// The answer document, `gritbook.call/1`.
    pub answer: serde_json::Value,
    /// What the mechanic decided, where it differs.
    pub overruled_to: Option<String>,
    /// Why.
    pub overrule_reason: Option<String>,
}

/// A step of a change-out, marked.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct StepMark {
    /// The step's key.
    pub step: String,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// Why it was skipped; absent where it was done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub skipped: Option<String>,
    /// Photos taken at it, by hash.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub photos: Vec<PhotoId>,
}

/// Parts were changed, step by step. The lives that it ends and begins stand in entries of their own, made in the same save.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ChangedOut {
    /// Names the work: finished twice, it is recorded once.
    pub work: WorkId,
    /// Which procedure.
    pub procedure: String,
    /// Its edition.
    pub edition: String,
    /// The cups that were changed.
    pub cups: Vec<Cup>,
    /// When it began.
    pub began: DateTime<FixedOffset>,
    /// The steps in order, each done or skipped for a reason.
    pub steps: Vec<StepMark>,
    /// Running total, m3.
    pub pump_m3: Option<f64>,
    /// All its photos, by hash.
    pub photos: Vec<PhotoId>,
    /// Parts that were used, in the shop's own words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub parts_used: String,
    /// Free words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub note: String,
}

/// An earlier entry was wrong: this is what it should have said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Amended {
    /// The entry that was wrong; it stays in the record.
    pub amends: EntryId,
    /// Why.
    pub reason: String,
    /// What holds instead; null where it should not be there at all.
    pub instead: Option<Box<EntryBody>>,
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::Utc;
    use proptest::prelude::*;

    fn head() -> EntryHead {
        let at = DateTime::parse_from_rfc3339("2026-03-02T07:15:00-06:00").unwrap();
        EntryHead {
            schema: ENTRY_SCHEMA.into(),
            id: EntryId::new(at.to_utc()),
            device: DeviceId::new(at.to_utc()),
            seq: 1,
            person: "Ana".into(),
            at,
            hlc: HybridTime { ms: at.timestamp_millis(), count: 0 },
            prev: None,
            pump: PumpId::new(DateTime::<Utc>::UNIX_EPOCH),
        }
    }

    #[test]
    fn sealed_entry_reads_back_from_its_text() {
        let body = EntryBody::Poured(Poured { pour_m3: Some(42.5), pump_m3: None, concrete_bar: Some(61.0), mix_factor: None });
        let sealed = SealedEntry::seal(Entry { head: head(), body }).unwrap();
        assert!(sealed.doc.contains("\"kind\":\"poured\",\"body\":{\"pour_m3\":42.5"), "{}", sealed.doc);
        assert_eq!(SealedEntry::from_text(sealed.doc.clone()).unwrap(), sealed);
    }

    #[test]
    fn number_that_is_not_finite_is_not_sealed() {
        let body = EntryBody::Poured(Poured { pour_m3: Some(f64::NAN), pump_m3: None, concrete_bar: None, mix_factor: None });
        assert_eq!(SealedEntry::seal(Entry { head: head(), body }).unwrap_err().code(), "not_sealable");
    }

    #[test]
    fn unknown_kind_is_kept_and_known_kind_with_wrong_body_is_refused() {
        let sealed = SealedEntry::seal(Entry {
            head: head(),
            body: EntryBody::Other(OtherBody { kind: "weighed".into(), body: serde_json::json!({ "mass_kg": 3 }) }),
        })
        .unwrap();
        assert_eq!(sealed.entry.body.kind(), "weighed");
        let wrong = sealed.doc.replace("weighed", "graded");
        let error = SealedEntry::from_text(wrong).unwrap_err();
        assert_eq!(error.code(), "bad_entry");
        assert!(error.to_string().contains("missing field"), "{error}");
    }

    #[test]
    fn amendment_to_a_known_kind_with_a_wrong_body_is_refused() {
        let poured = EntryBody::Poured(Poured { pour_m3: Some(1.0), pump_m3: None, concrete_bar: None, mix_factor: None });
        let amended =
            Amended { amends: EntryId::new(DateTime::<Utc>::UNIX_EPOCH), reason: "typed wrong".into(), instead: Some(Box::new(poured)) };
        let sealed = SealedEntry::seal(Entry { head: head(), body: EntryBody::Amended(amended) }).unwrap();
        let error = SealedEntry::from_text(sealed.doc.replace("\"kind\":\"poured\"", "\"kind\":\"graded\"")).unwrap_err();
        assert_eq!(error.code(), "bad_entry");
        assert!(error.to_string().contains("body of `graded`"), "{error}");
    }

    #[test]
    fn field_named_twice_is_refused() {
        let body = EntryBody::Poured(Poured { pour_m3: Some(1.0), pump_m3: None, concrete_bar: None, mix_factor: None });
        let doc = SealedEntry::seal(Entry { head: head(), body }).unwrap().doc;
        for (once, twice) in [("\"pour_m3\":1.0", "\"pour_m3\":9.0,\"pour_m3\":1.0"), ("\"seq\":1", "\"seq\":2,\"seq\":1")] {
            assert!(doc.contains(once), "{doc}");
            let error = SealedEntry::from_text(doc.replace(once, twice)).unwrap_err();
            assert!(error.to_string().contains("two fields"), "{error}");
        }
    }

    #[test]
    fn unknown_field_of_head_and_body_survives_in_the_text() {
        let body = EntryBody::Poured(Poured { pour_m3: Some(1.0), pump_m3: None, concrete_bar: None, mix_factor: None });
        let doc = SealedEntry::seal(Entry { head: head(), body }).unwrap().doc;
        let doc = doc.replacen('{', "{\"weather\":\"rain\",", 1).replace("\"pour_m3\"", "\"slump_mm\":120,\"pour_m3\"");
        let sealed = SealedEntry::from_text(doc.clone()).unwrap();
        assert_eq!(sealed.doc, doc);
        assert_eq!(sealed.entry.body.kind(), "poured");
        assert_eq!(sealed.hash, Sha256Hex::of(doc.as_bytes()));
    }

    proptest! {
        #[test]
        fn prop_any_finite_number_and_any_text_survives_sealing(value in any::<f64>().prop_filter("finite", |v| v.is_finite()), note in ".*") {
            let body = EntryBody::BoxCheck(BoxCheck {
                pump_m3: Some(value), photos: vec![], reading: None, level: None, level_source: None,
                liquid: None, liquid_low: None, settled_ml: None, work: None, note,
            });
            let sealed = SealedEntry::seal(Entry { head: head(), body }).unwrap();
            prop_assert_eq!(SealedEntry::from_text(sealed.doc.clone()).unwrap(), sealed);
        }

        #[test]
        fn prop_no_text_panics(text in ".*") {
            let _ = SealedEntry::from_text(text);
        }
    }
}
