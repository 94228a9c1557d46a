//! The window seen straight on: from the card's pose, or cut out of the photo by hand.

use multiversion::multiversion;

use super::card::{Card, RectMm, WINDOW_MM};
use super::pose::CardPose;
use super::reading::{Scale, ScaleSource};
use super::sight::Sight;
use super::window::WindowImage;
use crate::error::CoreError;
use crate::photo::Photo;

/// Longest side of a rectified window, px: 2400 px on 60 mm are 40 px/mm and 17 MB.
pub const MAX_WINDOW_SIDE_PX: f64 = 2400.0;

/// A photo of fewer pixels than this, px/mm, is drawn up to [`MOST_ENLARGED`] times as large: the network works at half the window's scale,
/// and of a grain of five pixels that leaves it two.
pub const LEAST_PX_PER_MM: f64 = 20.0;
const MOST_ENLARGED: f64 = 2.0;

/// Distance that samples of a white patch keep from its outline, mm.
const PATCH_INSET_MM: f64 = 1.5;

/// The window as a square-on picture at about the photo's own scale, with the card's white.
///
/// The scale is the photo's at the window's centre, at least [`LEAST_PX_PER_MM`], capped so that no side exceeds [`MAX_WINDOW_SIDE_PX`]. Bilinear in sRGB
/// code values; pixel (i, j) is read at the photo point of its own centre.
pub fn window_from_card(photo: &Photo, pose: &CardPose) -> WindowImage {
    let longest_mm = pose.window_mm[0].max(pose.window_mm[1]);
    let own = pose.px_per_mm();
    let px_per_mm = own.max(LEAST_PX_PER_MM.min(MOST_ENLARGED * own)).min(MAX_WINDOW_SIDE_PX / longest_mm);
    let [width, height] = pose.window_mm.map(|side| (side * px_per_mm).round().max(1.0) as usize);
    let mut rgb = vec![0_u8; width * height * 3];
    let source = Source { rgb: &photo.rgb, width: photo.width_px as usize, height: photo.height_px as usize };
    let h = &pose.homography;
    let step = 1.0 / px_per_mm;
    let mut places = Places::new(width);
    for (row, line) in rgb.chunks_exact_mut(width * 3).enumerate() {
        let y = (row as f64 + 0.5) * step;
        // Along a row all three parts of the homography grow by a constant.
        let along = Along {
            start: [0, 1, 2].map(|part| h[(part, 0)] * 0.5 * step + h[(part, 1)] * y + h[(part, 2)]),
            grow: [0, 1, 2].map(|part| h[(part, 0)] * step),
            centre: pose.lens.centre_px,
            bend: pose.lens.k / (pose.lens.radius_px * pose.lens.radius_px),
        };
        find_places(&along, [source.width, source.height], &mut places);
        mix_row(source.rgb, source.width * 3, &places, line);
    }
    let edge_sigma_px = Some(pose.sharpness.edge_sigma_mm * px_per_mm);
    let white = white_of(&source, pose);
    WindowImage { width_px: width as u32, height_px: height as u32, px_per_mm, rgb, white, edge_sigma_px, sight: Sight::of(pose) }
}

/// A row of the window in the photo: the parts of its homography, and the lens.
struct Along {
    start: [f64; 3],
    grow: [f64; 3],
    centre: [f64; 2],
    bend: f64,
}

/// Where the pixels of a row are read: the upper left one of four photo pixels, and the four's weights in 1/65536.
struct Places {
    column: Vec<u32>,
    row: Vec<u32>,
    weights: Vec<[u32; 4]>,
}

impl Places {
    fn new(width: usize) -> Self {
        Self { column: vec![0; width], row: vec![0; width], weights: vec![[0; 4]; width] }
    }
}

/// Between the four nearest pixel centres; beyond the outermost ones the border pixel counts on.
#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn find_places(along: &Along, size: [usize; 2], places: &mut Places) {
    let Along { start, grow, centre: [cx, cy], bend } = along;
    let width = places.column.len();
    let (columns, rows, weights) = (&mut places.column[..width], &mut places.row[..width], &mut places.weights[..width]);
    for at in 0..width {
        let step = f64::from(at as u32);
        let w = 1.0 / (start[2] + step * grow[2]);
        let (dx, dy) = ((start[0] + step * grow[0]) * w - cx, (start[1] + step * grow[1]) * w - cy);
        let lens = 1.0 + bend * (dx * dx + dy * dy);
        ([columns[at], rows[at]], weights[at]) = place([cx + dx * lens, cy + dy * lens], size);
    }
}

/// The upper left one of the four photo pixels around a point, and the four's weights in 1/65536.
#[inline(always)]
fn place([x, y]: [f64; 2], size: [usize; 2]) -> ([u32; 2], [u32; 4]) {
    let along = |at: f64, size: usize| {
        let at = (at - 0.5).clamp(0.0, (size - 1) as f64) as f32;
        let pixel = (at as u32).min(size.saturating_sub(2) as u32);
        (pixel, ((at - pixel as f32) * 256.0) as u32)
    };
    let ((column, fx), (row, fy)) = (along(x, size[0]), along(y, size[1]));
    ([column, row], [(256 - fx) * (256 - fy), fx * (256 - fy), (256 - fx) * fy, fx * fy])
}

#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn mix_row(rgb: &[u8], stride: usize, places: &Places, out: &mut [u8]) {
    let place = places.column.iter().zip(&places.row).zip(&places.weights);
    for (pixel, ((column, row), weights)) in out.as_chunks_mut::<3>().0.iter_mut().zip(place) {
        *pixel = mixed(rgb, stride, [*column, *row], weights);
    }
}

/// Four bytes from `at`: a pixel, and one byte more so that registers are filled.
#[inline(always)]
fn four_bytes(rgb: &[u8], at: usize) -> [u8; 4] {
    // The photo's last pixel has nothing behind it.
    rgb[at..].first_chunk::<4>().copied().unwrap_or_else(|| [rgb[at], rgb[at + 1], rgb[at + 2], 0])
}

/// The mean of four pixels, the upper left one of them given, by their weights.
#[inline(always)]
fn mixed(rgb: &[u8], stride: usize, [column, row]: [u32; 2], weights: &[u32; 4]) -> [u8; 3] {
    let upper = row as usize * stride + column as usize * 3;
    let mut sums = [1_u32 << 15; 4];
    for (at, weight) in [upper, upper + 3, upper + stride, upper + stride + 3].into_iter().zip(weights) {
        for (sum, value) in sums.iter_mut().zip(four_bytes(rgb, at)) {
            *sum += u32::from(value) * weight;
        }
    }
    [(sums[0] >> 16) as u8, (sums[1] >> 16) as u8, (sums[2] >> 16) as u8]
}

pub(crate) struct Source<'a> {
    pub(crate) rgb: &'a [u8],
    pub(crate) width: usize,
    pub(crate) height: usize,
}

impl Source<'_> {
    /// Between the four nearest pixel centres; beyond the outermost ones the border pixel counts on.
    #[inline]
    pub(crate) fn bilinear(&self, x: f64, y: f64) -> [u8; 3] {
        let (pixel, weights) = place([x, y], [self.width, self.height]);
        mixed(self.rgb, self.width * 3, pixel, &weights)
    }
}

/// Mean sRGB of the white patches' medians; `None` for a card of another edition, or with both patches outside the photo.
fn white_of(source: &Source<'_>, pose: &CardPose) -> Option<[f64; 3]> {
    let patches = white_patches(source, pose);
    let count = patches.len() as f64;
    (!patches.is_empty()).then(|| [0, 1, 2].map(|channel| patches.iter().map(|patch| patch[channel]).sum::<f64>() / count))
}

/// Median sRGB of each white patch inside the photo; none for a card of another edition.
pub(crate) fn white_patches(source: &Source<'_>, pose: &CardPose) -> Vec<[f64; 3]> {
    if pose.window_mm != WINDOW_MM {
        return Vec::new();
    }
    Card::new().white_mm.iter().filter_map(|patch| patch_median(source, pose, *patch)).collect()
}

/// Median of each channel over a raster inside the patch; `None` where part of it lies outside the photo.
fn patch_median(source: &Source<'_>, pose: &CardPose, [left, top, width, height]: RectMm) -> Option<[f64; 3]> {
    const RASTER: usize = 21;
    let mut channels: [Vec<u8>; 3] = Default::default();
    let along = |index: usize, side: f64| PATCH_INSET_MM + (side - 2.0 * PATCH_INSET_MM) * index as f64 / (RASTER - 1) as f64;
    for row in 0..RASTER {
        for column in 0..RASTER {
            let [x, y] = pose.photo_px([left + along(column, width), top + along(row, height)]);
            if !(x >= 0.0 && y >= 0.0 && x <= source.width as f64 && y <= source.height as f64) {
                return None;
            }
            for (channel, value) in channels.iter_mut().zip(source.bilinear(x, y)) {
                channel.push(value);
            }
        }
    }
    Some(channels.map(|mut channel| {
        let middle = channel.len() / 2;
        f64::from(*channel.select_nth_unstable(middle).1)
    }))
}

/// Above this many pixels the window of a photo without a card is drawn at half the photo's scale: sensors that give more tell no finer
/// detail (common practice, no published source), and a phone has no memory to spare.
const FINE_PX: u64 = 16_000_000;

/// The whole photo, or a part of it (left, top, width, height in px), with a scale that was set by hand; at half the photo's scale above
/// 16 megapixels.
///
/// # Errors
/// `bad_scale` outside 0.01 to 1000 px/mm, `bad_window` where the part is empty or reaches outside the photo.
pub fn window_by_hand(photo: Photo, px_per_mm: f64, part_px: Option<[u32; 4]>) -> Result<(WindowImage, Scale), CoreError> {
    if !(0.01..=1000.0).contains(&px_per_mm) {
        let reason = format!("{px_per_mm} pixels per millimetre is outside 0.01 to 1000");
        return Err(CoreError::refused("bad_scale", reason, "measure a known length in the photo: its pixels over its millimetres"));
    }
    let [left, top, width, height] = part_px.unwrap_or([0, 0, photo.width_px, photo.height_px]);
    let fits = |start: u32, length: u32, size: u32| length > 0 && start.checked_add(length).is_some_and(|end| end <= size);
    if !fits(left, width, photo.width_px) || !fits(top, height, photo.height_px) {
        let reason =
            format!("a window of {width} x {height} px at {left}, {top} is not inside {} x {} px", photo.width_px, photo.height_px);
        return Err(CoreError::refused("bad_window", reason, "give left, top, width and height in pixels of the upright photo"));
    }
    let [x0, y0, x1, y1] = [left, top, left + width, top + height].map(f64::from);
    let scale = Scale {
        source: ScaleSource::Hand,
        px_per_mm,
        residual_mm: None,
        marks_found: None,
        window_mm: [f64::from(width) / px_per_mm, f64::from(height) / px_per_mm],
        window_corners_px: [[x0, y0], [x1, y0], [x1, y1], [x0, y1]],
    };
    let drawn = |width_px: u32, height_px: u32, px_per_mm: f64, rgb: Vec<u8>| WindowImage {
        width_px,
        height_px,
        px_per_mm,
        rgb,
        white: None,
        edge_sigma_px: None,
        sight: None,
    };
    if u64::from(width) * u64::from(height) > FINE_PX {
        return Ok((drawn(width / 2, height / 2, px_per_mm / 2.0, halved(&photo, [left, top, width / 2, height / 2])), scale));
    }
    if (width, height) == (photo.width_px, photo.height_px) {
        return Ok((drawn(width, height, px_per_mm, photo.rgb), scale));
    }
    let stride = photo.width_px as usize * 3;
    let (first, length) = (left as usize * 3, width as usize * 3);
    let rows = photo.rgb.chunks_exact(stride).skip(top as usize).take(height as usize);
    let rgb = rows.flat_map(|row| &row[first..first + length]).copied().collect();
    Ok((drawn(width, height, px_per_mm, rgb), scale))
}

/// Means of 2 x 2 pixels from `left`, `top` on, `width` x `height` of them.
fn halved(photo: &Photo, [left, top, width, height]: [u32; 4]) -> Vec<u8> {
    let stride = photo.width_px as usize * 3;
    let (first, length) = (left as usize * 3, width as usize * 6);
    let mut rgb = Vec::with_capacity(width as usize * height as usize * 3);
    for row in 0..height as usize {
        let start = (top as usize + 2 * row) * stride + first;
        let (upper, lower) = (&photo.rgb[start..start + length], &photo.rgb[start + stride..start + stride + length]);
        for (above, below) in upper.as_chunks::<6>().0.iter().zip(lower.as_chunks::<6>().0) {
            rgb.extend(
                (0..3).map(|c| {
                    ((u16::from(above[c]) + u16::from(above[c + 3]) + u16::from(below[c]) + u16::from(below[c + 3]) + 2) / 4) as u8
                }),
            );
        }
    }
    rgb
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::debris::pose::Lens;
    use crate::ids::Sha256Hex;
    use crate::photo::quality::Sharpness;
    use nalgebra::Matrix3;

    fn photo(width: u32, height: u32, pixel: impl Fn(u32, u32) -> [u8; 3]) -> Photo {
        let rgb = (0..height).flat_map(|y| (0..width).map(move |x| (x, y))).flat_map(|(x, y)| pixel(x, y)).collect();
        Photo { id: Sha256Hex::of(b"test"), width_px: width, height_px: height, rgb, taken_at: None }
    }

    fn pose(homography: Matrix3<f64>, window_mm: [f64; 2]) -> CardPose {
        let sharpness = Sharpness { edge_sigma_px: 1.0, edge_sigma_mm: 0.1 };
        CardPose { homography, lens: Lens::straight(200, 150), residual_mm: 0.0, bend_mm: 0.0, marks_found: 4, window_mm, sharpness }
    }

    #[test]
    fn window_of_more_pixels_than_a_lens_resolves_is_drawn_at_half_the_scale() {
        let large = photo(5001, 3301, |x, y| [(x % 2 * 100) as u8, (y % 2 * 50) as u8, 7]);
        let (window, scale) = window_by_hand(large, 40.0, Some([1, 1, 5000, 3300])).unwrap();
        assert_eq!((window.width_px, window.height_px, window.px_per_mm), (2500, 1650, 20.0));
        assert_eq!((scale.px_per_mm, scale.window_mm, scale.window_corners_px[2]), (40.0, [125.0, 82.5], [5001.0, 3301.0]));
        assert!(window.rgb.as_chunks::<3>().0.iter().all(|pixel| *pixel == [50, 25, 7]));
    }

    #[test]
    fn window_at_the_photos_own_scale_is_an_exact_copy() {
        // 20 px/mm, window's corner at pixel corner (30, 20): every sample falls on a pixel centre.
        let photo = photo(200, 150, |x, y| [x as u8, y as u8, (x ^ y) as u8]);
        let window = window_from_card(&photo, &pose(Matrix3::new(20.0, 0.0, 30.0, 0.0, 20.0, 20.0, 0.0, 0.0, 1.0), [6.0, 5.5]));
        let (copy, scale) = window_by_hand(photo.clone(), 20.0, Some([30, 20, 120, 110])).unwrap();
        assert_eq!((window.width_px, window.height_px, &window.rgb), (120, 110, &copy.rgb));
        assert!((window.px_per_mm - 20.0).abs() < 1e-6 && scale.window_mm == [6.0, 5.5]);
    }

    #[test]
    fn window_of_a_photo_with_few_pixels_is_drawn_larger_up_to_twice() {
        for (own, drawn) in [(24.0, 24.0), (16.0, 20.0), (10.0, 20.0), (7.0, 14.0)] {
            let photo = photo(200, 150, |x, y| [x as u8, y as u8, 0]);
            let window = window_from_card(&photo, &pose(Matrix3::new(own, 0.0, 20.0, 0.0, own, 10.0, 0.0, 0.0, 1.0), [5.0, 5.0]));
            assert!((window.px_per_mm - drawn).abs() < 1e-6 && window.width_px == (5.0 * drawn) as u32, "{own}: {}", window.px_per_mm);
            assert!((window.edge_sigma_px.unwrap() - 0.1 * drawn).abs() < 1e-6);
        }
    }

    #[test]
    fn ramp_seen_through_a_tilt_keeps_its_places() {
        // A photo whose red channel is its x: the rectified value at a point must be the photo x that the pose gives.
        let photo = photo(200, 150, |x, y| [x as u8, y as u8, 0]);
        let pose = pose(Matrix3::new(9.0, 1.0, 20.0, 0.5, 8.0, 15.0, 0.002, -0.004, 1.0), [12.0, 12.0]);
        let window = window_from_card(&photo, &pose);
        for (column, row) in [(0, 0), (50, 40), (70, 11), (3, 80)] {
            let at = (row * window.width_px + column) as usize * 3;
            let mm = [column, row].map(|index| (f64::from(index) + 0.5) / window.px_per_mm);
            let [x, y] = pose.photo_px(mm);
            assert!((f64::from(window.rgb[at]) - (x - 0.5)).abs() <= 0.6 && (f64::from(window.rgb[at + 1]) - (y - 0.5)).abs() <= 0.6);
        }
    }

    #[test]
    fn hand_scale_and_window_out_of_range_are_refused() {
        let photo = photo(100, 80, |_, _| [0; 3]);
        for scale in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e6] {
            assert_eq!(window_by_hand(photo.clone(), scale, None).unwrap_err().code(), "bad_scale");
        }
        for part in [[0, 0, 101, 10], [0, 0, 0, 10], [50, 79, 10, 2], [u32::MAX, 0, 2, 2]] {
            assert_eq!(window_by_hand(photo.clone(), 5.0, Some(part)).unwrap_err().code(), "bad_window");
        }
        assert_eq!(window_by_hand(photo.clone(), 5.0, Some([99, 79, 1, 1])).unwrap().0.rgb.len(), 3);
    }
}
