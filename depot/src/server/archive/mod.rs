//! What the depot remembers: devices, entries, and how far each photo has come.
//!
//! [`Archive`] is the seam between the routes and a database. Everything a method reports as done is durable before
//! its future ends. The bytes of photos are not here but on the [`super::shelf::Shelf`].

pub mod devices;
pub mod keeping;
pub mod people;
mod sqlite;

use std::future::Future;
use std::pin::Pin;

use chrono::{DateTime, Utc};
use gritbook_core::CoreError;
use gritbook_core::ids::{EntryId, PumpId, Sha256Hex};
use gritbook_core::wire::v1::Verdict;

pub use sqlite::SqliteArchive;
pub(in crate::server) use sqlite::backup;
pub(crate) use sqlite::storage_full;

/// What an archive's method returns: a future that owns its arguments, so that a backend may run it where it likes.
pub type Work<T> = Pin<Box<dyn Future<Output = Result<T, CoreError>> + Send>>;

/// An enrolled device, found by its token.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Device {
    /// The archive's own number for it.
    pub number: i64,
    /// The name given at enrolment.
    pub name: String,
    /// SHA-256 of its token.
    pub token_hash: Sha256Hex,
    /// True once the token was taken away.
    pub revoked: bool,
    /// When it asked last, to the minute.
    pub heard: Option<DateTime<Utc>>,
    /// Until when the token must have been used once; none: no such limit.
    pub first_use_by: Option<DateTime<Utc>>,
}

/// A stored photo.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PhotoRow {
    /// Its name.
    pub sha256: Sha256Hex,
    /// Size in bytes.
    pub bytes: u64,
    /// What its first bytes say it is.
    pub kind: PhotoKind,
}

/// What a photo's first bytes say it is. Anything else is kept too, but never drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PhotoKind {
    /// JPEG.
    Jpeg,
    /// PNG.
    Png,
    /// Neither.
    Other,
}

impl PhotoKind {
    /// The kind by the signature in the first bytes.
    pub fn of(start: &[u8]) -> Self {
        match start {
            [0xFF, 0xD8, 0xFF, ..] => Self::Jpeg,
            [0x89, b'P', b'N', b'G', 0x0D, 0x0A, 0x1A, 0x0A, ..] => Self::Png,
            _ => Self::Other,
        }
    }

    /// File name ending and database word.
    pub fn ending(self) -> &'static str {
        match self {
            Self::Jpeg => "jpg",
            Self::Png => "png",
            Self::Other => "bin",
        }
    }

    /// Media type.
    pub fn media_type(self) -> &'static str {
        match self {
            Self::Jpeg => "image/jpeg",
            Self::Png => "image/png",
            Self::Other => "application/octet-stream",
        }
    }
}

/// Where an upload stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UploadState {
    /// Bytes are still to come, or the whole was not yet checked.
    Open,
    /// Checked, named by its hash and durable.
    Stored,
    /// Ended by the client, expired, or refused as a whole.
    Gone,
}

/// One upload.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Upload {
    /// Its name in the address.
    pub id: String,
    /// Declared by the client, or computed once complete.
    pub sha256: Option<Sha256Hex>,
    /// True where the client declared `sha256`.
    pub declared: bool,
    /// `Upload-Metadata` as it came.
    pub metadata: String,
    /// Whole length, bytes.
    pub length: u64,
    /// Durable bytes.
    pub offset: u64,
    /// Where it stands.
    pub state: UploadState,
    /// When it is given up.
    pub expires: DateTime<Utc>,
}

/// A new upload as asked for.
#[derive(Debug, Clone)]
pub struct NewUpload {
    /// Its name.
    pub id: String,
    /// Declared hash.
    pub sha256: Option<Sha256Hex>,
    /// `Upload-Metadata` as it came.
    pub metadata: String,
    /// Whole length, bytes.
    pub length: u64,
    /// Device that asks.
    pub device: i64,
    /// When the asking came.
    pub now: DateTime<Utc>,
    /// When it is given up.
    pub expires: DateTime<Utc>,
}

/// What came of asking for an upload.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Creation {
    /// Made now, or made anew after the earlier one was gone. Any staged bytes of an earlier one are void.
    Created(Upload),
    /// The same upload was asked for before.
    Same(Upload),
    /// The name is taken by an upload of something else.
    Different,
}

/// A page of entries in the depot's order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EntryPage {
    /// Sealed texts.
    pub docs: Vec<String>,
    /// Number of the last one, or the number asked after where there is none.
    pub last: i64,
    /// True where more is waiting.
    pub more: bool,
}

/// The newest entries of one pump.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PumpPage {
    /// Which pump.
    pub pump: PumpId,
    /// The newest text that sets the pump's figures, where one has come.
    pub set: Option<String>,
    /// Sealed texts, newest first.
    pub newest: Vec<String>,
    /// How many entries the pump has in all.
    pub total: u64,
    /// Ids that later entries of this pump amend.
    pub amended: Vec<EntryId>,
}

/// One entry with what its page needs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EntryFound {
    /// Of which pump.
    pub pump: PumpId,
    /// The sealed text.
    pub doc: String,
    /// Ids that later entries of this pump amend.
    pub amended: Vec<EntryId>,
}

/// What is looked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EntriesWanted {
    /// Of these pumps.
    pub pumps: Vec<PumpId>,
    /// Of this kind, by the record's own word; none: of any.
    pub kind: Option<&'static str>,
    /// Written from here on, milliseconds since 1970 by hybrid time.
    pub from_ms: i64,
    /// Written before here.
    pub to_ms: i64,
    /// At most so many.
    pub limit: u32,
}

/// What a depot holds, counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Holdings {
    /// Entries.
    pub entries: u64,
    /// Pumps that have entries.
    pub pumps: u64,
    /// Devices that may deliver.
    pub devices: u64,
    /// Stored photos.
    pub photos: u64,
    /// Their bytes.
    pub photo_bytes: u64,
    /// Uploads that are not whole yet.
    pub uploads_open: u64,
    /// Bytes that they still lack.
    pub uploads_missing_bytes: u64,
    /// When the last entry came, milliseconds since 1970; None before the first.
    pub last_received_ms: Option<i64>,
}

/// The depot's memory. One implementation per database; the routes know only this.
pub trait Archive: people::People + devices::Devices + keeping::Keeping + Send + Sync {
    /// Lets a device in under `name`.
    ///
    /// # Errors
    /// `name_taken` where a device of that name is in already.
    fn enroll(&self, name: String, token_hash: Sha256Hex, now: DateTime<Utc>) -> Work<()>;

    /// Shuts a device out.
    ///
    /// # Errors
    /// `no_such_device`.
    fn revoke(&self, name: String, now: DateTime<Utc>) -> Work<()>;

    /// The device whose token has this hash, revoked or not.
    fn device(&self, token_hash: Sha256Hex) -> Work<Option<Device>>;

    /// Stores what can be stored of a batch, in order, in one transaction, and says what became of each.
    fn store_entries(&self, texts: Vec<String>, delivered_by: i64, now: DateTime<Utc>) -> Work<Vec<Verdict>>;

    /// Up to `limit` entries after number `after`, and no more than `max_bytes` of text unless the first alone is longer.
    fn entries_after(&self, after: i64, limit: u32, max_bytes: usize) -> Work<EntryPage>;

    /// Every pump with its newest entries, at most `newest` each; the pump with the newest entry first.
    fn pumps(&self, newest: u32) -> Work<Vec<PumpPage>>;

    /// One pump with its newest entries, at most `newest`; None where no entry of it has come.
    fn pump(&self, pump: PumpId, newest: u32) -> Work<Option<PumpPage>>;

    /// One pump with up to `rows` of its entries, newest first, after the `skip` newest; None where no entry of it has come.
    fn pump_part(&self, pump: PumpId, skip: u32, rows: u32) -> Work<Option<PumpPage>>;

    /// One entry.
    fn entry(&self, id: EntryId) -> Work<Option<EntryFound>>;

    /// Entries that are looked for, newest first.
    fn entries_wanted(&self, wanted: EntriesWanted) -> Work<Vec<(PumpId, String)>>;

    /// Every entry of a pump as it came, in the record's order: by hybrid time, then by device.
    fn entries_of(&self, pump: PumpId) -> Work<Vec<String>>;

    /// What the depot holds, counted.
    fn holdings(&self) -> Work<Holdings>;

    /// How many entries are here; of these pumps alone where some are named.
    fn entry_count(&self, pumps: Option<Vec<PumpId>>) -> Work<u64>;

    /// How many entries are known to exist (a later one of the same device is here) and have not come.
    fn entries_missing(&self) -> Work<u64>;

    /// Makes an upload, or finds the same one again. A photo that is here already, or was and is put away, makes a `Stored`
    /// upload at once.
    fn create_upload(&self, new: NewUpload) -> Work<Creation>;

    /// An upload by its name.
    fn upload(&self, id: String) -> Work<Option<Upload>>;

    /// Moves an open upload's durable offset.
    fn set_offset(&self, id: String, offset: u64, expires: DateTime<Utc>) -> Work<()>;

    /// Notes the computed hash of an upload that declared none.
    fn set_hash(&self, id: String, sha256: Sha256Hex) -> Work<()>;

    /// The photo is on the shelf: writes its row and closes the upload, in one transaction.
    fn finish_upload(&self, id: String, photo: PhotoRow, now: DateTime<Utc>) -> Work<()>;

    /// Gives an upload up.
    fn drop_upload(&self, id: String) -> Work<()>;

    /// Open uploads that nobody continued until `now`.
    fn expired_uploads(&self, now: DateTime<Utc>) -> Work<Vec<String>>;

    /// Gives an upload up where it is still open and expired before `now`; true where it was.
    fn expire_upload(&self, id: String, now: DateTime<Utc>) -> Work<bool>;

    /// Forgets uploads that were closed long before `now`.
    fn forget_closed_uploads(&self, now: DateTime<Utc>) -> Work<()>;

    /// A stored photo; none where it was put away.
    fn photo(&self, sha256: Sha256Hex) -> Work<Option<PhotoRow>>;

    /// Whether an entry of one of these pumps names this photo.
    fn photo_is_of(&self, sha256: Sha256Hex, pumps: Vec<PumpId>) -> Work<bool>;

    /// Sum of all stored photos and of what open uploads may still grow to, bytes.
    fn photo_bytes(&self) -> Work<u64>;

    /// Remembers a fact about the depot itself.
    fn remember(&self, name: &'static str, value: String) -> Work<()>;

    /// A remembered fact.
    fn recall(&self, name: &'static str) -> Work<Option<String>>;
}
