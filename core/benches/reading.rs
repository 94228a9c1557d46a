//! How long a reading takes: each step on a window of 1500 x 1500 px, and the whole path from the bytes of a 12-megapixel JPEG.

use std::hint::black_box;

use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use gritbook_core::debris::grains::read_window;
use gritbook_core::debris::ground::find_ground;
use gritbook_core::debris::read::read_photo;
use gritbook_core::debris::segment::{Taken, departure, mark, patches};
use gritbook_core::debris::settings::{GroundKind, HandScale, ReadSettings};
use gritbook_core::debris::shade::Shade;
use gritbook_core::debris::split::split;
use gritbook_core::debris::window::WindowImage;

const SIDE_PX: u32 = 1500;
const PX_PER_MM: f64 = 25.0;

/// Brown and dark grains of many sizes on white paper in uneven light, with a little noise; the same every time.
fn sand(width: u32, height: u32, grains: usize) -> WindowImage {
    let mut state = 7_u64;
    let mut random = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as f64 / f64::from(1_u32 << 31)
    };
    let mut rgb = vec![0_u8; width as usize * height as usize * 3];
    for y in 0..height {
        for x in 0..width {
            let light = 215.0 + 20.0 * f64::from(x) / f64::from(width) + 4.0 * random() - 2.0;
            let at = (y as usize * width as usize + x as usize) * 3;
            rgb[at..at + 3].fill(light as u8);
        }
    }
    for _ in 0..grains {
        let (cx, cy) = (random() * f64::from(width), random() * f64::from(height));
        let radius = 4.0 + 18.0 * random() * random() * random();
        let colour = [[120.0, 90.0, 60.0], [60.0, 62.0, 66.0], [165.0, 140.0, 105.0]][(random() * 3.0) as usize];
        let (x0, x1) = ((cx - radius - 2.0).max(0.0) as u32, ((cx + radius + 3.0) as u32).min(width));
        let (y0, y1) = ((cy - radius - 2.0).max(0.0) as u32, ((cy + radius + 3.0) as u32).min(height));
        for y in y0..y1 {
            for x in x0..x1 {
                let away = (f64::from(x) + 0.5 - cx).hypot(f64::from(y) + 0.5 - cy);
                let share = (0.5 + (radius - away) / 2.0).clamp(0.0, 1.0);
                let at = (y as usize * width as usize + x as usize) * 3;
                for (c, value) in colour.iter().enumerate() {
                    rgb[at + c] = (f64::from(rgb[at + c]) * (1.0 - share) + value * share) as u8;
                }
            }
        }
    }
    WindowImage { width_px: width, height_px: height, px_per_mm: PX_PER_MM, rgb, white: None, edge_sigma_px: None, sight: None }
}

fn white() -> ReadSettings {
    ReadSettings { ground: GroundKind::White, ..ReadSettings::default() }
}

fn steps(criterion: &mut Criterion) {
    let window = sand(SIDE_PX, SIDE_PX, 1500);
    let settings = white();
    let ground = find_ground(&window, settings.ground).expect("the made window shows its ground");
    let departures = departure(&window, &ground, &settings);
    let shade = Shade::learn(&departures);
    let marked = mark(&departures, shade.as_ref());
    let side = SIDE_PX as usize;
    let found = patches(&marked, |taken| taken == Taken::Grain as u8, side, side, 12);
    let mut group = criterion.benchmark_group("window_1500");
    group.bench_function("ground", |b| b.iter(|| find_ground(black_box(&window), settings.ground)));
    group.bench_function("departure", |b| b.iter(|| departure(black_box(&window), &ground, &settings)));
    group.bench_function("shade", |b| b.iter(|| Shade::learn(black_box(&departures))));
    group.bench_function("half_level", |b| b.iter(|| mark(black_box(&departures), shade.as_ref())));
    group.bench_function("patches", |b| b.iter(|| patches(black_box(&marked), |taken| taken == Taken::Grain as u8, side, side, 12)));
    group.bench_function("split", |b| {
        b.iter_batched(
            || found.clone(),
            |found| found.into_iter().map(|mask| split(mask, &settings).len()).sum::<usize>(),
            BatchSize::LargeInput,
        );
    });
    group.bench_function("measure", |b| b.iter(|| found.iter().filter_map(|mask| mask.shape()).count()));
    group.sample_size(10);
    group.bench_function("whole", |b| b.iter(|| read_window(black_box(&window), PX_PER_MM, &settings, &mut Vec::new())));
    group.finish();
}

fn whole_photo(criterion: &mut Criterion) {
    let photo = sand(4000, 3000, 2500);
    let mut bytes = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 90)
        .encode(&photo.rgb, photo.width_px, photo.height_px, image::ExtendedColorType::Rgb8)
        .expect("a made picture is encoded in memory");
    let hand = HandScale { px_per_mm: PX_PER_MM, window_px: Some([1250, 750, SIDE_PX, SIDE_PX]) };
    let settings = ReadSettings { hand: Some(hand), ..white() };
    let mut group = criterion.benchmark_group("photo_12mp");
    group.sample_size(10);
    group.bench_function("bytes_to_reading", |b| b.iter(|| read_photo(black_box(&bytes), &settings).map(|reading| reading.grains.len())));
    group.finish();
}

criterion_group!(benches, steps, whole_photo);
criterion_main!(benches);
