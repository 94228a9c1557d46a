//! `gritbook read`: a photo of drained material to grain sizes and the passing level.

use std::path::{Path, PathBuf};

use gritbook_core::debris::card::BAR_MM;
use gritbook_core::debris::read::{ReadOutcome, Refusal, read_photo_fully};
use gritbook_core::debris::reading::Reading;
use gritbook_core::debris::settings::{HandScale, ReadSettings};
use gritbook_core::{CoreError, ErrorKind};

use super::{Failure, Run, say};
use crate::report::curve::curve;
use crate::report::overlay::overlay_png;
use crate::report::picture::picture;
use crate::report::words::{level_sentence, measure_sentence, reason_sentence, sized_as_a_heap};

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: gritbook read box.jpg --overlay box-read.png --curve box-curve.svg\n\
    Without a card: gritbook read gravel.jpg --px-per-mm 2.564 --window 0,0,512,512")]
pub struct Args {
    /// The photo, JPEG or PNG, with the debris card in it.
    photo: PathBuf,
    /// Print the reading as one JSON document.
    #[arg(long)]
    json: bool,
    /// Write the window with every counted grain outlined, as PNG.
    #[arg(long, value_name = "PNG")]
    overlay: Option<PathBuf>,
    /// Draw the gradation curve, as SVG or PNG.
    #[arg(long, value_name = "FILE")]
    curve: Option<PathBuf>,
    /// Say on standard error how long each step took.
    #[arg(long)]
    timings: bool,
    /// Scale set by hand, pixels per millimetre: for a photo without a card.
    #[arg(long, value_name = "N")]
    px_per_mm: Option<f64>,
    /// Part of the photo to read, in pixels; needs --px-per-mm.
    #[arg(long, value_name = "X,Y,W,H", requires = "px_per_mm", value_parser = parse_window)]
    window: Option<[u32; 4]>,
    /// What the 100 mm bar on the printed card measures, mm: sizes are put right by it.
    #[arg(long, value_name = "N", default_value_t = BAR_MM, conflicts_with = "px_per_mm")]
    bar_mm: f64,
    /// The sample that was spread, mL.
    #[arg(long, value_name = "N", default_value_t = 5.0)]
    sample_ml: f64,
    /// Add each grain's outline to the JSON document.
    #[arg(long)]
    outlines: bool,
}

fn parse_window(text: &str) -> Result<[u32; 4], String> {
    let numbers: Vec<u32> = text
        .split(',')
        .map(|part| part.trim().parse().map_err(|_| format!("{part:?} is not a whole number of pixels")))
        .collect::<Result<_, String>>()?;
    numbers.try_into().map_err(|list: Vec<u32>| format!("{} numbers given, four are needed: X,Y,W,H", list.len()))
}

impl Run for Args {
    fn json(&self) -> bool {
        self.json
    }

    fn run(self) -> Result<(), Failure> {
        let settings = ReadSettings {
            hand: self.px_per_mm.map(|px_per_mm| HandScale { px_per_mm, window_px: self.window }),
            bar_mm: self.bar_mm,
            sample_ml: self.sample_ml,
            outlines: self.outlines,
            ..ReadSettings::default()
        };
        let bytes = std::fs::read(&self.photo).map_err(|error| unreadable(&self.photo, error))?;
        let outcome = read_photo_fully(&bytes, &settings).map_err(refused)?;
        // Everything is drawn before anything is written.
        let overlay = self.overlay.as_ref().map(|_| overlay_png(&outcome.reading, &outcome.window, &outcome.outlines_mm)).transpose()?;
        let drawn = self.curve.as_ref().map(|path| picture(path, &curve(&outcome.reading).layout())).transpose()?;
        for (path, bytes) in [(&self.overlay, overlay), (&self.curve, drawn)] {
            if let (Some(path), Some(bytes)) = (path, bytes) {
                write_file(path, &bytes)?;
            }
        }
        if self.json {
            say(serde_json::to_string(&outcome.reading).map_err(anyhow::Error::from)?);
        } else {
            tell(&outcome.reading);
            for path in [&self.overlay, &self.curve].into_iter().flatten() {
                say(format_args!("wrote {}", path.display()));
            }
        }
        if self.timings {
            tell_timings(&outcome);
        }
        Ok(())
    }
}

pub(super) fn unreadable(path: &Path, error: std::io::Error) -> CoreError {
    if error.kind() == std::io::ErrorKind::NotFound {
        return CoreError::new(
            ErrorKind::NotFound,
            "no_such_file",
            format!("there is no file {}", path.display()),
            "check the name and the folder",
        );
    }
    CoreError::refused("no_such_file", format!("{} cannot be read", path.display()), "check that it is a file and may be read")
        .because(error)
}

fn refused(refusal: Refusal) -> Failure {
    let mut failure = Failure::from(refusal.error);
    if let Some(quality) = refusal.quality.and_then(|quality| serde_json::to_value(quality).ok()) {
        failure.beside.insert("quality".into(), quality);
    }
    failure
}

pub(super) fn write_file(path: &Path, bytes: &[u8]) -> Result<(), CoreError> {
    std::fs::write(path, bytes).map_err(|error| {
        CoreError::new(
            ErrorKind::Storage,
            "cannot_write",
            format!("{} cannot be written", path.display()),
            "check that the folder exists and has room",
        )
        .because(error)
    })
}

/// The level first, then the numbers that led to it.
fn tell(reading: &Reading) {
    say(level_sentence(reading));
    for reason in &reading.level.reasons {
        say(format_args!("  {}", reason_sentence(&reason.code, reason.value, reason.limit)));
    }
    say(measure_sentence(reading));
    let heap = sized_as_a_heap(reading);
    if let Some(gradation) = reading.gradation.as_ref().filter(|_| !heap) {
        let [d10, d50, d90] = [gradation.d10_mm, gradation.d50_mm, gradation.d90_mm];
        say(format_args!("  D10 {d10:.2} mm, D50 {d50:.2} mm, D90 {d90:.2} mm; fineness modulus {:.2}", gradation.fineness_modulus));
    }
    let amount = &reading.amount;
    let least = if heap { "at least " } else { "" };
    say(format_args!("  grains make up {least}{:.3} mL of {} mL ({:.1} %)", amount.grains_ml, amount.sample_ml, amount.share_percent));
    say(format_args!(
        "  {:.1} px/mm; grains below {:.2} mm are too small for this photo and not counted",
        reading.scale.px_per_mm, reading.smallest_resolved_mm
    ));
    for finding in &reading.quality.findings {
        say(format_args!("  note: {} {:.2} (limit {}): {}", finding.code, finding.value, finding.limit, finding.advice));
    }
}

fn tell_timings(outcome: &ReadOutcome) {
    use std::io::Write as _;
    let mut err = std::io::stderr();
    let mut total = 0.0;
    for (step, time) in &outcome.timings {
        let ms = time.as_secs_f64() * 1000.0;
        total += ms;
        // A closed standard error is no reason to fail.
        let _ = writeln!(err, "{step:>16} {ms:8.1} ms");
    }
    let _ = writeln!(err, "{:>16} {total:8.1} ms", "together");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn window_needs_four_whole_numbers() {
        assert_eq!(parse_window("1, 2,30,40"), Ok([1, 2, 30, 40]));
        assert!(parse_window("1,2,3").is_err());
        assert!(parse_window("1,2,3,-4").unwrap_err().contains("-4"));
    }

    #[test]
    fn missing_file_is_refused_with_its_name() {
        let error = unreadable(Path::new("nowhere.jpg"), std::io::ErrorKind::NotFound.into());
        assert_eq!(error.code(), "no_such_file");
        assert!(error.reason().contains("nowhere.jpg"));
    }
}
