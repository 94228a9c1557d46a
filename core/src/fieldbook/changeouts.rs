//! The end of a change-out: the work, the lives it ended and those it began, in one save.

use chrono::{DateTime, FixedOffset};

use super::{FieldBook, drafts, known_pump};
use crate::changeout::{Progress, StepRecords};
use crate::error::CoreError;
use crate::failpoint::failpoint;
use crate::ids::{EntryId, PhotoId};
use crate::model::entry::{ChangedOut, EntryBody, Fitted, RemovalReason, Removed};
use crate::model::{Cup, Part};
use crate::store::entries;

/// What is told at the end of a change-out.
#[derive(Debug, Clone, PartialEq)]
pub struct ChangeOutEnd {
    /// Running total, m3.
    pub pump_m3: Option<f64>,
    /// Why each cup came out, in the order of the work's cups.
    pub reasons: Vec<RemovalReason>,
    /// Parts that were used, in the shop's own words.
    pub parts_used: String,
    /// Free words.
    pub note: String,
}

/// A recorded change-out, by the ids of its entries.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct SavedChangeOut {
    /// The work's entry.
    pub work: EntryId,
    /// Ends and beginnings of lives, in the order recorded; empty where the work had been recorded before.
    pub lives: Vec<EntryId>,
}

impl FieldBook {
    /// Records a finished change-out: its steps, the lives of the cups that came out and those that went in. All or nothing; called
    /// again with the same work it changes nothing. A cup whose step of going in or coming out was skipped gets no such entry.
    ///
    /// # Errors
    /// `steps_open` where a step is neither done nor skipped; `no_reason_for_cup` where not every cup has a reason; `no_such_pump`,
    /// `no_such_photo`, figures out of range.
    pub fn finish_change_out(
        &self,
        progress: &Progress,
        end: ChangeOutEnd,
        now: DateTime<FixedOffset>,
    ) -> Result<SavedChangeOut, CoreError> {
        if let Some(open) = progress.next() {
            return Err(CoreError::refused(
                "steps_open",
                format!("the step `{}` is neither done nor skipped", open.key),
                "do it, or skip it with a reason",
            ));
        }
        let begun = &progress.begun;
        if end.reasons.len() != begun.cups.len() {
            return Err(CoreError::refused("no_reason_for_cup", "not every cup has a reason for coming out", "say why each came out"));
        }
        let mut photos: Vec<PhotoId> = Vec::new();
        for photo in progress.marks.iter().flat_map(|mark| &mark.photos) {
            self.photo_path(photo)?;
            if !photos.contains(photo) {
                photos.push(*photo);
            }
        }
        let bodies = life_bodies(progress, &end);
        let changed = EntryBody::ChangedOut(ChangedOut {
            work: begun.work,
            procedure: progress.procedure.clone(),
            edition: progress.edition.clone(),
            cups: begun.cups.clone(),
            began: begun.at,
            steps: progress.marks.clone(),
            pump_m3: end.pump_m3,
            photos,
            parts_used: end.parts_used.trim().to_owned(),
            note: end.note.trim().to_owned(),
        });
        drafts::check_body(&changed)?;
        let mut store = self.store()?;
        let saved = store.write("saving the change-out", |transaction| {
            known_pump(transaction, begun.pump)?;
            let of_this = |body: &EntryBody| matches!(body, EntryBody::ChangedOut(changed) if changed.work == begun.work);
            let before = entries::of_pump(transaction, begun.pump, &["changed_out"])?;
            if let Some(sealed) = before.iter().find(|sealed| of_this(&sealed.entry.body)) {
                return Ok(SavedChangeOut { work: sealed.entry.head.id, lives: Vec::new() });
            }
            let work = self.append(transaction, begun.pump, changed, now)?.entry.head.id;
            failpoint!("change_out_entry_written");
            let mut lives = Vec::new();
            for body in bodies {
                lives.push(self.append(transaction, begun.pump, body, now)?.entry.head.id);
            }
            Ok(SavedChangeOut { work, lives })
        })?;
        failpoint!("change_out_committed");
        Ok(saved)
    }
}

/// Ends first, then beginnings, by cup.
fn life_bodies(progress: &Progress, end: &ChangeOutEnd) -> Vec<EntryBody> {
    let steps = progress.steps();
    let done = |cup: Cup, records: StepRecords| {
        steps
            .iter()
            .zip(&progress.marks)
            .any(|(step, mark)| step.cup == Some(cup) && step.records == Some(records) && mark.skipped.is_none())
    };
    let cups = progress.begun.cups.iter().zip(&end.reasons);
    let out = cups
        .clone()
        .filter(|(cup, _)| done(**cup, StepRecords::Removed))
        .map(|(cup, reason)| EntryBody::Removed(Removed { part: Part::Cup, cup: Some(*cup), reason: *reason, pump_m3: end.pump_m3 }));
    let new = cups.filter(|(cup, _)| done(**cup, StepRecords::Fitted)).map(|(cup, _)| {
        EntryBody::Fitted(Fitted { part: Part::Cup, cup: Some(*cup), pump_m3: end.pump_m3, already_in: false, age_m3: None })
    });
    out.chain(new).collect()
}

#[cfg(test)]
mod tests {
    use super::super::tests::{JPEG, now, open};
    use super::*;
    use crate::fieldbook::PhotoInput;
    use crate::model::PumpSpec;

    fn finished(book: &FieldBook, cups: &[Cup], skip: &str) -> Progress {
        let pump = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
        let photo = book.keep_photo(&PhotoInput::Bytes(JPEG.to_vec()), now()).unwrap();
        let mut progress = Progress::begin(pump, PumpSpec::assumed("P1"), cups, now()).unwrap();
        while let Some(step) = progress.next() {
            let skipped = (step.key == skip).then_some("not today");
            let photos = if step.photo { vec![photo] } else { Vec::new() };
            progress.mark(&step.key, skipped, photos, now()).unwrap();
        }
        progress
    }

    fn end(reasons: &[RemovalReason]) -> ChangeOutEnd {
        ChangeOutEnd { pump_m3: Some(900.0), reasons: reasons.to_vec(), parts_used: "2 cups".into(), note: String::new() }
    }

    #[test]
    fn finished_change_out_ends_the_old_lives_begins_new_ones_and_is_recorded_once() {
        let folder = tempfile::tempdir().unwrap();
        let book = open(folder.path());
        let progress = finished(&book, &[Cup::A, Cup::B], "");
        let reasons = [RemovalReason::Worn, RemovalReason::OtherCup];
        let saved = book.finish_change_out(&progress, end(&reasons), now()).unwrap();
        assert_eq!(saved.lives.len(), 4);
        let again = book.finish_change_out(&progress, end(&reasons), now()).unwrap();
        assert_eq!((again.work, again.lives.len()), (saved.work, 0));
        let EntryBody::ChangedOut(changed) = book.entry(saved.work).unwrap().entry.body else { panic!("not a change-out") };
        assert_eq!(changed.steps.len(), progress.steps().len());
        assert_eq!(changed.photos.len(), 1, "the same photo is named once");
        let history = book.history_csv(None).unwrap();
        assert_eq!(history.matches(",fitted,").count(), 2, "{history}");
        assert_eq!(history.matches(",removed,").count(), 2, "{history}");
        assert!(book.verify().unwrap().sound);
    }

    #[test]
    fn open_step_or_a_missing_reason_records_nothing_and_a_skipped_fitting_begins_no_life() {
        let folder = tempfile::tempdir().unwrap();
        let book = open(folder.path());
        let mut progress = finished(&book, &[Cup::A], "cup_in_A");
        assert_eq!(book.finish_change_out(&progress, end(&[]), now()).unwrap_err().code(), "no_reason_for_cup");
        progress.take_back();
        assert_eq!(book.finish_change_out(&progress, end(&[RemovalReason::Worn]), now()).unwrap_err().code(), "steps_open");
        let before = book.log(None, 100).unwrap().len();
        let last = progress.next().unwrap();
        progress.mark(&last.key, None, Vec::new(), now()).unwrap();
        let saved = book.finish_change_out(&progress, end(&[RemovalReason::Failed]), now()).unwrap();
        assert_eq!(saved.lives.len(), 1, "out, and no new one in");
        assert_eq!(book.log(None, 100).unwrap().len(), before + 2);
    }
}
