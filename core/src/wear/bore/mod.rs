//! A bore from two-point diameters at stations along it and in directions across it.
//!
//! Two-point diameters cannot see an odd number of lobes: a bore of three lobes reads round everywhere. Every document says so.

mod places;

use std::collections::BTreeMap;

pub use places::{BorePlace, PLACES_SOURCE, usual_places};
use serde::{Deserialize, Serialize};

use super::verdict::{Verdict, at_least, at_most};
use crate::error::CoreError;
use crate::model::words::Words;

/// The schema name of a bore document.
pub const BORE_SCHEMA: &str = "gritbook.bore/1";

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct BoreReading {
    /// Place along the bore, mm from the box end.
    pub station_mm: f64,
    /// Direction across it, degrees; 0 and 180 are one direction.
    pub direction_deg: f64,
    /// Diameter, mm.
    pub diameter_mm: f64,
}

/// What the readings are held against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoreSettings {
    /// Diameter when new, mm; None: not known, and the wear is at least the difference between the widest and the narrowest place.
    pub nominal_mm: Option<f64>,
    /// Chrome when new, mm on the radius; None: not known.
    pub chrome_mm: Option<f64>,
    /// Diameter of the cup's body, mm, for its clearance; None: not asked.
    pub cup_mm: Option<f64>,
    /// Step of the gauge, mm.
    pub resolution_mm: f64,
    /// The shop's limit of wear, mm on the diameter.
    pub limit_mm: f64,
}

/// Wear of a bore, mm on the diameter, from which on it counts as worn unless the shop sets a limit of its own: a hard chrome of 0.20 mm
/// (0.20 to 0.25 mm, from memory, not seen in print) gone on both sides. An assumption.
pub const BORE_LIMIT_MM: f64 = 0.4;

impl BoreSettings {
    /// Settings for a bore of this size: a gauge of 0.01 mm and [`BORE_LIMIT_MM`].
    pub fn of(nominal_mm: Option<f64>) -> Self {
        Self { nominal_mm, chrome_mm: None, cup_mm: None, resolution_mm: 0.01, limit_mm: BORE_LIMIT_MM }
    }

    /// # Errors
    /// `bad_setting`, naming the setting, its value and its range.
    pub fn check(&self) -> Result<(), CoreError> {
        let setting = |what: &str, value: f64, low: f64, high: f64| {
            if (low..=high).contains(&value) {
                return Ok(());
            }
            Err(CoreError::refused("bad_setting", format!("the {what} of {value} mm is outside {low} to {high} mm"), UNIT))
        };
        self.nominal_mm.map_or(Ok(()), |nominal| setting("nominal diameter", nominal, 80.0, 300.0))?;
        setting("gauge's step", self.resolution_mm, 1e-4, 1.0)?;
        setting("limit", self.limit_mm, 1e-3, 10.0)?;
        self.chrome_mm.map_or(Ok(()), |chrome| setting("chrome", chrome, 0.01, 2.0))?;
        self.cup_mm.map_or(Ok(()), |cup| setting("cup's diameter", cup, 50.0, 300.0))
    }

    /// Whether a diameter can be of such a bore, so that it is told beside where it was typed.
    ///
    /// # Errors
    /// `not_this_bore`: not within a quarter of the nominal, or of the sizes that bores have where no nominal is known.
    pub fn check_diameter(&self, diameter_mm: f64) -> Result<(), CoreError> {
        let (low, high) = self.nominal_mm.map_or((80.0, 300.0), near);
        if (low..=high).contains(&diameter_mm) {
            return Ok(());
        }
        let size = self.nominal_mm.map_or_else(|| format!("{low} to {high}"), |nominal| nominal.to_string());
        Err(CoreError::refused("not_this_bore", format!("a diameter of {diameter_mm:.2} mm cannot be of a bore of {size} mm"), UNIT))
    }
}

const UNIT: &str = "check the figure and its unit";

/// From where to where a diameter can be of a bore of that size, mm: a figure of another unit shows.
fn near(size_mm: f64) -> (f64, f64) {
    (0.75 * size_mm, 1.25 * size_mm)
}

/// One station.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct BoreStation {
    /// Place along the bore, mm.
    pub station_mm: f64,
    /// Mean diameter, mm.
    pub mean_mm: f64,
    /// Largest less smallest diameter, mm; null where only one direction was read.
    pub ovality_mm: Option<f64>,
}

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Bore {
    /// Always [`BORE_SCHEMA`].
    pub schema: String,
    /// The readings.
    pub readings: Vec<BoreReading>,
    /// By station along the bore.
    pub stations: Vec<BoreStation>,
    /// Largest ovality, mm on the diameter.
    pub ovality_mm: Option<f64>,
    /// Largest difference of diameters along one direction, mm: the whole difference. (ISO 12180 calls half of it local taper.)
    pub taper_mm: Option<f64>,
    /// Diameter when new, mm; null where it was not given.
    pub nominal_mm: Option<f64>,
    /// Largest diameter less the nominal, mm; without a nominal less the smallest: it is worn by at least that.
    pub wear_mm: f64,
    /// Least chrome that is left on the radius where the bore wore evenly all round, mm; below 0: through. Null where the new
    /// thickness or the nominal is not known.
    pub chrome_left_mm: Option<f64>,
    /// Whether chrome is left, as far as the gauge tells.
    pub chrome_verdict: Option<Verdict>,
    /// Most clearance between bore and cup body, mm on the diameter.
    pub cup_clearance_mm: Option<f64>,
    /// Half the width of what the gauge's step hides in one diameter, mm.
    pub uncertainty_mm: f64,
    /// The limit of wear, mm on the diameter.
    pub limit_mm: f64,
    /// Wear against its limit.
    pub verdict: Verdict,
    /// What two-point diameters cannot see.
    pub blind_to: String,
    /// The same in Spanish.
    pub blind_to_es: String,
}

const BLIND: Words = Words {
    en: "Diameters between two points cannot see three lobes: a bore worn that way reads round. Turn a cup body in it, or use a \
        three-point gauge.",
    es: "Un diámetro entre dos puntos no ve tres lóbulos: un cilindro gastado así se lee redondo. Gire en él un cuerpo de copa, o use \
        un calibre de tres puntos.",
};

/// Measures a bore.
///
/// # Errors
/// `bad_points`: no reading, more than 2000, or one out of range (station 0 to 5000 mm, direction -360 to 360 degrees, diameter
/// within a quarter of the nominal); `bad_setting`.
pub fn bore(readings: &[BoreReading], settings: &BoreSettings) -> Result<Bore, CoreError> {
    check(readings, settings)?;
    let mut by_station = BTreeMap::<i64, Vec<&BoreReading>>::new();
    let mut by_direction = BTreeMap::<i64, Vec<f64>>::new();
    for reading in readings {
        // Readings of one station or direction are typed alike: to a hundredth.
        by_station.entry((reading.station_mm * 100.0).round() as i64).or_default().push(reading);
        by_direction.entry((reading.direction_deg.rem_euclid(180.0) * 100.0).round() as i64).or_default().push(reading.diameter_mm);
    }
    let range = |values: &[f64]| {
        let (low, high) = values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
        (values.len() > 1).then_some(high - low)
    };
    let stations: Vec<BoreStation> = by_station
        .values()
        .map(|list| {
            let diameters: Vec<f64> = list.iter().map(|reading| reading.diameter_mm).collect();
            BoreStation {
                station_mm: list[0].station_mm,
                mean_mm: diameters.iter().sum::<f64>() / diameters.len() as f64,
                ovality_mm: range(&diameters),
            }
        })
        .collect();
    let diameters = || readings.iter().map(|reading| reading.diameter_mm);
    let largest = diameters().fold(f64::NEG_INFINITY, f64::max);
    let wear_mm = largest - settings.nominal_mm.unwrap_or_else(|| diameters().fold(f64::INFINITY, f64::min));
    // Without a nominal the wear is a difference of two readings.
    let uncertainty_mm = settings.resolution_mm / if settings.nominal_mm.is_some() { 2.0 } else { 1.0 };
    let chrome_left_mm = settings.chrome_mm.filter(|_| settings.nominal_mm.is_some()).map(|chrome| chrome - wear_mm / 2.0);
    let verdict = match at_most(wear_mm, uncertainty_mm, settings.limit_mm) {
        Verdict::Good if settings.nominal_mm.is_none() => Verdict::MeasureMore,
        verdict => verdict,
    };
    Ok(Bore {
        schema: BORE_SCHEMA.to_owned(),
        readings: readings.to_vec(),
        ovality_mm: stations.iter().filter_map(|station| station.ovality_mm).reduce(f64::max),
        stations,
        taper_mm: by_direction.values().filter_map(|diameters| range(diameters)).reduce(f64::max),
        nominal_mm: settings.nominal_mm,
        wear_mm,
        chrome_left_mm,
        chrome_verdict: chrome_left_mm.map(|left| at_least(left, uncertainty_mm / 2.0, 0.0)),
        cup_clearance_mm: settings.cup_mm.map(|cup| largest - cup),
        uncertainty_mm,
        limit_mm: settings.limit_mm,
        verdict,
        blind_to: BLIND.en.to_owned(),
        blind_to_es: BLIND.es.to_owned(),
    })
}

fn check(readings: &[BoreReading], settings: &BoreSettings) -> Result<(), CoreError> {
    let refuse = |reason: String| Err(CoreError::refused("bad_points", reason, "give station, direction and diameter in mm and degrees"));
    settings.check()?;
    if readings.is_empty() || readings.len() > 2000 {
        return refuse(format!("{} readings; 1 to 2000 can be used", readings.len()));
    }
    // Without a nominal the first reading stands for it: a figure of another unit still shows.
    let usual_mm = settings.nominal_mm.unwrap_or_else(|| readings[0].diameter_mm.clamp(80.0, 300.0));
    let (low, high) = near(usual_mm);
    for (number, reading) in (1..).zip(readings) {
        if !(low..=high).contains(&reading.diameter_mm)
            || !(0.0..=5000.0).contains(&reading.station_mm)
            || !(-360.0..=360.0).contains(&reading.direction_deg)
        {
            return refuse(format!(
                "reading {number} (station {} mm, direction {} degrees, diameter {} mm) cannot be of a bore of {} mm",
                reading.station_mm, reading.direction_deg, reading.diameter_mm, usual_mm
            ));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn readings(list: &[[f64; 3]]) -> Vec<BoreReading> {
        list.iter().map(|&[station_mm, direction_deg, diameter_mm]| BoreReading { station_mm, direction_deg, diameter_mm }).collect()
    }

    /// A made-up table of three levels and two directions; sums by hand.
    #[test]
    fn table_of_three_levels_gives_ovality_taper_and_wear() {
        let table = [
            [50.0, 0.0, 200.12],
            [50.0, 90.0, 200.05],
            [1050.0, 0.0, 200.31],
            [1050.0, 90.0, 200.17],
            [2050.0, 180.0, 200.08],
            [2050.0, 270.0, 200.06],
        ];
        let settings = BoreSettings { chrome_mm: Some(0.25), cup_mm: Some(199.0), ..BoreSettings::of(Some(200.0)) };
        let found = bore(&readings(&table), &settings).unwrap();
        let close = |got: f64, want: f64| assert!((got - want).abs() < 1e-9, "{got} against {want}");
        let ovality: Vec<f64> = found.stations.iter().map(|station| station.ovality_mm.unwrap()).collect();
        close(ovality[0], 0.07);
        close(ovality[1], 0.14);
        close(ovality[2], 0.02);
        close(found.ovality_mm.unwrap(), 0.14);
        close(found.taper_mm.unwrap(), 0.23);
        close(found.wear_mm, 0.31);
        close(found.chrome_left_mm.unwrap(), 0.095);
        close(found.cup_clearance_mm.unwrap(), 1.31);
        assert_eq!(found.verdict, Verdict::Good);
        assert_eq!(found.chrome_verdict, Some(Verdict::Good));
        let through = BoreSettings { chrome_mm: Some(0.15), ..settings };
        assert_eq!(bore(&readings(&table), &through).unwrap().chrome_verdict, Some(Verdict::Bad));
        let strict = BoreSettings { limit_mm: 0.31, ..settings };
        assert_eq!(bore(&readings(&table), &strict).unwrap().verdict, Verdict::TooClose);
    }

    #[test]
    fn without_a_nominal_the_wear_is_the_least_it_can_be_and_never_called_good() {
        let at = |diameters: &[f64]| readings(&diameters.iter().map(|d| [0.0, 0.0, *d]).collect::<Vec<_>>());
        let settings = BoreSettings { chrome_mm: Some(0.25), ..BoreSettings::of(None) };
        let found = bore(&at(&[200.05, 200.31]), &settings).unwrap();
        assert!((found.wear_mm - 0.26).abs() < 1e-9);
        assert_eq!((found.verdict, found.chrome_left_mm, found.nominal_mm), (Verdict::MeasureMore, None, None));
        assert_eq!(bore(&at(&[200.05, 200.61]), &settings).unwrap().verdict, Verdict::Bad);
        assert_eq!(bore(&at(&[200.05, 7.9]), &settings).unwrap_err().code(), "bad_points");
        assert_eq!(bore(&at(&[7.9, 7.88]), &settings).unwrap_err().code(), "bad_points");
    }

    /// r = 100 + 0.02 cos 3t: roundness 0.04 mm, every diameter 200.
    #[test]
    fn three_lobed_bore_reads_round_and_the_document_says_what_it_is_blind_to() {
        let list: Vec<[f64; 3]> = (0..12)
            .map(|i| {
                let angle = f64::from(i) * 15.0_f64.to_radians();
                let radius = |t: f64| 100.0 + 0.02 * (3.0 * t).cos();
                [100.0, f64::from(i) * 15.0, radius(angle) + radius(angle + std::f64::consts::PI)]
            })
            .collect();
        let found = bore(&readings(&list), &BoreSettings::of(Some(200.0))).unwrap();
        assert!(found.ovality_mm.unwrap() < 1e-9);
        assert!(found.blind_to.contains("three lobes"));
    }

    #[test]
    fn readings_that_cannot_be_of_this_bore_are_refused() {
        let code = |list: &[[f64; 3]], settings: &BoreSettings| bore(&readings(list), settings).unwrap_err().code();
        let usual = BoreSettings::of(Some(200.0));
        assert_eq!(code(&[], &usual), "bad_points");
        assert_eq!(code(&[[0.0, 0.0, 20.0]], &usual), "bad_points");
        assert_eq!(code(&[[0.0, 0.0, f64::NAN]], &usual), "bad_points");
        assert_eq!(code(&[[0.0, 0.0, 200.0]], &BoreSettings { nominal_mm: Some(5.0), ..usual }), "bad_setting");
    }

    /// What is told beside a field is what the whole would refuse.
    #[test]
    fn one_diameter_is_refused_alone_where_the_bore_would_refuse_it() {
        let usual = BoreSettings::of(Some(200.0));
        for diameter_mm in [0.0, 7.88, 149.99, 150.0, 200.3, 250.0, 250.01, 5082.5, f64::NAN] {
            let whole = bore(&readings(&[[0.0, 0.0, diameter_mm]]), &usual);
            assert_eq!(usual.check_diameter(diameter_mm).is_ok(), whole.is_ok(), "{diameter_mm}");
        }
        let refused = usual.check_diameter(7.88).unwrap_err();
        assert_eq!(refused.code(), "not_this_bore");
        assert!(refused.reason().contains("7.88 mm") && refused.reason().contains("200 mm"), "{}", refused.reason());
        let unknown = BoreSettings::of(None);
        assert!(unknown.check_diameter(180.0).is_ok());
        assert_eq!(unknown.check_diameter(7.88).unwrap_err().code(), "not_this_bore");
    }
}
