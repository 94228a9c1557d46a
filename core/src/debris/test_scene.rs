//! Photos of the card with a known pose, painted from the card's model for tests: pinhole camera, lens, light, blur, noise.

use nalgebra::{Matrix3, Rotation3, Vector3};

use super::card::{Card, GREY_PATCH_SRGB, MarkModules, MarkPlace, WINDOW_MM};
use super::pose::{CardPose, Lens};
use crate::ids::Sha256Hex;
use crate::photo::Photo;
use crate::photo::quality::Sharpness;

/// How the card is looked at.
#[derive(Debug, Clone)]
pub(crate) struct Scene {
    pub(crate) size_px: [u32; 2],
    /// Scale at the window's centre for a camera straight above, px/mm.
    pub(crate) px_per_mm: f64,
    pub(crate) tilt_deg: f64,
    /// Direction in which the card tilts away, degrees from its x axis.
    pub(crate) tilt_towards_deg: f64,
    pub(crate) roll_deg: f64,
    /// Where the window's centre appears, share of the photo's size.
    pub(crate) centre: [f64; 2],
    pub(crate) lens_k: f64,
    pub(crate) blur_px: f64,
    /// Smear along x, px; 0 for a still camera.
    pub(crate) motion_px: f64,
    /// Standard deviation, 8-bit code values.
    pub(crate) noise: f64,
    /// Light on the left edge over light on the right edge.
    pub(crate) light_ratio: f64,
    /// Linear value of white paper in the middle.
    pub(crate) white: f64,
    /// Marks that a thumb covers, by index.
    pub(crate) covered: Vec<usize>,
    /// Radius of the cylinder that the card is bent to, mm; infinite for flat.
    pub(crate) bend_radius_mm: f64,
    /// A reflection burnt into the photo: centre in window mm, radius mm.
    pub(crate) glare: Option<([f64; 2], f64)>,
}

impl Default for Scene {
    fn default() -> Self {
        Self {
            size_px: [1600, 1200],
            px_per_mm: 7.0,
            tilt_deg: 0.0,
            tilt_towards_deg: 0.0,
            roll_deg: 0.0,
            centre: [0.5, 0.5],
            lens_k: 0.0,
            blur_px: 0.7,
            motion_px: 0.0,
            noise: 2.0,
            light_ratio: 1.0,
            white: 0.75,
            covered: Vec::new(),
            bend_radius_mm: f64::INFINITY,
            glare: None,
        }
    }
}

/// Distance of the camera, mm: a phone held over the card.
const DISTANCE_MM: f64 = 200.0;

/// A fixed sequence of numbers in 0 to 1 (SplitMix64), the same on every machine.
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    pub(crate) fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Near enough to normal for noise: the sum of four.
    fn normal(&mut self) -> f64 {
        ((0..4).map(|_| self.next()).sum::<f64>() - 2.0) * 3.0_f64.sqrt()
    }
}

impl Scene {
    /// The true pose.
    pub(crate) fn pose(&self) -> CardPose {
        let [width, height] = self.size_px.map(f64::from);
        let focal = self.px_per_mm * DISTANCE_MM;
        let axis = self.tilt_towards_deg.to_radians();
        let tilt = Rotation3::new(Vector3::new(-axis.sin(), axis.cos(), 0.0) * self.tilt_deg.to_radians());
        let rotation = (Rotation3::new(Vector3::z() * self.roll_deg.to_radians()) * tilt).into_inner();
        let camera = Matrix3::new(focal, 0.0, width / 2.0, 0.0, focal, height / 2.0, 0.0, 0.0, 1.0);
        let aside = [0, 1].map(|axis| (self.centre[axis] - 0.5) * [width, height][axis] / focal * DISTANCE_MM);
        let to_camera = Matrix3::from_columns(&[
            rotation.column(0).into_owned(),
            rotation.column(1).into_owned(),
            Vector3::new(aside[0], aside[1], DISTANCE_MM),
        ]);
        let centred = Matrix3::new(1.0, 0.0, -WINDOW_MM[0] / 2.0, 0.0, 1.0, -WINDOW_MM[1] / 2.0, 0.0, 0.0, 1.0);
        let homography = camera * to_camera * centred;
        let mut lens = Lens::straight(self.size_px[0], self.size_px[1]);
        lens.k = self.lens_k;
        CardPose {
            homography: homography / homography[(2, 2)],
            lens,
            residual_mm: 0.0,
            bend_mm: 0.0,
            marks_found: 4,
            window_mm: WINDOW_MM,
            sharpness: Sharpness { edge_sigma_px: self.blur_px, edge_sigma_mm: self.blur_px / self.px_per_mm },
        }
    }

    /// The photo, from raw pixels.
    pub(crate) fn photo(&self) -> Photo {
        self.photo_of(&Painter::new(Card::new().marks.to_vec()))
    }

    /// A photo of other marks.
    pub(crate) fn photo_of(&self, painter: &Painter) -> Photo {
        const FINE: usize = 4;
        let pose = self.pose();
        let inverse = pose.homography.try_inverse().unwrap();
        let [width, height] = self.size_px.map(|side| side as usize);
        let at = |px: [f64; 2]| {
            let ideal = if self.lens_k == 0.0 { px } else { pose.lens.unbend(px) };
            let point = inverse * Vector3::new(ideal[0], ideal[1], 1.0);
            let mm = self.unroll([point.x / point.z, point.y / point.z]);
            if self.glare.is_some_and(|(centre, radius)| (mm[0] - centre[0]).hypot(mm[1] - centre[1]) < radius) {
                return 3.0;
            }
            let share = px[0] / width as f64;
            let shade = self.white * (self.light_ratio.sqrt() * (1.0 - share) + share / self.light_ratio.sqrt());
            shade * painter.reflectance(mm, &self.covered)
        };
        let centres: Vec<f32> =
            (0..width * height).map(|index| at([(index % width) as f64 + 0.5, (index / width) as f64 + 0.5]) as f32).collect();
        let mut light = centres.clone();
        // Only pixels with an edge nearby need finer sampling.
        for row in 1..height - 1 {
            for column in 1..width - 1 {
                let index = row * width + column;
                let near = |other: usize| (centres[other] - centres[index]).abs() > 0.05 * self.white as f32;
                let around = [index - width - 1, index - width, index - width + 1, index - 1, index + 1];
                if !(around.into_iter().any(near) || [index + width - 1, index + width, index + width + 1].into_iter().any(near)) {
                    continue;
                }
                let offset = |fine: usize| (fine as f64 + 0.5) / FINE as f64;
                let fine = (0..FINE * FINE).map(|fine| at([column as f64 + offset(fine % FINE), row as f64 + offset(fine / FINE)]));
                light[index] = (fine.sum::<f64>() / (FINE * FINE) as f64) as f32;
            }
        }
        if self.blur_px > 0.0 {
            gauss(&mut light, width, height, self.blur_px);
        }
        if self.motion_px > 0.0 {
            smear(&mut light, width, self.motion_px);
        }
        let mut dice = Dice(7);
        let rgb = light
            .iter()
            .flat_map(|value| {
                let code = srgb(f64::from(*value).min(1.0)) * 255.0 + self.noise * dice.normal();
                [code.round().clamp(0.0, 255.0) as u8; 3]
            })
            .collect();
        Photo { id: Sha256Hex::of(b"scene"), width_px: self.size_px[0], height_px: self.size_px[1], rgb, taken_at: None }
    }

    /// A bent card seen from far above: what lies on the sheet at the place that appears at `mm` on the flat plane.
    fn unroll(&self, mm: [f64; 2]) -> [f64; 2] {
        if self.bend_radius_mm.is_infinite() {
            return mm;
        }
        // Bent about the y axis through the window's centre, edges towards the camera: the height z brings points outwards.
        let (r, c) = (self.bend_radius_mm, [WINDOW_MM[0] / 2.0, WINDOW_MM[1] / 2.0]);
        let seen = mm[0] - c[0];
        let mut angle = seen / r;
        for _ in 0..20 {
            let depth = DISTANCE_MM - r * (1.0 - angle.cos());
            angle = (seen * depth / DISTANCE_MM / r).clamp(-1.0, 1.0).asin();
        }
        let depth = DISTANCE_MM - r * (1.0 - angle.cos());
        [c[0] + r * angle, c[1] + (mm[1] - c[1]) * depth / DISTANCE_MM]
    }
}

/// What is printed, by place.
pub(crate) struct Painter {
    marks: Vec<(MarkPlace, MarkModules)>,
    card: Card,
}

impl Painter {
    pub(crate) fn new(marks: Vec<MarkPlace>) -> Self {
        let encode = |mark: MarkPlace| (mark, MarkModules::encode(&mark.payload()).unwrap());
        Self { marks: marks.into_iter().map(encode).collect(), card: Card::new() }
    }

    /// Prints the codes of two marks in each other's places.
    pub(crate) fn swap_modules(&mut self, a: usize, b: usize) {
        let code = self.marks[a].1.clone();
        self.marks[a].1 = std::mem::replace(&mut self.marks[b].1, code);
    }

    /// 0.04 for ink, 1 for paper, and a speckled ground beyond the paper.
    fn reflectance(&self, [x, y]: [f64; 2], covered: &[usize]) -> f64 {
        let inside = |rect: [f64; 4]| x >= rect[0] && y >= rect[1] && x < rect[0] + rect[2] && y < rect[1] + rect[3];
        for (index, (mark, modules)) in self.marks.iter().enumerate() {
            if covered.contains(&index) && inside([mark.offset_mm[0] - 4.0, mark.offset_mm[1] - 4.0, 28.0, 28.0]) {
                return 0.3;
            }
            if inside(mark.rect_mm()) {
                let pitch = mark.side_mm / modules.size() as f64;
                let module = [0, 1].map(|axis| (([x, y][axis] - mark.offset_mm[axis]) / pitch).floor() as i32);
                return if modules.is_dark(module[0], module[1]) { 0.04 } else { 1.0 };
            }
        }
        if self.card.grey_mm.iter().any(|patch| inside(*patch)) {
            return linear(f64::from(GREY_PATCH_SRGB) / 255.0);
        }
        if inside([-31.0, -31.0, 122.0, 122.0]) { 1.0 } else { 0.25 + 0.1 * ((x * 1.3).sin() * (y * 1.7).cos()) }
    }
}

fn linear(code: f64) -> f64 {
    if code <= 0.04045 { code / 12.92 } else { ((code + 0.055) / 1.055).powf(2.4) }
}

fn srgb(light: f64) -> f64 {
    if light <= 0.003_130_8 { light * 12.92 } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 }
}

fn gauss(light: &mut [f32], width: usize, height: usize, sigma: f64) {
    let reach = (3.5 * sigma).ceil() as isize;
    let kernel: Vec<f32> = (-reach..=reach).map(|d| (-0.5 * (d as f64 / sigma).powi(2)).exp() as f32).collect();
    let total: f32 = kernel.iter().sum();
    for (length, lines, step, line_step) in [(width, height, 1, width), (height, width, width, 1)] {
        let mut line = vec![0.0_f32; length];
        for start in (0..lines).map(|index| index * line_step) {
            for (index, value) in line.iter_mut().enumerate() {
                let tap = |(offset, weight): (isize, &f32)| {
                    let at = (index as isize + offset).clamp(0, length as isize - 1) as usize;
                    weight * light[start + at * step]
                };
                *value = (-reach..=reach).zip(&kernel).map(tap).sum::<f32>() / total;
            }
            for (index, value) in line.iter().enumerate() {
                light[start + index * step] = *value;
            }
        }
    }
}

fn smear(light: &mut [f32], width: usize, length_px: f64) {
    let length = length_px.round().max(1.0) as usize;
    for row in light.chunks_exact_mut(width) {
        let old = row.to_vec();
        for (index, value) in row.iter_mut().enumerate() {
            *value = (0..length).map(|k| old[(index + k).min(width - 1)]).sum::<f32>() / length as f32;
        }
    }
}
