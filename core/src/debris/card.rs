//! The debris card as it is printed: an open white window, four marks around it, patches, words.
//!
//! One description serves the printer, the finder and the tests. Each mark says its own place in its payload, so a photo
//! that shows any two of them is enough, whatever edition of the card they stand on.
//!
//! Window coordinates: millimetres, origin at the window's upper left as printed, x right, y down.

use qrcode::{EcLevel, QrCode, Version};
use serde::{Deserialize, Serialize};

use crate::error::CoreError;

/// First field of every mark's payload; a later layout of the payload gets another number.
pub const CARD_TAG: &str = "GRIT1";

/// Width and height of the printed window, mm.
pub const WINDOW_MM: [f64; 2] = [60.0, 60.0];

/// Side of a printed mark, outer edge of its modules, mm.
pub const MARK_SIDE_MM: f64 = 20.0;

/// Gap between the window and the nearest mark, in x and in y, mm. The quiet zone of a mark (4 modules of 0.8 mm) fits inside it.
pub const MARK_GAP_MM: f64 = 4.0;

/// Modules along a side of a mark: QR version 2, so that 29 characters fit at level Q.
pub const MARK_MODULES: usize = 25;

/// Width of the white border around a mark, modules (ISO/IEC 18004 asks for 4).
pub const QUIET_MODULES: f64 = 4.0;

/// Length of the bar that checks the printer, mm.
pub const BAR_MM: f64 = 100.0;

/// Printed level of the grey patch, 8-bit sRGB (CIELAB L* 50).
pub const GREY_PATCH_SRGB: u8 = 119;

/// Paper that the card is drawn for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// ISO 216 A4, 210 x 297 mm.
    A4,
    /// US Letter, 215.9 x 279.4 mm.
    Letter,
}

impl Paper {
    /// Width and height, mm.
    pub fn size_mm(self) -> [f64; 2] {
        match self {
            Self::A4 => [210.0, 297.0],
            Self::Letter => [215.9, 279.4],
        }
    }
}

/// A rectangle, mm: left, top, width, height.
pub type RectMm = [f64; 4];

/// What one mark says about itself: where it stands beside which window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MarkPlace {
    /// Width and height of the window it belongs to, mm.
    pub window_mm: [f64; 2],
    /// Upper left of the mark (outer edge of its modules, no quiet zone), mm from the window's upper left.
    pub offset_mm: [f64; 2],
    /// Side of the mark, mm.
    pub side_mm: f64,
}

impl MarkPlace {
    /// The payload, for example `GRIT1:600X600:-240+640:200`: tag, window, offset and side in tenths of a millimetre.
    /// Only characters of the QR alphanumeric mode, at most 29 of them, so that it fits version 2 at level Q.
    pub fn payload(&self) -> String {
        let tenths = |mm: f64| (mm * 10.0).round() as i64;
        format!(
            "{CARD_TAG}:{}X{}:{:+}{:+}:{}",
            tenths(self.window_mm[0]),
            tenths(self.window_mm[1]),
            tenths(self.offset_mm[0]),
            tenths(self.offset_mm[1]),
            tenths(self.side_mm)
        )
    }

    /// Reads a payload; `None` where it is not one of ours or says something no card could be
    /// (window of 10 to 500 mm, mark of 5 to 100 mm, offset within 500 mm).
    pub fn parse(payload: &str) -> Option<Self> {
        let mut fields = payload.split(':');
        if fields.next()? != CARD_TAG {
            return None;
        }
        let (window, offset, side) = (fields.next()?, fields.next()?, fields.next()?);
        if fields.next().is_some() {
            return None;
        }
        let tenths = |text: &str| text.parse::<i32>().ok().map(|value| f64::from(value) / 10.0);
        let (width, height) = window.split_once('X')?;
        let second_sign = offset.char_indices().skip(1).find(|(_, c)| *c == '+' || *c == '-')?.0;
        let (offset_x, offset_y) = offset.split_at_checked(second_sign)?;
        let place = Self {
            window_mm: [tenths(width)?, tenths(height)?],
            offset_mm: [tenths(offset_x)?, tenths(offset_y)?],
            side_mm: tenths(side)?,
        };
        let sane = place.window_mm.iter().all(|side| (10.0..=500.0).contains(side))
            && place.offset_mm.iter().all(|shift| shift.abs() <= 500.0)
            && (5.0..=100.0).contains(&place.side_mm);
        sane.then_some(place)
    }

    /// The mark's rectangle in window coordinates, mm.
    pub fn rect_mm(&self) -> RectMm {
        [self.offset_mm[0], self.offset_mm[1], self.side_mm, self.side_mm]
    }
}

/// The modules of a mark.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MarkModules {
    size: usize,
    dark: Vec<bool>,
}

impl MarkModules {
    /// Encodes `payload` as the card prints it: QR version 2, level Q.
    ///
    /// # Errors
    /// `bad_mark_payload` where it does not fit.
    pub fn encode(payload: &str) -> Result<Self, CoreError> {
        let code = QrCode::with_version(payload.as_bytes(), Version::Normal(2), EcLevel::Q).map_err(|cause| {
            CoreError::refused("bad_mark_payload", format!("`{payload}` does not fit a mark"), "use the window and mark sizes of the card")
                .because(cause)
        })?;
        let dark = code.to_colors().into_iter().map(|color| color == qrcode::Color::Dark).collect();
        Ok(Self { size: code.width(), dark })
    }

    /// Modules along a side.
    pub fn size(&self) -> usize {
        self.size
    }

    /// Whether the module at `column`, `row` is dark; false outside the mark, as the quiet zone is.
    pub fn is_dark(&self, column: i32, row: i32) -> bool {
        let inside = |index: i32| usize::try_from(index).ok().filter(|index| *index < self.size);
        match (inside(column), inside(row)) {
            (Some(column), Some(row)) => self.dark[row * self.size + column],
            _ => false,
        }
    }
}

/// The card that this program prints.
#[derive(Debug, Clone)]
pub struct Card {
    /// Upper left, upper right, lower right, lower left.
    pub marks: [MarkPlace; 4],
    /// White patches beside the window: bare paper in a thin outline. The rectangle is the white inside.
    pub white_mm: [RectMm; 2],
    /// Grey patches, printed in [`GREY_PATCH_SRGB`].
    pub grey_mm: [RectMm; 2],
}

impl Default for Card {
    fn default() -> Self {
        Self::new()
    }
}

impl Card {
    /// The card of this edition.
    pub fn new() -> Self {
        let near = -(MARK_GAP_MM + MARK_SIDE_MM);
        let far = [WINDOW_MM[0] + MARK_GAP_MM, WINDOW_MM[1] + MARK_GAP_MM];
        let mark = |x: f64, y: f64| MarkPlace { window_mm: WINDOW_MM, offset_mm: [x, y], side_mm: MARK_SIDE_MM };
        // White and grey stand diagonally opposite, so that a shadow over one side shows as a difference.
        let (left, right, upper, lower) = (-20.0, 68.0, 6.0, 32.0);
        Self {
            marks: [mark(near, near), mark(far[0], near), mark(far[0], far[1]), mark(near, far[1])],
            white_mm: [[left, upper, 12.0, 22.0], [right, lower, 12.0, 22.0]],
            grey_mm: [[left, lower, 12.0, 22.0], [right, upper, 12.0, 22.0]],
        }
    }
}

/// Where things are on a printed page: millimetres from the page's upper left, x right, y down.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct CardGeometry {
    /// Width and height of the page, mm.
    pub page_mm: [f64; 2],
    /// Left, top, width and height of the window, mm.
    pub window_mm: [f64; 4],
    /// Left, top, width and height of each mark (outer edge of its modules, no quiet zone), mm:
    /// upper left, upper right, lower right, lower left.
    pub marks_mm: Vec<[f64; 4]>,
    /// Pixels per millimetre of the PNG that was made with it.
    pub px_per_mm: f64,
}

/// Top of the window on the page, mm: room for a heading above the upper marks.
const WINDOW_TOP_MM: f64 = 62.0;

impl CardGeometry {
    /// The card on `paper`, drawn at `px_per_mm`.
    pub fn on_paper(paper: Paper, px_per_mm: f64) -> Self {
        let page_mm = paper.size_mm();
        let origin = [(page_mm[0] - WINDOW_MM[0]) / 2.0, WINDOW_TOP_MM];
        let rounded = |mm: f64| (mm * 1000.0).round() / 1000.0;
        let place = |rect: RectMm| [rounded(rect[0] + origin[0]), rounded(rect[1] + origin[1]), rect[2], rect[3]];
        let card = Card::new();
        Self {
            page_mm,
            window_mm: place([0.0, 0.0, WINDOW_MM[0], WINDOW_MM[1]]),
            marks_mm: card.marks.iter().map(|mark| place(mark.rect_mm())).collect(),
            px_per_mm,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn payload_says_place_and_comes_back() {
        for mark in Card::new().marks {
            let payload = mark.payload();
            assert!(payload.len() <= 29, "{payload}");
            assert_eq!(MarkPlace::parse(&payload), Some(mark));
        }
        assert_eq!(Card::new().marks[3].payload(), "GRIT1:600X600:-240+640:200");
    }

    #[test]
    fn foreign_or_odd_payload_is_no_mark() {
        for payload in [
            "",
            "https://example.org",
            "GRIT2:600X600:-240+640:200",
            "GRIT1:600X600:-240+640",
            "GRIT1:600X600:-240+640:200:9",
            "GRIT1:0X600:-240+640:200",
            "GRIT1:600X600:240:200",
            "GRIT1:600X600:-99999+0:200",
            "GRIT1:600X600:-240+640:0",
            "GRIT1:éX600:-240+640:200",
        ] {
            assert_eq!(MarkPlace::parse(payload), None, "{payload}");
        }
    }

    #[test]
    fn mark_is_a_version_two_code_with_its_finder_patterns() {
        let modules = MarkModules::encode(&Card::new().marks[0].payload()).unwrap();
        assert_eq!(modules.size(), MARK_MODULES);
        // Finder patterns 1:1:3:1:1 along their middle row, timing pattern in row and column 6, dark module at (8, 4v + 9)
        // (ISO/IEC 18004; rules from memory, as is usual for them).
        let row: Vec<bool> = (0..7).map(|column| modules.is_dark(column, 3)).collect();
        assert_eq!(row, [true, false, true, true, true, false, true]);
        assert!((8..17).all(|index| modules.is_dark(index, 6) == (index % 2 == 0) && modules.is_dark(6, index) == (index % 2 == 0)));
        assert!(modules.is_dark(8, 17));
        assert!(!modules.is_dark(-1, 0) && !modules.is_dark(25, 0));
    }

    #[test]
    fn quiet_zones_and_patches_keep_clear_of_window_and_each_other() {
        let card = Card::new();
        let quiet = QUIET_MODULES * MARK_SIDE_MM / MARK_MODULES as f64;
        let grown = |rect: RectMm, by: f64| [rect[0] - by, rect[1] - by, rect[2] + 2.0 * by, rect[3] + 2.0 * by];
        let apart = |a: RectMm, b: RectMm| a[0] + a[2] <= b[0] || b[0] + b[2] <= a[0] || a[1] + a[3] <= b[1] || b[1] + b[3] <= a[1];
        let window = [0.0, 0.0, WINDOW_MM[0], WINDOW_MM[1]];
        for mark in &card.marks {
            assert!(apart(grown(mark.rect_mm(), quiet), window));
            for patch in card.white_mm.iter().chain(&card.grey_mm) {
                assert!(apart(grown(mark.rect_mm(), quiet), *patch) && apart(grown(*patch, 1.5), window));
            }
        }
    }

    #[test]
    fn card_lies_inside_both_papers() {
        for paper in [Paper::A4, Paper::Letter] {
            let geometry = CardGeometry::on_paper(paper, 300.0 / 25.4);
            for rect in &geometry.marks_mm {
                assert!(rect[0] > 10.0 && rect[1] > 10.0 && rect[0] + rect[2] < geometry.page_mm[0] - 10.0);
            }
            let json = serde_json::to_string(&geometry).unwrap();
            assert_eq!(serde_json::from_str::<CardGeometry>(&json).unwrap(), geometry);
        }
    }
}
