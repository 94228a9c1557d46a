//! Delivery line: the wall against the pressure it must hold, how fast it wears, how much concrete is left in it.

use serde::{Deserialize, Serialize};

use super::rate::Rate;
use super::verdict::{Verdict, at_least};
use crate::error::CoreError;

/// The schema name of a line document.
pub const LINE_SCHEMA: &str = "gritbook.line/1";

/// Coefficient of the B31 thin-wall form for steel below 480 degrees C (READ: shipcalculators.com, midstreamcalculator.com).
const Y: f64 = 0.4;

/// One pipe as measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LinePipe {
    /// Outer diameter, mm.
    pub od_mm: f64,
    /// Least wall measured, mm.
    pub wall_mm: f64,
    /// Greatest pressure on the concrete, bar.
    pub pressure_bar: f64,
    /// Stress that the shop allows in the wall, MPa.
    pub allowed_mpa: f64,
    /// Step of the gauge, mm.
    pub resolution_mm: f64,
    /// An earlier reading of the same place: wall, mm, and concrete pumped since, m3.
    pub before: Option<(f64, f64)>,
    /// Concrete in one usual pour, m3, for a count of pours.
    pub pour_m3: Option<f64>,
}

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Line {
    /// Always [`LINE_SCHEMA`].
    pub schema: String,
    /// Least wall measured, mm.
    pub wall_mm: f64,
    /// Wall that the pressure needs, mm: P D / (2 (S + 0.4 P)).
    pub needed_mm: f64,
    /// Pressure that the wall holds at the allowed stress, bar.
    pub holds_bar: f64,
    /// Stress at the inside by Lame's thick-wall form, MPa.
    pub lame_inner_mpa: f64,
    /// Stress by the thin-wall form on the mean diameter, MPa.
    pub thin_mpa: f64,
    /// Wear, mm for each 1000 m3; null without an earlier reading, or where none shows.
    pub wear_mm_per_1000_m3: Option<f64>,
    /// Concrete until the needed wall is reached, m3, at the rate so far; 0 where it is reached.
    pub left_m3: Option<f64>,
    /// The same if the wall wears as fast as the gauge's step allows: the figure to plan with.
    pub left_least_m3: Option<f64>,
    /// Usual pours within that least figure.
    pub pours_left: Option<f64>,
    /// Half the width of what the gauge's step hides, mm.
    pub uncertainty_mm: f64,
    /// The wall against what it needs.
    pub verdict: Verdict,
}

/// Measures a pipe.
///
/// # Errors
/// `out_of_range` with the figure and its range.
pub fn line(pipe: &LinePipe) -> Result<Line, CoreError> {
    check(pipe)?;
    let (p, s) = (pipe.pressure_bar / 10.0, pipe.allowed_mpa);
    let (d, t) = (pipe.od_mm, pipe.wall_mm);
    let needed_mm = p * d / (2.0 * (s + p * Y));
    let (outer, inner) = (d / 2.0, d / 2.0 - t);
    let uncertainty_mm = pipe.resolution_mm / 2.0;
    let rate = pipe.before.map(|(before, m3)| Rate::between(before, t, m3, needed_mm, pipe.resolution_mm));
    let left_least_m3 = rate.and_then(|rate| rate.left_least_m3);
    Ok(Line {
        schema: LINE_SCHEMA.to_owned(),
        wall_mm: t,
        needed_mm,
        holds_bar: 10.0 * 2.0 * s * t / (d - 2.0 * Y * t),
        lame_inner_mpa: p * (outer * outer + inner * inner) / (outer * outer - inner * inner),
        thin_mpa: p * (d - t) / (2.0 * t),
        wear_mm_per_1000_m3: rate.and_then(|rate| rate.wear_mm_per_1000_m3),
        left_m3: rate.and_then(|rate| rate.left_m3),
        left_least_m3,
        pours_left: left_least_m3.zip(pipe.pour_m3).map(|(left, pour)| (left / pour).floor()),
        uncertainty_mm,
        verdict: at_least(t, uncertainty_mm, needed_mm),
    })
}

fn check(pipe: &LinePipe) -> Result<(), CoreError> {
    let before = pipe.before.unwrap_or((pipe.wall_mm, 1.0));
    for (what, value, low, high) in [
        ("outer diameter, mm,", pipe.od_mm, 40.0, 300.0),
        ("wall, mm,", pipe.wall_mm, 0.1, 30.0),
        ("pressure, bar,", pipe.pressure_bar, 1.0, 400.0),
        ("allowed stress, MPa,", pipe.allowed_mpa, 20.0, 1000.0),
        ("gauge's step, mm,", pipe.resolution_mm, 0.001, 1.0),
        ("earlier wall, mm,", before.0, 0.1, 30.0),
        ("concrete since then, m3,", before.1, 1.0, 1e6),
        ("usual pour, m3,", pipe.pour_m3.unwrap_or(1.0), 0.1, 1e5),
    ] {
        if !(low..=high).contains(&value) {
            return Err(CoreError::refused(
                "out_of_range",
                format!("the {what} {value} is outside {low} to {high}"),
                "check the figure and its unit",
            ));
        }
    }
    if pipe.wall_mm >= pipe.od_mm / 2.0 {
        return Err(CoreError::refused("out_of_range", "the wall is thicker than the pipe", "check the figure and its unit"));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pipe() -> LinePipe {
        LinePipe { od_mm: 133.0, wall_mm: 4.0, pressure_bar: 85.0, allowed_mpa: 150.0, resolution_mm: 0.1, before: None, pour_m3: None }
    }

    /// 8.5 MPa in a pipe of 133 x 4 mm, 150 MPa allowed; computed from the forms named in the document, to 1e-6.
    #[test]
    fn wall_stress_and_held_pressure_are_the_worked_ones() {
        let found = line(&pipe()).unwrap();
        let close = |got: f64, want: f64| assert!((got / want - 1.0).abs() < 1e-6, "{got} against {want}");
        close(found.thin_mpa, 137.0625);
        close(found.lame_inner_mpa, 137.194_283);
        close(found.needed_mm, 3.684_811);
        close(found.holds_bar, 92.449_92);
        assert_eq!(found.verdict, Verdict::Good);
        assert_eq!(line(&LinePipe { wall_mm: 3.7, ..pipe() }).unwrap().verdict, Verdict::TooClose);
        assert_eq!(line(&LinePipe { wall_mm: 3.5, ..pipe() }).unwrap().verdict, Verdict::Bad);
    }

    /// 7.1 to 5.9 mm in 12,000 m3 is 0.1 mm for each 1000 m3.
    #[test]
    fn wear_rate_gives_what_is_left_and_a_smaller_figure_to_plan_with() {
        let found = line(&LinePipe { wall_mm: 5.9, before: Some((7.1, 12_000.0)), pour_m3: Some(100.0), ..pipe() }).unwrap();
        assert!((found.wear_mm_per_1000_m3.unwrap() - 0.1).abs() < 1e-9);
        assert!((found.left_m3.unwrap() - (5.9 - found.needed_mm) / 0.1 * 1000.0).abs() < 1e-6);
        let least = found.left_least_m3.unwrap();
        assert!(least < found.left_m3.unwrap() && least > 0.0);
        assert!((found.pours_left.unwrap() - (least / 100.0).floor()).abs() < 1e-9);
        let unworn = line(&LinePipe { before: Some((4.0, 5_000.0)), ..pipe() }).unwrap();
        assert!(unworn.wear_mm_per_1000_m3.is_none() && unworn.left_least_m3.is_some(), "no wear seen still bounds the rate");
    }

    #[test]
    fn figures_out_of_range_are_refused() {
        for bad in [
            LinePipe { wall_mm: 0.0, ..pipe() },
            LinePipe { od_mm: f64::NAN, ..pipe() },
            LinePipe { wall_mm: 28.0, od_mm: 50.0, ..pipe() },
            LinePipe { before: Some((4.0, 0.0)), ..pipe() },
        ] {
            assert_eq!(line(&bad).unwrap_err().code(), "out_of_range", "{bad:?}");
        }
    }
}
