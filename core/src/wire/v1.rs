//! Version 1 of what goes between phone and depot.
//!
//! Entries travel verbatim ([`serde_json::value::RawValue`]): their hash is over the exact text.

use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;

use crate::ids::{EntryId, Sha256Hex};

/// Schema of a batch and of a page of entries.
pub const ENTRIES_SCHEMA: &str = "gritbook.entries/1";

/// Schema of the verdicts on a batch.
pub const VERDICTS_SCHEMA: &str = "gritbook.verdicts/1";

/// Where entries are sent to and read from.
pub const ENTRIES_PATH: &str = "/v1/entries";

/// Header of the depot's answers about entries: the largest batch it takes, bytes.
pub const MAX_BATCH_BYTES_HEADER: &str = "gritbook-max-batch-bytes";

/// Header of the depot's answers about entries: the largest batch it takes, entries.
pub const MAX_BATCH_ENTRIES_HEADER: &str = "gritbook-max-batch-entries";

/// Where a device shows its enrolment code, once, with the token that it made as its bearer.
pub const LET_IN_PATH: &str = "/v1/enrolment";

/// Schema of a code that is shown.
pub const CODE_SCHEMA: &str = "gritbook.code/1";

/// Schema of the answer to it.
pub const LET_IN_SCHEMA: &str = "gritbook.let_in/1";

/// Why a depot does not take a code, as its problem says: another device used it.
pub const CODE_USED: &str = "code_used";
/// It was not used in time.
pub const CODE_TOO_LATE: &str = "code_too_late";
/// Its device was shut out.
pub const CODE_REVOKED: &str = "code_revoked";
/// The depot made no such code.
pub const UNKNOWN_CODE: &str = "unknown_code";

/// Why a depot does not take a token, as its problem says: it was taken away.
pub const TOKEN_REVOKED: &str = "token_revoked";
/// The depot knows no such token.
pub const UNKNOWN_TOKEN: &str = "unknown_token";

/// Where a photo's upload is created (tus 1.0.0).
pub const PHOTOS_PATH: &str = "/v1/photos";

/// Key in `Upload-Metadata`: the photo's SHA-256, 64 hex digits. As every value there it is base64 on the wire.
pub const UPLOAD_META_SHA256: &str = "sha256";

/// Key in `Upload-Metadata`: the upload's id, a UUID made by the device. A create with a known id and the same SHA-256
/// answers 201 with the first create's `Location` and its `Upload-Offset`; with another SHA-256 409.
pub const UPLOAD_META_ID: &str = "upload_id";

/// Key in `Upload-Metadata`: `image/jpeg` or `image/png`.
pub const UPLOAD_META_TYPE: &str = "filetype";

/// `POST /v1/enrolment`: the code. The answer is a [`LetIn`], also where the same code was shown with the same token before.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct CodeShown {
    /// Always `gritbook.code/1`.
    pub schema: String,
    /// As in the enrolment code.
    pub code: String,
}

/// The device is in, under the token that it showed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct LetIn {
    /// Always `gritbook.let_in/1`.
    pub schema: String,
    /// What the depot calls it.
    pub name: String,
}

/// `PUT /v1/entries`: a batch. JSON: `{"schema": "gritbook.entries/1", "entries": [...]}`.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct EntriesBatch {
    /// Always `gritbook.entries/1`.
    pub schema: String,
    /// Sealed entries, oldest first.
    pub entries: Vec<Box<RawValue>>,
}

/// The answer to a batch: one verdict per entry, in the order of the batch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Verdicts {
    /// Always `gritbook.verdicts/1`.
    pub schema: String,
    /// One per entry.
    pub verdicts: Vec<Verdict>,
}

/// What became of one entry.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Verdict {
    /// Which entry; null where it could not be read.
    pub id: Option<EntryId>,
    /// The hash of the text that arrived.
    pub hash: Sha256Hex,
    /// Stored, already there, refused.
    #[serde(flatten)]
    pub outcome: VerdictOutcome,
}

/// Stored, already there, refused. JSON: `"verdict": "stored"`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(tag = "verdict", rename_all = "snake_case")]
pub enum VerdictOutcome {
    /// Durable at the depot now.
    Stored,
    /// The same text was there before.
    AlreadyThere,
    /// Not stored; sending it again changes nothing.
    Refused {
        /// Stable code.
        code: String,
        /// What was wrong.
        reason: String,
        /// What to do.
        advice: String,
    },
}

/// `GET /v1/entries`: a page in the depot's own total order.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct EntriesPage {
    /// Always `gritbook.entries/1`.
    pub schema: String,
    /// Sealed entries in the depot's order.
    pub entries: Vec<Box<RawValue>>,
    /// Ask for what comes after this.
    pub cursor: String,
    /// True where more is waiting.
    pub more: bool,
}

/// `application/problem+json` (RFC 9457).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Problem {
    /// `urn:gritbook:problem:<code>`.
    #[serde(rename = "type")]
    pub kind: String,
    /// Short name of the problem.
    pub title: String,
    /// HTTP status.
    pub status: u16,
    /// What was wrong and what to do.
    #[serde(default)]
    pub detail: String,
}
