//! [`Transport`] over ureq: blocking, one request at a time, on the caller's thread.

use std::fs::File;
use std::io::{self, Read as _, Seek as _, SeekFrom};
use std::net::IpAddr;
use std::time::Duration;

use gritbook_core::ids::Sha256Hex;
use gritbook_core::outbox::{Answer, Body, Method, Request, Transport, TransportFault, TransportFaultKind};
use gritbook_core::{CoreError, ErrorKind};
use ureq::SendBody;
use ureq::http;
use ureq::unversioned::resolver::DefaultResolver;
use ureq::unversioned::transport::{Connector as _, TcpConnector};

use super::pinned::PinnedConnector;

/// Answers longer than this are refused; the outbox asks for pages that stay below it.
const LONGEST_ANSWER: u64 = 4 * 1024 * 1024;

/// How long to wait for what.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Patience {
    /// To reach the depot.
    pub connect: Duration,
    /// For the link to move any byte at all.
    pub silence: Duration,
    /// For the depot to answer once everything was sent: it may be checking 64 MB.
    pub answer: Duration,
}

impl Default for Patience {
    fn default() -> Self {
        Self { connect: Duration::from_secs(10), silence: Duration::from_secs(20), answer: Duration::from_secs(60) }
    }
}

/// Carries requests to one depot with one device's token.
pub struct HttpTransport {
    agent: ureq::Agent,
    pinned: bool,
    base: String,
    token: String,
}

impl std::fmt::Debug for HttpTransport {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // Never the token.
        f.debug_struct("HttpTransport").field("base", &self.base).finish_non_exhaustive()
    }
}

impl HttpTransport {
    /// A carrier to the depot at `url`, for example `https://depot.example` or `http://127.0.0.1:8470`. With `key_sha256` it sends to
    /// the depot that holds that key ([`key_sha256`](crate::key::key_sha256)) and to no other, whatever the certificate says; without
    /// it the certificate must be of a public authority.
    ///
    /// # Errors
    /// `bad_depot_url`, also for a key with an address that is not https; `depot_not_encrypted` for plain `http://` to anything but
    /// this machine; `bad_token`.
    pub fn new(url: &str, token: &str, key_sha256: Option<Sha256Hex>) -> Result<Self, CoreError> {
        Self::with_patience(url, token, key_sha256, Patience::default())
    }

    /// The same with other waiting times.
    ///
    /// # Errors
    /// As [`HttpTransport::new`].
    pub fn with_patience(url: &str, token: &str, key_sha256: Option<Sha256Hex>, patience: Patience) -> Result<Self, CoreError> {
        let base = url.trim_end_matches('/').to_owned();
        let bad =
            |reason: String| CoreError::refused("bad_depot_url", reason, "give it like https://depot.example or http://127.0.0.1:8470");
        let uri: http::Uri = base.parse().map_err(|cause| bad(format!("`{url}` is not an address")).because(cause))?;
        let host = uri.host().ok_or_else(|| bad(format!("`{url}` names no host")))?;
        if uri.query().is_some() {
            return Err(bad(format!("`{url}` carries a query")));
        }
        match uri.scheme_str() {
            Some("https") => {}
            Some("http") if is_this_machine(host) => {}
            Some("http") => {
                return Err(CoreError::refused(
                    "depot_not_encrypted",
                    "the depot's address is plain http:// to another machine: the token and the record would travel open",
                    "use https://: a depot that others can reach speaks TLS",
                ));
            }
            _ => return Err(bad(format!("`{url}` is neither http:// nor https://"))),
        }
        if token.is_empty() || !token.bytes().all(|byte| byte.is_ascii_graphic()) {
            return Err(CoreError::refused(
                "bad_token",
                "the token is empty or holds spaces or signs that no token has",
                "copy it again from the enrolment",
            ));
        }
        if key_sha256.is_some() && uri.scheme_str() != Some("https") {
            return Err(bad(format!("`{url}` is not https://, and only there a depot shows its key")));
        }
        let config = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .max_redirects(0)
            .max_redirects_will_error(false)
            .user_agent(concat!("gritbook/", env!("CARGO_PKG_VERSION")))
            .proxy(None)
            .timeout_connect(Some(patience.connect))
            .timeout_per_read(Some(patience.silence.max(patience.answer)))
            .timeout_per_write(Some(patience.silence))
            .timeout_recv_response(Some(patience.answer))
            .build();
        let agent = match key_sha256 {
            None => config.new_agent(),
            Some(key_sha256) => {
                let pinned = PinnedConnector::new(key_sha256).map_err(|cause| {
                    CoreError::new(ErrorKind::Internal, "no_tls", "this program cannot speak TLS", "report it").because(cause)
                })?;
                ureq::Agent::with_parts(config, ().chain(TcpConnector::default()).chain(pinned), DefaultResolver::default())
            }
        };
        Ok(Self { agent, pinned: key_sha256.is_some(), base, token: token.to_owned() })
    }

    fn carry_body(&self, request: http::Request<SendBody<'_>>) -> Result<Answer, TransportFault> {
        let response = self.agent.run(request).map_err(|error| self.fault(error))?;
        let (parts, body) = response.into_parts();
        let headers = parts
            .headers
            .iter()
            .map(|(name, value)| (name.as_str().to_owned(), String::from_utf8_lossy(value.as_bytes()).into_owned()))
            .collect();
        let body = body.into_with_config().limit(LONGEST_ANSWER).read_to_vec().map_err(|error| self.fault(error))?;
        Ok(Answer { status: parts.status.as_u16(), headers, body })
    }

    /// Whether the depot was reached decides between offline and cut; the outbox treats both alike, people do not.
    fn fault(&self, error: ureq::Error) -> TransportFault {
        use ureq::{Error, Timeout};
        if refused_certificate(&error) {
            let (kind, reason) = if self.pinned {
                (TransportFaultKind::WrongKey, "what answers at the depot's address does not hold the key that was enrolled".to_owned())
            } else {
                (TransportFaultKind::NotTrusted, format!("the depot's certificate is not trusted: {error}"))
            };
            return TransportFault { kind, reason };
        }
        let kind = match &error {
            Error::HostNotFound | Error::ConnectionFailed | Error::Timeout(Timeout::Resolve | Timeout::Connect) => {
                TransportFaultKind::Offline
            }
            Error::Io(cause) => match cause.kind() {
                io::ErrorKind::ConnectionRefused
                | io::ErrorKind::HostUnreachable
                | io::ErrorKind::NetworkUnreachable
                | io::ErrorKind::NetworkDown
                | io::ErrorKind::AddrNotAvailable => TransportFaultKind::Offline,
                _ => TransportFaultKind::Cut,
            },
            _ => TransportFaultKind::Cut,
        };
        let reason = match kind {
            TransportFaultKind::Offline => format!("the depot cannot be reached: {error}"),
            _ => format!("the link was cut: {error}"),
        };
        TransportFault { kind, reason }
    }
}

fn is_this_machine(host: &str) -> bool {
    let bare = host.trim_start_matches('[').trim_end_matches(']');
    bare.eq_ignore_ascii_case("localhost") || bare.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
}

fn method(method: Method) -> http::Method {
    match method {
        Method::Get => http::Method::GET,
        Method::Head => http::Method::HEAD,
        Method::Post => http::Method::POST,
        Method::Put => http::Method::PUT,
        Method::Patch => http::Method::PATCH,
        Method::Delete => http::Method::DELETE,
    }
}

/// Whether TLS was ended because of what the other side showed; other faults of TLS are faults of the link.
fn refused_certificate(error: &ureq::Error) -> bool {
    let tls = match error {
        ureq::Error::Rustls(cause) => Some(cause),
        ureq::Error::Io(cause) => cause.get_ref().and_then(|inner| inner.downcast_ref::<rustls::Error>()),
        _ => None,
    };
    matches!(tls, Some(rustls::Error::InvalidCertificate(_) | rustls::Error::NoCertificatesPresented))
}

/// A fault of this side: nothing was sent.
fn own_fault(reason: String) -> TransportFault {
    TransportFault { kind: TransportFaultKind::Cancelled, reason }
}

fn built(builder: http::request::Builder, body: SendBody<'_>) -> Result<http::Request<SendBody<'_>>, TransportFault> {
    builder.body(body).map_err(|cause| own_fault(format!("the request cannot be written: {cause}")))
}

impl Transport for HttpTransport {
    fn carry(&self, request: &Request) -> Result<Answer, TransportFault> {
        let mut builder = http::Request::builder()
            .method(method(request.method))
            .uri(format!("{}{}", self.base, request.path))
            .header("authorization", format!("Bearer {}", self.token));
        for (name, value) in &request.headers {
            builder = builder.header(name.as_str(), value.as_str());
        }
        match &request.body {
            // A POST, PUT or PATCH without a body says so: some servers insist on the length.
            Body::Empty if matches!(request.method, Method::Post | Method::Put | Method::Patch) => {
                self.carry_body(built(builder.header("content-length", "0"), SendBody::none())?)
            }
            Body::Empty => self.carry_body(built(builder, SendBody::none())?),
            Body::Bytes(bytes) => {
                let mut reader = bytes.as_slice();
                let builder = builder.header("content-length", bytes.len().to_string());
                self.carry_body(built(builder, SendBody::from_reader(&mut reader))?)
            }
            Body::File { path, offset, length } => {
                let opened = File::open(path).and_then(|mut file| file.seek(SeekFrom::Start(*offset)).map(|_| file.take(*length)));
                let mut reader = opened.map_err(|cause| own_fault(format!("the photo to send cannot be read: {cause}")))?;
                let builder = builder.header("content-length", length.to_string());
                self.carry_body(built(builder, SendBody::from_reader(&mut reader))?)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_http_is_taken_to_this_machine_only() {
        for url in ["http://127.0.0.1:1", "http://localhost:1/", "http://[::1]:1", "https://depot.example", "https://depot.example/under"] {
            assert!(HttpTransport::new(url, "t", None).is_ok(), "{url}");
        }
        for (url, code) in [
            ("http://10.0.0.1:1", "depot_not_encrypted"),
            ("http://depot.example", "depot_not_encrypted"),
            ("ftp://127.0.0.1", "bad_depot_url"),
            ("127.0.0.1:80", "bad_depot_url"),
            ("", "bad_depot_url"),
            ("https://depot.example/?a=b", "bad_depot_url"),
        ] {
            assert_eq!(HttpTransport::new(url, "t", None).unwrap_err().code(), code, "{url}");
        }
        assert_eq!(HttpTransport::new("https://depot.example", "a b", None).unwrap_err().code(), "bad_token");
        // A key that would not be asked for must not look as if it were.
        let key = Some(Sha256Hex::of(b"key"));
        assert!(HttpTransport::new("https://127.0.0.1:1", "t", key).is_ok());
        assert_eq!(HttpTransport::new("http://127.0.0.1:1", "t", key).unwrap_err().code(), "bad_depot_url");
    }

    #[test]
    fn nobody_listening_is_offline() {
        let free = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
        let transport = HttpTransport::new(&format!("http://{free}"), "t", None).unwrap();
        let request = Request { method: Method::Get, path: "/v1/entries".into(), headers: Vec::new(), body: Body::Empty };
        assert_eq!(transport.carry(&request).unwrap_err().kind, TransportFaultKind::Offline);
    }
}
