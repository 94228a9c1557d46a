//! The bore along its length: each direction's diameters over the nominal, with limit and chrome.

use gritbook_core::wear::bore::Bore;

use super::said;
use crate::report::chart::{Axis, Chart, Drawing, Label, Mark, Place, Tone};

/// Draws it.
pub fn bore(found: &Bore) -> Drawing {
    let smallest = found.readings.iter().map(|reading| reading.diameter_mm).fold(f64::INFINITY, f64::min);
    let base = found.nominal_mm.unwrap_or(smallest);
    let over = |diameter: f64| diameter - base;
    let (first, last) =
        found.readings.iter().map(|r| r.station_mm).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    let margin = ((last - first) * 0.08).max(10.0);
    let top = found.wear_mm.max(found.limit_mm) * 1.25;
    let x = Axis::linear("along the bore from the box end, mm", first - margin, last + margin);
    let from = if found.nominal_mm.is_some() { "nominal" } else { "its narrowest place" };
    let y = Axis::linear(format!("wider than {from}, mm"), over(smallest).min(0.0) * 1.2, top);
    let least = if found.nominal_mm.is_some() { "" } else { "at least " };
    let mut chart = Chart::new(format!("Worn by {least}{:.2} mm: {}", found.wear_mm, said(found.verdict)), x, y);
    let oval = found.ovality_mm.map_or_else(String::new, |oval| format!("; oval by {oval:.2} mm"));
    let taper = found.taper_mm.map_or_else(String::new, |taper| format!("; taper {taper:.2} mm"));
    chart.note = format!("on the diameter, give or take {:.3} mm{oval}{taper}", found.uncertainty_mm);
    let limit = format!("limit {} mm", found.limit_mm);
    let through = found.chrome_left_mm.map(|left| found.wear_mm + 2.0 * left);
    // Two lines of words need room between them.
    let close = through.is_some_and(|through| (through - found.limit_mm).abs() < 0.06 * top);
    let limit = if close { format!("{limit}; chrome worn through about there") } else { limit };
    chart = chart.with(Mark::LevelAt { y: found.limit_mm, tone: Tone::Ink, text: limit });
    if let Some(through) = through.filter(|_| !close) {
        chart = chart.with(Mark::LevelAt { y: through, tone: Tone::Pencil, text: "chrome worn through, if even all round".to_owned() });
    }
    let mut directions: Vec<i64> = found.readings.iter().map(|r| r.direction_deg.rem_euclid(180.0).round() as i64).collect();
    directions.sort_unstable();
    directions.dedup();
    for (number, direction) in directions.iter().enumerate() {
        let of_it = found.readings.iter().filter(|r| r.direction_deg.rem_euclid(180.0).round() as i64 == *direction);
        let mut points: Vec<[f64; 2]> = of_it.map(|r| [r.station_mm, over(r.diameter_mm)]).collect();
        points.sort_by(|a, b| a[0].total_cmp(&b[0]));
        let label = (directions.len() <= 4).then(|| Label { text: format!("{direction}\u{b0}"), place: Place::End });
        chart = chart
            .with(Mark::Line { points: points.clone(), tone: Tone::Own, width_px: 2.0, dashed: number % 2 == 1, label })
            .with(Mark::Points { points, tone: Tone::Own, filled: number % 2 == 0, radius_px: 4.0, label: None });
    }
    chart.layout()
}
