//! `gritbook depot backup` and `gritbook depot restore`.

use std::path::{Path, PathBuf};

use super::enroll::now;
use super::{Failure, say, say_document};
use crate::server::backup::{DepotBackup, back_up, restore};

/// Verbs of `gritbook depot`; without one it serves.
#[derive(Debug, clap::Subcommand)]
pub(super) enum Verb {
    /// Back a depot up, also while it runs.
    #[command(after_help = "\
Example: gritbook depot backup depot-data /mnt/disk/depot-2026-11-28

The folder must not exist yet. Photos are hard-linked where both lie on one disk, else copied; every photo and entry is
held against its hash. The depot's key is in it: keep the backup as private as the depot.")]
    Backup(Backup),
    /// Make a depot's data folder from a backup.
    #[command(after_help = "\
Example: gritbook depot restore /mnt/disk/depot-2026-11-28 depot-data

The folder must not exist yet; the backup stays as it is. Phones send again what came after the backup, if it still
waits on them. Devices and people that were shut out after it are in again: it lists who is in, and how to shut them out anew.")]
    Restore(Restore),
}

#[derive(Debug, clap::Args)]
pub(super) struct Backup {
    /// The depot's data folder.
    data: PathBuf,
    /// The backup's folder.
    out: PathBuf,
    /// Copy photos also where they could be hard-linked.
    #[arg(long)]
    copy: bool,
    /// Print one JSON document.
    #[arg(long)]
    json: bool,
}

#[derive(Debug, clap::Args)]
pub(super) struct Restore {
    /// The backup's folder.
    backup: PathBuf,
    /// The depot's data folder.
    data: PathBuf,
    /// Print one JSON document.
    #[arg(long)]
    json: bool,
}

impl Verb {
    pub(super) fn json(&self) -> bool {
        match self {
            Self::Backup(Backup { json, .. }) | Self::Restore(Restore { json, .. }) => *json,
        }
    }

    pub(super) fn run(self) -> Result<(), Failure> {
        match self {
            Self::Backup(args) => tell(&back_up(&args.data, &args.out, !args.copy, now())?, &args.data, args.json, "backed up"),
            Self::Restore(args) => tell(&restore(&args.backup, &args.data, now())?, &args.data, args.json, "put back"),
        }
    }
}

fn tell(held: &DepotBackup, data: &Path, json: bool, done: &str) -> Result<(), Failure> {
    if json {
        return say_document(held);
    }
    say(format_args!("{done}: {held}"));
    if let Some(to_look_at) = held.to_look_at(data) {
        say(to_look_at);
    }
    Ok(())
}
