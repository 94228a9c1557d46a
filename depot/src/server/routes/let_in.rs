//! `POST /v1/enrolment`: a device shows its code, with the token that it made as its bearer.
//!
//! The code is good once. The same code with the same token is the same device whose answer was lost; with another token it is
//! somebody else, who is refused, and the owner is told.

use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse as _, Response};
use gritbook_core::ids::Sha256Hex;
use gritbook_core::wire::v1::{CODE_REVOKED, CODE_SCHEMA, CODE_TOO_LATE, CODE_USED, CodeShown, LET_IN_SCHEMA, LetIn, UNKNOWN_CODE};

use super::super::archive::devices::Shown;
use super::super::auth::{bearer, no_token, token_hash};
use super::super::peer::Caller;
use super::super::{Depot, Problem};

/// A code and its schema are a hundred bytes.
const MOST_BYTES: usize = 4096;
/// 256 bits in base64.
const LEAST_TOKEN: usize = 43;

pub(super) async fn show(State(depot): State<Depot>, caller: Caller, headers: HeaderMap, body: Body) -> Result<Response, Problem> {
    let token = bearer(&headers).ok_or_else(no_token)?;
    let bytes = axum::body::to_bytes(body, MOST_BYTES).await.map_err(|_| {
        Problem::new(413, "too_large", format!("the body is larger than {MOST_BYTES} bytes, or was cut off"), "send the code alone")
    })?;
    let CodeShown { schema, code } = serde_json::from_slice(&bytes).map_err(|cause| {
        Problem::new(
            400,
            "wrong_shape",
            format!("the body is no code: {cause}"),
            "send {\"schema\": \"gritbook.code/1\", \"code\": \"...\"}",
        )
    })?;
    if schema != CODE_SCHEMA {
        return Err(Problem::new(
            400,
            "wrong_schema",
            format!("the body has another schema than `{CODE_SCHEMA}`"),
            "update the older of device and depot",
        ));
    }
    // The device makes it, and the depot takes it for as good as one of its own.
    if token.len() < LEAST_TOKEN || token.len() > 200 {
        return Err(Problem::new(
            400,
            "bad_token",
            format!("the token has {} characters", token.len()),
            "make one of at least 256 random bits, 43 to 200 characters",
        ));
    }
    match depot.archive().show_code(Sha256Hex::of(code.as_bytes()), token_hash(&token), depot.now(), caller.reached()).await? {
        Shown::In(name) => {
            let told = serde_json::to_string(&LetIn { schema: LET_IN_SCHEMA.to_owned(), name })
                .map_err(|_| Problem::new(500, "fault", "the answer could not be written", "report this"))?;
            Ok(([(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-store")], told).into_response())
        }
        Shown::Unknown => Err(Problem::new(404, UNKNOWN_CODE, "the depot does not know this code", "show a new code at the depot")),
        Shown::Used => Err(Problem::new(
            409,
            CODE_USED,
            "another device used this code, or the token that was shown with it",
            "shut that device out at the depot if it is not yours, and show a new code",
        )),
        Shown::TokenTaken => Err(Problem::new(409, "token_taken", "this token is another device's", "make a token for this code alone")),
        Shown::TooLate => {
            Err(Problem::new(410, CODE_TOO_LATE, "this code was not used in time after it was shown", "show a new code at the depot"))
        }
        Shown::ShutOut => Err(Problem::new(410, CODE_REVOKED, "the device of this code was shut out", "show a new code at the depot")),
    }
}
