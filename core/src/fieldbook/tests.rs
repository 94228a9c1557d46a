//! Whole use cases on a book in a folder.

use std::path::Path;

use chrono::{DateTime, Duration, FixedOffset};

use super::*;
use crate::debris::reading::LevelCode;
use crate::ids::Sha256Hex;
use crate::model::entry::{BoxCheck, Liquid, Measured, RemovalReason};
use crate::model::part::{Cup, Grade, GradeSource, Part};
use crate::model::pump::DriveSide;

pub(super) const JPEG: &[u8] = b"\xFF\xD8\xFF\xE0 begins like a photo, which is all the book asks";

pub(super) fn now() -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339("2026-03-02T07:15:00-06:00").unwrap()
}

pub(super) fn open(folder: &Path) -> FieldBook {
    FieldBook::open(folder, &OpenOptions { person: "Ana".into(), device_name: "test".into() }, now()).unwrap()
}

fn grade(cup: Cup, number: u8, source: GradeSource) -> Graded {
    Graded {
        part: Part::Cup,
        cup: Some(cup),
        grade: Grade::new(number).unwrap(),
        source,
        criteria: "test".into(),
        pump_m3: None,
        photos: vec![],
        work: None,
        note: String::new(),
    }
}

#[test]
fn saved_check_is_there_after_reopening_with_photo_grades_and_queue() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(folder.path());
    let draft = BoxCheckDraft {
        pump_m3: Some(1250.0),
        photos: vec![PhotoInput::Bytes(JPEG.to_vec()), PhotoInput::Bytes(JPEG.to_vec())],
        level_by_eye: Some(LevelCode::Sand),
        grades: vec![GradeDraft {
            part: Part::Cup,
            cup: Some(Cup::A),
            grade: Grade::new(2).unwrap(),
            source: GradeSource::Eye,
            criteria: "test".into(),
            photos: vec![],
        }],
        liquid: Some(Liquid::Grey),
        ..BoxCheckDraft::of_new_pump(PumpSpec::assumed("P1"))
    };
    let saved = book.save_box_check(draft, now()).unwrap();
    assert_eq!(saved.photos, [Sha256Hex::of(JPEG)], "the same photo twice is one");
    drop(book);

    let book = open(folder.path());
    assert_eq!(book.opened(), &OpenReport::default());
    let summary = &book.pumps().unwrap()[0];
    assert_eq!(summary.spec.name, "P1");
    assert_eq!(summary.pump_m3, Some(1250.0));
    assert_eq!(summary.last_check.as_ref().unwrap().level, Some(LevelCode::Sand));
    assert_eq!(summary.last_check.as_ref().unwrap().level_source, Some(GradeSource::Eye));
    assert_eq!(summary.gravest, Some(Grade::new(2).unwrap()));
    assert_eq!(summary.waiting, 3, "pump, check, grade");
    assert_eq!(book.outbox().unwrap().len(), 4, "and the photo");
    assert_eq!(std::fs::read(book.photo_path(&saved.photos[0]).unwrap()).unwrap(), JPEG);
    assert!(book.verify().unwrap().sound);
}

#[test]
fn refused_check_leaves_nothing_behind() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(folder.path());
    let pump = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
    let photo = || vec![PhotoInput::Bytes(JPEG.to_vec())];
    let refused = |draft: BoxCheckDraft| book.save_box_check(draft, now()).unwrap_err().code();
    assert_eq!(refused(BoxCheckDraft::new(pump)), "empty_check");
    assert_eq!(refused(BoxCheckDraft { pump_m3: Some(f64::NAN), photos: photo(), ..BoxCheckDraft::new(pump) }), "out_of_range");
    assert_eq!(refused(BoxCheckDraft { settled_ml: Some(-1.0), photos: photo(), ..BoxCheckDraft::new(pump) }), "out_of_range");
    assert_eq!(refused(BoxCheckDraft { photos: photo(), ..BoxCheckDraft::new(PumpId::named("P2")) }), "no_such_pump");
    assert_eq!(refused(BoxCheckDraft { photos: vec![PhotoInput::Bytes(b"text".to_vec())], ..BoxCheckDraft::new(pump) }), "not_a_photo");
    let gone = PhotoInput::Path(folder.path().join("gone.jpg"));
    assert_eq!(refused(BoxCheckDraft { photos: vec![gone], ..BoxCheckDraft::new(pump) }), "no_such_file");
    assert_eq!(book.entries().unwrap().len(), 1);
    assert_eq!(std::fs::read_dir(folder.path().join("photos")).unwrap().count(), 0);
}

#[test]
fn graver_of_eye_and_measure_counts_until_a_new_cup_is_fitted() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(folder.path());
    let pump = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
    book.grade(pump, grade(Cup::A, 1, GradeSource::Eye), now()).unwrap();
    book.grade(pump, grade(Cup::A, 3, GradeSource::Measured), now()).unwrap();
    book.grade(pump, grade(Cup::B, 2, GradeSource::Eye), now()).unwrap();
    let summary = book.pump_summary(pump).unwrap();
    assert_eq!(summary.grades.iter().map(|grade| grade.counts.number()).collect::<Vec<_>>(), [3, 2]);
    assert_eq!(summary.grades[0].by_eye, Some(Grade::new(1).unwrap()), "neither overwrites the other");
    assert_eq!(summary.gravest, Some(Grade::new(3).unwrap()));
    book.fitted(pump, Fitted { part: Part::Cup, cup: Some(Cup::A), pump_m3: None, already_in: false, age_m3: None }, now()).unwrap();
    assert_eq!(book.pump_summary(pump).unwrap().gravest, Some(Grade::new(2).unwrap()));
}

#[test]
fn amended_entry_stays_and_what_holds_stands_beside_it() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(folder.path());
    let pump = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
    let draft = BoxCheckDraft { pump_m3: Some(9_000.0), level_by_eye: Some(LevelCode::Lumps), ..BoxCheckDraft::new(pump) };
    let wrong = book.save_box_check(draft, now()).unwrap().check;
    let EntryBody::BoxCheck(check) = book.entry(wrong).unwrap().entry.body else { panic!() };
    let right = BoxCheck { pump_m3: Some(900.0), level: Some(LevelCode::SomeSand), ..check };
    let error = book.amend(wrong, " ", Some(EntryBody::BoxCheck(right.clone())), now()).unwrap_err();
    assert_eq!(error.code(), "no_reason");
    let first = book.amend(wrong, "typed a zero too many", Some(EntryBody::BoxCheck(right)), now()).unwrap();
    let summary = book.pump_summary(pump).unwrap();
    assert_eq!(summary.last_check.unwrap().level, Some(LevelCode::SomeSand));
    assert_eq!(summary.pump_m3, Some(900.0));
    assert!(book.history_csv(None).unwrap().contains(",900,1,"), "{}", book.history_csv(None).unwrap());
    // Amending the amendment speaks of the entry itself.
    book.amend(first, "it was another pump after all", None, now()).unwrap();
    assert_eq!(book.pump_summary(pump).unwrap().last_check, None);
    let effective = book.effective(pump).unwrap();
    assert_eq!(effective[1].holds, None);
    assert_eq!(effective[1].amended_by.len(), 2);
    assert!(!effective[1].clash);
    assert_eq!(book.entries().unwrap().len(), 4, "nothing is erased");
    let kind = book.amend(wrong, "x", Some(EntryBody::Graded(grade(Cup::A, 1, GradeSource::Eye))), now()).unwrap_err();
    assert_eq!(kind.code(), "other_kind");
    assert!(book.verify().unwrap().sound);
}

#[test]
fn clock_set_back_and_restart_keep_the_record_in_order() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(folder.path());
    let pump = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
    let pour = |book: &FieldBook, pour_m3: f64, at| {
        book.poured(pump, Poured { pour_m3: Some(pour_m3), pump_m3: None, concrete_bar: None, mix_factor: None }, at).unwrap()
    };
    pour(&book, 1.0, now() + Duration::hours(5));
    drop(book);
    let book = open(folder.path());
    pour(&book, 2.0, now() - Duration::days(400));
    pour(&book, 3.0, now());
    let pours: Vec<_> = book
        .entries()
        .unwrap()
        .into_iter()
        .filter_map(|sealed| match sealed.entry.body {
            EntryBody::Poured(poured) => poured.pour_m3,
            _ => None,
        })
        .collect();
    assert_eq!(pours, [1.0, 2.0, 3.0]);
    assert!(book.verify().unwrap().sound);
}

#[test]
fn pump_is_renamed_and_a_new_one_of_the_old_name_is_another_pump() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(folder.path());
    let old = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
    assert_eq!(book.add_pump(PumpSpec::assumed(" p1 "), now()).unwrap_err().code(), "pump_exists");
    book.set_pump(old, PumpSpec { name: "P1 old".into(), drive_side: DriveSide::Piston, ..PumpSpec::assumed("") }, now()).unwrap();
    let new = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
    assert_ne!(old, new);
    assert_eq!(book.pump_named("p1").unwrap(), new);
    assert_eq!(book.pump(old).unwrap().drive_side, DriveSide::Piston);
    assert_eq!(book.set_pump(old, PumpSpec::assumed("P1"), now()).unwrap_err().code(), "pump_exists");
}

#[test]
fn running_total_that_goes_back_is_saved_and_told() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(folder.path());
    let pump = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
    let check = |total| {
        let draft = BoxCheckDraft { pump_m3: Some(total), level_by_eye: Some(LevelCode::PasteOnly), ..BoxCheckDraft::new(pump) };
        book.save_box_check(draft, now()).unwrap().remarks.into_iter().map(|remark| remark.code).collect::<Vec<_>>()
    };
    assert_eq!(check(1_000.0), Vec::<&str>::new());
    assert_eq!(check(100.0), ["total_went_back"]);
    assert_eq!(check(100_000.0), ["total_jumped"]);
}

#[test]
fn history_has_a_row_for_each_event_in_the_columns_of_the_contract() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(folder.path());
    let pump = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
    let side = Some(Cup::A);
    book.fitted(pump, Fitted { part: Part::Cup, cup: side, pump_m3: Some(0.0), already_in: true, age_m3: Some(300.0) }, now()).unwrap();
    book.poured(pump, Poured { pour_m3: Some(80.5), pump_m3: Some(80.5), concrete_bar: Some(65.0), mix_factor: Some(1.2) }, now()).unwrap();
    book.poured(pump, Poured { pour_m3: None, pump_m3: Some(90.0), concrete_bar: None, mix_factor: None }, now()).unwrap();
    let draft = BoxCheckDraft {
        level_by_eye: Some(LevelCode::Lumps),
        liquid: Some(Liquid::Muddy),
        liquid_low: Some(true),
        settled_ml: Some(120.0),
        note: "=cmd, \"quoted\"".into(),
        ..BoxCheckDraft::new(pump)
    };
    book.save_box_check(draft, now()).unwrap();
    book.grade(pump, grade(Cup::B, 4, GradeSource::Eye), now()).unwrap();
    book.measure(
        pump,
        Measured { part: Part::Bore, cup: side, measure: "bore_wear_mm".into(), value: 0.35, pump_m3: None, document: None, work: None },
        now(),
    )
    .unwrap();
    book.removed(pump, Removed { part: Part::Cup, cup: side, reason: RemovalReason::Worn, pump_m3: Some(95.0) }, now()).unwrap();
    book.removed(pump, Removed { part: Part::Cup, cup: side, reason: RemovalReason::Failed, pump_m3: None }, now()).unwrap();
    let at = "2026-03-02T07:15:00-06:00";
    let expected = format!(
        "at,pump,cup,event,pump_m3,level,grade,liquid,liquid_low,settled_ml,pour_m3,age_m3,measure,value,concrete_bar,mix_factor,reason,part,note\n\
         {at},P1,A,in_use,0,,,,,,,300,,,,,,cup,\n\
         {at},P1,,poured,80.5,,,,,,80.5,,,,65,1.2,,,\n\
         {at},P1,,counter,90,,,,,,,,,,,,,,\n\
         {at},P1,,checked,,3,,muddy,yes,120,,,,,,,,,\"'=cmd, \"\"quoted\"\"\"\n\
         {at},P1,B,graded,,,4,,,,,,,,,,,cup,\n\
         {at},P1,A,measured,,,,,,,,,bore_wear_mm,0.35,,,,bore,\n\
         {at},P1,A,removed,95,,,,,,,,,,,,worn,cup,\n\
         {at},P1,A,failed,,,,,,,,,,,,,,cup,\n"
    );
    assert_eq!(book.history_csv(Some(pump)).unwrap(), expected);
}

#[test]
fn export_can_be_read_without_the_program_and_never_overwrites() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(folder.path());
    let draft = BoxCheckDraft { photos: vec![PhotoInput::Bytes(JPEG.to_vec())], ..BoxCheckDraft::of_new_pump(PumpSpec::assumed("P1")) };
    book.save_box_check(draft, now()).unwrap();
    let out = folder.path().join("out");
    let exported = book.export(&out).unwrap();
    assert_eq!((exported.entries, exported.photos, exported.photos_missing), (2, 1, 0));
    let text = std::fs::read_to_string(out.join("entries.json")).unwrap();
    let batch: crate::wire::v1::EntriesBatch = serde_json::from_str(&text).unwrap();
    for (raw, sealed) in batch.entries.iter().zip(book.entries().unwrap()) {
        assert_eq!(Sha256Hex::of(raw.get().as_bytes()), sealed.hash, "the text stands there exactly as sealed");
    }
    assert_eq!(std::fs::read(out.join("photos").join(format!("{}.jpg", Sha256Hex::of(JPEG)))).unwrap(), JPEG);
    assert_eq!(book.export(&out).unwrap_err().code(), "not_empty");
}

#[test]
fn overruled_call_needs_a_reason() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(folder.path());
    let pump = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
    let called = Called { answer: serde_json::json!({ "call": "change_first" }), overruled_to: Some("pour".into()), overrule_reason: None };
    assert_eq!(book.record_call(pump, called.clone(), now()).unwrap_err().code(), "no_reason");
    book.record_call(pump, Called { overrule_reason: Some("last pour of the job, 10 m3".into()), ..called }, now()).unwrap();
}

#[test]
fn photo_left_by_a_crash_is_adopted_at_opening_and_claimed_by_the_next_check() {
    let folder = tempfile::tempdir().unwrap();
    drop(open(folder.path()));
    std::fs::write(folder.path().join("photos").join(format!("{}.jpg", Sha256Hex::of(JPEG))), JPEG).unwrap();
    let book = open(folder.path());
    assert_eq!(book.opened().adopted_photos, [Sha256Hex::of(JPEG)]);
    let report = book.verify().unwrap();
    assert!(report.sound);
    assert_eq!(report.photos_unclaimed, [Sha256Hex::of(JPEG)]);
    let draft = BoxCheckDraft { photos: vec![PhotoInput::Bytes(JPEG.to_vec())], ..BoxCheckDraft::of_new_pump(PumpSpec::assumed("P1")) };
    book.save_box_check(draft, now()).unwrap();
    assert_eq!(book.verify().unwrap().photos_unclaimed, []);
    assert_eq!(book.outbox().unwrap().len(), 3);
}

#[test]
fn damaged_database_keeps_the_photos_and_begins_a_new_chain() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(folder.path());
    let old_device = book.device();
    let draft = BoxCheckDraft { photos: vec![PhotoInput::Bytes(JPEG.to_vec())], ..BoxCheckDraft::of_new_pump(PumpSpec::assumed("P1")) };
    book.save_box_check(draft, now()).unwrap();
    drop(book);
    std::fs::write(folder.path().join("book.sqlite"), b"overwritten by something else, all of it").unwrap();
    let book = open(folder.path());
    let opened = book.opened();
    assert!(opened.damaged_moved_to.as_ref().unwrap().exists());
    assert_eq!(opened.adopted_photos, [Sha256Hex::of(JPEG)]);
    assert_ne!(book.device(), old_device, "a chain is never continued by guess");
}

#[test]
fn full_storage_is_told_as_such_and_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let book = open(folder.path());
    let pump = book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
    // SQLite answers as on a full disk when the file may not grow.
    let pages: i64 =
        book.store().unwrap().read(|connection| Ok(connection.query_row("PRAGMA page_count", [], |row| row.get(0)).unwrap())).unwrap();
    book.store()
        .unwrap()
        .read(|connection| {
            connection.pragma_update(None, "max_page_count", pages).unwrap();
            Ok(())
        })
        .unwrap();
    let note = "x".repeat(3_900);
    let mut saved = 0;
    let error = loop {
        match book.save_box_check(BoxCheckDraft { note: note.clone(), ..BoxCheckDraft::new(pump) }, now()) {
            Ok(_) => saved += 1,
            Err(error) => break error,
        }
        assert!(saved < 100);
    };
    assert!(error.is_storage_full(), "{error}");
    assert_eq!(book.entries().unwrap().len(), 1 + saved);
    assert!(book.verify().unwrap().sound);
}

#[test]
fn book_of_version_1_opens_with_all_it_had() {
    let folder = tempfile::tempdir().unwrap();
    let old = rusqlite::Connection::open(folder.path().join("book.sqlite")).unwrap();
    old.execute_batch(include_str!("../../../fixtures/db/create_v1.sql")).unwrap();
    drop(old);
    std::fs::create_dir(folder.path().join("photos")).unwrap();
    std::fs::write(folder.path().join("photos").join(format!("{}.jpg", Sha256Hex::of(JPEG))), JPEG).unwrap();
    let book = open(folder.path());
    let report = book.verify().unwrap();
    assert!(report.sound, "{report:?}");
    assert_eq!((report.devices[0].entries, report.photos_sound), (5, 1));
    let pump = book.pump_summary(book.pump_named("Trailer 3").unwrap()).unwrap();
    assert_eq!(pump.pump_m3, Some(1330.0));
    assert_eq!(pump.gravest, Some(Grade::new(2).unwrap()));
    assert_eq!(book.outbox().unwrap().len(), 6);
    // And it goes on: the chain continues after the old entries.
    book.poured(pump.id, Poured { pour_m3: Some(1.0), pump_m3: None, concrete_bar: None, mix_factor: None }, now()).unwrap();
    assert!(book.verify().unwrap().sound);
}

#[test]
fn book_of_version_2_opens_with_all_it_had() {
    let folder = tempfile::tempdir().unwrap();
    let old = rusqlite::Connection::open(folder.path().join("book.sqlite")).unwrap();
    old.execute_batch(include_str!("../../../fixtures/db/create_v2.sql")).unwrap();
    drop(old);
    std::fs::create_dir(folder.path().join("photos")).unwrap();
    std::fs::write(folder.path().join("photos").join(format!("{}.jpg", Sha256Hex::of(JPEG))), JPEG).unwrap();
    let book = open(folder.path());
    let report = book.verify().unwrap();
    assert_eq!((report.devices[0].entries, report.photos_sound, report.set_aside), (3, 1, 1), "{report:?}");
    assert!(report.devices[0].breaks.is_empty());
    assert_eq!(book.outbox().unwrap().len(), 1, "what the depot has is not queued again");
    let pump = book.pump_named("Trailer 4").unwrap();
    assert_eq!(book.pump_summary(pump).unwrap().pump_m3, Some(460.0));
    // The depot has the photo: a check that names it again sends the entry only.
    let draft = BoxCheckDraft { photos: vec![PhotoInput::Bytes(JPEG.to_vec())], ..BoxCheckDraft::new(pump) };
    book.save_box_check(draft, now()).unwrap();
    assert_eq!(book.outbox().unwrap().len(), 2);
}
