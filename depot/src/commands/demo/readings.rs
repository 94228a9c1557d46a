//! The part of the demo that reads photos.

use std::path::Path;

use gritbook_core::CoreError;
use gritbook_core::debris::read::read_photo_fully;
use gritbook_core::debris::reading::Reading;
use gritbook_core::debris::settings::ReadSettings;

use super::write;
use crate::commands::say;
use crate::report::curve::curve;
use crate::report::overlay::overlay_png;
use crate::report::words::{level_sentence, measure_sentence, reason_sentence};

/// Reads a photo, writes its overlay and its curve, says what came of it.
pub(super) fn read(pump: &str, photo: &[u8], dir: &Path) -> Result<Reading, CoreError> {
    let name = pump.to_lowercase();
    let outcome = read_photo_fully(photo, &ReadSettings::default()).map_err(|refusal| refusal.error)?;
    let reading = outcome.reading;
    let (overlay, chart) = (dir.join(format!("{name}-read.png")), dir.join(format!("{name}-curve.svg")));
    write(&dir.join(format!("{name}.jpg")), photo)?;
    write(&overlay, &overlay_png(&reading, &outcome.window, &outcome.outlines_mm)?)?;
    say(format_args!("   {pump}: {}", level_sentence(&reading)));
    for reason in &reading.level.reasons {
        say(format_args!("      {}", reason_sentence(&reason.code, reason.value, reason.limit)));
    }
    say(format_args!("      {}", measure_sentence(&reading)));
    say(format_args!("      {}", overlay.display()));
    if reading.gradation.is_some() {
        write(&chart, curve(&reading).to_svg().as_bytes())?;
        say(format_args!("      {}", chart.display()));
    }
    Ok(reading)
}
