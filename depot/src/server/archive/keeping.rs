//! Photos that are put away by rule: the row stays, the file goes.

use chrono::{DateTime, Utc};
use gritbook_core::ids::Sha256Hex;

use super::{PhotoRow, Work};

/// Photos by where they are.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PhotosKnown {
    /// On the shelf.
    pub here: Vec<Sha256Hex>,
    /// Put away by rule.
    pub put_away: Vec<Sha256Hex>,
}

/// A photo that is put away and whose file is still there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Going {
    /// Which.
    pub photo: PhotoRow,
    /// When it came.
    pub stored: DateTime<Utc>,
    /// Since when it is put away.
    pub put_away: DateTime<Utc>,
}

/// Photos as a rule on keeping them sees them.
pub trait Keeping {
    /// Which of these photos are here, and which were put away; the others have not come.
    fn photos_known(&self, asked: Vec<Sha256Hex>) -> Work<PhotosKnown>;

    /// Puts away what came before `before` and is not among the spared; how many. The audit gets a row in the same transaction.
    fn put_photos_away(&self, before: DateTime<Utc>, spared: Vec<Sha256Hex>, now: DateTime<Utc>) -> Work<u64>;

    /// What is put away and not gone yet.
    fn photos_going(&self) -> Work<Vec<Going>>;

    /// It is here again: the rule no longer asks for it.
    fn take_photo_back(&self, sha256: Sha256Hex) -> Work<()>;

    /// Its file is gone.
    fn photo_gone(&self, sha256: Sha256Hex, now: DateTime<Utc>) -> Work<()>;
}
