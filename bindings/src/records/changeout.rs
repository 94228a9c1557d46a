//! The change-out: steps to show, and how far one has come.

use gritbook_core::changeout as core_change;
use gritbook_core::fieldbook as core_book;
use gritbook_core::ids::{PhotoId, WorkId};

use super::{Cup, Moment, RemovalReason};
use crate::cross::{Cross, Piece, choice, record};
use crate::error::FieldBookError;
use crate::grades::Words;

choice! {
    /// How grave a caution is: the signal words of ANSI Z535.4 and ISO 3864-2.
    Signal = core_change::Signal {
        /// Would kill or maim.
        Danger,
        /// Could kill or maim.
        Warning,
        /// Could hurt.
        Caution,
        /// Could harm the machine, or duty.
        Notice,
    }
}

choice! {
    /// What a step means for the life of the cup.
    StepRecords = core_change::StepRecords {
        /// The old cup is out.
        Removed,
        /// The new cup is in.
        Fitted,
    }
}

impl Cross<Words> for core_change::Bilingual {
    fn cross(self) -> Words {
        let Self { en, es } = self;
        Words { en, es }
    }
}

record! {
    /// A caution at the step that it belongs to.
    StepCaution = core_change::Caution {
        /// How grave.
        signal: Signal,
        /// What to mind.
        text: Words,
        /// What it protects.
        protects: Words,
    }
}

record! {
    /// What stands before work that puts hands where something could move.
    Precaution = core_change::Precaution {
        /// What comes before it all.
        first: Words,
        /// What to mind.
        caution: StepCaution,
        /// Where the duty or the practice is written.
        sources: Vec<String>,
    }
}

record! {
    /// One step.
    ChangeOutStep = core_change::Step {
        /// Its name within the work; `mark_step` takes it.
        key: String,
        /// The cup it is about.
        cup: Option<Cup>,
        /// A hold point: it guards what hurts people or the machine.
        hold: bool,
        /// A few words.
        title: Words,
        /// What to do.
        text: Words,
        /// What to mind.
        caution: Option<StepCaution>,
        /// A photo matters here.
        photo: bool,
        /// What it means for the cup's life.
        records: Option<StepRecords>,
        /// Where the duty or the practice is written.
        sources: Vec<String>,
    }
}

/// A change-out under way.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct ChangeOutState {
    /// To be kept by the shell after every touch: it holds all of this.
    pub document_json: String,
    /// Names the work.
    pub work: String,
    /// On which pump.
    pub pump_id: String,
    /// The cups that are changed, in this order.
    pub cups: Vec<Cup>,
    /// What the work is.
    pub title: Words,
    /// What comes before it all.
    pub first: Words,
    /// All steps, in order.
    pub steps: Vec<ChangeOutStep>,
    /// How many are marked; the next one to do is `steps[marked]`.
    pub marked: u32,
    /// Why each marked step was skipped; null where it was done.
    pub skipped: Vec<Option<String>>,
}

impl Piece for core_change::Progress {}
impl Piece for String {}
impl Piece for Option<String> {}

impl Cross<ChangeOutState> for core_change::Progress {
    fn cross(self) -> ChangeOutState {
        let procedure = core_change::cup_change();
        ChangeOutState {
            document_json: self.document(),
            work: self.begun.work.cross(),
            pump_id: self.begun.pump.cross(),
            title: procedure.title.clone().cross(),
            first: procedure.first.clone().cross(),
            steps: self.steps().cross(),
            marked: u32::try_from(self.marks.len()).unwrap_or(u32::MAX),
            skipped: self.marks.into_iter().map(|mark| mark.skipped).collect(),
            cups: self.begun.cups.cross(),
        }
    }
}

record! { both
    /// What is told at the end of a change-out.
    ChangeOutEnd = core_book::ChangeOutEnd {
        /// Running total, m3.
        pump_m3: Option<f64>,
        /// Why each cup came out, in the order of the work's cups.
        reasons: Vec<RemovalReason>,
        /// Parts that were used, in the shop's own words.
        parts_used: String,
        /// Free words.
        note: String,
    }
}

impl Piece for RemovalReason {}
impl Piece for gritbook_core::model::entry::RemovalReason {}

record! {
    /// A recorded change-out, by the ids of its entries.
    SavedChangeOut = core_book::SavedChangeOut {
        /// The work's entry.
        work: String,
        /// Ends and beginnings of lives; empty where the work had been recorded before.
        lives: Vec<String>,
    }
}

/// A change-out from the document that the shell kept.
#[uniffi::export]
pub fn change_out_state(document_json: &str) -> Result<ChangeOutState, FieldBookError> {
    Ok(core_change::Progress::of_document(document_json)?.cross())
}

/// Marks the step that is to be done now as done or, with a reason, as skipped. Photos are kept in the book before.
#[uniffi::export]
pub fn mark_step(
    document_json: &str,
    step: &str,
    skipped: Option<String>,
    photo_ids: Vec<String>,
    now: Moment,
) -> Result<ChangeOutState, FieldBookError> {
    let mut progress = core_change::Progress::of_document(document_json)?;
    let photos = photo_ids.iter().map(|id| id.parse()).collect::<Result<Vec<PhotoId>, _>>()?;
    progress.mark(step, skipped.as_deref(), photos, now.try_into()?)?;
    Ok(progress.cross())
}

/// Takes the last mark back.
#[uniffi::export]
pub fn take_back_step(document_json: &str) -> Result<ChangeOutState, FieldBookError> {
    let mut progress = core_change::Progress::of_document(document_json)?;
    progress.take_back();
    Ok(progress.cross())
}

/// What stands before a hand goes into a bore.
#[uniffi::export]
pub fn hand_in_bore() -> Precaution {
    core_change::hand_in_bore().cross()
}

/// The signal word of a caution.
#[uniffi::export]
pub fn signal_words(signal: Signal) -> Words {
    let signal: core_change::Signal = signal.cross();
    signal.words().cross()
}

/// A new name for a piece of work that may be saved again after a crash.
#[uniffi::export]
pub fn new_work(now: Moment) -> Result<String, FieldBookError> {
    Ok(WorkId::new(chrono::DateTime::<chrono::FixedOffset>::try_from(now)?.to_utc()).cross())
}
