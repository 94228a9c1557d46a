//! The plate from above with its heights, and seen from the side between the two planes of its zone.

use gritbook_core::wear::plate::{Centre, Flatness};

use super::{INK_LINE, Sheet, said};
use crate::report::chart::{Anchor, Drawing, Tone};

const PLAN: f64 = 330.0;
const TOP: f64 = 100.0;

/// Draws it.
pub fn plate(found: &Flatness) -> Drawing {
    let least = if found.ties_whole_plate { "" } else { "at least " };
    let title = format!("Out of flat by {least}{:.3} mm: {}", found.minimum_zone_mm, said(found.verdict));
    let note = format!("limit {} mm, give or take {:.3} mm; {}", found.limit_mm, found.uncertainty_mm, centre(found));
    let mut sheet = Sheet::new(&title, &note, 760.0, 480.0);
    let heights = heights(found);
    from_above(&mut sheet, found, &heights);
    from_the_side(&mut sheet, found, &heights);
    sheet.drawing
}

fn centre(found: &Flatness) -> String {
    match (found.centre, found.centre_low_mm) {
        (Centre::Low, Some(low)) => format!("low in the centre by {low:.3} mm"),
        (Centre::High, Some(low)) => format!("high in the centre by {:.3} mm", -low),
        (Centre::Level, _) => "centre and rim are level".to_owned(),
        _ => "the centre was not read".to_owned(),
    }
}

/// Heights over the middle of the zone, mm.
fn heights(found: &Flatness) -> Vec<f64> {
    let [a, b, c] = found.plane;
    let over: Vec<f64> = found.points.iter().map(|p| p.height_mm - a * p.x_mm - b * p.y_mm - c).collect();
    let (low, high) = over.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    over.iter().map(|height| height - f64::midpoint(low, high)).collect()
}

/// Middle of what was read and half its longer side, mm.
fn extent(found: &Flatness) -> ([f64; 2], f64) {
    let range = |values: &mut dyn Iterator<Item = f64>| values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    let (left, right) = range(&mut found.points.iter().map(|p| p.x_mm));
    let (low, high) = range(&mut found.points.iter().map(|p| p.y_mm));
    ([f64::midpoint(left, right), f64::midpoint(low, high)], ((right - left).max(high - low) / 2.0).max(1e-6))
}

fn from_above(sheet: &mut Sheet, found: &Flatness, heights: &[f64]) {
    let (middle, half) = extent(found);
    let scale = PLAN / 2.0 / (half * 1.22);
    let centre = [24.0 + PLAN / 2.0, TOP + PLAN / 2.0];
    let place = |x: f64, y: f64| [centre[0] + scale * (x - middle[0]), centre[1] - scale * (y - middle[1])];
    let rim = found.points.iter().map(|p| (p.x_mm - middle[0]).hypot(p.y_mm - middle[1])).fold(0.0, f64::max);
    // The plate is round; readings on a square grid stand beyond the circle and are still shown.
    sheet.area(super::circle(centre, (scale * rim * 1.08).min(PLAN / 2.0)), Tone::Rule, 0.35, Some(INK_LINE));
    for line in &found.lines {
        let along: Vec<_> = found.gaps.iter().filter(|gap| gap.line == line.line).map(|gap| place(gap.x_mm, gap.y_mm)).collect();
        sheet.line(along, Tone::Pencil, 1.0, true);
    }
    let crowded = found.points.len() > 30;
    for (at, (point, height)) in found.points.iter().zip(heights).enumerate() {
        let [x, y] = place(point.x_mm, point.y_mm);
        let touches = found.contacts.contains(&at);
        let radius = if touches { 7.0 } else { 3.5 };
        sheet.dot([x, y], radius, *height >= 0.0, if touches { Tone::Own } else { Tone::Ink });
        if touches || !crowded {
            sheet.text([x, y - 11.0], Anchor::Middle, 14.0, Tone::Ink, touches, &hundredths(*height));
        }
    }
    sheet.text([24.0, TOP - 16.0], Anchor::Start, 15.0, Tone::Pencil, false, "from above, height in 0.01 mm");
    sheet.text(
        [24.0, TOP + PLAN + 28.0],
        Anchor::Start,
        14.0,
        Tone::Pencil,
        false,
        "filled: above the middle, ring: below, large: touches the zone",
    );
}

fn hundredths(height_mm: f64) -> String {
    let text = format!("{:+.1}", height_mm * 100.0).replace('-', "\u{2212}");
    if text.ends_with("0.0") { "0".to_owned() } else { text }
}

fn from_the_side(sheet: &mut Sheet, found: &Flatness, heights: &[f64]) {
    let (middle, half) = extent(found);
    let (left, right, zero) = (430.0, 730.0, TOP + PLAN / 2.0);
    let tall = (found.minimum_zone_mm.max(found.limit_mm) / 2.0).max(1e-6);
    let up = PLAN * 0.36 / tall;
    let half_zone = found.minimum_zone_mm / 2.0;
    let across = |x: f64| f64::midpoint(left, right) + (right - left) * 0.46 * (x - middle[0]) / half;
    sheet.area(
        vec![[left, zero - up * half_zone], [right, zero - up * half_zone], [right, zero + up * half_zone], [left, zero + up * half_zone]],
        Tone::Own,
        0.10,
        None,
    );
    for edge in [-half_zone, half_zone] {
        sheet.line([[left, zero + up * edge], [right, zero + up * edge]], Tone::Own, 2.0, false);
    }
    for edge in [-found.limit_mm / 2.0, found.limit_mm / 2.0] {
        sheet.line([[left, zero + up * edge], [right, zero + up * edge]], Tone::Pencil, 1.5, true);
    }
    for (at, (point, height)) in found.points.iter().zip(heights).enumerate() {
        let touches = found.contacts.contains(&at);
        let tone = if touches { Tone::Own } else { Tone::Ink };
        sheet.dot([across(point.x_mm), zero - up * height], if touches { 6.0 } else { 3.5 }, *height >= 0.0, tone);
    }
    sheet.text([left, TOP - 16.0], Anchor::Start, 15.0, Tone::Pencil, false, "from the side, height drawn large");
    sheet.label([left, zero + PLAN / 2.0 - 4.0], Anchor::Start, &format!("zone {:.3} mm", found.minimum_zone_mm));
    let dashes = format!("dashes: limit {} mm", found.limit_mm);
    sheet.text([left, zero + PLAN / 2.0 + 18.0], Anchor::Start, 15.0, Tone::Pencil, false, &dashes);
}
