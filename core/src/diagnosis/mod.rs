//! Which cause fits what the box and the cups show together, by likelihood, and what to look at next to tell the causes apart.
//!
//! ```text
//! table   the causes, the signs, and the chance of each sign under each cause, with where it is from
//! told    which sign speaks for which cause, and what the whole cannot tell, in words
//! mod     the signs of one pump at one moment, and the causes weighed by them
//! ```
//!
//! Pure. Signs are taken as independent given the cause, which makes the first cause look surer than it is: the document gives the
//! whole list, and what would tell the first two apart.

mod table;
mod told;

use serde::{Deserialize, Serialize};

pub use table::{Cause, SignSeen};
pub use told::Speaks;

use crate::error::CoreError;
use crate::history::{History, Life, LifeEnd, Timeline};
use crate::life::shop::Shop;
use crate::model::entry::Liquid;
use crate::model::{Cup, Part};
use crate::wear::bore::BORE_LIMIT_MM;

/// The schema name of a diagnosis document.
pub const DIAGNOSIS_SCHEMA: &str = "gritbook.diagnosis/1";

/// Share of a median life up to which new cups count as just fitted, and up to which as soon after the change; beyond the
/// last they are old. Assumptions.
const AT_ONCE: f64 = 0.05;
const SOON: f64 = 0.3;
const OLD: f64 = 0.65;

/// Share of [`BORE_LIMIT_MM`] up to which a bore's wear speaks for a sound bore; between it and the limit it speaks for neither. Assumption.
const BORE_SOUND: f64 = 0.5;

/// One cause with its share.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Suspect {
    /// Which.
    pub cause: Cause,
    /// In words.
    pub text: String,
    /// The same in Spanish.
    pub text_es: String,
    /// Its share among the causes, 0 to 1; all sum to 1.
    pub share: f64,
    /// What to look at next for it.
    pub look_next: String,
    /// The same in Spanish.
    pub look_next_es: String,
    /// Where what is said of it stands.
    pub source: String,
}

/// A sign that was weighed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct WeighedSign {
    /// Stable code.
    pub code: SignSeen,
    /// In words.
    pub text: String,
    /// The same in Spanish.
    pub text_es: String,
    /// For which cause it speaks most, against the mean of all.
    pub speaks_for: Cause,
    /// How many times likelier it is under that cause than on the mean.
    pub times: f64,
}

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Diagnosis {
    /// Always [`DIAGNOSIS_SCHEMA`].
    pub schema: String,
    /// The pump.
    pub pump: String,
    /// Likeliest first.
    pub causes: Vec<Suspect>,
    /// What was weighed, the strongest first.
    pub signs: Vec<WeighedSign>,
    /// What would best tell the first cause from the second.
    pub look_next: String,
    /// The same in Spanish.
    pub look_next_es: String,
}

/// Weighs the causes of what one pump showed last, at the end of a history.
///
/// # Errors
/// `unknown_pump` where the history holds no row of it; `nothing_seen` where the box was never looked at and no cup graded.
pub fn diagnose(history: &History, pump: &str) -> Result<Diagnosis, CoreError> {
    let mut shop = Shop::new();
    history.rows.iter().for_each(|row| shop.take_in(row));
    shop.catch_up(pump);
    let timeline = shop.timeline(pump).ok_or_else(|| {
        CoreError::refused("unknown_pump", "nothing is known of this pump", "check its name, or record at least one row of it before")
    })?;
    let signs = signs_of(timeline, shop.pooled().quantile(0.5), bore_wear_mm(history, pump));
    if signs.is_empty() {
        return Err(CoreError::refused(
            "nothing_seen",
            "the box of this pump was never looked at since the cups went in, and no cup is graded",
            "drain the box and record what it shows",
        ));
    }
    Ok(weigh(pump, &signs))
}

/// What the bores of a pump measured last, mm: the newest of each side, and the worse of the two, for the box is both cups'. One
/// without a side speaks of both. Of a bore whose size when new nobody knows only the least wear is known: it tells a worn bore, never a
/// sound one.
fn bore_wear_mm(history: &History, pump: &str) -> Option<f64> {
    let mut sides = [None, None];
    for row in history.rows.iter().filter(|row| row.pump == pump && row.part == Part::Bore) {
        let wear = match row.measure.as_str() {
            "bore_wear_mm" => row.value,
            "bore_wear_at_least_mm" => row.value.filter(|wear| *wear >= BORE_LIMIT_MM),
            _ => None,
        };
        match (wear, row.cup) {
            (None, _) => {}
            (wear, Some(Cup::A)) => sides[0] = wear,
            (wear, Some(Cup::B)) => sides[1] = wear,
            (wear, None) => sides = [wear; 2],
        }
    }
    sides.into_iter().flatten().reduce(f64::max)
}

/// The signs of a pump now; `median_m3` is how long cups last in this shop.
fn signs_of(timeline: &Timeline, median_m3: f64, bore_wear_mm: Option<f64>) -> Vec<SignSeen> {
    let mut signs = Vec::new();
    let here = timeline.position_m3();
    let cups: Vec<_> = [Cup::A, Cup::B].into_iter().filter_map(|cup| timeline.cup(cup)).collect();
    let begun = |cup: &crate::history::FittedPart| here - timeline.through_m3(cup, here).middle();
    let newest = cups.iter().map(&begun).fold(f64::NEG_INFINITY, f64::max);
    let looks = timeline.box_seen();
    // What was looked at just when new cups went in came from the ones before; cups that were in already were there to be seen.
    let new = cups.iter().any(|cup| begun(cup) >= newest && cup.age_then_m3 == Some(0.0));
    let of_these = |position_m3: f64| position_m3 > newest || (!new && position_m3 >= newest);
    let since: Vec<_> = looks.iter().filter(|seen| of_these(seen.position_m3)).collect();
    if let Some(last) = since.last() {
        match last.what.level {
            Some(3) => signs.push(SignSeen::Lumps),
            Some(2) => signs.push(SignSeen::Sand),
            Some(1) => signs.push(SignSeen::SomeSand),
            Some(_) => signs.push(SignSeen::PasteOnly),
            None => {}
        }
        match last.what.liquid {
            Some(Liquid::Muddy) => signs.push(SignSeen::Muddy),
            Some(Liquid::Oily) => signs.push(SignSeen::Oily),
            Some(Liquid::Clear | Liquid::Grey) => signs.push(SignSeen::Clean),
            None => {}
        }
        if last.what.liquid_low == Some(true) {
            signs.push(SignSeen::Low);
        }
        let before = since.iter().rev().nth(1);
        if let (Some(level), Some(before)) = (last.what.level, before)
            && before.what.level.is_some_and(|earlier| level >= earlier + 2)
            && last.position_m3 - before.position_m3 < 0.1 * median_m3
        {
            signs.push(SignSeen::Sudden);
        }
        // The age at the first look that showed the trouble, of the cups that are in; unknown ages say nothing.
        let bad = |seen: &&&crate::history::Observation<crate::history::Seen>| {
            seen.what.level.is_some_and(|level| level >= 2) || seen.what.liquid == Some(Liquid::Muddy)
        };
        let first_bad = since.iter().find(bad).map_or(last.position_m3, |seen| seen.position_m3);
        if let Some(age) = cups.iter().filter_map(|cup| cup.age_then_m3.map(|then| then + first_bad - begun(cup))).reduce(f64::min) {
            signs.push(match age / median_m3 {
                share if share < AT_ONCE => SignSeen::AtOnce,
                share if share < SOON => SignSeen::SoonAfterChange,
                share if share < OLD => SignSeen::MidLife,
                _ => SignSeen::OldCups,
            });
        }
        // Trouble now: was it the same before the change?
        let old = looks.iter().rev().find(|seen| !of_these(seen.position_m3));
        if newest > 0.0
            && bad(&last)
            && let Some(old) = old
        {
            signs.push(if bad(&&old) { SignSeen::SameBeforeChange } else { SignSeen::CleanBeforeChange });
        }
    }
    let ended: Vec<Life> = timeline.lives(Part::Cup).into_iter().filter(|life| life.end != LifeEnd::Running).collect();
    if let Some(last) = ended.last().filter(|life| life.age_then_m3 == Some(0.0) && life.end != LifeEnd::Removed(None))
        && last.through_m3.middle() < 0.4 * median_m3
    {
        signs.push(SignSeen::ShortLifeBefore);
    }
    if let Some(worst) = cups.iter().filter_map(|cup| cup.grades.last().map(|seen| seen.what)).max() {
        signs.push(if worst >= 3 { SignSeen::CupsBad } else { SignSeen::CupsGood });
    }
    match bore_wear_mm {
        Some(wear) if wear >= BORE_LIMIT_MM => signs.push(SignSeen::BoreOver),
        Some(wear) if wear <= BORE_SOUND * BORE_LIMIT_MM => signs.push(SignSeen::BoreWithin),
        Some(_) | None => {}
    }
    signs
}

fn weigh(pump: &str, signs: &[SignSeen]) -> Diagnosis {
    let ln: Vec<f64> =
        Cause::ALL.iter().map(|cause| cause.before().ln() + signs.iter().map(|sign| sign.chance(*cause).ln()).sum::<f64>()).collect();
    let top = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = ln.iter().map(|value| (value - top).exp()).sum();
    let mut causes: Vec<Suspect> = Cause::ALL
        .iter()
        .zip(&ln)
        .map(|(cause, value)| Suspect {
            cause: *cause,
            text: cause.words().en.to_owned(),
            text_es: cause.words().es.to_owned(),
            share: (value - top).exp() / sum,
            look_next: cause.look_next().en.to_owned(),
            look_next_es: cause.look_next().es.to_owned(),
            source: cause.source().to_owned(),
        })
        .collect();
    causes.sort_by(|a, b| b.share.total_cmp(&a.share));
    let mut weighed: Vec<WeighedSign> = signs
        .iter()
        .map(|sign| {
            let speaks_for = Cause::ALL.into_iter().max_by(|a, b| sign.chance(*a).total_cmp(&sign.chance(*b))).unwrap_or(Cause::Sound);
            WeighedSign {
                code: *sign,
                text: sign.words().en.to_owned(),
                text_es: sign.words().es.to_owned(),
                speaks_for,
                times: sign.times(speaks_for),
            }
        })
        .collect();
    weighed.sort_by(|a, b| b.times.total_cmp(&a.times));
    let next = table::tells_apart(causes[0].cause, causes[1].cause);
    Diagnosis {
        schema: DIAGNOSIS_SCHEMA.to_owned(),
        pump: pump.to_owned(),
        look_next: next.en.to_owned(),
        look_next_es: next.es.to_owned(),
        causes,
        signs: weighed,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::parse;

    const HEADER: &str = "at,pump,cup,event,pump_m3,level,grade,liquid,liquid_low,part,measure,value,reason\n";

    fn first(rows: &str) -> Cause {
        diagnose(&parse(format!("{HEADER}{rows}").as_bytes()).unwrap(), "P").unwrap().causes[0].cause
    }

    #[test]
    fn muddy_again_soon_after_new_cups_points_to_the_bore() {
        for soon in [60.0, 300.0, 700.0] {
            let rows = format!(
                "2026-01-01T06:00:00Z,P,,fitted,0,,,,,,,,\n2026-03-01T06:00:00Z,P,,checked,3000,2,,muddy,,,,,\n\
                 2026-03-02T06:00:00Z,P,,removed,3000,,,,,,,,worn\n2026-03-02T07:00:00Z,P,,fitted,3000,,,,,,,,\n\
                 2026-03-20T07:00:00Z,P,,checked,{},2,,muddy,,,,,\n",
                3000.0 + soon
            );
            assert_eq!(first(&rows), Cause::WornBore, "{soon}");
            // The same where the record before the change is silent.
            let alone =
                format!("2026-03-02T07:00:00Z,P,,fitted,3000,,,,,,,,\n2026-03-20T07:00:00Z,P,,checked,{},2,,muddy,,,,,\n", 3000.0 + soon);
            assert_eq!(first(&alone), Cause::WornBore, "{soon}");
        }
    }

    #[test]
    fn each_cause_is_found_by_its_own_signs() {
        let fitted = "2026-01-01T06:00:00Z,P,,fitted,0,,,,,,,,\n";
        let old = format!("{fitted}2026-06-01T06:00:00Z,P,,checked,4000,2,,muddy,,,,,\n2026-06-01T06:30:00Z,P,A,graded,4000,,3,,,cup,,,\n");
        assert_eq!(first(&old), Cause::WornCups);
        assert_eq!(first(&format!("{fitted}2026-04-01T06:00:00Z,P,,checked,2000,0,,oily,,,,,\n")), Cause::RodSeal);
        assert_eq!(first(&format!("{fitted}2026-04-01T06:00:00Z,P,,checked,2000,0,,grey,,,,,\n")), Cause::Sound);
        let bad_fit = format!("{fitted}2026-01-03T06:00:00Z,P,,checked,90,2,,muddy,,,,,\n2026-01-03T06:30:00Z,P,A,graded,90,,3,,,cup,,,\n");
        assert_eq!(first(&bad_fit), Cause::BadFit);
        let sudden =
            format!("{fitted}2026-03-01T06:00:00Z,P,,checked,1500,0,,grey,,,,,\n2026-03-03T06:00:00Z,P,,checked,1600,3,,muddy,,,,,\n");
        assert_eq!(first(&sudden), Cause::Damage);
        let measured = format!("{old}2026-06-02T06:00:00Z,P,A,measured,4000,,,,,bore,bore_wear_mm,0.05,\n");
        assert_eq!(first(&measured), Cause::WornCups);
    }

    /// By the same limit by which a bore is called worn where it is measured.
    #[test]
    fn bore_speaks_for_itself_where_it_is_clearly_sound_or_beyond_the_limit() {
        let signs = |measure: &str, mm: f64| {
            let rows = format!(
                "2026-01-01T06:00:00Z,P,,fitted,0,,,,,,,,\n2026-03-01T06:00:00Z,P,,checked,900,1,,grey,,,,,\n\
                 2026-03-02T06:00:00Z,P,A,measured,900,,,,,bore,{measure},{mm},\n"
            );
            let seen = diagnose(&parse(format!("{HEADER}{rows}").as_bytes()).unwrap(), "P").unwrap().signs;
            seen.into_iter()
                .map(|sign| sign.code)
                .filter(|sign| matches!(sign, SignSeen::BoreOver | SignSeen::BoreWithin))
                .collect::<Vec<_>>()
        };
        assert_eq!(signs("bore_wear_mm", 0.15), [SignSeen::BoreWithin]);
        assert_eq!(signs("bore_wear_mm", 0.31), []);
        assert_eq!(signs("bore_wear_mm", BORE_LIMIT_MM), [SignSeen::BoreOver]);
        assert_eq!(signs("bore_wear_at_least_mm", 0.5), [SignSeen::BoreOver]);
        assert_eq!(signs("bore_wear_at_least_mm", 0.05), []);
    }

    /// Both bores are measured one after the other: the second one must not hide the first.
    #[test]
    fn worse_bore_of_the_two_counts_each_by_its_newest_measure() {
        let wear = |rows: &[(&str, f64)]| {
            let line = |(hour, (cup, mm)): (usize, &(&str, f64))| {
                format!("2026-06-02T{hour:02}:00:00Z,P,{cup},measured,4000,,,,,bore,bore_wear_mm,{mm},\n")
            };
            let rows: String = rows.iter().enumerate().map(line).collect();
            bore_wear_mm(&parse(format!("{HEADER}{rows}").as_bytes()).unwrap(), "P")
        };
        assert_eq!(wear(&[]), None);
        assert_eq!(wear(&[("A", 0.5), ("B", 0.05)]), Some(0.5));
        assert_eq!(wear(&[("A", 0.5), ("B", 0.05), ("A", 0.02)]), Some(0.05), "a new bore on side A");
        assert_eq!(wear(&[("A", 0.5), ("", 0.1)]), Some(0.1));
        assert_eq!(wear(&[("", 0.5), ("B", 0.1)]), Some(0.5), "side A was not measured again");
    }

    #[test]
    fn shares_sum_to_one_and_nothing_seen_is_said() {
        let history = parse(format!("{HEADER}2026-01-01T06:00:00Z,P,,fitted,0,,,,,,,,\n").as_bytes()).unwrap();
        assert_eq!(diagnose(&history, "P").unwrap_err().code(), "nothing_seen");
        assert_eq!(diagnose(&history, "Q").unwrap_err().code(), "unknown_pump");
        let rows = "2026-01-01T06:00:00Z,P,,fitted,0,,,,,,,,\n2026-02-01T06:00:00Z,P,,checked,900,1,,grey,,,,,\n";
        let found = diagnose(&parse(format!("{HEADER}{rows}").as_bytes()).unwrap(), "P").unwrap();
        assert!((found.causes.iter().map(|cause| cause.share).sum::<f64>() - 1.0).abs() < 1e-12);
    }

    /// A book begins with a check: its cups are in, their age is not known, and what the box showed is theirs.
    #[test]
    fn first_check_of_a_book_is_a_look_at_the_cups_that_are_in() {
        let rows = "2026-06-01T06:00:00Z,P,,checked,4000,3,,grey,,,,,\n2026-06-01T06:00:00Z,P,A,graded,4000,,3,,,cup,,,\n";
        let found = diagnose(&parse(format!("{HEADER}{rows}").as_bytes()).unwrap(), "P").unwrap();
        assert!(found.signs.iter().any(|sign| sign.code == SignSeen::Lumps), "{:?}", found.signs);
        // The box that was drained when the cups were changed showed what the old ones let by.
        let changed =
            format!("{HEADER}{rows}2026-06-01T07:00:00Z,P,A,fitted,4000,,,,,cup,,,\n2026-06-01T07:00:00Z,P,B,fitted,4000,,,,,cup,,,\n");
        assert_eq!(diagnose(&parse(changed.as_bytes()).unwrap(), "P").unwrap_err().code(), "nothing_seen");
    }

    #[test]
    fn a_clean_box_is_not_held_against_the_one_before_the_change() {
        let rows = "2026-01-01T06:00:00Z,P,,fitted,0,,,,,,,,\n2026-03-01T06:00:00Z,P,,checked,3000,2,,muddy,,,,,\n\
                    2026-03-02T06:00:00Z,P,,removed,3000,,,,,,,,worn\n2026-03-02T07:00:00Z,P,,fitted,3000,,,,,,,,\n\
                    2026-03-20T07:00:00Z,P,,checked,3300,0,,grey,,,,,\n";
        let found = diagnose(&parse(format!("{HEADER}{rows}").as_bytes()).unwrap(), "P").unwrap();
        let codes: Vec<_> = found.signs.iter().map(|sign| sign.code).collect();
        assert!(codes.contains(&SignSeen::PasteOnly) && !codes.contains(&SignSeen::SameBeforeChange), "{codes:?}");
    }
}
