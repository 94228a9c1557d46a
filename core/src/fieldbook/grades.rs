//! Grades with photos of the wear surface: saved in one go, and shown again beside the next ones.

use std::path::PathBuf;

use chrono::{DateTime, FixedOffset};
use rusqlite::Connection;

use super::amend::effective;
use super::drafts::{self, GradeDraft, GradesDraft};
use super::{FieldBook, known_pump};
use crate::error::CoreError;
use crate::failpoint::failpoint;
use crate::ids::{EntryId, PhotoId, PumpId, WorkId};
use crate::model::entry::EntryBody;
use crate::model::part::{Cup, Grade, GradeSource, Part};
use crate::store::{DurablePhoto, Store, entries, photos, pumps};

/// A photo of a wear surface, with the grade that was given with it.
#[derive(Debug, Clone, PartialEq)]
pub struct WearPhoto {
    /// The photo.
    pub photo: PhotoId,
    /// Its file; `None` where this device does not have it (another device took it, or it is gone).
    pub path: Option<PathBuf>,
    /// When it was graded.
    pub at: DateTime<FixedOffset>,
    /// Running total then, m3.
    pub pump_m3: Option<f64>,
    /// The grade.
    pub grade: Grade,
    /// By eye or by measure.
    pub source: GradeSource,
    /// True where a new part was fitted after it: it shows the one before.
    pub of_part_before: bool,
}

impl FieldBook {
    /// Saves grades given in one go: their photos first, durable under their hashes, then all entries with their queue rows in one
    /// transaction. Where it fails, none of them is in the record. A grading of that name that was saved before is not saved again.
    /// Gives the entries in the order of the grades.
    ///
    /// # Errors
    /// `no_grades`; `no_such_pump`; `not_a_photo`, `too_big`, `no_such_file` for a photo; figures out of range; `storage_full`.
    pub fn save_grades(&self, draft: GradesDraft, now: DateTime<FixedOffset>) -> Result<Vec<EntryId>, CoreError> {
        let GradesDraft { pump, pump_m3, grades, work } = draft;
        if grades.is_empty() {
            return Err(CoreError::refused("no_grades", "no part was graded", "grade a part first"));
        }
        grades.iter().try_for_each(|grade| drafts::check_body(&grade.body(pump_m3, Vec::new(), work)))?;
        let mut store = self.store()?;
        // Before any file is written: a mistyped pump leaves nothing behind.
        store.read(|connection| pumps::by_id(connection, pump))?.ok_or_else(super::no_such_pump)?;
        if let Some(work) = work {
            let saved = store.read(|connection| saved_before(connection, pump, work))?;
            if !saved.is_empty() {
                return Ok(saved);
            }
        }
        let mut kept = Vec::new();
        let bodies = keep(&store, &grades, pump_m3, work, &mut kept)?;
        failpoint!("grades_before_transaction");
        store.write("saving the grades", |transaction| {
            known_pump(transaction, pump)?;
            for photo in &kept {
                photos::add_row(transaction, photo, now.timestamp_millis())?;
            }
            bodies.into_iter().map(|body| Ok(self.append(transaction, pump, body, now)?.entry.head.id)).collect()
        })
    }

    /// The photos of one part of one pump that were kept with its grades, newest first, at most `most`; those of one grade in the order
    /// taken. Amendments are applied.
    ///
    /// # Errors
    /// `no_such_pump`.
    pub fn wear_photos(&self, pump: PumpId, part: Part, cup: Option<Cup>, most: u32) -> Result<Vec<WearPhoto>, CoreError> {
        let most = most as usize;
        let store = self.store()?;
        store.read(|connection| pumps::by_id(connection, pump))?.ok_or_else(super::no_such_pump)?;
        let all = effective(store.read(|connection| entries::of_pump(connection, pump, &["graded", "fitted", "amended"]))?);
        let mut found = Vec::new();
        let mut of_part_before = false;
        for entry in all.into_iter().rev() {
            if found.len() >= most {
                break;
            }
            match entry.holds {
                Some(EntryBody::Graded(graded)) if graded.part == part && graded.cup == cup => {
                    for photo in graded.photos {
                        let row = store.read(|connection| photos::row(connection, &photo))?;
                        let path = row.map(|row| store.photos.path(&photo, row.format)).filter(|path| path.exists());
                        let (at, pump_m3, grade, source) = (entry.sealed.entry.head.at, graded.pump_m3, graded.grade, graded.source);
                        found.push(WearPhoto { photo, path, at, pump_m3, grade, source, of_part_before });
                    }
                }
                Some(EntryBody::Fitted(fitted)) if fitted.part == part && fitted.cup == cup && !fitted.already_in => of_part_before = true,
                _ => {}
            }
        }
        found.truncate(most);
        Ok(found)
    }
}

/// Makes the photos of some grades durable and gives the bodies of their entries. What is not among `kept` yet is added: the rows are
/// written with the entries.
pub(super) fn keep(
    store: &Store,
    grades: &[GradeDraft],
    pump_m3: Option<f64>,
    work: Option<WorkId>,
    kept: &mut Vec<DurablePhoto>,
) -> Result<Vec<EntryBody>, CoreError> {
    let mut bodies = Vec::new();
    for grade in grades {
        let mut ids = Vec::new();
        for photo in &grade.photos {
            let photo = store.photos.keep(&photo.read()?)?;
            if !ids.contains(&photo.id) {
                ids.push(photo.id);
            }
            if kept.iter().all(|other| other.id != photo.id) {
                kept.push(photo);
            }
        }
        bodies.push(grade.body(pump_m3, ids, work));
    }
    Ok(bodies)
}

/// The entries of the grading of that name, in the order given.
fn saved_before(connection: &Connection, pump: PumpId, work: WorkId) -> Result<Vec<EntryId>, CoreError> {
    let all = entries::of_pump(connection, pump, &["graded"])?;
    let of_it = |body: &EntryBody| matches!(body, EntryBody::Graded(graded) if graded.work == Some(work));
    Ok(all.iter().filter(|sealed| of_it(&sealed.entry.body)).map(|sealed| sealed.entry.head.id).collect())
}

#[cfg(test)]
mod tests {
    use super::super::tests::{JPEG, now, open};
    use super::*;
    use crate::fieldbook::{BoxCheckDraft, PhotoInput};
    use crate::ids::Sha256Hex;
    use crate::model::entry::Fitted;
    use crate::model::pump::PumpSpec;

    const OTHER: &[u8] = b"\xFF\xD8\xFF\xE0 another photo";

    fn given(cup: Cup, number: u8, photos: &[&[u8]]) -> GradeDraft {
        GradeDraft {
            part: Part::Cup,
            cup: Some(cup),
            grade: Grade::new(number).unwrap(),
            source: GradeSource::Eye,
            criteria: "test".into(),
            photos: photos.iter().map(|bytes| PhotoInput::Bytes(bytes.to_vec())).collect(),
        }
    }

    fn of(pump: PumpId, pump_m3: f64, grades: Vec<GradeDraft>) -> GradesDraft {
        GradesDraft { pump, pump_m3: Some(pump_m3), grades, work: None }
    }

    #[test]
    fn photos_of_grades_are_queued_exported_and_verified_like_those_of_a_box() {
        let folder = tempfile::tempdir().unwrap();
        let book = open(folder.path());
        let pump = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
        let saved =
            book.save_grades(of(pump, 900.0, vec![given(Cup::A, 2, &[JPEG, JPEG]), given(Cup::B, 1, &[JPEG, OTHER])]), now()).unwrap();
        assert_eq!(saved.len(), 2);
        let EntryBody::Graded(first) = book.entry(saved[0]).unwrap().entry.body else { panic!() };
        assert_eq!(first.photos, [Sha256Hex::of(JPEG)], "the same photo twice is one");
        assert_eq!(book.outbox().unwrap().len(), 5, "pump, two grades, two photos");
        let report = book.verify().unwrap();
        assert!(report.sound && report.photos_unclaimed.is_empty(), "{report:?}");
        let exported = book.export(&folder.path().join("out")).unwrap();
        assert_eq!((exported.photos, exported.photos_missing), (2, 0));
    }

    #[test]
    fn photos_of_grades_given_with_a_check_stand_with_the_grade() {
        let folder = tempfile::tempdir().unwrap();
        let book = open(folder.path());
        let pump = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
        let draft = BoxCheckDraft {
            pump_m3: Some(500.0),
            photos: vec![PhotoInput::Bytes(JPEG.to_vec())],
            grades: vec![given(Cup::A, 3, &[OTHER, JPEG])],
            ..BoxCheckDraft::new(pump)
        };
        let saved = book.save_box_check(draft, now()).unwrap();
        assert_eq!(saved.photos, [Sha256Hex::of(JPEG)], "a check's own photos are its own");
        let EntryBody::Graded(graded) = book.entry(saved.grades[0]).unwrap().entry.body else { panic!() };
        assert_eq!(graded.photos, [Sha256Hex::of(OTHER), Sha256Hex::of(JPEG)]);
        assert_eq!(book.outbox().unwrap().len(), 5, "pump, check, grade, two photos");
        assert!(book.verify().unwrap().sound);
    }

    #[test]
    fn last_photos_are_of_the_same_part_and_side_newest_first_and_know_a_change_in_between() {
        let folder = tempfile::tempdir().unwrap();
        let book = open(folder.path());
        let pump = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
        let other = book.add_pump(PumpSpec::assumed("P2"), now()).unwrap();
        assert_eq!(book.wear_photos(pump, Part::Cup, Some(Cup::A), 9).unwrap(), []);
        let later = |days| now() + chrono::Duration::days(days);
        book.save_grades(of(pump, 100.0, vec![given(Cup::A, 1, &[JPEG])]), now()).unwrap();
        book.save_grades(of(pump, 150.0, vec![given(Cup::B, 4, &[OTHER])]), later(1)).unwrap();
        book.save_grades(of(other, 160.0, vec![given(Cup::A, 4, &[OTHER])]), later(2)).unwrap();
        book.fitted(pump, Fitted { part: Part::Cup, cup: Some(Cup::A), pump_m3: None, already_in: false, age_m3: None }, later(3)).unwrap();
        let second = book.save_grades(of(pump, 200.0, vec![given(Cup::A, 0, &[OTHER, JPEG])]), later(4)).unwrap();
        let seen = book.wear_photos(pump, Part::Cup, Some(Cup::A), 9).unwrap();
        let short: Vec<_> = seen.iter().map(|one| (one.photo, one.pump_m3, one.grade.number(), one.of_part_before)).collect();
        let (jpeg, another) = (Sha256Hex::of(JPEG), Sha256Hex::of(OTHER));
        assert_eq!(short, [(another, Some(200.0), 0, false), (jpeg, Some(200.0), 0, false), (jpeg, Some(100.0), 1, true)]);
        assert_eq!(std::fs::read(seen[0].path.as_ref().unwrap()).unwrap(), OTHER);
        assert_eq!(book.wear_photos(pump, Part::Cup, Some(Cup::A), 1).unwrap().len(), 1);
        assert_eq!(book.wear_photos(pump, Part::Plate, Some(Cup::A), 9).unwrap(), []);
        std::fs::remove_file(seen[0].path.as_ref().unwrap()).unwrap();
        assert_eq!(book.wear_photos(pump, Part::Cup, Some(Cup::A), 9).unwrap()[0].path, None, "gone, and said so");
        book.amend(second[0], "of the other side", None, later(5)).unwrap();
        assert_eq!(book.wear_photos(pump, Part::Cup, Some(Cup::A), 9).unwrap().len(), 1, "a withdrawn grade shows nothing");
    }

    #[test]
    fn grading_saved_twice_is_recorded_once_and_a_refused_one_not_at_all() {
        let folder = tempfile::tempdir().unwrap();
        let book = open(folder.path());
        let pump = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
        let work = Some(WorkId::new(now().to_utc()));
        let draft = GradesDraft { work, ..of(pump, 100.0, vec![given(Cup::A, 1, &[JPEG]), given(Cup::B, 2, &[])]) };
        let saved = book.save_grades(draft.clone(), now()).unwrap();
        assert_eq!(book.save_grades(draft, now()).unwrap(), saved);
        assert_eq!(book.entries().unwrap().len(), 3);
        let refused = |draft: GradesDraft| book.save_grades(draft, now()).unwrap_err().code();
        assert_eq!(refused(of(pump, 100.0, vec![])), "no_grades");
        assert_eq!(refused(of(pump, f64::NAN, vec![given(Cup::A, 1, &[])])), "out_of_range");
        assert_eq!(refused(of(PumpId::named("P9"), 1.0, vec![given(Cup::A, 1, &[])])), "no_such_pump");
        assert_eq!(refused(of(pump, 1.0, vec![given(Cup::A, 1, &[]), given(Cup::B, 1, &[b"text"])])), "not_a_photo");
        assert_eq!(book.entries().unwrap().len(), 3, "all or nothing");
    }
}
