//! What could be put in place of a bad cell. It is offered beside the bad row and never put in by itself: `gritbook repair` writes a copy of
//! the file with what was offered, and lists it.
//!
//! Only what can be meant in one way is offered: a unit written into the cell or thousands set apart, a pressure that only psi can mean, a
//! word for a level, a moment without an offset where every other row has the same one, a running total that contradicts the others (left
//! out: its event stays, and the pours still count), and the row that is missing where a cup comes out that never went in.

use std::collections::BTreeMap;

use chrono::{DateTime, SecondsFormat, Utc};
use serde::{Deserialize, Serialize};

use super::parse::{BadRow, Cells, Refusal, Table, falling_totals, in_psi, row_of, split_table, trimmed};
use super::row::{Event, Row};
use super::totals::longest_rise;
use crate::error::CoreError;
use crate::units::{M3_PER_YD3, PA_PER_BAR, PA_PER_PSI};

/// What is offered for a bad row.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(untagged)]
pub enum Repair {
    /// Another value in one cell.
    Cell {
        /// The column.
        column: String,
        /// What stands there.
        was: String,
        /// What would stand there; empty where it is left out.
        value: String,
    },
    /// One more row beside it.
    AddRow {
        /// The row.
        add_row: NewRow,
    },
}

/// A row that is offered; every other cell of it is empty.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct NewRow {
    /// When.
    pub at: String,
    /// The pump's name.
    pub pump: String,
    /// A or B; empty for both.
    pub cup: String,
    /// What happened.
    pub event: String,
}

impl NewRow {
    /// A row that has `event` happen to the cup of another row.
    pub(super) fn of(row: &Row, at: DateTime<Utc>, event: Event) -> Self {
        let word = Event::ALL.iter().find(|(of, _)| *of == event).map_or("", |(_, word)| word);
        Self {
            at: at.to_rfc3339_opts(SecondsFormat::AutoSi, true),
            pump: row.pump.clone(),
            cup: row.cup.map_or(String::new(), |cup| format!("{cup:?}")),
            event: word.to_owned(),
        }
    }

    fn cell(&self, column: &str) -> &str {
        match column {
            "at" => &self.at,
            "pump" => &self.pump,
            "cup" => &self.cup,
            "event" => &self.event,
            _ => "",
        }
    }
}

/// Columns of figures with the units that may be written into them, each with its factor to the column's own.
const UNITS: [(&[&str], &[(&str, f64)]); 3] = [
    (
        &["pump_m3", "pour_m3", "age_m3"],
        &[("m3", 1.0), ("m\u{b3}", 1.0), ("cbm", 1.0), ("yd3", M3_PER_YD3), ("yd\u{b3}", M3_PER_YD3), ("cy", M3_PER_YD3)],
    ),
    (&["concrete_bar"], &[("bar", 1.0), ("psi", PA_PER_PSI / PA_PER_BAR), ("mpa", 10.0)]),
    (&["settled_ml"], &[("ml", 1.0), ("l", 1000.0)]),
];

/// More than this in one file is no longer a slip here and there.
const MOST_REPAIRS: usize = 10_000;

const LEVEL_WORDS: [(&str, &str); 8] = [
    ("paste only", "0"),
    ("paste_only", "0"),
    ("paste", "0"),
    ("some sand", "1"),
    ("some_sand", "1"),
    ("sand", "2"),
    ("lumps", "3"),
    ("clumps", "3"),
];

/// A number with a decimal point alone: of two kinds of marks the later one is the decimal. One comma before three digits is either, and
/// none is offered.
fn with_a_point(digits: &str) -> Option<String> {
    let grouped = |whole: &str, mark: char| {
        let mut groups = whole.split(mark);
        let first = groups.next().is_some_and(|group| (1..=3).contains(&group.len()));
        (first && groups.all(|group| group.len() == 3)).then(|| whole.replace(mark, ""))
    };
    match (digits.rfind(','), digits.rfind('.')) {
        (None, _) => Some(digits.to_owned()),
        (Some(comma), Some(point)) => {
            let (mark, decimal) = if comma < point { (',', '.') } else { ('.', ',') };
            let (whole, part) = digits.rsplit_once(decimal)?;
            grouped(whole, mark).map(|whole| format!("{whole}.{part}"))
        }
        (Some(_), None) if digits.matches(',').count() > 1 => grouped(digits, ','),
        (Some(_), None) => {
            let (whole, part) = digits.split_once(',')?;
            (part.len() != 3).then(|| format!("{whole}.{part}"))
        }
    }
}

/// A figure with its unit, or with its thousands set apart; None where it can be meant in two ways.
fn figure(column: &str, cell: &str) -> Option<String> {
    let (_, units) = UNITS.iter().find(|(columns, _)| columns.contains(&column))?;
    let lower = cell.trim().to_lowercase();
    let (digits, factor) = units
        .iter()
        .filter_map(|(unit, factor)| lower.strip_suffix(unit).map(|rest| (rest, *factor)))
        .min_by_key(|(rest, _)| rest.len())
        .unwrap_or((&lower, 1.0));
    let digits: String = digits.chars().filter(|c| !matches!(c, ' ' | '\u{a0}' | '\u{202f}' | '\'')).collect();
    let digits = with_a_point(&digits)?;
    let value: f64 = digits.parse().ok()?;
    if factor == 1.0 { Some(digits) } else { Some(format!("{:.3}", value * factor)) }
}

/// The offset that every moment of the table with an offset has; None where they differ.
fn one_offset(table: &Table) -> Option<String> {
    let mut offsets = table.rows.iter().filter_map(|(_, cells)| {
        let text = Cells::new(table, cells).text("at");
        chrono::DateTime::parse_from_rfc3339(text).ok().map(|at| at.offset().to_string())
    });
    let first = offsets.next()?;
    offsets.all(|other| other == first).then_some(first)
}

fn moment(cell: &str, offset: Option<&str>) -> Option<String> {
    let (text, offset) = (cell.trim().replacen(' ', "T", 1), offset?);
    [format!("{text}{offset}"), format!("{text}:00{offset}")].into_iter().find(|text| chrono::DateTime::parse_from_rfc3339(text).is_ok())
}

fn offer_for(column: &str, cell: &str, offset: Option<&str>) -> Option<String> {
    match column {
        "at" => moment(cell, offset),
        "level" => LEVEL_WORDS.iter().find(|(word, _)| word.eq_ignore_ascii_case(cell.trim())).map(|(_, level)| (*level).to_owned()),
        "concrete_bar" => in_psi(cell).map(|bar| format!("{bar:.3}")).or_else(|| figure(column, cell)),
        _ => figure(column, cell),
    }
}

/// What could be put in place of one cell of a bad row so that the row can be read; None where no single cell would do.
fn of_row(table: &Table, cells: &csv::StringRecord, line: u64, offset: Option<&str>) -> Option<Repair> {
    table.header.iter().enumerate().find_map(|(i, column)| {
        let was = trimmed(cells, i);
        let value = offer_for(column, was, offset).filter(|value| value != was && !was.is_empty())?;
        let trial = cells.iter().enumerate().map(|(at, cell)| if at == i { value.as_str() } else { cell }).collect();
        row_of(&Cells::new(table, &trial), line).ok()?;
        Some(Repair::Cell { column: column.clone(), was: was.to_owned(), value })
    })
}

/// Adds what can be offered to the bad rows of a table.
pub(super) fn offer(table: &Table, bad: &mut [BadRow]) {
    if bad.is_empty() {
        return;
    }
    let offset = one_offset(table);
    for row in bad {
        if let Some((line, cells)) = table.rows.iter().find(|(line, _)| *line == row.line) {
            row.repair = of_row(table, cells, *line, offset.as_deref());
        }
    }
}

/// Running totals that contradict the most others, each with the offer to leave it out; the rest of the falling ones stand as they are.
pub(super) fn contradicting(rows: &[Row]) -> Vec<BadRow> {
    let mut bad = falling_totals(rows);
    if bad.is_empty() {
        return bad;
    }
    let mut totals = BTreeMap::<&str, Vec<(u64, f64)>>::new();
    for row in rows {
        if let Some(total) = row.pump_m3 {
            totals.entry(&row.pump).or_default().push((row.line, total));
        }
    }
    for told in totals.values() {
        let values: Vec<f64> = told.iter().map(|(_, total)| *total).collect();
        // A cubic metre is let pass here too: what no row was found bad for needs no repair.
        if !told.iter().any(|(line, _)| bad.iter().any(|row| row.line == *line)) {
            continue;
        }
        for (at, ((line, total), _)) in told.iter().zip(longest_rise(&values)).enumerate().filter(|(_, (_, kept))| !kept) {
            let repair = Some(Repair::Cell { column: "pump_m3".to_owned(), was: total.to_string(), value: String::new() });
            match bad.iter_mut().find(|row| row.line == *line) {
                Some(row) => row.repair = repair,
                None => {
                    let below = values[at..].iter().find(|later| **later < *total).copied().unwrap_or_default();
                    bad.push(BadRow::offering(*line, format!("pump_m3 {total} is above {below}, which was read after it"), repair));
                }
            }
        }
    }
    bad
}

/// A copy of a history's text with everything that was offered, and the rows it was offered for.
///
/// # Errors
/// `nothing_to_repair` where the history reads as it is; the [`Refusal`] of the history where something is wrong with it that nothing can be
/// offered for. The rows that can be repaired stand in it too.
pub fn repaired(bytes: &[u8]) -> Result<(String, Vec<BadRow>), Refusal> {
    let mut done: Vec<BadRow> = Vec::new();
    let mut text = String::from_utf8_lossy(bytes).into_owned();
    loop {
        let mut refusal = match super::parse::parse(text.as_bytes()) {
            Ok(_) if done.is_empty() => {
                return Err(CoreError::refused("nothing_to_repair", "the history reads as it is", "use it as it is").into());
            }
            Ok(_) => return Ok((text, done)),
            Err(refusal) => refusal,
        };
        // What is bad beside a row that can be repaired may be so because of it, so it is looked at again.
        let offered: Vec<BadRow> = refusal.rows.iter().filter(|row| row.repair.is_some()).cloned().collect();
        if offered.is_empty() || done.len() > MOST_REPAIRS {
            refusal.rows.splice(0..0, done);
            return Err(refusal);
        }
        text = with(&text, &offered)?;
        done.extend(offered);
    }
}

/// The table written anew with what is offered put in; new rows at its end, so that the lines before stay where they are.
fn with(text: &str, offered: &[BadRow]) -> Result<String, Refusal> {
    let table = split_table(text.as_bytes(), "history")?;
    let delimiter = if table.decimal_comma { b';' } else { b',' };
    let mut writer = csv::WriterBuilder::new().delimiter(delimiter).from_writer(Vec::new());
    let failed = |cause: csv::Error| {
        CoreError::new(crate::ErrorKind::Internal, "not_written", "a row could not be written", "try it again").because(cause)
    };
    // A row that is added may need a column that no other row has.
    let mut header = table.header.clone();
    let added: Vec<&NewRow> =
        offered.iter().filter_map(|row| if let Some(Repair::AddRow { add_row }) = &row.repair { Some(add_row) } else { None }).collect();
    if added.iter().any(|row| !row.cup.is_empty()) && !header.iter().any(|name| name == "cup") {
        header.push("cup".to_owned());
    }
    writer.write_record(&header).map_err(failed)?;
    for (line, cells) in &table.rows {
        let mut cells: Vec<&str> = (0..header.len()).map(|i| trimmed(cells, i)).collect();
        for repair in offered.iter().filter(|row| row.line == *line).filter_map(|row| row.repair.as_ref()) {
            if let Repair::Cell { column, value, .. } = repair
                && let Some(i) = header.iter().position(|name| name == column)
            {
                cells[i] = value;
            }
        }
        writer.write_record(&cells).map_err(failed)?;
    }
    for row in added {
        writer.write_record(header.iter().map(|column| row.cell(column))).map_err(failed)?;
    }
    let bytes = writer.into_inner().unwrap_or_default();
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::parse;

    fn offers(text: &str) -> Vec<(u64, Option<Repair>)> {
        parse(text.as_bytes()).unwrap_err().rows.into_iter().map(|row| (row.line, row.repair)).collect()
    }

    fn value(text: &str) -> Option<String> {
        let Some(Repair::Cell { value, .. }) = offers(text).remove(0).1 else { return None };
        Some(value)
    }

    const HEAD: &str = "at,pump,event,pump_m3,concrete_bar,level\n2026-01-01T06:00:00-06:00,P,counter,1000,,\n";

    #[test]
    fn units_and_thousands_written_into_a_cell_are_offered_in_the_column_s_own() {
        let with = |total: &str, bar: &str| value(&format!("{HEAD}2026-01-02T06:00:00-06:00,P,counter,{total},{bar},\n"));
        assert_eq!(with("1060 m3", "").as_deref(), Some("1060"));
        assert_eq!(with("\"1,060.5\"", "").as_deref(), Some("1060.5"));
        assert_eq!(with("1386.4 yd3", "").as_deref(), Some("1059.979"));
        assert_eq!(with("1060", "900 psi").as_deref(), Some("62.053"));
        assert_eq!(with("1060", "900").as_deref(), Some("62.053"));
        assert_eq!(with("1060", "9000"), None);
        assert_eq!(with("many", ""), None);
        assert_eq!(with("\"1,06.5\"", ""), None);
        assert_eq!(with("\"1.060,5 m3\"", "").as_deref(), Some("1060.5"));
        assert_eq!(with("\"1060,25 m3\"", "").as_deref(), Some("1060.25"));
        assert_eq!(with("\"1,060,000\"", "").as_deref(), Some("1060000"));
        // One thousand and sixty, or a little over one.
        assert_eq!(with("\"1,060\"", ""), None);
        assert_eq!(with("\"1,060 m3\"", ""), None);
    }

    #[test]
    fn words_of_levels_and_moments_without_an_offset_are_offered_where_only_one_thing_can_be_meant() {
        assert_eq!(value(&format!("{HEAD}2026-01-02T06:00:00-06:00,P,checked,1060,,Lumps\n")).as_deref(), Some("3"));
        assert_eq!(value(&format!("{HEAD}2026-01-02 06:00,P,counter,1060,,\n")).as_deref(), Some("2026-01-02T06:00:00-06:00"));
        let two = format!("{HEAD}2026-01-02T06:00:00+01:00,P,counter,1010,,\n2026-01-02 06:00,P,counter,1060,,\n");
        assert_eq!(value(&two), None);
    }

    #[test]
    fn the_total_that_contradicts_the_others_is_offered_to_be_left_out_wherever_it_stands() {
        let rows = |totals: &[u32]| {
            let rows = totals.iter().enumerate().map(|(i, total)| format!("2026-01-{:02}T06:00:00-06:00,P,counter,{total},,\n", i + 2));
            format!("{HEAD}{}", rows.collect::<String>().replace(",counter,", ",checked,"))
        };
        let found = offers(&rows(&[1060, 11200, 1180, 1240]));
        assert_eq!(found.iter().map(|(line, repair)| (*line, repair.is_some())).collect::<Vec<_>>(), [(4, true), (5, false), (6, false)]);
        assert_eq!(offers(&rows(&[1060, 112, 1180])).into_iter().map(|(line, _)| line).collect::<Vec<_>>(), [4]);
        let (text, done) = repaired(rows(&[1060, 11200, 1180, 1240]).as_bytes()).unwrap();
        assert_eq!(done.len(), 1);
        let kept: Vec<_> = parse(text.as_bytes()).unwrap().rows.iter().map(|row| row.pump_m3).collect();
        assert_eq!(kept, [Some(1000.0), Some(1060.0), None, Some(1180.0), Some(1240.0)]);
    }

    #[test]
    fn nothing_is_put_in_by_itself_and_what_cannot_be_repaired_keeps_the_whole_file_back() {
        let text = format!("{HEAD}2026-01-02T06:00:00-06:00,P,counter,1060 m3,,\n2026-01-03T06:00:00-06:00,P,poured,,,\n");
        assert_eq!(parse(text.as_bytes()).unwrap_err().error.code(), "bad_rows");
        let refusal = repaired(text.as_bytes()).unwrap_err();
        assert_eq!(refusal.error.code(), "bad_rows");
        assert_eq!(refusal.rows.iter().filter(|row| row.repair.is_some()).count(), 1);
        assert_eq!(repaired(HEAD.as_bytes()).unwrap_err().error.code(), "nothing_to_repair");
    }

    #[test]
    fn copy_parts_its_cells_as_the_history_does() {
        let text = "at;pump;event;pump_m3;level\n2026-01-01T06:00:00-06:00;P;checked;60,125;Lumps\n";
        assert_eq!(repaired(text.as_bytes()).unwrap().0, text.replace("Lumps", "3"));
    }
}
