//! `gritbook card`: the debris card, ready to print.

use std::path::{Path, PathBuf};

use gritbook_core::debris::card::Paper;
use gritbook_core::{CoreError, ErrorKind};

use super::{Failure, Run, say};
use crate::report::card_sheet::CardSheet;

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: gritbook card --out card.pdf --paper letter\nPrint it at 100 %; the bar on it must measure 100 mm.")]
pub struct Args {
    /// Where to write it; the name ends in .pdf or .png.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Paper to print on.
    #[arg(long, value_enum, default_value_t = PaperArg::A4)]
    paper: PaperArg,
    /// Dots per inch of a PNG, 50 to 1200.
    #[arg(long, value_name = "N", default_value_t = 300.0)]
    dpi: f64,
    /// Also write where window and marks stand on the page, as JSON.
    #[arg(long, value_name = "FILE")]
    geometry: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum PaperArg {
    /// 210 x 297 mm.
    A4,
    /// 8.5 x 11 in.
    Letter,
}

impl Run for Args {
    fn run(self) -> Result<(), Failure> {
        let paper = match self.paper {
            PaperArg::A4 => Paper::A4,
            PaperArg::Letter => Paper::Letter,
        };
        let extension = self.out.extension().map(|extension| extension.to_ascii_lowercase().to_string_lossy().into_owned());
        let sheet = CardSheet::draw(paper, self.dpi / 25.4)?;
        let file = match extension.as_deref() {
            Some("pdf") => sheet.pdf()?,
            Some("png") => sheet.png()?,
            _ => {
                let reason = format!("`{}` ends in neither .pdf nor .png", self.out.display());
                return Err(CoreError::refused("unknown_file_kind", reason, "name the card card.pdf or card.png").into());
            }
        };
        write(&self.out, &file)?;
        say(format_args!("{}: the debris card. Print at 100 %; the bar must measure 100 mm.", self.out.display()));
        if let Some(path) = self.geometry {
            let json = serde_json::to_vec_pretty(sheet.geometry()).map_err(anyhow::Error::from)?;
            write(&path, &json)?;
            say(format_args!("{}: where window and marks stand on the page, in mm.", path.display()));
        }
        Ok(())
    }
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), CoreError> {
    std::fs::write(path, bytes).map_err(|cause| {
        let kind = if cause.kind() == std::io::ErrorKind::StorageFull { ErrorKind::StorageFull } else { ErrorKind::Refused };
        CoreError::new(
            kind,
            "cannot_write",
            format!("`{}` cannot be written", path.display()),
            "choose a folder that exists and may be written to",
        )
        .because(cause)
    })
}
