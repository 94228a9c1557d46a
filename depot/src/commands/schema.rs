//! `gritbook schema`: the JSON Schema of each published document, made from the very types that write it.

use clap::builder::PossibleValuesParser;
use gritbook_core::CoreError;
use gritbook_core::call::Answer;
use gritbook_core::debris::reading::Reading;
use gritbook_core::history::BadRow;
use gritbook_core::life::LifeSummary;
use schemars::{JsonSchema, Schema, generate::SchemaSettings};

use super::book::documents;
use super::{Failure, Run, say};

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: gritbook schema reading > reading.schema.json")]
pub struct Args {
    /// Which document; without it, their names.
    #[arg(value_parser = PossibleValuesParser::new(DOCUMENTS.iter().map(|(name, _)| *name)))]
    document: Option<String>,
}

type Make = fn() -> Schema;

/// Every document that has a schema.
const DOCUMENTS: &[(&str, Make)] = &[
    ("reading", schema_of::<Reading>),
    ("face", schema_of::<gritbook_core::face::reading::FaceReading>),
    ("plate", schema_of::<gritbook_core::wear::plate::Flatness>),
    ("bore", schema_of::<gritbook_core::wear::bore::Bore>),
    ("thickness", schema_of::<gritbook_core::wear::thickness::Thickness>),
    ("oring", schema_of::<gritbook_core::wear::oring::ORing>),
    ("bolt", schema_of::<gritbook_core::wear::bolt::Bolt>),
    ("line", schema_of::<gritbook_core::wear::line::Line>),
    ("shelf", schema_of::<gritbook_core::shelf::Shelf>),
    ("life", schema_of::<LifeSummary>),
    ("call", schema_of::<Answer>),
    ("diagnosis", schema_of::<gritbook_core::diagnosis::Diagnosis>),
    ("track_record", schema_of::<gritbook_core::call::TrackRecord>),
    ("entry", schema_of::<gritbook_core::model::Entry>),
    ("saved", schema_of::<documents::Saved>),
    ("saved_check", schema_of::<documents::SavedCheck>),
    ("saved_pump", schema_of::<documents::SavedPump>),
    ("pumps", schema_of::<documents::Pumps>),
    ("outbox", schema_of::<documents::Outbox>),
    ("sync", schema_of::<documents::Sync>),
    ("verify", schema_of::<gritbook_core::fieldbook::VerifyReport>),
    ("depot_pumps", schema_of::<crate::server::office::DepotPumps>),
    ("exported", schema_of::<documents::Exported>),
    ("changeout", schema_of::<gritbook_core::changeout::Progress>),
    ("changeout_state", schema_of::<documents::ChangeOut>),
    ("depot_backup", schema_of::<crate::server::backup::DepotBackup>),
    ("person", schema_of::<super::people::PersonChanged>),
    ("people", schema_of::<super::people::PeopleList>),
    ("enrolment", schema_of::<super::enroll::Enrolled>),
    ("repaired", schema_of::<super::repair::Repaired>),
    ("error", schema_of::<ErrorDocument>),
];

/// `gritbook.error/1`, for its schema; `super::error_document` writes it.
#[derive(JsonSchema)]
#[allow(dead_code, reason = "only its schema is used")]
struct ErrorDocument {
    /// Always `gritbook.error/1`.
    schema: String,
    /// What was wrong and what to do.
    error: ErrorFacts,
    /// Beside a refused photo: what the gates measured.
    quality: Option<gritbook_core::debris::reading::Quality>,
    /// Beside a refused table: its bad rows.
    rows: Option<Vec<BadRow>>,
}

/// What was wrong and what to do.
#[derive(JsonSchema)]
#[allow(dead_code, reason = "only its schema is used")]
struct ErrorFacts {
    /// Stable code in snake_case.
    code: String,
    /// What was wrong.
    reason: String,
    /// What to do.
    advice: String,
}

fn schema_of<T: JsonSchema>() -> Schema {
    SchemaSettings::draft2020_12().into_generator().into_root_schema_for::<T>()
}

impl Run for Args {
    fn run(self) -> Result<(), Failure> {
        let Some(name) = self.document else {
            for (name, _) in DOCUMENTS {
                say(name);
            }
            return Ok(());
        };
        let (_, make) = DOCUMENTS
            .iter()
            .find(|(known, _)| *known == name)
            .ok_or_else(|| CoreError::refused("no_such_document", format!("there is no document `{name}`"), "run `gritbook schema`"))?;
        say(format!("{:#}", make().to_value()));
        Ok(())
    }
}
