//! How far a change-out has come.

use chrono::{DateTime, FixedOffset};
use serde::{Deserialize, Serialize};

use super::procedure::{Step, cup_change};
use crate::error::CoreError;
use crate::ids::{PhotoId, PumpId, WorkId};
use crate::model::entry::StepMark;
use crate::model::{Cup, PumpSpec};

/// The schema name of a change-out under way.
pub const PROGRESS_SCHEMA: &str = "gritbook.changeout/1";

/// How a change-out began.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Begun {
    /// Names this work, so that finishing it twice records it once.
    pub work: WorkId,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// On which pump.
    pub pump: PumpId,
    /// The pump's figures then: the steps follow from them to the end of the work.
    pub spec: PumpSpec,
    /// The cups that are changed, in this order.
    pub cups: Vec<Cup>,
}

/// A change-out under way: a document that the shell keeps after every touch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Progress {
    /// Always [`PROGRESS_SCHEMA`].
    pub schema: String,
    /// Which procedure.
    pub procedure: String,
    /// Its edition then.
    pub edition: String,
    /// How it began.
    pub begun: Begun,
    /// Marked steps, in order.
    pub marks: Vec<StepMark>,
}

impl Progress {
    /// Begins the change of these cups.
    ///
    /// # Errors
    /// `no_cups` where none is named or one is named twice.
    pub fn begin(pump: PumpId, spec: PumpSpec, cups: &[Cup], now: DateTime<FixedOffset>) -> Result<Self, CoreError> {
        if !matches!(cups, [_] | [Cup::A, Cup::B] | [Cup::B, Cup::A]) {
            return Err(CoreError::refused("no_cups", "a change-out is of cup A, of cup B, or of both", "say which cups come out"));
        }
        let procedure = cup_change();
        Ok(Self {
            schema: PROGRESS_SCHEMA.to_owned(),
            procedure: procedure.id.clone(),
            edition: procedure.edition.clone(),
            begun: Begun { work: WorkId::new(now.to_utc()), at: now, pump, spec, cups: cups.to_vec() },
            marks: Vec::new(),
        })
    }

    /// Reads a document that [`Progress::document`] wrote.
    ///
    /// # Errors
    /// `bad_document`; `other_edition` where the steps have changed since it began.
    pub fn of_document(document: &str) -> Result<Self, CoreError> {
        let progress: Self = serde_json::from_str(document).map_err(|cause| {
            CoreError::refused("bad_document", "this is no change-out under way", "begin the change-out anew").because(cause)
        })?;
        let now = cup_change();
        if progress.schema != PROGRESS_SCHEMA || progress.procedure != now.id || progress.edition != now.edition {
            return Err(CoreError::refused(
                "other_edition",
                format!("the change-out was begun with edition {} of the steps; this program has {}", progress.edition, now.edition),
                "note what is done, and begin it anew from the first step",
            ));
        }
        Ok(progress)
    }

    /// The document.
    pub fn document(&self) -> String {
        // Strings, times and figures that were read from a document or checked: they always serialise.
        serde_json::to_string(self).unwrap_or_default()
    }

    /// All steps, in order.
    pub fn steps(&self) -> Vec<Step> {
        cup_change().steps(&self.begun.spec, &self.begun.cups)
    }

    /// The step that is to be done now; None where all are marked.
    pub fn next(&self) -> Option<Step> {
        self.steps().into_iter().nth(self.marks.len())
    }

    /// Marks the step that is to be done now as done, or as skipped for a reason.
    ///
    /// # Errors
    /// `not_this_step` where another step is to be done now: a touch that came twice marks nothing twice. `no_reason` for a skip
    /// without one.
    pub fn mark(&mut self, step: &str, skipped: Option<&str>, photos: Vec<PhotoId>, now: DateTime<FixedOffset>) -> Result<(), CoreError> {
        let Some(next) = self.next().filter(|next| next.key == step) else {
            return Err(CoreError::refused("not_this_step", format!("`{step}` is not the step to be done now"), "look at the step shown"));
        };
        let skipped = skipped.map(str::trim);
        if skipped.is_some_and(str::is_empty) {
            return Err(CoreError::refused("no_reason", "the step is skipped without a reason", "say why in a few words"));
        }
        if skipped.is_some_and(|reason| reason.chars().count() > 400) {
            return Err(CoreError::refused("note_too_long", "the reason has more than 400 characters", "shorten it"));
        }
        self.marks.push(StepMark { step: next.key, at: now, skipped: skipped.map(str::to_owned), photos });
        Ok(())
    }

    /// Takes the last mark back, where a touch was a mistake; its photos stay in the book.
    pub fn take_back(&mut self) {
        self.marks.pop();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn now() -> DateTime<FixedOffset> {
        DateTime::parse_from_rfc3339("2026-03-02T07:15:00-06:00").unwrap()
    }

    fn begun(cups: &[Cup]) -> Progress {
        Progress::begin(PumpId::named("P1"), PumpSpec::assumed("P1"), cups, now()).unwrap()
    }

    #[test]
    fn steps_are_marked_in_order_and_a_touch_that_came_twice_marks_nothing_twice() {
        let mut progress = begun(&[Cup::A]);
        let first = progress.next().unwrap();
        assert_eq!(progress.mark("refill", None, Vec::new(), now()).unwrap_err().code(), "not_this_step");
        progress.mark(&first.key, None, Vec::new(), now()).unwrap();
        assert_eq!(progress.mark(&first.key, None, Vec::new(), now()).unwrap_err().code(), "not_this_step");
        assert_eq!(progress.marks.len(), 1);
        progress.take_back();
        assert_eq!(progress.next().unwrap(), first);
    }

    #[test]
    fn skipping_needs_a_reason_also_at_a_hold_point() {
        let mut progress = begun(&[Cup::A]);
        let hold = progress.next().unwrap();
        assert!(hold.hold);
        assert_eq!(progress.mark(&hold.key, Some("  "), Vec::new(), now()).unwrap_err().code(), "no_reason");
        progress.mark(&hold.key, Some("read this morning"), Vec::new(), now()).unwrap();
        assert_eq!(progress.marks[0].skipped.as_deref(), Some("read this morning"));
    }

    #[test]
    fn no_cup_or_the_same_twice_begins_nothing() {
        for cups in [&[] as &[Cup], &[Cup::A, Cup::A], &[Cup::A, Cup::B, Cup::A]] {
            let error = Progress::begin(PumpId::named("P1"), PumpSpec::assumed("P1"), cups, now()).unwrap_err();
            assert_eq!(error.code(), "no_cups");
        }
    }

    #[test]
    fn document_of_another_kind_or_edition_is_refused() {
        assert_eq!(Progress::of_document("{}").unwrap_err().code(), "bad_document");
        let other = Progress { edition: "1999-01".into(), ..begun(&[Cup::B]) };
        assert_eq!(Progress::of_document(&other.document()).unwrap_err().code(), "other_edition");
    }

    proptest! {
        /// Killed between any two touches: what was marked is there, the next step is the same.
        #[test]
        fn prop_progress_survives_being_written_and_read_after_every_touch(
            touches in prop::collection::vec(prop_oneof![Just(None), ".{0,12}".prop_map(Some)], 0..80), both: bool,
        ) {
            let mut progress = begun(if both { &[Cup::B, Cup::A] } else { &[Cup::A] });
            for touch in touches {
                let Some(step) = progress.next() else { break };
                let _ = progress.mark(&step.key, touch.as_deref(), Vec::new(), now());
                let back = Progress::of_document(&progress.document()).unwrap();
                prop_assert_eq!(&back, &progress);
                prop_assert_eq!(back.next(), progress.next());
                progress = back;
            }
        }
    }
}
