//! The pages: every pump with its newest entries, the door, and what an owner looks after. Readable without script, on a
//! phone and at a desk, in English and Spanish, in the reader's units.
//!
//! Who may see what is decided by [`Reader`]. Everything a page loads comes from the depot itself, and its content security
//! policy allows nothing else.

mod door;
pub(super) mod frame;
mod news;
mod owner;
mod record;
mod shown;
mod signs;
mod thumb;
pub(super) mod told;
pub(super) mod view;
mod visit;
mod words;

use askama::Template;
use axum::extract::rejection::PathRejection;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use gritbook_core::ids::Sha256Hex;
use gritbook_core::model::words::Words;

use super::addresses::Addresses;
use super::archive::PhotoKind;
use super::auth::Reader;
use super::routes::photos;
use super::{Depot, Problem};
use crate::report::fonts::{BOLD, REGULAR};
use frame::{Frame, policy, with_news};
pub(super) use record::curve_in;
pub(super) use shown::Shown;
use visit::Visit;
pub(super) use visit::seen;

/// How many entries of a pump the page shows.
const NEWEST: u32 = 30;
/// Small pictures in the making at one time: each may hold a whole decoded photo.
const AT_ONCE: usize = 2;
static MAKING: tokio::sync::Semaphore = tokio::sync::Semaphore::const_new(AT_ONCE);

const LOOK: &str = include_str!("look.css");
/// The tool's mark, for a browser's row of pages.
const ICON: &str = include_str!("icon.svg");

pub(super) fn addresses() -> Addresses {
    Addresses::new()
        .get("/", home)
        .get("/thumbs/{sha256}", small)
        .get("/photos/{sha256}", whole)
        .and(door::addresses())
        .and(owner::addresses())
        .and(record::addresses())
        .get("/look.css", || async { part("text/css; charset=utf-8", LOOK.as_bytes()) })
        .get("/icon.svg", || async { part("image/svg+xml", ICON.as_bytes()) })
        .get("/news", news::news)
        .get("/news.js", || async { part("text/javascript; charset=utf-8", news::SCRIPT.as_bytes()) })
        .get("/font/regular.ttf", || async { part("font/ttf", REGULAR) })
        .get("/font/bold.ttf", || async { part("font/ttf", BOLD) })
}

#[derive(Template)]
#[template(path = "home.html")]
struct Home {
    frame: Frame,
    pumps: Vec<view::PumpView>,
    sum: String,
    /// Entries that are known to exist and are not here; empty where there are none.
    missing: String,
    /// The reader sees some pumps only.
    some: bool,
    exports: bool,
    /// Where the page asks what is new.
    news: String,
}

/// A fixed part of the page; it holds nothing of the record and is open to all.
fn part(kind: &'static str, bytes: &'static [u8]) -> Response {
    ([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "max-age=3600")], bytes).into_response()
}

async fn home(visit: Visit) -> Result<Response, Problem> {
    let mut found = visit.depot.archive().pumps(NEWEST).await?;
    found.retain(|page| visit.reader.may_read(page.pump));
    let named = found.iter().flat_map(view::photos_named).collect();
    let here = visit.depot.archive().photos_known(named).await?;
    let frame = visit.frame();
    let (shown, some) = (frame.shown, visit.reader.only().is_some());
    let entries = found.iter().map(|pump| pump.total).sum();
    let missing = if some { 0 } else { visit.depot.archive().entries_missing().await? };
    let page = Home {
        sum: sum(shown, found.len() as u64, entries),
        missing: if missing == 0 { String::new() } else { missing_line(shown, missing) },
        some,
        exports: !some,
        news: news::address(entries, None),
        pumps: found.iter().map(|pump| view::pump(pump, &here, shown)).collect(),
        frame,
    };
    visit.seen("fleet_seen", None).await;
    with_news(&page)
}

const ENTRY: (Words, Words) = (Words { en: "entry", es: "registro" }, Words { en: "entries", es: "registros" });

fn sum(shown: Shown, pumps: u64, entries: u64) -> String {
    if pumps == 0 {
        return shown.pick("No pump yet", "Ninguna bomba todavía").to_owned();
    }
    let pumps = shown.count(pumps, Words { en: "pump", es: "bomba" }, Words { en: "pumps", es: "bombas" });
    format!("{pumps}, {}", shown.count(entries, ENTRY.0, ENTRY.1))
}

fn missing_line(shown: Shown, missing: u64) -> String {
    let entries = shown.count(missing, ENTRY.0, ENTRY.1);
    let (en, es) = if missing == 1 { ("is", "no ha llegado") } else { ("are", "no han llegado") };
    shown.pick(
        format!("{entries} {en} not here yet: later ones from the same phone are. Sync that phone."),
        format!("{entries} {es}: otros posteriores del mismo teléfono ya están. Envíe desde ese teléfono."),
    )
}

/// Photos that shown entries name and that have not come; empty where there are none.
fn photos_line(shown: Shown, missing: usize) -> String {
    match missing {
        0 => String::new(),
        1 => shown
            .pick("1 photo is not here yet: still on the phone that took it.", "1 foto no ha llegado: sigue en el teléfono que la tomó.")
            .to_owned(),
        more => shown.pick(
            format!("{more} photos are not here yet: still on the phone that took them."),
            format!("{more} fotos no han llegado: siguen en el teléfono que las tomó."),
        ),
    }
}

/// Entries that a page leaves out; empty where there are none.
fn older_line(shown: Shown, older: u64) -> String {
    match older {
        0 => String::new(),
        1 => shown.pick("1 older entry is in the archive.", "Hay 1 registro anterior en el archivo.").to_owned(),
        more => shown.pick(format!("{more} older entries are in the archive."), format!("Hay {more} registros anteriores en el archivo.")),
    }
}

/// A name out of the address; one that is no text names no photo.
type Named = Result<Path<String>, PathRejection>;

async fn find(depot: &Depot, reader: &Reader, name: Named) -> Result<super::archive::PhotoRow, Problem> {
    let missing = || {
        Problem::new(404, "no_such_photo", "the depot does not have this photo", "it may still be on its way from the phone that took it")
    };
    let Ok(Path(name)) = name else { return Err(missing()) };
    let sha256: Sha256Hex = name.parse().map_err(|_| missing())?;
    if let Some(pumps) = reader.only()
        && !depot.archive().photo_is_of(sha256, pumps.to_vec()).await?
    {
        return Err(missing());
    }
    match depot.archive().photo(sha256).await? {
        Some(photo) => Ok(photo),
        None => Err(photos::absent(depot, sha256).await),
    }
}

/// The JPEG bytes of a photo's small picture.
pub(super) async fn small_photo(depot: &Depot, photo: &super::archive::PhotoRow) -> Result<Vec<u8>, Problem> {
    let permit = MAKING.acquire().await.map_err(|_| Problem::new(503, "stopping", "the depot is shutting down", "try again shortly"))?;
    let bytes = thumb::small(depot.shelf(), photo.clone()).await?;
    drop(permit);
    Ok(bytes)
}

async fn small(State(depot): State<Depot>, reader: Reader, name: Named) -> Result<Response, Problem> {
    let photo = find(&depot, &reader, name).await?;
    let bytes = small_photo(&depot, &photo).await?;
    let headers = [(header::CONTENT_TYPE, "image/jpeg"), (header::CACHE_CONTROL, "private, max-age=86400")];
    Ok((StatusCode::OK, policy(), headers, bytes).into_response())
}

async fn whole(visit: Visit, name: Named) -> Result<Response, Problem> {
    let photo = find(&visit.depot, &visit.reader, name).await?;
    visit.seen("photo_seen", Some(photo.sha256.to_string())).await;
    let mut response = photos::answer(visit.depot.shelf(), &photo, &visit.headers).await?;
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
