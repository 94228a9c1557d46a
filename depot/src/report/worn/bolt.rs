//! The bolt with the torque to use, large, and where that figure is from.

use gritbook_core::units::NM_PER_FT_LBF;
use gritbook_core::wear::bolt::Bolt;

use super::{INK_LINE, Sheet};
use crate::report::chart::{Anchor, Drawing, Tone};

/// Draws it.
pub fn bolt(found: &Bolt) -> Drawing {
    let from = match found.maker_nm {
        Some(_) => format!("the maker's figure; computed {:.0} N m", found.computed_nm),
        None => format!("computed with K = {}; the maker's figure wins", found.nut_factor),
    };
    let mut sheet = Sheet::new(&format!("Bolt {}", found.thread.name), &from, 680.0, 300.0);
    let (left, middle, thick) = (50.0, 190.0, 34.0);
    // Head, shank, thread.
    sheet.area(
        vec![[left, middle - 44.0], [left + 44.0, middle - 44.0], [left + 44.0, middle + 44.0], [left, middle + 44.0]],
        Tone::Rule,
        0.6,
        Some(INK_LINE),
    );
    let (shank, end) = (left + 120.0, left + 270.0);
    sheet.area(
        vec![
            [left + 44.0, middle - thick / 2.0],
            [end, middle - thick / 2.0],
            [end, middle + thick / 2.0],
            [left + 44.0, middle + thick / 2.0],
        ],
        Tone::Rule,
        0.4,
        Some(INK_LINE),
    );
    let mut at = shank;
    while at < end - 6.0 {
        sheet.line([[at, middle + thick / 2.0], [at + 6.0, middle - thick / 2.0]], Tone::Ink, 1.5, false);
        at += 9.0;
    }
    let words = 370.0;
    sheet.text([words, middle - 20.0], Anchor::Start, 40.0, Tone::Ink, true, &format!("{:.0} N m", found.torque_nm));
    sheet.text([words, middle + 12.0], Anchor::Start, 22.0, Tone::Ink, false, &format!("{:.0} ft lb", found.torque_nm / NM_PER_FT_LBF));
    sheet.text([words, middle + 42.0], Anchor::Start, 15.0, Tone::Pencil, false, &format!("clamps {:.1} kN", found.clamp_kn));
    sheet.text([words, middle + 64.0], Anchor::Start, 15.0, Tone::Pencil, false, &format!("chase with a {} tap", found.chase_with));
    sheet.drawing
}
