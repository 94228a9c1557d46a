//! The surface as it is measured: seen straight on at a uniform scale with the card, else as the photo has it.

use crate::debris::pose::CardPose;
use crate::debris::rectify::Source;
use crate::photo::Photo;

/// Longest side of a raster, px: 4 megapixels at most, whatever the photo.
const MAX_SIDE_PX: f64 = 2000.0;

/// Where a raster's pixels lie in the photo.
#[derive(Debug, Clone)]
pub(crate) enum Place {
    /// In the card's plane: millimetres of the window are `origin_mm + px / px_per_mm`.
    Card {
        /// The card in the photo.
        pose: Box<CardPose>,
        /// Of the raster's upper left corner.
        origin_mm: [f64; 2],
        /// Raster pixels per millimetre.
        px_per_mm: f64,
    },
    /// In the photo itself: photo px are `origin_px + px * step`.
    Photo {
        /// Of the raster's upper left corner.
        origin_px: [f64; 2],
        /// Photo pixels along a raster pixel; a whole number.
        step: f64,
    },
}

impl Place {
    /// Where a point of the raster lies in the photo, px.
    pub(crate) fn photo_px(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        match self {
            Self::Card { pose, origin_mm, px_per_mm } => pose.photo_px([origin_mm[0] + x / px_per_mm, origin_mm[1] + y / px_per_mm]),
            Self::Photo { origin_px, step } => [origin_px[0] + x * step, origin_px[1] + y * step],
        }
    }

    /// Where a point of the photo lies in the raster, px; `None` beyond the horizon of the card's plane.
    pub(crate) fn raster_px(&self, photo: [f64; 2]) -> Option<[f64; 2]> {
        match self {
            Self::Card { pose, origin_mm, px_per_mm } => {
                let mm = pose.window_mm_at(photo)?;
                Some([(mm[0] - origin_mm[0]) * px_per_mm, (mm[1] - origin_mm[1]) * px_per_mm])
            }
            Self::Photo { origin_px, step } => Some([(photo[0] - origin_px[0]) / step, (photo[1] - origin_px[1]) / step]),
        }
    }

    /// Raster pixels per millimetre, with the card.
    pub(crate) fn px_per_mm(&self) -> Option<f64> {
        match self {
            Self::Card { px_per_mm, .. } => Some(*px_per_mm),
            Self::Photo { .. } => None,
        }
    }

    /// Photo pixels along a raster pixel at a point of the raster.
    pub(crate) fn photo_px_per_px(&self, [x, y]: [f64; 2]) -> f64 {
        match self {
            Self::Card { pose, origin_mm, px_per_mm } => {
                pose.px_per_mm_at([origin_mm[0] + x / px_per_mm, origin_mm[1] + y / px_per_mm]) / px_per_mm
            }
            Self::Photo { step, .. } => *step,
        }
    }
}

/// The surface's picture.
#[derive(Debug, Clone)]
pub(crate) struct Raster {
    pub(crate) width: usize,
    pub(crate) height: usize,
    /// sRGB, smoothed over 3 x 3 pixels (binomial).
    pub(crate) rgb: Vec<u8>,
    pub(crate) place: Place,
}

/// Takes the part of the photo that holds `outline_px`, with a margin. `None` where the outline does not lie in the card's plane.
pub(crate) fn raster_of(photo: &Photo, pose: Option<&CardPose>, outline_px: &[[f64; 2]]) -> Option<Raster> {
    let bounds = |points: &[[f64; 2]]| {
        points.iter().fold(([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]), |(low, high), p| {
            ([low[0].min(p[0]), low[1].min(p[1])], [high[0].max(p[0]), high[1].max(p[1])])
        })
    };
    match pose {
        Some(pose) => {
            let mm: Vec<[f64; 2]> = outline_px.iter().map(|point| pose.window_mm_at(*point)).collect::<Option<_>>()?;
            let (low, high) = bounds(&mm);
            let middle = [0, 1].map(|axis| (low[axis] + high[axis]) / 2.0);
            let longest = (high[0] - low[0]).max(high[1] - low[1]);
            let of_photo = pose.px_per_mm_at(middle);
            let px_per_mm = of_photo.min(MAX_SIDE_PX / longest);
            let margin = 4.0 / px_per_mm;
            let origin_mm = low.map(|value| value - margin);
            let [width, height] = [0, 1].map(|axis| (((high[axis] - low[axis]) + 2.0 * margin) * px_per_mm).ceil() as usize);
            let place = Place::Card { pose: Box::new(pose.clone()), origin_mm, px_per_mm };
            // Where the raster is coarser than the photo, photo pixels are averaged first.
            let step = ((of_photo / px_per_mm).floor() as usize).max(1);
            let (reduced, reduced_width, reduced_height) =
                averaged(photo, [0, 0], [photo.width_px as usize, photo.height_px as usize], step);
            let source = Source { rgb: reduced.as_deref().unwrap_or(&photo.rgb), width: reduced_width, height: reduced_height };
            let mut rgb = vec![0_u8; width * height * 3];
            for (row, line) in rgb.chunks_exact_mut(width * 3).enumerate() {
                for (column, pixel) in line.as_chunks_mut::<3>().0.iter_mut().enumerate() {
                    let [x, y] = place.photo_px([column as f64 + 0.5, row as f64 + 0.5]);
                    *pixel = source.bilinear(x / step as f64, y / step as f64);
                }
            }
            smooth(&mut rgb, width, height);
            Some(Raster { width, height, rgb, place })
        }
        None => {
            let (low, high) = bounds(outline_px);
            let step = ((high[0] - low[0]).max(high[1] - low[1]) / MAX_SIDE_PX).ceil().max(1.0) as usize;
            let size = [photo.width_px as usize, photo.height_px as usize];
            let first = low.map(|value| (value - 4.0 * step as f64).max(0.0) as usize);
            let last = [0, 1].map(|axis| ((high[axis] + 4.0 * step as f64).ceil() as usize).min(size[axis]));
            let part = [0, 1].map(|axis| last[axis].saturating_sub(first[axis]));
            let place = Place::Photo { origin_px: first.map(|value| value as f64), step: step as f64 };
            let (rgb, width, height) = averaged(photo, first, part, step);
            let mut rgb = rgb.unwrap_or_else(|| {
                let rows = photo.rgb.chunks_exact(size[0] * 3).skip(first[1]).take(part[1]);
                rows.flat_map(|row| &row[first[0] * 3..last[0] * 3]).copied().collect()
            });
            smooth(&mut rgb, width, height);
            Some(Raster { width, height, rgb, place })
        }
    }
}

/// Part of the photo with each pixel the mean of `step` x `step`; no picture of its own where `step` is 1.
pub(crate) fn averaged(photo: &Photo, first: [usize; 2], part: [usize; 2], step: usize) -> (Option<Vec<u8>>, usize, usize) {
    let (width, height) = (part[0] / step, part[1] / step);
    if step == 1 {
        return (None, width, height);
    }
    let stride = photo.width_px as usize * 3;
    let mut rgb = Vec::with_capacity(width * height * 3);
    let mut sums = vec![[0_u32; 3]; width];
    let count = (step * step) as u32;
    for row in 0..height {
        sums.fill([0; 3]);
        for line in 0..step {
            let start = (first[1] + row * step + line) * stride + first[0] * 3;
            for (sum, block) in sums.iter_mut().zip(photo.rgb[start..start + width * step * 3].chunks_exact(step * 3)) {
                for pixel in block.chunks_exact(3) {
                    for (total, value) in sum.iter_mut().zip(pixel) {
                        *total += u32::from(*value);
                    }
                }
            }
        }
        rgb.extend(sums.iter().flatten().map(|sum| ((sum + count / 2) / count) as u8));
    }
    (Some(rgb), width, height)
}

/// Binomial 3 x 3 in place; the picture's border counts on.
fn smooth(rgb: &mut [u8], width: usize, height: usize) {
    if width < 2 || height < 2 {
        return;
    }
    let stride = width * 3;
    let across = |row: &[u8], out: &mut [u16]| {
        for at in 0..stride {
            let (left, right) = (if at < 3 { at } else { at - 3 }, if at + 3 < stride { at + 3 } else { at });
            out[at] = u16::from(row[left]) + 2 * u16::from(row[at]) + u16::from(row[right]);
        }
    };
    let mut lines = [vec![0_u16; stride], vec![0; stride], vec![0; stride]];
    across(&rgb[..stride], &mut lines[1]);
    lines[0] = lines[1].clone();
    for row in 0..height {
        let next = (row + 1).min(height - 1);
        let [above, here, below] = &mut lines;
        across(&rgb[next * stride..(next + 1) * stride], below);
        for (at, value) in rgb[row * stride..(row + 1) * stride].iter_mut().enumerate() {
            *value = ((above[at] + 2 * here[at] + below[at] + 8) / 16) as u8;
        }
        lines.rotate_left(1);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::Sha256Hex;

    fn photo(width: u32, height: u32, pixel: impl Fn(u32, u32) -> [u8; 3]) -> Photo {
        let rgb = (0..height).flat_map(|y| (0..width).map(move |x| (x, y))).flat_map(|(x, y)| pixel(x, y)).collect();
        Photo { id: Sha256Hex::of(b"test"), width_px: width, height_px: height, rgb, taken_at: None }
    }

    #[test]
    fn raster_without_a_card_keeps_its_places_and_even_light() {
        let photo = photo(300, 200, |x, y| [x.min(255) as u8, y as u8, 77]);
        let raster = raster_of(&photo, None, &[[100.0, 50.0], [180.0, 50.0], [140.0, 150.0]]).unwrap();
        for (column, row) in [(10, 20), (50, 60)] {
            let at = (row * raster.width + column) * 3;
            let [x, y] = raster.place.photo_px([column as f64 + 0.5, row as f64 + 0.5]);
            // Smoothing leaves a ramp as it is.
            assert_eq!(raster.rgb[at..at + 3], [(x - 0.5) as u8, (y - 0.5) as u8, 77]);
            assert_eq!(raster.place.raster_px([x, y]).unwrap(), [column as f64 + 0.5, row as f64 + 0.5]);
        }
    }

    #[test]
    fn large_surface_is_averaged_down_to_the_largest_raster() {
        let photo = photo(4200, 90, |x, _| [(x % 2 * 200) as u8, 50, 50]);
        let raster = raster_of(&photo, None, &[[0.0, 0.0], [4200.0, 0.0], [4200.0, 90.0], [0.0, 90.0]]).unwrap();
        assert!(raster.width <= 2000 && raster.width >= 1300, "{}", raster.width);
        let middle = (raster.height / 2 * raster.width + 700) * 3;
        assert!((95..=105).contains(&raster.rgb[middle]), "{}", raster.rgb[middle]);
    }
}
