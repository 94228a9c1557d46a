//! A disk that forgets: what a process did to its files is noted call by call (`tests/faults/disk.c`), and laid anew as a power cut
//! at any moment may have left it.
//!
//! # What a cut may take
//! A write or a new length until its file was synced, in whole or by sectors of 512 bytes, later ones kept while earlier ones are gone.
//! A name (made, moved, removed) until its folder was synced. Moving a file to another name is taken to be one step, as the journals of
//! ext4, xfs, f2fs and APFS make it; nothing else is promised beyond POSIX.

pub mod cut;
pub mod notes;

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

/// The library that stands between a process and its files; none where this machine cannot build or load it, which is said.
pub fn library() -> Option<&'static Path> {
    static BUILT: OnceLock<Option<PathBuf>> = OnceLock::new();
    BUILT.get_or_init(build).as_deref()
}

fn build() -> Option<PathBuf> {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("faults/disk.c");
    let out = std::env::temp_dir().join(format!("gritbook-disk-{}.so", std::process::id()));
    let built = cfg!(target_os = "linux")
        && Command::new("cc")
            .args(["-O1", "-shared", "-fPIC", "-o"])
            .args([&out, &source])
            .arg("-ldl")
            .status()
            .is_ok_and(|status| status.success());
    if !built {
        // Past the capture of test output, so that it is seen.
        let _ = std::io::Write::write_all(&mut std::io::stderr(), b"SKIPPED: no C compiler, or not Linux: no power cuts here\n");
    }
    built.then_some(out)
}

/// Makes `command` note into `log` what it does below `root`.
pub fn watch(command: &mut Command, library: &Path, root: &Path, log: Option<&Path>, fail: Option<&str>) {
    command.env("LD_PRELOAD", library).env("GRITBOOK_DISK_ROOT", root);
    if let Some(log) = log {
        command.env("GRITBOOK_DISK_LOG", log);
    }
    if let Some(fail) = fail {
        command.env("GRITBOOK_DISK_FAIL", fail);
    }
}
