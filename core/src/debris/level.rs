//! The passing level: least to gravest, with the numbers that led to it.
//!
//! Common practice, no published source: cement-fine paste is normal, sand means that the cups are passing, lumps or
//! anything coarser than sand mean that they are done. The limits are the shop's to edit.

use super::reading::{Level, LevelCode, LevelReason};
use super::settings::LevelLimits;
use crate::model::words::Words;

/// A level's name, and what it means for the cups. Common practice, no published source.
pub fn words(level: LevelCode) -> (Words, Words) {
    match level {
        LevelCode::PasteOnly => (
            Words { en: "Paste only", es: "Sólo lechada" },
            Words { en: "Cement fines pass: normal.", es: "Pasan finos de cemento: normal." },
        ),
        LevelCode::SomeSand => (
            Words { en: "Some sand", es: "Algo de arena" },
            Words { en: "A little sand passes: watch it.", es: "Pasa un poco de arena: vigílela." },
        ),
        LevelCode::Sand => (Words { en: "Sand", es: "Arena" }, Words { en: "The cups are passing.", es: "Las copas dejan pasar." }),
        LevelCode::Lumps => (
            Words { en: "Lumps", es: "Grumos" },
            Words { en: "Coarser than sand: the cups are done.", es: "Más grueso que arena: las copas ya no sirven." },
        ),
    }
}

/// What the level is judged from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelFacts {
    /// Share of the window under grains of at least [`LevelLimits::sand_from_mm`], percent.
    pub cover_percent: f64,
    /// Area-equivalent diameter of the largest single grain, mm; `None` where there is none.
    pub largest_grain_mm: Option<f64>,
    /// The same of the largest lump, mm.
    pub largest_lump_mm: Option<f64>,
}

/// Judges the level. A value exactly on a limit belongs to the graver side.
///
/// Reasons stand gravest first and are never empty: the cover is always among them, the largest grain and lump where
/// there are any.
pub fn judge(facts: LevelFacts, limits: &LevelLimits) -> Level {
    let lump = facts.largest_lump_mm.map(|value| LevelReason { code: "largest_lump_mm".into(), value, limit: limits.lump_mm });
    let grain = facts.largest_grain_mm.map(|value| LevelReason { code: "largest_grain_mm".into(), value, limit: limits.coarse_grain_mm });
    let (cover_code, cover_limit) = if facts.cover_percent < limits.some_sand_cover_percent {
        (LevelCode::PasteOnly, limits.some_sand_cover_percent)
    } else if facts.cover_percent <= limits.sand_cover_percent {
        (LevelCode::SomeSand, limits.some_sand_cover_percent)
    } else {
        (LevelCode::Sand, limits.sand_cover_percent)
    };
    let cover = LevelReason { code: "cover_percent".into(), value: facts.cover_percent, limit: cover_limit };
    let (mut graver, mut other) = (Vec::new(), Vec::new());
    for reason in [lump, grain].into_iter().flatten() {
        if reason.value >= reason.limit { &mut graver } else { &mut other }.push(reason);
    }
    let code = if graver.is_empty() { cover_code } else { LevelCode::Lumps };
    let mut reasons = graver;
    reasons.push(cover);
    reasons.append(&mut other);
    Level { code, reasons }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn level(cover_percent: f64, largest_grain_mm: Option<f64>, largest_lump_mm: Option<f64>) -> Level {
        judge(LevelFacts { cover_percent, largest_grain_mm, largest_lump_mm }, &LevelLimits::default())
    }

    #[test]
    fn empty_window_is_paste_only_and_still_gives_its_reason() {
        let level = level(0.0, None, None);
        assert_eq!(level.code, LevelCode::PasteOnly);
        assert_eq!(level.reasons, [LevelReason { code: "cover_percent".into(), value: 0.0, limit: 0.1 }]);
    }

    #[test]
    fn cover_alone_orders_paste_some_sand_and_sand() {
        assert_eq!(level(0.0999, Some(0.4), None).code, LevelCode::PasteOnly);
        assert_eq!(level(0.1, Some(0.4), None).code, LevelCode::SomeSand);
        assert_eq!(level(5.0, Some(0.4), None).code, LevelCode::SomeSand);
        assert_eq!(level(5.01, Some(0.4), None).code, LevelCode::Sand);
    }

    #[test]
    fn one_lump_or_coarse_grain_outranks_any_cover_and_stands_first() {
        let by_lump = level(0.05, Some(1.0), Some(2.0));
        assert_eq!(by_lump.code, LevelCode::Lumps);
        assert_eq!(by_lump.reasons[0].code, "largest_lump_mm");
        let by_grain = level(20.0, Some(4.75), Some(1.0));
        assert_eq!(by_grain.code, LevelCode::Lumps);
        assert_eq!(by_grain.reasons[0].code, "largest_grain_mm");
        assert_eq!(level(20.0, Some(4.74), Some(1.99)).code, LevelCode::Sand);
    }

    #[test]
    fn level_never_falls_when_anything_grows() {
        let covers = [0.0, 0.05, 0.1, 1.0, 5.0, 6.0, 50.0];
        let sizes = [None, Some(0.2), Some(1.9), Some(2.0), Some(4.8)];
        for pair in covers.windows(2) {
            for grain in sizes {
                for lump in sizes {
                    assert!(level(pair[0], grain, lump).code <= level(pair[1], grain, lump).code);
                    assert!(level(pair[0], None, lump).code <= level(pair[0], grain, lump).code);
                    assert!(!level(pair[0], grain, lump).reasons.is_empty());
                }
            }
        }
    }
}
