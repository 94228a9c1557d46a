//! The call on a pump of this book, and how long its parts last.

use chrono::{DateTime, FixedOffset, Utc};

use super::FieldBook;
use super::amend::effective;
use super::history::history_of;
use crate::call::{Ask, Call, CallCode, Costs, Forecasted, Judge, TrackRecord, track_record};
use crate::diagnosis::{Diagnosis, diagnose};
use crate::error::CoreError;
use crate::history::{BreakIn, Event, History, Row, Timeline};
use crate::ids::PumpId;
use crate::life::{LifeSummary, summary};
use crate::model::Part;
use crate::model::entry::{Called, EntryBody, RemovalReason, SealedEntry};
use crate::store::entries;

/// What is asked of a call; pressures and mix as usual where they are left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CallQuestion {
    /// The coming pour, m3 (0 to 100,000).
    pub next_pour_m3: f64,
    /// Running total now, m3; None: the last known one.
    pub pump_m3: Option<f64>,
    /// Concrete pressure of the coming pour, bar.
    pub concrete_bar: Option<f64>,
    /// Mix factor of the coming pour.
    pub mix_factor: Option<f64>,
}

impl FieldBook {
    /// The call for the next pour of a pump, from the whole record up to now. Nothing is recorded: see [`FieldBook::record_call`].
    ///
    /// # Errors
    /// `no_such_pump`; `out_of_range` for figures of the question, `bad_ask` for a total below the last known one, `bad_costs`.
    pub fn call(&self, pump: PumpId, question: &CallQuestion, costs: &Costs, now: DateTime<FixedOffset>) -> Result<Call, CoreError> {
        let spec = self.pump(pump)?;
        super::drafts::within("the coming pour, m3,", question.next_pour_m3, 0.0, 100_000.0)?;
        super::drafts::within_if("the concrete pressure, bar,", question.concrete_bar, 0.0, 400.0)?;
        super::drafts::within_if("the mix factor", question.mix_factor, 0.05, 20.0)?;
        let mut judge = Judge::new(costs.clone())?;
        let known = self.history()?;
        // A phone whose clock was set back has rows from later than now; they are known all the same.
        let at = known.rows.iter().map(|row| row.at).max().map_or(now.to_utc(), |last| last.max(now.to_utc()));
        let key = pump.to_string();
        let ever_told = known.rows.iter().any(|row| row.pump == key);
        known.rows.iter().for_each(|row| judge.take_in(row));
        if !ever_told {
            judge.take_in(&Row::counter(&key, at, question.pump_m3));
        }
        let ask = Ask {
            at,
            at_text: now.to_rfc3339(),
            pump: key,
            next_pour_m3: question.next_pour_m3,
            pump_m3: question.pump_m3,
            concrete_bar: question.concrete_bar,
            mix_factor: question.mix_factor,
            bore_mm: Some(spec.bore_mm),
        };
        Ok(Call { pump: spec.name, ..judge.answer(&ask)? })
    }

    /// How honest the calls were that were recorded in this book: each chance as it was given then, against what happened in the
    /// pour that followed.
    ///
    /// # Errors
    /// What reading the book gives.
    pub fn track_record(&self) -> Result<TrackRecord, CoreError> {
        let all = self.store()?.read(entries::all)?;
        track_record_of(all)
    }

    /// The looks into the box that follow new cups, done and due; None where none is to come.
    ///
    /// # Errors
    /// `no_such_pump`.
    pub fn break_in(&self, pump: PumpId) -> Result<Option<BreakIn>, CoreError> {
        self.pump(pump)?;
        let (history, key) = (self.history()?, pump.to_string());
        let timelines = history.timelines();
        Ok(timelines.iter().find(|timeline| timeline.pump() == key).and_then(|timeline| timeline.break_in(timeline.position_m3())))
    }

    /// The same of every pump that has such looks to come, for a list of pumps: the record is read once.
    ///
    /// # Errors
    /// What reading the book gives.
    pub fn break_ins(&self) -> Result<Vec<(PumpId, BreakIn)>, CoreError> {
        let history = self.history()?;
        let timelines = history.timelines();
        let of = |timeline: &Timeline| Some((timeline.pump().parse().ok()?, timeline.break_in(timeline.position_m3())?));
        Ok(timelines.iter().filter_map(of).collect())
    }

    /// Which cause fits what a pump showed last.
    ///
    /// # Errors
    /// `no_such_pump`, `nothing_seen`.
    pub fn diagnose(&self, pump: PumpId) -> Result<Diagnosis, CoreError> {
        let spec = self.pump(pump)?;
        Ok(Diagnosis { pump: spec.name, ..diagnose(&self.history()?, &pump.to_string())? })
    }

    /// How long a kind of part lasts by this book: the fit over all its pumps.
    ///
    /// # Errors
    /// What reading the book gives; what a fit without any life gives.
    pub fn life(&self, part: Part) -> Result<LifeSummary, CoreError> {
        summary(&self.history()?, part)
    }
}

/// The track record of entries in the record's order, for who has them without a book.
pub(super) fn track_record_of(entries: Vec<SealedEntry>) -> Result<TrackRecord, CoreError> {
    let history = history_of(entries.clone())?;
    let (mut forecasts, mut without_outcome) = (Vec::new(), 0);
    for found in effective(entries) {
        let head = &found.sealed.entry.head;
        let Some(EntryBody::Called(called)) = &found.holds else { continue };
        let Some(chance) = called.answer.get("chance_of_failure").and_then(serde_json::Value::as_f64) else { continue };
        match outcome(&history, &head.pump.to_string(), head.at.to_utc()) {
            Some(failed) => forecasts.push(Forecasted { chance, failed }),
            None => without_outcome += 1,
        }
    }
    Ok(track_record(&forecasts, without_outcome))
}

/// Whether a cup failed in the first pour after a moment; None where none was recorded yet, or a cup was changed before it.
fn outcome(history: &History, pump: &str, at: DateTime<Utc>) -> Option<bool> {
    let mut poured = false;
    for row in history.rows.iter().filter(|row| row.pump == pump && row.at > at && row.part == Part::Cup) {
        match row.event {
            Event::Failed => return Some(true),
            Event::Removed if row.reason == Some(RemovalReason::Failed) => return Some(true),
            // The failure of a pour stands after it, so the pour counts as held only once something else came.
            Event::Removed | Event::Fitted | Event::Poured if poured => return Some(false),
            Event::Removed | Event::Fitted => return None,
            Event::Poured => poured = true,
            Event::InUse | Event::Measured | Event::Graded | Event::Checked | Event::Counter => {}
        }
    }
    // The last pour on record: a failure is written down with it, or on the same visit.
    poured.then_some(false)
}

impl Called {
    /// A call to record: the answer's document as text, and what the mechanic decided where it differs.
    ///
    /// # Errors
    /// `bad_document` for a text that is no `gritbook.call/1`.
    pub fn of_document(document: &str, overruled_to: Option<CallCode>, overrule_reason: Option<String>) -> Result<Self, CoreError> {
        let bad = |cause| {
            CoreError::refused("bad_document", "this is no document of a call", "ask for the call again and record what it gives")
                .because(cause)
        };
        let call: Call = serde_json::from_str(document).map_err(bad)?;
        let word = |code: CallCode| code.words().en.replace(' ', "_");
        Ok(Self { answer: serde_json::to_value(call).map_err(bad)?, overruled_to: overruled_to.map(word), overrule_reason })
    }
}
