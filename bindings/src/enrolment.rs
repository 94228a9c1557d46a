//! The code that lets a device in.

use std::path::PathBuf;

use gritbook_core::fieldbook::PhotoInput;
use gritbook_core::outbox as core_outbox;

use crate::cross::{Cross as _, record};
use crate::error::FieldBookError;

record! {
    /// Where a device sends to, and by what right.
    Enrolment = core_outbox::Enrolment {
        /// The kind of code.
        kind: String,
        /// Address of the depot; null where the depot did not know it when it made the code.
        depot: Option<String>,
        /// What the depot calls this device.
        name: String,
        /// The bearer token: a secret.
        token: String,
        /// SHA-256 of the depot's public key (DER of its SubjectPublicKeyInfo), 64 hexadecimal digits: send to no other. Null where
        /// the code carries none: then only to this device itself, or to a certificate that the phone trusts.
        key_sha256: Option<String>,
    }
}

/// Reads the enrolment code in a photo.
#[uniffi::export]
pub fn enrolment_of_photo(path: String) -> Result<Enrolment, FieldBookError> {
    Ok(core_outbox::Enrolment::of_photo(&PhotoInput::Path(PathBuf::from(path)).read()?)?.cross())
}

/// Reads the text of an enrolment code, for one that was typed or pasted.
#[uniffi::export]
pub fn enrolment_of_payload(payload: &str) -> Result<Enrolment, FieldBookError> {
    Ok(core_outbox::Enrolment::of_payload(payload)?.cross())
}
