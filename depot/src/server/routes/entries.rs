//! `PUT /v1/entries` and `GET /v1/entries`.

use std::error::Error as _;

use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, Uri, header};
use axum::response::{IntoResponse as _, Response};
use gritbook_core::wire::v1::{ENTRIES_SCHEMA, EntriesBatch, EntriesPage, VERDICTS_SCHEMA, Verdicts};
use http_body_util::LengthLimitError;
use serde_json::value::RawValue;

use super::super::auth::Enrolled;
use super::super::{Depot, Problem};

/// A page asked without `limit` has this many entries, and none has more than [`MOST`].
const USUAL: u32 = 100;
const MOST: u32 = 500;
/// Devices take answers of 4 MiB at most; one entry alone is bounded by the batch limit.
const PAGE_BYTES: usize = 3 * 1024 * 1024;

/// The limits of a batch, told with every answer so that a device can follow them.
fn limits(depot: &Depot) -> [(&'static str, String); 2] {
    let settings = depot.settings();
    [
        ("gritbook-max-batch-bytes", settings.max_batch_bytes.to_string()),
        ("gritbook-max-batch-entries", settings.max_batch_entries.to_string()),
    ]
}

fn json(depot: &Depot, document: &impl serde::Serialize) -> Result<Response, Problem> {
    let text = serde_json::to_string(document).map_err(|_| Problem::new(500, "fault", "the answer could not be written", "report this"))?;
    Ok((limits(depot), [(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-store")], text).into_response())
}

fn too_large(depot: &Depot) -> Problem {
    let limit = depot.settings().max_batch_bytes;
    let mut problem = Problem::new(413, "too_large", format!("the batch is larger than {limit} bytes"), "send fewer entries at a time")
        .with("limit_bytes", limit)
        .with("limit_entries", depot.settings().max_batch_entries);
    for (name, value) in limits(depot) {
        problem = problem.header(header::HeaderName::from_static(name), value);
    }
    problem
}

pub(super) async fn store(
    State(depot): State<Depot>,
    Enrolled(device): Enrolled,
    headers: HeaderMap,
    body: Body,
) -> Result<Response, Problem> {
    let limit = depot.settings().max_batch_bytes;
    let declared = headers.get(header::CONTENT_LENGTH).and_then(|value| value.to_str().ok()?.parse::<usize>().ok());
    if declared.is_some_and(|length| length > limit) {
        return Err(too_large(&depot));
    }
    let bytes = axum::body::to_bytes(body, limit).await.map_err(|cause| {
        if cause.source().is_some_and(<dyn std::error::Error>::is::<LengthLimitError>) {
            too_large(&depot)
        } else {
            Problem::new(408, "cut_off", "the batch was cut off on its way; nothing of it was stored", "send it again")
        }
    })?;
    let batch: EntriesBatch = serde_json::from_slice(&bytes).map_err(|cause| {
        if cause.is_data() {
            Problem::new(
                400,
                "wrong_shape",
                format!("the body is not a batch of entries: {cause}"),
                "send {\"schema\": \"gritbook.entries/1\", \"entries\": [...]}",
            )
        } else {
            Problem::new(400, "not_json", format!("the body is not JSON: {cause}"), "send JSON in UTF-8")
        }
    })?;
    if batch.schema != ENTRIES_SCHEMA {
        return Err(Problem::new(
            400,
            "wrong_schema",
            format!("the batch has another schema than `{ENTRIES_SCHEMA}`"),
            "update the depot if the device is newer, the device if it is older",
        ));
    }
    if batch.entries.len() > depot.settings().max_batch_entries {
        return Err(too_large(&depot));
    }
    let texts = batch.entries.into_iter().map(|text| Box::<str>::from(text).into_string()).collect();
    let verdicts = depot.archive().store_entries(texts, device.number, depot.now()).await?;
    json(&depot, &Verdicts { schema: VERDICTS_SCHEMA.into(), verdicts })
}

pub(super) async fn page(State(depot): State<Depot>, Enrolled(_): Enrolled, uri: Uri) -> Result<Response, Problem> {
    let (mut after, mut limit) = (0_i64, USUAL);
    for pair in uri.query().unwrap_or_default().split('&').filter(|pair| !pair.is_empty()) {
        match pair.split_once('=').unwrap_or((pair, "")) {
            ("after", "") => {}
            ("after", text) => {
                after = text.parse().ok().filter(|after| *after >= 0).ok_or_else(|| {
                    Problem::new(
                        400,
                        "bad_cursor",
                        "`after` is not a cursor that this depot gave",
                        "leave it out to start from the first entry",
                    )
                })?;
            }
            ("limit", text) => {
                limit = text.parse().ok().filter(|limit| (1..=MOST).contains(limit)).ok_or_else(|| {
                    Problem::new(400, "bad_limit", format!("`limit` is not a number from 1 to {MOST}"), format!("leave it out for {USUAL}"))
                })?;
            }
            _ => {}
        }
    }
    let found = depot.archive().entries_after(after, limit, PAGE_BYTES).await?;
    let entries = found
        .docs
        .into_iter()
        .map(RawValue::from_string)
        .collect::<Result<Vec<_>, _>>()
        .map_err(|_| Problem::new(500, "archive_damaged", "a stored entry is no longer JSON", "put back a backup of the depot"))?;
    json(&depot, &EntriesPage { schema: ENTRIES_SCHEMA.into(), entries, cursor: found.last.to_string(), more: found.more })
}
