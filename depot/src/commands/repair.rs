//! `gritbook repair`: a copy of a history with what is offered for its bad rows.

use std::io::Write as _;
use std::path::PathBuf;

use anyhow::Context as _;
use gritbook_core::CoreError;
use gritbook_core::history::{BadRow, repaired};
use serde::Serialize;

use super::life::{list_bad_rows, offered, read, refused};
use super::{Failure, Run, say, say_document};

/// The schema name of what was put in.
const REPAIRED_SCHEMA: &str = "gritbook.repaired/1";

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: gritbook repair fleet.csv --out fleet_repaired.csv\n\n\
    Offered are a unit or thousands written into a cell, a pressure that only psi can mean, a word for a level, a moment without its offset\n\
    where all others share one, a running total that contradicts the others (left out; its event stays), and the row that is missing where a\n\
    cup comes out that never went in. Each is listed. The file itself stays as it is, and where a row is bad for\n\
    which nothing can be offered, no copy is written.")]
pub struct Args {
    /// The history, a CSV file.
    history: PathBuf,
    /// Where to write the copy.
    #[arg(long, value_name = "NEW.csv")]
    out: PathBuf,
    /// Print one JSON document, gritbook.repaired/1.
    #[arg(long)]
    json: bool,
}

/// What was put in.
#[derive(Debug, Serialize, schemars::JsonSchema)]
pub(super) struct Repaired {
    /// Always `gritbook.repaired/1`.
    schema: String,
    /// The copy.
    out: String,
    /// Each row with what was put in.
    rows: Vec<BadRow>,
}

impl Run for Args {
    fn json(&self) -> bool {
        self.json
    }

    fn run(self) -> Result<(), Failure> {
        let (text, rows) = repaired(&read(&self.history)?).map_err(|refusal| {
            if !self.json {
                list_bad_rows(&refusal);
            }
            refused(refusal)
        })?;
        // Nothing that is there is written over, the history itself least of all.
        let mut copy = std::fs::File::create_new(&self.out).map_err(|cause| match cause.kind() {
            std::io::ErrorKind::AlreadyExists => Failure::from(CoreError::refused(
                "file_exists",
                format!("`{}` is there already", self.out.display()),
                "name a file that is not there yet; nothing was changed",
            )),
            _ => anyhow::Error::new(cause).context(format!("writing `{}` failed", self.out.display())).into(),
        })?;
        copy.write_all(text.as_bytes()).with_context(|| format!("writing `{}` failed", self.out.display()))?;
        if self.json {
            return say_document(&Repaired { schema: REPAIRED_SCHEMA.to_owned(), out: self.out.display().to_string(), rows });
        }
        for row in &rows {
            say(format!("line {}: {}", row.line, row.reason));
            row.repair.iter().for_each(|repair| say(format!("  {}", offered(repair).replacen("offered", "put in", 1))));
        }
        say(format!("Written: {}. Look it through before you use it.", self.out.display()));
        Ok(())
    }
}
