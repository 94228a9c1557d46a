//! The box check: photos, reading, level and grades in one save.

use chrono::{DateTime, FixedOffset};
use rusqlite::Connection;

use super::drafts::{self, BoxCheckDraft};
use super::{FieldBook, Remark, SavedCheck, grades, known_pump};
use crate::debris::reading::{LevelCode, Reading};
use crate::error::CoreError;
use crate::failpoint::failpoint;
use crate::ids::{PumpId, WorkId};
use crate::model::entry::{BoxCheck, EntryBody, SealedEntry};
use crate::model::part::GradeSource;
use crate::store::{entries, photos, pumps};

/// A running total that grows by more than this from one entry to the next is worth a second look, m3. A large pump does
/// about 100 m3 an hour (common practice, no published source): this is weeks of pumping.
const JUMP_M3: f64 = 10_000.0;

impl FieldBook {
    /// Saves a box check: the photos first, durable under their hashes, then the check, its grades and their queue rows in
    /// one transaction. When it returns, all of it survives a pulled battery; where it fails, nothing of it is in the record
    /// (a photo may stay, and is found again when the check is saved anew). Outlines of grains are not kept: they follow from
    /// the photo.
    ///
    /// # Errors
    /// `no_such_pump` (unless a new one is given with the check); `not_a_photo`, `too_big`, `no_such_file` for a photo; `reading_of_other_photo`; `empty_check`; figures out
    /// of range; `storage_full`.
    pub fn save_box_check(&self, draft: BoxCheckDraft, now: DateTime<FixedOffset>) -> Result<SavedCheck, CoreError> {
        let (level, level_source) = graver(draft.reading.as_ref().map(|reading| reading.level.code), draft.level_by_eye);
        let mut check = BoxCheck {
            pump_m3: draft.pump_m3,
            photos: Vec::new(),
            reading: draft.reading.map(without_outlines),
            level,
            level_source,
            liquid: draft.liquid,
            liquid_low: draft.liquid_low,
            settled_ml: draft.settled_ml,
            work: draft.work,
            note: draft.note.trim().to_owned(),
        };
        let is_empty = draft.photos.is_empty()
            && draft.grades.is_empty()
            && level.is_none()
            && check.liquid.is_none()
            && check.liquid_low.is_none()
            && check.settled_ml.is_none()
            && check.note.is_empty();
        if is_empty {
            return Err(CoreError::refused("empty_check", "the box check says nothing", "add a photo, a level, the liquid or a note"));
        }
        drafts::check_body(&EntryBody::BoxCheck(check.clone()))?;
        draft.grades.iter().try_for_each(|grade| drafts::check_body(&grade.body(draft.pump_m3, Vec::new(), None)))?;

        let new_pump = draft.new_pump.map(drafts::pump).transpose()?;
        let mut store = self.store()?;
        // Before any file is written: a mistyped pump leaves nothing behind.
        let there = store.read(|connection| pumps::by_id(connection, draft.pump))?.is_some();
        if !there && new_pump.is_none() {
            return Err(super::no_such_pump());
        }
        if let Some(work) = draft.work
            && let Some(saved) = store.read(|connection| saved_before(connection, draft.pump, work))?
        {
            return Ok(saved);
        }
        let mut kept = Vec::new();
        for photo in &draft.photos {
            let photo = store.photos.keep(&photo.read()?)?;
            if !check.photos.contains(&photo.id) {
                check.photos.push(photo.id);
                kept.push(photo);
            }
        }
        let grades = grades::keep(&store, &draft.grades, draft.pump_m3, None, &mut kept)?;
        if let Some(reading) = &check.reading
            && !check.photos.iter().any(|photo| photo.to_string() == reading.photo.sha256)
        {
            return Err(CoreError::refused(
                "reading_of_other_photo",
                "the reading is of a photo that is not in this check",
                "read the photo that is saved with the check",
            ));
        }
        failpoint!("check_before_transaction");
        let saved = store.write("saving the box check", |transaction| {
            match new_pump {
                Some(spec) if pumps::by_id(transaction, draft.pump)?.is_none() => {
                    self.append(transaction, draft.pump, EntryBody::PumpSet(spec), now)?;
                }
                _ => known_pump(transaction, draft.pump)?,
            }
            let remarks = remarks(transaction, draft.pump, draft.pump_m3)?;
            for photo in &kept {
                photos::add_row(transaction, photo, now.timestamp_millis())?;
            }
            failpoint!("check_photo_rows_written");
            let photos = check.photos.clone();
            let check = self.append(transaction, draft.pump, EntryBody::BoxCheck(check), now)?.entry.head.id;
            failpoint!("check_entry_written");
            let mut ids = Vec::new();
            for grade in grades {
                ids.push(self.append(transaction, draft.pump, grade, now)?.entry.head.id);
            }
            failpoint!("check_before_commit");
            Ok(SavedCheck { check, grades: ids, photos, remarks })
        })?;
        failpoint!("check_committed");
        Ok(saved)
    }
}

/// The check of that name, where it was saved before: with the grades of the same save, which follow it in the device's order.
fn saved_before(connection: &Connection, pump: PumpId, work: WorkId) -> Result<Option<SavedCheck>, CoreError> {
    let all = entries::of_pump(connection, pump, &["box_check", "graded"])?;
    let is_it = |sealed: &SealedEntry| matches!(&sealed.entry.body, EntryBody::BoxCheck(check) if check.work == Some(work));
    let Some(at) = all.iter().position(is_it) else { return Ok(None) };
    let head = &all[at].entry.head;
    // Another device's entries may stand between them.
    let own = all[at + 1..].iter().filter(|sealed| sealed.entry.head.device == head.device);
    let grades = (1..).zip(own).take_while(|(step, sealed)| {
        let next = &sealed.entry.head;
        next.seq == head.seq + step && next.at == head.at && sealed.entry.body.kind() == "graded"
    });
    Ok(Some(SavedCheck {
        check: head.id,
        grades: grades.map(|(_, sealed)| sealed.entry.head.id).collect(),
        photos: all[at].entry.body.photos().to_vec(),
        remarks: Vec::new(),
    }))
}

/// The graver of the reading's level and the eye's, and whose it is; the reading's where they agree.
fn graver(read: Option<LevelCode>, eye: Option<LevelCode>) -> (Option<LevelCode>, Option<GradeSource>) {
    match (read, eye) {
        (Some(read), Some(eye)) if eye > read => (Some(eye), Some(GradeSource::Eye)),
        (Some(read), _) => (Some(read), Some(GradeSource::Measured)),
        (None, Some(eye)) => (Some(eye), Some(GradeSource::Eye)),
        (None, None) => (None, None),
    }
}

fn without_outlines(mut reading: Reading) -> Reading {
    for grain in &mut reading.grains {
        grain.outline_mm = None;
    }
    reading
}

/// What is odd about the running total.
fn remarks(connection: &Connection, pump: PumpId, total: Option<f64>) -> Result<Vec<Remark>, CoreError> {
    let Some(total) = total else { return Ok(Vec::new()) };
    let before = entries::walk_back(connection, pump, None, |sealed| sealed.entry.body.pump_m3())?;
    let remark = |code, text| vec![Remark { code, text }];
    Ok(match before {
        Some(before) if total < before => remark(
            "total_went_back",
            format!("the running total went back from {before} to {total} m3: check it, or amend the earlier entry"),
        ),
        Some(before) if total - before > JUMP_M3 => {
            remark("total_jumped", format!("the running total jumped from {before} to {total} m3: check it"))
        }
        _ => Vec::new(),
    })
}
