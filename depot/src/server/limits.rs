//! How many requests are answered: so many for each token, so many for each address, and so many connections.
//!
//! A bucket for each token (a device's, or a session's cookie) and one for each address fills evenly and holds a minute's
//! worth; a request takes one drop of both. Where a bucket is empty the answer is 429 with `Retry-After`. Every limited
//! answer tells how it stands in `RateLimit` and `RateLimit-Policy` (draft-ietf-httpapi-ratelimit-headers-10, 3 and 4).
//! `/healthz` is not counted, so that a watcher goes on seeing the depot alive. Kept in memory: a restart forgets it.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

use axum::extract::{Request, State};
use axum::http::{HeaderName, HeaderValue, header};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};
use gritbook_core::ids::Sha256Hex;

use super::peer::Caller;
use super::people::session::Cookie;
use super::{Depot, Problem};

/// Buckets kept at one time. A full one is as good as none, so the fullest go first.
const MOST: usize = 20_000;

#[derive(Debug, Clone, Copy)]
struct Bucket {
    drops: f64,
    at: Instant,
}

/// How a bucket stands after a request.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Standing {
    quota: u32,
    left: u32,
    /// Seconds until it is full, or, where it is empty, until the next request is answered.
    seconds: u64,
    taken: bool,
}

/// Buckets that fill alike.
#[derive(Debug)]
struct Buckets {
    per_minute: u32,
    of: Mutex<HashMap<String, Bucket>>,
}

impl Buckets {
    fn new(per_minute: u32) -> Self {
        Self { per_minute: per_minute.max(1), of: Mutex::default() }
    }

    fn take(&self, key: &str, now: Instant) -> Standing {
        let full = f64::from(self.per_minute);
        let per_second = full / 60.0;
        let refilled = |bucket: &Bucket| (bucket.drops + now.saturating_duration_since(bucket.at).as_secs_f64() * per_second).min(full);
        let mut of = self.of.lock().unwrap_or_else(PoisonError::into_inner);
        if of.len() >= MOST && !of.contains_key(key) {
            of.retain(|_, bucket| refilled(bucket) < full);
            let surplus: Vec<String> = of.keys().take((of.len() + 1).saturating_sub(MOST)).cloned().collect();
            for key in surplus {
                of.remove(&key);
            }
        }
        let drops = of.get(key).map_or(full, refilled);
        let taken = drops >= 1.0;
        let left = if taken { drops - 1.0 } else { drops };
        of.insert(key.to_owned(), Bucket { drops: left, at: now });
        let wait = if taken { full - left } else { 1.0 - left } / per_second;
        Standing { quota: self.per_minute, left: left as u32, seconds: wait.ceil() as u64, taken }
    }
}

/// See the module.
#[derive(Debug)]
pub(crate) struct Limits {
    tokens: Buckets,
    addresses: Buckets,
}

impl Limits {
    /// So many requests a minute for a token, and so many for an address.
    pub(crate) fn new(per_token: u32, per_address: u32) -> Self {
        Self { tokens: Buckets::new(per_token), addresses: Buckets::new(per_address) }
    }
}

const RATE_LIMIT: HeaderName = HeaderName::from_static("ratelimit");
const RATE_LIMIT_POLICY: HeaderName = HeaderName::from_static("ratelimit-policy");

/// The secret that a request brings: the same one, the same bucket, whatever it is worth.
fn secret(request: &Request, depot: &Depot) -> Option<String> {
    let brought = request.headers().get(header::AUTHORIZATION).map(|value| value.as_bytes().to_vec());
    let brought = brought.or_else(|| Cookie::Session.read(request.headers(), depot).map(String::into_bytes))?;
    Some(Sha256Hex::of(&brought).to_string())
}

/// Middleware around everything.
pub(crate) async fn limit(State(depot): State<Depot>, request: Request, next: Next) -> Response {
    if request.uri().path() == "/healthz" {
        return next.run(request).await;
    }
    let (parts, body) = request.into_parts();
    let caller = Caller::of(&parts, &depot);
    let request = Request::from_parts(parts, body);
    let now = Instant::now();
    let limits = depot.limits();
    let mut name = "address";
    let mut standing = limits.addresses.take(&caller.key(), now);
    if let Some(secret) = secret(&request, &depot).filter(|_| standing.taken) {
        let of_token = limits.tokens.take(&secret, now);
        // The nearer limit is told.
        if !of_token.taken || of_token.left <= standing.left {
            (name, standing) = ("token", of_token);
        }
    }
    let mut response = if standing.taken {
        next.run(request).await
    } else {
        Problem::new(
            429,
            "too_many_requests",
            format!("more than {} requests a minute came with this {name}", standing.quota),
            format!("wait {} s; nothing is lost", standing.seconds),
        )
        .header(header::RETRY_AFTER, standing.seconds.to_string())
        .into_response()
    };
    let headers = response.headers_mut();
    let told = format!("\"{name}\";r={};t={}", standing.left, standing.seconds);
    for (header, text) in [(RATE_LIMIT, told), (RATE_LIMIT_POLICY, format!("\"{name}\";q={};w=60", standing.quota))] {
        if let Ok(value) = HeaderValue::from_str(&text) {
            headers.insert(header, value);
        }
    }
    response
}

/// Connections that are open: so many in all and so many for one address.
#[derive(Debug, Clone, Default)]
pub(crate) struct Connections(Arc<Mutex<HashMap<String, usize>>>);

/// Held while a connection is open.
#[derive(Debug)]
pub(crate) struct Open {
    of: Connections,
    key: String,
}

/// Connections at one time.
const CONNECTIONS: usize = 1024;
/// Of them from one address. Behind a proxy all come from the proxy, and only the sum counts.
const CONNECTIONS_OF_ONE: usize = 256;

impl Connections {
    /// Room for one more from this address; none where there is none.
    pub(crate) fn open(&self, key: String, behind_proxy: bool) -> Option<Open> {
        let mut open = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let (all, own): (usize, usize) = (open.values().sum(), open.get(&key).copied().unwrap_or(0));
        if all >= CONNECTIONS || (!behind_proxy && own >= CONNECTIONS_OF_ONE) {
            return None;
        }
        *open.entry(key.clone()).or_default() += 1;
        Some(Open { of: self.clone(), key })
    }
}

impl Drop for Open {
    fn drop(&mut self) {
        let mut open = self.of.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(count) = open.get_mut(&self.key) {
            *count -= 1;
            if *count == 0 {
                open.remove(&self.key);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    #[test]
    fn bucket_holds_a_minutes_worth_and_fills_evenly() {
        let (buckets, start) = (Buckets::new(60), Instant::now());
        for left in (0..60).rev() {
            let standing = buckets.take("a", start);
            assert_eq!((standing.taken, standing.left), (true, left));
        }
        assert_eq!(buckets.take("a", start), Standing { quota: 60, left: 0, seconds: 1, taken: false });
        assert!(buckets.take("b", start).taken, "another's bucket is its own");
        assert!(!buckets.take("a", start + Duration::from_millis(900)).taken);
        assert!(buckets.take("a", start + Duration::from_millis(2000)).taken);
        assert_eq!(buckets.take("a", start + Duration::from_secs(3600)).left, 59);
    }

    #[test]
    fn made_up_tokens_take_bounded_room_and_empty_no_other_bucket() {
        let (buckets, start) = (Buckets::new(2), Instant::now());
        for _ in 0..3 {
            buckets.take("busy", start);
        }
        for number in 0..MOST + 10 {
            buckets.take(&number.to_string(), start + Duration::from_millis(1));
        }
        assert!(buckets.of.lock().unwrap().len() <= MOST);
    }

    #[test]
    fn connections_of_one_address_and_all_together_are_bounded() {
        let connections = Connections::default();
        let held: Vec<_> = (0..CONNECTIONS_OF_ONE).filter_map(|_| connections.open("a".into(), false)).collect();
        assert!(connections.open("a".into(), false).is_none());
        assert!(connections.open("a".into(), true).is_some());
        assert!(connections.open("b".into(), false).is_some());
        drop(held);
        assert!(connections.open("a".into(), false).is_some());
        let all: Vec<_> = (0..CONNECTIONS + 9).filter_map(|number| connections.open(number.to_string(), false)).collect();
        assert_eq!(all.len(), CONNECTIONS);
        drop(all);
        assert!(connections.0.lock().unwrap().is_empty());
    }
}
