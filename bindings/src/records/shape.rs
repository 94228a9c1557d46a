//! Times, points and rectangles.

use chrono::{DateTime, FixedOffset, Utc};
use gritbook_core::CoreError;

use crate::cross::{Cross, Piece};

/// A moment on this device's clock, with the clock's offset: what the wall clock shows is kept in the record.
#[derive(Debug, Clone, Copy, PartialEq, Eq, uniffi::Record)]
pub struct Moment {
    /// Milliseconds since 1970, UTC.
    pub utc_ms: i64,
    /// Offset of the wall clock, seconds east of UTC (within a day).
    pub offset_s: i32,
}

impl TryFrom<Moment> for DateTime<FixedOffset> {
    type Error = CoreError;

    fn try_from(moment: Moment) -> Result<Self, CoreError> {
        let Moment { utc_ms, offset_s } = moment;
        let time = DateTime::from_timestamp_millis(utc_ms).zip(FixedOffset::east_opt(offset_s));
        time.map(|(time, offset)| time.with_timezone(&offset)).ok_or_else(|| {
            CoreError::refused("bad_moment", format!("{utc_ms} ms with an offset of {offset_s} s is no moment"), "set the device's clock")
        })
    }
}

impl Cross<Moment> for DateTime<FixedOffset> {
    fn cross(self) -> Moment {
        Moment { utc_ms: self.timestamp_millis(), offset_s: self.offset().local_minus_utc() }
    }
}

impl Cross<i64> for DateTime<Utc> {
    fn cross(self) -> i64 {
        self.timestamp_millis()
    }
}

/// A width and a height, mm.
#[derive(Debug, Clone, Copy, PartialEq, uniffi::Record)]
pub struct SizeMm {
    /// mm.
    pub width_mm: f64,
    /// mm.
    pub height_mm: f64,
}

impl Cross<SizeMm> for [f64; 2] {
    fn cross(self) -> SizeMm {
        let [width_mm, height_mm] = self;
        SizeMm { width_mm, height_mm }
    }
}

/// A point, mm: x right, y down.
#[derive(Debug, Clone, Copy, PartialEq, uniffi::Record)]
pub struct PointMm {
    /// mm to the right.
    pub x_mm: f64,
    /// mm down.
    pub y_mm: f64,
}

impl Cross<PointMm> for [f64; 2] {
    fn cross(self) -> PointMm {
        let [x_mm, y_mm] = self;
        PointMm { x_mm, y_mm }
    }
}

/// A point of the oriented photo, px: x right, y down, pixel centres at half-integers.
#[derive(Debug, Clone, Copy, PartialEq, uniffi::Record)]
pub struct PointPx {
    /// px to the right.
    pub x_px: f64,
    /// px down.
    pub y_px: f64,
}

impl Cross<PointPx> for [f64; 2] {
    fn cross(self) -> PointPx {
        let [x_px, y_px] = self;
        PointPx { x_px, y_px }
    }
}

impl Cross<Vec<PointPx>> for [[f64; 2]; 4] {
    fn cross(self) -> Vec<PointPx> {
        self.map(Cross::cross).to_vec()
    }
}

/// A rectangle, mm: x right, y down.
#[derive(Debug, Clone, Copy, PartialEq, uniffi::Record)]
pub struct RectMm {
    /// mm.
    pub left_mm: f64,
    /// mm.
    pub top_mm: f64,
    /// mm.
    pub width_mm: f64,
    /// mm.
    pub height_mm: f64,
}

impl Cross<RectMm> for [f64; 4] {
    fn cross(self) -> RectMm {
        let [left_mm, top_mm, width_mm, height_mm] = self;
        RectMm { left_mm, top_mm, width_mm, height_mm }
    }
}

/// An interval of lengths, mm.
#[derive(Debug, Clone, Copy, PartialEq, uniffi::Record)]
pub struct IntervalMm {
    /// mm.
    pub low_mm: f64,
    /// mm.
    pub high_mm: f64,
}

impl Cross<IntervalMm> for [f64; 2] {
    fn cross(self) -> IntervalMm {
        let [low_mm, high_mm] = self;
        IntervalMm { low_mm, high_mm }
    }
}

/// One HTTP header.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct Header {
    /// In an answer: in lower case.
    pub name: String,
    /// As it stands.
    pub value: String,
}

impl Piece for Header {}
impl Piece for (String, String) {}

impl Cross<Header> for (String, String) {
    fn cross(self) -> Header {
        let (name, value) = self;
        Header { name, value }
    }
}

impl Cross<(String, String)> for Header {
    fn cross(self) -> (String, String) {
        let Self { name, value } = self;
        (name, value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moment_keeps_the_wall_clock_and_an_impossible_one_is_refused() {
        let moment = Moment { utc_ms: 1_772_457_300_250, offset_s: -6 * 3600 };
        let time = DateTime::<FixedOffset>::try_from(moment).unwrap();
        assert_eq!(time.to_rfc3339(), "2026-03-02T07:15:00.250-06:00");
        let back: Moment = time.cross();
        assert_eq!(back, moment);
        for (utc_ms, offset_s) in [(i64::MAX, 0), (0, 86_400)] {
            assert_eq!(DateTime::<FixedOffset>::try_from(Moment { utc_ms, offset_s }).unwrap_err().code(), "bad_moment");
        }
    }
}
