//! Measurements, saved once however often the device tries.

use chrono::{DateTime, FixedOffset};
use rusqlite::Connection;

use super::{FieldBook, drafts, known_pump};
use crate::error::CoreError;
use crate::ids::{EntryId, PumpId, WorkId};
use crate::model::entry::{EntryBody, Measured};
use crate::store::entries;

impl FieldBook {
    /// Records a measurement. One of that name (`work`) that was saved before is not saved again: its entry is given.
    ///
    /// # Errors
    /// `no_such_pump`, `bad_measure`, `bad_document`, figures out of range.
    pub fn measure(&self, pump: PumpId, measured: Measured, now: DateTime<FixedOffset>) -> Result<EntryId, CoreError> {
        let work = measured.work;
        let body = EntryBody::Measured(measured);
        drafts::check_body(&body)?;
        self.store()?.write("saving the measurement", |transaction| {
            known_pump(transaction, pump)?;
            if let Some(work) = work
                && let Some(saved) = saved_before(transaction, pump, work)?
            {
                return Ok(saved);
            }
            Ok(self.append(transaction, pump, body, now)?.entry.head.id)
        })
    }
}

/// The entry of the measuring of that name.
fn saved_before(connection: &Connection, pump: PumpId, work: WorkId) -> Result<Option<EntryId>, CoreError> {
    let all = entries::of_pump(connection, pump, &["measured"])?;
    let is_it = |body: &EntryBody| matches!(body, EntryBody::Measured(measured) if measured.work == Some(work));
    Ok(all.iter().find(|sealed| is_it(&sealed.entry.body)).map(|sealed| sealed.entry.head.id))
}

#[cfg(test)]
mod tests {
    use super::super::tests::{now, open};
    use super::*;
    use crate::model::part::{Cup, Part};
    use crate::model::pump::PumpSpec;

    fn wear(value: f64, work: Option<WorkId>) -> Measured {
        let measure = "bore_wear_mm".into();
        Measured { part: Part::Bore, cup: Some(Cup::A), measure, value, pump_m3: Some(900.0), document: None, work }
    }

    #[test]
    fn measuring_saved_twice_is_recorded_once_also_after_the_book_was_closed() {
        let folder = tempfile::tempdir().unwrap();
        let (pump, work, first) = {
            let book = open(folder.path());
            let pump = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
            let work = Some(WorkId::new(now().to_utc()));
            (pump, work, book.measure(pump, wear(0.3, work), now()).unwrap())
        };
        let book = open(folder.path());
        assert_eq!(book.measure(pump, wear(0.3, work), now()).unwrap(), first);
        assert_eq!(book.entries().unwrap().len(), 2, "the pump and one measurement");
        let EntryBody::Measured(kept) = book.entry(first).unwrap().entry.body else { panic!() };
        assert_eq!((kept.work, kept.value), (work, 0.3), "its name stands in the record");
        assert_eq!(book.outbox().unwrap().len(), 2);
    }

    #[test]
    fn measurings_of_other_names_pumps_or_of_no_name_are_each_recorded() {
        let folder = tempfile::tempdir().unwrap();
        let book = open(folder.path());
        let pump = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
        let other = book.add_pump(PumpSpec::assumed("P2"), now()).unwrap();
        let work = Some(WorkId::new(now().to_utc()));
        for (pump, work) in [(pump, work), (pump, Some(WorkId::new(now().to_utc()))), (other, work), (pump, None), (pump, None)] {
            book.measure(pump, wear(0.3, work), now()).unwrap();
        }
        assert_eq!(book.entries().unwrap().len(), 7);
        let refused = |pump, value| book.measure(pump, wear(value, work), now()).unwrap_err().code();
        assert_eq!(refused(PumpId::named("P9"), 0.3), "no_such_pump");
        assert_eq!(refused(pump, f64::NAN), "out_of_range");
    }
}
