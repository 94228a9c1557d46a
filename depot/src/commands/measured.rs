//! What the commands of measured wear share: tables of figures, verdicts in words.

use std::path::Path;

use gritbook_core::CoreError;
use gritbook_core::units::number;
use gritbook_core::wear::Verdict;

use super::Failure;
use super::life::read;

/// Reads a CSV of figures with these columns, in any order; comma or semicolon, decimal point, or comma beside semicolons.
pub(super) fn table<const N: usize>(path: &Path, columns: [&str; N]) -> Result<Vec<[f64; N]>, Failure> {
    let bytes = read(path)?;
    let text = String::from_utf8(bytes)
        .map_err(|cause| CoreError::refused("not_utf8", "the table is not UTF-8 text", "save it again as UTF-8").because(cause))?;
    let header = text.lines().next().unwrap_or_default();
    let delimiter = if header.contains(';') { b';' } else { b',' };
    let mut reader =
        csv::ReaderBuilder::new().delimiter(delimiter).trim(csv::Trim::All).from_reader(text.trim_start_matches('\u{feff}').as_bytes());
    let not_a_table = |cause: csv::Error| CoreError::refused("not_a_table", format!("the table cannot be read: {cause}"), "save it as CSV");
    let header = reader.headers().map_err(not_a_table)?.clone();
    let mut places = [0; N];
    for (place, column) in places.iter_mut().zip(columns) {
        *place = header.iter().position(|name| name.eq_ignore_ascii_case(column)).ok_or_else(|| {
            CoreError::refused(
                "missing_columns",
                format!("the table has no column {column}"),
                format!("give the columns {}", columns.join(", ")),
            )
        })?;
    }
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(not_a_table)?;
        let line = record.position().map_or(0, csv::Position::line);
        let mut row = [0.0; N];
        for ((value, place), column) in row.iter_mut().zip(places).zip(columns) {
            *value = number(record.get(place).unwrap_or_default(), column).map_err(|error| {
                CoreError::refused(
                    "bad_rows",
                    format!("line {line}: {}", error.reason()),
                    "correct that line; nothing was taken from the file",
                )
            })?;
        }
        rows.push(row);
    }
    Ok(rows)
}

/// A verdict for people.
pub(super) fn words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Good => "good",
        Verdict::Bad => "bad",
        Verdict::TooClose => "too close to call: measure finer, or take it for bad",
    }
}
