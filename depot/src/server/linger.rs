//! Reads off the rest of a refused body.
//!
//! A server that answers early and closes with bytes unread resets the connection, and the client may lose the answer.
//! So a body that a route did not read to its end goes on being read for a while, beside the answer.

use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::{Body, Bytes, HttpBody};
use axum::extract::Request;
use axum::http::header;
use axum::middleware::Next;
use axum::response::Response;
use http_body::{Frame, SizeHint};
use http_body_util::BodyExt as _;

const LONGEST: Duration = Duration::from_secs(10);

struct Lingering(Option<Body>);

impl HttpBody for Lingering {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        match self.0.as_mut() {
            Some(body) => Pin::new(body).poll_frame(context),
            None => Poll::Ready(None),
        }
    }

    fn is_end_stream(&self) -> bool {
        self.0.as_ref().is_none_or(HttpBody::is_end_stream)
    }

    fn size_hint(&self) -> SizeHint {
        self.0.as_ref().map(HttpBody::size_hint).unwrap_or_default()
    }
}

impl Drop for Lingering {
    fn drop(&mut self) {
        let Some(mut body) = self.0.take().filter(|body| !body.is_end_stream()) else { return };
        if let Ok(runtime) = tokio::runtime::Handle::try_current() {
            runtime.spawn(tokio::time::timeout(LONGEST, async move { while let Some(Ok(_)) = body.frame().await {} }));
        }
    }
}

/// Middleware; a client that waits for `100 Continue` has sent nothing yet and is left alone.
pub(crate) async fn linger(request: Request, next: Next) -> Response {
    if request.headers().contains_key(header::EXPECT) {
        return next.run(request).await;
    }
    next.run(request.map(|body| Body::new(Lingering(Some(body))))).await
}
