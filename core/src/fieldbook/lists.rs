//! What the book shows: pumps with what is known of them, and the log.

use std::collections::BTreeMap;

use chrono::{DateTime, FixedOffset};
use serde::Serialize;

use super::amend::{Effective, effective, no_such_entry};
use super::{FieldBook, no_such_pump};
use crate::debris::reading::LevelCode;
use crate::error::CoreError;
use crate::ids::{EntryId, PumpId};
use crate::model::entry::{EntryBody, Liquid, SealedEntry};
use crate::model::part::{Cup, Grade, GradeSource, Part};
use crate::model::pump::PumpSpec;
use crate::store::{Store, entries, pumps, queue};
use crate::wear::grade::graver;

/// The last box check of a pump.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct LastCheck {
    /// Its entry.
    pub entry: EntryId,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// The level.
    pub level: Option<LevelCode>,
    /// By eye or by the photo.
    pub level_source: Option<GradeSource>,
    /// The liquid.
    pub liquid: Option<Liquid>,
    /// Whether it was low.
    pub liquid_low: Option<bool>,
}

/// What a part is graded now: since it was fitted last.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct CurrentGrade {
    /// Which part.
    pub part: Part,
    /// Which side.
    pub cup: Option<Cup>,
    /// The last grade by eye.
    pub by_eye: Option<Grade>,
    /// The last grade by measure.
    pub measured: Option<Grade>,
    /// The graver of the two: it counts.
    pub counts: Grade,
}

/// A pump with what is known of it now.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct PumpSummary {
    /// Its id.
    pub id: PumpId,
    /// Its figures.
    pub spec: PumpSpec,
    /// Another pump has the same name: two devices gave it.
    pub name_shared: bool,
    /// The last running total that was told, m3.
    pub pump_m3: Option<f64>,
    /// The last box check.
    pub last_check: Option<LastCheck>,
    /// Grades of parts, by part and side.
    pub grades: Vec<CurrentGrade>,
    /// The gravest of the grades that count.
    pub gravest: Option<Grade>,
    /// Entries of this pump that the depot does not have yet.
    pub waiting: u64,
}

impl FieldBook {
    /// The pumps by name, with their last level, grades and what still waits to be sent.
    ///
    /// # Errors
    /// What reading the book gives.
    pub fn pumps(&self) -> Result<Vec<PumpSummary>, CoreError> {
        let store = self.store()?;
        let all = store.read(pumps::all)?;
        all.iter()
            .map(|(id, spec)| {
                let name_shared = all.iter().any(|(other, theirs)| other != id && pumps::fold(&theirs.name) == pumps::fold(&spec.name));
                summary(&store, *id, spec.clone(), name_shared)
            })
            .collect()
    }

    /// One pump with what is known of it now.
    ///
    /// # Errors
    /// `no_such_pump`.
    pub fn pump_summary(&self, pump: PumpId) -> Result<PumpSummary, CoreError> {
        let store = self.store()?;
        let spec = store.read(|connection| pumps::by_id(connection, pump))?.ok_or_else(no_such_pump)?;
        let name_shared = store.read(|connection| pumps::by_name(connection, &spec.name))?.len() > 1;
        summary(&store, pump, spec, name_shared)
    }

    /// The newest entries, newest first; of one pump where given.
    ///
    /// # Errors
    /// What reading the book gives.
    pub fn log(&self, pump: Option<PumpId>, limit: u32) -> Result<Vec<SealedEntry>, CoreError> {
        self.store()?.read(|connection| entries::newest(connection, pump, limit))
    }

    /// All entries in the record's order (hybrid time, then device).
    ///
    /// # Errors
    /// What reading the book gives.
    pub fn entries(&self) -> Result<Vec<SealedEntry>, CoreError> {
        self.store()?.read(entries::all)
    }

    /// A pump's entries with what holds of each, in the record's order; amendments stand with what they amend.
    ///
    /// # Errors
    /// `no_such_pump`.
    pub fn effective(&self, pump: PumpId) -> Result<Vec<Effective>, CoreError> {
        let store = self.store()?;
        store.read(|connection| pumps::by_id(connection, pump))?.ok_or_else(no_such_pump)?;
        let all = store.read(entries::all)?;
        Ok(effective(all.into_iter().filter(|sealed| sealed.entry.head.pump == pump).collect()))
    }

    /// One entry as it was sealed.
    ///
    /// # Errors
    /// `no_such_entry`.
    pub fn entry(&self, id: EntryId) -> Result<SealedEntry, CoreError> {
        self.store()?.read(|connection| entries::by_id(connection, id))?.ok_or_else(no_such_entry)
    }
}

fn summary(store: &Store, id: PumpId, spec: PumpSpec, name_shared: bool) -> Result<PumpSummary, CoreError> {
    let amendments = store.read(|connection| entries::of_pump(connection, id, &["amended"]))?;
    // What holds of one entry, its amendments beside it.
    let holds = |sealed: SealedEntry| {
        let beside = std::iter::once(sealed).chain(amendments.iter().cloned()).collect();
        effective(beside).pop().and_then(|found| Some((found.sealed.entry.head, found.holds?)))
    };
    let last_check = store.read(|connection| {
        entries::walk_back(connection, id, Some("box_check"), |sealed| match holds(sealed)? {
            (head, EntryBody::BoxCheck(check)) => Some(LastCheck {
                entry: head.id,
                at: head.at,
                level: check.level,
                level_source: check.level_source,
                liquid: check.liquid,
                liquid_low: check.liquid_low,
            }),
            _ => None,
        })
    })?;
    let pump_m3 = store.read(|connection| {
        entries::walk_back(connection, id, None, |sealed| match sealed.entry.body {
            EntryBody::Amended(_) => None,
            _ => holds(sealed)?.1.pump_m3(),
        })
    })?;
    let others = effective(store.read(|connection| entries::of_pump(connection, id, &["graded", "fitted", "removed", "amended"]))?);
    let grades = current_grades(&others);
    let gravest = grades.iter().map(|grade| grade.counts).max();
    let waiting = store.read(|connection| queue::waiting_of_pump(connection, &id.to_string()))?;
    Ok(PumpSummary { id, spec, name_shared, pump_m3, last_check, grades, gravest, waiting })
}

/// The last grade by eye and by measure of each part since it was fitted last.
fn current_grades(entries: &[Effective]) -> Vec<CurrentGrade> {
    let mut now: BTreeMap<(Part, Option<Cup>), (Option<Grade>, Option<Grade>)> = BTreeMap::new();
    for found in entries {
        match &found.holds {
            Some(EntryBody::Graded(graded)) => {
                let grades = now.entry((graded.part, graded.cup)).or_default();
                match graded.source {
                    GradeSource::Eye => grades.0 = Some(graded.grade),
                    GradeSource::Measured => grades.1 = Some(graded.grade),
                }
            }
            Some(EntryBody::Fitted(fitted)) if !fitted.already_in => {
                now.remove(&(fitted.part, fitted.cup));
            }
            Some(EntryBody::Removed(removed)) => {
                now.remove(&(removed.part, removed.cup));
            }
            _ => {}
        }
    }
    now.into_iter()
        .filter_map(|((part, cup), (by_eye, measured))| {
            graver(by_eye, measured).map(|counts| CurrentGrade { part, cup, by_eye, measured, counts })
        })
        .collect()
}
