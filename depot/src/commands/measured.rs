//! What the commands of measured wear share.

use std::path::{Path, PathBuf};

use anyhow::Context as _;
use gritbook_core::history::figures;

use super::life::{read, refused};
use super::{Failure, say_document};
use crate::report::chart::Drawing;
use crate::report::picture::picture;

/// What is wanted of a measurement.
#[derive(Debug, clap::Args)]
pub(super) struct Wanted {
    /// Draw it, as .svg or .png.
    #[arg(long, value_name = "FILE")]
    picture: Option<PathBuf>,
    /// Print one JSON document.
    #[arg(long)]
    pub(super) json: bool,
}

impl Wanted {
    /// Draws the document where a picture is wanted, and prints it or says it in words.
    pub(super) fn give<T: serde::Serialize>(&self, found: &T, draw: fn(&T) -> Drawing, words: impl FnOnce(&T)) -> Result<(), Failure> {
        if let Some(path) = &self.picture {
            let bytes = picture(path, &draw(found))?;
            std::fs::write(path, bytes).with_context(|| format!("writing `{}` failed", path.display()))?;
        }
        if self.json {
            return say_document(found);
        }
        words(found);
        Ok(())
    }
}

/// Reads a CSV of figures with these columns, in any order.
pub(super) fn table<const N: usize>(path: &Path, columns: [&str; N]) -> Result<Vec<[f64; N]>, Failure> {
    figures(&read(path)?, columns).map_err(refused)
}
