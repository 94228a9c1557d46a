//! People: who may sign in at the pages, how a password is kept, how a session lives, and what is held against guessing.
//!
//! ```text
//! sign-in form ──► backoff (may this be tried now?) ──► password (argon2id) ──► session (cookie) ──► pages
//! every form   ──► forms (same site, and the session's own token)
//! ```
//!
//! | what | how long or how many |
//! |---|---|
//! | session | 2 h without a page, 12 h in all; ends at once with a new password, another role's pages at once with the role |
//! | wrong passwords | five in a row are free, then the wait doubles from 5 s: to 1 min for a name, to 15 min for an address |
//! | audit | 400 days |
//!
//! An unknown name and a wrong password get the same words after the same work. What the depot keeps of a session is the
//! SHA-256 of its cookie: 256 random bits need no slow hash.

pub(crate) mod backoff;
pub(crate) mod forms;
mod password;
pub(crate) mod session;

use gritbook_core::CoreError;

use super::archive::people::Role;
pub use password::{generate, matches, nobody, seal};

/// Words of the audit for what was done; the pages have each in both languages.
pub const DEEDS: &[&str] = &[
    "person_added",
    "person_removed",
    "made_mechanic",
    "made_office",
    "made_owner",
    "password_changed",
    "signed_in",
    "sign_in_refused",
    "signed_out",
    "device_enrolled",
    "device_let_in",
    "code_tried_again",
    "device_revoked",
    "put_back",
    "photos_put_away",
    "fleet_seen",
    "pump_seen",
    "entry_seen",
    "photo_seen",
    "search_made",
    "report_made",
    "record_exported",
    "devices_seen",
    "people_seen",
    "audit_seen",
];

/// The audit's word for giving someone this role.
pub fn made(role: Role) -> &'static str {
    match role {
        Role::Mechanic => "made_mechanic",
        Role::Office => "made_office",
        Role::Owner => "made_owner",
    }
}

/// A name of a person or device: 1 to 60 printable characters, without spaces at its ends.
///
/// # Errors
/// `bad_name`.
pub fn checked_name(name: &str) -> Result<String, CoreError> {
    let name = name.trim();
    let count = name.chars().count();
    if count == 0 || count > 60 || name.chars().any(char::is_control) {
        return Err(CoreError::refused(
            "bad_name",
            format!("the name has {count} characters or holds signs that cannot be printed"),
            "use 1 to 60 printable characters",
        ));
    }
    Ok(name.to_owned())
}
