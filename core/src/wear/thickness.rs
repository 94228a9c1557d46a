//! What wears thin: a cup's lip or wall, a guide band.

use serde::{Deserialize, Serialize};

use super::rate::Rate;
use super::verdict::{Verdict, at_least};
use crate::error::CoreError;

/// The schema name of a thickness document.
pub const THICKNESS_SCHEMA: &str = "gritbook.thickness/1";

/// Most readings around one part.
const MOST_READINGS: usize = 200;

/// What is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum ThinPart {
    /// The cup's sealing lip.
    CupLip,
    /// The cup's wall behind the lip.
    CupWall,
    /// The guide band.
    GuideBand,
}

/// How it was read and what it is held against. The limit is the shop's or the maker's: none is published that could stand in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThicknessSettings {
    /// What.
    pub part: ThinPart,
    /// When new, mm.
    pub new_mm: f64,
    /// Least that may be left, mm.
    pub limit_mm: f64,
    /// Step of the caliper, mm.
    pub resolution_mm: f64,
    /// An earlier least thickness, mm, and concrete pumped since, m3.
    pub before: Option<(f64, f64)>,
}

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Thickness {
    /// Always [`THICKNESS_SCHEMA`].
    pub schema: String,
    /// What.
    pub part: ThinPart,
    /// The readings around it, mm, in the order read.
    pub readings_mm: Vec<f64>,
    /// Least of them, mm: the figure that counts.
    pub least_mm: f64,
    /// Which of them is least, from 1.
    pub least_at: usize,
    /// Their mean, mm.
    pub mean_mm: f64,
    /// Most less least, mm; null for one reading. Worn on one side: look at the rod and at the bore (common practice, no published
    /// source).
    pub uneven_mm: Option<f64>,
    /// When new, mm.
    pub new_mm: f64,
    /// Least that may be left, mm.
    pub limit_mm: f64,
    /// Share used of what may wear, percent: 0 new, 100 at the limit.
    pub used_percent: f64,
    /// How fast it wore; null without an earlier reading.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rate: Option<Rate>,
    /// Half the width of what the caliper's step hides, mm.
    pub uncertainty_mm: f64,
    /// The least against the limit.
    pub verdict: Verdict,
}

/// Measures a lip, a wall or a band from readings around it, mm.
///
/// # Errors
/// `out_of_range` with the figure and its range; `bad_points` for no reading or more than 200.
pub fn thickness(readings_mm: &[f64], settings: &ThicknessSettings) -> Result<Thickness, CoreError> {
    check(readings_mm, settings)?;
    let (at, least_mm) =
        (readings_mm.iter().copied().enumerate()).fold((0, f64::INFINITY), |least, (i, v)| if v < least.1 { (i, v) } else { least });
    let most = readings_mm.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let uncertainty_mm = settings.resolution_mm / 2.0;
    Ok(Thickness {
        schema: THICKNESS_SCHEMA.to_owned(),
        part: settings.part,
        readings_mm: readings_mm.to_vec(),
        least_mm,
        least_at: at + 1,
        mean_mm: readings_mm.iter().sum::<f64>() / readings_mm.len() as f64,
        uneven_mm: (readings_mm.len() > 1).then_some(most - least_mm),
        new_mm: settings.new_mm,
        limit_mm: settings.limit_mm,
        used_percent: 100.0 * (settings.new_mm - least_mm) / (settings.new_mm - settings.limit_mm),
        rate: settings.before.map(|(before, m3)| Rate::between(before, least_mm, m3, settings.limit_mm, settings.resolution_mm)),
        uncertainty_mm,
        verdict: at_least(least_mm, uncertainty_mm, settings.limit_mm),
    })
}

fn check(readings_mm: &[f64], settings: &ThicknessSettings) -> Result<(), CoreError> {
    if !(1..=MOST_READINGS).contains(&readings_mm.len()) {
        let reason = format!("{} readings; 1 to {MOST_READINGS} can be used", readings_mm.len());
        return Err(CoreError::refused("bad_points", reason, "read the part at three or four places around it"));
    }
    let (before, since) = settings.before.unwrap_or((settings.new_mm, 1.0));
    let given = [
        ("thickness when new, mm,", settings.new_mm, 0.5, 100.0),
        ("limit, mm,", settings.limit_mm, 0.0, settings.new_mm * 0.99),
        ("caliper's step, mm,", settings.resolution_mm, 0.001, 5.0),
        ("earlier thickness, mm,", before, 0.0, settings.new_mm * 1.25),
        ("concrete since then, m3,", since, 1.0, 1e6),
    ];
    let read = readings_mm.iter().map(|value| ("reading, mm,", *value, 0.0, settings.new_mm * 1.25));
    for (what, value, low, high) in given.into_iter().chain(read) {
        if !(low..=high).contains(&value) {
            let reason = format!("the {what} {value} is outside {low} to {high}");
            return Err(CoreError::refused("out_of_range", reason, "check the figure and its unit"));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lip() -> ThicknessSettings {
        ThicknessSettings { part: ThinPart::CupLip, new_mm: 12.0, limit_mm: 8.0, resolution_mm: 0.1, before: None }
    }

    /// Made-up readings; sums by hand.
    #[test]
    fn the_thinnest_place_counts_and_uneven_wear_shows() {
        let found = thickness(&[10.6, 9.4, 10.2, 10.6], &lip()).unwrap();
        let close = |got: f64, want: f64| assert!((got - want).abs() < 1e-9, "{got} against {want}");
        close(found.least_mm, 9.4);
        assert_eq!(found.least_at, 2);
        close(found.mean_mm, 10.2);
        close(found.uneven_mm.unwrap(), 1.2);
        close(found.used_percent, 65.0);
        assert_eq!(found.verdict, Verdict::Good);
        assert_eq!(thickness(&[8.02], &lip()).unwrap().verdict, Verdict::TooClose);
        assert_eq!(thickness(&[7.8], &lip()).unwrap().verdict, Verdict::Bad);
        assert!(thickness(&[7.8], &lip()).unwrap().uneven_mm.is_none());
    }

    #[test]
    fn an_earlier_reading_gives_the_rate_and_what_is_left() {
        let settings = ThicknessSettings { before: Some((11.0, 2000.0)), ..lip() };
        let rate = thickness(&[10.0], &settings).unwrap().rate.unwrap();
        assert!((rate.wear_mm_per_1000_m3.unwrap() - 0.5).abs() < 1e-9);
        assert!((rate.left_m3.unwrap() - 4000.0).abs() < 1e-6);
        assert!((rate.left_least_m3.unwrap() - 1.95 / 0.55 * 1000.0).abs() < 1e-6);
    }

    #[test]
    fn figures_that_cannot_be_are_refused_by_name() {
        let code = |readings: &[f64], settings| thickness(readings, &settings).unwrap_err().code();
        assert_eq!(code(&[], lip()), "bad_points");
        assert_eq!(code(&[f64::NAN], lip()), "out_of_range");
        assert_eq!(code(&[25.0], lip()), "out_of_range");
        assert_eq!(code(&[10.0], ThicknessSettings { limit_mm: 12.0, ..lip() }), "out_of_range");
        assert_eq!(code(&[10.0], ThicknessSettings { before: Some((11.0, 0.0)), ..lip() }), "out_of_range");
    }
}
