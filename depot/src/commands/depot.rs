//! `gritbook depot`: runs the receiving side until Ctrl-C or SIGTERM.

use std::net::SocketAddr;
use std::path::PathBuf;

use gritbook_core::CoreError;

use super::{Failure, Run, say};
use crate::server::{Settings, start};

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example: gritbook depot --data depot-data

Without a proxy the depot listens on this machine only, and its page is open to whoever sits at it. For phones elsewhere
put a proxy that speaks TLS before it and say --behind-tls-proxy; the page then asks for a device's token as password.")]
pub struct Args {
    /// Folder for the archive and the photos; made where it is missing.
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// Address and port to listen on; port 0 takes a free one.
    #[arg(long, value_name = "ADDR", default_value = "127.0.0.1:8470")]
    listen: SocketAddr,
    /// A proxy that speaks TLS stands before the depot: allows an address that other machines reach.
    #[arg(long)]
    behind_tls_proxy: bool,
    /// Room for photos in megabytes; without it as much as the disk has.
    #[arg(long, value_name = "MB")]
    photo_room: Option<u64>,
}

impl Run for Args {
    fn run(self) -> Result<(), Failure> {
        if !self.listen.ip().is_loopback() && !self.behind_tls_proxy {
            return Err(CoreError::refused(
                "not_encrypted",
                format!("{} can be reached from other machines, and tokens would travel open", self.listen),
                "listen on 127.0.0.1, or put a proxy that speaks TLS before the depot and add --behind-tls-proxy",
            )
            .into());
        }
        let filter = tracing_subscriber::EnvFilter::try_from_env("GRITBOOK_LOG").unwrap_or_else(|_| "info".into());
        // A second subscriber in one process is refused; the first one goes on.
        let _ = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).with_ansi(false).try_init();
        let settings = Settings {
            page_open: self.listen.ip().is_loopback() && !self.behind_tls_proxy,
            photo_quota_bytes: self.photo_room.map(|mb| mb.saturating_mul(1_000_000)),
            ..Settings::default()
        };
        let depot = start(&self.data, self.listen, settings, true)?;
        say(format_args!("depot ready at {}", depot.url()));
        depot.wait();
        Ok(())
    }
}
