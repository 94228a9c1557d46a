//! What the archive knows of devices besides their tokens: how far behind each is.

use chrono::{DateTime, Utc};
use gritbook_core::ids::Sha256Hex;
use gritbook_core::{CoreError, ErrorKind};

use super::Work;
use super::people::{Deed, Reached};

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
    /// Until when a token or code that was never used is good.
    pub first_use_by: Option<DateTime<Utc>>,
    /// When another device showed its code too, the first time.
    pub code_tried: Option<DateTime<Utc>>,
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

/// A device to let in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewDevice {
    /// What to call it.
    pub name: String,
    /// SHA-256 of the token that it is given; none where it makes its own.
    pub token_hash: Option<Sha256Hex>,
    /// SHA-256 of the code that it may show once with a token of its own; none where it gets none.
    pub code_hash: Option<Sha256Hex>,
    /// Until when either must have been used.
    pub first_use_by: Option<DateTime<Utc>>,
}

/// What came of a code that was shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Shown {
    /// The device of this name is in, under the token that it showed, now or before.
    In(String),
    /// No device has this code.
    Unknown,
    /// Its device is in under another token.
    Used,
    /// The token is another device's.
    TokenTaken,
    /// The code was not used in time.
    TooLate,
    /// The code's device was shut out.
    ShutOut,
}

/// Devices as an owner looks after them. Every change writes its audit row in the same transaction.
pub trait Devices {
    /// Lets a device in.
    ///
    /// # Errors
    /// `name_taken` where a device of that name is in already.
    fn let_in(&self, device: NewDevice, deed: Deed) -> Work<()>;

    /// A device shows its code and its own token. The first to show a code has it, unless the token that was given with it is in use
    /// already; that somebody else showed it too is noted once, in the audit as well.
    fn show_code(&self, code_hash: Sha256Hex, token_hash: Sha256Hex, now: DateTime<Utc>, reached: Reached) -> Work<Shown>;

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
