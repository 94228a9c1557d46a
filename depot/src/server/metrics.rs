//! Figures for whoever watches the depot, in the text format of Prometheus. No label names a device, a person, a pump or a photo.

use std::time::Duration;

use axum::extract::{MatchedPath, Request, State};
use axum::http::{Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};
use prometheus_client::encoding::EncodeLabelSet;
use prometheus_client::encoding::text::encode;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::Histogram;
use prometheus_client::registry::Registry;

use super::auth::Enrolled;
use super::{Depot, Problem};

/// Upper ends of the time classes, seconds: a page is quick, a photo over a bad link is not.
const SECONDS: [f64; 9] = [0.005, 0.02, 0.05, 0.1, 0.5, 2.0, 10.0, 60.0, 600.0];

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Asked {
    route: String,
    method: String,
    status: u16,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Route {
    route: String,
}

/// What is counted.
pub(super) struct Metrics {
    registry: Registry,
    requests: Family<Asked, Counter>,
    seconds: Family<Route, Histogram>,
    held: [(Gauge, Held); 9],
}

/// A figure of what the depot holds.
type Held = fn(&Facts) -> u64;

struct Facts {
    held: super::archive::Holdings,
    missing: u64,
    now_ms: i64,
}

impl Metrics {
    pub(super) fn new() -> Self {
        let mut registry = Registry::with_prefix("gritbook");
        let requests = Family::default();
        registry.register("requests", "Requests answered", requests.clone());
        let seconds = Family::<Route, Histogram>::new_with_constructor(|| Histogram::new(SECONDS));
        registry.register("request_seconds", "Time to the head of the answer", seconds.clone());
        let figures: [(&str, &str, Held); 9] = [
            ("entries", "Entries held", |facts| facts.held.entries),
            ("entries_missing", "Entries known to exist that have not come", |facts| facts.missing),
            ("pumps", "Pumps that have entries", |facts| facts.held.pumps),
            ("devices", "Devices that may deliver", |facts| facts.held.devices),
            ("photos", "Photos held", |facts| facts.held.photos),
            ("photo_bytes", "Bytes of the photos held", |facts| facts.held.photo_bytes),
            ("uploads_open", "Photos on their way", |facts| facts.held.uploads_open),
            ("uploads_missing_bytes", "Bytes that photos on their way still lack", |facts| facts.held.uploads_missing_bytes),
            ("last_entry_age_seconds", "Time since an entry came", |facts| {
                facts.held.last_received_ms.map_or(0, |ms| u64::try_from((facts.now_ms - ms) / 1000).unwrap_or(0))
            }),
        ];
        let held = figures.map(|(name, help, figure)| {
            let gauge = Gauge::default();
            registry.register(name, help, gauge.clone());
            (gauge, figure)
        });
        Self { registry, requests, seconds, held }
    }

    fn answered(&self, route: &str, method: &Method, status: StatusCode, took: Duration) {
        // A client may make up methods; they must not make up labels.
        let known = [Method::GET, Method::HEAD, Method::PUT, Method::POST, Method::PATCH, Method::DELETE, Method::OPTIONS];
        let method = if known.contains(method) { method.as_str() } else { "other" };
        let asked = Asked { route: route.to_owned(), method: method.to_owned(), status: status.as_u16() };
        self.requests.get_or_create(&asked).inc();
        self.seconds.get_or_create(&Route { route: route.to_owned() }).observe(took.as_secs_f64());
    }
}

/// Counts a request when its answer begins.
pub(super) async fn count(State(depot): State<Depot>, request: Request, next: Next) -> Response {
    let route = request.extensions().get::<MatchedPath>().map_or_else(|| "none".to_owned(), |path| path.as_str().to_owned());
    let method = request.method().clone();
    let started = std::time::Instant::now();
    let response = next.run(request).await;
    depot.metrics().answered(&route, &method, response.status(), started.elapsed());
    response
}

/// `GET /metrics`.
pub(super) async fn page(State(depot): State<Depot>, _: Enrolled) -> Result<Response, Problem> {
    let facts = Facts {
        held: depot.archive().holdings().await?,
        missing: depot.archive().entries_missing().await?,
        now_ms: depot.now().timestamp_millis(),
    };
    let metrics = depot.metrics();
    for (gauge, figure) in &metrics.held {
        gauge.set(i64::try_from(figure(&facts)).unwrap_or(i64::MAX));
    }
    let mut text = String::new();
    encode(&mut text, &metrics.registry).map_err(|_| Problem::new(500, "fault", "the figures could not be written", "report this"))?;
    let kind = "application/openmetrics-text; version=1.0.0; charset=utf-8";
    Ok(([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "no-store")], text).into_response())
}
