//! Windows made here with known grains: what the method must find, and what it must not take for a grain.

use super::*;
use crate::debris::settings::GroundKind;
use crate::debris::sight::Sight;

/// Linear light to an sRGB byte (IEC 61966-2-1), as a camera without its own taste would.
fn byte(linear: f64) -> u8 {
    let value = if linear <= 0.003_130_8 { 12.92 * linear } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 };
    (255.0 * value).round().clamp(0.0, 255.0) as u8
}

struct Disc {
    x: f64,
    y: f64,
    radius: f64,
    colour: [f64; 3],
}

/// A picture in linear light, blurred by a Gaussian of `sigma` px, with noise of `noise` (share of the light).
struct Scene {
    width: usize,
    height: usize,
    light: Vec<[f64; 3]>,
}

impl Scene {
    fn new(width: usize, height: usize, ground: impl Fn(f64, f64) -> f64) -> Self {
        let light = (0..width * height)
            .map(|index| [ground((index % width) as f64 / width as f64, (index / width) as f64 / height as f64); 3])
            .collect();
        Self { width, height, light }
    }

    /// Lays a disc down with edges shared out to the pixels they cross (8 x 8 samples).
    fn lay(&mut self, disc: &Disc) {
        let reach = disc.radius + 2.0;
        for y in (disc.y - reach).max(0.0) as usize..((disc.y + reach) as usize).min(self.height) {
            for x in (disc.x - reach).max(0.0) as usize..((disc.x + reach) as usize).min(self.width) {
                let mut covered = 0;
                for sample in 0..64 {
                    let (sx, sy) = (x as f64 + (f64::from(sample % 8) + 0.5) / 8.0, y as f64 + (f64::from(sample / 8) + 0.5) / 8.0);
                    covered += u32::from((sx - disc.x).hypot(sy - disc.y) <= disc.radius);
                }
                let share = f64::from(covered) / 64.0;
                let pixel = &mut self.light[y * self.width + x];
                for c in 0..3 {
                    pixel[c] = pixel[c] * (1.0 - share) + disc.colour[c] * share;
                }
            }
        }
    }

    fn window(mut self, sigma: f64, noise: f64, px_per_mm: f64) -> WindowImage {
        let reach = (3.0 * sigma).ceil() as i64;
        let kernel: Vec<f64> = (-reach..=reach).map(|d| (-(d as f64).powi(2) / (2.0 * sigma * sigma)).exp()).collect();
        let total: f64 = kernel.iter().sum();
        for down in [false, true] {
            let source = self.light.clone();
            for (index, pixel) in self.light.iter_mut().enumerate() {
                let (x, y) = ((index % self.width) as i64, (index / self.width) as i64);
                *pixel = [0.0; 3];
                for (k, weight) in kernel.iter().enumerate() {
                    let d = k as i64 - reach;
                    let (nx, ny) = if down { (x, y + d) } else { (x + d, y) };
                    let (nx, ny) = (nx.clamp(0, self.width as i64 - 1), ny.clamp(0, self.height as i64 - 1));
                    for c in 0..3 {
                        pixel[c] += source[ny as usize * self.width + nx as usize][c] * weight / total;
                    }
                }
            }
        }
        let mut state = 99_u64;
        let mut random = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 40) as f64 / f64::from(1_u32 << 24) * 2.0 - 1.0
        };
        let rgb = self.light.iter().flatten().map(|value| byte(value * (1.0 + noise * (random() + random() + random())))).collect();
        WindowImage {
            width_px: self.width as u32,
            height_px: self.height as u32,
            px_per_mm,
            rgb,
            white: None,
            edge_sigma_px: None,
            sight: None,
        }
    }
}

fn settings(ground: GroundKind) -> ReadSettings {
    ReadSettings { ground, ..ReadSettings::default() }
}

fn read(window: &WindowImage, ground: GroundKind) -> Result<Spread, CoreError> {
    read_window(window, window.px_per_mm, &settings(ground), &mut Vec::new())
}

const BROWN: [f64; 3] = [0.22, 0.13, 0.07];
const BASALT: [f64; 3] = [0.03, 0.03, 0.032];
const TAN: [f64; 3] = [0.42, 0.32, 0.2];

/// Discs of three minerals on a grid, radii from 4 to 20 px, off the pixel raster.
fn discs() -> Vec<Disc> {
    (0..36)
        .map(|index| {
            let (column, row) = (f64::from(index % 6), f64::from(index / 6));
            Disc {
                x: 50.0 + 80.0 * column + 0.37 * row,
                y: 50.0 + 80.0 * row + 0.21 * column,
                radius: 4.0 + 16.0 * f64::from(index) / 35.0,
                colour: [BROWN, BASALT, TAN][index as usize % 3],
            }
        })
        .collect()
}

fn uneven_paper(u: f64, v: f64) -> f64 {
    0.62 + 0.18 * u - 0.12 * v * v
}

#[test]
fn grains_on_unevenly_lit_paper_are_all_found_at_their_true_size() {
    // Blur makes the smallest discs, 8 px across, read too small: measured 0.52 px at a spread of 1.2 px.
    for (sigma, bound_px) in [(0.7, 0.35), (1.2, 0.55)] {
        let mut scene = Scene::new(500, 500, uneven_paper);
        discs().iter().for_each(|disc| scene.lay(disc));
        let spread = read(&scene.window(sigma, 0.01, 20.0), GroundKind::White).unwrap();
        assert_eq!(spread.grains.len(), 36, "sigma {sigma}");
        for disc in discs() {
            let grain = spread
                .grains
                .iter()
                .find(|grain| (grain.x_mm * 20.0 - disc.x).hypot(grain.y_mm * 20.0 - disc.y) < 1.0)
                .unwrap_or_else(|| panic!("no grain at {}, {} (sigma {sigma})", disc.x, disc.y));
            let error_px = grain.ecd_mm * 20.0 - 2.0 * disc.radius;
            assert!(error_px.abs() < bound_px, "radius {} sigma {sigma}: {error_px} px", disc.radius);
            assert!(!grain.cut && grain.circularity > 0.9, "{grain:?}");
        }
    }
}

#[test]
fn edge_spread_is_measured_so_that_blur_raises_the_smallest_size() {
    let smallest = |sigma: f64| {
        let mut scene = Scene::new(500, 500, uneven_paper);
        discs().iter().for_each(|disc| scene.lay(disc));
        let spread = read(&scene.window(sigma, 0.005, 20.0), GroundKind::White).unwrap();
        let measured = spread.edge_sigma_px.unwrap();
        assert!((measured / sigma - 1.0).abs() < 0.25, "sigma {sigma} measured as {measured}");
        spread.smallest_resolved_mm
    };
    assert!(smallest(2.0) > 1.4 * smallest(1.2));
}

#[test]
fn bright_grains_on_a_dark_uneven_ground_are_found_too() {
    let mut scene = Scene::new(500, 500, |u, v| 0.02 + 0.03 * u + 0.01 * v);
    for disc in discs() {
        scene.lay(&Disc { colour: [0.5, 0.48, 0.44], ..disc });
    }
    let spread = read(&scene.window(0.8, 0.02, 20.0), GroundKind::Plain).unwrap();
    assert_eq!(spread.grains.iter().filter(|grain| grain.ecd_mm > 0.4).count(), 36);
}

#[test]
fn clean_paper_film_and_soft_shadow_hold_no_grain() {
    let clean = Scene::new(400, 400, uneven_paper);
    assert!(read(&clean.window(0.8, 0.012, 20.0), GroundKind::White).unwrap().grains.is_empty());
    let stained = Scene::new(400, 400, |u, v| {
        let film = 0.16 / (1.0 + ((((u - 0.3).hypot(v - 0.4)) - 0.15) / 0.02).exp());
        let shadow = 0.30 / (1.0 + ((((u - 0.75).hypot(v - 0.7)) - 0.12) / 0.015).exp());
        uneven_paper(u, v) * (1.0 - film) * (1.0 - shadow)
    });
    let spread = read(&stained.window(0.8, 0.012, 20.0), GroundKind::White).unwrap();
    assert!(spread.grains.is_empty(), "{:?}", spread.grains);
}

#[test]
fn film_under_grains_changes_neither_their_count_nor_their_size() {
    let film = |u: f64, v: f64| 0.18 / (1.0 + ((((u - 0.5).hypot(v - 0.5)) - 0.3) / 0.03).exp());
    let mut scene = Scene::new(500, 500, |u, v| uneven_paper(u, v) * (1.0 - film(u, v)));
    discs().iter().for_each(|disc| scene.lay(disc));
    let spread = read(&scene.window(0.8, 0.008, 20.0), GroundKind::White).unwrap();
    assert_eq!(spread.grains.len(), 36);
    let area: f64 = discs().iter().map(|disc| std::f64::consts::PI * disc.radius * disc.radius).sum();
    assert!((spread.cover_percent / (100.0 * area / 250_000.0) - 1.0).abs() < 0.03, "{}", spread.cover_percent);
}

#[test]
fn grain_across_the_border_is_listed_as_cut() {
    let mut scene = Scene::new(300, 300, uneven_paper);
    scene.lay(&Disc { x: 2.0, y: 150.0, radius: 14.0, colour: BROWN });
    scene.lay(&Disc { x: 150.0, y: 150.0, radius: 14.0, colour: BROWN });
    let spread = read(&scene.window(0.8, 0.005, 20.0), GroundKind::White).unwrap();
    assert_eq!(spread.grains.iter().map(|grain| grain.cut).collect::<Vec<_>>().len(), 2);
    assert_eq!(spread.grains.iter().filter(|grain| grain.cut).count(), 1);
}

#[test]
fn heap_that_hides_the_ground_is_refused_on_paper_and_sized_as_a_whole_without_a_card() {
    let mut scene = Scene::new(500, 500, uneven_paper);
    for index in 0..4000_u32 {
        let (x, y) = (f64::from(index * 7919 % 500), f64::from(index * 104_729 % 499));
        let shade = 0.3 + 0.7 * f64::from(index % 13) / 13.0;
        scene.lay(&Disc { x, y, radius: 8.0, colour: [BROWN, TAN, BASALT][index as usize % 3].map(|c| c * shade) });
    }
    let window = scene.window(0.8, 0.01, 20.0);
    assert_eq!(read(&window, GroundKind::White).unwrap_err().code(), "too_crowded");
    // Discs of 0.8 mm, partly hidden by others.
    let whole = read(&window, GroundKind::Plain).unwrap();
    let texture = whole.texture.expect("one size for the heap");
    assert!(whole.grains.is_empty() && (0.35..0.85).contains(&texture.d50_mm), "{texture:?}");
}

#[test]
fn tiny_window_is_refused_as_too_small() {
    let window = Scene::new(40, 40, uneven_paper).window(0.8, 0.0, 20.0);
    assert_eq!(read(&window, GroundKind::White).unwrap_err().code(), "too_small");
}

#[test]
fn grains_seen_aslant_are_measured_as_from_straight_above() {
    let mut scene = Scene::new(500, 500, uneven_paper);
    discs().iter().for_each(|disc| scene.lay(disc));
    let mut window = scene.window(0.8, 0.005, 20.0);
    let flat = read(&window, GroundKind::White).unwrap();
    // The camera stands over the upper edge, 25 mm high: the lower grains are seen at 45 degrees.
    let sight = Sight { foot_mm: [12.5, 0.0], height_mm: 25.0 };
    window.sight = Some(sight);
    let aslant = read(&window, GroundKind::White).unwrap();
    assert_eq!(flat.grains.len(), aslant.grains.len());
    for (seen, grain) in flat.grains.iter().zip(&aslant.grains) {
        let stretch = sight.slant([seen.x_mm, seen.y_mm]).stretch;
        assert!((seen.area_mm2 / grain.area_mm2 / stretch - 1.0).abs() < 1e-9 && stretch > 1.0);
        assert!((std::f64::consts::FRAC_PI_4 * grain.ecd_mm.powi(2) / grain.area_mm2 - 1.0).abs() < 1e-9);
        // A disc that is pressed has its largest diameter across the line of sight.
        assert!((grain.feret_max_mm / seen.feret_max_mm - 1.0).abs() < 0.06 && grain.feret_min_mm < seen.feret_min_mm);
        assert_eq!((grain.x_mm, grain.y_mm, grain.circularity), (seen.x_mm, seen.y_mm, seen.circularity));
    }
    let lowest = aslant.grains.last().unwrap();
    assert!(lowest.feret_min_mm < 0.88 * lowest.feret_max_mm, "{lowest:?}");
}
