//! What the book writes as a history, the history reads back.

use chrono::TimeDelta;
use proptest::prelude::*;

use super::tests::{now, open};
use crate::call::{CallCode, Costs};
use crate::debris::reading::LevelCode;
use crate::fieldbook::{BoxCheckDraft, CallQuestion, GradeDraft, WholeRecord};
use crate::history::{Event, parse};
use crate::model::entry::{Fitted, Graded, Liquid, Measured, Poured, RemovalReason, Removed};
use crate::model::{Cup, Grade, GradeSource, Part, PumpSpec};

/// One thing that a mechanic records.
#[derive(Debug, Clone)]
enum Act {
    Check(Option<f64>, Option<LevelCode>, Option<Liquid>, Option<f64>, String),
    Grade(Part, Option<Cup>, u8, String),
    Measure(f64),
    Fit(bool, Option<f64>),
    Remove(RemovalReason),
    Pour(Option<f64>, Option<f64>, Option<f64>),
}

fn act() -> impl Strategy<Value = Act> {
    use prop::option::of;
    let level = prop::sample::select(vec![LevelCode::PasteOnly, LevelCode::SomeSand, LevelCode::Sand, LevelCode::Lumps]);
    let liquid = prop::sample::select(vec![Liquid::Clear, Liquid::Grey, Liquid::Muddy, Liquid::Oily]);
    let part = prop::sample::select(vec![Part::Cup, Part::GuideBand, Part::ORing, Part::Plate, Part::Bore, Part::Coupler, Part::Bolts]);
    let cup = prop::sample::select(vec![Cup::A, Cup::B]);
    let reason = prop::sample::select(vec![
        RemovalReason::Worn,
        RemovalReason::Planned,
        RemovalReason::Damaged,
        RemovalReason::OtherCup,
        RemovalReason::Failed,
    ]);
    // Any text at all: formulas, quotes, line ends, zero bytes.
    let note = prop_oneof![any::<String>(), "[=+@\"';,\\n\\r\\t \\x00-]{0,12}"];
    prop_oneof![
        (of(0.0..1e7), of(level), of(liquid), of(0.0..1e5), note.clone())
            .prop_map(|(total, level, liquid, settled, note)| Act::Check(total, level, liquid, settled, note)),
        (part, of(cup), 0_u8..5, note).prop_map(|(part, cup, grade, note)| Act::Grade(part, cup, grade, note)),
        (-1e6..1e6_f64).prop_map(Act::Measure),
        (any::<bool>(), of(0.0..1e7)).prop_map(|(in_use, age)| Act::Fit(in_use, age)),
        reason.prop_map(Act::Remove),
        (of(0.0..1e5), of(0.0..400.0), of(0.05..20.0)).prop_map(|(pour, bar, mix)| Act::Pour(pour, bar, mix)),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn prop_whatever_was_recorded_reads_back_as_history_row_by_row_and_answers_a_call(
        acts in prop::collection::vec(act(), 1..14), name in "[A-Za-z\";, ]{0,9}P",
    ) {
        let dir = tempfile::tempdir().unwrap();
        let book = open(dir.path());
        let pump = book.add_pump(PumpSpec::assumed(&name), now()).unwrap();
        let mut rows = 0;
        for (minute, act) in (1..).zip(&acts) {
            let at = now() + TimeDelta::minutes(minute);
            match act.clone() {
                Act::Check(pump_m3, level_by_eye, liquid, settled_ml, note) => {
                    let grades = vec![GradeDraft {
                        part: Part::Cup, cup: Some(Cup::A), grade: Grade::new(1).unwrap(), source: GradeSource::Eye, criteria: "e".into(),
                        photos: Vec::new(),
                    }];
                    let draft = BoxCheckDraft { pump_m3, level_by_eye, liquid, settled_ml, note, grades, ..BoxCheckDraft::new(pump) };
                    book.save_box_check(draft, at).unwrap();
                    rows += 1;
                }
                Act::Grade(part, cup, grade, note) => {
                    let graded = Graded {
                        part, cup, grade: Grade::new(grade).unwrap(), source: GradeSource::Measured, criteria: "e".into(),
                        pump_m3: None, photos: Vec::new(), work: None, note,
                    };
                    book.grade(pump, graded, at).unwrap();
                }
                Act::Measure(value) => {
                    let measured = Measured { part: Part::Bore, cup: Some(Cup::B), measure: "bore_wear_mm".into(), value, pump_m3: None, document: None, work: None };
                    book.measure(pump, measured, at).unwrap();
                }
                Act::Fit(already_in, age_m3) => {
                    let fitted = Fitted { part: Part::Cup, cup: Some(Cup::A), pump_m3: None, already_in, age_m3 };
                    book.fitted(pump, fitted, at).unwrap();
                }
                Act::Remove(reason) => {
                    let removed = Removed { part: Part::Cup, cup: Some(Cup::A), reason, pump_m3: None };
                    book.removed(pump, removed, at).unwrap();
                }
                Act::Pour(pour_m3, concrete_bar, mix_factor) => {
                    let pump_m3 = if pour_m3.is_none() { Some(5e6) } else { None };
                    book.poured(pump, Poured { pour_m3, pump_m3, concrete_bar, mix_factor }, at).unwrap();
                }
            }
            rows += 1;
        }
        let known = book.history().unwrap();
        prop_assert_eq!(known.rows.len(), rows);
        let measured = known.rows.iter().filter(|row| row.event == Event::Measured).map(|row| row.value.unwrap());
        let told = acts.iter().filter_map(|act| if let Act::Measure(value) = act { Some(*value) } else { None });
        prop_assert!(measured.eq(told), "figures read back exactly");
        let question = CallQuestion { next_pour_m3: 40.0, pump_m3: None, concrete_bar: None, mix_factor: None };
        let call = book.call(pump, &question, &Costs::default(), now() + TimeDelta::days(1)).unwrap();
        prop_assert!((0.0..=1.0).contains(&call.chance_of_failure));
        prop_assert_eq!(call.pump, name.trim());
        // Who has the entries without the book, in any order, knows the same.
        let mut whole = WholeRecord::default();
        book.entries().unwrap().into_iter().rev().for_each(|sealed| whole.take_in(sealed.doc));
        prop_assert_eq!(whole.history(None).unwrap(), known.clone());
        prop_assert_eq!(whole.history(Some(&[pump])).unwrap(), known);
        prop_assert!(whole.history(Some(&[])).unwrap().rows.is_empty());
        prop_assert_eq!(whole.track_record(None).unwrap(), book.track_record().unwrap());
    }
}

#[test]
fn call_on_a_pump_of_which_nothing_is_recorded_says_that_its_cups_are_of_unknown_age() {
    let dir = tempfile::tempdir().unwrap();
    let book = open(dir.path());
    let pump = book.add_pump(PumpSpec::assumed("P9"), now()).unwrap();
    let question = CallQuestion { next_pour_m3: 60.0, pump_m3: Some(4_000.0), concrete_bar: None, mix_factor: None };
    let call = book.call(pump, &question, &Costs::default(), now()).unwrap();
    assert_eq!(call.cups.len(), 2);
    assert!(call.chance_of_failure > 0.0);
    assert!(call.reasons.iter().any(|reason| reason.code == "age_unknown"), "{:?}", call.reasons);
}

#[test]
fn lumps_in_the_book_make_the_call_change_first_and_a_later_clean_look_lifts_it() {
    let dir = tempfile::tempdir().unwrap();
    let book = open(dir.path());
    let pump = book.add_pump(PumpSpec::assumed("P9"), now()).unwrap();
    let look = |level| BoxCheckDraft { level_by_eye: Some(level), ..BoxCheckDraft::new(pump) };
    let question = CallQuestion { next_pour_m3: 60.0, pump_m3: None, concrete_bar: None, mix_factor: None };
    let ask = |minute| book.call(pump, &question, &Costs::default(), now() + TimeDelta::minutes(minute)).unwrap();
    book.save_box_check(look(LevelCode::Lumps), now()).unwrap();
    let stopped = ask(1);
    assert!(stopped.hard_stop && stopped.call == CallCode::ChangeFirst);
    assert!(stopped.reasons[0].text_es.contains("Grumos"), "{}", stopped.reasons[0].text_es);
    book.save_box_check(look(LevelCode::PasteOnly), now() + TimeDelta::minutes(2)).unwrap();
    assert!(!ask(3).hard_stop);
}

#[test]
fn mistyped_total_does_not_keep_the_book_from_answering_and_the_exported_csv_shows_it() {
    let dir = tempfile::tempdir().unwrap();
    let book = open(dir.path());
    let pump = book.add_pump(PumpSpec::assumed("P9"), now()).unwrap();
    for (minute, total) in (0..).zip([1_000.0, 11_000.0, 1_200.0, 1_300.0]) {
        let poured = Poured { pour_m3: None, pump_m3: Some(total), concrete_bar: None, mix_factor: None };
        book.poured(pump, poured, now() + TimeDelta::minutes(minute)).unwrap();
    }
    let totals: Vec<_> = book.history().unwrap().rows.iter().map(|row| row.pump_m3).collect();
    assert_eq!(totals, [Some(1_000.0), None, Some(1_200.0), Some(1_300.0)]);
    let refusal = parse(book.history_csv(None).unwrap().as_bytes()).unwrap_err();
    assert!(refusal.error.reason().contains("1200"), "{}", refusal.error.reason());
}
