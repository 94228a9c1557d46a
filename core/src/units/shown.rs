//! Figures as a shop writes and reads them: metric or inch, decimal point or comma.
//!
//! The book keeps one unit for each quantity; this is the only place where a shop's own unit becomes the book's and back.

use super::{Bar, CubicMetres, Millilitres, Millimetres, NewtonMetres, number};
use crate::error::CoreError;

/// What is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Quantity {
    /// A length on a part; kept in mm.
    Length,
    /// A length read with a gauge, finer than a rule; kept in mm.
    FineLength,
    /// A grain's size; kept in mm. Shown in mm in both systems: sieves of ISO 565 and ASTM E11 are both named in mm.
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

/// Which units a shop uses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum UnitSystem {
    /// mm, m3, mL, bar, N m.
    #[default]
    Metric,
    /// in, yd3, fl oz, psi, ft lb.
    Inch,
}

/// How a shop writes the decimal mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum DecimalMark {
    /// 12.5
    #[default]
    Point,
    /// 12,5
    Comma,
}

impl Quantity {
    /// The unit as it stands beside the figure.
    pub fn unit(self, system: UnitSystem) -> &'static str {
        match (self, system) {
            (Self::GrainSize, _) | (Self::Length | Self::FineLength, UnitSystem::Metric) => "mm",
            (Self::Length | Self::FineLength, UnitSystem::Inch) => "in",
            (Self::Concrete, UnitSystem::Metric) => "m³",
            (Self::Concrete, UnitSystem::Inch) => "yd³",
            (Self::Material, UnitSystem::Metric) => "mL",
            (Self::Material, UnitSystem::Inch) => "fl oz",
            (Self::Pressure, UnitSystem::Metric) => "bar",
            (Self::Pressure, UnitSystem::Inch) => "psi",
            (Self::Torque, UnitSystem::Metric) => "N·m",
            (Self::Torque, UnitSystem::Inch) => "ft·lb",
        }
    }

    /// A kept value in the shop's unit.
    fn out(self, kept: f64, system: UnitSystem) -> f64 {
        // A factor is the same for every value, in range or not.
        let factor = |one: Result<f64, CoreError>| one.map_or(kept, |one| kept * one);
        match (self, system) {
            (_, UnitSystem::Metric) | (Self::GrainSize, _) => kept,
            (Self::Length | Self::FineLength, UnitSystem::Inch) => factor(Millimetres::new(1.0).map(Millimetres::inches)),
            (Self::Concrete, UnitSystem::Inch) => factor(CubicMetres::new(1.0).map(CubicMetres::cubic_yards)),
            (Self::Material, UnitSystem::Inch) => factor(Millilitres::new(1.0).map(Millilitres::fluid_ounces)),
            (Self::Pressure, UnitSystem::Inch) => factor(Bar::new(1.0).map(Bar::psi)),
            (Self::Torque, UnitSystem::Inch) => factor(NewtonMetres::new(1.0).map(NewtonMetres::ft_lbf)),
        }
    }

    /// Decimals that a figure of this size is worth.
    fn decimals(self, shown: f64, system: UnitSystem) -> usize {
        let size = shown.abs();
        match (self, system) {
            (Self::Length, UnitSystem::Inch) => 3,
            // Half of a gauge's usual step, 0.01 mm, still shows.
            (Self::FineLength, UnitSystem::Metric) => 3,
            (Self::FineLength, UnitSystem::Inch) => 4,
            (Self::GrainSize, _) if size < 1.0 => 2,
            (Self::Length | Self::GrainSize, _) if size < 10.0 => 2,
            (Self::Length | Self::GrainSize, _) if size < 100.0 => 1,
            (Self::Material, UnitSystem::Inch) => 1,
            (Self::Torque | Self::Concrete, _) if size > 0.0 && size < 10.0 => 1,
            _ => 0,
        }
    }

    /// The figure alone, in the shop's unit, with as many decimals as it is worth. No mark between thousands.
    pub fn figure(self, kept: f64, system: UnitSystem, mark: DecimalMark) -> String {
        let shown = self.out(kept, system);
        marked(&format!("{shown:.*}", self.decimals(shown, system)), mark)
    }

    /// The figure to be typed over: exact to the shop's use, without zeros at its end.
    pub fn typed(self, kept: f64, system: UnitSystem, mark: DecimalMark) -> String {
        let text = format!("{:.4}", self.out(kept, system));
        marked(text.trim_end_matches('0').trim_end_matches('.'), mark)
    }

    /// Reads a typed figure in the shop's unit: decimal point or comma, its unit may follow.
    ///
    /// # Errors
    /// `not_a_number`; `out_of_range` with the range of the quantity in the book's unit.
    pub fn parse(self, text: &str, system: UnitSystem) -> Result<f64, CoreError> {
        let bare = text.trim();
        let unit = self.unit(system);
        let plain_unit = unit.replace('³', "3").replace('·', " ");
        let bare = bare.strip_suffix(unit).or_else(|| bare.strip_suffix(plain_unit.as_str())).unwrap_or(bare).trim();
        let typed = number(bare, "the figure")?;
        let inch = system == UnitSystem::Inch;
        Ok(match self {
            Self::Length | Self::FineLength if inch => Millimetres::from_inches(typed)?.get(),
            Self::Length | Self::FineLength | Self::GrainSize => Millimetres::new(typed)?.get(),
            Self::Concrete if inch => CubicMetres::from_cubic_yards(typed)?.get(),
            Self::Concrete => CubicMetres::new(typed)?.get(),
            Self::Material if inch => Millilitres::from_fluid_ounces(typed)?.get(),
            Self::Material => Millilitres::new(typed)?.get(),
            Self::Pressure if inch => Bar::from_psi(typed)?.get(),
            Self::Pressure => Bar::new(typed)?.get(),
            Self::Torque if inch => NewtonMetres::from_ft_lbf(typed)?.get(),
            Self::Torque => NewtonMetres::new(typed)?.get(),
        })
    }
}

fn marked(text: &str, mark: DecimalMark) -> String {
    match mark {
        DecimalMark::Point => text.to_owned(),
        DecimalMark::Comma => text.replace('.', ","),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ALL: [Quantity; 7] = [
        Quantity::Length,
        Quantity::FineLength,
        Quantity::GrainSize,
        Quantity::Concrete,
        Quantity::Material,
        Quantity::Pressure,
        Quantity::Torque,
    ];

    /// Values by the factors of NIST Special Publication 811, appendix B.
    #[test]
    fn figures_stand_in_the_shops_unit_with_the_decimals_they_are_worth() {
        let shown =
            |quantity: Quantity, kept, system| format!("{} {}", quantity.figure(kept, system, DecimalMark::Point), quantity.unit(system));
        assert_eq!(shown(Quantity::Length, 152.4, UnitSystem::Inch), "6.000 in");
        assert_eq!(shown(Quantity::Length, 0.2, UnitSystem::Metric), "0.20 mm");
        assert_eq!(shown(Quantity::FineLength, 0.31, UnitSystem::Metric), "0.310 mm");
        assert_eq!(shown(Quantity::FineLength, 0.254, UnitSystem::Inch), "0.0100 in");
        assert_eq!(shown(Quantity::Concrete, 764.554_857_984, UnitSystem::Inch), "1000 yd³");
        assert_eq!(shown(Quantity::Concrete, 18_240.4, UnitSystem::Metric), "18240 m³");
        assert_eq!(shown(Quantity::Pressure, 206.842_718_795_04, UnitSystem::Inch), "3000 psi");
        assert_eq!(shown(Quantity::Torque, 47.453_628_191_599, UnitSystem::Inch), "35 ft·lb");
        assert_eq!(shown(Quantity::Material, 29.573_529_562_5, UnitSystem::Inch), "1.0 fl oz");
        assert_eq!(shown(Quantity::GrainSize, 0.432, UnitSystem::Inch), "0.43 mm");
        assert_eq!(Quantity::Length.figure(12.5, UnitSystem::Metric, DecimalMark::Comma), "12,5");
    }

    #[test]
    fn typed_figures_are_taken_with_point_or_comma_and_with_their_unit() {
        assert!((Quantity::Length.parse("6", UnitSystem::Inch).unwrap() - 152.4).abs() < 1e-12);
        assert_eq!(Quantity::Concrete.parse("12,5 m³", UnitSystem::Metric).unwrap(), 12.5);
        assert_eq!(Quantity::Concrete.parse("12.5 m3", UnitSystem::Metric).unwrap(), 12.5);
        assert_eq!(Quantity::Torque.parse("35 ft lb", UnitSystem::Inch).unwrap(), Quantity::Torque.parse("35", UnitSystem::Inch).unwrap());
        for (text, code) in [("", "not_a_number"), ("1,234.5", "not_a_number"), ("-3", "out_of_range"), ("1e12", "out_of_range")] {
            assert_eq!(Quantity::Concrete.parse(text, UnitSystem::Metric).unwrap_err().code(), code, "{text}");
        }
    }

    proptest! {
        #[test]
        fn prop_what_is_shown_to_be_typed_over_reads_back(kept in 0.0..900.0_f64, which in 0_usize..7, inch: bool, comma: bool) {
            let system = if inch { UnitSystem::Inch } else { UnitSystem::Metric };
            let mark = if comma { DecimalMark::Comma } else { DecimalMark::Point };
            let quantity = ALL[which];
            let back = quantity.parse(&quantity.typed(kept, system, mark), system).unwrap();
            // Four decimals in the shop's unit; the coarsest of those is a fluid ounce of 29.6 mL.
            prop_assert!((back - kept).abs() <= 30.0 * 0.000_051, "{kept} came back as {back}");
        }
    }
}
