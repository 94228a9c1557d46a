//! The pipe's wall in section, magnified: what is there, what the pressure needs.

use gritbook_core::wear::line::Line;

use super::{INK_LINE, Sheet, said};
use crate::report::chart::{Anchor, Drawing, Stroke, Tone, plain_number};

/// Draws it.
pub fn line(found: &Line) -> Drawing {
    let title = format!("Wall {:.1} mm: {}", found.wall_mm, said(found.verdict));
    let note = format!("needs {:.2} mm, give or take {:.2} mm; holds {:.0} bar", found.needed_mm, found.uncertainty_mm, found.holds_bar);
    let mut sheet = Sheet::new(&title, &note, 760.0, 360.0);
    let (left, right, inside) = (40.0, 400.0, 290.0);
    let scale = 180.0 / found.wall_mm.max(found.needed_mm);
    let outside = inside - scale * found.wall_mm;
    sheet.area(vec![[left, outside], [right, outside], [right, inside], [left, inside]], Tone::Rule, 0.8, Some(INK_LINE));
    // The needed wall is counted from the outside: wear eats from the inside.
    let needed = outside + scale * found.needed_mm;
    let (wide, dashed) = (2.0, Stroke { tone: Tone::Own, width_px: 2.0, dashed: true });
    sheet.line([[left - 8.0, needed], [right + 8.0, needed]], dashed.tone, wide, true);
    sheet.line([[right + 24.0, outside], [right + 24.0, inside]], Tone::Ink, 1.5, false);
    sheet.label([right + 34.0, f64::midpoint(outside, inside)], Anchor::Start, &format!("wall {:.2} mm", found.wall_mm));
    let worn = needed > inside;
    let below = if worn { needed + 6.0 } else { needed - 8.0 };
    sheet.text([left + 10.0, below.min(inside + 30.0)], Anchor::Start, 15.0, Tone::Own, true, &format!("needed {:.2} mm", found.needed_mm));
    sheet.text([left, outside - 10.0], Anchor::Start, 15.0, Tone::Pencil, false, "outside");
    sheet.text([left, inside + 22.0], Anchor::Start, 15.0, Tone::Pencil, false, "inside, where the concrete runs");
    if let Some(least) = found.left_least_m3 {
        let pours = found.pours_left.map_or_else(String::new, |pours| format!(", {pours:.0} pours"));
        sheet.text(
            [right + 34.0, outside + 24.0],
            Anchor::Start,
            18.0,
            Tone::Ink,
            true,
            &format!("plan with {} m3{pours}", plain_number(least)),
        );
        if let Some(rate) = found.wear_mm_per_1000_m3 {
            sheet.label([right + 34.0, outside + 48.0], Anchor::Start, &format!("wears {rate:.2} mm in 1000 m3"));
        }
    }
    sheet.drawing
}
