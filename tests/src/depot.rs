//! A depot in a folder of its own, called without a socket.

// Helpers of tests may fail loudly like the tests themselves.
#![allow(clippy::unwrap_used, clippy::missing_panics_doc)]

use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use axum::http::{HeaderMap, Request, Response};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use chrono::{DateTime, Utc};
use gritbook_core::ids::{DeviceId, EntryId, PumpId, Sha256Hex};
use gritbook_core::wire::v1::{UPLOAD_META_ID, UPLOAD_META_SHA256};
use gritbook_depot::server::archive::SqliteArchive;
use gritbook_depot::server::shelf::{PhotoStore, Shelf};
use gritbook_depot::server::{Depot, Settings, app, make_token, token_hash};
use http_body_util::BodyExt as _;
use serde_json::{Value, json};
use tempfile::TempDir;
use tower::ServiceExt as _;

/// A depot and one enrolled device's token.
pub struct TestDepot {
    /// Holds the data folder.
    pub folder: TempDir,
    /// The depot itself.
    pub depot: Depot,
    /// A good token.
    pub token: String,
    router: Router,
}

/// What came back.
#[derive(Debug)]
pub struct Reply {
    /// Status.
    pub status: u16,
    /// Headers.
    pub headers: HeaderMap,
    /// Whole body.
    pub body: Vec<u8>,
}

impl Reply {
    /// A header as text; empty where there is none.
    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }

    /// The body as JSON.
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap()
    }

    /// The body as text.
    pub fn text(&self) -> &str {
        std::str::from_utf8(&self.body).unwrap()
    }

    /// The code of a problem, after checking that it is one as RFC 9457 has it.
    pub fn problem(&self) -> String {
        assert_eq!(self.header("content-type"), "application/problem+json", "{self:?}");
        let problem = self.json();
        assert_eq!(problem["status"], self.status);
        let code = problem["type"].as_str().unwrap().strip_prefix("urn:gritbook:problem:").unwrap();
        assert!(!problem["title"].as_str().unwrap().is_empty());
        assert!(!problem["detail"].as_str().unwrap().is_empty());
        code.to_owned()
    }
}

impl TestDepot {
    /// A depot with the usual settings.
    pub async fn new() -> Self {
        Self::with(Settings::default()).await
    }

    /// A depot with other settings.
    pub async fn with(settings: Settings) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let depot = Depot::open(folder.path(), settings).unwrap();
        Self::of(folder, depot).await
    }

    /// A depot with its whole photos in `photos`.
    pub async fn on(photos: Arc<dyn PhotoStore>, settings: Settings) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let archive = SqliteArchive::open(folder.path()).unwrap();
        let depot = Depot::new(Arc::new(archive), Shelf::on(folder.path(), photos).unwrap(), settings);
        Self::of(folder, depot).await
    }

    async fn of(folder: TempDir, depot: Depot) -> Self {
        let token = make_token().unwrap();
        depot.archive().enroll("test phone".into(), token_hash(&token), now()).await.unwrap();
        Self { router: app(depot.clone()), folder, depot, token }
    }

    /// A request with the good token.
    pub fn ask(&self, method: &str, path: &str) -> axum::http::request::Builder {
        Request::builder().method(method).uri(path).header("authorization", format!("Bearer {}", self.token))
    }

    /// The same for tus.
    pub fn tus(&self, method: &str, path: &str) -> axum::http::request::Builder {
        self.ask(method, path).header("tus-resumable", "1.0.0")
    }

    /// Sends a request and takes the whole answer.
    pub async fn send(&self, request: Request<Body>) -> Reply {
        let response: Response<Body> = self.router.clone().oneshot(request).await.unwrap();
        let (parts, body) = response.into_parts();
        let body = body.collect().await.unwrap().to_bytes().to_vec();
        Reply { status: parts.status.as_u16(), headers: parts.headers, body }
    }

    /// `PUT /v1/entries`.
    pub async fn put(&self, body: impl Into<Body>) -> Reply {
        self.send(self.ask("PUT", "/v1/entries").body(body.into()).unwrap()).await
    }

    /// `GET`.
    pub async fn get(&self, path: &str) -> Reply {
        self.send(self.ask("GET", path).body(Body::empty()).unwrap()).await
    }

    /// Makes an upload and gives its address.
    pub async fn create(&self, length: usize, metadata: &str) -> String {
        let request = self.tus("POST", "/v1/photos").header("upload-length", length).header("upload-metadata", metadata);
        let reply = self.send(request.body(Body::empty()).unwrap()).await;
        assert_eq!(reply.status, 201, "{}", String::from_utf8_lossy(&reply.body));
        reply.header("location").to_owned()
    }

    /// `PATCH` from `offset`.
    pub async fn patch(&self, location: &str, offset: u64, body: impl Into<Body>) -> Reply {
        let request = self.tus("PATCH", location).header("upload-offset", offset).header("content-type", "application/offset+octet-stream");
        self.send(request.body(body.into()).unwrap()).await
    }

    /// `HEAD` of an upload.
    pub async fn head(&self, location: &str) -> Reply {
        self.send(self.tus("HEAD", location).body(Body::empty()).unwrap()).await
    }
}

/// A fixed moment.
pub fn now() -> DateTime<Utc> {
    DateTime::from_timestamp(1_790_000_000, 0).unwrap()
}

/// `Upload-Metadata` that names a photo's hash and the client's own id.
pub fn metadata(bytes: &[u8], upload_id: &str) -> String {
    format!("{UPLOAD_META_SHA256} {},{UPLOAD_META_ID} {}", STANDARD.encode(Sha256Hex::of(bytes).to_string()), STANDARD.encode(upload_id))
}

/// A sealed text of `kind` with `body`, with a field that no program knows.
pub fn entry(device: DeviceId, seq: u64, pump: PumpId, kind: &str, body: &Value) -> String {
    let (kind, body) = (json!(kind), body);
    let id = EntryId::new(now());
    // Spaces and order are part of the text: it must come back exactly so.
    format!(
        r#"{{ "schema":"gritbook.entry/1", "id":"{id}","device":"{device}","seq":{seq},"person":"Rosa","at":"2026-09-21T08:00:00-06:00","hlc":{{"ms":{},"count":0}},"prev":null,"pump":"{pump}","kind":{kind},"body":{body},"from_the_future":1.50}}"#,
        1_790_000_000_000_u64 + seq
    )
}

/// A box check by eye that names `photos`.
pub fn box_check(device: DeviceId, seq: u64, pump: PumpId, photos: &[Sha256Hex]) -> String {
    let body = json!({
        "pump_m3": 120.5, "photos": photos, "reading": null, "level": "some_sand", "level_source": "eye",
        "liquid": "grey", "liquid_low": false, "settled_ml": null,
    });
    entry(device, seq, pump, "box_check", &body)
}

/// A batch of sealed texts.
pub fn batch(entries: &[String]) -> String {
    format!(r#"{{"schema":"gritbook.entries/1","entries":[{}]}}"#, entries.join(","))
}

/// Bytes that begin like a JPEG and differ from any other seed's.
pub fn photo_like(length: usize, seed: u64) -> Vec<u8> {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let mut bytes = vec![0xFF, 0xD8, 0xFF, 0xE0];
    while bytes.len() < length {
        // xorshift64: nothing here needs better.
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        bytes.extend(state.to_le_bytes());
    }
    bytes.truncate(length);
    bytes
}
