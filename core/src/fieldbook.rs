//! The field book: the use cases that join store, outbox and the trade's sums. What bindings and the command call.
//!
//! One [`FieldBook`] is one open folder. It may be shared between threads: each use case holds it only for its own
//! transaction, and a running outbox lets it go while a request is carried. Nothing is saved by a destructor: when a
//! use case returns, what it saved is durable.

mod amend;
mod calls;
mod changeouts;
mod check;
mod drafts;
mod export;
mod grades;
mod history;
#[cfg(test)]
mod history_tests;
mod lists;
mod measures;
#[cfg(test)]
mod tests;
mod verify;
mod whole;

use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use chrono::{DateTime, FixedOffset};
use rusqlite::Transaction;

pub use amend::Effective;
pub use calls::CallQuestion;
pub use changeouts::{ChangeOutEnd, SavedChangeOut};
pub use drafts::{BoxCheckDraft, GradeDraft, GradesDraft, PhotoInput};
pub use export::Exported;
pub use grades::WearPhoto;
pub use history::history_csv_of;
pub use lists::{CurrentGrade, LastCheck, PumpSummary};
pub use verify::{DeviceChain, VerifyReport};
pub use whole::WholeRecord;

use crate::error::{CoreError, ErrorKind};
use crate::ids::{DeviceId, EntryId, PhotoId, PumpId};
use crate::model::entry::{Called, ENTRY_SCHEMA, Entry, EntryBody, EntryHead, Fitted, Graded, Poured, Removed, SealedEntry};
use crate::model::outgoing::{QueuePause, QueueState, QueuedItem};
use crate::model::pump::PumpSpec;
use crate::outbox::upload_id;
use crate::store::aside::{self, SetAside};
use crate::store::{self, OpenReport, Store, device, entries, photos, pumps, queue};

/// Who writes the book.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenOptions {
    /// The person, as they gave their name to this device; stands in every entry.
    pub person: String,
    /// What the device is called; kept from the first opening.
    pub device_name: String,
}

/// An open field book.
#[derive(Debug)]
pub struct FieldBook {
    folder: PathBuf,
    store: Mutex<Store>,
    person: Mutex<String>,
    device: DeviceId,
    opened: OpenReport,
}

/// Something worth telling about a save that was done all the same.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Remark {
    /// Stable code: `total_went_back`, `total_jumped`.
    pub code: &'static str,
    /// In plain words.
    pub text: String,
}

/// A saved box check.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct SavedCheck {
    /// The check's entry.
    pub check: EntryId,
    /// The grades' entries, in the order given.
    pub grades: Vec<EntryId>,
    /// The photos, in the order given.
    pub photos: Vec<PhotoId>,
    /// What to look at again.
    pub remarks: Vec<Remark>,
}

impl FieldBook {
    /// Opens the book in `folder`, or makes one. [`FieldBook::opened`] tells what opening found.
    ///
    /// # Errors
    /// `newer_schema` and `not_a_book` (the file is left as it is), `bad_person`, `storage_full`, `book_busy`, `no_wal`.
    pub fn open(folder: &Path, options: &OpenOptions, now: DateTime<FixedOffset>) -> Result<Self, CoreError> {
        let person = drafts::name("person", &options.person)?;
        let (mut store, opened) = Store::open(folder, now)?;
        let device = match store.read(device::load)? {
            Some(device) => device.id,
            None => {
                store.write("beginning the book", |transaction| device::load_or_begin(transaction, options.device_name.trim(), now))?.id
            }
        };
        Ok(Self { folder: folder.to_owned(), store: Mutex::new(store), person: Mutex::new(person), device, opened })
    }

    /// What opening found.
    pub fn opened(&self) -> &OpenReport {
        &self.opened
    }

    /// This device.
    pub fn device(&self) -> DeviceId {
        self.device
    }

    /// What this device is called.
    ///
    /// # Errors
    /// What reading the book gives.
    pub fn device_name(&self) -> Result<String, CoreError> {
        Ok(self.store()?.read(device::load)?.map(|device| device.name).unwrap_or_default())
    }

    /// The folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Another person has the device now.
    ///
    /// # Errors
    /// `bad_person` for an empty or overlong name.
    pub fn set_person(&self, person: &str) -> Result<(), CoreError> {
        *self.person.lock().unwrap_or_else(PoisonError::into_inner) = drafts::name("person", person)?;
        Ok(())
    }

    /// The store, for one transaction.
    pub(crate) fn store(&self) -> Result<MutexGuard<'_, Store>, CoreError> {
        // A panic while it was held rolled its transaction back; a half-done state does not exist to be protected from.
        Ok(self.store.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Seals and appends one entry in a running transaction, with its queue rows.
    fn append(
        &self,
        transaction: &Transaction<'_>,
        pump: PumpId,
        body: EntryBody,
        now: DateTime<FixedOffset>,
    ) -> Result<SealedEntry, CoreError> {
        let now_ms = now.timestamp_millis();
        let device = device::load_or_begin(transaction, "", now)?;
        let hlc = device::tick(transaction, now_ms)?;
        let head = EntryHead {
            schema: ENTRY_SCHEMA.to_owned(),
            id: EntryId::new(now.to_utc()),
            device: device.id,
            seq: device.last_seq + 1,
            person: self.person.lock().unwrap_or_else(PoisonError::into_inner).clone(),
            at: now,
            hlc,
            prev: device.last_hash,
            pump,
        };
        let sealed = SealedEntry::seal(Entry { head, body })?;
        let row = entries::append(transaction, &sealed)?;
        device::set_tip(transaction, sealed.entry.head.seq, sealed.hash)?;
        for photo in sealed.entry.body.photos() {
            if photos::row(transaction, photo)?.is_some() {
                queue::add_photo(transaction, photo, upload_id(now), now_ms)?;
            }
        }
        queue::add_entry(transaction, row, now_ms)?;
        Ok(sealed)
    }

    /// One entry in a transaction of its own.
    fn append_alone(&self, tried: &str, pump: PumpId, body: EntryBody, now: DateTime<FixedOffset>) -> Result<EntryId, CoreError> {
        drafts::check_body(&body)?;
        let mut store = self.store()?;
        store.write(tried, |transaction| {
            known_pump(transaction, pump)?;
            Ok(self.append(transaction, pump, body, now)?.entry.head.id)
        })
    }

    /// Adds a pump. Its id follows from its name, so that two phones that add the same pump out of signal mean the same
    /// pump when they meet; only where another pump had this name before does it get an id of its own.
    ///
    /// # Errors
    /// `pump_exists` where a pump of this name is in the book; `bad_pump`, `bad_name` for figures out of range.
    pub fn add_pump(&self, spec: PumpSpec, now: DateTime<FixedOffset>) -> Result<PumpId, CoreError> {
        let spec = drafts::pump(spec)?;
        let mut store = self.store()?;
        store.write("adding the pump", |transaction| {
            if !pumps::by_name(transaction, &spec.name)?.is_empty() {
                return Err(CoreError::refused(
                    "pump_exists",
                    format!("a pump called `{}` is in the book", spec.name),
                    "set its figures anew instead, or choose another name",
                ));
            }
            let named = PumpId::named(&spec.name);
            let id = if pumps::by_id(transaction, named)?.is_some() { PumpId::new(now.to_utc()) } else { named };
            self.append(transaction, id, EntryBody::PumpSet(spec), now)?;
            Ok(id)
        })
    }

    /// Sets a pump's name and figures anew.
    ///
    /// # Errors
    /// `no_such_pump`, `pump_exists` where another pump has that name, `bad_pump`, `bad_name`.
    pub fn set_pump(&self, pump: PumpId, spec: PumpSpec, now: DateTime<FixedOffset>) -> Result<EntryId, CoreError> {
        let spec = drafts::pump(spec)?;
        let mut store = self.store()?;
        store.write("setting the pump's figures", |transaction| {
            known_pump(transaction, pump)?;
            if pumps::by_name(transaction, &spec.name)?.iter().any(|other| *other != pump) {
                return Err(CoreError::refused("pump_exists", format!("another pump is called `{}`", spec.name), "choose another name"));
            }
            Ok(self.append(transaction, pump, EntryBody::PumpSet(spec), now)?.entry.head.id)
        })
    }

    /// The pump of that name, upper and lower case and spaces alike.
    ///
    /// # Errors
    /// `no_such_pump`; `two_pumps` where two devices gave two pumps the same name.
    pub fn pump_named(&self, name: &str) -> Result<PumpId, CoreError> {
        match self.store()?.read(|connection| pumps::by_name(connection, name))?.as_slice() {
            [] => Err(CoreError::new(
                ErrorKind::NotFound,
                "no_such_pump",
                format!("no pump called `{}` is in the book", name.trim()),
                "list the pumps, or add it",
            )),
            [one] => Ok(*one),
            _ => Err(CoreError::refused("two_pumps", format!("two pumps are called `{}`", name.trim()), "rename one of them by its id")),
        }
    }

    /// A pump's figures.
    ///
    /// # Errors
    /// `no_such_pump`.
    pub fn pump(&self, pump: PumpId) -> Result<PumpSpec, CoreError> {
        self.store()?.read(|connection| pumps::by_id(connection, pump))?.ok_or_else(no_such_pump)
    }

    /// Records a grade.
    ///
    /// # Errors
    /// `no_such_pump`, `no_such_photo` for a photo that is not in the book, figures out of range.
    pub fn grade(&self, pump: PumpId, graded: Graded, now: DateTime<FixedOffset>) -> Result<EntryId, CoreError> {
        for photo in &graded.photos {
            self.photo_path(photo)?;
        }
        self.append_alone("saving the grade", pump, EntryBody::Graded(graded), now)
    }

    /// Records a part that was fitted, or was already in.
    ///
    /// # Errors
    /// `no_such_pump`, figures out of range.
    pub fn fitted(&self, pump: PumpId, fitted: Fitted, now: DateTime<FixedOffset>) -> Result<EntryId, CoreError> {
        self.append_alone("saving the fitted part", pump, EntryBody::Fitted(fitted), now)
    }

    /// Records a part that came out.
    ///
    /// # Errors
    /// `no_such_pump`, figures out of range.
    pub fn removed(&self, pump: PumpId, removed: Removed, now: DateTime<FixedOffset>) -> Result<EntryId, CoreError> {
        self.append_alone("saving the removed part", pump, EntryBody::Removed(removed), now)
    }

    /// Records a pour, or a reading of the running total.
    ///
    /// # Errors
    /// `no_such_pump`, `nothing_poured` where neither pour nor total is given, figures out of range.
    pub fn poured(&self, pump: PumpId, poured: Poured, now: DateTime<FixedOffset>) -> Result<EntryId, CoreError> {
        self.append_alone("saving the pour", pump, EntryBody::Poured(poured), now)
    }

    /// Records a call as the book gave it and, where the mechanic decided otherwise, what and why.
    ///
    /// # Errors
    /// `no_such_pump`; `no_reason` where a call is overruled without a reason.
    pub fn record_call(&self, pump: PumpId, called: Called, now: DateTime<FixedOffset>) -> Result<EntryId, CoreError> {
        self.append_alone("saving the call", pump, EntryBody::Called(called), now)
    }

    /// Makes a photo durable without an entry yet: it is adopted by the entry that names it.
    ///
    /// # Errors
    /// `not_a_photo`, `too_big`, `storage_full`.
    pub fn keep_photo(&self, photo: &PhotoInput, now: DateTime<FixedOffset>) -> Result<PhotoId, CoreError> {
        let bytes = photo.read()?;
        let mut store = self.store()?;
        let kept = store.photos.keep(&bytes)?;
        store.write("saving the photo's row", |transaction| photos::add_row(transaction, &kept, now.timestamp_millis()))?;
        Ok(kept.id)
    }

    /// Where a photo's file is.
    ///
    /// # Errors
    /// `no_such_photo` where this book has no such photo (another device's may be at the depot only).
    pub fn photo_path(&self, photo: &PhotoId) -> Result<PathBuf, CoreError> {
        let store = self.store()?;
        match store.read(|connection| photos::row(connection, photo))? {
            Some(row) => Ok(store.photos.path(photo, row.format)),
            None => Err(CoreError::new(
                ErrorKind::NotFound,
                "no_such_photo",
                format!("the photo {photo} is not in this book"),
                "it may be at the depot: look at its page",
            )),
        }
    }

    /// What waits, what is parked and what was dropped, in the order it goes.
    ///
    /// # Errors
    /// What reading the book gives.
    pub fn outbox(&self) -> Result<Vec<QueuedItem>, CoreError> {
        self.store()?.read(queue::list)
    }

    /// The queue's pause, where one is in force or the last attempt failed.
    ///
    /// # Errors
    /// What reading the book gives.
    pub fn outbox_pause(&self) -> Result<Option<QueuePause>, CoreError> {
        self.store()?.read(queue::pause)
    }

    /// A parked or dropped item goes again.
    ///
    /// # Errors
    /// `no_such_item`.
    pub fn retry(&self, item: i64) -> Result<(), CoreError> {
        self.store()?.write("retrying an item", |transaction| queue::set_state(transaction, item, QueueState::Waiting))
    }

    /// An item is not sent. The record keeps its entry or photo, and it can be retried later.
    ///
    /// # Errors
    /// `no_such_item`.
    pub fn drop_item(&self, item: i64) -> Result<(), CoreError> {
        self.store()?.write("dropping an item", |transaction| queue::set_state(transaction, item, QueueState::Dropped))
    }

    /// Ends a pause: a person asked for it now. The count of failures stays, so the next failure waits as long as before.
    ///
    /// # Errors
    /// What writing the book gives.
    pub fn end_pause(&self, now: DateTime<FixedOffset>) -> Result<(), CoreError> {
        let now_ms = now.timestamp_millis();
        self.store()?.write("ending the pause", |transaction| match queue::pause(transaction)? {
            Some(pause) => queue::set_pause(transaction, Some(&QueuePause { until_ms: now_ms, ..pause })),
            None => Ok(()),
        })
    }

    /// Entries that came from the depot and stand aside.
    ///
    /// # Errors
    /// What reading the book gives.
    pub fn set_aside(&self) -> Result<Vec<SetAside>, CoreError> {
        self.store()?.read(aside::all)
    }
}

fn no_such_pump() -> CoreError {
    CoreError::new(ErrorKind::NotFound, "no_such_pump", "no such pump is in the book", "list the pumps, or add it")
}

fn known_pump(transaction: &Transaction<'_>, pump: PumpId) -> Result<(), CoreError> {
    store::pumps::by_id(transaction, pump)?.map(|_| ()).ok_or_else(no_such_pump)
}
