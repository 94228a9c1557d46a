//! `gritbook depot`: runs the receiving side until Ctrl-C or SIGTERM; with a verb, backs it up or puts a backup back.

use std::io::Write as _;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::time::Duration;

use super::backup::Verb;
use super::{Failure, Run};
use crate::server::keeping::LEAST_DAYS;
use crate::server::{Places, Settings, Tls, start};

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true)]
#[command(after_help = "\
Example: gritbook depot --data depot-data

         gritbook depot --data depot-data --listen 0.0.0.0:8470

The first listens on this machine only, in plain HTTP, and its pages are open to whoever sits at it until the first
person is added: gritbook people add --data depot-data --name NAME --role owner. From then on people sign in. On an address that
others can reach it speaks TLS with a key of its own, made at the first start and kept in DIR/tls. Its enrolment codes
hold that key's SHA-256: an enrolled device sends to this key and to no other. Keep DIR/tls/key.pem private and in the
backup: with another key every device must be enrolled anew. A new certificate from the same key changes nothing.

--database and --photos are told once: DIR/places.json remembers them for every command that is given DIR.

--behind-tls-proxy instead leaves encryption to a proxy in front of the depot. It means: whoever can read what passes
between the proxy and the depot reads tokens and records; devices then trust the proxy's certificate by its public
authority, not by a key; people sign in on loopback too; and X-Forwarded-For, as that proxy writes it, says who asks.")]
pub struct Args {
    #[command(subcommand)]
    verb: Option<Verb>,
    /// Folder for the archive and the photos; made where it is missing.
    #[arg(long, value_name = "DIR", required = true)]
    data: Option<PathBuf>,
    /// Address and port to listen on; port 0 takes a free one.
    #[arg(long, value_name = "ADDR", default_value = "127.0.0.1:8470")]
    listen: SocketAddr,
    /// Where the database lies, told at the first start: sqlite:PATH. Without it depot.sqlite in DIR.
    #[arg(long, value_name = "URL")]
    database: Option<String>,
    /// Where the photos lie, told at the first start: file:PATH. Without it DIR.
    #[arg(long, value_name = "URL")]
    photos: Option<String>,
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
    /// Keep photos this many days, then put them away: entries stay, and so do the photos of each pump's 60 newest entries. A
    /// photo's file goes a day after it was put away; until then a start without this option takes it back. Without it photos
    /// are kept for good.
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(u64).range(LEAST_DAYS..=36_500))]
    keep_photos: Option<u64>,
    /// Requests a minute that one token may make; one address may make four times as many.
    #[arg(long, value_name = "N", default_value_t = 60_000, value_parser = clap::value_parser!(u32).range(1..=1_000_000))]
    requests_per_minute: u32,
}

impl Run for Args {
    fn json(&self) -> bool {
        self.verb.as_ref().is_some_and(Verb::json)
    }

    fn run(self) -> Result<(), Failure> {
        if let Some(verb) = self.verb {
            return verb.run();
        }
        // Without a verb the arguments ask for it.
        let data = self.data.unwrap_or_default();
        let filter = tracing_subscriber::EnvFilter::try_from_env("GRITBOOK_LOG").unwrap_or_else(|_| "info".into());
        // A second subscriber in one process is refused; the first one goes on.
        let _ = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).with_ansi(false).try_init();
        let tls = match (self.tls_cert, self.tls_key) {
            (Some(certificate), Some(key)) => Tls::Files { certificate, key },
            _ if self.tls || !(self.listen.ip().is_loopback() || self.behind_tls_proxy) => Tls::OwnKey,
            _ => Tls::Off,
        };
        let settings = Settings {
            behind_proxy: self.behind_tls_proxy,
            cookies_secure: self.behind_tls_proxy || tls != Tls::Off,
            tls,
            page_open: self.listen.ip().is_loopback() && !self.behind_tls_proxy,
            photo_quota_bytes: self.photo_room.map(|mb| mb.saturating_mul(1_000_000)),
            keep_photos: self.keep_photos.map(|days| Duration::from_secs(days * 24 * 3600)),
            requests_per_token: self.requests_per_minute,
            requests_per_address: self.requests_per_minute.saturating_mul(4),
            ..Settings::default()
        };
        Places::choose(&data, self.database.as_deref(), self.photos.as_deref())?;
        let depot = start(&data, self.listen, settings, true)?;
        tell(format_args!("depot ready at {}", depot.url()));
        if let Some(key) = depot.key_sha256() {
            tell(format_args!("key sha256 {key}"));
        }
        if self.listen.ip().is_unspecified() {
            tell(format_args!("enroll devices with --depot and the name or address by which they reach this machine"));
        }
        depot.wait();
        Ok(())
    }
}

/// Prints a line. Unlike other commands a depot goes on where nobody reads it any more: whoever started it may have gone.
fn tell(line: std::fmt::Arguments<'_>) {
    let _ = writeln!(std::io::stdout(), "{line}");
}
