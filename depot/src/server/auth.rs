//! Who asks. Devices carry a bearer token: 256 random bits of which the depot keeps only the SHA-256, so that a stolen
//! archive opens nothing. A fast hash is enough: there is nothing to guess in 256 random bits.

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, header};
use base64::Engine as _;
use base64::engine::general_purpose::{STANDARD, URL_SAFE_NO_PAD};
use gritbook_core::ids::Sha256Hex;
use gritbook_core::{CoreError, ErrorKind};
use subtle::ConstantTimeEq as _;

use super::Depot;
use super::archive::Device;
use super::problem::Problem;

/// Makes a token: 43 characters that go into a header as they are.
///
/// # Errors
/// `no_randomness` where the system gives none.
pub fn make_token() -> Result<String, CoreError> {
    let mut bits = [0_u8; 32];
    getrandom::fill(&mut bits).map_err(|cause| {
        CoreError::new(ErrorKind::Internal, "no_randomness", format!("the system gives no random bits: {cause}"), "try again")
    })?;
    Ok(URL_SAFE_NO_PAD.encode(bits))
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

const BEARER: &str = "Bearer realm=\"gritbook\"";
const BASIC: &str = "Basic realm=\"gritbook\", charset=\"UTF-8\"";

async fn identify(depot: &Depot, token: Option<&str>, challenge: &str) -> Result<Device, Problem> {
    let Some(token) = token else {
        return Err(Problem::new(401, "no_token", "the request carries no token", "enrol this device at the depot and send its token")
            .header(header::WWW_AUTHENTICATE, challenge));
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
                    "token_revoked",
                    "this device's token was taken away",
                    "enrol the device again; what it holds stays queued",
                ));
            }
            Ok(device)
        }
        _ => Err(refused("unknown_token", "the depot does not know this token", "check the token, or enrol the device again")),
    }
}

fn bearer(headers: &HeaderMap) -> Option<String> {
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

/// Someone who may read the pages: anybody where the depot's pages are open, else whoever has a token.
#[derive(Debug, Clone)]
pub(crate) struct Reader;

impl FromRequestParts<Depot> for Reader {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, depot: &Depot) -> Result<Self, Problem> {
        if depot.settings().page_open {
            // A web site could point its own name at 127.0.0.1 and read an open page through a visitor's browser.
            let host = parts.headers.get(header::HOST).and_then(|host| host.to_str().ok()).unwrap_or("localhost");
            if is_loopback_name(host) {
                return Ok(Self);
            }
            return Err(Problem::new(
                421,
                "other_host",
                "this depot answers pages under a loopback name only",
                "open it as http://127.0.0.1 or http://localhost",
            ));
        }
        let token = bearer(&parts.headers).or_else(|| basic_password(&parts.headers));
        identify(depot, token.as_deref(), BASIC).await.map(|_| Self)
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
    fn only_loopback_names_are_loopback() {
        for name in ["localhost", "LOCALHOST:80", "127.0.0.1", "127.3.2.1:8080", "[::1]:80", "[::1]"] {
            assert!(is_loopback_name(name), "{name}");
        }
        for name in ["localhost.example", "127.0.0.1.example", "10.0.0.1", "", "[fe80::1]"] {
            assert!(!is_loopback_name(name), "{name}");
        }
    }
}
