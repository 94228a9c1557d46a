//! The receiving side: takes entries and photos from devices, keeps them, and shows them on one plain page.
//!
//! ```text
//! serve ──► app(depot) ──► routes ──► archive (what is known), shelf (photo bytes)
//!                       └► pages   ──► archive, shelf
//! ```
//!
//! [`app`] builds the whole service without a socket, so that tests can call it directly.
//!
//! # What is durable when
//! An entry's verdict `stored` is sent after its transaction is on the disk. A photo's bytes count once they are synced
//! and the offset row is written. A photo counts as stored once its SHA-256 was checked over the whole, the file was
//! renamed and its folder synced, and its row was written; only then is the whole length acknowledged.
//!
//! # Who may do what
//! Everything under `/v1` needs a device's bearer token. Any enrolled device may deliver any entry (phones relay for one
//! another); the archive notes who delivered it. Pages need no sign-in only while the depot listens on loopback and no
//! proxy stands before it; otherwise they ask for a device's token as the password of HTTP Basic.
//! Connections from elsewhere are in TLS, under a key that devices know since they were enrolled (`tls`).

mod addresses;
pub mod archive;
mod auth;
pub mod backup;
mod busy;
mod figures;
pub mod keeping;
mod limits;
mod linger;
mod metrics;
pub mod office;
pub mod openapi;
mod pages;
mod peer;
pub mod people;
mod places;
mod problem;
mod routes;
mod serve;
pub mod shelf;
mod tls;

use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, SystemTime};

use axum::Router;
use chrono::{DateTime, Utc};
use gritbook_core::CoreError;
use tokio::sync::watch;

pub use addresses::Address;
pub use auth::{make_token, token_hash};
pub use places::Places;
pub use problem::Problem;
pub use serve::{RunningDepot, start};
pub use tls::Tls;

use archive::{Archive, SqliteArchive};
use busy::Busy;
use figures::Figures;
use limits::Limits;
use metrics::Metrics;
use people::backoff::Backoff;
use shelf::Shelf;

/// How a depot behaves. The defaults are what `gritbook depot` uses.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Pages need no sign-in while nobody was added. Only ever true for a depot on loopback without a proxy before it.
    pub page_open: bool,
    /// A proxy stands before the depot and says in `X-Forwarded-For` who asks.
    pub behind_proxy: bool,
    /// Browsers reach the pages by TLS: cookies go by TLS alone.
    pub cookies_secure: bool,
    /// A session without a page for this long is over.
    pub session_idle: Duration,
    /// A session is over after this long in any case.
    pub session_longest: Duration,
    /// Whether the depot speaks TLS. Off only for loopback, or behind a proxy that speaks TLS.
    pub tls: Tls,
    /// Largest photo, bytes.
    pub max_photo_bytes: u64,
    /// Largest batch of entries, bytes.
    pub max_batch_bytes: usize,
    /// Most entries in a batch.
    pub max_batch_entries: usize,
    /// Room for photos, stored and promised, bytes; none: as much as the disk has.
    pub photo_quota_bytes: Option<u64>,
    /// Requests a minute that one token may make; as many may come at once after a minute of rest.
    pub requests_per_token: u32,
    /// The same for one address, whatever tokens come from it: a yard's phones share one.
    pub requests_per_address: u32,
    /// A body that brings less than 1 KiB in this time is given up; what came is kept.
    pub body_idle: Duration,
    /// How long photos are kept; none: for good. See [`keeping`].
    pub keep_photos: Option<Duration>,
    /// An upload that is not continued for this long is given up.
    pub upload_lifetime: Duration,
    /// The clock.
    pub now: fn() -> DateTime<Utc>,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            page_open: false,
            behind_proxy: false,
            cookies_secure: false,
            session_idle: Duration::from_secs(2 * 3600),
            session_longest: Duration::from_secs(12 * 3600),
            tls: Tls::Off,
            max_photo_bytes: 64 * 1024 * 1024,
            max_batch_bytes: 2 * 1024 * 1024,
            max_batch_entries: 500,
            photo_quota_bytes: None,
            requests_per_token: 60_000,
            requests_per_address: 240_000,
            body_idle: Duration::from_secs(30),
            keep_photos: None,
            upload_lifetime: Duration::from_secs(14 * 24 * 3600),
            now: || DateTime::<Utc>::from(SystemTime::now()),
        }
    }
}

/// The depot's state, shared by all requests.
#[derive(Clone)]
pub struct Depot(Arc<Inner>);

struct Inner {
    settings: Settings,
    archive: Arc<dyn Archive>,
    shelf: Shelf,
    busy: Busy,
    figures: Figures,
    backoff: Backoff,
    limits: Limits,
    metrics: Metrics,
    stopping: watch::Sender<bool>,
}

impl std::fmt::Debug for Depot {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Depot").field("settings", &self.0.settings).finish_non_exhaustive()
    }
}

impl Depot {
    /// Opens or makes the data folder. Blocks.
    ///
    /// # Errors
    /// What [`SqliteArchive::open`] and [`Shelf::open`] give.
    pub fn open(data: &Path, settings: Settings) -> Result<Self, CoreError> {
        make_private(data)?;
        let archive = SqliteArchive::open(data)?;
        Ok(Self::new(Arc::new(archive), Shelf::open(data)?, settings))
    }

    /// A depot on an archive and a shelf.
    pub fn new(archive: Arc<dyn Archive>, shelf: Shelf, settings: Settings) -> Self {
        let limits = Limits::new(settings.requests_per_token, settings.requests_per_address);
        Self(Arc::new(Inner {
            settings,
            archive,
            shelf,
            busy: Busy::default(),
            figures: Figures::default(),
            backoff: Backoff::default(),
            limits,
            metrics: Metrics::new(),
            stopping: watch::Sender::new(false),
        }))
    }

    /// What it remembers.
    pub fn archive(&self) -> &dyn Archive {
        self.0.archive.as_ref()
    }

    pub(crate) fn shelf(&self) -> &Shelf {
        &self.0.shelf
    }

    pub(crate) fn settings(&self) -> &Settings {
        &self.0.settings
    }

    pub(crate) fn busy(&self) -> &Busy {
        &self.0.busy
    }

    fn figures(&self) -> &Figures {
        &self.0.figures
    }

    pub(crate) fn backoff(&self) -> &Backoff {
        &self.0.backoff
    }

    pub(crate) fn limits(&self) -> &Limits {
        &self.0.limits
    }

    fn metrics(&self) -> &Metrics {
        &self.0.metrics
    }

    pub(crate) fn now(&self) -> DateTime<Utc> {
        (self.0.settings.now)()
    }

    /// Asks uploads under way to save what came and end.
    pub fn stop(&self) {
        self.0.stopping.send_replace(true);
    }

    pub(crate) fn stopping(&self) -> watch::Receiver<bool> {
        self.0.stopping.subscribe()
    }

    /// Gives up uploads that nobody continued, puts photos away by rule, and forgets audit rows whose time is over.
    ///
    /// # Errors
    /// As the archive gives them.
    pub async fn sweep(&self) -> Result<(), CoreError> {
        let (mut given_up, mut first_failure) = (0_u32, None);
        for id in self.archive().expired_uploads(self.now()).await? {
            // Someone writes it at this moment: it is not expired any more.
            let Some(hold) = self.busy().hold(&id) else { continue };
            match self.give_up(id).await {
                Ok(done) => given_up += u32::from(done),
                // One that cannot be removed must not keep the others.
                Err(error) => first_failure = first_failure.or(Some(error)),
            }
            drop(hold);
        }
        if given_up > 0 {
            tracing::info!(count = given_up, "uploads given up");
        }
        if let Some(error) = first_failure {
            return Err(error);
        }
        self.keep_photos().await?;
        self.archive().forget_closed_uploads(self.now()).await?;
        self.archive().forget_old_audit(self.now()).await
    }

    /// Gives one upload up where it is expired still; the caller holds it. The bytes go first: should the depot end in
    /// between, the row is found again. The other way round they would lie there for good, and on a full disk the row could
    /// not be written at all.
    async fn give_up(&self, id: String) -> Result<bool, CoreError> {
        let found = self.archive().upload(id.clone()).await?;
        if found.is_none_or(|upload| upload.expires > self.now()) {
            return Ok(false);
        }
        let (shelf, name) = (self.shelf().clone(), id.clone());
        on_disk(move || shelf.forget(&name)).await?;
        self.archive().expire_upload(id, self.now()).await
    }
}

/// The whole service.
pub fn app(depot: Depot) -> Router {
    routes::router(depot)
}

/// Every request that the service answers.
pub fn addresses(depot: &Depot) -> Vec<Address> {
    routes::list(depot)
}

/// Runs file work off the event loop.
pub(crate) async fn on_disk<T: Send + 'static>(work: impl FnOnce() -> Result<T, CoreError> + Send + 'static) -> Result<T, CoreError> {
    tokio::task::spawn_blocking(work).await.unwrap_or_else(|cause| {
        Err(CoreError::new(gritbook_core::ErrorKind::Internal, "shelf_stopped", "file work was broken off", "try again").because(cause))
    })
}

/// Makes the data folder, readable by its owner alone where it is new: it holds what shops keep to themselves. Its name, and those of
/// folders above it that were missing, survive a power cut.
fn make_private(data: &Path) -> Result<(), CoreError> {
    fn make(folder: &Path) -> std::io::Result<()> {
        if folder.is_dir() {
            return Ok(());
        }
        let above = folder.parent().map_or(Path::new("."), |above| if above.as_os_str().is_empty() { Path::new(".") } else { above });
        make(above)?;
        #[allow(unused_mut, reason = "elsewhere than on Unix there is no mode to set")]
        let mut builder = std::fs::DirBuilder::new();
        #[cfg(unix)]
        {
            use std::os::unix::fs::DirBuilderExt as _;
            builder.mode(0o700);
        }
        match builder.create(folder) {
            Err(cause) if cause.kind() != std::io::ErrorKind::AlreadyExists => Err(cause),
            _ => shelf::sync_folder(above),
        }
    }
    make(data).map_err(|cause| shelf::file_error("making the data folder", cause))
}

/// Holds a data folder, its database and its photos for one running depot.
pub(crate) fn claim(data: &Path) -> Result<Vec<std::fs::File>, CoreError> {
    make_private(data)?;
    Places::of(data)?.locks(data).iter().map(|path| hold(path)).collect()
}

fn hold(path: &Path) -> Result<std::fs::File, CoreError> {
    let file = std::fs::OpenOptions::new()
        .create(true)
        .truncate(false)
        .write(true)
        .open(path)
        .map_err(|cause| shelf::file_error("claiming the data folder", cause))?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(std::fs::TryLockError::WouldBlock) => Err(CoreError::refused(
            "data_in_use",
            "another depot runs on this data folder, or on its database or photos",
            "stop it first, or give this one a folder of its own",
        )),
        Err(std::fs::TryLockError::Error(cause)) => Err(shelf::file_error("claiming the data folder", cause)),
    }
}
