//! Carries the outbox's requests to a depot over HTTP.
//!
//! No rule lives here: what to send next, when to try again and what an answer means is the outbox's business.

mod http;

pub use http::{HttpTransport, Patience};
