//! What a photo of a wear surface told, as a document: `gritbook.face/1`.
//!
//! Points are pixels of the oriented photo, pixel centres at half-integers. Shares are of 1. Lengths are millimetres where the photo
//! held the card, else absent, and pixels of the photo beside them. It suggests; it never grades.

use serde::{Deserialize, Serialize};

use crate::debris::reading::{Method, PhotoFacts};

/// The schema name of the document.
pub const FACE_SCHEMA: &str = "gritbook.face/1";

/// A photo of a wear surface, measured. The same photos and settings give the same document, byte for byte.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct FaceReading {
    /// Always [`FACE_SCHEMA`].
    pub schema: String,
    /// Which photo.
    pub photo: PhotoFacts,
    /// Coloured face or bare metal.
    pub surface: Surface,
    /// From the card; absent without one, and then nothing is told in millimetres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<FaceScale>,
    /// What colours were held against.
    pub white: White,
    /// Which part of the photo was measured.
    pub region: Region,
    /// Embedded grit; absent on bare metal and on a face without a colour of its own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grit: Option<Grit>,
    /// Scores: long thin marks.
    pub scores: Scores,
    /// Chipped chrome: dull patches on bright metal; absent on a coloured face.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chips: Option<Chips>,
    /// What could not be told, or only in part, gravest first.
    pub findings: Vec<FaceFinding>,
    /// Beside the last photo of the same part, where one was given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub last: Option<Beside>,
    /// How this was computed.
    pub method: Method,
}

/// What kind of surface was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Surface {
    /// A face with a colour of its own: a cup, a guide band.
    Coloured,
    /// Bare metal: a chrome bore, a plate.
    Metal,
}

/// The photo's scale on the measured surface.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct FaceScale {
    /// Photo pixels per millimetre in the middle of the surface.
    pub px_per_mm: f64,
    /// Root mean square misfit of the card's edges, mm on the card.
    pub residual_mm: f64,
    /// Legible marks, 2 to 4.
    pub marks_found: u32,
}

/// Where the white comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum WhiteSource {
    /// The card's white patches.
    Card,
    /// A white spot shown by hand.
    White,
    /// A grey spot (CIELAB L* 50, as the card's) shown by hand.
    Grey,
}

/// The white that colours were held against.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct White {
    /// Card or by hand.
    pub source: WhiteSource,
    /// As it stands in the photo, 8-bit sRGB, before it is taken for white.
    pub srgb: [f64; 3],
}

/// How the surface was found in the photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum RegionSource {
    /// Drawn by hand.
    Outline,
    /// The largest coloured surface in the photo.
    Colour,
}

/// The measured part of the photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Region {
    /// Drawn or found.
    pub source: RegionSource,
    /// Its outline in the photo, px.
    pub outline_px: Vec<[f64; 2]>,
    /// Area, px of the photo.
    pub area_px: f64,
    /// Area, mm2; only with the card.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub area_mm2: Option<f64>,
    /// The surface's own colour against the white: L*, a*, b*.
    pub colour_lab: [f64; 3],
    /// Share of it that shine hides.
    pub hidden_share: f64,
}

/// A share with what it may be at least and at most (about 95 of 100).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Share {
    /// Most likely, 0 to 1.
    pub value: f64,
    /// At least.
    pub low: f64,
    /// At most.
    pub high: f64,
}

/// A length with its doubt.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Length {
    /// Photo pixels.
    pub px: f64,
    /// Millimetres; only with the card.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mm: Option<f64>,
    /// Either way, as a share of it (about 95 of 100).
    pub doubt_share: f64,
}

/// Grit embedded in a coloured face.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Grit {
    /// Share of the seen surface under grit.
    pub share: Share,
    /// Separate grains, from the smallest resolved on.
    pub grains: u32,
    /// The largest grain; absent where there is none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub largest: Option<LargestGrain>,
    /// Grains at or above this are counted one by one.
    pub smallest_resolved: Length,
    /// Colour difference (CIEDE2000) below which nothing counts as foreign.
    pub least_difference: f64,
    /// Outlines, largest first, at most 400.
    pub regions: Vec<MarkedRegion>,
}

/// The largest embedded grain.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct LargestGrain {
    /// Largest distance between parallel tangents (maximum Feret diameter).
    pub feret_max: Length,
    /// Smallest distance between parallel tangents.
    pub feret_min: Length,
    /// Where it lies in the photo, px.
    pub at_px: [f64; 2],
}

/// A part of the surface that was marked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct MarkedRegion {
    /// Outline in the photo, px.
    pub outline_px: Vec<[f64; 2]>,
    /// Largest distance between parallel tangents; of a score its length.
    pub length: Length,
    /// Smallest distance between parallel tangents; of a score its mean width.
    pub width: Length,
    /// Colour difference from the surface around it (CIEDE2000).
    pub difference: f64,
    /// True where it is lighter than the surface around it.
    pub bright: bool,
}

/// Scores.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Scores {
    /// How many separate ones.
    pub count: u32,
    /// The longest one's length.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub longest: Option<Length>,
    /// The widest one's mean width.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub widest: Option<Length>,
    /// Longest first, at most 100.
    pub regions: Vec<MarkedRegion>,
}

/// Chipped chrome.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Chips {
    /// How many separate ones.
    pub count: u32,
    /// Share of the seen surface under them.
    pub share: Share,
    /// Largest first, at most 100.
    pub regions: Vec<MarkedRegion>,
}

/// Something that could not be told, or only in part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct FaceFinding {
    /// Stable code.
    pub code: FindingCode,
    /// What was measured; its unit stands with the code.
    pub value: f64,
    /// What it was held against.
    pub limit: f64,
    /// In English.
    pub en: String,
    /// In Spanish.
    pub es: String,
}

/// Why something could not be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum FindingCode {
    /// Share of the surface hidden by shine.
    Glare,
    /// Share of the surface that is darker or lighter with soft rims or in its own colour: water, shadow or sheen, not told which.
    WetOrShadow,
    /// The surface's lightness L*: little light.
    Dark,
    /// Edge spread in photo px: small grit is lost.
    Blur,
    /// Legible marks: no millimetres.
    NoCard,
    /// What the card's bar measures, mm: the card was printed at another scale, and lengths were put right by it.
    BarOff,
    /// The white in the photo, 8-bit: burnt out, so that colours are off.
    WhiteBurnt,
    /// Width of the surface in photo px.
    FaceSmall,
    /// Share of the surface in patches too small to tell grit from texture.
    TooFine,
    /// Chroma of the surface: no colour to tell grit by.
    NoColour,
    /// Share of the region that is not of its colour and too large for grit: left out.
    LeftOut,
    /// Share of metal that is uneven in light without a sharp rim: reflections.
    Reflections,
}

/// The last photo of the same part beside this one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Beside {
    /// Which photo.
    pub photo: PhotoFacts,
    /// Its share under grit (coloured face) or under chips (metal); absent where it was not told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub share: Option<Share>,
    /// How it lies over this one; absent where that could not be told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub alignment: Option<Alignment>,
    /// This share less that one, with its interval; absent where either is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub change: Option<Change>,
    /// More than last time?
    pub more: More,
    /// Why it cannot be told, or what weakens it, in English and Spanish; empty where nothing does.
    pub remarks: Vec<FaceRemark>,
}

/// A remark in both languages.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct FaceRemark {
    /// Stable code.
    pub code: String,
    /// In English.
    pub en: String,
    /// In Spanish.
    pub es: String,
}

/// A change of shares.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Change {
    /// Most likely, -1 to 1.
    pub value: f64,
    /// At least.
    pub low: f64,
    /// At most.
    pub high: f64,
}

/// More than last time?
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum More {
    /// The whole interval of the change lies above 0.
    Yes,
    /// The whole interval lies at or below half a point in a hundred.
    No,
    /// Neither.
    CannotTell,
}

/// How the turn between two photos was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Turn {
    /// By the marks that both photos show.
    ByMarks,
    /// By the outline, which is not round.
    ByOutline,
    /// Not told: the outline is round and the marks do not agree. It is laid without turning.
    Unknown,
}

/// The last photo laid over this one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Alignment {
    /// Homography from px of the last photo to px of this one, row by row.
    pub last_to_this: [[f64; 3]; 3],
    /// Turn of the last photo's surface, degrees, clockwise as seen, -180 to 180.
    pub turn_deg: f64,
    /// How the turn was found.
    pub turn: Turn,
    /// Overlap of the two outlines: shared area over joint area, 0 to 1.
    pub overlap: f64,
    /// Mean distance of the outlines, as a share of the surface's diameter.
    pub residual_share: f64,
    /// How far the marks agree, -1 to 1 (correlation).
    pub agreement: f64,
}
