//! The gradation curve of one reading, as a chart.

use gritbook_core::debris::reading::{Gradation, Reading};

use super::chart::{Axis, Chart, Label, Mark, Place, Tone, plain_number};
use super::words::{level_sentence, measure_sentence, sized_as_a_heap};

/// The curve: percent finer by volume over size, with the interval of the bootstrap, the sieves, and what the photo cannot tell.
pub fn curve(reading: &Reading) -> Chart {
    let smallest = reading.smallest_resolved_mm;
    let d90 = reading.gradation.as_ref().map_or(1.0, |gradation| gradation.interval95.d90_mm[1].max(gradation.d90_mm));
    let from = (smallest / 2.0).min(0.075);
    let to = (d90 * 2.0).max(4.75 * 1.2);
    let sieves = reading.gradation.as_ref().map_or_else(|| gritbook_core::debris::gradation::SIEVES_MM.to_vec(), |g| g.sieves_mm.clone());
    let ticks = sieves.iter().filter(|sieve| (from..=to).contains(*sieve)).map(|sieve| (*sieve, plain_number(*sieve)));
    let x = Axis::log("grain size at the sieves of ASTM E11, mm", from, to).with_ticks(ticks);
    let y = Axis::linear("finer by volume, %", 0.0, 100.0).with_ticks([0.0, 25.0, 50.0, 75.0, 100.0].map(|at| (at, plain_number(at))));
    let mut chart = Chart::new(level_sentence(reading), x, y);
    chart.note = measure_sentence(reading);
    if smallest > from {
        chart = chart.with(Mark::Hatched { from_x: from, to_x: smallest, text: "too small for this photo".into() });
    }
    let Some(gradation) = &reading.gradation else { return chart };
    let points = line(gradation);
    // Of a heap only the middle was measured: the rest of the line is assumed, and has no figures.
    let heap = sized_as_a_heap(reading);
    chart = chart.with(Mark::Band { points: band(gradation), tone: Tone::Own }).with(Mark::Line {
        points,
        tone: Tone::Own,
        width_px: 2.5,
        dashed: heap,
        label: heap.then(|| Label { text: "assumed".into(), place: Place::Below(0.75) }),
    });
    // The curve bends up after D10 and flat after D90: the labels stand on its open side.
    for (name, size, share, place) in [
        ("D10", gradation.d10_mm, 10.0, Place::Above(1.0)),
        ("D50", gradation.d50_mm, 50.0, Place::Above(1.0)),
        ("D90", gradation.d90_mm, 90.0, Place::Below(1.0)),
    ] {
        if heap && name != "D50" {
            continue;
        }
        chart = chart.with(Mark::Points {
            points: vec![[size, share]],
            tone: Tone::Own,
            filled: true,
            radius_px: 4.0,
            label: Some(Label { text: format!("{name} {size:.2} mm"), place }),
        });
    }
    chart
}

/// The curve through what the document holds: the sieves and the three diameters, all of them points of the curve.
fn line(gradation: &Gradation) -> Vec<[f64; 2]> {
    let mut points: Vec<[f64; 2]> =
        gradation.sieves_mm.iter().zip(&gradation.finer_percent).map(|(sieve, finer)| [*sieve, *finer]).collect();
    points.extend([[gradation.d10_mm, 10.0], [gradation.d50_mm, 50.0], [gradation.d90_mm, 90.0]]);
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    // A diameter is the first grain that reaches its share, so that the curve steps up there: keep it rising.
    let mut highest = 0.0_f64;
    for point in &mut points {
        highest = highest.max(point[1]);
        point[1] = highest;
    }
    let last_empty = points.iter().rposition(|point| point[1] <= 0.0).unwrap_or(0);
    let first_full = points.iter().position(|point| point[1] >= 100.0).unwrap_or(points.len() - 1);
    points[last_empty..=first_full].to_vec()
}

/// Where the bootstrap puts the curve between D10 and D90: `[size, low, high]` percent.
fn band(gradation: &Gradation) -> Vec<[f64; 3]> {
    let interval = &gradation.interval95;
    let ends = [interval.d10_mm, interval.d50_mm, interval.d90_mm];
    let shares = [10.0, 50.0, 90.0];
    // The curve of the low ends lies above, that of the high ends below.
    let share_at = |size: f64, end: usize| -> f64 {
        if size <= ends[0][end] {
            return shares[0];
        }
        for k in 0..2 {
            let (a, b) = (ends[k][end], ends[k + 1][end]);
            if size <= b {
                return if b > a { shares[k] + (shares[k + 1] - shares[k]) * (size / a).ln() / (b / a).ln() } else { shares[k + 1] };
            }
        }
        shares[2]
    };
    let (first, last) = (ends[0][0], ends[2][1]);
    if last <= first {
        return Vec::new();
    }
    const STEPS: usize = 60;
    (0..=STEPS)
        .map(|step| {
            let size = first * (last / first).powf(step as f64 / STEPS as f64);
            [size, share_at(size, 1), share_at(size, 0)]
        })
        .collect()
}
