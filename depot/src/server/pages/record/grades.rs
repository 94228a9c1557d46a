//! The history of a pump's grades: each part's over the concrete that went through the pump, as a chart and as a list.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use gritbook_core::model::part::{Cup, Grade, GradeSource, Part};
use gritbook_core::model::{Entry, EntryBody};
use gritbook_core::units::M3_PER_YD3;
use gritbook_core::units::shown::{Quantity, UnitSystem};
use gritbook_core::wear::grade::GRADE_NAMES;

use super::super::super::Problem;
use super::super::frame::{Frame, html};
use super::super::shown::Shown;
use super::super::visit::Visit;
use super::super::{signs, view};
use super::{Named, chart_svg, for_a_page, no_such_pump, pump_of};
use crate::report::chart::{Axis, Chart, Label, Mark, Place, Tone};

#[derive(Template)]
#[template(path = "record/grades.html")]
struct Page {
    frame: Frame,
    pump: String,
    name: String,
    /// Inline SVG; empty where no cup was graded at a known total.
    chart: String,
    parts: Vec<PartHistory>,
}

struct PartHistory {
    title: String,
    /// Newest first.
    grades: Vec<Line>,
}

struct Line {
    ring: String,
    word: &'static str,
    day: String,
    total: String,
    entry: String,
}

/// A grade as it was given, or the part's being fitted anew.
struct Given {
    part: Part,
    cup: Option<Cup>,
    /// None where the part was fitted.
    grade: Option<(Grade, GradeSource)>,
    pump_m3: Option<f64>,
    entry: Entry,
}

fn given(entry: Entry) -> Option<Given> {
    match &entry.body {
        EntryBody::Graded(graded) => {
            Some(Given { part: graded.part, cup: graded.cup, grade: Some((graded.grade, graded.source)), pump_m3: graded.pump_m3, entry })
        }
        EntryBody::Fitted(fitted) => Some(Given { part: fitted.part, cup: fitted.cup, grade: None, pump_m3: fitted.pump_m3, entry }),
        _ => None,
    }
}

pub(super) async fn page(visit: Visit, id: Named) -> Result<Response, Problem> {
    let pump = pump_of(id, &visit.reader)?;
    let found = visit.depot.archive().pump(pump, 0).await?.ok_or_else(no_such_pump)?;
    let docs = visit.depot.archive().entries_of(pump).await?;
    let entries = docs.iter().filter_map(|doc| serde_json::from_str::<Entry>(doc).ok());
    // In the record's order: oldest first.
    let history: Vec<Given> = entries.filter(|entry| !found.amended.contains(&entry.head.id)).filter_map(given).collect();
    let frame = visit.frame();
    let shown = frame.shown;
    let name = view::name(&found, shown);
    visit.seen("pump_seen", Some(pump.to_string())).await;
    let (chart, parts) = (chart(&history, shown), parts(&history, shown));
    html(StatusCode::OK, &Page { frame, pump: pump.to_string(), name, chart, parts })
}

fn parts(history: &[Given], shown: Shown) -> Vec<PartHistory> {
    let mut parts: Vec<((Part, Option<Cup>), PartHistory)> = Vec::new();
    for one in history.iter().rev() {
        let Some((grade, source)) = one.grade else { continue };
        let key = (one.part, one.cup);
        let at = parts.iter().position(|(known, _)| *known == key).unwrap_or_else(|| {
            parts.push((key, PartHistory { title: view::part_title(one.part, one.cup, shown), grades: Vec::new() }));
            parts.len() - 1
        });
        let total = one.pump_m3.map(|total| shown.concrete(total)).map(|(value, unit)| format!("{value}\u{a0}{unit}"));
        parts[at].1.grades.push(Line {
            ring: signs::ring(grade.number(), source == GradeSource::Measured, shown),
            word: view::grade_word(grade.number(), shown),
            day: shown.day(one.entry.head.at),
            total: total.unwrap_or_default(),
            entry: one.entry.head.id.to_string(),
        });
    }
    parts.into_iter().map(|(_, history)| history).collect()
}

/// The cups' grades over the running total: a line for each life of each cup, broken where a new one was fitted.
fn chart(history: &[Given], shown: Shown) -> String {
    let in_unit = |m3: f64| if shown.units == UnitSystem::Inch { m3 / M3_PER_YD3 } else { m3 };
    let points = |cup: Cup| {
        let mut points: Vec<[f64; 2]> = Vec::new();
        for one in history.iter().filter(|one| one.part == Part::Cup && one.cup == Some(cup)) {
            match (one.grade, one.pump_m3) {
                (Some((grade, _)), Some(total)) => points.push([in_unit(total), f64::from(grade.number())]),
                (None, _) if !points.is_empty() => points.push([f64::NAN, f64::NAN]),
                _ => {}
            }
        }
        points
    };
    let (a, b) = (points(Cup::A), points(Cup::B));
    let totals: Vec<f64> = a.iter().chain(&b).map(|point| point[0]).filter(|total| total.is_finite()).collect();
    let (Some(from), Some(to)) = (totals.iter().copied().reduce(f64::min), totals.iter().copied().reduce(f64::max)) else {
        return String::new();
    };
    // One total alone still has an axis whose numbers differ.
    let room = ((to - from) * 0.05).max(to * 0.02).max(10.0);
    let x = Axis::linear(
        format!("{}, {}", shown.pick("pumped", "bombeado"), Quantity::Concrete.unit(shown.units)),
        (from - room).max(0.0),
        to + room,
    );
    let names = GRADE_NAMES.iter().enumerate().map(|(grade, name)| (grade as f64, format!("{grade} {}", shown.say(*name))));
    let y = Axis::linear("", -0.3, 4.3).with_ticks(names);
    let mut chart = for_a_page(Chart::new(shown.pick("Grades of the cups", "Grados de las copas"), x, y));
    // The ring behind and wider, so that both show where both cups stand alike.
    for (cup, points, filled, tone, radius_px) in [(Cup::B, b, false, Tone::Ink, 7.0), (Cup::A, a, true, Tone::Own, 4.0)] {
        if points.is_empty() {
            continue;
        }
        let label = Label { text: view::part_title(Part::Cup, Some(cup), shown), place: Place::End };
        let dots = points.iter().copied().filter(|point| point[0].is_finite()).collect();
        chart = chart.with(Mark::Line { points, tone, width_px: 2.0, dashed: !filled, label: Some(label) }).with(Mark::Points {
            points: dots,
            tone,
            filled,
            radius_px,
            label: None,
        });
    }
    chart_svg(&chart)
}
