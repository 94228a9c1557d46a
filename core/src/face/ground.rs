//! The surface's own light everywhere on it: what it would look like without a mark.
//!
//! Light falls off, lamps shine, shadows lie. Blocks of pixels give their middle light; those that are of the surface's colour (or of it
//! under an even sheen) say what the light is around them. A block full of grit says nothing: its neighbours do.

use super::colour::lab_of_linear;
use super::light::LightTable;
use super::raster::Raster;
use super::reading::Surface;
use super::region::LEAST_CHROMA;

/// Blocks that a middle is taken over, on either side.
const REACH: usize = 5;
/// Least share of the blocks that have one hue for the surface to be a coloured one.
const OF_ONE_HUE: f64 = 0.25;
/// How far a block's colour may lie off the surface's, as the tangent of the angle between them in linear light.
const SAME_COLOUR: f32 = 0.18;
/// Spread of light within a block below which it is even: sheen, not grit.
const EVEN: f32 = 0.12;

/// Light of the bare surface, on a raster of blocks.
#[derive(Debug, Clone)]
pub(crate) struct Ground {
    block: usize,
    columns: usize,
    rows: usize,
    light: Vec<[f32; 3]>,
    /// What the surface is, by its colour.
    pub(crate) surface: Surface,
    /// Its colour where it is lit as usual, linear light over white.
    pub(crate) own: [f32; 3],
}

/// Middle light and spread of one block.
#[derive(Clone, Copy)]
struct Block {
    light: [f32; 3],
    spread: f32,
}

/// Learns the ground of a raster; `None` where nothing of it is inside.
pub(crate) fn learn(raster: &Raster, inside: &[u8], table: &LightTable, surface: Option<Surface>) -> Option<Ground> {
    let block = (raster.width.min(raster.height) / 60).clamp(6, 16);
    let (columns, rows) = (raster.width.div_ceil(block), raster.height.div_ceil(block));
    let blocks: Vec<Option<Block>> =
        (0..rows * columns).map(|index| middle(raster, inside, table, block, index % columns, index / columns)).collect();
    let known: Vec<Block> = blocks.iter().flatten().copied().collect();
    if known.is_empty() {
        return None;
    }
    let coloured = of_one_hue(&known);
    let surface =
        surface.unwrap_or(if coloured.len() as f64 >= OF_ONE_HUE * known.len() as f64 { Surface::Coloured } else { Surface::Metal });
    let of_it: Vec<[f32; 3]> = match surface {
        Surface::Coloured if !coloured.is_empty() => coloured,
        _ => known.iter().map(|block| block.light).collect(),
    };
    let own = medians(&of_it, 0.5)?;
    // Grey lies this far off the surface's colour. Sheen goes towards it, a grey part lies in it: half way is neither.
    let (along_grey, off_grey) = parts([1.0; 3], own);
    let to_grey = length(off_grey) / (along_grey * length(own)).max(1e-6);
    let speaks = |block: &Block| match surface {
        Surface::Metal => true,
        Surface::Coloured => {
            let (along, off) = parts(block.light, own);
            let away = length(off) / (along * length(own)).max(1e-6);
            let sheen = block.spread < EVEN && along > 0.9 && off.iter().sum::<f32>() > 0.0 && away < 0.5 * to_grey;
            away <= SAME_COLOUR.min(0.4 * to_grey) || sheen
        }
    };
    let speaking: Vec<Option<[f32; 3]>> = blocks.iter().map(|block| block.filter(|block| speaks(block)).map(|block| block.light)).collect();
    // Chips are darker than metal: its own light is a little above the middle.
    let quantile = if surface == Surface::Metal { 0.6 } else { 0.5 };
    let mut light = Vec::with_capacity(blocks.len());
    let mut near: Vec<[f32; 3]> = Vec::new();
    for row in 0..rows {
        for column in 0..columns {
            let mut reach = REACH;
            loop {
                near.clear();
                let (top, bottom) = (row.saturating_sub(reach), (row + reach).min(rows - 1));
                let (left, right) = (column.saturating_sub(reach), (column + reach).min(columns - 1));
                near.extend((top..=bottom).flat_map(|y| speaking[y * columns + left..=y * columns + right].iter().flatten()));
                if near.len() >= 8 || reach > rows.max(columns) {
                    break;
                }
                reach *= 2;
            }
            light.push(medians(&near, quantile).unwrap_or(own));
        }
    }
    Some(Ground { block, columns, rows, light, surface, own })
}

impl Ground {
    /// Light of the bare surface along a row of pixels.
    pub(crate) fn row(&self, y: usize, out: &mut [[f32; 3]]) {
        let place = |at: usize, count: usize| {
            let at = ((at as f32 + 0.5) / self.block as f32 - 0.5).clamp(0.0, (count - 1) as f32);
            let first = (at as usize).min(count.saturating_sub(2));
            (first, (first + 1).min(count - 1), at - first as f32)
        };
        let (upper, lower, down) = place(y, self.rows);
        for (x, out) in out.iter_mut().enumerate() {
            let (left, right, across) = place(x, self.columns);
            let at = |row: usize, column: usize| self.light[row * self.columns + column];
            let corners = [at(upper, left), at(upper, right), at(lower, left), at(lower, right)];
            *out = std::array::from_fn(|c| {
                let (above, below) =
                    (corners[0][c] + (corners[1][c] - corners[0][c]) * across, corners[2][c] + (corners[3][c] - corners[2][c]) * across);
                above + (below - above) * down
            });
        }
    }

    /// Light of the bare surface at a pixel.
    pub(crate) fn at(&self, x: usize, y: usize) -> [f32; 3] {
        self.light[(y / self.block).min(self.rows - 1) * self.columns + (x / self.block).min(self.columns - 1)]
    }
}

/// How far `light` lies along `own` (1 where it is as bright), and what is left over beside it.
#[inline]
pub(crate) fn parts(light: [f32; 3], own: [f32; 3]) -> (f32, [f32; 3]) {
    let along =
        (light[0] * own[0] + light[1] * own[1] + light[2] * own[2]) / (own[0] * own[0] + own[1] * own[1] + own[2] * own[2]).max(1e-9);
    (along, [light[0] - along * own[0], light[1] - along * own[1], light[2] - along * own[2]])
}

#[inline]
pub(crate) fn length(light: [f32; 3]) -> f32 {
    (light[0] * light[0] + light[1] * light[1] + light[2] * light[2]).sqrt()
}

/// Channel by channel the value with `quantile` of the others at or below it.
pub(crate) fn medians(of: &[[f32; 3]], quantile: f64) -> Option<[f32; 3]> {
    if of.is_empty() {
        return None;
    }
    let at = ((of.len() - 1) as f64 * quantile) as usize;
    Some([0, 1, 2].map(|channel| {
        let mut values: Vec<f32> = of.iter().map(|light| light[channel]).collect();
        *values.select_nth_unstable_by(at, f32::total_cmp).1
    }))
}

/// Middle of a block's pixels inside; `None` where fewer than a quarter are.
fn middle(raster: &Raster, inside: &[u8], table: &LightTable, block: usize, column: usize, row: usize) -> Option<Block> {
    let (left, top) = (column * block, row * block);
    let (right, bottom) = ((left + block).min(raster.width), (top + block).min(raster.height));
    let mut counts = [[0_u16; 256]; 3];
    let mut total = 0_u32;
    for y in top..bottom {
        for x in left..right {
            if inside[y * raster.width + x] != 0 {
                let at = (y * raster.width + x) * 3;
                for (counts, value) in counts.iter_mut().zip(&raster.rgb[at..at + 3]) {
                    counts[*value as usize] += 1;
                }
                total += 1;
            }
        }
    }
    if total * 4 < (block * block) as u32 {
        return None;
    }
    let quantile = |share: f64| {
        let pixel = [0, 1, 2].map(|channel| {
            let wanted = (f64::from(total) * share) as u32;
            let mut seen = 0;
            counts[channel]
                .iter()
                .position(|count| {
                    seen += u32::from(*count);
                    seen > wanted
                })
                .unwrap_or(255) as u8
        });
        table.of(pixel)
    };
    let (low, light, high) = (quantile(0.2), quantile(0.5), quantile(0.8));
    let level = (light[0] + light[1] + light[2]).max(0.02);
    let spread = (0..3).map(|c| (high[c] - low[c]) * 3.0 / level).fold(0.0, f32::max);
    Some(Block { light, spread })
}

/// The blocks of the commonest hue, by chroma.
fn of_one_hue(blocks: &[Block]) -> Vec<[f32; 3]> {
    const BINS: usize = 72;
    let coloured: Vec<(f64, f64, [f32; 3])> = blocks
        .iter()
        .map(|block| (lab_of_linear(block.light.map(f64::from)), block.light))
        .filter(|(lab, _)| lab.chroma() >= LEAST_CHROMA)
        .map(|(lab, light)| (lab.b.atan2(lab.a).to_degrees().rem_euclid(360.0), lab.chroma(), light))
        .collect();
    let mut counts = [0.0_f64; BINS];
    for (hue, chroma, _) in &coloured {
        counts[(hue / 360.0 * BINS as f64) as usize % BINS] += chroma;
    }
    let smoothed = |bin: usize| (0..5).map(|at| counts[(bin + BINS + at - 2) % BINS]).sum::<f64>();
    let Some(mode) = (0..BINS).max_by(|a, b| smoothed(*a).total_cmp(&smoothed(*b))) else { return Vec::new() };
    let middle = (mode as f64 + 0.5) * 360.0 / BINS as f64;
    coloured
        .into_iter()
        .filter(|(hue, ..)| ((hue - middle + 540.0).rem_euclid(360.0) - 180.0).abs() < 22.0)
        .map(|(.., light)| light)
        .collect()
}
