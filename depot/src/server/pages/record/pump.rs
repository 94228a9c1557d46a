//! One pump: how it stands, and its entries page by page.

use askama::Template;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, Uri};
use axum::response::Response;

use super::super::super::auth::Reader;
use super::super::super::peer::Caller;
use super::super::super::people::forms::Fields;
use super::super::super::{Depot, Problem};
use super::super::frame::{Frame, html};
use super::super::{seen, view};
use super::{Named, no_such_pump, pump_of};

/// Entries on a page.
const ROWS: u32 = 30;

#[derive(Template)]
#[template(path = "record/pump.html")]
struct Page {
    frame: Frame,
    pump: view::PumpView,
    exports: bool,
    newer: Option<u32>,
    older: Option<u32>,
}

pub(super) async fn page(
    State(depot): State<Depot>,
    reader: Reader,
    caller: Caller,
    headers: HeaderMap,
    id: Named,
    uri: Uri,
) -> Result<Response, Problem> {
    let pump = pump_of(id, &reader)?;
    // The first page is 1; what is no number is the first.
    let number: u32 = Fields::of_query(uri.query().unwrap_or_default()).get("page").parse().unwrap_or(1).clamp(1, 100_000);
    let found = depot.archive().pump_part(pump, (number - 1) * ROWS, ROWS).await?.ok_or_else(no_such_pump)?;
    let here = depot.archive().photos_present(view::photos_named(&found)).await?;
    let frame = Frame::of(&reader, &headers, &depot);
    let mut view = view::pump(&found, &here, frame.shown);
    // How it stands is by its newest entries, whichever page is shown.
    if number > 1
        && let Some(newest) = depot.archive().pump(pump, 60).await?
    {
        view.standings = view::standings(&newest, frame.shown);
    }
    let more = u64::from(number) * u64::from(ROWS) < found.total;
    seen(&depot, &reader, caller, "pump_seen", Some(pump.to_string())).await;
    let (newer, older) = ((number > 1).then(|| number - 1), more.then_some(number + 1));
    html(StatusCode::OK, &Page { frame, pump: view, exports: reader.only().is_none(), newer, older })
}
