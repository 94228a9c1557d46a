//! Pumps, parts and entries.

use gritbook_core::CoreError;
use gritbook_core::model::{entry as core_entry, part as core_part, pump as core_pump};
use gritbook_core::wear::document;

use super::{LevelCode, Moment, ReadingFacts};
use crate::cross::{Cross, Piece, choice, record};

choice! {
    /// Which of the two pistons.
    Cup = core_part::Cup {
        /// The piston that the shop calls A.
        A,
        /// The other one.
        B,
    }
}

choice! {
    /// A part that is graded.
    Part = core_part::Part {
        /// The piston cup that seals concrete from the box.
        Cup,
        /// The guide band behind the cup.
        GuideBand,
        /// The O-ring, on pumps that have one in the band's place.
        ORing,
        /// The piston plate.
        Plate,
        /// The chrome bore of the concrete cylinder.
        Bore,
        /// The coupler between the two rods.
        Coupler,
        /// The coupler's bolts.
        Bolts,
    }
}

choice! {
    /// How a grade was found.
    GradeSource = core_part::GradeSource {
        /// By eye and thumb.
        Eye,
        /// From a measurement.
        Measured,
    }
}

choice! {
    /// What seals and guides behind the cup.
    SealVariant = core_pump::SealVariant {
        /// A guide band.
        GuideBand,
        /// An O-ring.
        ORing,
    }
}

choice! {
    /// What is in the flush box.
    BoxFluid = core_pump::BoxFluid {
        /// Water.
        Water,
        /// Oil.
        Oil,
    }
}

choice! {
    /// Which side of the drive cylinders the oil acts on when it pushes concrete.
    DriveSide = core_pump::DriveSide {
        /// The piston side: more pressure, less output.
        Piston,
        /// The rod side: less pressure, more output.
        Rod,
    }
}

choice! {
    /// How many switches stroke the pistons by hand for a test.
    TestSwitches = core_pump::TestSwitches {
        /// One switch strokes both pistons in turn.
        One,
        /// One switch for each piston.
        Two,
    }
}

choice! {
    /// How the stroking speed is set.
    SpeedControl = core_pump::SpeedControl {
        /// By a valve on the pump.
        Valve,
        /// By a knob on the control box.
        Electric,
    }
}

record! { both
    /// A pump's own figures.
    PumpSpec = core_pump::PumpSpec {
        /// What the shop calls it; unique in a book.
        name: String,
        /// Bore of the concrete cylinders, mm (80 to 300).
        bore_mm: f64,
        /// Stroke of the concrete cylinders, mm (300 to 3000).
        stroke_mm: f64,
        /// Bore of the hydraulic drive cylinders, mm.
        drive_bore_mm: f64,
        /// Rod of the hydraulic drive cylinders, mm.
        drive_rod_mm: f64,
        /// Side on which it is driven now.
        drive_side: DriveSide,
        /// Guide band or O-ring.
        seal: SealVariant,
        /// What is in the box.
        fluid: BoxFluid,
        /// Test switches.
        test_switches: TestSwitches,
        /// Speed control.
        speed_control: SpeedControl,
    }
}

choice! {
    /// The liquid in the box.
    Liquid = core_entry::Liquid {
        /// Clear.
        Clear,
        /// Grey: cement fines, normal.
        Grey,
        /// Muddy: holds mortar.
        Muddy,
        /// Oily: a film of oil.
        Oily,
    }
}

choice! {
    /// Why a part came out.
    RemovalReason = core_entry::RemovalReason {
        /// Worn, before it failed.
        Worn,
        /// On plan.
        Planned,
        /// Damaged by something else.
        Damaged,
        /// Because the other cup was changed.
        OtherCup,
        /// It gave up mid-pour.
        Failed,
    }
}

record! {
    /// The box was drained and looked at.
    BoxCheckMade = core_entry::BoxCheck {
        /// Running total of concrete pumped, m3.
        pump_m3: Option<f64>,
        /// Photos of the drained material, by hash, in the order taken.
        photos: Vec<String>,
        /// The reading of one of the photos, without outlines.
        reading: Option<ReadingFacts>,
        /// The level that counts.
        level: Option<LevelCode>,
        /// How the level was found.
        level_source: Option<GradeSource>,
        /// What the liquid looked like.
        liquid: Option<Liquid>,
        /// Whether the liquid was low.
        liquid_low: Option<bool>,
        /// Settled solids since the last drain, mL.
        settled_ml: Option<f64>,
        /// The name that the device gave it when it was begun.
        work: Option<String>,
        /// Free words.
        note: String,
    }
}

record! {
    /// A part was graded.
    GradeGiven = core_entry::Graded {
        /// Which part.
        part: Part,
        /// Which side; null where the part has none.
        cup: Option<Cup>,
        /// 0 sound, 1 bedded, 2 worn, 3 passing, 4 spent.
        grade: u8,
        /// By eye or by measure.
        source: GradeSource,
        /// Edition of the criteria that the grade was given against.
        criteria: String,
        /// Running total, m3.
        pump_m3: Option<f64>,
        /// Photos of the wear surface, by hash.
        photos: Vec<String>,
        /// The name that the device gave the grading when it was begun.
        work: Option<String>,
        /// Free words.
        note: String,
    }
}

impl TryFrom<GradeGiven> for core_entry::Graded {
    type Error = CoreError;

    fn try_from(given: GradeGiven) -> Result<Self, CoreError> {
        let GradeGiven { part, cup, grade, source, criteria, pump_m3, photos, work, note } = given;
        let photos = photos.iter().map(|photo| photo.parse()).collect::<Result<_, _>>()?;
        let work = work.map(|work| work.parse()).transpose()?;
        let (part, cup, source) = (part.cross(), cup.cross(), source.cross());
        Ok(Self { part, cup, grade: core_part::Grade::new(grade)?, source, criteria, pump_m3, photos, work, note })
    }
}

/// Something was measured; the unit is part of the measure's name.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct MeasureTaken {
    /// Which part.
    pub part: Part,
    /// Which side.
    pub cup: Option<Cup>,
    /// For example `bore_wear_mm`.
    pub measure: String,
    /// In the unit that the name carries.
    pub value: f64,
    /// Running total, m3.
    pub pump_m3: Option<f64>,
    /// The whole measurement, where one of [`crate::wear`] was made: its document as it was given.
    #[uniffi(default = None)]
    pub document_json: Option<String>,
    /// Names the measuring as it was begun (`new_work`): saved twice, it is recorded once.
    #[uniffi(default = None)]
    pub work: Option<String>,
}

impl Cross<MeasureTaken> for core_entry::Measured {
    fn cross(self) -> MeasureTaken {
        let Self { part, cup, measure, value, pump_m3, document, work } = self;
        let document_json = document.map(|document| document.to_string());
        MeasureTaken { part: part.cross(), cup: cup.cross(), measure, value, pump_m3, document_json, work: work.cross() }
    }
}

impl TryFrom<MeasureTaken> for core_entry::Measured {
    type Error = CoreError;

    fn try_from(taken: MeasureTaken) -> Result<Self, CoreError> {
        let MeasureTaken { part, cup, measure, value, pump_m3, document_json, work } = taken;
        let document = document_json.map(|text| document::read(&text)).transpose()?.map(|(document, _)| document);
        let work = work.map(|work| work.parse()).transpose()?;
        Ok(Self { part: part.cross(), cup: cup.cross(), measure, value, pump_m3, document, work })
    }
}

record! { both
    /// A part was fitted.
    PartFitted = core_entry::Fitted {
        /// Which part.
        part: Part,
        /// Which side.
        cup: Option<Cup>,
        /// Running total, m3.
        pump_m3: Option<f64>,
        /// True where it was already in when the record starts.
        already_in: bool,
        /// Its age then, m3, where known.
        age_m3: Option<f64>,
    }
}

record! { both
    /// A part was taken out.
    PartRemoved = core_entry::Removed {
        /// Which part.
        part: Part,
        /// Which side.
        cup: Option<Cup>,
        /// Why.
        reason: RemovalReason,
        /// Running total, m3.
        pump_m3: Option<f64>,
    }
}

record! { both
    /// Concrete was pumped.
    PourMade = core_entry::Poured {
        /// This pour, m3; null where only the running total was read.
        pour_m3: Option<f64>,
        /// Running total after it, m3.
        pump_m3: Option<f64>,
        /// Volume-weighted mean concrete pressure, bar.
        concrete_bar: Option<f64>,
        /// 1 is an ordinary mix.
        mix_factor: Option<f64>,
    }
}

/// What happened, by kind.
#[allow(clippy::large_enum_variant, reason = "made to cross once and dropped; a Box would only add a copy")]
#[derive(Debug, Clone, PartialEq, uniffi::Enum)]
pub enum EntryBody {
    /// A pump was added, or its figures were set anew.
    PumpSet {
        /// The figures.
        spec: PumpSpec,
    },
    /// The box was drained and looked at.
    BoxCheck {
        /// What was found.
        check: BoxCheckMade,
    },
    /// A part was graded.
    Graded {
        /// The grade.
        graded: GradeGiven,
    },
    /// Something was measured.
    Measured {
        /// The measurement.
        measured: MeasureTaken,
    },
    /// A part was fitted.
    Fitted {
        /// Which.
        fitted: PartFitted,
    },
    /// A part was taken out.
    Removed {
        /// Which and why.
        removed: PartRemoved,
    },
    /// Concrete was pumped.
    Poured {
        /// How much.
        poured: PourMade,
    },
    /// The call was made, and perhaps overruled.
    Called {
        /// The answer document, `gritbook.call/1`.
        answer_json: String,
        /// What the mechanic decided, where it differs.
        overruled_to: Option<String>,
        /// Why.
        overrule_reason: Option<String>,
    },
    /// Parts were changed, step by step.
    ChangedOut {
        /// The cups that were changed.
        cups: Vec<Cup>,
        /// Steps that were done.
        steps_done: u64,
        /// Steps that were skipped for a reason.
        steps_skipped: u64,
        /// All its photos, by id.
        photos: Vec<String>,
        /// Parts that were used.
        parts_used: String,
    },
    /// An earlier entry was wrong. What holds instead stands with that entry: see `FieldBook.effective`.
    Amended {
        /// The entry that was wrong; it stays in the record.
        amends_id: String,
        /// Why.
        reason: String,
        /// True where it should not be there at all.
        withdrawn: bool,
    },
    /// A kind that a newer program wrote.
    Other {
        /// Its name.
        kind: String,
        /// What it holds.
        body_json: String,
    },
}

impl Cross<EntryBody> for core_entry::EntryBody {
    fn cross(self) -> EntryBody {
        match self {
            Self::PumpSet(spec) => EntryBody::PumpSet { spec: spec.cross() },
            Self::BoxCheck(check) => EntryBody::BoxCheck { check: check.cross() },
            Self::Graded(graded) => EntryBody::Graded { graded: graded.cross() },
            Self::Measured(measured) => EntryBody::Measured { measured: measured.cross() },
            Self::Fitted(fitted) => EntryBody::Fitted { fitted: fitted.cross() },
            Self::Removed(removed) => EntryBody::Removed { removed: removed.cross() },
            Self::Poured(poured) => EntryBody::Poured { poured: poured.cross() },
            Self::Called(core_entry::Called { answer, overruled_to, overrule_reason }) => {
                EntryBody::Called { answer_json: answer.to_string(), overruled_to, overrule_reason }
            }
            Self::ChangedOut(changed) => {
                let skipped = changed.steps.iter().filter(|step| step.skipped.is_some()).count();
                EntryBody::ChangedOut {
                    cups: changed.cups.cross(),
                    steps_done: (changed.steps.len() - skipped).cross(),
                    steps_skipped: skipped.cross(),
                    photos: changed.photos.cross(),
                    parts_used: changed.parts_used,
                }
            }
            Self::Amended(core_entry::Amended { amends, reason, instead }) => {
                EntryBody::Amended { amends_id: amends.cross(), reason, withdrawn: instead.is_none() }
            }
            Self::Other(core_entry::OtherBody { kind, body }) => EntryBody::Other { kind, body_json: body.to_string() },
        }
    }
}

/// An entry as it was sealed.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct LogEntry {
    /// Its id.
    pub id: String,
    /// Name and version of its format.
    pub schema: String,
    /// Who wrote it.
    pub device_id: String,
    /// 1, 2, 3, ... within the device.
    pub seq: u64,
    /// The person.
    pub person: String,
    /// The device's wall clock.
    pub at: Moment,
    /// Order across devices: milliseconds of hybrid logical time.
    pub hlc_ms: i64,
    /// Order within one of them.
    pub hlc_count: u32,
    /// Hash of the device's previous entry; null for its first.
    pub prev_sha256: Option<String>,
    /// The pump it speaks of.
    pub pump_id: String,
    /// What happened.
    pub body: EntryBody,
    /// The exact JSON, as first written.
    pub doc_json: String,
    /// SHA-256 of `doc_json`.
    pub sha256: String,
}

impl Piece for core_entry::SealedEntry {}

impl Cross<LogEntry> for core_entry::SealedEntry {
    fn cross(self) -> LogEntry {
        let Self { entry: core_entry::Entry { head, body }, doc, hash } = self;
        let core_entry::EntryHead { schema, id, device, seq, person, at, hlc, prev, pump } = head;
        let core_entry::HybridTime { ms, count } = hlc;
        LogEntry {
            id: id.cross(),
            schema,
            device_id: device.cross(),
            seq,
            person,
            at: at.cross(),
            hlc_ms: ms,
            hlc_count: count,
            prev_sha256: prev.cross(),
            pump_id: pump.cross(),
            body: body.cross(),
            doc_json: doc,
            sha256: hash.cross(),
        }
    }
}

/// A pump of which nothing but the name is known: figures to be set right from its own plate.
#[uniffi::export]
pub fn assumed_pump(name: &str) -> PumpSpec {
    core_pump::PumpSpec::assumed(name).cross()
}
