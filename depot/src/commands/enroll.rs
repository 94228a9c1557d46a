//! `gritbook enroll`: a device's token and its enrolment code, or taking one away. Works beside a running depot.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use chrono::{DateTime, Utc};
use gritbook_core::ids::Sha256Hex;
use gritbook_core::outbox::{Enrolment, Right};
use gritbook_core::{CoreError, ErrorKind};
use qrcode::{EcLevel, QrCode};

use super::{Failure, Run, say, say_document};
use crate::report::code::code_svg;
use crate::server::archive::devices::{Devices as _, NewDevice};
use crate::server::archive::people::{Actor, Deed, Reached};
use crate::server::archive::{Archive as _, SqliteArchive, Work};
use crate::server::backup::no_archive;
use crate::server::people::checked_name;
use crate::server::{Places, make_token, token_hash};

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example: gritbook enroll --data depot-data --name 'phone of the north yard' --qr enrol.png

The code is for a phone, the token for a program (`gritbook book DIR sync`); whichever is used first ends the other. A
phone that photographs the code makes a token of its own: the code is good once, and who shows it later is refused and
noted. The token is shown this once: the depot keeps only its hash, and whoever holds it can write to the depot. Where
the depot speaks TLS itself, the code also holds the SHA-256 of its key, and the device sends to no other. --revoke
shuts the device out at once; what it sent stays in the record.")]
pub struct Args {
    /// The depot's data folder.
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// What to call the device: 1 to 60 characters.
    #[arg(long)]
    name: String,
    /// Take this device's token away.
    #[arg(long, conflicts_with_all = ["qr", "depot"])]
    revoke: bool,
    /// The address at which the device reaches the depot; without it the one that the depot listened at last.
    #[arg(long, value_name = "URL")]
    depot: Option<String>,
    /// Also write the enrolment code to a picture (.png or .svg).
    #[arg(long, value_name = "FILE")]
    qr: Option<PathBuf>,
    /// Print one JSON document.
    #[arg(long)]
    json: bool,
}

/// A device was let in, or shut out.
#[derive(Debug, serde::Serialize, schemars::JsonSchema)]
pub(super) struct Enrolled {
    /// Always `gritbook.enrolment/1`.
    schema: &'static str,
    /// What the device is called.
    name: String,
    /// Address of the depot, where it is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    depot: Option<String>,
    /// SHA-256 of the depot's public key, where the depot speaks TLS itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    key_sha256: Option<Sha256Hex>,
    /// The bearer token for a program, shown this once. Dead once the code was used.
    #[serde(skip_serializing_if = "Option::is_none")]
    token: Option<String>,
    /// The text of the enrolment code for a phone, good once. Dead once the token was used.
    #[serde(skip_serializing_if = "Option::is_none")]
    code: Option<String>,
    /// True where it was shut out.
    revoked: bool,
}

impl Run for Args {
    fn json(&self) -> bool {
        self.json
    }

    fn run(self) -> Result<(), Failure> {
        let name = checked_name(&self.name)?;
        if self.revoke {
            // A mistyped folder must not become a new, empty archive.
            if !Places::of(&self.data)?.database.exists() {
                return Err(no_archive(&self.data).into());
            }
            let archive = SqliteArchive::open(&self.data)?;
            finish(archive.revoke(name.clone(), now()))?;
            if self.json {
                let schema = "gritbook.enrolment/1";
                say_document(&Enrolled { schema, name, depot: None, key_sha256: None, token: None, code: None, revoked: true })?;
            } else {
                say(format_args!("{name} is shut out. What it sent stays in the record."));
            }
            return Ok(());
        }
        if let Some(file) = &self.qr {
            picture_kind(file)?;
        }
        std::fs::create_dir_all(&self.data).map_err(|cause| {
            CoreError::refused("bad_folder", format!("`{}` cannot be made", self.data.display()), "choose another folder").because(cause)
        })?;
        let archive = SqliteArchive::open(&self.data)?;
        let depot = match self.depot {
            Some(url) => Some(url),
            None => finish(archive.recall("address"))?.filter(|url| names_a_machine(url)),
        };
        // Plain HTTP has no key to know; an address not known yet may turn out to be the depot's own.
        let may_be_tls = depot.as_ref().is_none_or(|url| url.starts_with("https://"));
        let key_sha256 = finish(archive.recall("key_sha256"))?.filter(|_| may_be_tls).and_then(|key| key.parse().ok());
        let (token, once) = (make_token()?, make_token()?);
        let code_hash = Some(Sha256Hex::of(once.as_bytes()));
        let payload = Enrolment { depot: depot.clone(), name: name.clone(), right: Right::Once(once), key_sha256 }.payload();
        let code = QrCode::with_error_correction_level(&payload, EcLevel::M).map_err(|cause| {
            CoreError::refused("too_long", "name and address are too long for a code", "use a shorter name or address").because(cause)
        })?;
        let device = NewDevice { name: name.clone(), token_hash: Some(token_hash(&token)), code_hash, first_use_by: None };
        finish(archive.let_in(device, deed("device_enrolled")))?;
        if let Some(file) = &self.qr
            && let Err(error) = draw(&code, file)
        {
            // A token that nobody was shown must not stay good.
            finish(archive.revoke(name, now()))?;
            return Err(error.into());
        }
        if self.json {
            let schema = "gritbook.enrolment/1";
            say_document(&Enrolled { schema, name, depot, key_sha256, token: Some(token), code: Some(payload), revoked: false })?;
            return Ok(());
        }
        say(format_args!("{name} may write to this depot."));
        say(format_args!("token  {token}   (for a program)"));
        match &depot {
            Some(url) => say(format_args!("depot  {url}")),
            None => say("depot  address not known: give --depot URL, as the device reaches the depot"),
        }
        if let Some(key) = key_sha256 {
            say(format_args!("key    {key}"));
        }
        if let Some(file) = &self.qr {
            say(format_args!("code   {}", file.display()));
        }
        say("");
        say(code.render::<qrcode::render::unicode::Dense1x2>().quiet_zone(true).build());
        say("Neither is shown again. The code is for one phone; the first of the two that is used ends the other.");
        Ok(())
    }
}

/// A new device's token, for a depot on the same machine.
pub(super) fn let_in(data: &Path, name: &str) -> Result<String, CoreError> {
    let archive = SqliteArchive::open(data)?;
    let token = make_token()?;
    finish(archive.enroll(checked_name(name)?, token_hash(&token), now()))?;
    Ok(token)
}

/// A depot that listens on every address has not said by which one it is reached.
fn names_a_machine(url: &str) -> bool {
    let address = url.split_once("://").and_then(|(_, address)| address.parse::<SocketAddr>().ok());
    address.is_none_or(|address| !address.ip().is_unspecified())
}

/// A deed of whoever has the data folder.
pub(super) fn deed(what: &'static str) -> Deed {
    Deed { at: now(), by: Actor::Command, what, about: None, reached: Reached::ThisMachine }
}

pub(super) fn now() -> DateTime<Utc> {
    SystemTime::now().into()
}

/// Runs one piece of the archive's work from this plain thread.
pub(super) fn finish<T>(work: Work<T>) -> Result<T, CoreError> {
    tokio::runtime::Builder::new_current_thread()
        .build()
        .map_err(|cause| CoreError::new(ErrorKind::Internal, "no_threads", "no thread could be started", "try again").because(cause))?
        .block_on(work)
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Picture {
    Png,
    Svg,
}

fn picture_kind(file: &Path) -> Result<Picture, CoreError> {
    match file.extension().and_then(|ending| ending.to_str()).map(str::to_ascii_lowercase).as_deref() {
        Some("png") => Ok(Picture::Png),
        Some("svg") => Ok(Picture::Svg),
        _ => Err(CoreError::refused(
            "bad_picture_name",
            format!("`{}` ends neither in .png nor in .svg", file.display()),
            "name it like enrol.png or enrol.svg",
        )),
    }
}

/// Modules of 8 pixels with the four white modules around that ISO/IEC 18004 asks for.
fn draw(code: &QrCode, file: &Path) -> Result<(), CoreError> {
    const SIDE: u32 = 8;
    const QUIET: u32 = 4;
    let failed = |cause: std::io::Error| {
        CoreError::new(ErrorKind::Storage, "not_written", format!("`{}` cannot be written", file.display()), "choose another place")
            .because(cause)
    };
    let width = u32::try_from(code.width()).unwrap_or(0);
    let colors = code.to_colors();
    let dark = |x: u32, y: u32| colors.get((y * width + x) as usize) == Some(&qrcode::Color::Dark);
    let whole = (width + 2 * QUIET) * SIDE;
    match picture_kind(file)? {
        Picture::Png => {
            let picture = image::GrayImage::from_fn(whole, whole, |x, y| {
                let module = |at: u32| (at / SIDE).checked_sub(QUIET).filter(|at| *at < width);
                let is_dark = module(x).zip(module(y)).is_some_and(|(x, y)| dark(x, y));
                image::Luma([if is_dark { 0 } else { 255 }])
            });
            picture.save(file).map_err(|cause| failed(std::io::Error::other(cause)))
        }
        Picture::Svg => {
            let sized = format!("<svg width=\"{whole}\" height=\"{whole}\"");
            let svg = code_svg(code).replacen("<svg", &sized, 1) + "\n";
            std::fs::write(file, svg).map_err(failed)
        }
    }
}
