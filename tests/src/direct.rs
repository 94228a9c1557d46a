//! A carrier to a depot in this process, without a socket: the phone's outbox and the depot's routes in one thread.

// Helpers of tests may fail loudly like the tests themselves.
#![allow(clippy::unwrap_used, clippy::missing_panics_doc)]

use std::io::{Read as _, Seek as _, SeekFrom};
use std::path::Path;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};

use axum::Router;
use axum::body::{Body, Bytes};
use chrono::{DateTime, Utc};
use gritbook_core::outbox::{self, Answer, Method, Request, Transport, TransportFault};
use gritbook_depot::server::{Depot, Settings, app, make_token, token_hash};
use http_body_util::BodyExt as _;
use tokio::runtime::Runtime;
use tower::ServiceExt as _;

/// A depot without a socket.
pub struct DirectDepot {
    runtime: Arc<Runtime>,
    router: Router,
    depot: Depot,
}

/// One device's carrier to it.
pub struct Direct {
    runtime: Arc<Runtime>,
    router: Router,
    token: String,
}

impl DirectDepot {
    /// Opens a depot in `data`.
    pub fn open(data: &Path, settings: Settings) -> Self {
        let runtime = Arc::new(tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap());
        let depot = Depot::open(data, settings).unwrap();
        Self { runtime, router: app(depot.clone()), depot }
    }

    /// A carrier for a newly enrolled device.
    pub fn enroll(&self, name: &str, now: DateTime<Utc>) -> Direct {
        self.with_token(&self.enroll_token(name, now))
    }

    /// A newly enrolled device's token.
    pub fn enroll_token(&self, name: &str, now: DateTime<Utc>) -> String {
        let token = make_token().unwrap();
        self.runtime.block_on(self.depot.archive().enroll(name.to_owned(), token_hash(&token), now)).unwrap();
        token
    }

    /// A carrier for a device that is enrolled already.
    pub fn with_token(&self, token: &str) -> Direct {
        Direct { runtime: Arc::clone(&self.runtime), router: self.router.clone(), token: token.to_owned() }
    }
}

/// A request's bytes.
pub fn body_of(request: &Request) -> Vec<u8> {
    match &request.body {
        outbox::Body::Empty => Vec::new(),
        outbox::Body::Bytes(bytes) => bytes.clone(),
        outbox::Body::File { path, offset, length } => {
            let mut file = std::fs::File::open(path).unwrap();
            file.seek(SeekFrom::Start(*offset)).unwrap();
            let mut bytes = Vec::new();
            file.take(*length).read_to_end(&mut bytes).unwrap();
            bytes
        }
    }
}

impl Direct {
    /// Carries a request whose body is as given, whatever its length says.
    pub fn carry_body(&self, request: &Request, body: Body) -> Answer {
        let method = match request.method {
            Method::Get => "GET",
            Method::Head => "HEAD",
            Method::Post => "POST",
            Method::Put => "PUT",
            Method::Patch => "PATCH",
            Method::Delete => "DELETE",
        };
        let mut builder =
            axum::http::Request::builder().method(method).uri(&request.path).header("authorization", format!("Bearer {}", self.token));
        for (name, value) in &request.headers {
            builder = builder.header(name, value);
        }
        let asked = builder.body(body).unwrap();
        self.runtime.block_on(async {
            let (parts, body) = self.router.clone().oneshot(asked).await.unwrap().into_parts();
            let headers = parts.headers.iter().map(|(name, value)| (name.to_string(), value.to_str().unwrap().to_owned())).collect();
            Answer { status: parts.status.as_u16(), headers, body: body.collect().await.unwrap().to_bytes().to_vec() }
        })
    }
}

/// A body that breaks off after `bytes`.
pub fn torn(bytes: Vec<u8>) -> Body {
    struct Torn(Option<Vec<u8>>);
    impl axum::body::HttpBody for Torn {
        type Data = Bytes;
        type Error = std::io::Error;
        fn poll_frame(mut self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<Option<std::io::Result<http_body::Frame<Bytes>>>> {
            Poll::Ready(Some(match self.0.take() {
                Some(bytes) => Ok(http_body::Frame::data(Bytes::from(bytes))),
                None => Err(std::io::ErrorKind::ConnectionReset.into()),
            }))
        }
    }
    Body::new(Torn(Some(bytes)))
}

impl Transport for Direct {
    fn carry(&self, request: &Request) -> Result<Answer, TransportFault> {
        Ok(self.carry_body(request, Body::from(body_of(request))))
    }
}
