//! Reads off the rest of a refused body.
//!
//! A server that answers early and closes with bytes unread resets the connection, and the client may lose the answer.
//! So a body that a route did not read to its end goes on being read for a while, beside the answer.

use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::{Body, Bytes, HttpBody};
use axum::extract::{Request, State};
use axum::http::header;
use axum::middleware::Next;
use axum::response::Response;
use http_body::{Frame, SizeHint};
use http_body_util::BodyExt as _;
use tokio::sync::watch;

use super::Depot;

const LONGEST: Duration = Duration::from_secs(10);
/// A client that has read the answer and sends no more is let go.
const SILENCE: Duration = Duration::from_secs(1);

struct Lingering {
    body: Option<Body>,
    stopping: watch::Receiver<bool>,
}

impl HttpBody for Lingering {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        match self.body.as_mut() {
            Some(body) => Pin::new(body).poll_frame(context),
            None => Poll::Ready(None),
        }
    }

    fn is_end_stream(&self) -> bool {
        self.body.as_ref().is_none_or(HttpBody::is_end_stream)
    }

    fn size_hint(&self) -> SizeHint {
        self.body.as_ref().map(HttpBody::size_hint).unwrap_or_default()
    }
}

impl Drop for Lingering {
    fn drop(&mut self) {
        let Some(mut body) = self.body.take().filter(|body| !body.is_end_stream()) else { return };
        let mut stopping = self.stopping.clone();
        let Ok(runtime) = tokio::runtime::Handle::try_current() else { return };
        runtime.spawn(async move {
            tokio::select! {
                () = async { while let Ok(Some(Ok(_))) = tokio::time::timeout(SILENCE, body.frame()).await {} } => {}
                () = tokio::time::sleep(LONGEST) => {}
                // A depot that shuts down does not wait for what it would throw away.
                _ = stopping.wait_for(|stop| *stop) => {}
            }
        });
    }
}

/// Middleware; a client that waits for `100 Continue` has sent nothing yet and is left alone.
pub(crate) async fn linger(State(depot): State<Depot>, request: Request, next: Next) -> Response {
    if request.headers().contains_key(header::EXPECT) {
        return next.run(request).await;
    }
    let stopping = depot.stopping();
    next.run(request.map(|body| Body::new(Lingering { body: Some(body), stopping }))).await
}
