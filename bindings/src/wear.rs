//! Measured wear: readings in, what they come to out. Each result carries its document, to be recorded as
//! [`MeasureTaken::document_json`](crate::MeasureTaken).

use gritbook_core::model::entry as core_entry;
use gritbook_core::wear::document::text;
use gritbook_core::wear::{self as core_wear, bolt as core_bolt, bore as core_bore, oring as core_oring, plate as core_plate};
use gritbook_core::wear::{line as core_line, thickness as core_thickness};

use crate::cross::{Cross, choice, record};
use crate::error::FieldBookError;
use crate::grades::Words;
use crate::records::{Cup, MeasureTaken};

choice! {
    /// What a measure says against its limit.
    Verdict = core_wear::Verdict {
        /// Within it.
        Good,
        /// Over it.
        Bad,
        /// The limit lies within what the gauge's step hides.
        TooClose,
        /// Within it as far as was measured.
        MeasureMore,
    }
}

choice! {
    /// The plate's centre against its rim.
    Centre = core_plate::Centre {
        /// Lower: replace it.
        Low,
        /// Higher.
        High,
        /// Neither.
        Level,
        /// The readings do not tell.
        NotSeen,
    }
}

choice! {
    /// What may be worn thin.
    ThinPart = core_thickness::ThinPart {
        /// The cup's sealing lip.
        CupLip,
        /// The cup's wall.
        CupWall,
        /// The guide band.
        GuideBand,
    }
}

choice! {
    /// A bolt's strength.
    BoltGrade = core_bolt::BoltGrade {
        /// SAE J429 grade 2.
        Sae2,
        /// SAE J429 grade 5.
        Sae5,
        /// SAE J429 grade 8.
        Sae8,
        /// ISO 898-1, 8.8.
        Iso8_8,
        /// ISO 898-1, 10.9.
        Iso10_9,
        /// ISO 898-1, 12.9.
        Iso12_9,
    }
}

choice! {
    /// State of the threads.
    Lubrication = core_bolt::Lubrication {
        /// Plain and dry.
        Dry,
        /// Zinc plated.
        Plated,
        /// Oiled or greased.
        Lubricated,
    }
}

record! { both
    /// A height on the plate.
    PlatePoint = core_plate::PlatePoint {
        /// mm.
        x_mm: f64,
        /// mm.
        y_mm: f64,
        /// Over any plane, mm.
        height_mm: f64,
    }
}

record! { both
    /// A feeler gap under a straightedge.
    FeelerReading = core_plate::FeelerReading {
        /// Which laying of it.
        line: u32,
        /// mm.
        x_mm: f64,
        /// mm.
        y_mm: f64,
        /// mm.
        gap_mm: f64,
    }
}

record! { both
    /// A diameter of the bore.
    BoreReading = core_bore::BoreReading {
        /// Along it from the box end, mm.
        station_mm: f64,
        /// Across it, degrees.
        direction_deg: f64,
        /// mm.
        diameter_mm: f64,
    }
}

record! { both
    /// How a plate is read and held.
    PlateSettings = core_plate::PlateSettings {
        /// Step of dial or feelers, mm.
        resolution_mm: f64,
        /// The shop's limit, mm.
        limit_mm: f64,
    }
}

record! { both
    /// What a bore is held against.
    BoreSettings = core_bore::BoreSettings {
        /// When new, mm.
        nominal_mm: Option<f64>,
        /// Chrome when new, mm on the radius.
        chrome_mm: Option<f64>,
        /// The cup's body, mm.
        cup_mm: Option<f64>,
        /// Step of the gauge, mm.
        resolution_mm: f64,
        /// The shop's limit, mm on the diameter.
        limit_mm: f64,
    }
}

/// An earlier reading of the same place.
#[derive(Debug, Clone, Copy, PartialEq, uniffi::Record)]
pub struct Before {
    /// Thickness then, mm.
    pub thickness_mm: f64,
    /// Concrete pumped since, m3.
    pub since_m3: f64,
}

/// What a measurement comes to, for the screen; the whole of it is in the document.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct MeasuredWear {
    /// What to record; null for a delivery line, which is no part of a cup's record.
    pub taken: Option<MeasureTaken>,
    /// The verdict; null for a bolt, which has none.
    pub verdict: Option<Verdict>,
    /// The verdict in words.
    pub verdict_words: Option<Words>,
    /// The document, JSON.
    pub document_json: String,
}

/// How flat a plate is.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct PlateMeasured {
    /// What every measurement has.
    pub wear: MeasuredWear,
    /// Flatness by the minimum zone, mm.
    pub minimum_zone_mm: f64,
    /// Half the width of what the gauge's step hides, mm.
    pub uncertainty_mm: f64,
    /// Centre against rim.
    pub centre: Centre,
    /// How far the centre lies below the rim, mm.
    pub centre_low_mm: Option<f64>,
    /// Heights, for the drawing.
    pub points: Vec<PlatePoint>,
    /// Which of them touch the zone.
    pub contacts: Vec<u64>,
    /// False where lines do not tie the plate together: it may be worse.
    pub ties_whole_plate: bool,
}

/// How worn a bore is.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct BoreMeasured {
    /// What every measurement has.
    pub wear: MeasuredWear,
    /// Wear on the diameter, mm.
    pub wear_mm: f64,
    /// Half the width of what the gauge's step hides, mm.
    pub uncertainty_mm: f64,
    /// Largest ovality, mm.
    pub ovality_mm: Option<f64>,
    /// Taper, mm.
    pub taper_mm: Option<f64>,
    /// Least chrome left, mm on the radius.
    pub chrome_left_mm: Option<f64>,
    /// Most clearance to the cup, mm.
    pub cup_clearance_mm: Option<f64>,
    /// What two-point diameters cannot see.
    pub blind_to: Words,
}

/// How thin a lip, wall or band is.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct ThicknessMeasured {
    /// What every measurement has.
    pub wear: MeasuredWear,
    /// The thinnest place, mm.
    pub least_mm: f64,
    /// Which reading that is, from 1.
    pub least_at: u64,
    /// Most less least, mm.
    pub uneven_mm: Option<f64>,
    /// Share used of what may wear, percent.
    pub used_percent: f64,
    /// Concrete to plan with until the limit, m3.
    pub left_least_m3: Option<f64>,
}

/// How an O-ring is squeezed.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct ORingMeasured {
    /// What every measurement has.
    pub wear: MeasuredWear,
    /// Percent of its section.
    pub squeeze_percent: f64,
    /// Half the width of what the gauges' step hides, percent.
    pub uncertainty_percent: f64,
    /// Percent of the groove.
    pub fill_percent: Option<f64>,
    /// True where it is loose.
    pub loose: bool,
}

/// How tight a bolt goes.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct BoltMeasured {
    /// What every measurement has.
    pub wear: MeasuredWear,
    /// The torque to use, N m.
    pub torque_nm: f64,
    /// True where it is the maker's.
    pub by_maker: bool,
    /// By T = K d F, N m.
    pub computed_nm: f64,
    /// Tap to chase the thread with.
    pub chase_with: String,
}

/// What is left of a delivery line.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct LineMeasured {
    /// What every measurement has.
    pub wear: MeasuredWear,
    /// Wall that the pressure needs, mm.
    pub needed_mm: f64,
    /// Pressure that the wall holds, bar.
    pub holds_bar: f64,
    /// Concrete to plan with, m3.
    pub left_least_m3: Option<f64>,
    /// Usual pours within that.
    pub pours_left: Option<f64>,
}

fn wear(document_json: String, verdict: Option<core_wear::Verdict>) -> MeasuredWear {
    // A line's document is no part's: it has nothing to record.
    let taken = core_entry::Measured::of_document(&document_json, None, None).ok().map(Cross::cross);
    MeasuredWear { taken, verdict: verdict.cross(), verdict_words: verdict.map(|verdict| verdict.words().cross()), document_json }
}

fn plate(found: core_plate::Flatness) -> Result<PlateMeasured, FieldBookError> {
    Ok(PlateMeasured {
        wear: wear(text(&found)?, Some(found.verdict)),
        minimum_zone_mm: found.minimum_zone_mm,
        uncertainty_mm: found.uncertainty_mm,
        centre: found.centre.cross(),
        centre_low_mm: found.centre_low_mm,
        points: found.points.cross(),
        contacts: found.contacts.into_iter().map(Cross::cross).collect(),
        ties_whole_plate: found.ties_whole_plate,
    })
}

/// The usual settings of a plate.
#[uniffi::export]
pub fn usual_plate_settings() -> PlateSettings {
    core_plate::PlateSettings::default().cross()
}

/// The usual settings of a bore of this size.
#[uniffi::export]
pub fn usual_bore_settings(nominal_mm: Option<f64>) -> BoreSettings {
    core_bore::BoreSettings::of(nominal_mm).cross()
}

/// Flatness from heights.
#[uniffi::export]
pub fn measure_plate(points: Vec<PlatePoint>, settings: PlateSettings) -> Result<PlateMeasured, FieldBookError> {
    let points: Vec<_> = points.into_iter().map(Cross::cross).collect();
    plate(core_plate::flatness(&points, &settings.cross())?)
}

/// Flatness from feeler gaps under a straightedge.
#[uniffi::export]
pub fn measure_plate_by_feeler(readings: Vec<FeelerReading>, settings: PlateSettings) -> Result<PlateMeasured, FieldBookError> {
    let readings: Vec<_> = readings.into_iter().map(Cross::cross).collect();
    plate(core_plate::flatness_by_feeler(&readings, &settings.cross())?)
}

/// A bore from diameters.
#[uniffi::export]
pub fn measure_bore(readings: Vec<BoreReading>, settings: BoreSettings) -> Result<BoreMeasured, FieldBookError> {
    let readings: Vec<_> = readings.into_iter().map(Cross::cross).collect();
    let found = core_bore::bore(&readings, &settings.cross())?;
    Ok(BoreMeasured {
        wear: wear(text(&found)?, Some(found.verdict)),
        wear_mm: found.wear_mm,
        uncertainty_mm: found.uncertainty_mm,
        ovality_mm: found.ovality_mm,
        taper_mm: found.taper_mm,
        chrome_left_mm: found.chrome_left_mm,
        cup_clearance_mm: found.cup_clearance_mm,
        blind_to: Words { en: found.blind_to, es: found.blind_to_es },
    })
}

/// A lip, wall or band from readings around it.
#[uniffi::export]
pub fn measure_thickness(
    part: ThinPart,
    readings_mm: Vec<f64>,
    new_mm: f64,
    limit_mm: f64,
    resolution_mm: f64,
    before: Option<Before>,
) -> Result<ThicknessMeasured, FieldBookError> {
    let before = before.map(|before| (before.thickness_mm, before.since_m3));
    let settings = core_thickness::ThicknessSettings { part: part.cross(), new_mm, limit_mm, resolution_mm, before };
    let found = core_thickness::thickness(&readings_mm, &settings)?;
    Ok(ThicknessMeasured {
        wear: wear(text(&found)?, Some(found.verdict)),
        least_mm: found.least_mm,
        least_at: found.least_at.cross(),
        uneven_mm: found.uneven_mm,
        used_percent: found.used_percent,
        left_least_m3: found.rate.and_then(|rate| rate.left_least_m3),
    })
}

/// An O-ring in its groove, by the usual limits.
#[uniffi::export]
pub fn measure_oring(section_mm: f64, groove_mm: f64, groove_width_mm: Option<f64>, bore_mm: f64) -> Result<ORingMeasured, FieldBookError> {
    let fit = core_oring::ORingFit { groove_width_mm, ..core_oring::ORingFit::of(section_mm, groove_mm, bore_mm) };
    let found = core_oring::oring(&fit)?;
    Ok(ORingMeasured {
        wear: wear(text(&found)?, Some(found.verdict)),
        squeeze_percent: found.squeeze_percent,
        uncertainty_percent: found.uncertainty_percent,
        fill_percent: found.fill_percent,
        loose: found.loose,
    })
}

/// Torque and tap of a bolt; the maker's figure wins.
#[uniffi::export]
pub fn measure_bolt(thread: &str, grade: BoltGrade, threads: Lubrication, maker_nm: Option<f64>) -> Result<BoltMeasured, FieldBookError> {
    let found = core_bolt::bolt(&core_bolt::Thread::of(thread)?, grade.cross(), threads.cross(), maker_nm)?;
    Ok(BoltMeasured {
        wear: wear(text(&found)?, None),
        torque_nm: found.torque_nm,
        by_maker: found.maker_nm.is_some(),
        computed_nm: found.computed_nm,
        chase_with: found.chase_with,
    })
}

/// A delivery line's wall.
#[uniffi::export]
pub fn measure_line(
    od_mm: f64,
    wall_mm: f64,
    pressure_bar: f64,
    allowed_mpa: f64,
    resolution_mm: f64,
    before: Option<Before>,
    pour_m3: Option<f64>,
) -> Result<LineMeasured, FieldBookError> {
    let before = before.map(|before| (before.thickness_mm, before.since_m3));
    let found = core_line::line(&core_line::LinePipe { od_mm, wall_mm, pressure_bar, allowed_mpa, resolution_mm, before, pour_m3 })?;
    Ok(LineMeasured {
        wear: wear(text(&found)?, Some(found.verdict)),
        needed_mm: found.needed_mm,
        holds_bar: found.holds_bar,
        left_least_m3: found.left_least_m3,
        pours_left: found.pours_left,
    })
}

/// What a measurement comes to in the record, on which side and at which running total.
#[uniffi::export]
pub fn measure_of_document(document_json: &str, cup: Option<Cup>, pump_m3: Option<f64>) -> Result<MeasureTaken, FieldBookError> {
    Ok(core_entry::Measured::of_document(document_json, cup.cross(), pump_m3)?.cross())
}
