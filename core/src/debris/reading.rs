//! The debris reading as a document: `gritbook.reading/1`, what a photo told and how far to trust it.
//!
//! Lengths are millimetres, areas square millimetres, shares percent. Points in the window have their origin at the
//! window's upper left as printed, x right, y down. Points in the photo are pixels after EXIF orientation, pixel
//! centres at half-integers.

use serde::{Deserialize, Serialize};

/// The schema name of a reading.
pub const READING_SCHEMA: &str = "gritbook.reading/1";

/// A whole debris reading. The same photo and settings give the same document, byte for byte.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Reading {
    /// Always [`READING_SCHEMA`].
    pub schema: String,
    /// Which photo.
    pub photo: PhotoFacts,
    /// Where the scale comes from and how well it fits.
    pub scale: Scale,
    /// The photo gates and what they found.
    pub quality: Quality,
    /// Grains at or above this size are counted; below it the photo cannot tell, mm.
    pub smallest_resolved_mm: f64,
    /// Share of the window under counted grains, percent.
    pub cover_percent: f64,
    /// How much of the sample the grains make up.
    pub amount: Amount,
    /// Every counted grain, in reading order (rows from the top, then left to right).
    pub grains: Vec<Grain>,
    /// Null where no grain was counted.
    pub gradation: Option<Gradation>,
    /// The passing level with the numbers that led to it.
    pub level: Level,
    /// How this was computed.
    pub method: Method,
}

/// Identity and size of the photo, after EXIF orientation.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct PhotoFacts {
    /// SHA-256 of the file's bytes, 64 lower-case hex digits.
    pub sha256: String,
    /// Width after orientation, px.
    pub width_px: u32,
    /// Height after orientation, px.
    pub height_px: u32,
    /// When the camera says it was taken (EXIF local time, with offset where the camera wrote one).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taken_at: Option<String>,
}

/// Where a scale came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum ScaleSource {
    /// From the marks of a debris card.
    Card,
    /// Set by hand.
    Hand,
}

/// The photo's scale at the window's centre.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Scale {
    /// Card or hand.
    pub source: ScaleSource,
    /// Photo pixels per millimetre at the window's centre (geometric mean over directions).
    pub px_per_mm: f64,
    /// Root mean square misfit of the card's edges, mm on the card; absent for a hand scale.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub residual_mm: Option<f64>,
    /// Legible marks, 2 to 4; absent for a hand scale.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub marks_found: Option<u32>,
    /// Width and height of the window, mm.
    pub window_mm: [f64; 2],
    /// The window's corners in the oriented photo, from its upper left as printed, clockwise, px.
    pub window_corners_px: [[f64; 2]; 4],
}

/// What the photo gates found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Quality {
    /// False where any finding refuses the photo.
    pub accepted: bool,
    /// What was measured and found wanting, gravest first; may hold warnings on an accepted photo.
    pub findings: Vec<Finding>,
}

/// One gate's finding.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Finding {
    /// Stable code: `blurred`, `too_dark`, `glare`, `too_small`, `too_crowded`, ...
    pub code: String,
    /// What was measured; its unit is given with the code in the documentation.
    pub value: f64,
    /// The limit it is held against.
    pub limit: f64,
    /// What to do about it.
    pub advice: String,
}

/// The amount of grains against the sample.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Amount {
    /// Volume of all counted grains as spheres of their area-equivalent diameter, mL.
    pub grains_ml: f64,
    /// The sample that was spread, mL.
    pub sample_ml: f64,
    /// `grains_ml` as a share of `sample_ml`, percent.
    pub share_percent: f64,
}

/// Grain or lump.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum GrainKind {
    /// One stone or sand grain.
    Grain,
    /// Grains bound together by paste.
    Lump,
}

/// One counted grain.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Grain {
    /// Centroid, mm from the window's left.
    pub x_mm: f64,
    /// Centroid, mm from the window's top.
    pub y_mm: f64,
    /// Area-equivalent diameter, mm (ISO 9276-6), as seen from straight above, like the Feret diameters and the area.
    pub ecd_mm: f64,
    /// Minimum Feret diameter, mm.
    pub feret_min_mm: f64,
    /// Maximum Feret diameter, mm.
    pub feret_max_mm: f64,
    /// Projected area, mm2.
    pub area_mm2: f64,
    /// sqrt(4 pi A / P^2), 1 for a circle (ISO 9276-6's circularity).
    pub circularity: f64,
    /// Area over convex hull area, 0 to 1.
    pub solidity: f64,
    /// Grain or lump.
    pub kind: GrainKind,
    /// True where a grain of a size that counts looks much like a lump: only a touch tells. Left out where false.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub may_be_lump: bool,
    /// True where it touches the window's border: listed, but not in the gradation.
    pub cut: bool,
    /// Outline as it is seen, mm in the window; only where asked for. A tilted camera sees it a little larger than the area says.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outline_mm: Option<Vec<[f64; 2]>>,
}

/// Volume-weighted gradation of the whole grains, weighted by the inverse of their chance to lie whole in the window.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Gradation {
    /// Always `volume`.
    pub basis: String,
    /// Sieve openings, mm, ascending.
    pub sieves_mm: Vec<f64>,
    /// Share of volume with an area-equivalent diameter below each sieve, percent.
    pub finer_percent: Vec<f64>,
    /// Smallest diameter at which the cumulative volume reaches 10 %, mm.
    pub d10_mm: f64,
    /// The same at 50 %, mm.
    pub d50_mm: f64,
    /// The same at 90 %, mm.
    pub d90_mm: f64,
    /// 95 % intervals of the spoonful that the window shows a part of: the sample's size, by bootstrap over grains, and the outlines' error.
    pub interval95: GradationInterval,
    /// 95 % intervals of the grains that lie in the window: the outlines' error alone. Null for a heap and in readings of methods before 9.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub window95: Option<GradationInterval>,
    /// Fineness modulus of the resolved part (ASTM C136 definition).
    pub fineness_modulus: f64,
}

/// 95 % intervals of the diameters, `[low, high]` in mm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct GradationInterval {
    /// Of the 10 % diameter.
    pub d10_mm: [f64; 2],
    /// Of the 50 % diameter.
    pub d50_mm: [f64; 2],
    /// Of the 90 % diameter.
    pub d90_mm: [f64; 2],
}

impl GradationInterval {
    /// Of D10, D50 and D90.
    pub fn of([d10_mm, d50_mm, d90_mm]: [[f64; 2]; 3]) -> Self {
        Self { d10_mm, d50_mm, d90_mm }
    }
}

/// The passing level of the cups, least to gravest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum LevelCode {
    /// Cement fines only: normal.
    PasteOnly,
    /// A little sand: watch.
    SomeSand,
    /// Sand: the cups are passing.
    Sand,
    /// Lumps or coarse grains: the cups are done.
    Lumps,
}

/// The level with its reasons.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Level {
    /// Which level.
    pub code: LevelCode,
    /// The numbers that led to it, gravest first; never empty.
    pub reasons: Vec<LevelReason>,
}

/// One number held against one limit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct LevelReason {
    /// Stable code: `cover_percent`, `largest_grain_mm`, `largest_lump_mm`.
    pub code: String,
    /// What was measured.
    pub value: f64,
    /// The limit that it passed or stayed under.
    pub limit: f64,
}

/// How the reading was computed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Method {
    /// Stable name of the method, for example `spread`.
    pub name: String,
    /// Every setting that was in force.
    pub settings: serde_json::Value,
    /// Version of the method; changes whenever its answers may.
    pub version: String,
}
