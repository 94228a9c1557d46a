//! How a page is shown: in which language and in which units. Figures carry two or three digits that count.

use chrono::{DateTime, Datelike as _, FixedOffset};
use gritbook_core::model::words::{MONTHS, Words};
use gritbook_core::units::M3_PER_YD3;
use gritbook_core::units::shown::{DecimalMark, Quantity, UnitSystem};

use super::super::archive::people::Language;

/// See the module. Without a person's choice: English and metric.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(in crate::server) struct Shown {
    pub(in crate::server) language: Language,
    pub(in crate::server) units: UnitSystem,
}

/// A figure and the unit beside it.
pub(in crate::server) type InUnit = (String, &'static str);

impl Shown {
    /// The words in the page's language.
    pub(in crate::server) fn say(self, words: Words) -> &'static str {
        self.pick(words.en, words.es)
    }

    /// One of two texts that say the same.
    pub(in crate::server) fn pick<T>(self, en: T, es: T) -> T {
        match self.language {
            Language::En => en,
            Language::Es => es,
        }
    }

    fn of(self, quantity: Quantity, kept: f64) -> InUnit {
        let value = match self.units {
            UnitSystem::Metric => number(kept),
            UnitSystem::Inch => quantity.figure(kept, self.units, DecimalMark::Point),
        };
        (value, quantity.unit(self.units))
    }

    /// A length on a part, kept in mm.
    pub(in crate::server) fn length(self, mm: f64) -> InUnit {
        self.of(Quantity::Length, mm)
    }

    /// Concrete, kept in m3, to the whole unit.
    pub(in crate::server) fn concrete(self, m3: f64) -> InUnit {
        let value = match self.units {
            UnitSystem::Metric => m3,
            UnitSystem::Inch => m3 / M3_PER_YD3,
        };
        (whole(value), Quantity::Concrete.unit(self.units))
    }

    /// A pressure, kept in bar.
    pub(in crate::server) fn pressure(self, bar: f64) -> InUnit {
        self.of(Quantity::Pressure, bar)
    }

    /// Drained material, kept in mL.
    pub(in crate::server) fn material(self, ml: f64) -> InUnit {
        self.of(Quantity::Material, ml)
    }

    /// A torque, kept in N m.
    pub(in crate::server) fn torque(self, nm: f64) -> InUnit {
        self.of(Quantity::Torque, nm)
    }

    /// 21 Sep 2026, by the writer's own clock.
    pub(in crate::server) fn day(self, at: DateTime<FixedOffset>) -> String {
        let month = MONTHS.get(at.month0() as usize).and_then(|month| self.say(*month).get(..3)).unwrap_or_default();
        format!("{} {month} {}", at.day(), at.year())
    }

    /// "1 entry", "7 entries".
    pub(in crate::server) fn count(self, count: u64, one: Words, more: Words) -> String {
        format!("{} {}", whole(count as f64), self.say(if count == 1 { one } else { more }))
    }
}

/// Two or three figures that count, no more: 0.05, 0.84, 3.2, 230.
pub(in crate::server) fn number(value: f64) -> String {
    if !value.is_finite() {
        return "?".into();
    }
    let text = match value.abs() {
        size if size >= 100.0 => return whole(value),
        size if size >= 10.0 => format!("{value:.1}"),
        size if size >= 0.1 || size == 0.0 => format!("{value:.2}"),
        _ => format!("{value:.3}"),
    };
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A whole number with thin spaces between thousands.
pub(in crate::server) fn whole(value: f64) -> String {
    let digits = format!("{:.0}", value.abs());
    let mut text = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at) % 3 == 0 {
            text.push('\u{202f}');
        }
        text.push(digit);
    }
    if value < 0.0 && text != "0" { format!("\u{2212}{text}") } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    const INCH: Shown = Shown { language: Language::Es, units: UnitSystem::Inch };

    #[test]
    fn numbers_show_what_counts() {
        assert_eq!(["0.05", "0.84", "3.2", "48.5", "230"], [0.05, 0.84, 3.2, 48.5, 230.0].map(number).each_ref().map(String::as_str));
        assert_eq!(whole(12_400.0), "12\u{202f}400");
        assert_eq!(whole(999.6), "1\u{202f}000");
        assert_eq!(whole(-1_234.0), "\u{2212}1\u{202f}234");
        assert_eq!(number(f64::NAN), "?");
    }

    #[test]
    fn figures_follow_the_chosen_units_and_words_the_language() {
        assert_eq!(INCH.length(200.0), ("7.874".to_owned(), "in"));
        assert_eq!(INCH.concrete(1000.0), ("1\u{202f}308".to_owned(), "yd³"));
        assert_eq!(INCH.pressure(100.0), ("1450".to_owned(), "psi"));
        assert_eq!(Shown::default().length(200.0), ("200".to_owned(), "mm"));
        let at = DateTime::parse_from_rfc3339("2026-08-05T08:00:00-06:00").unwrap();
        assert_eq!((INCH.day(at), Shown::default().day(at)), ("5 ago 2026".to_owned(), "5 Aug 2026".to_owned()));
    }
}
