//! Quantities with their unit and bounds, declared once each; conversions between the units of the trade.
//!
//! A quantity is checked wherever it is made: from a number, from typed text (decimal point or comma), from JSON.
//! Conversion factors are exact by definition: NIST Special Publication 811 (2008), appendix B.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize};

use crate::error::CoreError;

pub mod shown;

/// Millimetres in an inch.
pub const MM_PER_IN: f64 = 25.4;
/// Cubic metres in a cubic yard.
pub const M3_PER_YD3: f64 = 0.764_554_857_984;
/// Pascals in a pound-force per square inch.
pub const PA_PER_PSI: f64 = 6_894.757_293_168;
/// Newton metres in a pound-force foot.
pub const NM_PER_FT_LBF: f64 = 1.355_817_948_331_400_4;
/// Pascals in a bar.
pub const PA_PER_BAR: f64 = 1e5;
/// Pascals in a megapascal.
pub const PA_PER_MPA: f64 = 1e6;
/// Millilitres in a US fluid ounce.
pub const ML_PER_FL_OZ: f64 = 29.573_529_562_5;

macro_rules! quantities {
    ($($(#[$meta:meta])* $name:ident, $unit:literal, $min:literal ..= $max:literal, $words:literal;)*) => {$(
        $(#[$meta])*
        #[doc = concat!("\n\nUnit: ", $unit, ". Range: ", stringify!($min), " to ", stringify!($max), ".")]
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
        #[serde(transparent)]
        pub struct $name(f64);

        impl $name {
            /// The unit as it is written beside a figure.
            pub const UNIT: &'static str = $unit;
            /// The least value.
            pub const MIN: f64 = $min;
            /// The greatest value.
            pub const MAX: f64 = $max;

            /// The quantity of this value.
            ///
            /// # Errors
            /// `out_of_range` outside the range, or where the value is not a number.
            pub fn new(value: f64) -> Result<Self, CoreError> {
                if value.is_finite() && (Self::MIN..=Self::MAX).contains(&value) {
                    // -0 and 0 are one value.
                    return Ok(Self(value + 0.0));
                }
                Err(CoreError::refused(
                    "out_of_range",
                    format!("{} {value} {} is outside {} to {} {}", $words, $unit, Self::MIN, Self::MAX, $unit),
                    concat!("give ", $words, " in ", $unit),
                ))
            }

            /// The value in its unit.
            pub fn get(self) -> f64 {
                self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{} {}", self.0, $unit)
            }
        }

        impl FromStr for $name {
            type Err = CoreError;

            /// Reads a number with a decimal point or comma; the unit may follow it.
            fn from_str(text: &str) -> Result<Self, CoreError> {
                let bare = text.trim();
                let bare = bare.strip_suffix($unit).unwrap_or(bare);
                Self::new(number(bare, $words)?)
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                Self::new(f64::deserialize(deserializer)?).map_err(serde::de::Error::custom)
            }
        }

        #[cfg(test)]
        impl $name {
            /// Every value in the range, for property tests.
            pub(crate) fn any() -> impl proptest::strategy::Strategy<Value = Self> {
                use proptest::strategy::Strategy as _;
                (Self::MIN..=Self::MAX).prop_map(Self)
            }
        }
    )*};
}

quantities! {
    /// A length on a part: a bore, a lip, a gap.
    Millimetres, "mm", 0.0..=100_000.0, "a length";
    /// A volume of concrete.
    CubicMetres, "m3", 0.0..=100_000_000.0, "a volume of concrete";
    /// A volume of drained material.
    Millilitres, "mL", 0.0..=1_000_000.0, "a volume of material";
    /// A pressure of concrete or oil.
    Bar, "bar", 0.0..=1_000.0, "a pressure";
    /// A tightening torque.
    NewtonMetres, "N m", 0.0..=10_000.0, "a torque";
    /// How much a mix wears against an ordinary one, which is 1.
    MixFactor, "times ordinary", 0.01..=100.0, "a mix factor";
    /// A share or a chance.
    Share, "of 1", 0.0..=1.0, "a share";
}

/// A typed number: decimal point or comma, spaces around it; thousands are not separated.
///
/// # Errors
/// `not_a_number`; a text with both comma and point, or two of one, is refused rather than guessed at.
pub fn number(text: &str, what: &str) -> Result<f64, CoreError> {
    let bare = text.trim();
    let marks = bare.bytes().filter(|&b| b == b',' || b == b'.').count();
    let plain = bare.replace(',', ".");
    let looks_right = marks <= 1 && plain.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'+' | b'e' | b'E'));
    match plain.parse::<f64>() {
        Ok(value) if looks_right && value.is_finite() => Ok(value),
        _ => Err(CoreError::refused(
            "not_a_number",
            format!("{what} `{bare}` is not a number"),
            "use digits with one decimal point or comma and nothing between thousands",
        )),
    }
}

impl Millimetres {
    /// From inches.
    ///
    /// # Errors
    /// `out_of_range`.
    pub fn from_inches(inches: f64) -> Result<Self, CoreError> {
        Self::new(inches * MM_PER_IN)
    }

    /// In inches.
    pub fn inches(self) -> f64 {
        self.0 / MM_PER_IN
    }
}

impl CubicMetres {
    /// From cubic yards.
    ///
    /// # Errors
    /// `out_of_range`.
    pub fn from_cubic_yards(cubic_yards: f64) -> Result<Self, CoreError> {
        Self::new(cubic_yards * M3_PER_YD3)
    }

    /// In cubic yards.
    pub fn cubic_yards(self) -> f64 {
        self.0 / M3_PER_YD3
    }
}

impl Bar {
    /// From pounds-force per square inch.
    ///
    /// # Errors
    /// `out_of_range`.
    pub fn from_psi(psi: f64) -> Result<Self, CoreError> {
        Self::new(psi * PA_PER_PSI / PA_PER_BAR)
    }

    /// From megapascals.
    ///
    /// # Errors
    /// `out_of_range`.
    pub fn from_mpa(mpa: f64) -> Result<Self, CoreError> {
        Self::new(mpa * PA_PER_MPA / PA_PER_BAR)
    }

    /// In pounds-force per square inch.
    pub fn psi(self) -> f64 {
        self.0 * PA_PER_BAR / PA_PER_PSI
    }

    /// In megapascals.
    pub fn mpa(self) -> f64 {
        self.0 * PA_PER_BAR / PA_PER_MPA
    }
}

impl NewtonMetres {
    /// From pound-force feet.
    ///
    /// # Errors
    /// `out_of_range`.
    pub fn from_ft_lbf(ft_lbf: f64) -> Result<Self, CoreError> {
        Self::new(ft_lbf * NM_PER_FT_LBF)
    }

    /// In pound-force feet.
    pub fn ft_lbf(self) -> f64 {
        self.0 / NM_PER_FT_LBF
    }
}

impl Millilitres {
    /// From US fluid ounces.
    ///
    /// # Errors
    /// `out_of_range`.
    pub fn from_fluid_ounces(fluid_ounces: f64) -> Result<Self, CoreError> {
        Self::new(fluid_ounces * ML_PER_FL_OZ)
    }

    /// In US fluid ounces.
    pub fn fluid_ounces(self) -> f64 {
        self.0 / ML_PER_FL_OZ
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Factors of NIST Special Publication 811, appendix B; the pairs follow from them by hand.
    #[test]
    fn conversions_are_exact_to_rounding() {
        let near = |a: f64, b: f64| assert!((a - b).abs() <= 1e-12 * b.abs(), "{a} against {b}");
        near(Millimetres::from_inches(6.0).unwrap().get(), 152.4);
        near(CubicMetres::from_cubic_yards(1000.0).unwrap().get(), 764.554_857_984);
        near(Bar::from_psi(3000.0).unwrap().get(), 206.842_718_795_04);
        near(Bar::new(1.0).unwrap().psi(), 14.503_773_773_020_923);
        near(Bar::from_mpa(8.5).unwrap().get(), 85.0);
        near(NewtonMetres::from_ft_lbf(35.0).unwrap().get(), 47.453_628_191_599);
        near(Millilitres::from_fluid_ounces(1.0).unwrap().get(), 29.573_529_562_5);
    }

    #[test]
    fn point_and_comma_are_both_decimal_marks() {
        assert_eq!("12,5".parse::<Millimetres>().unwrap(), Millimetres::new(12.5).unwrap());
        assert_eq!(" 12.5 mm ".parse::<Millimetres>().unwrap().get(), 12.5);
        for text in ["", "1,234.5", "1.2.3", "twelve", "inf", "NaN", "1 000", "12,,5", "0x10"] {
            assert_eq!(text.parse::<Millimetres>().unwrap_err().code(), "not_a_number", "{text}");
        }
    }

    #[test]
    fn values_outside_the_range_are_refused_with_the_range() {
        let error = Bar::new(1000.5).unwrap_err();
        assert_eq!(error.code(), "out_of_range");
        assert_eq!(error.reason(), "a pressure 1000.5 bar is outside 0 to 1000 bar");
        assert!(Share::new(f64::NAN).is_err());
        assert!(MixFactor::new(0.0).is_err());
        assert!(serde_json::from_str::<Bar>("-1").is_err());
        assert!(serde_json::from_str::<Bar>("\"5\"").is_err());
    }

    proptest! {
        #[test]
        fn prop_a_quantity_survives_text_and_json(
            (mm, m3, ml) in (Millimetres::any(), CubicMetres::any(), Millilitres::any()),
            (bar, nm, mix, share) in (Bar::any(), NewtonMetres::any(), MixFactor::any(), Share::any()),
        ) {
            macro_rules! survives {
                ($($value:ident: $name:ident),*) => {$(
                    prop_assert_eq!($value.to_string().parse::<$name>().unwrap(), $value);
                    prop_assert_eq!(serde_json::from_str::<$name>(&serde_json::to_string(&$value).unwrap()).unwrap(), $value);
                )*};
            }
            survives!(mm: Millimetres, m3: CubicMetres, ml: Millilitres, bar: Bar, nm: NewtonMetres, mix: MixFactor, share: Share);
        }

        #[test]
        fn prop_there_and_back_is_the_same(inches in 0.0..3000.0_f64, psi in 0.0..14_000.0_f64) {
            prop_assert!((Millimetres::from_inches(inches).unwrap().inches() - inches).abs() <= 1e-12 * inches);
            prop_assert!((Bar::from_psi(psi).unwrap().psi() - psi).abs() <= 1e-12 * psi);
        }
    }
}
