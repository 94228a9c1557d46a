//! The parts that wear, which side they sit on, and the five grades.

use serde::{Deserialize, Serialize};

use super::words::Words;
use crate::error::CoreError;

/// Which of the two pistons.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Cup {
    /// The piston that the shop calls A.
    A,
    /// The other one.
    B,
}

/// A part that is graded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// The piston cup that seals concrete from the box.
    Cup,
    /// The guide band behind the cup.
    GuideBand,
    /// The O-ring, on pumps that have one in the band's place.
    ORing,
    /// The piston plate.
    Plate,
    /// The chrome bore of the concrete cylinder.
    Bore,
    /// The coupler between the two rods.
    Coupler,
    /// The coupler's bolts.
    Bolts,
}

impl Part {
    /// What the trade calls it, capital first.
    pub fn name(self) -> Words {
        let (en, es) = match self {
            Self::Cup => ("Cup", "Copa"),
            Self::GuideBand => ("Guide band", "Banda guía"),
            Self::ORing => ("O-ring", "O-ring"),
            Self::Plate => ("Plate", "Plato"),
            Self::Bore => ("Bore", "Cilindro"),
            Self::Coupler => ("Coupler", "Acople"),
            Self::Bolts => ("Bolts", "Tornillos"),
        };
        Words { en, es }
    }
}

/// A wear grade, 0 sound to 4 spent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(try_from = "u8", into = "u8")]
pub struct Grade(u8);

impl Grade {
    /// 0 sound, 1 bedded, 2 worn, 3 passing, 4 spent.
    ///
    /// # Errors
    /// `bad_grade` above 4.
    pub fn new(grade: u8) -> Result<Self, CoreError> {
        if grade > 4 {
            return Err(CoreError::refused(
                "bad_grade",
                format!("grade {grade} is outside 0 to 4"),
                "use 0 sound, 1 bedded, 2 worn, 3 passing or 4 spent",
            ));
        }
        Ok(Self(grade))
    }

    /// The number, 0 to 4.
    pub fn number(self) -> u8 {
        self.0
    }
}

impl TryFrom<u8> for Grade {
    type Error = CoreError;

    fn try_from(grade: u8) -> Result<Self, CoreError> {
        Self::new(grade)
    }
}

impl From<Grade> for u8 {
    fn from(grade: Grade) -> Self {
        grade.0
    }
}

/// How a grade was found; an eye grade and a measured one stand side by side and the graver counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum GradeSource {
    /// By eye and thumb.
    Eye,
    /// From a measurement.
    Measured,
}
