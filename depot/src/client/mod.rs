//! Carries the outbox's requests to a depot over HTTP, in TLS to anything but this machine.
//!
//! No rule lives here: what to send next, when to try again and what an answer means is the outbox's business.

mod http;
mod pinned;

pub use http::{HttpTransport, Patience};
