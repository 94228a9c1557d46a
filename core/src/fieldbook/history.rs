//! The record as a history: one event a row, in the columns of the history CSV.

use super::FieldBook;
use super::amend::effective;
use crate::debris::reading::LevelCode;
use crate::error::{CoreError, ErrorKind};
use crate::history::{History, parse_rows, without_contradicting_totals};
use crate::ids::PumpId;
use crate::model::entry::{EntryBody, Liquid, RemovalReason, SealedEntry};
use crate::model::part::{Cup, Part};
use crate::store::{entries, pumps};

/// The columns that are written, in this order.
pub(crate) const COLUMNS: [&str; 19] = [
    "at",
    "pump",
    "cup",
    "event",
    "pump_m3",
    "level",
    "grade",
    "liquid",
    "liquid_low",
    "settled_ml",
    "pour_m3",
    "age_m3",
    "measure",
    "value",
    "concrete_bar",
    "mix_factor",
    "reason",
    "part",
    "note",
];

#[derive(Default)]
struct Cells([String; COLUMNS.len()]);

impl Cells {
    fn set(&mut self, column: &str, value: impl ToString) {
        if let Some(cell) = COLUMNS.iter().position(|name| *name == column).and_then(|index| self.0.get_mut(index)) {
            *cell = value.to_string();
        }
    }

    fn set_if(&mut self, column: &str, value: Option<impl ToString>) {
        if let Some(value) = value {
            self.set(column, value);
        }
    }

    fn side(&mut self, part: Part, cup: Option<Cup>) {
        self.set("part", word(part));
        self.set_if("cup", cup.map(word));
    }
}

/// An enum's name as it stands in JSON.
fn word(value: impl serde::Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        _ => String::new(),
    }
}

fn level_number(level: LevelCode) -> u8 {
    match level {
        LevelCode::PasteOnly => 0,
        LevelCode::SomeSand => 1,
        LevelCode::Sand => 2,
        LevelCode::Lumps => 3,
    }
}

/// Free text that a spreadsheet would take for a formula gets an apostrophe before it.
fn plain(note: &str) -> String {
    // A zero byte would make the whole table unreadable.
    let note = note.replace('\0', " ");
    if note.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{note}") } else { note }
}

fn cells(body: &EntryBody) -> Option<Cells> {
    let mut cells = Cells::default();
    cells.set_if("pump_m3", body.pump_m3());
    match body {
        EntryBody::BoxCheck(check) => {
            cells.set("event", "checked");
            cells.set_if("level", check.level.map(level_number));
            cells.set_if("liquid", check.liquid.map(|liquid: Liquid| word(liquid)));
            cells.set_if("liquid_low", check.liquid_low.map(|low| if low { "yes" } else { "no" }));
            cells.set_if("settled_ml", check.settled_ml);
            cells.set("note", plain(&check.note));
        }
        EntryBody::Graded(graded) => {
            cells.set("event", "graded");
            cells.side(graded.part, graded.cup);
            cells.set("grade", graded.grade.number());
            cells.set("note", plain(&graded.note));
        }
        EntryBody::Measured(measured) => {
            cells.set("event", "measured");
            cells.side(measured.part, measured.cup);
            cells.set("measure", &measured.measure);
            cells.set("value", measured.value);
        }
        EntryBody::Fitted(fitted) => {
            cells.set("event", if fitted.already_in { "in_use" } else { "fitted" });
            cells.side(fitted.part, fitted.cup);
            cells.set_if("age_m3", fitted.age_m3);
        }
        EntryBody::Removed(removed) => {
            cells.side(removed.part, removed.cup);
            if removed.reason == RemovalReason::Failed {
                cells.set("event", "failed");
            } else {
                cells.set("event", "removed");
                cells.set("reason", word(removed.reason));
            }
        }
        EntryBody::Poured(poured) => {
            cells.set("event", if poured.pour_m3.is_some() { "poured" } else { "counter" });
            cells.set_if("pour_m3", poured.pour_m3);
            cells.set_if("concrete_bar", poured.concrete_bar);
            cells.set_if("mix_factor", poured.mix_factor);
        }
        // The lives that a change-out ends and begins stand in entries of their own.
        EntryBody::PumpSet(_) | EntryBody::Called(_) | EntryBody::ChangedOut(_) | EntryBody::Amended(_) | EntryBody::Other(_) => {
            return None;
        }
    }
    Some(cells)
}

impl FieldBook {
    /// The record as history CSV, amendments applied, in the record's order; of one pump where given. Figures are written so
    /// that they read back exactly.
    ///
    /// # Errors
    /// What reading the book gives.
    pub fn history_csv(&self, pump: Option<PumpId>) -> Result<String, CoreError> {
        let store = self.store()?;
        let names: std::collections::HashMap<PumpId, String> =
            store.read(pumps::all)?.into_iter().map(|(id, spec)| (id, spec.name)).collect();
        let all = store.read(entries::all)?;
        drop(store);
        csv_of(all, pump, |id| names.get(&id).cloned())
    }

    /// The record of all pumps as a history, each pump named by its id. A running total that contradicts the others of its pump
    /// is left out, the event stays: a mistyped total must not keep the book from answering.
    ///
    /// # Errors
    /// What reading the book gives.
    pub fn history(&self) -> Result<History, CoreError> {
        let all = self.store()?.read(entries::all)?;
        history_of(all)
    }
}

/// The same of entries in the record's order, for who has them without a book.
pub(super) fn history_of(entries: Vec<SealedEntry>) -> Result<History, CoreError> {
    let rows = parse_rows(csv_of(entries, None, |_| None)?.as_bytes()).map_err(|refusal| refusal.error)?;
    Ok(History { rows: without_contradicting_totals(rows), other_columns: Vec::new() })
}

/// The entries of one pump as history CSV, amendments applied, for who has entries without a book; in the record's order: by hybrid
/// time, then by device.
///
/// # Errors
/// `csv_failed`, a fault of this program.
pub fn history_csv_of(entries: Vec<SealedEntry>, pump_name: &str) -> Result<String, CoreError> {
    csv_of(entries, None, |_| Some(pump_name.to_owned()))
}

fn csv_of(all: Vec<SealedEntry>, pump: Option<PumpId>, name: impl Fn(PumpId) -> Option<String>) -> Result<String, CoreError> {
    let failed = || CoreError::new(ErrorKind::Internal, "csv_failed", "writing the history failed", "report this with the book's export");
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(COLUMNS).map_err(|cause| failed().because(cause))?;
    for found in effective(all) {
        let head = &found.sealed.entry.head;
        if pump.is_some_and(|pump| pump != head.pump) {
            continue;
        }
        if let Some(mut cells) = found.holds.as_ref().and_then(cells) {
            cells.set("at", head.at.to_rfc3339());
            cells.set("pump", plain(&name(head.pump).unwrap_or_else(|| head.pump.to_string())));
            writer.write_record(&cells.0).map_err(|cause| failed().because(cause))?;
        }
    }
    let bytes = writer.into_inner().map_err(|cause| failed().because(cause.into_error()))?;
    // Every cell came from a String.
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}
