//! A photo of a screen: its rows of lights run through everything, paper and grains alike, at one spacing. Nothing on a card does.

use crate::debris::window::WindowImage;

/// Patches along each side of the window, and the side of each, px.
const PATCHES: usize = 4;
const PATCH_PX: usize = 64;

/// Spacings that are looked for, px. Below, sharpening and the mosaic of the camera's own sensor leave traces.
const SPACINGS_PX: std::ops::RangeInclusive<usize> = 3..=24;

/// A patch is striped where its steps, moved by the spacing, resemble themselves at least this much; 1 is a perfect grid. Our choice.
const ALIKE: f64 = 0.4;

/// Share of the window's patches that are striped at one spacing, along rows or along columns, whichever is more; percent.
pub(super) fn striped_percent(window: &WindowImage) -> f64 {
    let (width, height) = (window.width_px as usize, window.height_px as usize);
    if width < PATCHES * PATCH_PX || height < PATCHES * PATCH_PX {
        return 0.0;
    }
    let luma = |x: usize, y: usize| {
        let pixel = &window.rgb[(y * width + x) * 3..][..3];
        i64::from(pixel[0]) + 2 * i64::from(pixel[1]) + i64::from(pixel[2])
    };
    let places = |size: usize| (0..PATCHES).map(move |place| (size - PATCH_PX) * place / (PATCHES - 1));
    let (mut rows, mut columns) = (Vec::new(), Vec::new());
    for top in places(height) {
        for left in places(width) {
            rows.extend(spacing_of(|along, line| luma(left + along, top + line)));
            columns.extend(spacing_of(|along, line| luma(left + line, top + along)));
        }
    }
    let most = of_one_spacing(&rows).max(of_one_spacing(&columns));
    100.0 * most as f64 / (PATCHES * PATCHES) as f64
}

/// The spacing at which a patch's steps repeat; `None` where they do not.
fn spacing_of(value: impl Fn(usize, usize) -> i64) -> Option<usize> {
    let mut repeats = [0_i64; *SPACINGS_PX.end() + 2];
    for line in 0..PATCH_PX {
        let mut steps = [0_i64; PATCH_PX - 1];
        for (along, step) in steps.iter_mut().enumerate() {
            *step = value(along + 1, line) - value(along, line);
        }
        for (spacing, sum) in repeats.iter_mut().enumerate() {
            // The same number of products at each spacing.
            *sum += (0..PATCH_PX - 1 - SPACINGS_PX.end() - 1).map(|at| steps[at] * steps[at + spacing]).sum::<i64>();
        }
    }
    let alike = |spacing: usize| repeats[spacing] as f64 / (repeats[0].max(1)) as f64;
    let peaks = SPACINGS_PX.filter(|&s| repeats[s] > repeats[s - 1] && repeats[s] >= repeats[s + 1] && alike(s) >= ALIKE);
    // The first of them: a grid repeats at each multiple of its spacing too.
    peaks.min()
}

/// How many spacings lie within one pixel of the commonest.
fn of_one_spacing(spacings: &[usize]) -> usize {
    spacings.iter().map(|one| spacings.iter().filter(|other| one.abs_diff(**other) <= 1).count()).max().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn window(light: impl Fn(usize, usize) -> u8) -> WindowImage {
        let (width, height) = (400, 300);
        let rgb = (0..width * height).flat_map(|at| [light(at % width, at / width); 3]).collect();
        WindowImage { width_px: width as u32, height_px: height as u32, px_per_mm: 8.0, rgb, white: None, edge_sigma_px: None, sight: None }
    }

    /// A cheap hash for noise.
    fn noise(x: usize, y: usize) -> u8 {
        ((x.wrapping_mul(73_856_093) ^ y.wrapping_mul(19_349_663)).wrapping_mul(2_654_435_761) >> 16 & 31) as u8
    }

    #[test]
    fn grid_turned_a_little_and_noisy_is_seen_everywhere() {
        let leaning = |x: usize, y: usize| (x as f64 * 0.98 + y as f64 * 0.17).rem_euclid(5.4) < 2.2;
        let grid = window(|x, y| if leaning(x, y) { 150 + noise(x, y) } else { 90 + noise(x, y) });
        assert!(striped_percent(&grid) >= 90.0, "{}", striped_percent(&grid));
        let rows = window(|x, y| if y % 4 == 0 { 60 + noise(x, y) } else { 170 + noise(x, y) });
        assert!(striped_percent(&rows) >= 90.0, "{}", striped_percent(&rows));
    }

    #[test]
    fn noise_plain_paper_one_edge_and_a_small_window_are_no_screen() {
        assert_eq!(striped_percent(&window(noise)), 0.0);
        assert_eq!(striped_percent(&window(|_, _| 220)), 0.0);
        assert_eq!(striped_percent(&window(|x, _| if x < 200 { 40 } else { 220 })), 0.0);
        let small =
            WindowImage { width_px: 10, height_px: 10, px_per_mm: 1.0, rgb: vec![9; 300], white: None, edge_sigma_px: None, sight: None };
        assert_eq!(striped_percent(&small), 0.0);
    }
}
