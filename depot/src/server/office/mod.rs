//! What an office takes away: the pumps, a pump's record as CSV and JSON, and its report on paper.

mod report;

use axum::extract::rejection::PathRejection;
use axum::extract::{Extension, Path, Request, State};
use axum::http::{HeaderValue, Uri, header};
use axum::middleware::{Next, from_extractor_with_state, from_fn_with_state};
use axum::response::{IntoResponse as _, Response};
use chrono::{DateTime, FixedOffset};
use gritbook_core::debris::card::Paper;
use gritbook_core::debris::reading::LevelCode;
use gritbook_core::fieldbook::history_csv_of;
use gritbook_core::ids::PumpId;
use gritbook_core::model::{Entry, EntryBody, SealedEntry};
use gritbook_core::units::shown::UnitSystem;
use gritbook_core::wire::v1::ENTRIES_SCHEMA;
use schemars::JsonSchema;
use serde::Serialize;

use super::addresses::Addresses;
use super::archive::PumpPage;
use super::archive::people::{Coded as _, Language};
use super::auth::{Enrolled, Reader};
use super::pages::Shown;
use super::peer::Caller;
use super::people::forms::pairs;
use super::{Depot, Problem, pages};

/// The schema name of the list of pumps.
const PUMPS_SCHEMA: &str = "gritbook.depot_pumps/1";
/// How many of a pump's newest entries the list looks at, and the report shows.
const NEWEST: u32 = 60;

/// The pumps that a depot knows.
#[derive(Debug, Serialize, JsonSchema)]
pub struct DepotPumps {
    /// Always `gritbook.depot_pumps/1`.
    schema: &'static str,
    /// The one with the newest entry first.
    pumps: Vec<DepotPump>,
}

/// One pump as the depot knows it.
#[derive(Debug, Serialize, JsonSchema)]
struct DepotPump {
    /// Its id.
    id: PumpId,
    /// Its name; null until its figures have come.
    name: Option<String>,
    /// Entries in all.
    entries: u64,
    /// When the newest of them was written, by its writer's clock.
    newest_at: Option<DateTime<FixedOffset>>,
    /// The level of the newest box check that has one.
    level: Option<LevelCode>,
    /// Running total of the newest entry that has one, m3.
    pump_m3: Option<f64>,
}

impl DepotPump {
    fn of(page: &PumpPage) -> Self {
        let entries: Vec<Entry> = page.newest.iter().filter_map(|doc| serde_json::from_str(doc).ok()).collect();
        let held = || entries.iter().filter(|entry| !page.amended.contains(&entry.head.id));
        Self {
            id: page.pump,
            name: name(page),
            entries: page.total,
            newest_at: entries.first().map(|entry| entry.head.at),
            level: held().find_map(|entry| if let EntryBody::BoxCheck(check) = &entry.body { check.level } else { None }),
            pump_m3: held().find_map(|entry| entry.body.pump_m3()),
        }
    }
}

fn name(page: &PumpPage) -> Option<String> {
    match serde_json::from_str::<Entry>(page.set.as_deref()?).ok()?.body {
        EntryBody::PumpSet(spec) => Some(spec.name),
        _ => None,
    }
}

/// Under `/v1` for programs, with a token; the same without `/v1` for who may read the pages.
pub(super) fn addresses(depot: &Depot) -> Addresses {
    let papers = || {
        Addresses::new()
            .get("/pumps/{id}/report.pdf", report_pdf)
            .get("/pumps/{id}/export.csv", export_csv)
            .get("/pumps/{id}/export.json", export_json)
    };
    let by_token = papers().within(|papers| papers.route_layer(from_fn_with_state(depot.clone(), for_devices)));
    let list =
        Addresses::new().get("/pumps", pumps).within(|list| list.route_layer(from_extractor_with_state::<Enrolled, _>(depot.clone())));
    let by_reader = papers().within(|papers| {
        let known = papers.route_layer(from_fn_with_state(depot.clone(), for_readers));
        known.layer(from_fn_with_state(depot.clone(), pages::told::as_page))
    });
    by_token.and(list).below("/v1").and(by_reader)
}

/// Lets a reader at the papers of pumps that are theirs to read; whole records go to who may export.
async fn for_readers(
    State(depot): State<Depot>,
    reader: Reader,
    caller: Caller,
    id: Named,
    mut request: Request,
    next: Next,
) -> Result<Response, Problem> {
    let Ok(Path(id)) = id else { return Err(no_such_pump()) };
    // A report in the reader's own language and units, unless it is asked for in others.
    let shown = pages::frame::Frame::of(&reader, request.headers(), &depot).shown;
    request.extensions_mut().insert(shown);
    if reader.only().is_some() && !id.parse().is_ok_and(|pump| reader.may_read(pump)) {
        return Err(no_such_pump());
    }
    if !request.uri().path().ends_with("/report.pdf") {
        reader.may_export()?;
    }
    Ok(taken(&depot, &reader, caller, id, request, next).await)
}

/// The same for programs, by a device's token.
async fn for_devices(
    State(depot): State<Depot>,
    Enrolled(device): Enrolled,
    caller: Caller,
    id: Named,
    request: Request,
    next: Next,
) -> Result<Response, Problem> {
    let Ok(Path(id)) = id else { return Err(no_such_pump()) };
    Ok(taken(&depot, &Reader::Device(device), caller, id, request, next).await)
}

/// Answers, and notes in the audit what was taken away.
async fn taken(depot: &Depot, reader: &Reader, caller: Caller, id: String, request: Request, next: Next) -> Response {
    let what = if request.uri().path().ends_with("/report.pdf") { "report_made" } else { "record_exported" };
    let response = next.run(request).await;
    if response.status().is_success() {
        pages::seen(depot, reader, caller, what, Some(id)).await;
    }
    response
}

fn fault(what: &'static str) -> Problem {
    Problem::new(500, "fault", what, "report this")
}

async fn pumps(State(depot): State<Depot>) -> Result<Response, Problem> {
    let found = depot.archive().pumps(NEWEST).await?;
    let document = DepotPumps { schema: PUMPS_SCHEMA, pumps: found.iter().map(DepotPump::of).collect() };
    let text = serde_json::to_string(&document).map_err(|_| fault("the list could not be written"))?;
    Ok(([(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-store")], text).into_response())
}

/// An id out of the address.
type Named = Result<Path<String>, PathRejection>;

fn no_such_pump() -> Problem {
    Problem::new(404, "no_such_pump", "the depot has no entry of this pump", "take an id from /v1/pumps")
}

async fn find(depot: &Depot, id: Named) -> Result<PumpPage, Problem> {
    let Ok(Path(id)) = id else { return Err(no_such_pump()) };
    let id: PumpId = id.parse().map_err(|_| no_such_pump())?;
    depot.archive().pump(id, NEWEST).await?.ok_or_else(no_such_pump)
}

/// A file to keep, named after the pump.
fn file(kind: &'static str, page: &PumpPage, ending: &str, bytes: impl Into<axum::body::Body>) -> Response {
    let plain: String = name(page).unwrap_or_default().chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
    let stem = plain.trim_matches('-');
    let stem = if stem.is_empty() { "pump" } else { stem };
    let mut response = ([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "no-store")], bytes.into()).into_response();
    if let Ok(value) = HeaderValue::from_str(&format!("attachment; filename=\"{stem}.{ending}\"")) {
        response.headers_mut().insert(header::CONTENT_DISPOSITION, value);
    }
    response
}

async fn export_json(State(depot): State<Depot>, id: Named) -> Result<Response, Problem> {
    let page = find(&depot, id).await?;
    let docs = depot.archive().entries_of(page.pump).await?;
    // The entries stand in it as they were sealed, so that their hashes can be taken again.
    let text = format!("{{\"schema\":\"{ENTRIES_SCHEMA}\",\"entries\":[\n{}\n]}}\n", docs.join(",\n"));
    Ok(file("application/json", &page, "json", text))
}

async fn export_csv(State(depot): State<Depot>, id: Named) -> Result<Response, Problem> {
    let page = find(&depot, id).await?;
    let docs = depot.archive().entries_of(page.pump).await?;
    // An entry of a newer program that cannot be read has no row here; the JSON export holds it.
    let entries: Vec<SealedEntry> = docs.into_iter().filter_map(|doc| SealedEntry::from_text(doc).ok()).collect();
    let text = history_csv_of(entries, &name(&page).unwrap_or_else(|| page.pump.to_string()))?;
    Ok(file("text/csv; charset=utf-8; header=present", &page, "csv", text))
}

async fn report_pdf(State(depot): State<Depot>, id: Named, reader: Option<Extension<Shown>>, uri: Uri) -> Result<Response, Problem> {
    let mut shown = reader.map(|Extension(shown)| shown).unwrap_or_default();
    let mut paper = Paper::A4;
    for (name, value) in pairs(uri.query().unwrap_or_default().as_bytes()) {
        match (name.as_str(), value.as_str()) {
            ("paper", "a4") => paper = Paper::A4,
            ("paper", "letter") => paper = Paper::Letter,
            ("paper", _) => {
                return Err(bad_query("bad_paper", "the report is made for a4 or letter", "ask for ?paper=a4 or ?paper=letter"));
            }
            ("language", word) => {
                let bad = || bad_query("bad_language", "the report is made in en or es", "ask for ?language=en or ?language=es");
                shown.language = Language::of(word).ok_or_else(bad)?;
            }
            ("units", word) => {
                let bad = || bad_query("bad_units", "the report is made in metric or inch", "ask for ?units=metric or ?units=inch");
                shown.units = UnitSystem::of(word).ok_or_else(bad)?;
            }
            _ => return Err(bad_query("bad_query", "the report takes paper, language and units", "leave the rest out")),
        }
    }
    let page = find(&depot, id).await?;
    let pdf = report::of(&depot, &page, paper, shown).await?;
    Ok(file("application/pdf", &page, "pdf", pdf))
}

fn bad_query(code: &'static str, reason: &str, advice: &str) -> Problem {
    Problem::new(400, code, reason, advice)
}
