//! Where a bore is usually measured by hand.

use crate::model::words::Words;

/// One diameter to read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BorePlace {
    /// Place along the bore, mm from the box end.
    pub station_mm: f64,
    /// Direction across it, degrees: 0 up and down, 90 side to side.
    pub direction_deg: f64,
    /// The place along it in words.
    pub station: Words,
    /// The direction in words.
    pub direction: Words,
}

/// Who says so.
pub const PLACES_SOURCE: Words = Words { en: "our choice, no published source", es: "elección nuestra, sin fuente publicada" };

/// Shares of the stroke: within what the cup sweeps, and clear of both ends, where it turns round.
const STATIONS: [(f64, Words); 3] = [
    (0.1, Words { en: "near the box", es: "junto a la caja" }),
    (0.5, Words { en: "in the middle", es: "en el medio" }),
    (0.9, Words { en: "near the hopper", es: "junto a la tolva" }),
];

/// Concrete lies on the floor of the bore and the cup's weight with it: up and down may wear other than side to side.
const DIRECTIONS: [(f64, Words); 2] =
    [(0.0, Words { en: "up and down", es: "de arriba abajo" }), (90.0, Words { en: "side to side", es: "de lado a lado" })];

/// The usual places of a bore of this stroke, station by station from the box end, each in both directions.
///
/// # Source
/// [`PLACES_SOURCE`].
pub fn usual_places(stroke_mm: f64) -> Vec<BorePlace> {
    let of = |(share, station): (f64, Words)| {
        let station_mm = (share * stroke_mm).round();
        DIRECTIONS.map(|(direction_deg, direction)| BorePlace { station_mm, direction_deg, station, direction })
    };
    STATIONS.into_iter().flat_map(of).collect()
}

#[cfg(test)]
mod tests {
    use super::super::{BoreReading, BoreSettings, bore};
    use super::*;
    use crate::model::pump::PumpSpec;

    #[test]
    fn six_places_stand_in_order_from_the_box_to_the_hopper_and_are_named_apart() {
        let places = usual_places(2_100.0);
        let stood: Vec<_> = places.iter().map(|place| (place.station_mm, place.direction_deg)).collect();
        assert_eq!(stood, [(210.0, 0.0), (210.0, 90.0), (1050.0, 0.0), (1050.0, 90.0), (1890.0, 0.0), (1890.0, 90.0)]);
        for (at, place) in places.iter().enumerate() {
            assert!(place.station.en != place.station.es && place.direction.en != place.direction.es);
            let alike = |other: &&BorePlace| other.station == place.station && other.direction == place.direction;
            assert_eq!(places.iter().filter(alike).count(), 1, "{at}");
        }
        assert_eq!((places[0].station.en, places[5].station.es), ("near the box", "junto a la tolva"));
    }

    /// Every one of them can be measured, and together they give what a bore is judged by.
    #[test]
    fn readings_at_the_usual_places_give_ovality_and_taper() {
        let spec = PumpSpec::assumed("P");
        let wider = |place: &BorePlace| if place.direction_deg == 0.0 { 0.2 } else { 0.1 };
        let readings: Vec<_> = usual_places(spec.stroke_mm)
            .iter()
            .map(|place| BoreReading {
                station_mm: place.station_mm,
                direction_deg: place.direction_deg,
                diameter_mm: spec.bore_mm + wider(place) + if place.station.en == "in the middle" { 0.05 } else { 0.0 },
            })
            .collect();
        let found = bore(&readings, &BoreSettings::of(Some(spec.bore_mm))).unwrap();
        let close = |got: f64, want: f64| assert!((got - want).abs() < 1e-9, "{got} against {want}");
        close(found.wear_mm, 0.25);
        close(found.ovality_mm.unwrap(), 0.1);
        close(found.taper_mm.unwrap(), 0.05);
        assert_eq!(found.stations.len(), 3);
    }
}
