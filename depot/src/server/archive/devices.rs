//! What the archive knows of devices besides their tokens: how far behind each is.

use chrono::{DateTime, Utc};
use gritbook_core::ids::Sha256Hex;
use gritbook_core::{CoreError, ErrorKind};

use super::Work;
use super::people::Deed;

/// No device of this name is in.
pub(crate) fn no_such_device(name: &str) -> CoreError {
    CoreError::new(
        ErrorKind::NotFound,
        "no_such_device",
        format!("no device called `{name}` is enrolled"),
        "use the name as it was given at enrolment",
    )
}

/// A device as the owner's page shows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeviceStanding {
    /// The archive's own number.
    pub number: i64,
    /// The name given at enrolment.
    pub name: String,
    /// When it was let in.
    pub enrolled: DateTime<Utc>,
    /// When it asked last, to the minute.
    pub heard: Option<DateTime<Utc>>,
    /// Until when a token that was never used is good.
    pub first_use_by: Option<DateTime<Utc>>,
    /// Entries it delivered, its own and relayed ones.
    pub entries: u64,
    /// Milliseconds between the writing and the arrival of the entry that it delivered last.
    pub lag_ms: Option<i64>,
    /// Entries known to exist on the phone whose later ones it delivered, that have not come.
    pub entries_missing: u64,
    /// Photos on their way from it.
    pub uploads_open: u64,
    /// Bytes that they still lack.
    pub bytes_missing: u64,
}

/// Devices as an owner looks after them. Every change writes its audit row in the same transaction.
pub trait Devices {
    /// Lets a device in under `name`; its token must be used before `first_use_by`, where that is given.
    ///
    /// # Errors
    /// `name_taken` where a device of that name is in already.
    fn let_in(&self, name: String, token_hash: Sha256Hex, first_use_by: Option<DateTime<Utc>>, deed: Deed) -> Work<()>;

    /// Shuts a device out at once.
    ///
    /// # Errors
    /// `no_such_device`.
    fn shut_out(&self, name: String, deed: Deed) -> Work<()>;

    /// Notes that a device asked.
    fn heard(&self, number: i64, now: DateTime<Utc>) -> Work<()>;

    /// Every device that may deliver, by name.
    fn standings(&self) -> Work<Vec<DeviceStanding>>;
}
