//! How long photos are kept. Without a rule for good; with one the old ones go, but never those that a pump's newest entries
//! name, and never an entry: the record goes on naming a photo by its hash, and pages say that it was put away.
//!
//! A file goes a day after its row says so. Until then a backup that began before finds it, and a rule that was mistyped
//! can be taken back.

use std::time::Duration;

use chrono::TimeDelta;
use gritbook_core::CoreError;

use super::Depot;
use super::archive::keeping::Going;
use super::pages::view::photos_named;

/// The shortest time that a rule may keep photos.
pub const LEAST_DAYS: u64 = 30;
/// Photos that this many of each pump's newest entries name are kept, however old: what is looked at and compared with.
const SPARED_ENTRIES: u32 = 60;
const FILE_STAYS: TimeDelta = TimeDelta::days(1);

impl Depot {
    /// Puts away what the rule no longer keeps, and takes back what it keeps again.
    ///
    /// # Errors
    /// As the archive and the shelf give them.
    pub(super) async fn keep_photos(&self) -> Result<(), CoreError> {
        let (archive, now) = (self.archive(), self.now());
        let before = self.settings().keep_photos.map(|keep: Duration| now - TimeDelta::from_std(keep).unwrap_or(TimeDelta::MAX));
        let mut spared = Vec::new();
        if let Some(before) = before {
            spared = archive.pumps(SPARED_ENTRIES).await?.iter().flat_map(photos_named).collect();
            let put_away = archive.put_photos_away(before, spared.clone(), now).await?;
            if put_away > 0 {
                tracing::info!(count = put_away, "photos put away by rule; their files go in a day");
            }
        }
        for Going { photo, stored, put_away } in archive.photos_going().await? {
            let sha256 = photo.sha256;
            let due = before.is_some_and(|before| stored < before) && !spared.contains(&sha256);
            if !due && self.shelf().photos().has(photo.clone()).await? {
                archive.take_photo_back(sha256).await?;
            } else if due && now - put_away >= FILE_STAYS {
                self.shelf().remove(photo).await?;
                archive.photo_gone(sha256, now).await?;
            }
        }
        Ok(())
    }
}
