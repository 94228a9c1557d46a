//! From where the card was seen. A grain has height: seen aslant it looks stretched along the line of sight.
//!
//! An ellipsoid that lies on the card with half width `w` along the line of sight and half height `c` covers, seen at an angle `t` off
//! the vertical, sqrt(w^2 + c^2 tan^2 t) of it (the tangents of its outline). How high a grain is no photo from above tells; grains come to
//! rest on their flat side.

use nalgebra::{Matrix3, Vector3};

use super::pose::CardPose;

/// Half height over half width of a grain at rest. Our assumption: between a flake and a ball.
const HEIGHT_SHARE: f64 = 0.65;

/// Focal length of a phone's main camera over half of the photo's diagonal: 26 mm on the 43.3 mm diagonal of 35 mm film.
const USUAL_FOCAL: f64 = 1.2;
/// Focal lengths beyond these are no phone's, in the same unit.
const FOCALS: [f64; 2] = [0.6, 4.0];
/// Foreshortening, as half a squared sine of the tilt, at which the photo's word on its focal length counts as much as [`USUAL_FOCAL`]: 3 degrees.
const TELLING: f64 = 0.001_4;

/// Where the camera stood over the card.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sight {
    /// Point of the card straight below the camera, window coordinates, mm.
    pub foot_mm: [f64; 2],
    /// Height of the camera above the card, mm.
    pub height_mm: f64,
}

/// How a grain is seen in one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slant {
    /// Unit vector along the card towards the camera.
    pub toward: [f64; 2],
    /// Length along `toward` over the length seen from straight above; 1 or more.
    pub stretch: f64,
}

impl Sight {
    /// The camera of a pose: square pixels, the lens's axis through the photo's centre. `None` where no camera sees a card so.
    pub fn of(pose: &CardPose) -> Option<Self> {
        let [x, y] = pose.lens.centre_px;
        let unit = 1.0 / pose.lens.radius_px;
        let centred = Matrix3::new(unit, 0.0, -x * unit, 0.0, unit, -y * unit, 0.0, 0.0, 1.0) * pose.homography;
        let focal = focal_of(&centred);
        let camera = Matrix3::from_diagonal(&Vector3::new(1.0 / focal, 1.0 / focal, 1.0)) * centred;
        let across: Vector3<f64> = camera.column(0).into_owned();
        let down: Vector3<f64> = camera.column(1).into_owned();
        let length = ((across.norm_squared() + down.norm_squared()) / 2.0).sqrt();
        let (across, down, origin) = (across / length, down / length, camera.column(2) / length);
        let foot_mm = [-across.dot(&origin), -down.dot(&origin)];
        let height_mm = across.cross(&down).dot(&origin).abs();
        let sound = foot_mm.iter().all(|value| value.is_finite()) && height_mm.is_finite() && height_mm > 0.0;
        sound.then_some(Self { foot_mm, height_mm })
    }

    /// How a grain at a point of the window is seen.
    pub fn slant(&self, window_mm: [f64; 2]) -> Slant {
        let away = [self.foot_mm[0] - window_mm[0], self.foot_mm[1] - window_mm[1]];
        let length = away[0].hypot(away[1]);
        let toward = if length > 0.0 { away.map(|value| value / length) } else { [1.0, 0.0] };
        Slant { toward, stretch: 1.0_f64.hypot(HEIGHT_SHARE * length / self.height_mm) }
    }
}

impl Slant {
    /// A point as it would lie seen from straight above, but for a shift that is the same for all of a grain.
    pub fn from_above(&self, point: [f64; 2]) -> [f64; 2] {
        let along = (point[0] * self.toward[0] + point[1] * self.toward[1]) * (1.0 / self.stretch - 1.0);
        [point[0] + along * self.toward[0], point[1] + along * self.toward[1]]
    }
}

/// The focal length that makes the card's two axes stand square and equally long, in the unit of the centred homography. A card seen from
/// straight above tells nothing of it: the less it is foreshortened, the more the usual one counts.
fn focal_of(centred: &Matrix3<f64>) -> f64 {
    let h = centred;
    let size = (h[(0, 0)].powi(2) + h[(1, 0)].powi(2) + h[(0, 1)].powi(2) + h[(1, 1)].powi(2)) / 2.0;
    // Twice a condition `a / focal^2 + b = 0`: axes square to each other, axes of one length.
    let square = [h[(0, 0)] * h[(0, 1)] + h[(1, 0)] * h[(1, 1)], h[(2, 0)] * h[(2, 1)]].map(|value| value / size);
    let equal = [h[(0, 0)].powi(2) + h[(1, 0)].powi(2) - h[(0, 1)].powi(2) - h[(1, 1)].powi(2), h[(2, 0)].powi(2) - h[(2, 1)].powi(2)]
        .map(|value| value / (2.0 * size));
    let weight = TELLING * TELLING;
    let above = weight / (USUAL_FOCAL * USUAL_FOCAL) - square[0] * square[1] - equal[0] * equal[1];
    let below = weight + square[0] * square[0] + equal[0] * equal[0];
    let [least, most] = FOCALS;
    (above / below).clamp(1.0 / (most * most), 1.0 / (least * least)).sqrt().recip()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::debris::test_scene::Scene;

    #[test]
    fn camera_is_found_where_it_stands() {
        for (tilt_deg, tilt_towards_deg, roll_deg) in [(0.0, 0.0, 0.0), (5.0, 70.0, 10.0), (25.0, 200.0, 95.0), (36.0, 310.0, -40.0)] {
            // Focal length 1400 px, half a diagonal 1000 px: 200 mm from the window's centre.
            let scene = Scene { tilt_deg, tilt_towards_deg, roll_deg, ..Scene::default() };
            let pose = scene.pose();
            let sight = Sight::of(&pose).unwrap();
            let slant = sight.height_mm / 200.0;
            assert!((slant / tilt_deg.to_radians().cos() - 1.0).abs() < 0.15, "{tilt_deg}: {sight:?}");
            let middle = pose.window_mm.map(|side| side / 2.0);
            let lean = (sight.foot_mm[0] - middle[0]).hypot(sight.foot_mm[1] - middle[1]) / sight.height_mm;
            assert!((lean - tilt_deg.to_radians().tan()).abs() < 0.012, "{tilt_deg}: {sight:?}, {lean}");
        }
    }

    #[test]
    fn tilted_card_tells_the_focal_length_of_a_camera_that_sees_farther() {
        for focal_share in [0.8, 1.4, 2.5] {
            // DISTANCE_MM of the painter is 200: its focal length in px is 200 times the scale.
            let px_per_mm = 1000.0 * focal_share / 200.0;
            let scene = Scene { tilt_deg: 20.0, tilt_towards_deg: 30.0, px_per_mm, ..Scene::default() };
            let sight = Sight::of(&scene.pose()).unwrap();
            assert!((sight.height_mm / (200.0 * 20_f64.to_radians().cos()) - 1.0).abs() < 0.01, "{focal_share}: {sight:?}");
        }
    }

    #[test]
    fn ball_seen_aslant_is_pressed_back_to_its_size() {
        let sight = Sight { foot_mm: [30.0, 30.0], height_mm: 100.0 };
        assert_eq!(sight.slant([30.0, 30.0]).stretch, 1.0);
        let slant = sight.slant([30.0, 90.0]);
        assert_eq!(slant.toward, [0.0, -1.0]);
        // sqrt(1 + (0.65 x 0.6)^2), by hand.
        assert!((slant.stretch - 1.073_359).abs() < 1e-6);
        let pressed = slant.from_above([2.0, 1.073_359]);
        assert!((pressed[0] - 2.0).abs() < 1e-12 && (pressed[1] - 1.0).abs() < 1e-6);
    }
}
