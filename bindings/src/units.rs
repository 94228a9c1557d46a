//! Figures in the shop's units.

use gritbook_core::units::shown as core_shown;

use crate::cross::{Cross as _, choice};
use crate::error::FieldBookError;

choice! {
    /// What is measured.
    Quantity = core_shown::Quantity {
        /// A length on a part; kept in mm.
        Length,
        /// A length read with a gauge, finer than a rule; kept in mm.
        FineLength,
        /// A grain's size; kept and shown in mm.
        GrainSize,
        /// Concrete; kept in m3.
        Concrete,
        /// Drained material; kept in mL.
        Material,
        /// A pressure; kept in bar.
        Pressure,
        /// A torque; kept in N m.
        Torque,
    }
}

choice! {
    /// Which units a shop uses.
    UnitSystem = core_shown::UnitSystem {
        /// mm, m3, mL, bar, N m.
        Metric,
        /// in, yd3, fl oz, psi, ft lb.
        Inch,
    }
}

choice! {
    /// How a shop writes the decimal mark.
    DecimalMark = core_shown::DecimalMark {
        /// 12.5
        Point,
        /// 12,5
        Comma,
    }
}

/// The unit as it stands beside a figure.
#[uniffi::export]
pub fn unit_of(quantity: Quantity, system: UnitSystem) -> String {
    quantity.cross().unit(system.cross()).to_owned()
}

/// A kept value as a figure in the shop's unit, without the unit.
#[uniffi::export]
pub fn figure(quantity: Quantity, kept: f64, system: UnitSystem, mark: DecimalMark) -> String {
    quantity.cross().figure(kept, system.cross(), mark.cross())
}

/// A kept value as a figure to be typed over.
#[uniffi::export]
pub fn typed_figure(quantity: Quantity, kept: f64, system: UnitSystem, mark: DecimalMark) -> String {
    quantity.cross().typed(kept, system.cross(), mark.cross())
}

/// A typed figure in the shop's unit as the value that is kept; decimal point or comma.
#[uniffi::export]
pub fn parse_figure(quantity: Quantity, text: &str, system: UnitSystem) -> Result<f64, FieldBookError> {
    Ok(quantity.cross().parse(text, system.cross())?)
}
