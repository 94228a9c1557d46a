//! The book on disk: one SQLite database and a folder of photos.
//!
//! One writer: functions that write take `&Transaction`, functions that read take `&Connection`, and every write goes
//! through [`Store::write`], one immediate transaction each. A photo's file is durable before the transaction that
//! names it begins. What is committed survives a pulled battery (`synchronous = FULL`); what is not leaves no trace
//! but perhaps a photo's file, which is adopted at the next opening.
//!
//! Not guaranteed: that the file system's own fsync does what it says.

pub(crate) mod aside;
pub(crate) mod device;
pub(crate) mod entries;
pub(crate) mod fault;
mod migrate;
mod open;
pub(crate) mod photos;
pub(crate) mod pumps;
pub(crate) mod queue;

use std::path::{Path, PathBuf};

use chrono::{DateTime, FixedOffset};
use rusqlite::{Connection, Transaction, TransactionBehavior};

pub use photos::{DurablePhoto, LARGEST_PHOTO_BYTES, PhotoFormat};

use crate::error::{CoreError, ErrorKind};
use crate::ids::PhotoId;
use fault::Tried as _;

/// What opening a book found; every field is something to tell the person, if not empty.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct OpenReport {
    /// A damaged database was moved here and a new one begun; photos stayed.
    pub damaged_moved_to: Option<PathBuf>,
    /// Photos that a crash left without a row, and that have one now.
    pub adopted_photos: Vec<PhotoId>,
    /// Files in the photo folder that are no photos of this book; left where they are.
    pub strange_files: Vec<PathBuf>,
}

/// An open book: the connection and the photo folder.
#[derive(Debug)]
pub(crate) struct Store {
    connection: Connection,
    pub(crate) photos: PhotoFolder,
    folder: PathBuf,
}

pub(crate) use photos::PhotoFolder;

impl Store {
    /// Opens or makes the book in `folder`.
    pub(crate) fn open(folder: &Path, now: DateTime<FixedOffset>) -> Result<(Self, OpenReport), CoreError> {
        if !folder.is_dir() {
            photos::make_folder(folder).tried("making the book's folder")?;
        }
        let (connection, damaged_moved_to) = open::open_database(folder, now)?;
        let photos = PhotoFolder::open(folder)?;
        let mut store = Self { connection, photos, folder: folder.to_owned() };
        let strays = store.photos.strays(|id| Ok(photos::row(&store.connection, id)?.is_some()), now)?;
        if !strays.photos.is_empty() {
            let now_ms = now.timestamp_millis();
            store.write("adopting photos", |transaction| {
                strays.photos.iter().try_for_each(|photo| photos::add_row(transaction, photo, now_ms))
            })?;
        }
        let adopted_photos = strays.photos.iter().map(|photo| photo.id).collect();
        Ok((store, OpenReport { damaged_moved_to, adopted_photos, strange_files: strays.strange }))
    }

    /// One writing transaction: all of `work` or nothing. `tried` reads as "saving the box check".
    pub(crate) fn write<T>(&mut self, tried: &str, work: impl FnOnce(&Transaction<'_>) -> Result<T, CoreError>) -> Result<T, CoreError> {
        let done = (|| {
            let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate).tried(tried)?;
            let value = work(&transaction)?;
            transaction.commit().tried(tried)?;
            Ok(value)
        })();
        self.noting_damage(done)
    }

    /// Reads.
    pub(crate) fn read<T>(&self, work: impl FnOnce(&Connection) -> Result<T, CoreError>) -> Result<T, CoreError> {
        self.noting_damage(work(&self.connection))
    }

    /// Every page, slowly; for `verify`.
    pub(crate) fn check_pages(&self) -> Result<(), CoreError> {
        self.noting_damage(open::check_pages(&self.connection))
    }

    fn noting_damage<T>(&self, done: Result<T, CoreError>) -> Result<T, CoreError> {
        if let Err(error) = &done
            && error.kind() == ErrorKind::Corrupt
        {
            open::note_suspect(&self.folder);
        }
        done
    }
}
