//! Errors as `application/problem+json` (RFC 9457), with a stable `type` of `urn:gritbook:problem:<code>`.
//!
//! The client sees a plain sentence and what to do; the log sees the cause.

use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use gritbook_core::{CoreError, ErrorKind};
use serde_json::json;

/// One problem, ready to send.
#[derive(Debug)]
pub struct Problem {
    status: StatusCode,
    code: &'static str,
    reason: String,
    advice: String,
    headers: Vec<(HeaderName, HeaderValue)>,
    extra: serde_json::Map<String, serde_json::Value>,
}

impl Problem {
    /// A problem with a stable snake_case `code`, what was wrong and what to do.
    pub fn new(status: u16, code: &'static str, reason: impl Into<String>, advice: impl Into<String>) -> Self {
        Self {
            status: StatusCode::from_u16(status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR),
            code,
            reason: reason.into(),
            advice: advice.into(),
            headers: Vec::new(),
            extra: serde_json::Map::new(),
        }
    }

    /// With a header; one that cannot be written is left out.
    #[must_use]
    pub fn header(mut self, name: HeaderName, value: impl AsRef<str>) -> Self {
        if let Ok(value) = HeaderValue::from_str(value.as_ref()) {
            self.headers.push((name, value));
        }
        self
    }

    /// With an extension member.
    #[must_use]
    pub fn with(mut self, name: &str, value: impl Into<serde_json::Value>) -> Self {
        self.extra.insert(name.into(), value.into());
        self
    }

    /// The stable code.
    pub fn code(&self) -> &'static str {
        self.code
    }

    /// What a page says of it.
    pub(crate) fn told(&self) -> Told {
        Told { code: self.code, reason: self.reason.clone(), advice: self.advice.clone() }
    }

    /// The HTTP status.
    pub fn status(&self) -> u16 {
        self.status.as_u16()
    }
}

impl From<CoreError> for Problem {
    fn from(error: CoreError) -> Self {
        let status = match error.kind() {
            // What stands against it is how things are at the depot, not how it was asked.
            ErrorKind::Refused if ["name_taken", "last_owner"].contains(&error.code()) => 409,
            ErrorKind::Refused => 400,
            ErrorKind::NotFound => 404,
            ErrorKind::StorageFull => 507,
            ErrorKind::Storage if error.code() == "archive_busy" => 503,
            ErrorKind::NewerSchema | ErrorKind::Corrupt | ErrorKind::Storage | ErrorKind::Depot | ErrorKind::Internal => 500,
        };
        if status >= 500 {
            tracing::error!(code = error.code(), cause = %error, "request failed");
        }
        let problem = Self::new(status, error.code(), error.reason(), error.advice());
        if status == 503 || status == 507 { problem.header(header::RETRY_AFTER, if status == 503 { "1" } else { "60" }) } else { problem }
    }
}

/// What a page says of a problem, beside its document.
#[derive(Debug, Clone)]
pub(crate) struct Told {
    pub(crate) code: &'static str,
    pub(crate) reason: String,
    pub(crate) advice: String,
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let told = self.told();
        let mut document = json!({
            "type": format!("urn:gritbook:problem:{}", self.code),
            "title": self.code.replace('_', " "),
            "status": self.status.as_u16(),
            "detail": format!("{}; {}", self.reason, self.advice),
            "code": self.code,
            "reason": self.reason,
            "advice": self.advice,
        });
        if let Some(map) = document.as_object_mut() {
            map.extend(self.extra);
        }
        let mut response = (self.status, document.to_string()).into_response();
        let headers = response.headers_mut();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
        for (name, value) in self.headers {
            headers.append(name, value);
        }
        response.extensions_mut().insert(told);
        response
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn full_disk_is_507_and_says_when_to_try_again() {
        let error = CoreError::new(ErrorKind::StorageFull, "storage_full", "no room", "free some");
        let response = Problem::from(error).into_response();
        assert_eq!(response.status(), 507);
        assert_eq!(response.headers()["content-type"], "application/problem+json");
        assert_eq!(response.headers()["retry-after"], "60");
    }
}
