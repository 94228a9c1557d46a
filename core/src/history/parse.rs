//! The history CSV. Comma or semicolon, columns in any order, unknown columns kept; refused whole where a row is bad.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::History;
use super::contradictions::{contradictions, later_than, other_units};
use super::repair::{self, Repair};
use super::row::{Event, Row};
use crate::error::CoreError;
use crate::model::entry::{Liquid, RemovalReason};
use crate::model::{Cup, Part};
use crate::order;
use crate::units::{PA_PER_BAR, PA_PER_PSI};

/// A row that cannot be taken.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct BadRow {
    /// Line in the file, from 1 (the header is line 1).
    pub line: u64,
    /// What is wrong: the column, the value and what would do.
    pub reason: String,
    /// What is offered in place of one of its cells; never put in by itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repair: Option<Repair>,
}

impl BadRow {
    fn new(line: u64, reason: String) -> Self {
        Self { line, reason, repair: None }
    }

    pub(super) fn offering(line: u64, reason: String, repair: Option<Repair>) -> Self {
        Self { line, reason, repair }
    }
}

/// Why a table was refused, with every bad row.
#[derive(Debug, Clone)]
pub struct Refusal {
    /// The first thing wrong, and what to do.
    pub error: CoreError,
    /// All bad rows, by line; empty where the table could not be read at all.
    pub rows: Vec<BadRow>,
}

impl From<CoreError> for Refusal {
    fn from(error: CoreError) -> Self {
        Self { error, rows: Vec::new() }
    }
}

/// The largest table that is read, bytes.
pub const LARGEST_BYTES: usize = 256 * 1024 * 1024;

/// Bad rows beyond this many are counted, not listed.
const LISTED: usize = 1000;

/// A table split into cells: header and rows with their lines.
pub(crate) struct Table {
    pub(crate) header: Vec<String>,
    /// Cells as they stand in the file: [`trimmed`] reads them.
    pub(crate) rows: Vec<(u64, csv::StringRecord)>,
    /// Whether a comma in a number can only be the decimal one: the cells are parted by semicolons.
    pub(crate) decimal_comma: bool,
}

/// A cell without the white space around it; nothing where the row has no such cell.
pub(crate) fn trimmed(cells: &csv::StringRecord, column: usize) -> &str {
    cells.get(column).unwrap_or_default().trim()
}

/// Splits a CSV into cells; the delimiter is the first of comma and semicolon that the header holds outside quotes.
///
/// # Errors
/// `not_utf8` with the line, `half_written_row` for a last row that was cut off, `empty_table`, `too_big`, `bad_rows` for rows
/// of another width.
pub(crate) fn split_table(bytes: &[u8], what: &str) -> Result<Table, Refusal> {
    if bytes.len() > LARGEST_BYTES {
        let reason = format!("the {what} has {} bytes, more than {LARGEST_BYTES}", bytes.len());
        return Err(CoreError::refused("too_big", reason, "split it by year").into());
    }
    let text = std::str::from_utf8(bytes).map_err(|cause| {
        let line = 1 + bytes[..cause.valid_up_to()].iter().filter(|&&b| b == b'\n').count() as u64;
        let reason = format!("line {line} of the {what} is not UTF-8 text");
        let error = CoreError::refused("not_utf8", reason.clone(), "save the table again as UTF-8");
        Refusal { error, rows: vec![BadRow::new(line, reason)] }
    })?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if let Some(at) = text.find('\0') {
        let line = 1 + text[..at].matches('\n').count() as u64;
        let reason = format!("line {line} of the {what} holds a zero byte: this is not a text table");
        return Err(Refusal {
            error: CoreError::refused("not_a_table", reason.clone(), "save the table as CSV"),
            rows: vec![BadRow::new(line, reason)],
        });
    }
    let mut quoted = false;
    let delimiter = text
        .lines()
        .next()
        .and_then(|header| {
            header.bytes().find(|&b| {
                quoted ^= b == b'"';
                !quoted && (b == b',' || b == b';')
            })
        })
        .unwrap_or(b',');

    let reader = csv::ReaderBuilder::new().delimiter(delimiter).has_headers(false).flexible(true).from_reader(text.as_bytes());
    let mut records = Vec::new();
    for record in reader.into_records() {
        let record = record.map_err(|cause| {
            Refusal::from(
                CoreError::refused("not_a_table", format!("the {what} cannot be read as CSV"), "save the table as CSV").because(cause),
            )
        })?;
        records.push((record.position().map_or(0, csv::Position::line), record));
    }
    let mut records = records.into_iter();
    let Some((_, header)) = records.next() else {
        return Err(CoreError::refused("empty_table", format!("the {what} is empty"), "give a table with a header line").into());
    };
    let header: Vec<String> = header.iter().map(|name| name.trim().to_ascii_lowercase()).collect();
    let rows: Vec<_> = records.filter(|(_, cells)| cells.iter().any(|cell| !cell.trim().is_empty())).collect();

    let mut bad: Vec<BadRow> = rows
        .iter()
        .filter(|(_, cells)| cells.len() != header.len())
        .map(|(line, cells)| BadRow::new(*line, format!("{} cells where the header has {}", cells.len(), header.len())))
        .collect();
    // A quote left open swallows the rest of the file into one cell; it shows as a half-written last row too.
    let quote_left_open = text.bytes().filter(|&b| b == b'"').count() % 2 == 1;
    if let Some((line, cells)) = rows.last()
        && (quote_left_open || (cells.len() < header.len() && !text.ends_with('\n')))
    {
        let reason = format!("line {line}, the last one, breaks off in the middle ({} of {} cells)", cells.len(), header.len());
        bad.retain(|row| row.line != *line);
        bad.push(BadRow::new(*line, reason.clone()));
        let error =
            CoreError::refused("half_written_row", reason, "finish or delete that line; the file may have been cut off while saving");
        return Err(Refusal { error, rows: bad });
    }
    if let Some(refusal) = refusal_of(bad, what) {
        return Err(refusal);
    }
    for (i, name) in header.iter().enumerate() {
        if !name.is_empty() && header[..i].contains(name) {
            let reason = format!("the column `{name}` stands twice in the header of the {what}");
            return Err(CoreError::refused("bad_header", reason, "keep each column once").into());
        }
    }
    Ok(Table { header, rows, decimal_comma: delimiter == b';' })
}

fn refusal_of(mut bad: Vec<BadRow>, what: &str) -> Option<Refusal> {
    order::by_number(&mut bad, |row| row.line as f64);
    let first = bad.first()?;
    let reason = format!("{} bad rows in the {what}; the first: line {}: {}", bad.len(), first.line, first.reason);
    bad.truncate(LISTED);
    Some(Refusal { error: CoreError::refused("bad_rows", reason, "correct the listed lines; nothing was taken from the file"), rows: bad })
}

/// Whether `whole,part` is how thousands are set apart.
fn may_be_thousands(whole: &str, part: &str) -> bool {
    let digits = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
    (1..=3).contains(&whole.len()) && part.len() == 3 && digits(whole) && digits(part) && !whole.starts_with('0')
}

/// Cells of one row by column name.
pub(crate) struct Cells<'a> {
    table: &'a Table,
    cells: &'a csv::StringRecord,
}

impl<'a> Cells<'a> {
    pub(crate) fn new(table: &'a Table, cells: &'a csv::StringRecord) -> Self {
        Self { table, cells }
    }

    pub(crate) fn text(&self, column: &str) -> &'a str {
        self.table.header.iter().position(|name| name == column).map_or("", |i| trimmed(self.cells, i))
    }

    pub(crate) fn moment(&self, column: &str) -> Result<DateTime<Utc>, String> {
        let text = self.text(column);
        DateTime::parse_from_rfc3339(text).map(|at| at.to_utc()).map_err(|_| {
            format!("{column} `{}` is not a moment with its offset, such as 2026-05-04T07:30:00-06:00 (RFC 3339)", clipped(text))
        })
    }

    /// A number in `low..=high`; decimal point, or decimal comma where there is no point. None where the cell is empty. Between commas
    /// `18,250` may be meant in two ways and is refused.
    pub(crate) fn number(&self, column: &str, low: f64, high: f64) -> Result<Option<f64>, String> {
        let text = self.text(column);
        if text.is_empty() {
            return Ok(None);
        }
        if !self.table.decimal_comma
            && let Some((whole, part)) = text.split_once(',')
            && may_be_thousands(whole, part)
        {
            return Err(format!("{column} `{text}` is {whole}{part} or {whole}.{part}: write it without the comma"));
        }
        let decimal_comma = text.contains(',') && !text.contains('.');
        match if decimal_comma { text.replacen(',', ".", 1).parse::<f64>() } else { text.parse() } {
            Ok(value) if value.is_finite() && (low..=high).contains(&value) => Ok(Some(value)),
            Ok(value) if value.is_finite() => Err(format!("{column} {value} is outside {low} to {high}")),
            _ => Err(format!("{column} `{}` is not a number", clipped(text))),
        }
    }

    pub(crate) fn name(&self, column: &str) -> Result<String, String> {
        let text = self.text(column);
        if text.is_empty() {
            return Err(format!("{column} is empty"));
        }
        if text.chars().count() > 200 {
            return Err(format!("{column} `{}` is longer than 200 characters", clipped(text)));
        }
        Ok(text.to_owned())
    }

    fn word<T: Copy>(&self, column: &str, words: &[(T, &str)]) -> Result<Option<T>, String> {
        let text = self.text(column);
        if text.is_empty() {
            return Ok(None);
        }
        let found = words.iter().find(|(_, word)| word.eq_ignore_ascii_case(text)).map(|(value, _)| *value);
        found.map(Some).ok_or_else(|| {
            let known: Vec<_> = words.iter().map(|(_, word)| *word).collect();
            format!("{column} `{}` is none of {}", clipped(text), known.join(", "))
        })
    }
}

fn clipped(text: &str) -> String {
    if text.chars().count() <= 40 { text.to_owned() } else { text.chars().take(40).chain(['\u{2026}']).collect() }
}

const COLUMNS: [&str; 19] = [
    "at",
    "pump",
    "cup",
    "event",
    "pump_m3",
    "pour_m3",
    "age_m3",
    "level",
    "grade",
    "liquid",
    "liquid_low",
    "settled_ml",
    "concrete_bar",
    "mix_factor",
    "measure",
    "value",
    "reason",
    "part",
    "note",
];

const CUPS: [(Cup, &str); 2] = [(Cup::A, "A"), (Cup::B, "B")];
const LIQUIDS: [(Liquid, &str); 4] = [(Liquid::Clear, "clear"), (Liquid::Grey, "grey"), (Liquid::Muddy, "muddy"), (Liquid::Oily, "oily")];
const YES_NO: [(bool, &str); 6] = [(true, "yes"), (false, "no"), (true, "true"), (false, "false"), (true, "1"), (false, "0")];
const REASONS: [(RemovalReason, &str); 5] = [
    (RemovalReason::Worn, "worn"),
    (RemovalReason::Planned, "planned"),
    (RemovalReason::Damaged, "damaged"),
    (RemovalReason::OtherCup, "other_cup"),
    (RemovalReason::Failed, "failed"),
];
const PARTS: [(Part, &str); 7] = [
    (Part::Cup, "cup"),
    (Part::GuideBand, "guide_band"),
    (Part::ORing, "o_ring"),
    (Part::Plate, "plate"),
    (Part::Bore, "bore"),
    (Part::Coupler, "coupler"),
    (Part::Bolts, "bolts"),
];
/// Largest concrete pressure, bar: beyond what any piston pump for concrete gives.
const MOST_BAR: f64 = 400.0;

/// A pressure that cannot be bar, in bar if it was meant in psi.
pub(super) fn in_psi(cell: &str) -> Option<f64> {
    let bar = cell.parse::<f64>().ok().filter(|value| *value > MOST_BAR)? * PA_PER_PSI / PA_PER_BAR;
    (bar <= MOST_BAR).then_some(bar)
}

/// Largest running total, m3: a pump that ran 24 h a day for fifty years at 200 m3/h would reach 88 million.
const MOST_M3: f64 = 1e8;

/// Reads a table of figures with these columns, in any order; other columns are passed over.
///
/// # Errors
/// As for [`parse`]: `not_utf8`, `half_written_row`, `empty_table`, `not_a_table`, `bad_header`, `missing_columns`, `bad_rows` with
/// every bad row, `too_big`. An empty cell is a bad one.
pub fn figures<const N: usize>(bytes: &[u8], columns: [&str; N]) -> Result<Vec<[f64; N]>, Refusal> {
    let table = split_table(bytes, "table")?;
    let missing: Vec<_> = columns.into_iter().filter(|name| !table.header.iter().any(|h| h == name)).collect();
    if !missing.is_empty() {
        let reason = format!("the table has no column {}", missing.join(", "));
        return Err(CoreError::refused("missing_columns", reason, format!("give the columns {}", columns.join(", "))).into());
    }
    let (mut rows, mut bad) = (Vec::with_capacity(table.rows.len()), Vec::new());
    for (line, cells) in &table.rows {
        let cells = Cells::new(&table, cells);
        let mut row = [0.0; N];
        let read = row.iter_mut().zip(columns).try_for_each(|(value, column)| {
            *value = cells.number(column, f64::MIN, f64::MAX)?.ok_or_else(|| format!("{column} is empty"))?;
            Ok(())
        });
        match read {
            Ok(()) => rows.push(row),
            Err(reason) => bad.push(BadRow::new(*line, reason)),
        }
    }
    refusal_of(bad, "table").map_or(Ok(rows), Err)
}

/// Reads a history.
///
/// # Errors
/// A [`Refusal`] with every bad row; nothing of a bad file is used. Codes: `not_utf8`, `half_written_row`, `empty_table`,
/// `not_a_table`, `bad_header`, `missing_columns`, `bad_rows`, `too_big`.
pub fn parse(bytes: &[u8]) -> Result<History, Refusal> {
    checked(bytes, None)
}

/// Reads a history as [`parse`] does, and refuses rows that are dated later than `now`.
///
/// # Errors
/// As for [`parse`].
pub fn parse_at(bytes: &[u8], now: DateTime<Utc>) -> Result<History, Refusal> {
    checked(bytes, Some(now))
}

fn checked(bytes: &[u8], now: Option<DateTime<Utc>>) -> Result<History, Refusal> {
    let (rows, other_columns) = split_rows(bytes)?;
    let mut bad = repair::contradicting(&rows);
    bad.extend(contradictions(&rows));
    bad.extend(other_units(&rows));
    bad.extend(now.into_iter().flat_map(|now| later_than(&rows, now)));
    refusal_of(bad, "history").map_or(Ok(History { rows, other_columns }), Err)
}

/// The rows of a history in the order they are taken in, whether or not their running totals agree.
pub(crate) fn parse_rows(bytes: &[u8]) -> Result<Vec<Row>, Refusal> {
    Ok(split_rows(bytes)?.0)
}

fn split_rows(bytes: &[u8]) -> Result<(Vec<Row>, Vec<String>), Refusal> {
    let table = split_table(bytes, "history")?;
    let missing: Vec<_> = ["at", "pump", "event"].into_iter().filter(|name| !table.header.iter().any(|h| h == name)).collect();
    if !missing.is_empty() {
        let reason = format!("the history has no column {}", missing.join(", "));
        return Err(CoreError::refused("missing_columns", reason, "a history needs at least the columns at, pump, event").into());
    }
    let others: Vec<usize> = (0..table.header.len()).filter(|&i| !COLUMNS.contains(&table.header[i].as_str())).collect();
    let (mut rows, mut bad) = (Vec::with_capacity(table.rows.len()), Vec::new());
    for (line, cells) in &table.rows {
        match row_of(&Cells::new(&table, cells), *line) {
            Ok(mut row) => {
                row.others = others.iter().map(|&i| trimmed(cells, i).to_owned()).collect();
                rows.push(row);
            }
            Err(reason) => bad.push(BadRow::new(*line, reason)),
        }
    }
    rows.sort_by(Row::order);
    repair::offer(&table, &mut bad);
    if let Some(refusal) = refusal_of(bad, "history") {
        return Err(refusal);
    }
    let other_columns = others.iter().map(|&i| table.header[i].clone()).collect();
    Ok((rows, other_columns))
}

pub(super) fn row_of(cells: &Cells<'_>, line: u64) -> Result<Row, String> {
    let digit = |column: &str, most: f64| -> Result<Option<u8>, String> {
        match cells.number(column, 0.0, most)? {
            Some(value) if value.fract() != 0.0 => Err(format!("{column} {value} is not a whole number")),
            value => Ok(value.map(|value| value as u8)),
        }
    };
    let row = Row {
        at: cells.moment("at")?,
        pump: cells.name("pump")?,
        cup: cells.word("cup", &CUPS)?,
        event: cells.word("event", &Event::ALL)?.ok_or("event is empty")?,
        pump_m3: cells.number("pump_m3", 0.0, MOST_M3)?,
        pour_m3: cells.number("pour_m3", 0.0, 1e6)?,
        age_m3: cells.number("age_m3", 0.0, MOST_M3)?,
        level: digit("level", 3.0)?,
        grade: digit("grade", 4.0)?,
        liquid: cells.word("liquid", &LIQUIDS)?,
        liquid_low: cells.word("liquid_low", &YES_NO)?,
        settled_ml: cells.number("settled_ml", 0.0, 1e6)?,
        concrete_bar: cells.number("concrete_bar", 0.0, MOST_BAR).map_err(|reason| match in_psi(cells.text("concrete_bar")) {
            Some(bar) => format!("{reason}; in psi it would be {bar:.1} bar"),
            None => reason,
        })?,
        mix_factor: cells.number("mix_factor", 0.01, 100.0)?,
        measure: cells.text("measure").to_owned(),
        value: cells.number("value", -1e9, 1e9)?,
        reason: cells.word("reason", &REASONS)?,
        part: cells.word("part", &PARTS)?.unwrap_or(Part::Cup),
        note: cells.text("note").to_owned(),
        others: Vec::new(),
        line,
    };
    match row.event {
        Event::Poured if row.pour_m3.is_none() && row.pump_m3.is_none() => Err("poured without pour_m3 or pump_m3".to_owned()),
        Event::Counter if row.pump_m3.is_none() => Err("counter without pump_m3".to_owned()),
        Event::Graded if row.grade.is_none() => Err("graded without a grade".to_owned()),
        Event::Measured if row.measure.is_empty() || row.value.is_none() => Err("measured without measure and value".to_owned()),
        _ => Ok(row),
    }
}

/// Rows whose running total lies below an earlier one of the same pump. A cubic metre is let pass: totals are rounded.
pub(super) fn falling_totals(rows: &[Row]) -> Vec<BadRow> {
    let mut highest = std::collections::BTreeMap::<&str, f64>::new();
    let mut bad = Vec::new();
    for row in rows {
        let Some(total) = row.pump_m3 else { continue };
        let before = highest.entry(&row.pump).or_insert(total);
        if total < *before - 1.0 {
            bad.push(BadRow::new(row.line, format!("pump_m3 {total} is below {before}, which was read before it")));
        }
        *before = before.max(total);
    }
    bad
}

#[cfg(test)]
#[path = "parse_tests.rs"]
mod tests;
