//! What the book takes and tells.

use std::path::PathBuf;

use gritbook_core::CoreError;
use gritbook_core::fieldbook as core_book;
use gritbook_core::model::part as core_part;
use gritbook_core::outbox as core_outbox;
use gritbook_core::outbox::chain as core_chain;
use gritbook_core::store as core_store;

use super::{Cup, EntryBody, GradeSource, LevelCode, Liquid, LogEntry, Moment, Part, PumpSpec};
use crate::cross::{Cross, Piece, choice, record};
use crate::reading::DebrisReading;

record! {
    /// What opening found; every field is something to tell the person, if not empty.
    OpenReport = core_store::OpenReport {
        /// A damaged database was moved here and a new one begun; photos stayed.
        damaged_moved_to: Option<String>,
        /// Photos that a crash left without a row, and that have one now.
        adopted_photos: Vec<String>,
        /// Files in the photo folder that are no photos of this book; left where they are.
        strange_files: Vec<String>,
    }
}

/// A grade before it is saved, with a box check or alone.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct GradeDraft {
    /// Which part.
    pub part: Part,
    /// Which side.
    pub cup: Option<Cup>,
    /// 0 sound, 1 bedded, 2 worn, 3 passing, 4 spent.
    pub grade: u8,
    /// By eye or by measure.
    pub source: GradeSource,
    /// Edition of the criteria.
    pub criteria: String,
    /// Files of photos of the wear surface, in the order taken; they are copied into the book and left where they are.
    #[uniffi(default = [])]
    pub photo_paths: Vec<String>,
}

/// Parts graded in one go, before they are saved.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct GradesDraft {
    /// Which pump.
    pub pump_id: String,
    /// Running total of concrete pumped, m3 (0 to 10 million).
    #[uniffi(default = None)]
    pub pump_m3: Option<f64>,
    /// The grades, in the order given; at least one.
    pub grades: Vec<GradeDraft>,
    /// Names this grading as it was begun (a UUID, see `new_work`): saved again after a crash, it is recorded once.
    #[uniffi(default = None)]
    pub work: Option<String>,
}

impl TryFrom<GradesDraft> for core_book::GradesDraft {
    type Error = CoreError;

    fn try_from(draft: GradesDraft) -> Result<Self, CoreError> {
        let GradesDraft { pump_id, pump_m3, grades, work } = draft;
        Ok(Self {
            pump: pump_id.parse()?,
            pump_m3,
            grades: grades.into_iter().map(TryFrom::try_from).collect::<Result<_, _>>()?,
            work: work.map(|work| work.parse()).transpose()?,
        })
    }
}

record! {
    /// A photo of a wear surface, with the grade that was given with it.
    WearPhoto = core_book::WearPhoto {
        /// The photo's id.
        photo: String,
        /// Its file; null where this device does not have it (another device took it, or it is gone).
        path: Option<String>,
        /// When it was graded.
        at: Moment,
        /// Running total then, m3.
        pump_m3: Option<f64>,
        /// 0 sound to 4 spent.
        grade: u8,
        /// By eye or by measure.
        source: GradeSource,
        /// True where a new part was fitted after it: it shows the one before.
        of_part_before: bool,
    }
}

fn files(paths: Vec<String>) -> Vec<core_book::PhotoInput> {
    paths.into_iter().map(|path| core_book::PhotoInput::Path(PathBuf::from(path))).collect()
}

impl TryFrom<GradeDraft> for core_book::GradeDraft {
    type Error = CoreError;

    fn try_from(draft: GradeDraft) -> Result<Self, CoreError> {
        let GradeDraft { part, cup, grade, source, criteria, photo_paths } = draft;
        let (part, cup, source) = (part.cross(), cup.cross(), source.cross());
        Ok(Self { part, cup, grade: core_part::Grade::new(grade)?, source, criteria, photos: files(photo_paths) })
    }
}

/// A box check before it is saved.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct BoxCheckDraft {
    /// Which pump.
    pub pump_id: String,
    /// A pump to add with the check, in the same save; `pump_id` is then what `pump_id_named` gives for its name.
    #[uniffi(default = None)]
    pub new_pump: Option<PumpSpec>,
    /// Running total of concrete pumped, m3 (0 to 10 million).
    #[uniffi(default = None)]
    pub pump_m3: Option<f64>,
    /// The photos' files, in the order taken; they are copied into the book and left where they are.
    #[uniffi(default = [])]
    pub photo_paths: Vec<String>,
    /// The level as judged by eye. Beside a reading the graver of the two counts.
    #[uniffi(default = None)]
    pub level_by_eye: Option<LevelCode>,
    /// Grades given at the same time.
    #[uniffi(default = [])]
    pub grades: Vec<GradeDraft>,
    /// What the liquid looked like.
    #[uniffi(default = None)]
    pub liquid: Option<Liquid>,
    /// Whether the liquid was low.
    #[uniffi(default = None)]
    pub liquid_low: Option<bool>,
    /// Settled solids since the last drain, mL (0 to 100,000).
    #[uniffi(default = None)]
    pub settled_ml: Option<f64>,
    /// Names this check as it was begun (a UUID, see `new_work`): saved again after a crash, it is recorded once.
    #[uniffi(default = None)]
    pub work: Option<String>,
    /// Free words.
    #[uniffi(default = "")]
    pub note: String,
}

impl BoxCheckDraft {
    pub(crate) fn with_reading(self, reading: Option<&DebrisReading>) -> Result<core_book::BoxCheckDraft, CoreError> {
        let Self { pump_id, new_pump, pump_m3, photo_paths, level_by_eye, grades, liquid, liquid_low, settled_ml, work, note } = self;
        Ok(core_book::BoxCheckDraft {
            pump: pump_id.parse()?,
            new_pump: new_pump.cross(),
            pump_m3,
            photos: files(photo_paths),
            reading: reading.map(|reading| reading.0.clone()),
            level_by_eye: level_by_eye.cross(),
            grades: grades.into_iter().map(TryFrom::try_from).collect::<Result<_, _>>()?,
            liquid: liquid.cross(),
            liquid_low,
            settled_ml,
            work: work.map(|work| work.parse()).transpose()?,
            note,
        })
    }
}

record! {
    /// Something worth telling about a save that was done all the same.
    Remark = core_book::Remark {
        /// Stable code: `total_went_back`, `total_jumped`.
        code: String,
        /// In plain words.
        text: String,
    }
}

record! {
    /// A saved box check, by the ids of its entries.
    SavedCheck = core_book::SavedCheck {
        /// The check's entry.
        check: String,
        /// The grades' entries, in the order given.
        grades: Vec<String>,
        /// The photos, in the order given.
        photos: Vec<String>,
        /// What to look at again.
        remarks: Vec<Remark>,
    }
}

record! {
    /// The last box check of a pump.
    LastCheck = core_book::LastCheck {
        /// Its entry's id.
        entry: String,
        /// When.
        at: Moment,
        /// The level.
        level: Option<LevelCode>,
        /// By eye or by the photo.
        level_source: Option<GradeSource>,
        /// The liquid.
        liquid: Option<Liquid>,
        /// Whether it was low.
        liquid_low: Option<bool>,
    }
}

record! {
    /// What a part is graded now: since it was fitted last.
    CurrentGrade = core_book::CurrentGrade {
        /// Which part.
        part: Part,
        /// Which side.
        cup: Option<Cup>,
        /// The last grade by eye.
        by_eye: Option<u8>,
        /// The last grade by measure.
        measured: Option<u8>,
        /// The graver of the two: it counts.
        counts: u8,
    }
}

record! {
    /// A pump with what is known of it now.
    PumpSummary = core_book::PumpSummary {
        /// Its id.
        id: String,
        /// Its figures.
        spec: PumpSpec,
        /// Another pump has the same name: two devices gave it.
        name_shared: bool,
        /// The last running total that was told, m3.
        pump_m3: Option<f64>,
        /// The last box check.
        last_check: Option<LastCheck>,
        /// Grades of parts, by part and side.
        grades: Vec<CurrentGrade>,
        /// The gravest of the grades that count.
        gravest: Option<u8>,
        /// Entries of this pump that the depot does not have yet.
        waiting: u64,
    }
}

/// An entry with what holds of it now.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct EffectiveEntry {
    /// As it was sealed.
    pub entry: LogEntry,
    /// What holds now; null where it was withdrawn.
    pub holds: Option<EntryBody>,
    /// The amendments' ids, in the record's order; the last holds.
    pub amended_by: Vec<String>,
    /// Two devices amended it to different things: a person should look.
    pub clash: bool,
}

impl Piece for core_book::Effective {}

impl Cross<EffectiveEntry> for core_book::Effective {
    fn cross(self) -> EffectiveEntry {
        let Self { sealed, holds, amended_by, clash } = self;
        EffectiveEntry { entry: sealed.cross(), holds: holds.cross(), amended_by: amended_by.cross(), clash }
    }
}

choice! {
    /// How a chain is broken at one place.
    ChainFault = core_chain::ChainFault {
        /// The text no longer has the hash it was stored with.
        TextChanged,
        /// The text cannot be read as an entry.
        Unreadable,
        /// A number is missing before this entry.
        Missing,
        /// Two entries have this number.
        Forked,
        /// The entry names another predecessor than the one that stands before it.
        PrevDiffers,
        /// The hybrid time does not grow.
        TimeGoesBack,
        /// The last entry that this device knows it wrote is not there.
        TipMissing,
    }
}

record! {
    /// A break in a device's chain.
    ChainBreak = core_chain::ChainBreak {
        /// The number of the entry at which it shows.
        seq: u64,
        /// The entry's id as stored.
        entry: String,
        /// How.
        fault: ChainFault,
    }
}

record! {
    /// One device's chain.
    DeviceChain = core_book::DeviceChain {
        /// Whose.
        device: String,
        /// True for this book's own device.
        own: bool,
        /// Entries that are here.
        entries: u64,
        /// Where it is broken.
        breaks: Vec<ChainBreak>,
    }
}

record! {
    /// What verify found.
    VerifyReport = core_book::VerifyReport {
        /// Name and version of the document.
        schema: String,
        /// True where nothing is wrong.
        sound: bool,
        /// The chains, by device.
        devices: Vec<DeviceChain>,
        /// Photos whose bytes are what they were.
        photos_sound: u64,
        /// Photos whose file is gone, by id.
        photos_missing: Vec<String>,
        /// Photos whose file is not what it was, by id.
        photos_damaged: Vec<String>,
        /// Photos of other devices' entries that are not here: nothing is wrong.
        photos_elsewhere: u64,
        /// Photos here that no entry names, by id: nothing is wrong.
        photos_unclaimed: Vec<String>,
        /// Entries from the depot that stand aside.
        set_aside: u64,
        /// What SQLite says about its pages, where it is not well.
        database: Option<String>,
    }
}

record! {
    /// What was exported.
    Exported = core_book::Exported {
        /// Where.
        folder: String,
        /// Entries.
        entries: u64,
        /// Photos.
        photos: u64,
        /// Photos whose file is gone.
        photos_missing: u64,
    }
}

/// How to run the outbox.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct RunOptions {
    /// Makes the back-off's draws; take it from the system's randomness, so that phones do not come back all at once.
    pub seed: u64,
    /// Ask for others' entries when all is sent.
    pub pull: bool,
    /// A person asked for it now: do not wait for a pause to end.
    pub now_please: bool,
    /// Photo bytes in one request; null for the usual 1 MiB.
    #[uniffi(default = None)]
    pub chunk_bytes: Option<u64>,
    /// The enrolment code as long as no `LetIn` was heard for it; null for none.
    #[uniffi(default = None)]
    pub code: Option<String>,
}

impl Cross<core_outbox::RunOptions> for RunOptions {
    fn cross(self) -> core_outbox::RunOptions {
        let Self { seed, pull, now_please, chunk_bytes, code } = self;
        let usual = core_outbox::OutboxSettings::default();
        let chunk_bytes = chunk_bytes.unwrap_or(usual.chunk_bytes);
        core_outbox::RunOptions { settings: core_outbox::OutboxSettings { chunk_bytes, ..usual }, seed, pull, now_please, code }
    }
}
