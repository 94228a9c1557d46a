//! The code that lets a device in.

use std::path::PathBuf;

use gritbook_core::fieldbook::PhotoInput;
use gritbook_core::outbox as core_outbox;

use crate::cross::{Cross as _, record};
use crate::error::FieldBookError;

record! {
    /// What a device keeps of an enrolment code.
    Enrolment = core_outbox::Admission {
        /// Address of the depot; null where the depot did not know it when it made the code.
        depot: Option<String>,
        /// What the depot calls this device.
        name: String,
        /// The bearer token of every request: a secret.
        token: String,
        /// To be shown with the first run of the outbox, until it was let in; null where the code held a token. A secret.
        code: Option<String>,
        /// SHA-256 of the depot's public key (DER of its SubjectPublicKeyInfo), 64 hexadecimal digits: send to no other. Null where
        /// the code carries none: then only to this device itself, or to a certificate that the phone trusts.
        key_sha256: Option<String>,
    }
}

/// Reads the enrolment code in a photo. `device_secret`: 32 or more bytes of the system's randomness that the device made once and
/// keeps to itself; of the same code it makes the same token again.
#[uniffi::export]
pub fn enrolment_of_photo(path: String, device_secret: Vec<u8>) -> Result<Enrolment, FieldBookError> {
    Ok(core_outbox::Enrolment::of_photo(&PhotoInput::Path(PathBuf::from(path)).read()?)?.kept_by(&device_secret)?.cross())
}

/// Reads the text of an enrolment code, for one that was typed or pasted. `device_secret` as for a photo.
#[uniffi::export]
pub fn enrolment_of_payload(payload: &str, device_secret: Vec<u8>) -> Result<Enrolment, FieldBookError> {
    Ok(core_outbox::Enrolment::of_payload(payload)?.kept_by(&device_secret)?.cross())
}
