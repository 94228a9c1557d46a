//! The addresses of the depot and what stands around them: limits, time, panics, the log.

mod entries;
mod let_in;
pub(super) mod photos;
mod receive;
pub(super) mod tus;

use std::time::Duration;

use axum::Router;
use axum::extract::{DefaultBodyLimit, Request};
use axum::http::{HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse as _, Response};
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::set_header::SetResponseHeaderLayer;

use super::addresses::{Address, Addresses};
use super::limits::limit;
use super::linger::linger;
use super::{Depot, Problem, metrics, office, openapi, pages};

/// Longest time for a request that does not carry a photo. Photos have a limit on silence instead.
const LONGEST: Duration = Duration::from_secs(30);

/// What a photo's address takes, and what the address of all photos takes.
const OF_ONE: [Method; 5] = [Method::OPTIONS, Method::GET, Method::HEAD, Method::PATCH, Method::DELETE];
const OF_ALL: [Method; 2] = [Method::OPTIONS, Method::POST];

fn addresses(depot: &Depot) -> Addresses {
    let plain = Addresses::new()
        .get("/healthz", healthz)
        .get("/openapi.json", openapi::page)
        .get("/metrics", metrics::page)
        .get("/v1/entries", entries::page)
        .put("/v1/entries", entries::store)
        .post("/v1/enrolment", let_in::show)
        .and(pages::addresses().within(|pages| pages.layer(middleware::from_fn_with_state(depot.clone(), pages::told::as_page))))
        .and(office::addresses(depot))
        .within(|plain| plain.layer(middleware::from_fn(in_time)));
    let version = (HeaderName::from_static("tus-resumable"), HeaderValue::from_static(tus::VERSION));
    let photos = Addresses::new()
        .each(&OF_ALL, "/v1/photos", photos_of_all)
        .each(&OF_ALL, "/v1/photos/", photos_of_all)
        .each(&OF_ONE, "/v1/photos/{id}", photo_of_one)
        .within(|photos| photos.layer(SetResponseHeaderLayer::if_not_present(version.0, version.1)).layer(DefaultBodyLimit::disable()));
    plain.and(photos)
}

/// Every request that the depot answers.
pub(super) fn list(depot: &Depot) -> Vec<Address> {
    addresses(depot).into_parts().1
}

pub(super) fn router(depot: Depot) -> Router {
    let (router, _) = addresses(&depot).into_parts();
    router
        .fallback(|| async { Problem::new(404, "no_such_address", "there is nothing at this address", "check the address") })
        .method_not_allowed_fallback(|| async { not_allowed(&[]) })
        .layer(middleware::from_fn_with_state(depot.clone(), limit))
        .layer(middleware::from_fn_with_state(depot.clone(), linger))
        .layer(SetResponseHeaderLayer::if_not_present(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff")))
        .layer(CatchPanicLayer::custom(panicked))
        .layer(middleware::from_fn(log))
        .layer(middleware::from_fn_with_state(depot.clone(), metrics::count))
        .with_state(depot)
}

async fn healthz() -> Response {
    ([(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-store")], "{\"status\":\"ok\"}\n").into_response()
}

/// The method that is meant: tus lets a client that cannot send PATCH or DELETE say so in a header of a POST.
fn meant_method(request: &Request) -> Result<Method, Problem> {
    let Some(word) = request.headers().get("x-http-method-override").filter(|_| request.method() == Method::POST) else {
        return Ok(request.method().clone());
    };
    match word.as_bytes() {
        b"PATCH" => Ok(Method::PATCH),
        b"DELETE" => Ok(Method::DELETE),
        b"HEAD" => Ok(Method::HEAD),
        b"POST" => Ok(Method::POST),
        b"OPTIONS" => Ok(Method::OPTIONS),
        _ => Err(Problem::new(
            400,
            "bad_header",
            "X-HTTP-Method-Override names a method that is not taken here",
            "use PATCH, DELETE or HEAD",
        )),
    }
}

fn not_allowed(allow: &[Method]) -> Problem {
    let problem = Problem::new(405, "method_not_allowed", "this address does not take this method", "check the address and the method");
    // RFC 9110, 15.5.6: a 405 names what is taken. Where the router itself answers, it adds the header.
    if allow.is_empty() { problem } else { problem.header(header::ALLOW, allow.iter().map(Method::as_str).collect::<Vec<_>>().join(", ")) }
}

async fn photos_of_all(state: axum::extract::State<Depot>, enrolled: super::auth::Enrolled, request: Request) -> Result<Response, Problem> {
    match meant_method(&request)? {
        Method::OPTIONS => Ok(tus::options(&state)),
        Method::POST => tus::create(&state, &enrolled, request).await,
        _ => Err(not_allowed(&OF_ALL)),
    }
}

async fn photo_of_one(
    state: axum::extract::State<Depot>,
    enrolled: super::auth::Enrolled,
    path: Result<axum::extract::Path<String>, axum::extract::rejection::PathRejection>,
    request: Request,
) -> Result<Response, Problem> {
    let Ok(axum::extract::Path(id)) = path else {
        return Err(Problem::new(404, "no_such_photo", "this is not the name of a photo or an upload", "use a name that the depot gave"));
    };
    drop(enrolled);
    let for_tus = request.headers().contains_key("tus-resumable");
    match meant_method(&request)? {
        Method::OPTIONS => Ok(tus::options(&state)),
        Method::HEAD if for_tus || id.parse::<gritbook_core::ids::Sha256Hex>().is_err() => tus::head(&state, &id, request.headers()).await,
        Method::GET | Method::HEAD => photos::get(&state, &id, request.headers()).await,
        Method::PATCH => tus::patch(&state, &id, request).await,
        Method::DELETE => tus::delete(&state, &id, request.headers()).await,
        _ => Err(not_allowed(&OF_ONE)),
    }
}

async fn in_time(request: Request, next: Next) -> Response {
    match tokio::time::timeout(LONGEST, next.run(request)).await {
        Ok(response) => response,
        Err(_) => Problem::new(408, "too_slow", "the request was not finished in 30 s", "try again").into_response(),
    }
}

#[allow(clippy::needless_pass_by_value)] // The layer hands the payload over.
fn panicked(payload: Box<dyn std::any::Any + Send + 'static>) -> Response {
    let text = payload.downcast_ref::<String>().map(String::as_str).or_else(|| payload.downcast_ref::<&str>().copied());
    tracing::error!(panic = text.unwrap_or("unknown"), "a request panicked");
    Problem::new(500, "fault", "the depot has a fault of its own", "try again; if it stays, report it").into_response()
}

/// One line a request; no tokens, no names, no query.
async fn log(request: Request, next: Next) -> Response {
    let (method, path) = (request.method().clone(), request.uri().path().to_owned());
    let started = std::time::Instant::now();
    let response = next.run(request).await;
    let (status, ms) = (response.status(), started.elapsed().as_millis());
    if status.is_server_error() && status != StatusCode::INSUFFICIENT_STORAGE {
        tracing::warn!(%method, path, status = status.as_u16(), ms, "answered");
    } else {
        tracing::info!(%method, path, status = status.as_u16(), ms, "answered");
    }
    response
}
