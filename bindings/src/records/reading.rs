//! The debris reading, `gritbook.reading/1`.

use gritbook_core::debris::reading as core_reading;

use super::{IntervalMm, PointMm, PointPx, SizeMm};
use crate::cross::{Cross, choice, record};

record! {
    /// What a photo told and how far to trust it. Points in the window: mm from its upper left as printed.
    ReadingFacts = core_reading::Reading {
        /// Name and version of the document.
        schema: String,
        /// Which photo.
        photo: PhotoFacts,
        /// Where the scale comes from and how well it fits.
        scale: Scale,
        /// The photo gates and what they found.
        quality: Quality,
        /// Grains at or above this size are counted, mm.
        smallest_resolved_mm: f64,
        /// Share of the window under counted grains, percent.
        cover_percent: f64,
        /// How much of the sample the grains make up.
        amount: Amount,
        /// Every counted grain, rows from the top, then left to right.
        grains: Vec<Grain>,
        /// Null where no grain was counted.
        gradation: Option<Gradation>,
        /// The passing level with the numbers that led to it.
        level: Level,
        /// How this was computed.
        method: ReadingMethod,
    }
}

record! {
    /// Identity and size of the photo, after EXIF orientation.
    PhotoFacts = core_reading::PhotoFacts {
        /// SHA-256 of the file's bytes: the photo's id.
        sha256: String,
        /// px.
        width_px: u32,
        /// px.
        height_px: u32,
        /// When the camera says it was taken.
        taken_at: Option<String>,
    }
}

choice! {
    /// Where a scale came from.
    ScaleSource = core_reading::ScaleSource {
        /// From the marks of a debris card.
        Card,
        /// Set by hand.
        Hand,
    }
}

record! {
    /// The photo's scale at the window's centre.
    Scale = core_reading::Scale {
        /// Card or hand.
        source: ScaleSource,
        /// Photo pixels per millimetre.
        px_per_mm: f64,
        /// Root mean square misfit of the card's edges, mm; null for a hand scale.
        residual_mm: Option<f64>,
        /// Legible marks; null for a hand scale.
        marks_found: Option<u32>,
        /// The window.
        window_mm: SizeMm,
        /// The window's four corners in the oriented photo, from its upper left as printed, clockwise.
        window_corners_px: Vec<PointPx>,
    }
}

record! {
    /// What the photo gates found.
    Quality = core_reading::Quality {
        /// False where any finding refuses the photo.
        accepted: bool,
        /// Gravest first; may hold warnings on an accepted photo.
        findings: Vec<Finding>,
    }
}

record! {
    /// One gate's finding.
    Finding = core_reading::Finding {
        /// Stable code.
        code: String,
        /// What was measured; the code tells its unit.
        value: f64,
        /// What it is held against, in the same unit.
        limit: f64,
        /// What to do about it.
        advice: String,
    }
}

record! {
    /// The amount of grains against the sample.
    Amount = core_reading::Amount {
        /// mL.
        grains_ml: f64,
        /// mL.
        sample_ml: f64,
        /// Grains as a share of the sample, percent.
        share_percent: f64,
    }
}

choice! {
    /// Grain or lump.
    GrainKind = core_reading::GrainKind {
        /// One stone or sand grain.
        Grain,
        /// Grains bound together by paste.
        Lump,
    }
}

record! {
    /// One counted grain.
    Grain = core_reading::Grain {
        /// Centroid, mm from the window's left.
        x_mm: f64,
        /// Centroid, mm from the window's top.
        y_mm: f64,
        /// Area-equivalent diameter, mm.
        ecd_mm: f64,
        /// Minimum Feret diameter, mm.
        feret_min_mm: f64,
        /// Maximum Feret diameter, mm.
        feret_max_mm: f64,
        /// Projected area, mm2.
        area_mm2: f64,
        /// 1 for a circle.
        circularity: f64,
        /// Area over convex hull area, 0 to 1.
        solidity: f64,
        /// Grain or lump.
        kind: GrainKind,
        /// True where a grain of a size that counts looks much like a lump: only a touch tells.
        may_be_lump: bool,
        /// True where it touches the window's border: listed, but not in the gradation.
        cut: bool,
        /// Outline in the window; only where asked for.
        outline_mm: Option<Vec<PointMm>>,
    }
}

record! {
    /// Volume-weighted gradation of the whole grains.
    Gradation = core_reading::Gradation {
        /// Always `volume`.
        basis: String,
        /// Sieve openings, mm, ascending.
        sieves_mm: Vec<f64>,
        /// Share of volume finer than each sieve, percent.
        finer_percent: Vec<f64>,
        /// 10 % of the volume is finer than this, mm.
        d10_mm: f64,
        /// 50 %.
        d50_mm: f64,
        /// 90 %.
        d90_mm: f64,
        /// 95 % intervals of the spoonful that the window shows a part of.
        interval95: GradationInterval,
        /// 95 % intervals of the grains in the window; null for a heap and in readings of methods before 9.
        window95: Option<GradationInterval>,
        /// Fineness modulus of the resolved part.
        fineness_modulus: f64,
    }
}

record! {
    /// 95 % intervals of the diameters.
    GradationInterval = core_reading::GradationInterval {
        /// Of the 10 % diameter.
        d10_mm: IntervalMm,
        /// Of the 50 % diameter.
        d50_mm: IntervalMm,
        /// Of the 90 % diameter.
        d90_mm: IntervalMm,
    }
}

choice! {
    /// The passing level of the cups, least to gravest.
    LevelCode = core_reading::LevelCode {
        /// Cement fines only: normal.
        PasteOnly,
        /// A little sand: watch.
        SomeSand,
        /// Sand: the cups are passing.
        Sand,
        /// Lumps or coarse grains: the cups are done.
        Lumps,
    }
}

record! {
    /// The level with its reasons.
    Level = core_reading::Level {
        /// Which level.
        code: LevelCode,
        /// Gravest first; never empty.
        reasons: Vec<LevelReason>,
    }
}

record! {
    /// One number held against one limit.
    LevelReason = core_reading::LevelReason {
        /// Stable code: `cover_percent`, `largest_grain_mm`, `largest_lump_mm`.
        code: String,
        /// What was measured, in the unit of the code.
        value: f64,
        /// The limit, in the same unit.
        limit: f64,
    }
}

/// How the reading was computed.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct ReadingMethod {
    /// Stable name of the method.
    pub name: String,
    /// Every setting that was in force, as JSON.
    pub settings_json: String,
    /// Changes whenever the method's answers may.
    pub version: String,
}

impl Cross<ReadingMethod> for core_reading::Method {
    fn cross(self) -> ReadingMethod {
        let Self { name, settings, version } = self;
        ReadingMethod { name, settings_json: settings.to_string(), version }
    }
}
