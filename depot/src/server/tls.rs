//! The depot's key and certificate.
//!
//! ```text
//! tls/key.pem           made at the first start, for its owner alone (0600)
//! tls/certificate.pem   made from that key where it is missing
//! ```
//!
//! Devices know the depot by its key ([`key_sha256`]), so a certificate may be made anew at any time: delete `certificate.pem` and
//! start the depot. Another key is another depot: every device has to be enrolled anew.

use std::fs;
use std::io::{self, Write as _};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::{DateTime, Datelike as _, Days, Utc};
use gritbook_core::ids::Sha256Hex;
use gritbook_core::{CoreError, ErrorKind};
use rcgen::{CertificateParams, DnType, KeyPair, SanType};
use rustls::ServerConfig;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use tokio_rustls::TlsAcceptor;

use super::shelf::file_error;
use crate::key::key_sha256;

/// A certificate of our own making is good for so long. Devices do not ask its date.
const YEARS: i32 = 20;

/// Whether and with which key the depot speaks TLS.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum Tls {
    /// Plain HTTP: for loopback, or behind a proxy that speaks TLS.
    #[default]
    Off,
    /// With the key in the data folder, made where it is missing.
    OwnKey,
    /// With a certificate (its chain after it) and its key in PEM files.
    Files {
        /// The certificate.
        certificate: PathBuf,
        /// Its private key.
        key: PathBuf,
    },
}

/// Takes connections in TLS, under a key that is known.
pub(crate) struct Encryption {
    pub(crate) acceptor: TlsAcceptor,
    pub(crate) key_sha256: Sha256Hex,
}

impl Tls {
    /// Reads or makes what is needed; none where TLS is off. Blocks.
    ///
    /// # Errors
    /// `bad_certificate` where a file cannot be read, holds no certificate or key, or the two do not belong together; `storage_full`,
    /// `shelf_failed` where the own key cannot be written.
    pub(crate) fn prepare(&self, data: &Path, listen: IpAddr, now: DateTime<Utc>) -> Result<Option<Encryption>, CoreError> {
        match self {
            Self::Off => Ok(None),
            Self::OwnKey => {
                let folder = data.join("tls");
                let (certificate, key) = own_files(&folder, listen, now)?;
                load(&certificate, &key).map(Some)
            }
            Self::Files { certificate, key } => load(certificate, key).map(Some),
        }
    }
}

fn bad(path: &Path, what: &str) -> CoreError {
    CoreError::refused(
        "bad_certificate",
        format!("`{}` {what}", path.display()),
        "give a certificate and its unencrypted private key, both as PEM files that the depot may read",
    )
}

fn load(certificate: &Path, key: &Path) -> Result<Encryption, CoreError> {
    let read = |path: &Path| fs::read(path).map_err(|cause| bad(path, "cannot be read").because(cause));
    let chain: Vec<CertificateDer<'static>> = CertificateDer::pem_slice_iter(&read(certificate)?)
        .collect::<Result<_, _>>()
        .map_err(|cause| bad(certificate, "is no PEM file of certificates").because(cause))?;
    let first = chain.first().ok_or_else(|| bad(certificate, "holds no certificate"))?;
    let key_sha256 = key_sha256(first).map_err(|cause| bad(certificate, "holds a certificate that cannot be read").because(cause))?;
    let private = PrivateKeyDer::from_pem_slice(&read(key)?).map_err(|cause| bad(key, "holds no private key").because(cause))?;
    let mut config = ServerConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
        .with_safe_default_protocol_versions()
        .map(|builder| builder.with_no_client_auth())
        .and_then(|builder| builder.with_single_cert(chain, private))
        .map_err(|cause| bad(key, "is not the key of the certificate, or of a kind that is not known").because(cause))?;
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(Encryption { acceptor: TlsAcceptor::from(Arc::new(config)), key_sha256 })
}

/// Where the own certificate and key lie, made where they are missing.
fn own_files(folder: &Path, listen: IpAddr, now: DateTime<Utc>) -> Result<(PathBuf, PathBuf), CoreError> {
    let tried = "keeping the depot's key";
    let (certificate_path, key_path) = (folder.join("certificate.pem"), folder.join("key.pem"));
    super::make_private(folder)?;
    let (key, key_is_new) = match fs::read_to_string(&key_path) {
        Ok(text) => {
            keep_private(&key_path).map_err(|cause| file_error(tried, cause))?;
            (KeyPair::from_pem(&text).map_err(|cause| bad(&key_path, "holds no private key").because(cause))?, false)
        }
        Err(cause) if cause.kind() == io::ErrorKind::NotFound => (KeyPair::generate().map_err(not_made)?, true),
        Err(cause) => return Err(file_error(tried, cause)),
    };
    if key_is_new {
        write_private(&key_path, &key.serialize_pem()).map_err(|cause| file_error(tried, cause))?;
    }
    if key_is_new || !certificate_path.exists() {
        let certificate = own_certificate(&key, listen, now).map_err(not_made)?;
        write_private(&certificate_path, &certificate).map_err(|cause| file_error(tried, cause))?;
    }
    Ok((certificate_path, key_path))
}

fn not_made(cause: rcgen::Error) -> CoreError {
    CoreError::new(ErrorKind::Internal, "no_key", "the depot's key or certificate could not be made", "try again").because(cause)
}

/// Names and dates are for people who look at it: devices ask for the key only.
fn own_certificate(key: &KeyPair, listen: IpAddr, now: DateTime<Utc>) -> Result<String, rcgen::Error> {
    let mut params = CertificateParams::new(vec!["localhost".to_owned()])?;
    let addresses = [IpAddr::V4(Ipv4Addr::LOCALHOST), IpAddr::V6(Ipv6Addr::LOCALHOST), listen];
    params.subject_alt_names.extend(addresses.into_iter().filter(|address| !address.is_unspecified()).map(SanType::IpAddress));
    params.distinguished_name.push(DnType::CommonName, "Gritbook depot");
    // A clock may be some hours off, and the day after February 28 is not in every year.
    let from = now.checked_sub_days(Days::new(1)).unwrap_or(now);
    let day = |year| rcgen::date_time_ymd(year, from.month() as u8, from.day().min(28) as u8);
    params.not_before = day(from.year());
    params.not_after = day(from.year() + YEARS);
    Ok(params.self_signed(key)?.pem())
}

/// Writes a file that only its owner may read; whole or not at all.
fn write_private(path: &Path, text: &str) -> io::Result<()> {
    let fresh = path.with_extension("new");
    let mut options = fs::OpenOptions::new();
    options.write(true).create(true).truncate(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt as _;
        options.mode(0o600);
    }
    let mut file = options.open(&fresh)?;
    // One that was left over may have been opened to others since.
    keep_private(&fresh)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    fs::rename(&fresh, path)?;
    #[cfg(unix)]
    if let Some(folder) = path.parent() {
        fs::File::open(folder)?.sync_all()?;
    }
    Ok(())
}

/// Takes a file away from everyone but its owner, and says so where others could read it.
fn keep_private(path: &Path) -> io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        let mode = fs::metadata(path)?.permissions().mode();
        if mode & 0o077 != 0 {
            tracing::warn!("{} could be read by others; it was closed to them", path.display());
            fs::set_permissions(path, fs::Permissions::from_mode(0o600))?;
        }
    }
    #[cfg(not(unix))]
    let _ = path;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const HERE: IpAddr = IpAddr::V4(Ipv4Addr::LOCALHOST);

    fn at(year: i32) -> DateTime<Utc> {
        format!("{year}-03-01T00:30:00Z").parse().unwrap()
    }

    fn key_of(data: &Path, now: DateTime<Utc>) -> Sha256Hex {
        Tls::OwnKey.prepare(data, HERE, now).unwrap().unwrap().key_sha256
    }

    #[test]
    fn own_key_is_made_once_and_outlives_its_certificate() {
        let folder = tempfile::tempdir().unwrap();
        let first = key_of(folder.path(), at(2026));
        assert_eq!(key_of(folder.path(), at(2027)), first);
        let certificate = folder.path().join("tls/certificate.pem");
        let before = fs::read(&certificate).unwrap();
        fs::remove_file(&certificate).unwrap();
        assert_eq!(key_of(folder.path(), at(2040)), first);
        assert_ne!(fs::read(&certificate).unwrap(), before);
        fs::remove_file(folder.path().join("tls/key.pem")).unwrap();
        assert_ne!(key_of(folder.path(), at(2027)), first);
    }

    #[cfg(unix)]
    #[test]
    fn key_is_its_owners_alone_also_where_it_was_opened_to_others() {
        use std::os::unix::fs::PermissionsExt as _;
        let folder = tempfile::tempdir().unwrap();
        key_of(folder.path(), at(2026));
        let key = folder.path().join("tls/key.pem");
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
        assert_eq!((mode(&key), mode(&folder.path().join("tls"))), (0o600, 0o700));
        fs::set_permissions(&key, fs::Permissions::from_mode(0o644)).unwrap();
        key_of(folder.path(), at(2026));
        assert_eq!(mode(&key), 0o600);
    }

    #[test]
    fn files_that_do_not_fit_are_refused_by_name() {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name);
        for name in ["one", "two"] {
            key_of(&path(name), at(2026));
        }
        fs::write(path("text.pem"), "no certificate").unwrap();
        let (certificate, key) = ("one/tls/certificate.pem", "one/tls/key.pem");
        let load = |certificate: &str, key: &str| {
            Tls::Files { certificate: path(certificate), key: path(key) }.prepare(folder.path(), HERE, at(2026))
        };
        assert_eq!(load(certificate, key).unwrap().unwrap().key_sha256, key_of(&path("one"), at(2026)));
        for (certificate, key, named) in [
            ("none.pem", key, "none.pem"),
            ("text.pem", key, "text.pem"),
            (key, key, key),
            (certificate, "text.pem", "text.pem"),
            (certificate, certificate, certificate),
            (certificate, "two/tls/key.pem", "two/tls/key.pem"),
        ] {
            let Err(error) = load(certificate, key) else { panic!("{certificate} with {key} was taken") };
            assert_eq!(error.code(), "bad_certificate");
            assert!(error.reason().contains(named), "{error}");
        }
    }
}
