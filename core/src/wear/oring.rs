//! O-ring in its groove: squeeze and fill, on pumps that have one in the guide band's place.
//!
//! Limits of a moving seal (READ: oringsupplyco.com, o-ring compression rate guide): under 10 % it may leak at low pressure, over 25 %
//! it takes a set and wears; groove filled to 85 % at most. One trade page, not a standard: the maker's figures win.

use std::f64::consts::PI;

use serde::{Deserialize, Serialize};

use super::verdict::{Verdict, at_least, at_most};
use crate::error::CoreError;

/// The schema name of an O-ring document.
pub const ORING_SCHEMA: &str = "gritbook.oring/1";

/// An O-ring, its groove and the bore it seals in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ORingFit {
    /// Section of the ring as measured where it is thinnest, mm.
    pub section_mm: f64,
    /// Diameter at the bottom of the groove, mm.
    pub groove_mm: f64,
    /// Width of the groove, mm, where known.
    pub groove_width_mm: Option<f64>,
    /// Diameter of the bore, mm, where it is widest.
    pub bore_mm: f64,
    /// Step of the gauges, mm.
    pub resolution_mm: f64,
    /// Least squeeze, percent.
    pub least_percent: f64,
    /// Most squeeze, percent.
    pub most_percent: f64,
}

impl ORingFit {
    /// With the usual limits and a caliper of 0.05 mm.
    pub fn of(section_mm: f64, groove_mm: f64, bore_mm: f64) -> Self {
        Self { section_mm, groove_mm, groove_width_mm: None, bore_mm, resolution_mm: 0.05, least_percent: 10.0, most_percent: 25.0 }
    }
}

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ORing {
    /// Always [`ORING_SCHEMA`].
    pub schema: String,
    /// Section of the ring, mm.
    pub section_mm: f64,
    /// Room between groove and bore with the piston in the middle, mm: half the difference of their diameters.
    pub room_mm: f64,
    /// Squeeze with the piston in the middle, percent of the section; below 0 the ring does not touch.
    pub squeeze_percent: f64,
    /// Share of the groove that the ring fills, percent; null where its width is not known. Over 85 the rubber has no room to swell.
    pub fill_percent: Option<f64>,
    /// Half the width of what the gauges' step hides, percent of squeeze.
    pub uncertainty_percent: f64,
    /// Least squeeze, percent.
    pub least_percent: f64,
    /// Most squeeze, percent.
    pub most_percent: f64,
    /// True where it is loose, false where it is too tight or as it should be.
    pub loose: bool,
    /// The squeeze between its limits.
    pub verdict: Verdict,
}

/// Holds an O-ring's squeeze against its limits.
///
/// # Errors
/// `out_of_range` with the figure and its range.
pub fn oring(fit: &ORingFit) -> Result<ORing, CoreError> {
    check(fit)?;
    let room_mm = (fit.bore_mm - fit.groove_mm) / 2.0;
    let squeeze = |section: f64, room: f64| 100.0 * (section - room) / section;
    let squeeze_percent = squeeze(fit.section_mm, room_mm);
    // Section and both diameters may be off by half a step, each the wrong way; the room is half a difference of two.
    let half = fit.resolution_mm / 2.0;
    let uncertainty_percent = squeeze_percent - squeeze(fit.section_mm - half, room_mm + half);
    let verdict = match (
        at_least(squeeze_percent, uncertainty_percent, fit.least_percent),
        at_most(squeeze_percent, uncertainty_percent, fit.most_percent),
    ) {
        (Verdict::Good, Verdict::Good) => Verdict::Good,
        (Verdict::Bad, _) | (_, Verdict::Bad) => Verdict::Bad,
        _ => Verdict::TooClose,
    };
    Ok(ORing {
        schema: ORING_SCHEMA.to_owned(),
        section_mm: fit.section_mm,
        room_mm,
        squeeze_percent,
        fill_percent: fit.groove_width_mm.map(|width| 100.0 * PI / 4.0 * fit.section_mm.powi(2) / (width * room_mm)),
        uncertainty_percent,
        least_percent: fit.least_percent,
        most_percent: fit.most_percent,
        loose: squeeze_percent < fit.least_percent,
        verdict,
    })
}

fn check(fit: &ORingFit) -> Result<(), CoreError> {
    for (what, value, low, high) in [
        ("section, mm,", fit.section_mm, 1.0, 30.0),
        ("groove's diameter, mm,", fit.groove_mm, 40.0, 300.0),
        ("bore, mm,", fit.bore_mm, fit.groove_mm + 0.1, 320.0),
        ("groove's width, mm,", fit.groove_width_mm.unwrap_or(fit.section_mm), 0.5 * fit.section_mm, 10.0 * fit.section_mm),
        ("gauges' step, mm,", fit.resolution_mm, 0.001, 0.5),
        ("least squeeze, percent,", fit.least_percent, 0.0, 50.0),
        ("most squeeze, percent,", fit.most_percent, fit.least_percent, 60.0),
    ] {
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

    /// Worked example: a section of 2.0 mm in a groove that reduces it to 1.5 mm is squeezed by 25 % (READ: a public article on O-ring
    /// compression, address not kept); the form (section - room) / section READ at oringsupplyco.com.
    #[test]
    fn section_of_2_in_a_room_of_1_5_is_squeezed_by_a_quarter() {
        let found = oring(&ORingFit { resolution_mm: 0.001, most_percent: 30.0, ..ORingFit::of(2.0, 197.0, 200.0) }).unwrap();
        assert!((found.squeeze_percent - 25.0).abs() < 1e-9 && (found.room_mm - 1.5).abs() < 1e-9);
        assert_eq!((found.verdict, found.loose), (Verdict::Good, false));
    }

    #[test]
    fn worn_section_is_loose_and_the_gauge_decides_how_sure_that_is() {
        let fit = ORingFit::of(5.0, 191.0, 200.0);
        let at = oring(&fit).unwrap();
        assert!((at.squeeze_percent - 10.0).abs() < 1e-9, "{}", at.squeeze_percent);
        assert_eq!(at.verdict, Verdict::TooClose, "on the limit");
        let worn = oring(&ORingFit { section_mm: 4.6, ..fit }).unwrap();
        assert_eq!((worn.verdict, worn.loose), (Verdict::Bad, true));
        assert!(oring(&ORingFit { section_mm: 4.4, ..fit }).unwrap().squeeze_percent < 0.0, "it does not touch");
        let tight = oring(&ORingFit { groove_mm: 194.0, ..fit }).unwrap();
        assert_eq!((tight.verdict, tight.loose), (Verdict::Bad, false));
    }

    /// pi/4 x 25 mm2 in a groove of 6.5 x 4.25 mm, by hand.
    #[test]
    fn fill_is_the_rings_area_over_the_grooves() {
        let found = oring(&ORingFit { groove_width_mm: Some(6.5), ..ORingFit::of(5.0, 191.5, 200.0) }).unwrap();
        assert!((found.fill_percent.unwrap() - 71.076_6).abs() < 1e-3, "{:?}", found.fill_percent);
    }

    #[test]
    fn figures_that_cannot_be_are_refused() {
        for bad in [
            ORingFit::of(5.0, 200.0, 191.0),
            ORingFit::of(f64::NAN, 191.0, 200.0),
            ORingFit { groove_width_mm: Some(1.0), ..ORingFit::of(5.0, 191.0, 200.0) },
            ORingFit { most_percent: 5.0, ..ORingFit::of(5.0, 191.0, 200.0) },
        ] {
            assert_eq!(oring(&bad).unwrap_err().code(), "out_of_range", "{bad:?}");
        }
    }
}
