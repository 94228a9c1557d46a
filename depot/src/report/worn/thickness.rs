//! Readings around a lip, wall or band between new and the limit.

use gritbook_core::wear::thickness::{Thickness, ThinPart};

use super::said;
use crate::report::chart::{Axis, Chart, Drawing, Label, Mark, Place, Tone, plain_number};

/// Draws it.
pub fn thickness(found: &Thickness) -> Drawing {
    let name = match found.part {
        ThinPart::CupLip => "Cup lip",
        ThinPart::CupWall => "Cup wall",
        ThinPart::GuideBand => "Guide band",
    };
    let count = found.readings_mm.len();
    let most = found.readings_mm.iter().copied().fold(found.new_mm, f64::max);
    let least = found.least_mm.min(found.limit_mm);
    let room = ((most - least) * 0.15).max(0.1);
    let places = (1..=count).map(|place| (place as f64, if count <= 12 { place.to_string() } else { String::new() }));
    let x = Axis::linear("place around it", 0.5, count as f64 + 0.5).with_ticks(places);
    let y = Axis::linear("thickness, mm", (least - room).max(0.0), most + room);
    let mut chart = Chart::new(format!("{name} {:.2} mm: {}", found.least_mm, said(found.verdict)), x, y);
    let left = found.rate.and_then(|rate| rate.left_least_m3).map_or_else(String::new, |m3| format!("; plan with {} m3", plain_number(m3)));
    chart.note = format!("{:.0} % of what may wear is used{left}", found.used_percent.max(0.0));
    chart = chart
        .with(Mark::LevelAt { y: found.new_mm, tone: Tone::Pencil, text: format!("new {} mm", found.new_mm) })
        .with(Mark::LevelAt { y: found.limit_mm, tone: Tone::Ink, text: format!("limit {} mm", found.limit_mm) });
    let mut stems = chart;
    for (place, value) in (1..).zip(&found.readings_mm) {
        let at = f64::from(place);
        stems =
            stems.with(Mark::Line { points: vec![[at, 0.0], [at, *value]], tone: Tone::Rule, width_px: 8.0, dashed: false, label: None });
    }
    let points = (1..).zip(&found.readings_mm).map(|(place, value)| [f64::from(place), *value]).collect();
    let thinnest = vec![[found.least_at as f64, found.least_mm]];
    let label = Some(Label { text: format!("{:.2}", found.least_mm), place: Place::Below(1.0) });
    stems
        .with(Mark::Points { points, tone: Tone::Own, filled: false, radius_px: 5.0, label: None })
        .with(Mark::Points { points: thinnest, tone: Tone::Own, filled: true, radius_px: 6.0, label })
        .layout()
}
