//! A depot's backup, made while it runs, and putting one back.
//!
//! ```text
//! OUT/backup.json     what is in it, with the SHA-256 of the database; written last
//! OUT/depot.sqlite    a copy by SQLite's backup interface: all that was committed when it began, nothing half
//! OUT/photos/         every photo that the copy names, hard-linked where that works, else copied
//! OUT/tls/            the depot's key, by which devices know it: keep the backup as private as the depot
//! ```
//!
//! A photo is on the shelf before its row is written, is never changed, and goes a day after its row says that it was put
//! away at the earliest, so the photos of a copy of the database are all there. Bytes of photos that are still on their way are left out: their uploads begin anew. Small
//! pictures are made anew. Both ways everything is built beside its place and renamed at the end: what stands under its
//! name is whole. Every photo's SHA-256 and every entry's hash is taken again, and the chains are walked.

use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use chrono::{DateTime, SecondsFormat, Utc};
use gritbook_core::ids::Sha256Hex;
use gritbook_core::{CoreError, ErrorKind};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Places;
use super::archive::PhotoRow;
use super::archive::backup as database;
use super::make_private;
use super::shelf::{examine_file, file_error};

const SCHEMA: &str = "gritbook.depot_backup/1";
const MANIFEST: &str = "backup.json";
const DATABASE: &str = "depot.sqlite";

/// What a backup holds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct DepotBackup {
    /// Always `gritbook.depot_backup/1`.
    schema: String,
    /// RFC 3339.
    made_at: String,
    /// Version of the archive's schema.
    archive_version: i64,
    /// Entries, each with its hash taken again.
    entries: u64,
    /// Places where an entry does not name the hash of its device's entry before it. They came so: the record shows them.
    chain_breaks: u64,
    /// Photos, each with its SHA-256 taken again.
    photos: u64,
    /// Their bytes.
    photo_bytes: u64,
    /// SHA-256 of the copied database file.
    database_sha256: Sha256Hex,
    /// After putting it back: who is let in by it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    lets_in: Option<LetsIn>,
}

/// Who a depot that was put back lets in. Whoever was shut out after the backup was made is among them again: nothing that is left knows
/// of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct LetsIn {
    /// Names of the devices whose tokens are good.
    devices: Vec<String>,
    /// Names of the people who may sign in.
    people: Vec<String>,
}

impl DepotBackup {
    /// What whoever put it back has to look at; none of a backup that was made.
    pub(crate) fn to_look_at(&self, data: &Path) -> Option<String> {
        let LetsIn { devices, people } = self.lets_in.as_ref()?;
        let (data, names) = (data.display(), |names: &[String]| if names.is_empty() { "nobody".to_owned() } else { names.join(", ") });
        Some(format!(
            "Whoever was shut out after {} is in again, and new passwords of since then are the old ones. Look through both lists before you start \
             the depot:\n\
             devices  {}\n\
             people   {}\n\
             Shut out anew: gritbook enroll --data '{data}' --name NAME --revoke\n\
             \u{20}              gritbook people remove --data '{data}' --name NAME",
            self.made_at,
            names(devices),
            names(people)
        ))
    }
}

impl std::fmt::Display for DepotBackup {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "{} entries and {} photos ({} MB), each held against its hash",
            self.entries,
            self.photos,
            self.photo_bytes.div_ceil(1_000_000)
        )
    }
}

fn tried(what: &'static str) -> impl Fn(io::Error) -> CoreError {
    move |cause| file_error(what, cause)
}

fn taken(path: &Path) -> CoreError {
    CoreError::refused("place_taken", format!("`{}` is there already", path.display()), "name a folder that does not exist yet")
}

fn no_backup(path: &Path, what: &str) -> CoreError {
    CoreError::new(
        ErrorKind::NotFound,
        "no_backup",
        format!("`{}` {what}", path.display()),
        "name a folder that `gritbook depot backup` made",
    )
}

fn damaged(what: String) -> CoreError {
    CoreError::new(ErrorKind::Corrupt, "backup_damaged", what, "nothing was changed; take another backup, and look at the disk")
}

/// A folder that is built beside its place, and goes with all that is in it unless it is put there.
struct Building {
    at: PathBuf,
    place: PathBuf,
    done: bool,
}

impl Building {
    fn new(place: &Path) -> Result<Self, CoreError> {
        // An empty folder may be given: it is as good as none.
        match fs::read_dir(place).map(|mut files| files.next().is_some()) {
            Ok(false) => fs::remove_dir(place).map_err(tried("making room"))?,
            Ok(true) => return Err(taken(place)),
            Err(cause) if cause.kind() == io::ErrorKind::NotFound => {}
            Err(_) => return Err(taken(place)),
        }
        let name = place.file_name().ok_or_else(|| taken(place))?.to_string_lossy().into_owned();
        let at = place.with_file_name(format!(".{name}.{}.part", std::process::id()));
        make_private(&at)?;
        Ok(Self { at, place: place.to_owned(), done: false })
    }

    fn put_in_place(mut self) -> Result<(), CoreError> {
        let failed = tried("putting the whole in its place");
        sync_all(&self.at).map_err(&failed)?;
        fs::rename(&self.at, &self.place).map_err(&failed)?;
        self.done = true;
        let above = self.place.parent().filter(|above| !above.as_os_str().is_empty()).unwrap_or(Path::new("."));
        File::open(above).and_then(|above| above.sync_all()).map_err(&failed)
    }
}

impl Drop for Building {
    fn drop(&mut self) {
        if !self.done {
            let _ = fs::remove_dir_all(&self.at);
        }
    }
}

/// Makes every file and every name below `folder` survive a power cut.
fn sync_all(folder: &Path) -> io::Result<()> {
    for file in fs::read_dir(folder)? {
        let file = file?;
        if file.file_type()?.is_dir() { sync_all(&file.path())? } else { File::open(file.path())?.sync_all()? }
    }
    File::open(folder)?.sync_all()
}

fn sha256_of(path: &Path) -> Result<Sha256Hex, CoreError> {
    examine_file(path).map(|file| file.sha256).map_err(tried("reading the database's copy"))
}

fn name_of(photo: &PhotoRow) -> String {
    format!("{}.{}", photo.sha256, photo.kind.ending())
}

/// Takes one photo over and looks at what arrived.
fn take_photo(photo: &PhotoRow, from: &Path, to: &Path, link: bool) -> Result<(), CoreError> {
    let (from, to) = (from.join(name_of(photo)), to.join(name_of(photo)));
    let linked = link && fs::hard_link(&from, &to).is_ok();
    if !linked {
        fs::copy(&from, &to).map_err(|cause| match cause.kind() {
            io::ErrorKind::NotFound => damaged(format!("the photo {} is not on the shelf", photo.sha256)),
            _ => file_error("copying a photo", cause),
        })?;
    }
    let arrived = examine_file(&to).map_err(tried("reading a photo's copy"))?;
    if (arrived.sha256, arrived.bytes) != (photo.sha256, photo.bytes) {
        return Err(damaged(format!("the photo {} holds other bytes than its name says", photo.sha256)));
    }
    Ok(())
}

fn take_photos(photos: &[PhotoRow], from: &Path, to: &Path, link: bool) -> Result<(), CoreError> {
    let (from, to) = (from.join("photos"), to.join("photos"));
    fs::create_dir(&to).map_err(tried("making the photo folder"))?;
    photos.iter().try_for_each(|photo| take_photo(photo, &from, &to, link))
}

/// The depot's key and certificate, where it has its own, for their owner alone.
fn take_key(from: &Path, to: &Path) -> Result<(), CoreError> {
    let failed = tried("copying the depot's key");
    let (from, to) = (from.join("tls"), to.join("tls"));
    if !from.is_dir() {
        return Ok(());
    }
    make_private(&to)?;
    for name in ["key.pem", "certificate.pem"] {
        if from.join(name).exists() {
            // Copies the permissions too: 0600.
            fs::copy(from.join(name), to.join(name)).map_err(&failed)?;
        }
    }
    Ok(())
}

/// Backs a depot up while it may be running. Blocks. `link` hard-links photos where the file system lets it.
///
/// # Errors
/// `no_archive`, `place_taken`, `backup_damaged` where a photo or an entry is not what its hash says, `storage_full`.
pub fn back_up(data: &Path, out: &Path, link: bool, now: DateTime<Utc>) -> Result<DepotBackup, CoreError> {
    let places = Places::of(data)?;
    if !places.database.exists() {
        return Err(no_archive(data));
    }
    let building = Building::new(out)?;
    let copy = building.at.join(DATABASE);
    database::copy(&places.database, &copy)?;
    let held = database::examine(&copy)?;
    take_photos(&held.photos, &places.photos, &building.at, link)?;
    take_key(data, &building.at)?;
    let manifest = DepotBackup {
        schema: SCHEMA.to_owned(),
        made_at: now.to_rfc3339_opts(SecondsFormat::Secs, true),
        archive_version: held.version,
        entries: held.entries,
        chain_breaks: held.chain_breaks,
        photos: held.photos.len() as u64,
        photo_bytes: held.photos.iter().map(|photo| photo.bytes).sum(),
        database_sha256: sha256_of(&copy)?,
        lets_in: None,
    };
    let text = serde_json::to_string_pretty(&manifest).map_err(|cause| {
        CoreError::new(ErrorKind::Internal, "not_written", "the list of the backup could not be written", "report this").because(cause)
    })?;
    File::create(building.at.join(MANIFEST))
        .and_then(|mut file| file.write_all(text.as_bytes()))
        .map_err(tried("writing the backup's list"))?;
    building.put_in_place()?;
    Ok(manifest)
}

/// Puts a backup back as a depot's data folder. Blocks. The backup stays as it is. Whoever was signed in has to sign in
/// again; devices and people that were shut out after the backup was made are in again, so the answer says who is in, and the audit
/// that it was put back.
///
/// # Errors
/// `no_backup`, `place_taken`, `backup_damaged`, `newer_archive`, `storage_full`.
pub fn restore(from: &Path, data: &Path, now: DateTime<Utc>) -> Result<DepotBackup, CoreError> {
    let text = fs::read_to_string(from.join(MANIFEST)).map_err(|_| no_backup(from, "holds no backup"))?;
    let mut manifest: DepotBackup = serde_json::from_str(&text).map_err(|_| no_backup(from, "holds a backup that cannot be read"))?;
    if manifest.schema != SCHEMA {
        return Err(no_backup(from, "holds a backup of another kind"));
    }
    if sha256_of(&from.join(DATABASE))? != manifest.database_sha256 {
        return Err(damaged("the backup's database was changed since it was made".to_owned()));
    }
    let building = Building::new(data)?;
    let copy = building.at.join(DATABASE);
    fs::copy(from.join(DATABASE), &copy).map_err(tried("copying the database"))?;
    let held = database::examine(&copy)?;
    if (held.entries, held.photos.len() as u64) != (manifest.entries, manifest.photos) {
        return Err(damaged("the backup's database does not hold what its list says".to_owned()));
    }
    take_photos(&held.photos, from, &building.at, false)?;
    take_key(from, &building.at)?;
    let (devices, people) = database::put_back(&building.at, manifest.made_at.get(..10).unwrap_or_default(), now)?;
    manifest.lets_in = Some(LetsIn { devices, people });
    building.put_in_place()?;
    Ok(manifest)
}

/// There is no depot in this folder.
pub(crate) fn no_archive(data: &Path) -> CoreError {
    CoreError::new(
        ErrorKind::NotFound,
        "no_archive",
        format!("there is no depot in `{}`", data.display()),
        "give the folder that the depot runs on",
    )
}
