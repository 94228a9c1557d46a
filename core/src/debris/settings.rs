//! What a reading can be told: scale by hand, sieves, limits of the levels, and the method's own knobs.

use serde::{Deserialize, Serialize};

use super::card::BAR_MM;
use crate::error::CoreError;

/// Everything that may change a reading. Written into the document as `method.settings`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ReadSettings {
    /// Scale set by hand, for photos without a card; `None` looks for the card.
    pub hand: Option<HandScale>,
    /// What the bar on the printed card measures, mm: [`BAR_MM`] where the printer kept the scale. 80 to 125; photos with the card only.
    pub bar_mm: f64,
    /// What the grains lie on.
    pub ground: GroundKind,
    /// The sample that was spread, mL; a level teaspoon by default. 0.01 to 10 000.
    pub sample_ml: f64,
    /// Adds each grain's outline to the document.
    pub outlines: bool,
    /// Sieves of the shop beside the series of ASTM E11, mm.
    pub extra_sieves_mm: Vec<f64>,
    /// Limits of the passing levels.
    pub limits: LevelLimits,
    /// A grain must be at least this many pixels across to be counted. Our choice: a digital disc of 5 px diameter is
    /// right within about 2 % in diameter on average.
    pub smallest_px: f64,
    /// A grain must be at least this many edge sigmas across to be counted: below, blur flattens its peak and the
    /// half-level outline no longer tells its size.
    pub smallest_edge_sigmas: f64,
    /// How many standard deviations of the ground's noise a pixel must depart from the ground.
    pub noise_sigmas: f64,
    /// A departure from the ground below this share is never a grain (film, soft shadow). 0 to 1.
    pub least_contrast: f64,
    /// Touching grains: necks wider than this share of the smaller grain are not cut. 0 to 1.
    pub split_neck_share: f64,
    /// Touching grains: a cut must make the pieces more convex by at least this much (solidity).
    pub split_solidity_gain: f64,
    /// Above this share of the window under grains the photo is refused as too crowded, percent.
    pub crowded_cover_percent: f64,
    /// A textured patch larger than this without ground in it is a heap: too crowded, mm2.
    pub heap_mm2: f64,
    /// Rounds of the bootstrap behind the 95 % intervals; 100 to 10 000.
    pub bootstrap_rounds: u32,
    /// Seed of the bootstrap.
    pub bootstrap_seed: u64,
}

impl Default for ReadSettings {
    fn default() -> Self {
        Self {
            hand: None,
            bar_mm: BAR_MM,
            ground: GroundKind::Auto,
            sample_ml: 5.0,
            outlines: false,
            extra_sieves_mm: Vec::new(),
            limits: LevelLimits::default(),
            smallest_px: 5.0,
            smallest_edge_sigmas: 4.0,
            noise_sigmas: 6.0,
            least_contrast: 0.06,
            split_neck_share: 0.85,
            split_solidity_gain: 0.025,
            crowded_cover_percent: 65.0,
            heap_mm2: 200.0,
            bootstrap_rounds: 400,
            bootstrap_seed: 0x6772_6974,
        }
    }
}

/// A scale set by hand, and the part of the photo to read.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HandScale {
    /// Pixels per millimetre in the oriented photo. Above 0, at most 2000.
    pub px_per_mm: f64,
    /// Left, top, width and height in pixels of the oriented photo; `None` reads the whole frame.
    #[serde(default)]
    pub window_px: Option<[u32; 4]>,
}

impl HandScale {
    /// The scale from two points on a ruler in the oriented photo, px, and the length between them, mm.
    ///
    /// # Errors
    /// `bad_ruler` for points closer than 20 px (the scale would be worse than a twentieth) or a length that is not above 0.
    pub fn of_ruler(from_px: [f64; 2], to_px: [f64; 2], length_mm: f64) -> Result<Self, CoreError> {
        let apart_px = (to_px[0] - from_px[0]).hypot(to_px[1] - from_px[1]);
        if !(apart_px.is_finite() && apart_px >= 20.0 && length_mm.is_finite() && length_mm > 0.0) {
            return Err(CoreError::refused(
                "bad_ruler",
                format!("the two points lie {apart_px:.0} px apart for {length_mm} mm"),
                "set the points far apart on the ruler, and give the length between them",
            ));
        }
        Ok(Self { px_per_mm: apart_px / length_mm, window_px: None })
    }
}

/// What the grains lie on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum GroundKind {
    /// White where a card was found; else decided from the photo.
    Auto,
    /// White paper: grains may be darker, coloured, or a little brighter.
    White,
    /// Any plain ground, brighter or darker than the grains.
    Plain,
}

/// Limits of the passing levels. Common practice, no published source; the shop may edit them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct LevelLimits {
    /// Grains from this size on speak for sand, mm.
    pub sand_from_mm: f64,
    /// Cover below this is paste only, percent.
    pub some_sand_cover_percent: f64,
    /// Cover above this is sand, percent.
    pub sand_cover_percent: f64,
    /// A lump of at least this size means lumps, mm.
    pub lump_mm: f64,
    /// A grain of at least this size means lumps, mm.
    pub coarse_grain_mm: f64,
}

impl Default for LevelLimits {
    fn default() -> Self {
        Self { sand_from_mm: 0.15, some_sand_cover_percent: 0.1, sand_cover_percent: 5.0, lump_mm: 2.0, coarse_grain_mm: 4.75 }
    }
}

impl ReadSettings {
    /// Checks every value against its range.
    ///
    /// # Errors
    /// `bad_setting`, naming the setting, its value and its range; `bad_bar`.
    pub fn check(&self) -> Result<(), CoreError> {
        let within = |name: &str, value: f64, low: f64, high: f64| {
            if value.is_finite() && value >= low && value <= high {
                Ok(())
            } else {
                Err(CoreError::refused(
                    "bad_setting",
                    format!("{name} is {value}, outside {low} to {high}"),
                    format!("give {name} between {low} and {high}"),
                ))
            }
        };
        if let Some(hand) = &self.hand {
            within("px_per_mm", hand.px_per_mm, 0.01, 2000.0)?;
        }
        check_bar(self.bar_mm)?;
        within("sample_ml", self.sample_ml, 0.01, 10_000.0)?;
        for sieve in &self.extra_sieves_mm {
            within("extra_sieves_mm", *sieve, 0.001, 1000.0)?;
        }
        within("smallest_px", self.smallest_px, 2.0, 1000.0)?;
        within("smallest_edge_sigmas", self.smallest_edge_sigmas, 0.0, 100.0)?;
        within("noise_sigmas", self.noise_sigmas, 1.0, 100.0)?;
        within("least_contrast", self.least_contrast, 0.0, 1.0)?;
        within("split_neck_share", self.split_neck_share, 0.0, 1.0)?;
        within("split_solidity_gain", self.split_solidity_gain, 0.0, 1.0)?;
        within("crowded_cover_percent", self.crowded_cover_percent, 1.0, 100.0)?;
        within("heap_mm2", self.heap_mm2, 1.0, 1e9)?;
        within("bootstrap_rounds", f64::from(self.bootstrap_rounds), 100.0, 10_000.0)?;
        self.limits.check()
    }
}

/// Checks what the bar on a printed card measures: 80 to 125 mm. Beyond, it was no slip of the printer.
///
/// # Errors
/// `bad_bar`.
pub fn check_bar(bar_mm: f64) -> Result<(), CoreError> {
    if (80.0..=125.0).contains(&bar_mm) {
        return Ok(());
    }
    Err(CoreError::refused(
        "bad_bar",
        format!("the card's bar measures {bar_mm} mm, outside 80 to 125 mm; it should be {BAR_MM} mm"),
        "print the card again at 100 %, not fitted to the page, and measure its bar from end to end",
    ))
}

/// Whether a bar is off by more than the half millimetre that a rule tells.
pub(crate) fn is_off(bar_mm: f64) -> bool {
    (bar_mm - BAR_MM).abs() > 0.5
}

impl LevelLimits {
    /// Checks every limit against its range: sizes of 0 to 1000 mm, shares of 0 to 100 % with that of sand not below that of some sand.
    ///
    /// # Errors
    /// `bad_level_limit`, naming the limit, its value and its range.
    pub fn check(&self) -> Result<(), CoreError> {
        let within = |name: &str, value: f64, low: f64, high: f64, unit: &str| {
            if value.is_finite() && (low..=high).contains(&value) {
                return Ok(());
            }
            Err(CoreError::refused(
                "bad_level_limit",
                format!("{name} is {value} {unit}, outside {low} to {high} {unit}"),
                "set it within its range; the cover for sand is never below the cover for some sand",
            ))
        };
        within("the size from which grains speak for sand", self.sand_from_mm, 0.0, 1000.0, "mm")?;
        within("the cover from which it is some sand", self.some_sand_cover_percent, 0.0, 100.0, "%")?;
        within("the cover above which it is sand", self.sand_cover_percent, self.some_sand_cover_percent, 100.0, "%")?;
        within("the size of a lump", self.lump_mm, 0.0, 1000.0, "mm")?;
        within("the size of a coarse grain", self.coarse_grain_mm, 0.0, 1000.0, "mm")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn default_settings_pass_their_own_check_and_survive_json() {
        let settings = ReadSettings::default();
        settings.check().unwrap();
        let text = serde_json::to_string(&settings).unwrap();
        assert_eq!(serde_json::from_str::<ReadSettings>(&text).unwrap(), settings);
    }

    #[test]
    fn value_out_of_range_is_refused_by_name() {
        let settings = ReadSettings { sample_ml: f64::NAN, ..ReadSettings::default() };
        let error = settings.check().unwrap_err();
        assert_eq!(error.code(), "bad_setting");
        assert!(error.reason().contains("sample_ml"), "{error}");
        let settings = ReadSettings { hand: Some(HandScale { px_per_mm: 0.0, window_px: None }), ..ReadSettings::default() };
        assert!(settings.check().unwrap_err().reason().contains("px_per_mm"));
    }

    #[test]
    fn level_limit_out_of_range_is_refused_by_its_name_and_range() {
        let usual = LevelLimits::default();
        usual.check().unwrap();
        let refused = |limits: LevelLimits| {
            let error = ReadSettings { limits, ..ReadSettings::default() }.check().unwrap_err();
            assert_eq!(error.code(), "bad_level_limit");
            error.reason().to_owned()
        };
        assert!(refused(LevelLimits { sand_cover_percent: 0.05, ..usual }).contains("0.05 %, outside 0.1 to 100 %"));
        assert!(refused(LevelLimits { lump_mm: f64::NAN, ..usual }).contains("lump"));
        assert!(refused(LevelLimits { coarse_grain_mm: -1.0, ..usual }).contains("-1 mm"));
    }

    #[test]
    fn unknown_setting_is_refused_rather_than_ignored() {
        assert!(serde_json::from_str::<ReadSettings>(r#"{"sample_mL": 3}"#).is_err());
    }
}
