//! What the core asks a shell to carry.

use std::path::PathBuf;

/// HTTP methods that the outbox uses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Method {
    /// Ask for something.
    Get,
    /// Ask for headers only.
    Head,
    /// Create.
    Post,
    /// Store a batch.
    Put,
    /// Append to an upload. A carrier that cannot send it uses POST with `X-HTTP-Method-Override: PATCH`.
    Patch,
    /// End an upload.
    Delete,
}

/// The bytes of a request. Photos go as a part of a file, so that they never pass through the shell's memory.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Body {
    /// None.
    Empty,
    /// A batch of entries: at most 1 MiB.
    Bytes(Vec<u8>),
    /// `length` bytes of a file from `offset`.
    File {
        /// Inside the book's own folder.
        path: PathBuf,
        /// First byte.
        offset: u64,
        /// How many.
        length: u64,
    },
}

/// One request to make. The carrier adds `Authorization` and the depot's address.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Request {
    /// Method.
    pub method: Method,
    /// Path with query, below the depot's address; always starts with `/v1/`.
    pub path: String,
    /// Name and value, in the order to send.
    pub headers: Vec<(String, String)>,
    /// Body.
    pub body: Body,
}

/// What came back, whatever the status.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// HTTP status.
    pub status: u16,
    /// Names in lower case.
    pub headers: Vec<(String, String)>,
    /// At most 4 MiB.
    pub body: Vec<u8>,
}

impl Answer {
    /// The first header called `name` (lower case).
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(key, _)| key == name).map(|(_, value)| value.as_str())
    }
}

/// Why no answer came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum TransportFaultKind {
    /// No network, or the address does not answer.
    Offline,
    /// Cut or silent in the middle.
    Cut,
    /// The depot's key is not the one that was enrolled: nothing was sent.
    WrongKey,
    /// No key was enrolled, and the depot's certificate is not trusted, or its address is not encrypted: nothing was sent.
    NotTrusted,
    /// The person or the system stopped it.
    Cancelled,
}

/// No answer came.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{reason}")]
pub struct TransportFault {
    /// What kind of fault.
    pub kind: TransportFaultKind,
    /// In plain words.
    pub reason: String,
}

/// Carries one request and brings the answer. Called on the thread that runs the outbox, one request at a time.
pub trait Transport: Send + Sync {
    /// Makes the request. Follows no redirects. An HTTP error status is an answer, not a fault.
    ///
    /// # Errors
    /// A [`TransportFault`] where no complete answer came.
    fn carry(&self, request: &Request) -> Result<Answer, TransportFault>;
}
