//! The verbs that record one thing.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use gritbook_core::fieldbook::{GradeDraft, GradesDraft, PhotoInput};
use gritbook_core::ids::EntryId;
use gritbook_core::model::entry::{Fitted, Graded, Measured, Poured, RemovalReason, Removed};
use gritbook_core::model::pump::{BoxFluid, DriveSide, SealVariant, SpeedControl, TestSwitches};
use gritbook_core::model::{GradeSource, PumpSpec};
use gritbook_core::wear::grade::{CRITERIA_EDITION, criterion};

use super::documents::{Pumps, Saved, SavedPump};
use super::{Desk, Failure, plain};

fn saved(desk: &Desk, entry: EntryId, line: String) {
    desk.tell(&Saved { schema: "gritbook.saved/1", entry }, [line, format!("entry {entry}")]);
}

/// Grade a part.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: gritbook book yard grade --pump 'Trailer 3' --part guide-band --cup A --grade 3 --note 'worn to one side'\n         \
    gritbook book yard grade --pump 'Trailer 3' --cup A --grade 2 --photo face.jpg"
)]
pub(super) struct GradePart {
    /// The pump's name.
    #[arg(long)]
    pump: String,
    /// The part: cup, guide-band, o-ring, plate, bore, coupler or bolts.
    #[arg(long, default_value = "cup")]
    part: String,
    /// A or B; left out where the part has no side.
    #[arg(long)]
    cup: Option<String>,
    /// 0 sound, 1 bedded, 2 worn, 3 passing, 4 spent.
    #[arg(long)]
    grade: String,
    /// The grade comes from a measurement, not from the eye.
    #[arg(long)]
    measured: bool,
    /// Running total, m3.
    #[arg(long, value_name = "M3", allow_negative_numbers = true)]
    pump_m3: Option<f64>,
    /// A photo of the wear surface; may be given several times.
    #[arg(long, value_name = "FILE")]
    photo: Vec<PathBuf>,
    /// Free words.
    #[arg(long, default_value = "", conflicts_with = "photo")]
    note: String,
}

impl GradePart {
    pub(super) fn run(self, desk: &Desk) -> Result<(), Failure> {
        let (part, grade) = (super::part(&self.part)?, super::grade(&self.grade)?);
        let cup = self.cup.as_deref().map(super::cup).transpose()?;
        let book = desk.open(false)?;
        let pump = super::pump(&book, &self.pump)?;
        let (source, criteria) = (if self.measured { GradeSource::Measured } else { GradeSource::Eye }, CRITERIA_EDITION.to_owned());
        let entry = if self.photo.is_empty() {
            let (photos, work) = (Vec::new(), None);
            book.grade(pump, Graded { part, cup, grade, source, criteria, pump_m3: self.pump_m3, photos, work, note: self.note }, desk.now)?
        } else {
            let photos = self.photo.into_iter().map(PhotoInput::Path).collect();
            let grades = vec![GradeDraft { part, cup, grade, source, criteria, photos }];
            let saved = book.save_grades(GradesDraft { pump, pump_m3: self.pump_m3, grades, work: None }, desk.now)?;
            // One grade was given: one entry came.
            saved[0]
        };
        saved(desk, entry, format!("saved: {} grade {}. {}", plain(part), grade.number(), criterion(part, grade).en));
        Ok(())
    }
}

/// Record a measurement.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: gritbook book yard measure --pump 'Trailer 3' --part bore --cup A --measure bore_wear_mm --value 0.35\n\n\
    With its readings and its verdict:\n\
    gritbook plate points.csv --json > plate.json\n\
    gritbook book yard measure --pump 'Trailer 3' --cup A --from plate.json"
)]
pub(super) struct Measure {
    /// The pump's name.
    #[arg(long)]
    pump: String,
    /// A document that plate, bore, thickness, oring or bolt printed with --json.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["part", "measure", "value"])]
    from: Option<PathBuf>,
    /// The part.
    #[arg(long, required_unless_present = "from")]
    part: Option<String>,
    /// A or B.
    #[arg(long)]
    cup: Option<String>,
    /// What was measured, with its unit at the end, such as bore_wear_mm.
    #[arg(long, required_unless_present = "from")]
    measure: Option<String>,
    /// The value in that unit.
    #[arg(long, allow_negative_numbers = true, required_unless_present = "from")]
    value: Option<f64>,
    /// Running total, m3.
    #[arg(long, value_name = "M3", allow_negative_numbers = true)]
    pump_m3: Option<f64>,
}

impl Measure {
    pub(super) fn run(self, desk: &Desk) -> Result<(), Failure> {
        let cup = self.cup.as_deref().map(super::cup).transpose()?;
        let measured = match &self.from {
            Some(path) => Measured::of_document(&super::text_of(path)?, cup, self.pump_m3)?,
            None => Measured {
                part: super::part(&self.part.unwrap_or_default())?,
                cup,
                measure: self.measure.unwrap_or_default(),
                value: self.value.unwrap_or_default(),
                pump_m3: self.pump_m3,
                document: None,
                work: None,
            },
        };
        let book = desk.open(false)?;
        let line = format!("saved: {} {} {}", plain(measured.part), measured.measure, measured.value);
        let entry = book.measure(super::pump(&book, &self.pump)?, measured, desk.now)?;
        saved(desk, entry, line);
        Ok(())
    }
}

/// Record a part that was fitted.
#[derive(Debug, Args)]
#[command(after_help = "Example: gritbook book yard fit --pump 'Trailer 3' --cup A --pump-m3 1250")]
pub(super) struct Fit {
    /// The pump's name.
    #[arg(long)]
    pump: String,
    /// The part.
    #[arg(long, default_value = "cup")]
    part: String,
    /// A or B.
    #[arg(long)]
    cup: Option<String>,
    /// Running total, m3.
    #[arg(long, value_name = "M3", allow_negative_numbers = true)]
    pump_m3: Option<f64>,
    /// It was in already when the record starts.
    #[arg(long)]
    already_in: bool,
    /// Its age then, m3, where known.
    #[arg(long, value_name = "M3", allow_negative_numbers = true, requires = "already_in")]
    age_m3: Option<f64>,
}

impl Fit {
    pub(super) fn run(self, desk: &Desk) -> Result<(), Failure> {
        let part = super::part(&self.part)?;
        let cup = self.cup.as_deref().map(super::cup).transpose()?;
        let book = desk.open(false)?;
        let fitted = Fitted { part, cup, pump_m3: self.pump_m3, already_in: self.already_in, age_m3: self.age_m3 };
        let entry = book.fitted(super::pump(&book, &self.pump)?, fitted, desk.now)?;
        saved(desk, entry, format!("saved: {} {}", plain(part), if self.already_in { "was in already" } else { "fitted" }));
        Ok(())
    }
}

/// Record a part that came out.
#[derive(Debug, Args)]
#[command(after_help = "Example: gritbook book yard remove --pump 'Trailer 3' --cup A --reason worn --pump-m3 1250")]
pub(super) struct Remove {
    /// The pump's name.
    #[arg(long)]
    pump: String,
    /// The part.
    #[arg(long, default_value = "cup")]
    part: String,
    /// A or B.
    #[arg(long)]
    cup: Option<String>,
    /// worn, planned, damaged, other-cup, or failed (it gave up mid-pour).
    #[arg(long)]
    reason: String,
    /// Running total, m3.
    #[arg(long, value_name = "M3", allow_negative_numbers = true)]
    pump_m3: Option<f64>,
}

impl Remove {
    pub(super) fn run(self, desk: &Desk) -> Result<(), Failure> {
        let part = super::part(&self.part)?;
        let cup = self.cup.as_deref().map(super::cup).transpose()?;
        let reason: RemovalReason = super::word("a reason", "worn, planned, damaged, other-cup, failed", &self.reason)?;
        let book = desk.open(false)?;
        let entry = book.removed(super::pump(&book, &self.pump)?, Removed { part, cup, reason, pump_m3: self.pump_m3 }, desk.now)?;
        saved(desk, entry, format!("saved: {} out, {}", plain(part), plain(reason)));
        Ok(())
    }
}

/// Record a pour or a reading of the running total.
#[derive(Debug, Args)]
#[command(after_help = "Example: gritbook book yard pour --pump 'Trailer 3' --pour-m3 80 --pump-m3 1330 --concrete-bar 65")]
pub(super) struct Pour {
    /// The pump's name.
    #[arg(long)]
    pump: String,
    /// This pour, m3.
    #[arg(long, value_name = "M3", allow_negative_numbers = true)]
    pour_m3: Option<f64>,
    /// Running total after it, m3.
    #[arg(long, value_name = "M3", allow_negative_numbers = true)]
    pump_m3: Option<f64>,
    /// Mean concrete pressure, bar.
    #[arg(long, value_name = "BAR")]
    concrete_bar: Option<f64>,
    /// How hard the mix wears; 1 is ordinary.
    #[arg(long, value_name = "FACTOR")]
    mix_factor: Option<f64>,
}

impl Pour {
    pub(super) fn run(self, desk: &Desk) -> Result<(), Failure> {
        let book = desk.open(false)?;
        let poured = Poured { pour_m3: self.pour_m3, pump_m3: self.pump_m3, concrete_bar: self.concrete_bar, mix_factor: self.mix_factor };
        let entry = book.poured(super::pump(&book, &self.pump)?, poured, desk.now)?;
        let what = match (self.pour_m3, self.pump_m3) {
            (Some(pour), _) => format!("saved: {pour} m3 poured"),
            (None, total) => format!("saved: running total {} m3", total.unwrap_or_default()),
        };
        saved(desk, entry, what);
        Ok(())
    }
}

/// Withdraw an entry.
#[derive(Debug, Args)]
#[command(after_help = "\
Example: gritbook book yard withdraw 019a... --reason 'wrong pump'

The entry stays in the record; the withdrawal stands beside it with its reason.")]
pub(super) struct Withdraw {
    /// The entry's id, as the log prints it.
    entry: String,
    /// What was wrong.
    #[arg(long)]
    reason: String,
}

impl Withdraw {
    pub(super) fn run(self, desk: &Desk) -> Result<(), Failure> {
        let wrong: EntryId = self.entry.parse()?;
        let book = desk.open(false)?;
        let entry = book.amend(wrong, &self.reason, None, desk.now)?;
        saved(desk, entry, format!("saved: {wrong} no longer holds"));
        Ok(())
    }
}

/// The pumps of the book.
#[derive(Debug, Subcommand)]
pub(super) enum Pump {
    /// Add a pump.
    #[command(after_help = "Example: gritbook book yard pump add 'Trailer 3' --bore-mm 180 --stroke-mm 1000")]
    Add(Figures),
    /// Set a pump's figures anew; those not given stay.
    #[command(after_help = "Example: gritbook book yard pump set 'Trailer 3' --drive-side piston --rename 'Trailer 3 (old)'")]
    Set(Figures),
    /// The pumps with their last level and grades.
    #[command(after_help = "Example: gritbook book yard pump list --json")]
    List,
}

/// A pump's figures.
#[derive(Debug, Args)]
pub(super) struct Figures {
    /// Its name.
    name: String,
    /// Another name.
    #[arg(long)]
    rename: Option<String>,
    /// Bore of the concrete cylinders, mm.
    #[arg(long)]
    bore_mm: Option<f64>,
    /// Stroke of the concrete cylinders, mm.
    #[arg(long)]
    stroke_mm: Option<f64>,
    /// Bore of the hydraulic drive cylinders, mm.
    #[arg(long)]
    drive_bore_mm: Option<f64>,
    /// Rod of the hydraulic drive cylinders, mm.
    #[arg(long)]
    drive_rod_mm: Option<f64>,
    /// Driven on the piston or the rod side.
    #[arg(long)]
    drive_side: Option<String>,
    /// guide-band or o-ring.
    #[arg(long)]
    seal: Option<String>,
    /// water or oil in the box.
    #[arg(long)]
    fluid: Option<String>,
    /// one or two test switches.
    #[arg(long)]
    switches: Option<String>,
    /// valve or electric speed control.
    #[arg(long)]
    speed: Option<String>,
}

impl Figures {
    fn over(&self, spec: PumpSpec) -> Result<PumpSpec, Failure> {
        let side: Option<DriveSide> = self.drive_side.as_deref().map(|text| super::word("a side", "piston, rod", text)).transpose()?;
        let seal: Option<SealVariant> = self.seal.as_deref().map(|text| super::word("a seal", "guide-band, o-ring", text)).transpose()?;
        let fluid: Option<BoxFluid> = self.fluid.as_deref().map(|text| super::word("a fluid", "water, oil", text)).transpose()?;
        let switches: Option<TestSwitches> =
            self.switches.as_deref().map(|text| super::word("a number of test switches", "one, two", text)).transpose()?;
        let speed: Option<SpeedControl> =
            self.speed.as_deref().map(|text| super::word("a speed control", "valve, electric", text)).transpose()?;
        Ok(PumpSpec {
            name: self.rename.clone().unwrap_or(spec.name),
            bore_mm: self.bore_mm.unwrap_or(spec.bore_mm),
            stroke_mm: self.stroke_mm.unwrap_or(spec.stroke_mm),
            drive_bore_mm: self.drive_bore_mm.unwrap_or(spec.drive_bore_mm),
            drive_rod_mm: self.drive_rod_mm.unwrap_or(spec.drive_rod_mm),
            drive_side: side.unwrap_or(spec.drive_side),
            seal: seal.unwrap_or(spec.seal),
            fluid: fluid.unwrap_or(spec.fluid),
            test_switches: switches.unwrap_or(spec.test_switches),
            speed_control: speed.unwrap_or(spec.speed_control),
        })
    }
}

impl Pump {
    pub(super) fn run(self, desk: &Desk) -> Result<(), Failure> {
        match self {
            Self::Add(figures) => {
                let spec = figures.over(PumpSpec::assumed(figures.name.trim()))?;
                gritbook_core::pump::check(&spec)?;
                let book = desk.open(true)?;
                let name = spec.name.clone();
                let id = book.add_pump(spec, desk.now)?;
                let line = format!("saved: pump `{name}`, {id}");
                desk.tell(&SavedPump { schema: "gritbook.saved_pump/1", pump: id, name }, [line]);
            }
            Self::Set(figures) => {
                let book = desk.open(false)?;
                let id = super::pump(&book, &figures.name)?;
                let spec = figures.over(book.pump(id)?)?;
                let name = spec.name.clone();
                let entry = book.set_pump(id, spec, desk.now)?;
                saved(desk, entry, format!("saved: figures of `{name}`"));
            }
            Self::List => {
                let book = desk.open(false)?;
                let pumps = book.pumps()?;
                let lines: Vec<String> = pumps.iter().map(super::show::pump_line).collect();
                desk.tell(&Pumps { schema: "gritbook.pumps/1", pumps }, lines);
            }
        }
        Ok(())
    }
}
