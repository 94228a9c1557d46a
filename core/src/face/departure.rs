//! How each pixel departs from the bare surface: in colour, and in light alone.
//!
//! With F the bare surface's light and x the pixel's, x = s F + rest. On a coloured surface `s` alone is light and shadow, and `rest`,
//! held against the light there, is foreign stuff: a shadow moves `s` and leaves no rest. Water makes a colour deeper: its rest points
//! away from grey and is not counted. On metal what is darker departs, whatever its colour.

use super::ground::{Ground, length, parts};
use super::light::LightTable;
use super::raster::Raster;
use super::reading::Surface;

/// Planes are kept in 1/4096.
const UNIT: f32 = 4096.0;
/// The least departure in colour or light that counts; shares. Ours: JPEG and sensors leave 0.01 to 0.03.
const LEAST_FOREIGN: f32 = 0.09;
const LEAST_DARK: f32 = 0.14;
const LEAST_LINE: f32 = 0.07;
/// Half width of the strip that a line is held against, px.
const LINE_REACH: usize = 14;

/// A pixel may be part of foreign stuff or of a chip.
pub(crate) const FOREIGN: u8 = 1;
/// A pixel may be part of a thin line.
pub(crate) const LINE: u8 = 2;

/// Marks every pixel inside by what it may be part of.
pub(crate) fn mark(raster: &Raster, inside: &[u8], ground: &Ground, table: &LightTable) -> Vec<u8> {
    let (width, height) = (raster.width, raster.height);
    let mut light = vec![UNIT as i16; width * height];
    let mut foreign = vec![0_u16; width * height];
    let mut bare = vec![[0.0_f32; 3]; width];
    let coloured = ground.surface == Surface::Coloured;
    for y in 0..height {
        ground.row(y, &mut bare);
        for x in 0..width {
            let at = y * width + x;
            if inside[at] == 0 {
                continue;
            }
            let pixel = [raster.rgb[at * 3], raster.rgb[at * 3 + 1], raster.rgb[at * 3 + 2]];
            let (along, off) = parts(table.of(pixel), bare[x]);
            let off_length = length(off);
            let departs = if coloured {
                let deeper = off[0] + off[1] + off[2] < -0.5 * off_length;
                if deeper { 0.0 } else { off_length / (length(bare[x]) * along.clamp(0.12, 1.0)) }
            } else if along < 1.0 {
                (1.0 - along).max(off_length / length(bare[x]))
            } else {
                0.0
            };
            light[at] = (along * UNIT).clamp(0.0, 32_000.0) as i16;
            foreign[at] = (departs * UNIT).min(60_000.0) as u16;
        }
    }
    let scatter = |values: &mut dyn Iterator<Item = u16>| {
        let mut sample: Vec<u16> = values.collect();
        // The lower quarter: with grit on four tenths of the surface the middle is no longer bare.
        let quarter = sample.len() / 4;
        if sample.is_empty() { 0.0 } else { f32::from(*sample.select_nth_unstable(quarter).1) / UNIT }
    };
    let step = (width * height / 80_000).max(1) | 1;
    let places = || (0..width * height).step_by(step).filter(|at| inside[*at] != 0);
    let usual = scatter(&mut places().map(|at| foreign[at]).filter(|value| coloured || *value > 0));
    let least = if coloured { LEAST_FOREIGN } else { LEAST_DARK };
    let from = ((if coloured { 6.0 } else { 14.0 } * usual).clamp(least, 0.5) * UNIT) as u16;
    let mut marked: Vec<u8> = foreign.iter().map(|value| u8::from(*value >= from) * FOREIGN).collect();
    drop(foreign);
    let lines = off_strip(&light, width, height);
    let usual = scatter(&mut places().map(|at| lines[at].unsigned_abs()));
    let from = ((12.0 * usual).clamp(LEAST_LINE, 0.5) * UNIT) as u16;
    for (at, marked) in marked.iter_mut().enumerate() {
        if inside[at] != 0 && lines[at].unsigned_abs() >= from {
            *marked |= LINE;
        }
    }
    marked
}

/// Light less its mean over a square of `LINE_REACH` on either side.
fn off_strip(light: &[i16], width: usize, height: usize) -> Vec<i16> {
    let side = 2 * LINE_REACH + 1;
    let clamped = |at: isize, count: usize| at.clamp(0, count as isize - 1) as usize;
    let mut across = vec![0_i32; width * height];
    for (row, out) in light.chunks_exact(width).zip(across.chunks_exact_mut(width)) {
        let mut sum: i32 = (-(LINE_REACH as isize)..=LINE_REACH as isize).map(|at| i32::from(row[clamped(at, width)])).sum();
        for x in 0..width {
            out[x] = sum;
            sum += i32::from(row[clamped((x + LINE_REACH + 1) as isize, width)])
                - i32::from(row[clamped(x as isize - LINE_REACH as isize, width)]);
        }
    }
    let mut sums: Vec<i64> = vec![0; width];
    for at in -(LINE_REACH as isize)..=LINE_REACH as isize {
        let row = clamped(at, height);
        for (sum, value) in sums.iter_mut().zip(&across[row * width..(row + 1) * width]) {
            *sum += i64::from(*value);
        }
    }
    let mut off = vec![0_i16; width * height];
    let count = (side * side) as i64;
    for y in 0..height {
        let (enters, leaves) = (clamped((y + LINE_REACH + 1) as isize, height), clamped(y as isize - LINE_REACH as isize, height));
        for x in 0..width {
            off[y * width + x] = (i64::from(light[y * width + x]) - sums[x] / count).clamp(-32_000, 32_000) as i16;
            sums[x] += i64::from(across[enters * width + x]) - i64::from(across[leaves * width + x]);
        }
    }
    off
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn even_light_and_a_wide_step_s_far_side_are_off_by_nothing_and_a_line_by_nearly_all() {
        let (width, height) = (120, 80);
        let mut light = vec![1000_i16; width * height];
        for y in 0..height {
            light[y * width + 60] = 2000;
        }
        let off = off_strip(&light, width, height);
        let at = |x: usize, y: usize| off[y * width + x];
        assert_eq!((at(10, 40), at(110, 0)), (0, 0));
        // One column in 29 lifts the mean by 1000 / 29.
        assert_eq!((at(60, 40), at(50, 40)), (966, -34));
        assert_eq!(at(60, 79), 966, "the border counts on");
    }
}
