//! The window over its white paper, as the network is shown it: without its hard shadows, a large one strip by strip.

use std::ops::Range;

use multiversion::multiversion;

use super::ground::{Ground, GroundRows};
use super::hard_shadow::{self, HardShadow};
use super::light::{linear_table, to_light};
use super::network::{Answer, Features, LightRow, light_row};
use super::rim::{LightMap, PAPER};
use super::window::WindowImage;

/// What the network was shown and what it answered.
pub struct Seen {
    /// Its answer.
    pub answer: Answer,
    /// The light over the paper's, hard shadows lit again.
    pub light: LightMap,
    /// The hard shadows that were lit again, if there were any.
    pub hard_shadow: Option<HardShadow>,
}

/// Shows the window over its white paper to the network, without its hard shadows.
pub fn look(window: &WindowImage, ground: &Ground) -> Seen {
    let (width, height) = (window.width_px as usize, window.height_px as usize);
    let over = OverPaper { window, ground, table: linear_table() };
    let mut light = LightMap { width, height, values: Vec::with_capacity(width * height) };
    let answer = over.answer(|y, row| {
        // Rows shown again with the next strip are known.
        if y * width == light.values.len() {
            let begun = light.values.len();
            light.values.resize(begun + width, 0);
            levels(row, &mut light.values[begun..]);
        }
    });
    let Some((lit_again, found)) = hard_shadow::lift(window, ground, &over.table, &mut light) else {
        return Seen { answer, light, hard_shadow: None };
    };
    drop(answer);
    let mut answer = over.answer(|y, row| {
        let lit = &lit_again[y * width..(y + 1) * width];
        for plane in row {
            plane.iter_mut().zip(lit).filter(|(_, lit)| **lit != 0).for_each(|(value, _)| *value = 1.0);
        }
    });
    hard_shadow::sweep(&mut answer.grain, width, &lit_again);
    Seen { answer, light, hard_shadow: Some(found) }
}

/// Light over paper in steps of a [`LightMap`].
#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn levels(row: &LightRow, out: &mut [u8]) {
    let width = out.len();
    let (red, green, blue) = (&row[0][..width], &row[1][..width], &row[2][..width]);
    for x in 0..width {
        out[x] = ((red[x] + 2.0 * green[x] + blue[x]) * 0.25 * PAPER).round().clamp(0.0, 255.0) as u8;
    }
}

#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn divide(light: &mut [f32], by: &[f32]) {
    light.iter_mut().zip(by).for_each(|(light, by)| *light /= by);
}

/// A window of up to [`WHOLE_IN_QUARTERS`] quarters of this many pixels (a card's has 2 to 7 million) is shown whole, a larger one in strips
/// of this many: what the network keeps in mind takes 14 bytes a pixel.
const STRIP_PX: usize = 2_000_000;
const WHOLE_IN_QUARTERS: usize = 15;
/// Rows beyond a strip that it is shown with. All begin on the blocks of 32 rows at half scale that the network halves in; beyond its own
/// block a row's answer rests on 95 rows at half scale: two blocks at the coarsest scale and one row at each of the five finer ones.
const BEYOND: usize = 192;

/// Rows that are answered, and rows that are shown for them.
struct Strip {
    rows: Range<usize>,
    shown: Range<usize>,
}

fn strips(width: usize, height: usize, strip_px: usize) -> Vec<Strip> {
    let whole = 4 * width * height <= WHOLE_IN_QUARTERS * strip_px;
    let many = if whole { height } else { (strip_px / width).next_multiple_of(64).max(BEYOND) };
    let strip = |top: usize| {
        let bottom = (top + many).min(height);
        Strip { rows: top..bottom, shown: top.saturating_sub(BEYOND)..(bottom + BEYOND).min(height) }
    };
    (0..height).step_by(many.max(1)).map(strip).collect()
}

struct OverPaper<'a> {
    window: &'a WindowImage,
    ground: &'a Ground,
    table: [f32; 256],
}

impl OverPaper<'_> {
    /// The network's answer; each row's light over paper is given to `pass` before it goes in, rows beyond a strip more than once.
    fn answer(&self, pass: impl FnMut(usize, &mut LightRow)) -> Answer {
        self.answer_in(STRIP_PX, pass)
    }

    fn answer_in(&self, strip_px: usize, mut pass: impl FnMut(usize, &mut LightRow)) -> Answer {
        let (width, height) = (self.window.width_px as usize, self.window.height_px as usize);
        let half_width = width.div_ceil(2);
        let mut whole = Answer { width, height, grain: Vec::new(), seam: Vec::new(), lump: Vec::new(), half_width };
        for Strip { rows, shown } in strips(width, height, strip_px) {
            let part = self.shown(&shown, &mut pass).answer();
            if rows.len() == height {
                return part;
            }
            let within = rows.start - shown.start..rows.end - shown.start;
            whole.grain.extend_from_slice(&part.grain[within.start * width..within.end * width]);
            whole.seam.extend_from_slice(&part.seam[within.start * width..within.end * width]);
            whole.lump.extend_from_slice(&part.lump[within.start / 2 * half_width..within.end.div_ceil(2) * half_width]);
        }
        whole
    }

    fn shown(&self, shown: &Range<usize>, pass: &mut impl FnMut(usize, &mut LightRow)) -> Features {
        let width = self.window.width_px as usize;
        let mut features = Features::new(width, shown.len());
        let mut paper: [GroundRows<'_>; 3] = std::array::from_fn(|c| self.ground.paper_rows(c, width));
        let mut level = vec![0.0; width];
        let mut rows = [light_row(width), light_row(width)];
        for half_row in 0..shown.len().div_ceil(2) {
            for (offset, out) in rows.iter_mut().enumerate() {
                let y = shown.start + 2 * half_row + offset;
                if y < shown.end {
                    self.row(y, &mut paper, &mut level, out);
                    pass(y, out);
                }
            }
            if shown.start + 2 * half_row + 1 >= shown.end {
                rows[1] = rows[0].clone();
            }
            features.set_rows(half_row, &mut rows);
        }
        features
    }

    fn row(&self, y: usize, paper: &mut [GroundRows<'_>; 3], level: &mut [f32], out: &mut LightRow) {
        let width = level.len();
        to_light(&self.window.rgb[3 * y * width..3 * (y + 1) * width], &self.table, out);
        for (out, paper) in out.iter_mut().zip(paper) {
            paper.row(y, level);
            divide(&mut out[..width], level);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::debris::ground::find_ground;
    use crate::debris::settings::GroundKind;

    /// White paper with dark, brown and pale discs; the same every time.
    fn paper(width: u32, height: u32) -> WindowImage {
        let mut rgb: Vec<u8> = (0..width * height).flat_map(|at| [214 + (at % 7) as u8; 3]).collect();
        let mut state = 3_u64;
        let mut random = |below: u32| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as u32 % below
        };
        for _ in 0..160 {
            let (x, y, radius) = (random(width) as i64, random(height) as i64, 3 + i64::from(random(20)));
            let colour = [[60, 62, 66], [140, 105, 70], [190, 180, 170]][random(3) as usize];
            for (dx, dy) in (-radius..=radius).flat_map(|dx| (-radius..=radius).map(move |dy| (dx, dy))) {
                let inside = dx * dx + dy * dy <= radius * radius && (0..i64::from(width)).contains(&(x + dx));
                if inside && (0..i64::from(height)).contains(&(y + dy)) {
                    let at = 3 * ((y + dy) * i64::from(width) + x + dx) as usize;
                    rgb[at..at + 3].copy_from_slice(&colour);
                }
            }
        }
        WindowImage { width_px: width, height_px: height, px_per_mm: 20.0, rgb, white: None, edge_sigma_px: None, sight: None }
    }

    #[test]
    fn strips_answer_what_the_whole_answers() {
        let window = paper(420, 1337);
        let ground = find_ground(&window, GroundKind::White).unwrap();
        let over = OverPaper { window: &window, ground: &ground, table: linear_table() };
        assert!(strips(420, 1337, 420 * 320).len() == 5);
        let whole = over.answer_in(1 << 40, |_, _| ());
        let parts = over.answer_in(420 * 320, |_, _| ());
        assert!(whole.grain.iter().filter(|logit| **logit > 0).count() > 10_000);
        assert!(whole.grain == parts.grain && whole.seam == parts.seam && whole.lump == parts.lump);
    }

    #[test]
    fn every_row_is_answered_once_and_strips_begin_on_whole_blocks() {
        for (width, height, strip_px) in [(4000, 3000, STRIP_PX), (1, 9_000_000, STRIP_PX), (6, 5, STRIP_PX), (999, 2001, 300_000)] {
            let found = strips(width, height, strip_px);
            assert!(found.iter().flat_map(|strip| strip.rows.clone()).eq(0..height));
            assert!(found.iter().all(|strip| strip.shown.start % 64 == 0));
        }
    }
}
