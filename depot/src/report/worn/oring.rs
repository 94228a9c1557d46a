//! The groove in section: the ring as it is free, and the bore that squeezes it.

use gritbook_core::wear::oring::ORing;

use super::{INK_LINE, Sheet, circle, said};
use crate::report::chart::{Anchor, Drawing, Stroke, Tone};

/// Draws it.
pub fn oring(found: &ORing) -> Drawing {
    let title = format!("Squeeze {:.0} %: {}", found.squeeze_percent, said(found.verdict));
    let fill = found.fill_percent.map_or_else(String::new, |fill| format!("; groove {fill:.0} % full"));
    let note = format!("wanted {} to {} %, give or take {:.1} %{fill}", found.least_percent, found.most_percent, found.uncertainty_percent);
    let mut sheet = Sheet::new(&title, &note, 640.0, 380.0);
    let (left, right, floor) = (60.0, 400.0, 320.0);
    let scale = 180.0 / found.section_mm.max(found.room_mm);
    let radius = scale * found.section_mm / 2.0;
    let bore = floor - scale * found.room_mm;
    let middle = f64::midpoint(left, right);
    let body = floor - scale * found.room_mm * 0.86;
    // Body with its groove, then the ring as it would stand free, then the bore's wall over it.
    let groove = radius * 1.3;
    sheet.area(
        vec![
            [left, body],
            [middle - groove, body],
            [middle - groove, floor],
            [middle + groove, floor],
            [middle + groove, body],
            [right, body],
            [right, floor + 30.0],
            [left, floor + 30.0],
        ],
        Tone::Rule,
        0.6,
        Some(INK_LINE),
    );
    sheet.area(circle([middle, floor - radius], radius), Tone::Own, 0.18, Some(Stroke { tone: Tone::Own, width_px: 2.0, dashed: true }));
    sheet.line([[left, bore], [right, bore]], Tone::Ink, 3.0, false);
    sheet.text([right + 12.0, bore + 5.0], Anchor::Start, 15.0, Tone::Ink, false, "bore");
    sheet.label([right + 12.0, floor], Anchor::Start, &format!("room {:.2} mm", found.room_mm));
    let above = (floor - 2.0 * radius - 8.0).min(bore - 8.0);
    sheet.text([middle, above], Anchor::Middle, 15.0, Tone::Own, true, &format!("ring {:.2} mm when free", found.section_mm));
    if found.squeeze_percent <= 0.0 {
        sheet.text([right + 12.0, bore + 40.0], Anchor::Start, 15.0, Tone::Ink, true, "it does not touch");
    }
    sheet.drawing
}
