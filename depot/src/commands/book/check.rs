//! `book DIR check`.

use std::path::PathBuf;

use gritbook_core::CoreError;
use gritbook_core::debris::read::read_photo;
use gritbook_core::debris::reading::{LevelCode, Reading};
use gritbook_core::debris::settings::{HandScale, ReadSettings};
use gritbook_core::fieldbook::{BoxCheckDraft, GradeDraft, PhotoInput};
use gritbook_core::model::entry::Liquid;
use gritbook_core::model::{Cup, Grade, GradeSource, Part, PumpSpec};
use gritbook_core::wear::grade::CRITERIA_EDITION;

use super::documents;
use super::{Desk, Failure, plain};

/// Save a box check.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example: gritbook book yard check --pump 'Trailer 3' --pump-m3 1250 --photo box.jpg --grade A=2 --grade B=1 --liquid grey

A photo that cannot be read refuses the check and nothing is saved, unless --level gives the level by eye or --keep-photo
keeps the photo without a level. A pump that is not in the book yet is added with middling figures; set them with `pump set`.")]
pub(super) struct Check {
    /// The pump's name.
    #[arg(long)]
    pump: String,
    /// Running total of concrete pumped, m3.
    #[arg(long, value_name = "M3", allow_negative_numbers = true)]
    pump_m3: Option<f64>,
    /// A photo of what was drained, on the debris card; several may be given. The first that can be read gives the level.
    #[arg(long, value_name = "FILE")]
    photo: Vec<PathBuf>,
    /// Photo pixels per millimetre, for a photo without the card: its whole frame is read.
    #[arg(long, value_name = "N")]
    px_per_mm: Option<f64>,
    /// Keep photos that cannot be read.
    #[arg(long)]
    keep_photo: bool,
    /// The level by eye: paste-only, some-sand, sand or lumps. Beside a reading the graver counts.
    #[arg(long)]
    level: Option<String>,
    /// A cup's grade by eye, such as A=2; 0 sound to 4 spent.
    #[arg(long, value_name = "CUP=GRADE")]
    grade: Vec<String>,
    /// The liquid: clear, grey, muddy or oily.
    #[arg(long)]
    liquid: Option<String>,
    /// The liquid was low.
    #[arg(long)]
    liquid_low: bool,
    /// Settled solids since the last drain, mL.
    #[arg(long, value_name = "ML")]
    settled_ml: Option<f64>,
    /// Free words.
    #[arg(long, default_value = "")]
    note: String,
}

fn cup_grade(text: &str) -> Result<(Cup, Grade), CoreError> {
    let (cup, grade) = text
        .split_once('=')
        .ok_or_else(|| CoreError::refused("bad_grade", format!("`{text}` is not a cup's grade"), "write it like A=2"))?;
    Ok((super::cup(cup)?, super::grade(grade)?))
}

impl Check {
    pub(super) fn run(self, desk: &Desk) -> Result<(), Failure> {
        // Everything that can be refused is looked at before the book is touched.
        let level: Option<LevelCode> =
            self.level.as_deref().map(|text| super::word("a level", "paste-only, some-sand, sand, lumps", text)).transpose()?;
        let liquid: Option<Liquid> =
            self.liquid.as_deref().map(|text| super::word("a liquid", "clear, grey, muddy, oily", text)).transpose()?;
        let grades = self.grade.iter().map(|text| cup_grade(text)).collect::<Result<Vec<_>, _>>()?;
        let settings =
            ReadSettings { hand: self.px_per_mm.map(|px_per_mm| HandScale { px_per_mm, window_px: None }), ..ReadSettings::default() };
        let mut photos = Vec::new();
        let mut reading: Option<Reading> = None;
        let mut unread: Vec<Failure> = Vec::new();
        for path in &self.photo {
            let bytes = std::fs::read(path).map_err(|cause| {
                CoreError::refused("no_such_file", format!("`{}` cannot be read", path.display()), "check the photo's name").because(cause)
            })?;
            if reading.is_none() {
                match read(&bytes, &settings) {
                    Ok(found) => reading = Some(found),
                    Err(failure) => unread.push(failure),
                }
            }
            photos.push(PhotoInput::Bytes(bytes));
        }
        if reading.is_none() && level.is_none() && !self.keep_photo && !unread.is_empty() {
            return Err(unread.swap_remove(0));
        }
        for failure in &unread {
            desk.note(format_args!("a photo could not be read and is kept without a reading: {}", failure.error));
        }

        let book = desk.open(true)?;
        let (draft, new_pump) = match super::pump(&book, &self.pump) {
            Ok(id) => (BoxCheckDraft::new(id), false),
            Err(error) if error.code() == "no_such_pump" => (BoxCheckDraft::of_new_pump(PumpSpec::assumed(self.pump.trim())), true),
            Err(error) => return Err(error.into()),
        };
        let draft = BoxCheckDraft {
            pump_m3: self.pump_m3,
            photos,
            reading,
            level_by_eye: level,
            grades: grades
                .into_iter()
                .map(|(cup, grade)| GradeDraft {
                    part: Part::Cup,
                    cup: Some(cup),
                    grade,
                    source: GradeSource::Eye,
                    criteria: CRITERIA_EDITION.to_owned(),
                    photos: Vec::new(),
                })
                .collect(),
            liquid,
            liquid_low: self.liquid_low.then_some(true),
            settled_ml: self.settled_ml,
            note: self.note,
            ..draft
        };
        let pump = draft.pump;
        let saved = book.save_box_check(draft, desk.now)?;
        let summary = book.pump_summary(pump)?;
        let level = summary.last_check.as_ref().and_then(|check| check.level);
        let mut lines = Vec::new();
        if new_pump {
            lines.push(format!("`{}` is new in this book: middling figures were assumed, set them with `pump set`", summary.spec.name));
        }
        let level_words = level.map_or_else(|| "no level".to_owned(), plain);
        lines.push(format!("saved: {}, {level_words}, {} photos, {} grades", summary.spec.name, saved.photos.len(), saved.grades.len()));
        lines.extend(saved.remarks.iter().map(|remark| remark.text.clone()));
        lines.push(format!("entry {}; {} entries of this pump wait for the depot", saved.check, summary.waiting));
        let document = documents::SavedCheck {
            schema: "gritbook.saved_check/1",
            pump,
            pump_name: summary.spec.name,
            new_pump,
            check: saved.check,
            grades: saved.grades,
            photos: saved.photos,
            level,
            remarks: saved.remarks,
        };
        desk.tell(&document, lines);
        Ok(())
    }
}

/// Reads a photo; what its gates measured stands beside the refusal.
fn read(bytes: &[u8], settings: &ReadSettings) -> Result<Reading, Failure> {
    read_photo(bytes, settings).map_err(|refusal| {
        let mut failure = Failure::from(refusal.error);
        if let Some(quality) = refusal.quality.and_then(|quality| serde_json::to_value(quality).ok()) {
            failure.beside.insert("quality".to_owned(), quality);
        }
        failure
    })
}
