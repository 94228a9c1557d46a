//! One entry: what it says in full, its photo with what was read over it, its curve, its reasons.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use gritbook_core::debris::level;
use gritbook_core::debris::reading::{Finding, Reading};
use gritbook_core::error_words::spanish;
use gritbook_core::ids::{EntryId, PumpId, Sha256Hex};
use gritbook_core::model::{Entry, EntryBody};
use gritbook_core::wear::grade::CRITERIA;

use super::super::super::archive::EntryFound;
use super::super::super::auth::Reader;
use super::super::super::routes::photos;
use super::super::super::{Depot, Problem};
use super::super::frame::{Frame, html, policy};
use super::super::shown::{Shown, number};
use super::super::visit::Visit;
use super::super::words::sentence;
use super::super::{MAKING, thumb, view};
use super::{Named, chart_svg, for_a_page, over};
use crate::report::chart::{Chart, Label, Mark};
use crate::report::curve::curve;

/// Longer side of a window's picture, px.
const WINDOW_SIDE: u32 = 1400;

#[derive(Template)]
#[template(path = "record/entry.html")]
struct Page {
    frame: Frame,
    pump: PumpId,
    pump_name: String,
    entry: view::EntryView,
    /// Inline SVG; empty where the photo was not read or is not here.
    over: String,
    /// Inline SVG; empty where nothing was read.
    curve: String,
    /// Why the level is what it is, what the grade means, what would change the call.
    reasons: Vec<String>,
    would_change: Vec<String>,
    /// Device, number in its chain, hash: what the record can be checked by.
    chain: String,
    hash: String,
}

fn no_such_entry() -> Problem {
    Problem::new(404, "no_such_entry", "the depot does not have this entry", "it may still be on the phone that wrote it")
}

async fn find(depot: &Depot, reader: &Reader, id: Named) -> Result<EntryFound, Problem> {
    let Ok(Path(id)) = id else { return Err(no_such_entry()) };
    let id: EntryId = id.parse().map_err(|_| no_such_entry())?;
    depot.archive().entry(id).await?.filter(|found| reader.may_read(found.pump)).ok_or_else(no_such_entry)
}

/// The reading of a box check, or of one that was put right.
fn reading_of(body: &EntryBody) -> Option<&Reading> {
    match body {
        EntryBody::BoxCheck(check) => check.reading.as_ref(),
        EntryBody::Amended(amended) => reading_of(amended.instead.as_deref()?),
        _ => None,
    }
}

/// The photo that was read.
fn photo_of(reading: &Reading) -> Option<Sha256Hex> {
    reading.photo.sha256.parse().ok()
}

pub(super) async fn page(visit: Visit, id: Named) -> Result<Response, Problem> {
    let found = find(&visit.depot, &visit.reader, id).await?;
    let body = serde_json::from_str::<Entry>(&found.doc).ok();
    let named = body.as_ref().map(|entry| entry.body.photos().to_vec()).unwrap_or_default();
    let here = visit.depot.archive().photos_known(named).await?;
    let frame = visit.frame();
    let shown = frame.shown;
    let view = view::entry(&found.doc, &here, &found.amended, shown);
    let reading = body.as_ref().and_then(|entry| reading_of(&entry.body));
    let photo_here = reading.and_then(photo_of).is_some_and(|photo| here.here.contains(&photo));
    let address = format!("/entries/{}/window.jpg", view.id);
    let over = reading.filter(|_| photo_here).and_then(|reading| over::drawing(reading, &address, shown)).unwrap_or_default();
    let page = Page {
        pump: found.pump,
        pump_name: visit.depot.archive().pump(found.pump, 0).await?.map(|page| view::name(&page, shown)).unwrap_or_default(),
        over,
        curve: reading
            .filter(|reading| reading.gradation.is_some())
            .map(|reading| curve_of(reading, &view.says, shown))
            .unwrap_or_default(),
        reasons: body.as_ref().map(|entry| reasons(&entry.body, shown)).unwrap_or_default(),
        would_change: body.as_ref().map(|entry| would_change(&entry.body, shown)).unwrap_or_default(),
        chain: chain(body.as_ref(), shown),
        hash: Sha256Hex::of(found.doc.as_bytes()).to_string(),
        entry: view,
        frame,
    };
    visit.seen("entry_seen", Some(found.pump.to_string())).await;
    html(StatusCode::OK, &page)
}

fn chain(entry: Option<&Entry>, shown: Shown) -> String {
    let Some(head) = entry.map(|entry| &entry.head) else { return String::new() };
    shown.pick(format!("Number {} of the device {}", head.seq, head.device), format!("Número {} del equipo {}", head.seq, head.device))
}

/// The curve under what the page says of the level.
fn curve_of(reading: &Reading, level: &str, shown: Shown) -> String {
    let mut chart = for_a_page(curve_in(reading, shown));
    level.clone_into(&mut chart.title);
    chart.note = String::new();
    chart_svg(&chart)
}

/// The curve with its words in the reader's language.
pub(in crate::server) fn curve_in(reading: &Reading, shown: Shown) -> Chart {
    let mut chart = curve(reading);
    if shown.pick(true, false) {
        return chart;
    }
    let es = [("too small for this photo", "demasiado pequeño para esta foto"), ("assumed", "supuesto")];
    let in_es = |text: &mut String| {
        if let Some((_, own)) = es.iter().find(|(en, _)| en == text) {
            *text = (*own).to_owned();
        }
    };
    chart.title = format!("{}.", shown.say(level::words(reading.level.code).0));
    // What the English note says stands in the figures beside the curve.
    chart.note = String::new();
    chart.x.label = chart.x.label.replace("grain size at the sieves of ASTM E11, mm", "tamaño en las mallas de ASTM E11, mm");
    chart.y.label = "más fino en volumen, %".into();
    for mark in &mut chart.marks {
        match mark {
            Mark::Hatched { text, .. } => in_es(text),
            Mark::Line { label: Some(Label { text, .. }), .. } => in_es(text),
            _ => {}
        }
    }
    chart
}

/// The numbers that led to what the entry says.
fn reasons(body: &EntryBody, shown: Shown) -> Vec<String> {
    match body {
        EntryBody::BoxCheck(check) => check.reading.as_ref().map(|reading| level_reasons(reading, shown)).unwrap_or_default(),
        EntryBody::Graded(graded) => {
            let of_part = CRITERIA.iter().find(|criteria| criteria.part == graded.part);
            let words = of_part.and_then(|criteria| criteria.grades.get(usize::from(graded.grade.number())));
            words.map(|words| vec![shown.say(*words).to_owned()]).unwrap_or_default()
        }
        EntryBody::Amended(amended) => amended.instead.as_deref().map(|body| reasons(body, shown)).unwrap_or_default(),
        _ => Vec::new(),
    }
}

fn level_reasons(reading: &Reading, shown: Shown) -> Vec<String> {
    let one = |reason: &gritbook_core::debris::reading::LevelReason| {
        let (value, limit) = (number(reason.value), number(reason.limit));
        let over = reason.value >= reason.limit;
        let (what, unit) = match reason.code.as_str() {
            "cover_percent" => (shown.pick("Grains cover", "Los granos cubren"), "%"),
            "largest_grain_mm" => (shown.pick("Largest grain", "Grano mayor"), "mm"),
            "largest_lump_mm" => (shown.pick("Largest lump", "Grumo mayor"), "mm"),
            other => (other, ""),
        };
        let side = match over {
            true => shown.pick("at or over the limit of", "en el límite o más, que es"),
            false => shown.pick("under the limit of", "bajo el límite de"),
        };
        // A figure and its unit stay on one line.
        format!("{what} {value}\u{a0}{unit}, {side} {limit}\u{a0}{unit}")
    };
    let mut lines: Vec<String> = reading.level.reasons.iter().map(one).collect();
    let meaning = level::words(reading.level.code).1;
    lines.push(shown.say(meaning).to_owned());
    lines.extend(reading.quality.findings.iter().map(|finding| finding_words(finding, shown)));
    lines
}

/// What the photo does not show surely, and what to do.
fn finding_words(finding: &Finding, shown: Shown) -> String {
    let words = shown.pick(None, spanish(&finding.code));
    words.map_or_else(|| sentence(&finding.advice), |words| format!("{} {}", words.reason, words.advice))
}

fn would_change(body: &EntryBody, shown: Shown) -> Vec<String> {
    let EntryBody::Called(called) = body else { return Vec::new() };
    let hints = called.answer.get("would_change").and_then(|hints| hints.as_array()).into_iter().flatten();
    let text = |hint: &serde_json::Value| {
        let own = hint.get(shown.pick("text", "text_es")).and_then(|text| text.as_str()).filter(|text| !text.is_empty());
        own.or_else(|| hint.get("text")?.as_str()).map(str::to_owned)
    };
    hints.filter_map(text).collect()
}

/// The part of the photo that was read, upright, for the drawing over it.
pub(super) async fn window(State(depot): State<Depot>, reader: Reader, id: Named) -> Result<Response, Problem> {
    let found = find(&depot, &reader, id).await?;
    let entry = serde_json::from_str::<Entry>(&found.doc).map_err(|_| no_such_entry())?;
    let (sha256, part) =
        reading_of(&entry.body).and_then(|reading| Some((photo_of(reading)?, over::part(reading)?))).ok_or_else(no_such_entry)?;
    let Some(photo) = depot.archive().photo(sha256).await? else { return Err(photos::absent(&depot, sha256).await) };
    let permit = MAKING.acquire().await.map_err(|_| Problem::new(503, "stopping", "the depot is shutting down", "try again shortly"))?;
    let bytes = thumb::part(depot.shelf(), photo, part, WINDOW_SIDE).await?;
    drop(permit);
    let headers = [(header::CONTENT_TYPE, "image/jpeg"), (header::CACHE_CONTROL, "private, max-age=86400")];
    Ok((StatusCode::OK, policy(), headers, bytes).into_response())
}

#[cfg(test)]
mod tests {
    use super::super::super::super::archive::people::Language;
    use super::*;

    #[test]
    fn what_a_reading_warns_of_is_said_in_both_languages() {
        let advice = "press it, gloves on".to_owned();
        let finding = Finding { code: "may_be_lump".to_owned(), value: 3.0, limit: 2.0, advice };
        assert_eq!(finding_words(&finding, Shown::default()), "Press it, gloves on.");
        let es = Shown { language: Language::Es, ..Shown::default() };
        assert!(finding_words(&finding, es).starts_with("Un grano grande puede ser un grumo. "));
        // A code that has no Spanish words is said in English rather than not at all.
        let unknown = Finding { code: "unheard_of".to_owned(), ..finding };
        assert_eq!(finding_words(&unknown, es), "Press it, gloves on.");
    }
}
