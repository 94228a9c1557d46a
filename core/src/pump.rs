//! Pump arithmetic: what a stroke moves, what it presses, and how far a cup slides for it.
//!
//! Plain f64 with the unit in each name; [`check`] refuses figures that no pump has before they get here.

use std::f64::consts::PI;

use crate::error::CoreError;
use crate::model::pump::{DriveSide, PumpSpec};

/// Bore of a concrete cylinder, mm.
const BORE_MM: (f64, f64) = (80.0, 300.0);
/// Stroke of a concrete cylinder, mm.
const STROKE_MM: (f64, f64) = (300.0, 3000.0);
/// Bore of a drive cylinder, mm.
const DRIVE_BORE_MM: (f64, f64) = (40.0, 250.0);
/// Rod of a drive cylinder, mm.
const DRIVE_ROD_MM: (f64, f64) = (20.0, 200.0);

/// Refuses a pump whose figures cannot be right.
///
/// # Errors
/// `bad_pump_figure`: a length outside its range (ranges are ours, wide around the pumps that are built), or a rod that
/// is not thinner than its cylinder.
pub fn check(pump: &PumpSpec) -> Result<(), CoreError> {
    for (what, value, (least, most)) in [
        ("bore", pump.bore_mm, BORE_MM),
        ("stroke", pump.stroke_mm, STROKE_MM),
        ("drive bore", pump.drive_bore_mm, DRIVE_BORE_MM),
        ("drive rod", pump.drive_rod_mm, DRIVE_ROD_MM),
    ] {
        if !(least..=most).contains(&value) {
            return Err(CoreError::refused(
                "bad_pump_figure",
                format!("the {what} of {value} mm is outside {least} to {most} mm"),
                "read it from the pump's plate, in millimetres",
            ));
        }
    }
    if pump.drive_rod_mm >= pump.drive_bore_mm {
        return Err(CoreError::refused(
            "bad_pump_figure",
            format!("the drive rod of {} mm is not thinner than its cylinder of {} mm", pump.drive_rod_mm, pump.drive_bore_mm),
            "check both figures; they may be swapped",
        ));
    }
    Ok(())
}

/// Area of a circle of diameter `d_mm`, m2.
pub fn circle_area_m2(d_mm: f64) -> f64 {
    let d_m = d_mm / 1000.0;
    PI / 4.0 * d_m * d_m
}

/// What one full stroke of one cylinder displaces, m3: pi/4 D^2 S.
pub fn stroke_volume_m3(bore_mm: f64, stroke_mm: f64) -> f64 {
    circle_area_m2(bore_mm) * stroke_mm / 1000.0
}

/// Output at `strokes_per_min` of both cylinders together and filling `fill` (0 to 1), m3/h.
pub fn output_m3_per_h(bore_mm: f64, stroke_mm: f64, strokes_per_min: f64, fill: f64) -> f64 {
    stroke_volume_m3(bore_mm, stroke_mm) * strokes_per_min * fill * 60.0
}

/// Strokes that one cubic metre takes at filling `fill`.
pub fn strokes_per_m3(bore_mm: f64, stroke_mm: f64, fill: f64) -> f64 {
    1.0 / (stroke_volume_m3(bore_mm, stroke_mm) * fill)
}

/// Concrete pressure over hydraulic pressure: the acting drive area over the concrete piston's.
pub fn area_ratio(pump: &PumpSpec) -> f64 {
    let whole = circle_area_m2(pump.drive_bore_mm);
    let acting = match pump.drive_side {
        DriveSide::Piston => whole,
        DriveSide::Rod => whole - circle_area_m2(pump.drive_rod_mm),
    };
    acting / circle_area_m2(pump.bore_mm)
}

/// Concrete pressure at `hydraulic_bar`, bar, without friction.
pub fn concrete_bar(pump: &PumpSpec, hydraulic_bar: f64) -> f64 {
    hydraulic_bar * area_ratio(pump)
}

/// How far one cup slides, forward and back, for one cubic metre through the pump at filling `fill`, m: 1 / (A e).
///
/// In a cycle both pistons slide 2 S and deliver 2 A S e. Half of the way is under load.
pub fn slide_m_per_m3(bore_mm: f64, fill: f64) -> f64 {
    1.0 / (circle_area_m2(bore_mm) * fill)
}

/// Exposure of one cup for `volume_m3` at `concrete_bar` and `mix_factor`, MPa km: loaded slide x pressure x mix.
///
/// Makes lives comparable across pumps and mixes: wear depth goes with pressure and way (Archard).
pub fn exposure_mpa_km(bore_mm: f64, fill: f64, volume_m3: f64, concrete_bar: f64, mix_factor: f64) -> f64 {
    let loaded_km = volume_m3 * slide_m_per_m3(bore_mm, fill) / 2.0 / 1000.0;
    loaded_km * (concrete_bar / 10.0) * mix_factor
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn pump(bore_mm: f64, stroke_mm: f64, drive_bore_mm: f64, drive_rod_mm: f64, drive_side: DriveSide) -> PumpSpec {
        PumpSpec { bore_mm, stroke_mm, drive_bore_mm, drive_rod_mm, drive_side, ..PumpSpec::assumed("any") }
    }

    fn close(got: f64, want: f64) {
        assert!((got - want).abs() <= 1e-6 * want.abs(), "{got} against {want}");
    }

    /// Worked from V = pi/4 D^2 S and p = p_hyd A_drive / A_concrete (Pascal); four pumps, one given in inches.
    /// Columns: bore, stroke, drive bore, rod (mm), bar, strokes/min, fill; then stroke L, m3/h, bar piston side,
    /// bar rod side, strokes per m3 at that fill.
    #[test]
    fn four_pumps_give_the_worked_figures() {
        #[rustfmt::skip]
        let rows = [
            [200.0, 2100.0, 130.0, 80.0, 320.0, 24.0, 0.85, 65.973446, 80.751498, 135.2, 84.0, 17.83249],
            [230.0, 2100.0, 140.0, 80.0, 350.0, 27.0, 0.9, 87.249882, 127.210328, 129.678639, 87.334594, 12.73482],
            [180.0, 1000.0, 110.0, 63.0, 280.0, 30.0, 0.8, 25.4469, 36.643537, 104.567901, 70.267901, 49.1219],
            [152.4, 762.0, 101.6, 63.5, 206.84, 28.0, 0.85, 13.9, 19.849199, 91.928889, 56.019167, 84.63817],
        ];
        for [bore, stroke, drive, rod, bar, per_min, fill, litres, m3_h, piston_bar, rod_bar, per_m3] in rows {
            close(stroke_volume_m3(bore, stroke) * 1000.0, litres);
            close(output_m3_per_h(bore, stroke, per_min, fill), m3_h);
            close(concrete_bar(&pump(bore, stroke, drive, rod, DriveSide::Piston), bar), piston_bar);
            close(concrete_bar(&pump(bore, stroke, drive, rod, DriveSide::Rod), bar), rod_bar);
            close(strokes_per_m3(bore, stroke, fill), per_m3);
        }
    }

    #[test]
    fn a_200_mm_cup_slides_31_8_m_for_a_cubic_metre() {
        close(slide_m_per_m3(200.0, 1.0), 31.830989);
        // 1000 m3 at 60 bar: 15.9154945 km under load x 6 MPa.
        close(exposure_mpa_km(200.0, 1.0, 1000.0, 60.0, 1.0), 95.492966);
    }

    #[test]
    fn a_figure_that_no_pump_has_is_refused_with_its_range() {
        let error = check(&pump(2000.0, 2100.0, 130.0, 80.0, DriveSide::Piston)).unwrap_err();
        assert_eq!(error.code(), "bad_pump_figure");
        assert!(error.reason().contains("80 to 300 mm"));
        assert!(check(&pump(200.0, f64::NAN, 130.0, 80.0, DriveSide::Piston)).is_err());
        assert!(check(&pump(200.0, 2100.0, 80.0, 130.0, DriveSide::Piston)).is_err());
        assert!(check(&pump(200.0, 2100.0, 130.0, 80.0, DriveSide::Piston)).is_ok());
    }

    proptest! {
        #[test]
        fn prop_slide_is_way_per_stroke_times_strokes(bore in 80.0..300.0, stroke in 300.0..3000.0, fill in 0.3..1.0) {
            // Each cylinder makes half of the strokes, and slides out and back in each.
            let way_m = strokes_per_m3(bore, stroke, fill) / 2.0 * 2.0 * stroke / 1000.0;
            let slide_m = slide_m_per_m3(bore, fill);
            prop_assert!((way_m - slide_m).abs() < 1e-9 * slide_m);
        }

        #[test]
        fn prop_rod_side_presses_less(bore in 80.0..300.0, drive in 60.0..200.0, rod in 20.0..59.0) {
            let piston = area_ratio(&pump(bore, 1000.0, drive, rod, DriveSide::Piston));
            prop_assert!(area_ratio(&pump(bore, 1000.0, drive, rod, DriveSide::Rod)) < piston);
        }
    }
}
