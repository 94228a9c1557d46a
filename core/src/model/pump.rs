//! A pump as the book knows it.

use serde::{Deserialize, Serialize};

/// What seals and guides behind the cup.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum SealVariant {
    /// A guide band.
    GuideBand,
    /// An O-ring.
    ORing,
}

/// What is in the flush box.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum BoxFluid {
    /// Water.
    Water,
    /// Oil.
    Oil,
}

/// Which side of the drive cylinders the pump oil acts on when it pushes concrete.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum DriveSide {
    /// The piston side: more pressure, less output.
    Piston,
    /// The rod side: less pressure, more output.
    Rod,
}

/// How many switches stroke the pistons by hand for a test.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum TestSwitches {
    /// One switch strokes both pistons in turn.
    #[default]
    One,
    /// One switch for each piston.
    Two,
}

/// How the stroking speed is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum SpeedControl {
    /// By a valve on the pump.
    #[default]
    Valve,
    /// By a knob on the control box.
    Electric,
}

/// A pump's own figures; lengths in millimetres.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct PumpSpec {
    /// What the shop calls it; unique in a book.
    pub name: String,
    /// Bore of the concrete cylinders, mm (80 to 300).
    pub bore_mm: f64,
    /// Stroke of the concrete cylinders, mm (300 to 3000).
    pub stroke_mm: f64,
    /// Bore of the hydraulic drive cylinders, mm.
    pub drive_bore_mm: f64,
    /// Rod of the hydraulic drive cylinders, mm.
    pub drive_rod_mm: f64,
    /// Side on which it is driven now.
    pub drive_side: DriveSide,
    /// Guide band or O-ring.
    pub seal: SealVariant,
    /// What is in the box.
    pub fluid: BoxFluid,
    /// Test switches; entries from before this was asked have none.
    #[serde(default)]
    pub test_switches: TestSwitches,
    /// Speed control; as above.
    #[serde(default)]
    pub speed_control: SpeedControl,
}

impl PumpSpec {
    /// A pump of which nothing but the name is known: a middling truck-mounted pump, water in the box. Our assumption, no
    /// published source; to be set right from the pump's own plate.
    pub fn assumed(name: &str) -> Self {
        Self {
            name: name.to_owned(),
            bore_mm: 200.0,
            stroke_mm: 2100.0,
            drive_bore_mm: 130.0,
            drive_rod_mm: 80.0,
            drive_side: DriveSide::Rod,
            seal: SealVariant::GuideBand,
            fluid: BoxFluid::Water,
            test_switches: TestSwitches::default(),
            speed_control: SpeedControl::default(),
        }
    }
}
