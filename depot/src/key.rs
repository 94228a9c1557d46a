//! What a depot is known by: the SHA-256 of its public key.
//!
//! The key and not the certificate: a certificate that expired or was made anew from the same key is the same depot.

use gritbook_core::ids::Sha256Hex;
use rustls::pki_types::CertificateDer;
use rustls::server::ParsedCertificate;

/// The SHA-256 of the DER of a certificate's SubjectPublicKeyInfo (RFC 5280 4.1.2.7), the same value as a pin of RFC 7469 2.4.
///
/// # Errors
/// Where the bytes are no X.509 version 3 certificate.
pub fn key_sha256(certificate: &CertificateDer<'_>) -> Result<Sha256Hex, rustls::Error> {
    Ok(Sha256Hex::of(&ParsedCertificate::try_from(certificate)?.subject_public_key_info()))
}
