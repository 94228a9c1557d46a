//! Verify: walk every chain, hash every photo, look at every page.

use serde::Serialize;

use super::FieldBook;
use crate::error::{CoreError, ErrorKind};
use crate::ids::{DeviceId, PhotoId};
use crate::outbox::chain::{self, ChainBreak, Link};
use crate::store::{aside, device, entries, photos};

/// One device's chain.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct DeviceChain {
    /// Whose.
    pub device: DeviceId,
    /// True for this book's own device.
    pub own: bool,
    /// Entries that are here.
    pub entries: u64,
    /// Where it is broken.
    pub breaks: Vec<ChainBreak>,
}

/// What verify found.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct VerifyReport {
    /// Always `gritbook.verify/1`.
    pub schema: &'static str,
    /// True where nothing is wrong.
    pub sound: bool,
    /// The chains, by device.
    pub devices: Vec<DeviceChain>,
    /// Photos whose bytes are what they were.
    pub photos_sound: u64,
    /// Photos whose file is gone.
    pub photos_missing: Vec<PhotoId>,
    /// Photos whose file is not what it was.
    pub photos_damaged: Vec<PhotoId>,
    /// Photos that entries of other devices name and that are not here: nothing is wrong.
    pub photos_elsewhere: u64,
    /// Photos here that no entry names: left by a crash and kept. Nothing is wrong.
    pub photos_unclaimed: Vec<PhotoId>,
    /// Entries from the depot that stand aside.
    pub set_aside: u64,
    /// What SQLite says about its pages, where it is not well.
    pub database: Option<String>,
}

impl FieldBook {
    /// Verifies the whole book. Reads every photo: some seconds for some gigabytes.
    ///
    /// # Errors
    /// What reading the book gives; what is wrong with the record is in the report, not an error.
    pub fn verify(&self) -> Result<VerifyReport, CoreError> {
        let store = self.store()?;
        let database = match store.check_pages() {
            Ok(()) => None,
            Err(error) if error.kind() == ErrorKind::Corrupt => Some(error.to_string()),
            Err(error) => return Err(error),
        };
        let own = store.read(device::load)?;
        let mut ids = store.read(entries::devices)?;
        if let Some(own) = &own
            && own.last_seq > 0
            && !ids.contains(&own.id)
        {
            ids.push(own.id);
        }
        let mut devices = Vec::new();
        for id in ids {
            let rows = store.read(|connection| entries::links(connection, id))?;
            let links: Vec<Link<'_>> = rows.iter().map(|row| Link { id: &row.id, seq: row.seq, hash: &row.hash, doc: &row.doc }).collect();
            let tip = own.as_ref().filter(|own| own.id == id).map(|own| (own.last_seq, own.last_hash));
            devices.push(DeviceChain { device: id, own: tip.is_some(), entries: links.len() as u64, breaks: chain::walk(id, &links, tip) });
        }
        let (mut photos_sound, mut photos_missing, mut photos_damaged) = (0, Vec::new(), Vec::new());
        let rows = store.read(photos::rows)?;
        for photo in &rows {
            match store.photos.rehash(&photo.id, photo.format)? {
                Some(hash) if hash == photo.id => photos_sound += 1,
                Some(_) => photos_damaged.push(photo.id),
                None => photos_missing.push(photo.id),
            }
        }
        let mut photos_elsewhere = 0;
        for (photo, ours) in store.read(|connection| entries::named_photos(connection, self.device))? {
            if rows.binary_search_by_key(&photo, |row| row.id).is_err() {
                // Never a row of ours without its photo: that would be a fault.
                if ours {
                    photos_missing.push(photo);
                } else {
                    photos_elsewhere += 1;
                }
            }
        }
        let set_aside = store.read(aside::all)?.len() as u64;
        let photos_unclaimed = store.read(photos::unclaimed)?;
        let sound = database.is_none()
            && devices.iter().all(|chain| chain.breaks.is_empty())
            && photos_missing.is_empty()
            && photos_damaged.is_empty()
            && set_aside == 0;
        Ok(VerifyReport {
            schema: "gritbook.verify/1",
            sound,
            devices,
            photos_sound,
            photos_missing,
            photos_damaged,
            photos_elsewhere,
            photos_unclaimed,
            set_aside,
            database,
        })
    }
}
