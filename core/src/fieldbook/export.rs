//! The book in files that can be read without this program.

use std::fs::{self, File};
use std::io::Write as _;
use std::path::{Path, PathBuf};

use super::FieldBook;
use crate::error::CoreError;
use crate::store::fault::Tried as _;
use crate::store::{aside, entries, photos};

const README: &str = "\
A field book's export.

history.csv   one event a row, amendments applied: what life, call and shelf read
entries.json  every entry as it was sealed, in the order of the hybrid time. An entry's hash is the SHA-256 of its text exactly as
              it stands here; the same device's next entry names it in `prev`
aside.json    entries that came from the depot and could not be taken in, if any
photos/       the photos, each named by the SHA-256 of its bytes
";

/// What was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Exported {
    /// Where.
    pub folder: PathBuf,
    /// Entries.
    pub entries: usize,
    /// Photos.
    pub photos: usize,
    /// Photos whose file is gone.
    pub photos_missing: usize,
}

impl FieldBook {
    /// Writes `history.csv`, `entries.json`, the photos and a short explanation into `out`, a new or empty folder.
    ///
    /// # Errors
    /// `not_empty` where the folder holds something; `storage_full`, `file_failed`.
    pub fn export(&self, out: &Path) -> Result<Exported, CoreError> {
        let tried = "writing the export";
        fs::create_dir_all(out).tried(tried)?;
        if fs::read_dir(out).tried(tried)?.next().is_some() {
            return Err(CoreError::refused(
                "not_empty",
                "the folder for the export is not empty",
                "choose a new folder; nothing is ever overwritten",
            ));
        }
        let write = |name: &str, parts: &[&str]| -> Result<(), CoreError> {
            let mut file = File::create(out.join(name)).tried(tried)?;
            parts.iter().try_for_each(|part| file.write_all(part.as_bytes())).tried(tried)?;
            file.sync_all().tried(tried)
        };
        write("README.txt", &[README])?;
        write("history.csv", &[&self.history_csv(None)?])?;
        let store = self.store()?;
        let (all, set_aside) = (store.read(entries::all)?, store.read(aside::all)?);
        let docs: Vec<&str> = all.iter().map(|sealed| sealed.doc.as_str()).collect();
        write("entries.json", &["{\"schema\":\"gritbook.entries/1\",\"entries\":[\n", &docs.join(",\n"), "\n]}\n"])?;
        if !set_aside.is_empty() {
            // Each text as a JSON string: it need not be JSON itself.
            let texts: Vec<String> = set_aside.iter().map(|aside| serde_json::Value::String(aside.doc.clone()).to_string()).collect();
            write("aside.json", &["[\n", &texts.join(",\n"), "\n]\n"])?;
        }
        let folder = out.join(photos::FOLDER);
        fs::create_dir(&folder).tried(tried)?;
        let (mut copied, mut photos_missing) = (0, 0);
        for photo in store.read(photos::rows)? {
            let from = store.photos.path(&photo.id, photo.format);
            if !from.exists() {
                photos_missing += 1;
                continue;
            }
            if let Some(name) = from.file_name() {
                fs::copy(&from, folder.join(name)).tried(tried)?;
                copied += 1;
            }
        }
        Ok(Exported { folder: out.to_owned(), entries: all.len(), photos: copied, photos_missing })
    }
}
