//! `gritbook depot`: runs the receiving side until Ctrl-C or SIGTERM.

use std::net::SocketAddr;
use std::path::PathBuf;

use super::{Failure, Run, say};
use crate::server::{Settings, Tls, start};

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example: gritbook depot --data depot-data

         gritbook depot --data depot-data --listen 0.0.0.0:8470

The first listens on this machine only, in plain HTTP, and its page is open to whoever sits at it. On an address that
others can reach it speaks TLS with a key of its own, made at the first start and kept in DIR/tls. Its enrolment codes
hold that key's SHA-256: an enrolled device sends to this key and to no other. Keep DIR/tls/key.pem private and in the
backup: with another key every device must be enrolled anew. A new certificate from the same key changes nothing.

--behind-tls-proxy instead leaves encryption to a proxy in front of the depot. It means: whoever can read what passes
between the proxy and the depot reads tokens and records; devices then trust the proxy's certificate by its public
authority, not by a key; and the page asks for a device's token as password.")]
pub struct Args {
    /// Folder for the archive and the photos; made where it is missing.
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// Address and port to listen on; port 0 takes a free one.
    #[arg(long, value_name = "ADDR", default_value = "127.0.0.1:8470")]
    listen: SocketAddr,
    /// TLS ends at a proxy in front of the depot, which itself speaks plain HTTP: see below.
    #[arg(long, conflicts_with_all = ["tls", "tls_cert"])]
    behind_tls_proxy: bool,
    /// Speak TLS on loopback too.
    #[arg(long)]
    tls: bool,
    /// A certificate of one's own, its chain after it (PEM). Devices still know the depot by its key.
    #[arg(long, value_name = "FILE", requires = "tls_key")]
    tls_cert: Option<PathBuf>,
    /// The private key of --tls-cert, not encrypted (PEM).
    #[arg(long, value_name = "FILE", requires = "tls_cert")]
    tls_key: Option<PathBuf>,
    /// Room for photos in megabytes; without it as much as the disk has.
    #[arg(long, value_name = "MB")]
    photo_room: Option<u64>,
}

impl Run for Args {
    fn run(self) -> Result<(), Failure> {
        let filter = tracing_subscriber::EnvFilter::try_from_env("GRITBOOK_LOG").unwrap_or_else(|_| "info".into());
        // A second subscriber in one process is refused; the first one goes on.
        let _ = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).with_ansi(false).try_init();
        let tls = match (self.tls_cert, self.tls_key) {
            (Some(certificate), Some(key)) => Tls::Files { certificate, key },
            _ if self.tls || !(self.listen.ip().is_loopback() || self.behind_tls_proxy) => Tls::OwnKey,
            _ => Tls::Off,
        };
        let settings = Settings {
            tls,
            page_open: self.listen.ip().is_loopback() && !self.behind_tls_proxy,
            photo_quota_bytes: self.photo_room.map(|mb| mb.saturating_mul(1_000_000)),
            ..Settings::default()
        };
        let depot = start(&self.data, self.listen, settings, true)?;
        say(format_args!("depot ready at {}", depot.url()));
        if let Some(key) = depot.key_sha256() {
            say(format_args!("key sha256 {key}"));
        }
        if self.listen.ip().is_unspecified() {
            say("enroll devices with --depot and the name or address by which they reach this machine");
        }
        depot.wait();
        Ok(())
    }
}
