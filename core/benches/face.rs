//! How long a wear surface takes, from the bytes of a 12-megapixel JPEG: a red disc with grit and a white spot, without the card.
//! The card is looked for and not found, which is the longer way.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use gritbook_core::face::{FaceSettings, measure_beside, measure_face};

const SIZE: [u32; 2] = [4000, 3000];

/// A face of 2,600 px with 3,000 grains under falling light; `seed` moves the grains that are new.
fn face(seed: u64) -> Vec<u8> {
    let [width, height] = SIZE.map(|side| side as usize);
    let mut rgb = vec![0_u8; width * height * 3];
    for (index, pixel) in rgb.as_chunks_mut::<3>().0.iter_mut().enumerate() {
        let (x, y) = ((index % width) as f64, (index / width) as f64);
        let light = 0.7 + 0.3 * x / width as f64;
        let colour = if (x - 2400.0).hypot(y - 1500.0) < 1300.0 { [186.0, 44.0, 40.0] } else { [150.0, 149.0, 146.0] };
        *pixel = colour.map(|value| (value * light) as u8);
    }
    let mut disc = |cx: f64, cy: f64, radius: f64, colour: [u8; 3]| {
        for y in (cy - radius) as usize..=(cy + radius) as usize {
            for x in (cx - radius) as usize..=(cx + radius) as usize {
                if (x as f64 - cx).hypot(y as f64 - cy) < radius {
                    let at = (y * width + x) * 3;
                    rgb[at..at + 3].copy_from_slice(&colour);
                }
            }
        }
    };
    disc(300.0, 300.0, 200.0, [228, 228, 226]);
    for grain in 0..3000 {
        let mut state = if grain % 10 == 0 { grain ^ (seed << 20) } else { grain };
        let mut random = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as f64 / f64::from(1_u32 << 31)
        };
        random();
        let (turn, away, radius) = (random() * std::f64::consts::TAU, 1250.0 * random().sqrt(), 4.0 + 14.0 * random() * random());
        let colour = [[120, 100, 80], [70, 70, 72], [190, 180, 160]][(random() * 3.0) as usize];
        disc(2400.0 + away * turn.cos(), 1500.0 + away * turn.sin(), radius, colour);
    }
    let mut bytes = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 90)
        .encode(&rgb, SIZE[0], SIZE[1], image::ExtendedColorType::Rgb8)
        .expect("a made picture is encoded in memory");
    bytes
}

fn whole_photo(criterion: &mut Criterion) {
    let (this, last) = (face(1), face(2));
    let settings = FaceSettings { white_px: Some([200.0, 200.0, 200.0, 200.0]), ..FaceSettings::default() };
    let mut group = criterion.benchmark_group("face_12mp");
    group.sample_size(10);
    group.bench_function("one_photo", |b| b.iter(|| measure_face(black_box(&this), &settings).map(|reading| reading.findings.len())));
    group.bench_function("beside_the_last", |b| {
        b.iter(|| measure_beside(black_box(&this), &settings, Some((&last, &settings))).map(|outcome| outcome.reading.last.is_some()));
    });
    group.finish();
}

criterion_group!(benches, whole_photo);
criterion_main!(benches);
