//! Where the card lies in the photo: a homography, and the bend that the lens adds to straight lines.

use nalgebra::{Matrix3, Vector3};

use super::reading::{Scale, ScaleSource};
use crate::photo::quality::Sharpness;

/// Radial distortion of the lens about the photo's centre: `p' = c + (p - c) (1 + k |p - c|^2 / r^2)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lens {
    /// Centre of the photo, px.
    pub centre_px: [f64; 2],
    /// Half of the photo's diagonal, px.
    pub radius_px: f64,
    /// Shift at the photo's corner as a share of its distance from the centre; 0 for a lens that keeps lines straight.
    pub k: f64,
}

impl Lens {
    /// A lens without distortion for a photo of this size.
    pub fn straight(width_px: u32, height_px: u32) -> Self {
        let centre_px = [f64::from(width_px) / 2.0, f64::from(height_px) / 2.0];
        Self { centre_px, radius_px: centre_px[0].hypot(centre_px[1]), k: 0.0 }
    }

    /// Where a point of the undistorted picture lies in the photo, px.
    pub fn bend(&self, ideal_px: [f64; 2]) -> [f64; 2] {
        let d = [ideal_px[0] - self.centre_px[0], ideal_px[1] - self.centre_px[1]];
        let grow = 1.0 + self.k * (d[0] * d[0] + d[1] * d[1]) / (self.radius_px * self.radius_px);
        [self.centre_px[0] + d[0] * grow, self.centre_px[1] + d[1] * grow]
    }

    /// The inverse of [`Lens::bend`], to 1e-6 px for |k| up to 0.1.
    pub fn unbend(&self, photo_px: [f64; 2]) -> [f64; 2] {
        let target = [photo_px[0] - self.centre_px[0], photo_px[1] - self.centre_px[1]];
        let mut d = target;
        for _ in 0..12 {
            let grow = 1.0 + self.k * (d[0] * d[0] + d[1] * d[1]) / (self.radius_px * self.radius_px);
            d = [target[0] / grow, target[1] / grow];
        }
        [self.centre_px[0] + d[0], self.centre_px[1] + d[1]]
    }
}

/// The card as it lies in a photo. Window coordinates in mm, photo coordinates in px with pixel centres at half-integers.
#[derive(Debug, Clone, PartialEq)]
pub struct CardPose {
    /// Window mm to px of a photo without lens distortion.
    pub homography: Matrix3<f64>,
    /// The lens.
    pub lens: Lens,
    /// Root mean square misfit over all module edges that took part, mm on the card.
    pub residual_mm: f64,
    /// The part of the misfit that does not average out over neighbouring edges: bend, not noise, mm on the card.
    pub bend_mm: f64,
    /// Marks that took part, 2 to 4.
    pub marks_found: u32,
    /// Width and height of the window, mm.
    pub window_mm: [f64; 2],
    /// How sharp the marks' edges are.
    pub sharpness: Sharpness,
}

impl CardPose {
    /// Where a point of the card (window coordinates, mm) lies in the photo, px.
    pub fn photo_px(&self, window_mm: [f64; 2]) -> [f64; 2] {
        self.lens.bend(apply(&self.homography, window_mm))
    }

    /// Where a point of the photo (px) lies on the card's plane, in window coordinates, mm. `None` beyond the horizon.
    pub fn window_mm_at(&self, photo_px: [f64; 2]) -> Option<[f64; 2]> {
        let inverse = self.homography.try_inverse()?;
        let ideal = self.lens.unbend(photo_px);
        let point = inverse * Vector3::new(ideal[0], ideal[1], 1.0);
        let mm = [point.x / point.z, point.y / point.z];
        // Behind the camera the homography's own denominator turns negative.
        let depth = self.homography[(2, 0)] * mm[0] + self.homography[(2, 1)] * mm[1] + self.homography[(2, 2)];
        (depth > 0.0 && mm.iter().all(|value| value.is_finite())).then_some(mm)
    }

    /// The window's corners in the photo, px: from its upper left as printed, clockwise.
    pub fn corners_px(&self) -> [[f64; 2]; 4] {
        let [width, height] = self.window_mm;
        [[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]].map(|corner| self.photo_px(corner))
    }

    /// Photo pixels per millimetre at a point of the card: the geometric mean over directions.
    pub fn px_per_mm_at(&self, window_mm: [f64; 2]) -> f64 {
        let step = 0.01;
        let difference = |dx: f64, dy: f64| {
            let [ahead, back] = [1.0, -1.0].map(|sign| self.photo_px([window_mm[0] + sign * dx, window_mm[1] + sign * dy]));
            [(ahead[0] - back[0]) / (2.0 * step), (ahead[1] - back[1]) / (2.0 * step)]
        };
        let (x, y) = (difference(step, 0.0), difference(0.0, step));
        (x[0] * y[1] - x[1] * y[0]).abs().sqrt()
    }

    /// Photo pixels per millimetre at the window's centre.
    pub fn px_per_mm(&self) -> f64 {
        self.px_per_mm_at(self.window_mm.map(|side| side / 2.0))
    }

    /// The same card where the printer drew everything `print` times as large: lengths in mm are that much longer. Above 0; 1 for a true print.
    pub(crate) fn printed(mut self, print: f64) -> Self {
        self.homography *= Matrix3::from_diagonal(&Vector3::new(1.0 / print, 1.0 / print, 1.0));
        self.residual_mm *= print;
        self.bend_mm *= print;
        self.window_mm = self.window_mm.map(|side| side * print);
        self.sharpness.edge_sigma_mm *= print;
        self
    }

    /// The scale as the reading states it.
    pub fn scale(&self) -> Scale {
        Scale {
            source: ScaleSource::Card,
            px_per_mm: self.px_per_mm(),
            residual_mm: Some(self.residual_mm),
            marks_found: Some(self.marks_found),
            window_mm: self.window_mm,
            window_corners_px: self.corners_px(),
        }
    }
}

/// `point` through a homography.
pub(crate) fn apply(homography: &Matrix3<f64>, point: [f64; 2]) -> [f64; 2] {
    let mapped = homography * Vector3::new(point[0], point[1], 1.0);
    [mapped.x / mapped.z, mapped.y / mapped.z]
}

/// The homography that maps `from` to `to`, least squares in the algebraic sense over four or more pairs, with both sides
/// centred and scaled first (Hartley, "In defense of the eight-point algorithm", 1997). `None` where the points do not settle one.
pub fn homography_of(from: &[[f64; 2]], to: &[[f64; 2]]) -> Option<Matrix3<f64>> {
    if from.len() < 4 || from.len() != to.len() {
        return None;
    }
    let (from_norm, to_norm) = (normaliser(from)?, normaliser(to)?);
    let mut normal = nalgebra::SMatrix::<f64, 8, 8>::zeros();
    let mut right = nalgebra::SVector::<f64, 8>::zeros();
    for (source, target) in from.iter().zip(to) {
        let ([x, y], [u, v]) = (apply(&from_norm, *source), apply(&to_norm, *target));
        for (row, value) in [([x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y], u), ([0.0, 0.0, 0.0, x, y, 1.0, -v * x, -v * y], v)] {
            let row = nalgebra::SVector::<f64, 8>::from(row);
            normal += row * row.transpose();
            right += row * value;
        }
    }
    let h = normal.lu().solve(&right)?;
    let normed = Matrix3::new(h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], 1.0);
    let mapped = to_norm.try_inverse()? * normed * from_norm;
    let mapped = mapped / mapped[(2, 2)];
    mapped.iter().all(|value| value.is_finite()).then_some(mapped)
}

/// Moves the mean to the origin and scales the root mean square distance to 1.
fn normaliser(points: &[[f64; 2]]) -> Option<Matrix3<f64>> {
    let count = points.len() as f64;
    let mean = [0, 1].map(|axis| points.iter().map(|point| point[axis]).sum::<f64>() / count);
    let spread = (points.iter().map(|point| (point[0] - mean[0]).powi(2) + (point[1] - mean[1]).powi(2)).sum::<f64>() / count).sqrt();
    if !(spread.is_finite() && spread > 0.0) {
        return None;
    }
    let scale = 1.0 / spread;
    Some(Matrix3::new(scale, 0.0, -scale * mean[0], 0.0, scale, -scale * mean[1], 0.0, 0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(a: [f64; 2], b: [f64; 2], tolerance: f64) -> bool {
        (a[0] - b[0]).abs() < tolerance && (a[1] - b[1]).abs() < tolerance
    }

    #[test]
    fn homography_of_the_unit_square_to_a_trapezoid_is_the_known_one() {
        // Check value: H = [2 1 0; 0 2 0; 0 1 1], centre maps to (1, 2/3); computed by OpenCV 5.0 and by an own 8 x 8 solve.
        let from = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]];
        let to = [[0.0, 0.0], [2.0, 0.0], [1.5, 1.0], [0.5, 1.0]];
        let h = homography_of(&from, &to).unwrap();
        assert!((h - Matrix3::new(2.0, 1.0, 0.0, 0.0, 2.0, 0.0, 0.0, 1.0, 1.0)).abs().max() < 1e-9, "{h}");
        assert!(close(apply(&h, [0.5, 0.5]), [1.0, 2.0 / 3.0], 1e-9));
    }

    #[test]
    fn homography_of_a_hundred_square_maps_its_centre_as_known() {
        // Check value: centre (60.347072, 74.924078); computed by OpenCV 5.0 and by an own 8 x 8 solve.
        let from = [[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]];
        let to = [[10.0, 20.0], [110.0, 30.0], [120.0, 140.0], [5.0, 125.0]];
        let h = homography_of(&from, &to).unwrap();
        assert!(close(apply(&h, [50.0, 50.0]), [60.347072, 74.924078], 5e-7));
    }

    #[test]
    fn points_on_one_line_settle_no_homography() {
        let line = [[0.0, 0.0], [1.0, 0.0], [2.0, 0.0], [3.0, 0.0]];
        assert!(homography_of(&line, &[[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]).is_none());
        assert!(homography_of(&[[1.0, 1.0]; 4], &line).is_none());
    }

    #[test]
    fn photo_and_window_coordinates_are_inverse_to_each_other() {
        let mut lens = Lens::straight(4000, 3000);
        lens.k = -0.04;
        let homography = Matrix3::new(22.0, 1.5, 1200.0, -2.0, 24.0, 700.0, 1e-4, -5e-4, 1.0);
        let sharpness = Sharpness { edge_sigma_px: 1.0, edge_sigma_mm: 0.04 };
        let pose = CardPose { homography, lens, residual_mm: 0.0, bend_mm: 0.0, marks_found: 4, window_mm: [60.0, 60.0], sharpness };
        for point in [[0.0, 0.0], [60.0, 0.0], [31.7, 12.9], [-24.0, 84.0]] {
            let back = pose.window_mm_at(pose.photo_px(point)).unwrap();
            assert!(close(back, point, 1e-7), "{back:?}");
        }
    }
}
