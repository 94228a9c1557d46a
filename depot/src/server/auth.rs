//! Who asks. Devices carry a bearer token: 256 random bits of which the depot keeps only the SHA-256, so that a stolen
//! archive opens nothing. A fast hash is enough: there is nothing to guess in 256 random bits.

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, header};
use base64::Engine as _;
use base64::engine::general_purpose::{STANDARD, URL_SAFE_NO_PAD};
use chrono::TimeDelta;
use gritbook_core::ids::{PumpId, Sha256Hex};
use gritbook_core::wire::v1::{TOKEN_REVOKED, UNKNOWN_TOKEN};
use gritbook_core::{CoreError, ErrorKind};
use subtle::ConstantTimeEq as _;

use super::Depot;
use super::archive::Device;
use super::archive::people::{Actor, Role};
use super::people::session::Signed;
use super::problem::Problem;

/// Bits that nobody can guess.
///
/// # Errors
/// `no_randomness` where the system gives none.
pub(crate) fn random<const N: usize>() -> Result<[u8; N], CoreError> {
    let mut bits = [0; N];
    getrandom::fill(&mut bits).map_err(|cause| {
        CoreError::new(ErrorKind::Internal, "no_randomness", format!("the system gives no random bits: {cause}"), "try again")
    })?;
    Ok(bits)
}

/// Makes a token: 43 characters that go into a header as they are.
///
/// # Errors
/// As [`random`] gives them.
pub fn make_token() -> Result<String, CoreError> {
    loop {
        let token = URL_SAFE_NO_PAD.encode(random::<32>()?);
        // With a hyphen first a program that is given it would take it for an option.
        if !token.starts_with('-') {
            return Ok(token);
        }
    }
}

/// What the depot keeps of a token.
pub fn token_hash(token: &str) -> Sha256Hex {
    Sha256Hex::of(token.as_bytes())
}

/// The device that sent a request under `/v1`.
#[derive(Debug, Clone)]
pub(crate) struct Enrolled(pub(crate) Device);

impl FromRequestParts<Depot> for Enrolled {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, depot: &Depot) -> Result<Self, Problem> {
        let token = bearer(&parts.headers);
        let device = identify(depot, token.as_deref(), BEARER).await?;
        tracing::debug!(device = device.number, "request of a device");
        Ok(Self(device))
    }
}

/// A device is noted as heard once a minute at most: not every request is a write.
const HEARD_EVERY: TimeDelta = TimeDelta::minutes(1);

const BEARER: &str = "Bearer realm=\"gritbook\"";
const BASIC: &str = "Basic realm=\"gritbook\", charset=\"UTF-8\"";

async fn identify(depot: &Depot, token: Option<&str>, challenge: &'static str) -> Result<Device, Problem> {
    let Some(token) = token else {
        return Err(without_token(challenge));
    };
    let refused = |code, reason: &str, advice: &str| {
        let challenge = if challenge == BEARER { format!("{BEARER}, error=\"invalid_token\"") } else { challenge.to_owned() };
        Problem::new(401, code, reason, advice).header(header::WWW_AUTHENTICATE, challenge)
    };
    let hash = token_hash(token);
    let device = depot.archive().device(hash).await?;
    // The lookup is by hash, so its time tells nothing of the token; the comparison below tells nothing of the hash.
    match device {
        Some(device) if bool::from(device.token_hash.as_bytes().ct_eq(hash.as_bytes())) => {
            if device.revoked {
                return Err(refused(
                    TOKEN_REVOKED,
                    "this device's token was taken away",
                    "enrol the device again; what it holds stays queued",
                ));
            }
            let now = depot.now();
            if device.heard.is_none() && device.first_use_by.is_some_and(|by| by < now) {
                return Err(refused(
                    "token_too_late",
                    "this token was not used in time after it was shown",
                    "enrol the device again; what it holds stays queued",
                ));
            }
            if device.heard.is_none_or(|heard| now - heard >= HEARD_EVERY) {
                // A full disk must not stop a device from being answered, only from being seen here.
                if let Err(error) = depot.archive().heard(device.number, now).await {
                    tracing::warn!(code = error.code(), "a device could not be noted as heard");
                }
            }
            Ok(device)
        }
        _ => Err(refused(UNKNOWN_TOKEN, "the depot does not know this token", "check the token, or enrol the device again")),
    }
}

fn without_token(challenge: &'static str) -> Problem {
    Problem::new(401, "no_token", "the request carries no token", "enrol this device at the depot and send its token")
        .header(header::WWW_AUTHENTICATE, challenge)
}

/// A device's request without a bearer.
pub(super) fn no_token() -> Problem {
    without_token(BEARER)
}

/// The token that a request carries.
pub(super) fn bearer(headers: &HeaderMap) -> Option<String> {
    let (scheme, token) = headers.get(header::AUTHORIZATION)?.to_str().ok()?.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| token.trim().to_owned())
}

/// Browsers cannot send a bearer token by themselves: for pages the token may be the password of HTTP Basic.
fn basic_password(headers: &HeaderMap) -> Option<String> {
    let (scheme, text) = headers.get(header::AUTHORIZATION)?.to_str().ok()?.split_once(' ')?;
    if !scheme.eq_ignore_ascii_case("basic") {
        return None;
    }
    let pair = String::from_utf8(STANDARD.decode(text.trim()).ok()?).ok()?;
    pair.split_once(':').map(|(_, password)| password.to_owned())
}

/// Someone who may read pages.
#[derive(Debug, Clone)]
pub(crate) enum Reader {
    /// Whoever sits at this machine, while nobody was added who may sign in.
    Anyone,
    /// A device's token, by itself or as the password of HTTP Basic.
    Device(Device),
    /// A person who is signed in.
    Person(Box<Signed>),
}

impl Reader {
    /// Whether the pages of this pump are open to the reader.
    pub(crate) fn may_read(&self, pump: PumpId) -> bool {
        self.only().is_none_or(|pumps| pumps.contains(&pump))
    }

    /// The pumps that alone are open to the reader; none where all are.
    pub(crate) fn only(&self) -> Option<&[PumpId]> {
        match self {
            Self::Person(signed) if signed.person.role == Role::Mechanic => Some(&signed.person.pumps),
            _ => None,
        }
    }

    /// Refuses who may not take whole records away.
    ///
    /// # Errors
    /// `not_allowed`.
    pub(crate) fn may_export(&self) -> Result<(), Problem> {
        if self.only().is_some() { Err(not_allowed("a mechanic reads pages and does not export", "ask the office")) } else { Ok(()) }
    }

    /// The owner who is signed in.
    ///
    /// # Errors
    /// `not_allowed`.
    pub(crate) fn owner(&self) -> Result<&Signed, Problem> {
        match self {
            Self::Person(signed) if signed.person.role == Role::Owner => Ok(signed),
            _ => Err(not_allowed("this page is the owner's", "sign in as an owner")),
        }
    }

    /// The person who is signed in.
    ///
    /// # Errors
    /// `not_allowed`.
    pub(crate) fn person(&self) -> Result<&Signed, Problem> {
        match self {
            Self::Person(signed) => Ok(signed),
            _ => Err(not_allowed("nobody is signed in", "sign in first")),
        }
    }

    /// Who it is, for the audit.
    pub(crate) fn actor(&self) -> Actor {
        match self {
            Self::Anyone => Actor::Nobody,
            Self::Device(device) => Actor::Device(device.number),
            Self::Person(signed) => Actor::Person(signed.person.number),
        }
    }
}

fn not_allowed(reason: &str, advice: &str) -> Problem {
    Problem::new(403, "not_allowed", reason, advice)
}

impl FromRequestParts<Depot> for Reader {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, depot: &Depot) -> Result<Self, Problem> {
        match Signed::find(&parts.headers, depot).await? {
            Some(signed) => Ok(Self::Person(Box::new(signed))),
            None => Self::unsigned(parts, depot, BASIC).await,
        }
    }
}

/// Someone who reads a page that asks by itself what is new. It makes no session last longer, and nobody is asked for a password by
/// HTTP Basic: the browser would put a window of its own over the page.
pub(crate) struct Glance(pub(crate) Reader);

impl FromRequestParts<Depot> for Glance {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, depot: &Depot) -> Result<Self, Problem> {
        if let Some(signed) = Signed::glance(&parts.headers, depot).await? {
            return Ok(Self(Reader::Person(Box::new(signed))));
        }
        Reader::unsigned(parts, depot, BEARER).await.map(Self)
    }
}

impl Reader {
    /// A reader without a session.
    async fn unsigned(parts: &Parts, depot: &Depot, challenge: &'static str) -> Result<Self, Problem> {
        if depot.settings().page_open && !depot.archive().any_person().await? {
            // A web site could point its own name at 127.0.0.1 and read an open page through a visitor's browser.
            let host = parts.headers.get(header::HOST).and_then(|host| host.to_str().ok()).unwrap_or("localhost");
            if is_loopback_name(host) {
                return Ok(Self::Anyone);
            }
            return Err(Problem::new(
                421,
                "other_host",
                "this depot answers pages under a loopback name only",
                "open it as http://127.0.0.1 or http://localhost",
            ));
        }
        let token = bearer(&parts.headers).or_else(|| basic_password(&parts.headers));
        identify(depot, token.as_deref(), challenge).await.map(Self::Device)
    }
}

fn is_loopback_name(host: &str) -> bool {
    let name = match host.strip_prefix('[') {
        Some(rest) => rest.split(']').next().unwrap_or_default(),
        None => host.split(':').next().unwrap_or_default(),
    };
    name.eq_ignore_ascii_case("localhost") || name.parse::<std::net::IpAddr>().is_ok_and(|address| address.is_loopback())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tokens_are_long_and_differ() {
        let (one, other) = (make_token().unwrap(), make_token().unwrap());
        assert_eq!(one.len(), 43);
        assert_ne!(one, other);
    }

    #[test]
    fn no_token_looks_like_an_option() {
        for _ in 0..2_000 {
            assert!(!make_token().unwrap().starts_with('-'));
        }
    }

    #[test]
    fn only_loopback_names_are_loopback() {
        for name in ["localhost", "LOCALHOST:80", "127.0.0.1", "127.3.2.1:8080", "[::1]:80", "[::1]"] {
            assert!(is_loopback_name(name), "{name}");
        }
        for name in ["localhost.example", "127.0.0.1.example", "10.0.0.1", "", "[fe80::1]"] {
            assert!(!is_loopback_name(name), "{name}");
        }
    }
}
