//! A saved box check, photo included, must be durable within 50 ms of our own time. Run on the disk that matters:
//! `TMPDIR=/somewhere cargo bench -p gritbook-core --bench save`.

#![allow(missing_docs, reason = "criterion's macros make undocumented functions")]
#![allow(clippy::unwrap_used, reason = "a bench may fail loudly")]

use std::hint::black_box;

use chrono::{DateTime, FixedOffset};
use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use gritbook_core::debris::reading::LevelCode;
use gritbook_core::fieldbook::{BoxCheckDraft, FieldBook, GradeDraft, OpenOptions, PhotoInput};
use gritbook_core::model::{Cup, Grade, GradeSource, Part, PumpSpec};

fn now() -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339("2026-03-02T07:15:00-06:00").unwrap()
}

/// 3 MB that begin like a JPEG, as a 12-megapixel phone photo has; each turn other bytes, so that each is a new file.
fn photo(turn: u64) -> Vec<u8> {
    let mut state = turn.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let mut bytes = vec![0xFF, 0xD8, 0xFF, 0xE0];
    while bytes.len() < 3_000_000 {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        bytes.extend(state.to_le_bytes());
    }
    bytes
}

fn draft(book: &FieldBook, photos: Vec<PhotoInput>) -> BoxCheckDraft {
    let grades = [Cup::A, Cup::B].map(|cup| GradeDraft {
        part: Part::Cup,
        cup: Some(cup),
        grade: Grade::new(2).unwrap(),
        source: GradeSource::Eye,
        criteria: "bench".into(),
        photos: Vec::new(),
    });
    BoxCheckDraft {
        pump_m3: Some(1250.0),
        photos,
        level_by_eye: Some(LevelCode::Sand),
        grades: grades.to_vec(),
        ..BoxCheckDraft::new(book.pump_named("P1").unwrap())
    }
}

fn options() -> OpenOptions {
    OpenOptions { person: "Bench".into(), device_name: "bench".into() }
}

fn save(criterion: &mut Criterion) {
    let folder = tempfile::tempdir().unwrap();
    let book = FieldBook::open(folder.path(), &options(), now()).unwrap();
    book.add_pump(PumpSpec::assumed("P1"), now()).unwrap();
    let mut turn = 0;
    criterion.bench_function("save_check_with_3_mb_photo_and_two_grades", |bencher| {
        bencher.iter_batched(
            || {
                turn += 1;
                draft(&book, vec![PhotoInput::Bytes(photo(turn))])
            },
            |draft| black_box(book.save_box_check(draft, now()).unwrap()),
            BatchSize::PerIteration,
        );
    });
    criterion.bench_function("save_check_without_photo", |bencher| {
        bencher.iter_batched(
            || draft(&book, Vec::new()),
            |draft| black_box(book.save_box_check(draft, now()).unwrap()),
            BatchSize::PerIteration,
        );
    });
    criterion.bench_function("list_pumps", |bencher| bencher.iter(|| black_box(book.pumps().unwrap())));
    criterion.bench_function("open_book", |bencher| {
        bencher.iter(|| black_box(FieldBook::open(folder.path(), &options(), now()).unwrap()));
    });
}

criterion_group! {
    name = benches;
    config = Criterion::default().sample_size(20);
    targets = save
}
criterion_main!(benches);
