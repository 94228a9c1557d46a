//! One pump: how it stands, and its entries page by page.

use askama::Template;
use axum::response::Response;

use super::super::super::Problem;
use super::super::frame::{Frame, with_news};
use super::super::visit::Visit;
use super::super::{news, view};
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
    news: String,
}

pub(super) async fn page(visit: Visit, id: Named) -> Result<Response, Problem> {
    let pump = pump_of(id, &visit.reader)?;
    let number = visit.query.number("page", 1..=100_000)?.unwrap_or(1);
    let found = visit.depot.archive().pump_part(pump, (number - 1) * ROWS, ROWS).await?.ok_or_else(no_such_pump)?;
    let here = visit.depot.archive().photos_known(view::photos_named(&found)).await?;
    let frame = visit.frame();
    let mut view = view::pump(&found, &here, frame.shown);
    // How it stands is by its newest entries, whichever page is shown.
    if number > 1
        && let Some(newest) = visit.depot.archive().pump(pump, 60).await?
    {
        view.standings = view::standings(&newest, frame.shown);
    }
    let more = u64::from(number) * u64::from(ROWS) < found.total;
    visit.seen("pump_seen", Some(pump.to_string())).await;
    let (newer, older) = ((number > 1).then(|| number - 1), more.then_some(number + 1));
    let news = news::address(found.total, Some(pump));
    with_news(&Page { frame, pump: view, exports: visit.reader.only().is_none(), newer, older, news })
}
