//! The outbox: says which request to make next and takes the answer; others carry the bytes (sans-IO).
//!
//! # States of a queued item
//! `waiting` → sent and acknowledged → gone from the queue. `waiting` → permanent refusal → `parked`, with the depot's
//! reason, visible until a person retries or drops it. "Being sent" is never stored: after a crash an item is sent
//! again, and the depot treats a repeat as success.
//!
//! | outcome | meaning | what happens |
//! |---|---|---|
//! | network | no answer, cut, timeout | the whole queue pauses with full-jitter back-off |
//! | later | 408, 423, 425, 429, 5xx | the queue pauses, at least as long as `Retry-After` says |
//! | permanent | other 4xx, a refused verdict | this item is parked with the reason, the next goes on |
//!
//! A photo goes before the entries that name it. An entry and its queue row are written in one transaction.

pub mod transport;

pub use transport::{Answer, Body, Method, Request, Transport, TransportFault, TransportFaultKind};
