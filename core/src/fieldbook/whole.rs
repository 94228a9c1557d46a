//! The record of a shop for who has its entries without a book: what it says of parts and calls.

use super::calls::track_record_of;
use super::history::history_of;
use crate::call::TrackRecord;
use crate::error::CoreError;
use crate::history::History;
use crate::ids::PumpId;
use crate::model::entry::{EntryBody, SealedEntry};

/// Entries as they came, without what is heavy in them and asked for elsewhere: their texts, readings, and all of a call but its chance.
/// A shop's record of years fits into memory so.
#[derive(Debug, Default)]
pub struct WholeRecord {
    entries: Vec<SealedEntry>,
}

impl WholeRecord {
    /// Takes in a sealed text, in any order. One that cannot be read (a newer program wrote it) says nothing here.
    pub fn take_in(&mut self, doc: String) {
        let Ok(mut sealed) = SealedEntry::from_text(doc) else { return };
        sealed.doc = String::new();
        lighten(&mut sealed.entry.body);
        if let EntryBody::Amended(amended) = &mut sealed.entry.body
            && let Some(instead) = amended.instead.as_deref_mut()
        {
            lighten(instead);
        }
        self.entries.push(sealed);
    }

    /// The history of these pumps, or of all; each named by its id. As [`super::FieldBook::history`].
    ///
    /// # Errors
    /// `csv_failed`, a fault of this program.
    pub fn history(&self, pumps: Option<&[PumpId]>) -> Result<History, CoreError> {
        history_of(self.in_order(pumps))
    }

    /// How honest the calls on these pumps were, or on all. As [`super::FieldBook::track_record`].
    ///
    /// # Errors
    /// As [`WholeRecord::history`].
    pub fn track_record(&self, pumps: Option<&[PumpId]>) -> Result<TrackRecord, CoreError> {
        track_record_of(self.in_order(pumps))
    }

    fn in_order(&self, pumps: Option<&[PumpId]>) -> Vec<SealedEntry> {
        let open = |entry: &&SealedEntry| pumps.is_none_or(|pumps| pumps.contains(&entry.entry.head.pump));
        let mut entries: Vec<_> = self.entries.iter().filter(open).cloned().collect();
        entries.sort_by_key(|sealed| (sealed.entry.head.hlc, sealed.entry.head.device, sealed.entry.head.seq));
        entries
    }
}

fn lighten(body: &mut EntryBody) {
    match body {
        EntryBody::BoxCheck(check) => check.reading = None,
        EntryBody::Called(called) => {
            let chance = called.answer.get("chance_of_failure").cloned();
            called.answer = serde_json::json!({ "chance_of_failure": chance });
        }
        _ => {}
    }
}
