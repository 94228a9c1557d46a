//! Search in the record: by pump, kind of entry, and days. Done by the depot, so that it works without script.

use std::collections::HashMap;

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use chrono::{NaiveDate, TimeDelta};
use gritbook_core::ids::PumpId;
use gritbook_core::model::EntryHead;
use gritbook_core::model::words::Words;

use super::super::super::Problem;
use super::super::super::archive::EntriesWanted;
use super::super::super::archive::keeping::PhotosKnown;
use super::super::frame::{Frame, html};
use super::super::shown::Shown;
use super::super::view;
use super::super::visit::Visit;

/// Most entries that an answer shows.
const MOST: usize = 100;

/// Kinds to choose from, by the record's own word.
const KINDS: [(&str, Words); 10] = [
    ("box_check", Words { en: "Box check", es: "Revisión de la caja" }),
    ("graded", Words { en: "Grade", es: "Grado" }),
    ("called", Words { en: "Call", es: "Decisión" }),
    ("changed_out", Words { en: "Change-out", es: "Cambio" }),
    ("measured", Words { en: "Measured", es: "Medida" }),
    ("poured", Words { en: "Pour", es: "Colado" }),
    ("fitted", Words { en: "Fitted", es: "Puesta" }),
    ("removed", Words { en: "Removed", es: "Retirada" }),
    ("amended", Words { en: "Amendment", es: "Corrección" }),
    ("pump_set", Words { en: "Pump", es: "Bomba" }),
];

#[derive(Template)]
#[template(path = "record/search.html")]
struct Page {
    frame: Frame,
    pump: String,
    kinds: Vec<(&'static str, &'static str, bool)>,
    from: String,
    to: String,
    /// True once something was asked.
    asked: bool,
    found: Vec<Line>,
    sum: String,
    wrong: &'static str,
}

struct Line {
    pump: PumpId,
    name: String,
    entry: view::EntryView,
}

/// A day as a form's date field writes it; none for an empty field.
fn day(text: &str) -> Result<Option<NaiveDate>, ()> {
    if text.is_empty() { Ok(None) } else { text.parse().map(Some).map_err(|_| ()) }
}

pub(super) async fn page(visit: Visit) -> Result<Response, Problem> {
    let query = &visit.query;
    let frame = visit.frame();
    let shown = frame.shown;
    let kind = KINDS.iter().find(|(word, _)| *word == query.get("kind")).map(|(word, _)| *word);
    let (from, to) = (day(query.get("from")), day(query.get("to")));
    let asked = !query.is_empty();
    let wrong = if from.is_err() || to.is_err() {
        shown.pick("A day is written like 2026-11-28.", "Un día se escribe así: 2026-11-28.")
    } else {
        ""
    };
    let wanted = Wanted { pump: query.get("pump").trim().to_lowercase(), kind, from: from.ok().flatten(), to: to.ok().flatten() };
    let (found, more) = if asked && wrong.is_empty() { wanted.find(&visit, shown).await? } else { (Vec::new(), false) };
    if asked {
        visit.seen("search_made", None).await;
    }
    let status = if wrong.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let page = Page {
        pump: query.get("pump").trim().chars().take(80).collect(),
        kinds: KINDS.iter().map(|(word, name)| (*word, shown.say(*name), kind == Some(word))).collect(),
        from: query.get("from").chars().take(10).collect(),
        to: query.get("to").chars().take(10).collect(),
        asked: asked && wrong.is_empty(),
        sum: sum(shown, found.len(), more),
        found,
        wrong,
        frame,
    };
    html(status, &page)
}

fn sum(shown: Shown, found: usize, more: bool) -> String {
    match (found, more) {
        (0, _) => shown.pick("Nothing of that kind is here.", "No hay nada así.").to_owned(),
        (_, true) => shown.pick(
            format!("The newest {found}. Narrow the days to see others."),
            format!("Los {found} más nuevos. Acorte los días para ver otros."),
        ),
        (_, false) => shown.count(found as u64, super::super::ENTRY.0, super::super::ENTRY.1),
    }
}

struct Wanted {
    pump: String,
    kind: Option<&'static str>,
    from: Option<NaiveDate>,
    to: Option<NaiveDate>,
}

impl Wanted {
    /// What was found, newest first, and whether there is more.
    async fn find(&self, Visit { depot, reader, .. }: &Visit, shown: Shown) -> Result<(Vec<Line>, bool), Problem> {
        let pages = depot.archive().pumps(0).await?;
        let names: HashMap<PumpId, String> = pages
            .iter()
            .filter(|page| reader.may_read(page.pump))
            .map(|page| (page.pump, view::name(page, shown)))
            .filter(|(_, name)| name.to_lowercase().contains(&self.pump))
            .collect();
        // Days are by the writer's own clock: a day's room at each side, and then by the text's own day.
        let edge = |day: NaiveDate, days: i64| (day.and_time(chrono::NaiveTime::MIN).and_utc() + TimeDelta::days(days)).timestamp_millis();
        let wanted = EntriesWanted {
            pumps: names.keys().copied().collect(),
            kind: self.kind,
            from_ms: self.from.map_or(i64::MIN, |day| edge(day, -1)),
            to_ms: self.to.map_or(i64::MAX, |day| edge(day, 2)),
            limit: MOST as u32 * 3,
        };
        let docs = depot.archive().entries_wanted(wanted).await?;
        let full = docs.len() >= MOST * 3;
        let mut found = Vec::new();
        for (pump, doc) in docs {
            let written = serde_json::from_str::<EntryHead>(&doc).ok().map(|head| head.at.date_naive());
            let inside = written.is_none_or(|day| self.from.is_none_or(|from| day >= from) && self.to.is_none_or(|to| day <= to));
            if inside {
                if found.len() == MOST {
                    return Ok((found, true));
                }
                let name = names.get(&pump).cloned().unwrap_or_default();
                found.push(Line { pump, name, entry: view::entry(&doc, &PhotosKnown::default(), &[], shown) });
            }
        }
        Ok((found, full))
    }
}
