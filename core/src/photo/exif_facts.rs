//! The two facts taken from EXIF: which way is up, and when. Nothing else is looked at, the place least of all.

use std::panic::catch_unwind;

use chrono::{NaiveDate, NaiveTime};
use exif::{Exif, In, Reader, Tag, Value};

/// Orientation and time of a photo; what cannot be read is left at its default, never an error.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct ExifFacts {
    /// EXIF orientation, 1 to 8 (CIPA DC-008, tag 0x0112).
    pub(crate) orientation: u8,
    /// DateTimeOriginal as `2026-05-01T10:11:12.345+02:00`; sub-second and offset only where written.
    pub(crate) taken_at: Option<String>,
}

impl ExifFacts {
    /// Reads the TIFF block of an EXIF segment.
    pub(crate) fn read(block: Option<&[u8]>) -> Self {
        let none = Self { orientation: 1, taken_at: None };
        let Some(block) = block else { return none };
        let block = block.to_vec();
        // A broken EXIF block must not cost the photo, not even by a panic in its reader.
        catch_unwind(|| {
            let mut reader = Reader::new();
            reader.continue_on_error(true);
            let exif = reader.read_raw(block).or_else(|error| error.distill_partial_result(|_| ())).ok()?;
            Some(Self { orientation: orientation(&exif), taken_at: taken_at(&exif) })
        })
        .ok()
        .flatten()
        .unwrap_or(none)
    }
}

fn orientation(exif: &Exif) -> u8 {
    let field = exif.get_field(Tag::Orientation, In::PRIMARY);
    let value = field.and_then(|field| field.value.get_uint(0)).and_then(|value| u8::try_from(value).ok());
    value.filter(|value| (1..=8).contains(value)).unwrap_or(1)
}

fn ascii(exif: &Exif, tag: Tag) -> Option<&[u8]> {
    match &exif.get_field(tag, In::PRIMARY)?.value {
        Value::Ascii(texts) => texts.first().map(Vec::as_slice),
        _ => None,
    }
}

fn taken_at(exif: &Exif) -> Option<String> {
    let mut at = exif::DateTime::from_ascii(ascii(exif, Tag::DateTimeOriginal)?).ok()?;
    let date = NaiveDate::from_ymd_opt(i32::from(at.year), u32::from(at.month), u32::from(at.day))?;
    let time = NaiveTime::from_hms_opt(u32::from(at.hour), u32::from(at.minute), u32::from(at.second))?;
    let mut text = format!("{}T{}", date.format("%Y-%m-%d"), time.format("%H:%M:%S"));
    if let Some(subsec) = ascii(exif, Tag::SubSecTimeOriginal).and_then(|raw| std::str::from_utf8(raw).ok()) {
        let digits = subsec.trim_end_matches([' ', '\0']);
        if !digits.is_empty() && digits.len() <= 9 && digits.bytes().all(|byte| byte.is_ascii_digit()) {
            text.push('.');
            text.push_str(digits);
        }
    }
    if let Some(raw) = ascii(exif, Tag::OffsetTimeOriginal)
        && at.parse_offset(raw).is_ok()
        && let Some(minutes) = at.offset
        && minutes.unsigned_abs() < 24 * 60
    {
        let sign = if minutes < 0 { '-' } else { '+' };
        text.push_str(&format!("{sign}{:02}:{:02}", minutes.unsigned_abs() / 60, minutes.unsigned_abs() % 60));
    }
    Some(text)
}
