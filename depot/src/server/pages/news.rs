//! What a page that is left open is told of: how many entries came since. Its script asks while someone looks at it; without script the
//! page is whole, and a reload shows the same.
//!
//! It asks anew instead of holding a connection: a browser has six to a depot, and every open page would keep one.

use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use gritbook_core::ids::PumpId;
use gritbook_core::model::words::Words;
use serde::Deserialize;

use super::super::auth::{Glance, Reader};
use super::super::{Depot, Problem};
use super::frame::Frame;

/// The script, a part of the pages like their look.
pub(super) const SCRIPT: &str = include_str!("news.js");

const NEW: (Words, Words) = (Words { en: "new entry", es: "registro nuevo" }, Words { en: "new entries", es: "registros nuevos" });

#[derive(Deserialize)]
pub(super) struct Asked {
    /// How many entries the page has counted.
    had: u64,
    /// Of this pump alone.
    pump: Option<PumpId>,
}

/// Where a page asks.
pub(super) fn address(had: u64, pump: Option<PumpId>) -> String {
    pump.map_or_else(|| format!("/news?had={had}"), |pump| format!("/news?had={had}&pump={pump}"))
}

/// The words of a link to what is new; nothing where nothing is.
pub(super) async fn news(
    State(depot): State<Depot>,
    Glance(reader): Glance,
    headers: axum::http::HeaderMap,
    asked: Result<Query<Asked>, QueryRejection>,
) -> Result<Response, Problem> {
    let Query(asked) = asked.map_err(|_| Problem::new(400, "bad_query", "the page does not say what it has", "reload the page"))?;
    let pumps = match (asked.pump, reader.only()) {
        (Some(pump), _) if !reader.may_read(pump) => return Ok(nothing()),
        (Some(pump), _) => Some(vec![pump]),
        (None, only) => only.map(<[PumpId]>::to_vec),
    };
    let more = depot.archive().entry_count(pumps).await?.saturating_sub(asked.had);
    Ok(if more == 0 { nothing() } else { said(&words(&reader, &headers, &depot, more)) })
}

fn words(reader: &Reader, headers: &axum::http::HeaderMap, depot: &Depot, more: u64) -> String {
    let shown = Frame::of(reader, headers, depot).shown;
    format!("{} {}", shown.pick("Show", "Mostrar"), shown.count(more, NEW.0, NEW.1))
}

const NOT_KEPT: (header::HeaderName, &str) = (header::CACHE_CONTROL, "no-store");

fn nothing() -> Response {
    (StatusCode::NO_CONTENT, [NOT_KEPT]).into_response()
}

fn said(words: &str) -> Response {
    ([NOT_KEPT, (header::CONTENT_TYPE, "text/plain; charset=utf-8")], words.to_owned()).into_response()
}
