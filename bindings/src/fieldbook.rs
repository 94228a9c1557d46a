//! The one long-lived object.

use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use chrono::{DateTime, FixedOffset};
use gritbook_core::changeout::Progress;
use gritbook_core::fieldbook as core_book;
use gritbook_core::ids::PumpId;
use gritbook_core::model::entry::Called;
use gritbook_core::outbox::{OutboxEvent, run_outbox};

use crate::cross::Cross;
use crate::error::FieldBookError;
use crate::host::{HostTransport, OutboxListener, Transport};
use crate::reading::DebrisReading;
use crate::records::{
    BoxCheckDraft, BreakIn, CallAnswer, CallCode, CallQuestion, ChangeOutEnd, ChangeOutState, Costs, Cup, Diagnosis, EffectiveEntry,
    Exported, GradeGiven, GradesDraft, LifeFacts, LogEntry, MeasureTaken, Moment, OpenReport, Part, PartFitted, PartRemoved, PourMade,
    PumpBreakIn, PumpSpec, PumpSummary, QueuePause, QueuedItem, RunOptions, RunReport, SavedChangeOut, SavedCheck, TrackRecord,
    VerifyReport, WearPhoto,
};

/// An open field book. May be used from several threads at once; every call may block on the disk. What a call saved is durable when
/// it returns: closing saves nothing.
#[derive(Debug, uniffi::Object)]
pub struct FieldBook(core_book::FieldBook);

/// The clock of a running outbox: the moment at which it began, and the time that went by since. It never goes back.
fn clock_from(start: DateTime<FixedOffset>) -> impl Fn() -> DateTime<FixedOffset> {
    let began = Instant::now();
    move || chrono::TimeDelta::from_std(began.elapsed()).ok().and_then(|passed| start.checked_add_signed(passed)).unwrap_or(start)
}

/// The id that a pump of this name has where it is new.
#[uniffi::export]
pub fn pump_id_named(name: &str) -> String {
    PumpId::named(name).cross()
}

#[uniffi::export]
impl FieldBook {
    /// Opens the book in `folder`, or makes one. `person` stands in every entry; `device_name` is kept from the first opening.
    #[uniffi::constructor]
    pub fn open(folder: &str, person: String, device_name: String, now: Moment) -> Result<Self, FieldBookError> {
        Ok(Self(core_book::FieldBook::open(Path::new(folder), &core_book::OpenOptions { person, device_name }, now.try_into()?)?))
    }

    /// What opening found.
    pub fn opened(&self) -> OpenReport {
        self.0.opened().clone().cross()
    }

    /// This device's id.
    pub fn device_id(&self) -> String {
        self.0.device().cross()
    }

    /// What this device is called.
    pub fn device_name(&self) -> Result<String, FieldBookError> {
        Ok(self.0.device_name()?)
    }

    /// Another person has the device now.
    pub fn set_person(&self, person: &str) -> Result<(), FieldBookError> {
        Ok(self.0.set_person(person)?)
    }

    /// Adds a pump and gives its id.
    pub fn add_pump(&self, spec: PumpSpec, now: Moment) -> Result<String, FieldBookError> {
        Ok(self.0.add_pump(spec.cross(), now.try_into()?)?.cross())
    }

    /// Sets a pump's name and figures anew; gives the entry's id.
    pub fn set_pump(&self, pump_id: &str, spec: PumpSpec, now: Moment) -> Result<String, FieldBookError> {
        Ok(self.0.set_pump(pump_id.parse()?, spec.cross(), now.try_into()?)?.cross())
    }

    /// The id of the pump of that name, upper and lower case and spaces alike.
    pub fn pump_named(&self, name: &str) -> Result<String, FieldBookError> {
        Ok(self.0.pump_named(name)?.cross())
    }

    /// The pumps by name, with what is known of each.
    pub fn pumps(&self) -> Result<Vec<PumpSummary>, FieldBookError> {
        Ok(self.0.pumps()?.cross())
    }

    /// One pump with what is known of it now.
    pub fn pump_summary(&self, pump_id: &str) -> Result<PumpSummary, FieldBookError> {
        Ok(self.0.pump_summary(pump_id.parse()?)?.cross())
    }

    /// Saves a box check with its photos, its grades and, where one could be made, the reading of one of the photos: all or nothing.
    pub fn save_box_check(
        &self,
        draft: BoxCheckDraft,
        reading: Option<Arc<DebrisReading>>,
        now: Moment,
    ) -> Result<SavedCheck, FieldBookError> {
        Ok(self.0.save_box_check(draft.with_reading(reading.as_deref())?, now.try_into()?)?.cross())
    }

    /// Records a grade; its photos are kept before by `keep_photo`. Gives the entry's id.
    pub fn grade(&self, pump_id: &str, graded: GradeGiven, now: Moment) -> Result<String, FieldBookError> {
        Ok(self.0.grade(pump_id.parse()?, graded.try_into()?, now.try_into()?)?.cross())
    }

    /// Saves grades given in one go with their photos: all or nothing. Gives the entries' ids in the order of the grades.
    pub fn save_grades(&self, draft: GradesDraft, now: Moment) -> Result<Vec<String>, FieldBookError> {
        Ok(self.0.save_grades(draft.try_into()?, now.try_into()?)?.cross())
    }

    /// The photos of one part of one pump that were kept with its grades, newest first, at most `most`.
    pub fn wear_photos(&self, pump_id: &str, part: Part, cup: Option<Cup>, most: u32) -> Result<Vec<WearPhoto>, FieldBookError> {
        Ok(self.0.wear_photos(pump_id.parse()?, part.cross(), cup.cross(), most)?.cross())
    }

    /// Records a measurement; gives the entry's id.
    pub fn measure(&self, pump_id: &str, measured: MeasureTaken, now: Moment) -> Result<String, FieldBookError> {
        Ok(self.0.measure(pump_id.parse()?, measured.try_into()?, now.try_into()?)?.cross())
    }

    /// Records a part that was fitted, or was already in; gives the entry's id.
    pub fn fitted(&self, pump_id: &str, fitted: PartFitted, now: Moment) -> Result<String, FieldBookError> {
        Ok(self.0.fitted(pump_id.parse()?, fitted.cross(), now.try_into()?)?.cross())
    }

    /// Records a part that came out; gives the entry's id.
    pub fn removed(&self, pump_id: &str, removed: PartRemoved, now: Moment) -> Result<String, FieldBookError> {
        Ok(self.0.removed(pump_id.parse()?, removed.cross(), now.try_into()?)?.cross())
    }

    /// Records a pour, or a reading of the running total; gives the entry's id.
    pub fn poured(&self, pump_id: &str, poured: PourMade, now: Moment) -> Result<String, FieldBookError> {
        Ok(self.0.poured(pump_id.parse()?, poured.cross(), now.try_into()?)?.cross())
    }

    /// The call for the next pour of a pump, from the whole record up to now. Nothing is recorded.
    pub fn call(&self, pump_id: &str, question: CallQuestion, costs: Costs, now: Moment) -> Result<CallAnswer, FieldBookError> {
        Ok(self.0.call(pump_id.parse()?, &question.cross(), &costs.cross(), now.try_into()?)?.cross())
    }

    /// Records a call: `document_json` as `call` gave it and, where the mechanic decided otherwise, what and why. Gives the entry's id.
    pub fn record_call(
        &self,
        pump_id: &str,
        document_json: &str,
        overruled_to: Option<CallCode>,
        overrule_reason: Option<String>,
        now: Moment,
    ) -> Result<String, FieldBookError> {
        let called = Called::of_document(document_json, overruled_to.cross(), overrule_reason)?;
        Ok(self.0.record_call(pump_id.parse()?, called, now.try_into()?)?.cross())
    }

    /// Begins the change of these cups, with the steps of this pump's variant. Nothing is recorded yet: the shell keeps the document.
    pub fn begin_change_out(&self, pump_id: &str, cups: Vec<Cup>, now: Moment) -> Result<ChangeOutState, FieldBookError> {
        let pump = pump_id.parse()?;
        let cups: Vec<_> = cups.into_iter().map(Cross::cross).collect();
        Ok(Progress::begin(pump, self.0.pump(pump)?, &cups, now.try_into()?)?.cross())
    }

    /// Records a finished change-out with the lives it ended and began, all or nothing; called again it changes nothing.
    pub fn finish_change_out(&self, document_json: &str, end: ChangeOutEnd, now: Moment) -> Result<SavedChangeOut, FieldBookError> {
        let progress = Progress::of_document(document_json)?;
        Ok(self.0.finish_change_out(&progress, end.cross(), now.try_into()?)?.cross())
    }

    /// How long a kind of part lasts by this book, over all its pumps.
    pub fn life(&self, part: Part) -> Result<LifeFacts, FieldBookError> {
        Ok(self.0.life(part.cross())?.cross())
    }

    /// Which cause fits what a pump showed last, and what to look at next. Refused as `nothing_seen` where the box was never looked at
    /// since the cups went in.
    pub fn diagnose(&self, pump_id: &str) -> Result<Diagnosis, FieldBookError> {
        Ok(self.0.diagnose(pump_id.parse()?)?.cross())
    }

    /// The looks into the box that follow new cups, done and due; null where none is to come.
    pub fn break_in(&self, pump_id: &str) -> Result<Option<BreakIn>, FieldBookError> {
        Ok(self.0.break_in(pump_id.parse()?)?.cross())
    }

    /// The same of every pump that has such looks to come; the record is read once.
    pub fn break_ins(&self) -> Result<Vec<PumpBreakIn>, FieldBookError> {
        Ok(self.0.break_ins()?.cross())
    }

    /// How honest the calls were that were recorded in this book.
    pub fn track_record(&self) -> Result<TrackRecord, FieldBookError> {
        Ok(self.0.track_record()?.cross())
    }

    /// Says that an entry should not be there, and why; it stays in the record. Gives the amendment's id.
    pub fn withdraw(&self, entry_id: &str, reason: &str, now: Moment) -> Result<String, FieldBookError> {
        Ok(self.0.amend(entry_id.parse()?, reason, None, now.try_into()?)?.cross())
    }

    /// Makes a photo durable without an entry yet; gives its id.
    pub fn keep_photo(&self, path: String, now: Moment) -> Result<String, FieldBookError> {
        Ok(self.0.keep_photo(&core_book::PhotoInput::Path(path.into()), now.try_into()?)?.cross())
    }

    /// Where a photo's file is.
    pub fn photo_path(&self, photo_id: &str) -> Result<String, FieldBookError> {
        Ok(self.0.photo_path(&photo_id.parse()?)?.cross())
    }

    /// The newest entries, newest first; of one pump where given.
    pub fn log(&self, pump_id: Option<String>, limit: u32) -> Result<Vec<LogEntry>, FieldBookError> {
        Ok(self.0.log(pump_id.map(|id| id.parse()).transpose()?, limit)?.cross())
    }

    /// One entry as it was sealed.
    pub fn entry(&self, entry_id: &str) -> Result<LogEntry, FieldBookError> {
        Ok(self.0.entry(entry_id.parse()?)?.cross())
    }

    /// A pump's entries with what holds of each, in the record's order.
    pub fn effective(&self, pump_id: &str) -> Result<Vec<EffectiveEntry>, FieldBookError> {
        Ok(self.0.effective(pump_id.parse()?)?.cross())
    }

    /// What waits, what is parked and what was dropped, in the order it goes.
    pub fn outbox(&self) -> Result<Vec<QueuedItem>, FieldBookError> {
        Ok(self.0.outbox()?.cross())
    }

    /// The queue's pause, where one is in force or the last attempt failed.
    pub fn outbox_pause(&self) -> Result<Option<QueuePause>, FieldBookError> {
        Ok(self.0.outbox_pause()?.cross())
    }

    /// A parked or dropped item goes again.
    pub fn retry_item(&self, item: i64) -> Result<(), FieldBookError> {
        Ok(self.0.retry(item)?)
    }

    /// An item is not sent; the record keeps its entry or photo.
    pub fn drop_item(&self, item: i64) -> Result<(), FieldBookError> {
        Ok(self.0.drop_item(item)?)
    }

    /// Sends what waits, one request at a time on this thread, until all is sent or the queue has to wait. Never sleeps. The book is
    /// free for other threads while a request is carried; the transport and the listener must not call into it.
    pub fn run_outbox(
        &self,
        transport: Arc<dyn Transport>,
        listener: Option<Arc<dyn OutboxListener>>,
        options: RunOptions,
        now: Moment,
    ) -> Result<RunReport, FieldBookError> {
        let (carrier, clock) = (HostTransport::new(transport), clock_from(now.try_into()?));
        let mut tell = |event: &OutboxEvent| listener.iter().for_each(|listener| drop(listener.heard(event.clone().cross())));
        let report = run_outbox(&self.0, &carrier, &options.cross(), &clock, &mut tell)?;
        carrier.unless_failed(report.cross())
    }

    /// Walks every chain, hashes every photo, looks at every page. Some seconds for some gigabytes.
    pub fn verify(&self) -> Result<VerifyReport, FieldBookError> {
        Ok(self.0.verify()?.cross())
    }

    /// Writes the record and its photos into `folder`, a new or empty one.
    pub fn export(&self, folder: &str) -> Result<Exported, FieldBookError> {
        Ok(self.0.export(Path::new(folder))?.cross())
    }

    /// The record as history CSV, amendments applied; of one pump where given.
    pub fn history_csv(&self, pump_id: Option<String>) -> Result<String, FieldBookError> {
        Ok(self.0.history_csv(pump_id.map(|id| id.parse()).transpose()?)?)
    }
}
