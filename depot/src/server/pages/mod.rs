//! One plain page: every pump with its newest entries, readable without script, on a phone and at a desk.
//!
//! Who may see it is decided by [`Reader`]. Everything it loads comes from the depot itself, and its content security
//! policy allows nothing else.

mod signs;
mod thumb;
pub(super) mod view;

use askama::Template;
use axum::Router;
use axum::extract::rejection::PathRejection;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, HeaderName, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;
use gritbook_core::ids::Sha256Hex;

use super::archive::PhotoKind;
use super::auth::Reader;
use super::routes::photos;
use super::{Depot, Problem, on_disk};
use crate::report::fonts::{BOLD, REGULAR};

/// How many entries of a pump the page shows.
const NEWEST: u32 = 30;
/// Small pictures in the making at one time: each may hold a whole decoded photo.
const AT_ONCE: usize = 2;
static MAKING: tokio::sync::Semaphore = tokio::sync::Semaphore::const_new(AT_ONCE);

const POLICY: &str =
    "default-src 'none'; style-src 'self'; img-src 'self'; font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

const LOOK: &str = include_str!("look.css");

pub(super) fn router() -> Router<Depot> {
    Router::new()
        .route("/", get(home))
        .route("/thumbs/{sha256}", get(small))
        .route("/photos/{sha256}", get(whole))
        .route("/look.css", get(|| async { part("text/css; charset=utf-8", LOOK.as_bytes()) }))
        .route("/font/regular.ttf", get(|| async { part("font/ttf", REGULAR) }))
        .route("/font/bold.ttf", get(|| async { part("font/ttf", BOLD) }))
}

#[derive(Template)]
#[template(path = "home.html")]
struct Home {
    mark: String,
    pumps: Vec<view::PumpView>,
    entries: u64,
    entries_missing: u64,
}

fn policy() -> [(HeaderName, &'static str); 3] {
    [(header::CONTENT_SECURITY_POLICY, POLICY), (header::REFERRER_POLICY, "no-referrer"), (header::X_FRAME_OPTIONS, "DENY")]
}

/// A fixed part of the page; it holds nothing of the record and is open to all.
fn part(kind: &'static str, bytes: &'static [u8]) -> Response {
    ([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "max-age=3600")], bytes).into_response()
}

async fn home(State(depot): State<Depot>, _: Reader) -> Result<Response, Problem> {
    let found = depot.archive().pumps(NEWEST).await?;
    let named = found.iter().flat_map(view::photos_named).collect();
    let here = depot.archive().photos_present(named).await?;
    let page = Home {
        mark: signs::mark(),
        entries: found.iter().map(|pump| pump.total).sum(),
        entries_missing: depot.archive().entries_missing().await?,
        pumps: found.iter().map(|pump| view::pump(pump, &here)).collect(),
    };
    let html = page.render().map_err(|_| Problem::new(500, "fault", "the page could not be made", "report this"))?;
    Ok((policy(), [(header::CONTENT_TYPE, "text/html; charset=utf-8"), (header::CACHE_CONTROL, "no-store")], html).into_response())
}

/// A name out of the address; one that is no text names no photo.
type Named = Result<Path<String>, PathRejection>;

async fn find(depot: &Depot, name: Named) -> Result<super::archive::PhotoRow, Problem> {
    let missing = || {
        Problem::new(404, "no_such_photo", "the depot does not have this photo", "it may still be on its way from the phone that took it")
    };
    let Ok(Path(name)) = name else { return Err(missing()) };
    let sha256: Sha256Hex = name.parse().map_err(|_| missing())?;
    depot.archive().photo(sha256).await?.ok_or_else(missing)
}

/// The JPEG bytes of a photo's small picture.
pub(super) async fn small_photo(depot: &Depot, photo: &super::archive::PhotoRow) -> Result<Vec<u8>, Problem> {
    let (path, kept) = (depot.shelf().photo_path(photo), depot.shelf().thumb_path(photo.sha256));
    let permit = MAKING.acquire().await.map_err(|_| Problem::new(503, "stopping", "the depot is shutting down", "try again shortly"))?;
    let bytes = on_disk(move || thumb::small(&path, &kept)).await?;
    drop(permit);
    Ok(bytes)
}

async fn small(State(depot): State<Depot>, _: Reader, name: Named) -> Result<Response, Problem> {
    let photo = find(&depot, name).await?;
    let bytes = small_photo(&depot, &photo).await?;
    let headers = [(header::CONTENT_TYPE, "image/jpeg"), (header::CACHE_CONTROL, "private, max-age=86400")];
    Ok((StatusCode::OK, policy(), headers, bytes).into_response())
}

async fn whole(State(depot): State<Depot>, _: Reader, name: Named, headers: HeaderMap) -> Result<Response, Problem> {
    let photo = find(&depot, name).await?;
    let mut response = photos::answer(depot.shelf().photo_path(&photo), &photo, &headers).await?;
    let headers = response.headers_mut();
    for (name, value) in policy() {
        headers.insert(name, header::HeaderValue::from_static(value));
    }
    if photo.kind == PhotoKind::Other {
        // Nothing that was not recognised as a picture is ever opened in the browser.
        headers.insert(header::CONTENT_DISPOSITION, header::HeaderValue::from_static("attachment"));
    }
    Ok(response)
}
