//! What the verbs print with `--json`: one type for each document, from which its JSON Schema is made as well.

use std::path::PathBuf;

use gritbook_core::changeout::Step;
use gritbook_core::debris::reading::LevelCode;
use gritbook_core::fieldbook::{PumpSummary, Remark};
use gritbook_core::ids::{EntryId, PhotoId, PumpId, WorkId};
use gritbook_core::model::{QueuePause, QueuedItem};
use schemars::JsonSchema;
use serde::Serialize;

/// One entry was saved.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct Saved {
    /// Always `gritbook.saved/1`.
    pub(super) schema: &'static str,
    /// Its id.
    pub(super) entry: EntryId,
}

/// A pump was added.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct SavedPump {
    /// Always `gritbook.saved_pump/1`.
    pub(super) schema: &'static str,
    /// Its id.
    pub(super) pump: PumpId,
    /// Its name.
    pub(super) name: String,
}

/// The pumps of a book.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct Pumps {
    /// Always `gritbook.pumps/1`.
    pub(super) schema: &'static str,
    /// By name.
    pub(super) pumps: Vec<PumpSummary>,
}

/// A box check was saved.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct SavedCheck {
    /// Always `gritbook.saved_check/1`.
    pub(super) schema: &'static str,
    /// Of which pump.
    pub(super) pump: PumpId,
    /// Its name.
    pub(super) pump_name: String,
    /// The pump was added with the check.
    pub(super) new_pump: bool,
    /// The check's entry.
    pub(super) check: EntryId,
    /// The grades' entries, in the order given.
    pub(super) grades: Vec<EntryId>,
    /// The photos, in the order given.
    pub(super) photos: Vec<PhotoId>,
    /// The level that was recorded.
    pub(super) level: Option<LevelCode>,
    /// What to look at again.
    pub(super) remarks: Vec<Remark>,
}

/// What waits to be sent.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct Outbox {
    /// Always `gritbook.outbox/1`.
    pub(super) schema: &'static str,
    /// In the order they go.
    pub(super) items: Vec<QueuedItem>,
    /// Where the last attempt failed: until when nothing goes, and why.
    pub(super) pause: Option<QueuePause>,
}

/// A run of the outbox.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct Sync {
    /// Always `gritbook.sync/1`.
    pub(super) schema: &'static str,
    /// Entries that the depot has now.
    pub(super) entries_sent: u32,
    /// Photos that the depot has now.
    pub(super) photos_sent: u32,
    /// Items that the depot refused for good.
    pub(super) parked: u32,
    /// Entries of others that are new here.
    pub(super) entries_pulled: u32,
    /// Entries from the depot that stand aside.
    pub(super) set_aside: u32,
    /// Requests made.
    pub(super) requests: u32,
    /// Items that still wait.
    pub(super) waiting: usize,
    /// True where nothing is left to send and nothing to fetch.
    pub(super) finished: bool,
}

/// A book was exported.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct Exported {
    /// Always `gritbook.exported/1`.
    pub(super) schema: &'static str,
    /// Where.
    pub(super) folder: PathBuf,
    /// Entries.
    pub(super) entries: usize,
    /// Photos.
    pub(super) photos: usize,
    /// Photos whose file is gone.
    pub(super) photos_missing: usize,
}

/// A change-out under way, or at its end.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct ChangeOut {
    /// Always `gritbook.changeout_state/1`.
    pub(super) schema: &'static str,
    /// Names the work.
    pub(super) work: WorkId,
    /// Steps done or skipped.
    pub(super) marked: usize,
    /// Steps in all.
    pub(super) of: usize,
    /// The step to be done now; null where all are marked.
    pub(super) next: Option<NextStep>,
    /// The entry that records the work, once it is finished.
    pub(super) entry: Option<EntryId>,
}

/// The step to be done now.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct NextStep {
    /// Its name within the work.
    pub(super) key: String,
    /// A hold point: it guards what hurts people or the machine.
    pub(super) hold: bool,
    /// A few words.
    pub(super) title: String,
    /// What to do.
    pub(super) text: String,
    /// The signal word and what to mind.
    pub(super) caution: Option<String>,
    /// Where the duty or the practice is written.
    pub(super) sources: Vec<String>,
}

impl From<Step> for NextStep {
    fn from(step: Step) -> Self {
        let caution = step.caution.map(|caution| format!("{}: {}", caution.signal.words().en, caution.text.en));
        Self { key: step.key, hold: step.hold, title: step.title.en, text: step.text.en, caution, sources: step.sources }
    }
}
