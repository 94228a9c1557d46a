//! A reading laid over its photo.

use super::pose::{apply, homography_of};
use super::reading::Reading;

/// Each grain's outline in the oriented photo, px, in the order of the reading's grains; empty where the reading was made without
/// outlines. The lens's own bend is left out: over a card it is a few pixels at most.
pub fn outlines_px(reading: &Reading) -> Vec<Vec<[f64; 2]>> {
    let [width, height] = reading.scale.window_mm;
    let window_mm = [[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]];
    let Some(to_photo) = homography_of(&window_mm, &reading.scale.window_corners_px) else { return Vec::new() };
    reading.grains.iter().map(|grain| grain.outline_mm.iter().flatten().map(|point| apply(&to_photo, *point)).collect()).collect()
}

#[cfg(test)]
mod tests {
    use super::outlines_px;
    use crate::debris::read::read_photo;
    use crate::debris::settings::ReadSettings;

    #[test]
    fn outlines_lie_inside_the_window_as_it_stands_in_the_photo() {
        let photo = include_bytes!("../../../fixtures/photos/golden_spread.jpg");
        let settings = ReadSettings { outlines: true, ..ReadSettings::default() };
        let reading = read_photo(photo, &settings).unwrap();
        let outlines = outlines_px(&reading);
        assert_eq!(outlines.len(), reading.grains.len());
        assert!(outlines.iter().all(|outline| outline.len() >= 4));
        let corners = reading.scale.window_corners_px;
        for axis in [0, 1] {
            let low = corners.iter().map(|corner| corner[axis]).fold(f64::INFINITY, f64::min);
            let high = corners.iter().map(|corner| corner[axis]).fold(f64::NEG_INFINITY, f64::max);
            assert!(outlines.iter().flatten().all(|point| (low - 1.0..=high + 1.0).contains(&point[axis])));
        }
        // A grain's outline has the grain's area at the photo's scale there (the card is tilted: within a fifth).
        for (grain, outline) in reading.grains.iter().zip(&outlines).filter(|(grain, _)| !grain.cut) {
            let twice: f64 = (0..outline.len())
                .map(|i| {
                    let (a, b) = (outline[i], outline[(i + 1) % outline.len()]);
                    a[0] * b[1] - b[0] * a[1]
                })
                .sum();
            let mm2 = twice.abs() / 2.0 / reading.scale.px_per_mm.powi(2);
            assert!((mm2 / grain.area_mm2 - 1.0).abs() < 0.2, "{mm2} against {}", grain.area_mm2);
        }
        let bare = read_photo(photo, &ReadSettings::default()).unwrap();
        assert!(outlines_px(&bare).iter().all(Vec::is_empty));
    }
}
