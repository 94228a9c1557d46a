//! A measurement as the record keeps it: the whole document, and the one figure of it that a history holds.

use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

use super::bolt::{BOLT_SCHEMA, Bolt};
use super::bore::{BORE_SCHEMA, Bore};
use super::oring::{ORING_SCHEMA, ORing};
use super::plate::{Flatness, PLATE_SCHEMA};
use super::thickness::{THICKNESS_SCHEMA, Thickness, ThinPart};
use crate::error::CoreError;
use crate::model::entry::Measured;
use crate::model::{Cup, Part};

/// Longest document that an entry takes, bytes: the readings of a plate of 2000 points fit.
const LONGEST_DOCUMENT: usize = 512 * 1024;

/// What a measurement comes to in a history.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// Which part it speaks of.
    pub part: Part,
    /// The measure, with its unit at the end.
    pub measure: &'static str,
    /// The value in that unit.
    pub value: f64,
}

impl Measured {
    /// A measurement to record: its document as text, as the measuring gave it, on which side and at which running total.
    ///
    /// # Errors
    /// `bad_document` for a text that is no document of a part's measurement.
    pub fn of_document(document: &str, cup: Option<Cup>, pump_m3: Option<f64>) -> Result<Self, CoreError> {
        let (document, Figure { part, measure, value }) = read(document)?;
        Ok(Self { part, cup, measure: measure.to_owned(), value, pump_m3, document: Some(document), work: None })
    }
}

#[derive(Deserialize)]
struct Named {
    schema: String,
}

fn refuse(reason: String) -> CoreError {
    CoreError::refused("bad_document", reason, "measure again and record the document that this gives, unchanged")
}

/// A document as the text that is recorded.
///
/// # Errors
/// `bad_document` for a figure that is not finite.
pub fn text(document: &impl serde::Serialize) -> Result<String, CoreError> {
    serde_json::to_string(document).map_err(|cause| refuse("the document cannot be written as JSON".to_owned()).because(cause))
}

/// Reads a document of a plate, bore, thickness, O-ring or bolt.
///
/// # Errors
/// `bad_document` where it is none of them, or longer than 512 KB.
pub fn read(text: &str) -> Result<(Value, Figure), CoreError> {
    if text.len() > LONGEST_DOCUMENT {
        return Err(refuse(format!("the document has {} bytes; {LONGEST_DOCUMENT} is the most", text.len())));
    }
    let value: Value =
        serde_json::from_str(text).map_err(|cause| refuse("this is no document of a measurement".to_owned()).because(cause))?;
    let figure = figure(&value)?;
    Ok((value, figure))
}

/// The one figure of a document.
///
/// # Errors
/// `bad_document`.
pub fn figure(document: &Value) -> Result<Figure, CoreError> {
    let Named { schema } = of(document)?;
    Ok(match schema.as_str() {
        PLATE_SCHEMA => {
            let plate: Flatness = of(document)?;
            // Low in the centre is what the trade replaces a plate for; where the centre was not read its flatness stands.
            let (measure, value) =
                plate.centre_low_mm.map_or(("plate_flatness_mm", plate.minimum_zone_mm), |low| ("plate_low_centre_mm", low));
            Figure { part: Part::Plate, measure, value }
        }
        BORE_SCHEMA => {
            let bore: Bore = of(document)?;
            // Without a nominal the figure is a lower bound: it must not pass for the wear.
            let measure = if bore.nominal_mm.is_some() { "bore_wear_mm" } else { "bore_wear_at_least_mm" };
            Figure { part: Part::Bore, measure, value: bore.wear_mm }
        }
        THICKNESS_SCHEMA => {
            let thin: Thickness = of(document)?;
            let (part, measure) = match thin.part {
                ThinPart::CupLip => (Part::Cup, "cup_lip_mm"),
                ThinPart::CupWall => (Part::Cup, "cup_wall_mm"),
                ThinPart::GuideBand => (Part::GuideBand, "guide_band_mm"),
            };
            Figure { part, measure, value: thin.least_mm }
        }
        ORING_SCHEMA => Figure { part: Part::ORing, measure: "oring_squeeze_percent", value: of::<ORing>(document)?.squeeze_percent },
        BOLT_SCHEMA => Figure { part: Part::Bolts, measure: "bolt_torque_nm", value: of::<Bolt>(document)?.torque_nm },
        other => return Err(refuse(format!("`{other}` is no document of a measurement"))),
    })
}

fn of<T: DeserializeOwned>(document: &Value) -> Result<T, CoreError> {
    T::deserialize(document).map_err(|cause| refuse("the document of a measurement cannot be read".to_owned()).because(cause))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wear::bolt::{BoltGrade, Lubrication, Thread, bolt};
    use crate::wear::bore::{BoreReading, BoreSettings, bore};
    use crate::wear::oring::{ORingFit, oring};
    use crate::wear::plate::{PlatePoint, PlateSettings, flatness};
    use crate::wear::thickness::{ThicknessSettings, thickness};

    fn text(document: &impl serde::Serialize) -> String {
        super::text(document).unwrap()
    }

    #[test]
    fn every_document_of_a_part_comes_to_its_figure() {
        let at = |x_mm, y_mm, height_mm| PlatePoint { x_mm, y_mm, height_mm };
        let rim = [at(-1.0, -1.0, 0.2), at(1.0, -1.0, 0.2), at(-1.0, 1.0, 0.2), at(1.0, 1.0, 0.2)];
        let plate = |points: &[PlatePoint]| text(&flatness(points, &PlateSettings::default()).unwrap());
        let thin = |part| {
            let settings = ThicknessSettings { part, new_mm: 12.0, limit_mm: 8.0, resolution_mm: 0.1, before: None };
            text(&thickness(&[10.0], &settings).unwrap())
        };
        let reading = BoreReading { station_mm: 0.0, direction_deg: 0.0, diameter_mm: 200.25 };
        for (document, part, measure, value) in [
            (plate(&rim), Part::Plate, "plate_flatness_mm", 0.0),
            (plate(&[&rim[..], &[at(0.0, 0.0, 0.0)]].concat()), Part::Plate, "plate_low_centre_mm", 0.2),
            (text(&bore(&[reading], &BoreSettings::of(Some(200.0))).unwrap()), Part::Bore, "bore_wear_mm", 0.25),
            (
                text(&bore(&[reading, BoreReading { diameter_mm: 200.05, ..reading }], &BoreSettings::of(None)).unwrap()),
                Part::Bore,
                "bore_wear_at_least_mm",
                0.2,
            ),
            (thin(ThinPart::CupLip), Part::Cup, "cup_lip_mm", 10.0),
            (thin(ThinPart::CupWall), Part::Cup, "cup_wall_mm", 10.0),
            (thin(ThinPart::GuideBand), Part::GuideBand, "guide_band_mm", 10.0),
            (text(&oring(&ORingFit::of(5.0, 192.0, 200.0)).unwrap()), Part::ORing, "oring_squeeze_percent", 20.0),
            (
                text(&bolt(&Thread::of("M12").unwrap(), BoltGrade::Iso10_9, Lubrication::Dry, Some(95.0)).unwrap()),
                Part::Bolts,
                "bolt_torque_nm",
                95.0,
            ),
        ] {
            let (kept, found) = read(&document).unwrap();
            assert_eq!((found.part, found.measure), (part, measure));
            assert!((found.value - value).abs() < 1e-9, "{measure} {}", found.value);
            assert_eq!(kept, serde_json::from_str::<Value>(&document).unwrap(), "kept whole");
        }
    }

    #[test]
    fn what_is_no_document_of_a_part_is_refused() {
        for text in ["", "{}", "[]", r#"{"schema":"gritbook.call/1"}"#, r#"{"schema":"gritbook.bore/1","wear_mm":1}"#] {
            assert_eq!(read(text).unwrap_err().code(), "bad_document", "{text}");
        }
        assert_eq!(read(&format!("\"{}\"", "x".repeat(LONGEST_DOCUMENT))).unwrap_err().code(), "bad_document");
    }
}
