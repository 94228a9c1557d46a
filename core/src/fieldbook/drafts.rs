//! What comes in from a thumb or a command line, and its bounds.

use std::path::PathBuf;

use crate::debris::reading::{LevelCode, Reading};
use crate::error::CoreError;
use crate::ids::{PhotoId, PumpId, WorkId};
use crate::model::entry::{EntryBody, Graded, Liquid};
use crate::model::part::{Cup, Grade, GradeSource, Part};
use crate::model::pump::PumpSpec;
use crate::store::LARGEST_PHOTO_BYTES;
use crate::store::fault::Tried as _;
use crate::wear::document::figure;

/// Longest name of a person or a pump, characters.
const LONGEST_NAME: usize = 80;
/// Longest free text, characters.
const LONGEST_NOTE: usize = 4_000;
/// Highest running total, m3: a hundred times what a pump lasts.
const HIGHEST_TOTAL_M3: f64 = 10_000_000.0;

/// A photo as bytes, or as a file to read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PhotoInput {
    /// The file's bytes.
    Bytes(Vec<u8>),
    /// A file; it is copied into the book and left where it is.
    Path(PathBuf),
}

impl PhotoInput {
    /// The bytes.
    ///
    /// # Errors
    /// `no_such_file`, `too_big`, `file_failed`.
    pub fn read(&self) -> Result<std::borrow::Cow<'_, [u8]>, CoreError> {
        match self {
            Self::Bytes(bytes) => Ok(bytes.into()),
            Self::Path(path) => {
                let size = std::fs::metadata(path).tried("reading the photo")?.len();
                if size > LARGEST_PHOTO_BYTES {
                    return Err(CoreError::refused(
                        "too_big",
                        format!("the photo has {size} bytes; the limit is {LARGEST_PHOTO_BYTES}"),
                        "set the camera to a smaller picture",
                    ));
                }
                Ok(std::fs::read(path).tried("reading the photo")?.into())
            }
        }
    }
}

/// A grade before it is saved, with a box check or alone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GradeDraft {
    /// Which part.
    pub part: Part,
    /// Which side.
    pub cup: Option<Cup>,
    /// 0 to 4.
    pub grade: Grade,
    /// By eye or by measure.
    pub source: GradeSource,
    /// Edition of the criteria.
    pub criteria: String,
    /// Photos of the wear surface, in the order taken.
    pub photos: Vec<PhotoInput>,
}

impl GradeDraft {
    /// The body of its entry, its photos kept already.
    pub(super) fn body(&self, pump_m3: Option<f64>, photos: Vec<PhotoId>, work: Option<WorkId>) -> EntryBody {
        EntryBody::Graded(Graded {
            part: self.part,
            cup: self.cup,
            grade: self.grade,
            source: self.source,
            criteria: self.criteria.clone(),
            pump_m3,
            photos,
            work,
            note: String::new(),
        })
    }
}

/// Parts graded in one go, before they are saved.
#[derive(Debug, Clone, PartialEq)]
pub struct GradesDraft {
    /// Which pump.
    pub pump: PumpId,
    /// Running total of concrete pumped, m3 (0 to 10 million).
    pub pump_m3: Option<f64>,
    /// The grades, in the order given; at least one.
    pub grades: Vec<GradeDraft>,
    /// Names this grading as it was begun on the device, where it may be saved again after a crash: then it is recorded once.
    pub work: Option<WorkId>,
}

/// A box check before it is saved.
#[derive(Debug, Clone, PartialEq)]
pub struct BoxCheckDraft {
    /// Which pump.
    pub pump: PumpId,
    /// A pump to add with the check, in the same save; its id must be [`PumpId::named`] after it.
    pub new_pump: Option<PumpSpec>,
    /// Running total of concrete pumped, m3 (0 to 10 million).
    pub pump_m3: Option<f64>,
    /// The photos, in the order taken.
    pub photos: Vec<PhotoInput>,
    /// The reading of one of these photos, where one could be read.
    pub reading: Option<Reading>,
    /// The level as judged by eye. Beside a reading the graver of the two counts; both are kept.
    pub level_by_eye: Option<LevelCode>,
    /// Grades given at the same time.
    pub grades: Vec<GradeDraft>,
    /// What the liquid looked like.
    pub liquid: Option<Liquid>,
    /// Whether the liquid was low.
    pub liquid_low: Option<bool>,
    /// Settled solids since the last drain, mL (0 to 100,000).
    pub settled_ml: Option<f64>,
    /// Names this check as it was begun on the device, where it may be saved again after a crash: then it is recorded once.
    pub work: Option<WorkId>,
    /// Free words.
    pub note: String,
}

impl BoxCheckDraft {
    /// An empty check of a pump that is not in the book yet: both are saved together.
    pub fn of_new_pump(spec: PumpSpec) -> Self {
        Self { new_pump: Some(spec.clone()), ..Self::new(PumpId::named(&spec.name)) }
    }

    /// An empty check of a pump.
    pub fn new(pump: PumpId) -> Self {
        Self {
            pump,
            new_pump: None,
            pump_m3: None,
            photos: Vec::new(),
            reading: None,
            level_by_eye: None,
            grades: Vec::new(),
            liquid: None,
            liquid_low: None,
            settled_ml: None,
            work: None,
            note: String::new(),
        }
    }
}

/// A name without outer spaces, of 1 to 80 characters, none of them a control character.
pub(crate) fn name(what: &str, text: &str) -> Result<String, CoreError> {
    let text = text.trim();
    let count = text.chars().count();
    if count == 0 || count > LONGEST_NAME || text.chars().any(char::is_control) {
        return Err(CoreError::refused(
            "bad_name",
            format!("the {what}'s name has {count} characters; it needs 1 to {LONGEST_NAME}, without control characters"),
            "give a short plain name",
        ));
    }
    Ok(text.to_owned())
}

pub(super) fn within(what: &str, value: f64, low: f64, high: f64) -> Result<(), CoreError> {
    if value.is_finite() && (low..=high).contains(&value) {
        return Ok(());
    }
    Err(CoreError::refused("out_of_range", format!("{what} {value} is outside {low} to {high}"), "check the figure and its unit"))
}

pub(super) fn within_if(what: &str, value: Option<f64>, low: f64, high: f64) -> Result<(), CoreError> {
    value.map_or(Ok(()), |value| within(what, value, low, high))
}

fn note(text: &str) -> Result<(), CoreError> {
    let count = text.chars().count();
    if count > LONGEST_NOTE {
        return Err(CoreError::refused(
            "note_too_long",
            format!("the note has {count} characters; {LONGEST_NOTE} is the most"),
            "shorten it",
        ));
    }
    Ok(())
}

/// A pump's figures within their bounds.
pub(crate) fn pump(spec: PumpSpec) -> Result<PumpSpec, CoreError> {
    let name = name("pump", &spec.name)?;
    // A spreadsheet would take such a name in an export for a formula.
    if name.starts_with(['=', '+', '-', '@']) {
        return Err(CoreError::refused(
            "bad_name",
            format!("the pump's name `{name}` begins like a formula"),
            "begin it with a letter or a digit",
        ));
    }
    crate::pump::check(&spec)?;
    Ok(PumpSpec { name, ..spec })
}

/// Whether a body's figures are within their bounds.
pub(crate) fn check_body(body: &EntryBody) -> Result<(), CoreError> {
    within_if("the running total, m3,", body.pump_m3(), 0.0, HIGHEST_TOTAL_M3)?;
    match body {
        EntryBody::BoxCheck(check) => {
            within_if("the settled solids, mL,", check.settled_ml, 0.0, 100_000.0)?;
            note(&check.note)
        }
        EntryBody::Graded(graded) => note(&graded.note),
        EntryBody::Measured(measured) => {
            let plain = (1..=40).contains(&measured.measure.len())
                && measured.measure.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'_');
            if !plain {
                return Err(CoreError::refused(
                    "bad_measure",
                    format!("`{}` is not the name of a measure", measured.measure),
                    "use small letters, digits and _, with the unit at the end, such as bore_wear_mm",
                ));
            }
            within(&measured.measure, measured.value, -1e6, 1e6)?;
            let Some(document) = &measured.document else { return Ok(()) };
            let told = figure(document)?;
            let same = told.part == measured.part && told.measure == measured.measure && told.value.to_bits() == measured.value.to_bits();
            if same {
                return Ok(());
            }
            Err(CoreError::refused(
                "bad_document",
                format!("the document says {} {}, the entry {} {}", told.measure, told.value, measured.measure, measured.value),
                "record the document alone: its figure follows from it",
            ))
        }
        EntryBody::Fitted(fitted) => within_if("the part's age, m3,", fitted.age_m3, 0.0, HIGHEST_TOTAL_M3),
        EntryBody::Poured(poured) => {
            if poured.pour_m3.is_none() && poured.pump_m3.is_none() {
                return Err(CoreError::refused(
                    "nothing_poured",
                    "neither a pour nor a running total is given",
                    "give one of the two in m3",
                ));
            }
            within_if("the pour, m3,", poured.pour_m3, 0.0, 100_000.0)?;
            within_if("the concrete pressure, bar,", poured.concrete_bar, 0.0, 400.0)?;
            within_if("the mix factor", poured.mix_factor, 0.05, 20.0)
        }
        EntryBody::Called(called) => {
            let reason = called.overrule_reason.as_deref().unwrap_or("").trim();
            if called.overruled_to.is_some() && reason.is_empty() {
                return Err(CoreError::refused("no_reason", "the call is overruled without a reason", "say why in a few words"));
            }
            note(reason)
        }
        EntryBody::ChangedOut(changed) => {
            note(&changed.parts_used)?;
            note(&changed.note)
        }
        EntryBody::Amended(amended) => {
            if amended.reason.trim().is_empty() {
                return Err(CoreError::refused("no_reason", "the entry is amended without a reason", "say what was wrong in a few words"));
            }
            note(&amended.reason)?;
            amended.instead.as_ref().map_or(Ok(()), |instead| check_body(instead))
        }
        EntryBody::PumpSet(spec) => pump(spec.clone()).map(|_| ()),
        EntryBody::Removed(_) | EntryBody::Other(_) => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::entry::{Measured, Poured};

    fn spec() -> PumpSpec {
        PumpSpec { name: " P1 ".into(), ..PumpSpec::assumed("") }
    }

    #[test]
    fn pump_figures_out_of_range_are_refused_by_name_and_range() {
        assert_eq!(pump(spec()).unwrap().name, "P1");
        let error = pump(PumpSpec { bore_mm: 20.0, ..spec() }).unwrap_err();
        assert!(error.reason().contains("80"), "names the range: {error}");
        assert!(pump(PumpSpec { drive_rod_mm: 130.0, ..spec() }).is_err());
        assert!(pump(PumpSpec { stroke_mm: f64::NAN, ..spec() }).is_err());
        assert_eq!(pump(PumpSpec { name: "\n".into(), ..spec() }).unwrap_err().code(), "bad_name");
        assert_eq!(pump(PumpSpec { name: "=1+1".into(), ..spec() }).unwrap_err().code(), "bad_name");
    }

    #[test]
    fn pour_without_figures_and_measure_without_a_plain_name_are_refused() {
        let poured = Poured { pour_m3: None, pump_m3: None, concrete_bar: None, mix_factor: None };
        assert_eq!(check_body(&EntryBody::Poured(poured)).unwrap_err().code(), "nothing_poured");
        let measured =
            Measured { part: Part::Bore, cup: None, measure: "Bore wear".into(), value: 0.2, pump_m3: None, document: None, work: None };
        assert_eq!(check_body(&EntryBody::Measured(measured)).unwrap_err().code(), "bad_measure");
    }
}
