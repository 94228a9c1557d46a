//! The ground that the grains lie on, as a smooth field per channel.
//!
//! White paper (a card): a quadratic surface is fitted to the bright, colourless part of the window, then followed into
//! films and soft shadows by walking from block to block as long as the steps stay gentle. Grains have steep edges and stop
//! the walk; the field under them is filled in from their surroundings.
//!
//! Any plain ground (no card): the largest connected area without steep steps, if there is one that runs through the whole
//! picture and is even enough. A heap of grains has none.

use std::ops::Range;

use multiversion::multiversion;

use super::settings::GroundKind;
use super::window::WindowImage;
use crate::error::CoreError;
use crate::order;

/// The ground under a window.
#[derive(Debug, Clone)]
pub struct Ground {
    /// True for white paper: levels are linear light and departures are shares of them. False for a plain ground: levels
    /// are sRGB values over 255 and departures are differences.
    pub white: bool,
    /// Side of a block, px.
    pub block_px: usize,
    /// Blocks along a row.
    pub columns: usize,
    /// Rows of blocks.
    pub rows: usize,
    /// Level of each channel in each block.
    pub level: [Vec<f32>; 3],
    /// White paper only: the light of clean, open paper in each block, without the films and shadows that `level` follows.
    pub paper: [Vec<f32>; 3],
    /// White paper only: luminance of each block over that of clean, open paper.
    pub light: Vec<f32>,
    /// Where ground is seen.
    pub seen: Vec<bool>,
    /// Share of the blocks where ground is seen, 0 to 1.
    pub seen_share: f64,
}

/// sRGB byte to linear light (IEC 61966-2-1), 0 to 1.
pub fn linear_table() -> [f32; 256] {
    std::array::from_fn(|byte| {
        let value = byte as f64 / 255.0;
        let linear = if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) };
        // Rounded so that the last bit of a platform's power function cannot reach an answer.
        ((linear * 1e6).round() / 1e6) as f32
    })
}

/// Light of pixels, each colour apart.
pub(super) fn to_light(rgb: &[u8], table: &[f32; 256], [red, green, blue]: &mut [Vec<f32>; 3]) {
    let light = red.iter_mut().zip(green).zip(blue);
    for ([r, g, b], ((red, green), blue)) in rgb.as_chunks::<3>().0.iter().zip(light) {
        *red = table[usize::from(*r)];
        *green = table[usize::from(*g)];
        *blue = table[usize::from(*b)];
    }
}

/// Weights of red, green and blue in luminance (IEC 61966-2-1).
pub const LUMINANCE: [f32; 3] = [0.2126, 0.7152, 0.0722];

fn luminance(v: [f32; 3]) -> f32 {
    LUMINANCE[0] * v[0] + LUMINANCE[1] * v[1] + LUMINANCE[2] * v[2]
}

/// Estimates the ground.
///
/// # Errors
/// `too_crowded` where no ground is seen between the grains.
pub fn find_ground(window: &WindowImage, kind: GroundKind) -> Result<Ground, CoreError> {
    let on_white = || {
        let table = linear_table();
        let blocks = Blocks::new(window, &table, true);
        white_ground(&blocks, window, &table)
    };
    let on_plain = || plain_ground(&Blocks::new(window, &std::array::from_fn(|byte| byte as f32 / 255.0), false));
    match kind {
        GroundKind::White => on_white(),
        GroundKind::Plain => on_plain(),
        GroundKind::Auto if window.white.is_some() => on_white(),
        GroundKind::Auto => on_white().ok().filter(Ground::is_paper).map_or_else(on_plain, Ok),
    }
}

/// The refusal of a window without visible ground.
pub fn too_crowded(reason: String) -> CoreError {
    CoreError::refused(
        "too_crowded",
        reason,
        "this much is itself an answer: at least sand. To size the grains, spread a quarter of it, so that ground shows between them",
    )
}

/// A block whose brighter half is lighter than its mean by no more than this factor is even.
const EVEN_BLOCK: f32 = 1.04;

/// Some rows of the window in light, each colour apart, and their luminance.
#[derive(Default)]
struct Band {
    colours: [Vec<f32>; 3],
    light: Vec<f32>,
}

impl Band {
    fn take(&mut self, rgb: &[u8], table: &[f32; 256]) {
        self.colours.iter_mut().chain([&mut self.light]).for_each(|values| values.resize(rgb.len() / 3, 0.0));
        to_light(rgb, table, &mut self.colours);
        luminances(&self.colours, &mut self.light);
    }

    /// The pixels of `columns` of all rows; a row has `width` pixels.
    fn block(&self, width: usize, columns: Range<usize>) -> Block<'_> {
        Block { band: self, width, columns }
    }
}

/// One block of a [`Band`].
struct Block<'a> {
    band: &'a Band,
    width: usize,
    columns: Range<usize>,
}

impl Block<'_> {
    /// Rows of red, green, blue and luminance.
    fn rows(&self) -> impl Iterator<Item = [&[f32]; 4]> {
        let Self { band, width, columns } = self;
        let [red, green, blue] = &band.colours;
        (0..band.light.len() / width).map(move |row| {
            let range = row * width + columns.start..row * width + columns.end;
            [&red[range.clone()], &green[range.clone()], &blue[range.clone()], &band.light[range]]
        })
    }

    fn mean_and_lightest(&self) -> ([f32; 3], f32) {
        let (mut sum, mut lightest, mut count) = ([0.0_f32; 3], 0.0_f32, 0_usize);
        for [red, green, blue, light] in self.rows() {
            for x in 0..light.len() {
                sum = [sum[0] + red[x], sum[1] + green[x], sum[2] + blue[x]];
                lightest = lightest.max(light[x]);
            }
            count += light.len();
        }
        (sum.map(|value| value / count.max(1) as f32), lightest)
    }

    /// Mean of the pixels at least this light.
    fn mean_from(&self, at_least: f32) -> [f32; 3] {
        let (mut sum, mut count) = ([0.0_f32; 3], 0.0_f32);
        for [red, green, blue, light] in self.rows() {
            for x in (0..light.len()).filter(|x| light[*x] >= at_least) {
                sum = [sum[0] + red[x], sum[1] + green[x], sum[2] + blue[x]];
                count += 1.0;
            }
        }
        sum.map(|value| value / count.max(1.0))
    }
}

#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn luminances(colours: &[Vec<f32>; 3], light: &mut [f32]) {
    let count = light.len();
    let (red, green, blue) = (&colours[0][..count], &colours[1][..count], &colours[2][..count]);
    for x in 0..count {
        light[x] = LUMINANCE[0] * red[x] + LUMINANCE[1] * green[x] + LUMINANCE[2] * blue[x];
    }
}

/// The window in square blocks.
struct Blocks {
    side: usize,
    columns: usize,
    rows: usize,
    values: Vec<[f32; 3]>,
}

impl Blocks {
    /// On white each block gives the mean of its brighter half: where grains cover a part of it, that is the paper.
    fn new(window: &WindowImage, table: &[f32; 256], brighter_half: bool) -> Self {
        let (width, height) = (window.width_px as usize, window.height_px as usize);
        let side = (width.min(height) / 360).clamp(1, 16);
        let (columns, rows) = (width.div_ceil(side), height.div_ceil(side));
        let mut values = Vec::with_capacity(columns * rows);
        let mut band = Band::default();
        for lines in window.rgb.chunks(3 * width * side) {
            band.take(lines, table);
            values.extend((0..columns).map(|column| {
                let block = band.block(width, column * side..((column + 1) * side).min(width));
                let (mean, lightest) = block.mean_and_lightest();
                if !brighter_half || side == 1 {
                    return mean;
                }
                // An even block is taken whole: the brighter half of mere noise lies above the paper.
                let even = |light: f32| light / luminance(mean).max(1e-4) < EVEN_BLOCK;
                if even(lightest) {
                    return mean;
                }
                let upper = luminance(block.mean_from(luminance(mean)));
                if even(upper) { mean } else { block.mean_from(upper * 0.97) }
            }));
        }
        Self { side, columns, rows, values }
    }

    fn neighbours(&self, index: usize) -> impl Iterator<Item = usize> + use<> {
        let (columns, rows) = (self.columns, self.rows);
        let (x, y) = (index % columns, index / columns);
        let left = (x > 0).then(|| index - 1);
        let right = (x + 1 < columns).then_some(index + 1);
        let up = (y > 0).then(|| index - columns);
        let down = (y + 1 < rows).then_some(index + columns);
        [left, right, up, down].into_iter().flatten()
    }

    fn ground(&self, white: bool, level: [Vec<f32>; 3], seen: Vec<bool>) -> Ground {
        let share = seen.iter().filter(|is| **is).count() as f64 / seen.len() as f64;
        let paper = Default::default();
        Ground {
            white,
            block_px: self.side,
            columns: self.columns,
            rows: self.rows,
            level,
            paper,
            light: Vec::new(),
            seen,
            seen_share: share,
        }
    }
}

/// The gentlest step that stops the walk over white paper, as a share of the paper's light, between neighbouring blocks.
const WHITE_STEP: f32 = 0.035;

fn white_ground(blocks: &Blocks, window: &WindowImage, table: &[f32; 256]) -> Result<Ground, CoreError> {
    let start = match window.white {
        Some(white) => white.map(|value| table[value.round().clamp(0.0, 255.0) as usize].max(0.01)),
        None => bright_mode(blocks),
    };
    let surface = white_surface(blocks, start);
    let at: Vec<[f32; 3]> = (0..blocks.values.len()).map(|index| surface.at(index % blocks.columns, index / blocks.columns)).collect();
    let open: Vec<[f32; 3]> = at.iter().map(|at| std::array::from_fn(|c| start[c] * at[c])).collect();
    let ratio: Vec<[f32; 3]> =
        blocks.values.iter().zip(&open).map(|(value, open)| std::array::from_fn(|c| value[c] / open[c].max(1e-3))).collect();
    let tint = |r: [f32; 3]| (r[0] - r[1]).abs().max((r[2] - r[1]).abs());
    let mut seen = vec![false; ratio.len()];
    let mut queue: Vec<usize> = Vec::new();
    for (index, r) in ratio.iter().enumerate() {
        if (luminance(*r) - 1.0).abs() < 0.04 && tint(*r) < 0.05 {
            seen[index] = true;
            queue.push(index);
        }
    }
    while let Some(index) = queue.pop() {
        let here = ratio[index];
        for next in blocks.neighbours(index) {
            let there = ratio[next];
            let step = (luminance(there) - luminance(here)).abs();
            let colour = ((there[0] - there[1]) - (here[0] - here[1])).abs().max(((there[2] - there[1]) - (here[2] - here[1])).abs());
            if !seen[next] && step < WHITE_STEP && colour < WHITE_STEP && (0.5..1.2).contains(&luminance(there)) && tint(there) < 0.15 {
                seen[next] = true;
                queue.push(next);
            }
        }
    }
    let level = std::array::from_fn(|c| {
        let values: Vec<f32> = ratio.iter().map(|r| r[c]).collect();
        let filled = fill_unseen(&values, &seen, blocks.columns, blocks.rows);
        filled.iter().zip(&at).map(|(filled, at)| (filled * start[c] * at[c]).max(1e-3)).collect()
    });
    let mut ground = blocks.ground(true, level, seen);
    ground.light = ratio.iter().map(|r| luminance(*r)).collect();
    ground.paper = std::array::from_fn(|c| open.iter().map(|open| open[c].max(1e-3)).collect());
    if ground.seen_share < 0.2 {
        let percent = 100.0 * ground.seen_share;
        return Err(too_crowded(format!("the white ground shows on {percent:.0} % of the window only, at least 20 % is needed")));
    }
    Ok(ground)
}

/// The commonest level among the bright blocks, where no card tells what white is.
fn bright_mode(blocks: &Blocks) -> [f32; 3] {
    let mut order: Vec<usize> = (0..blocks.values.len()).collect();
    order::by_number(&mut order, |index| f64::from(luminance(blocks.values[*index])));
    let bright = luminance(blocks.values[order[order.len() * 9 / 10]]);
    let near: Vec<[f32; 3]> =
        blocks.values.iter().copied().filter(|value| (luminance(*value) / bright.max(1e-3) - 1.0).abs() < 0.1).collect();
    let sum = near.iter().fold([0.0_f32; 3], |sum, value| std::array::from_fn(|c| sum[c] + value[c]));
    sum.map(|value| (value / near.len().max(1) as f32).max(0.01))
}

/// A quadratic surface for each channel over the unit square.
struct Surface {
    columns: f32,
    rows: f32,
    terms: [[f32; 6]; 3],
}

impl Surface {
    fn basis(&self, x: usize, y: usize) -> [f32; 6] {
        let (u, v) = (2.0 * (x as f32 + 0.5) / self.columns - 1.0, 2.0 * (y as f32 + 0.5) / self.rows - 1.0);
        [1.0, u, v, u * u, u * v, v * v]
    }

    fn at(&self, x: usize, y: usize) -> [f32; 3] {
        let basis = self.basis(x, y);
        std::array::from_fn(|c| basis.iter().zip(self.terms[c]).map(|(b, t)| b * t).sum())
    }
}

/// About so many blocks along the window's shorter side are fitted.
const FITTED_ALONG: usize = 180;

/// Fits the paper's light, relative to `start`: first to the brighter colourless blocks of each tile, then twice to all
/// blocks near that surface.
fn white_surface(blocks: &Blocks, start: [f32; 3]) -> Surface {
    let mut surface = Surface { columns: blocks.columns as f32, rows: blocks.rows as f32, terms: [[1.0, 0.0, 0.0, 0.0, 0.0, 0.0]; 3] };
    let relative: Vec<[f32; 3]> = blocks.values.iter().map(|value| std::array::from_fn(|c| value[c] / start[c])).collect();
    const TILES: usize = 8;
    let mut chosen: Vec<usize> = Vec::new();
    for tile_y in 0..TILES {
        for tile_x in 0..TILES {
            let mut members: Vec<(f32, usize)> = Vec::new();
            for y in tile_y * blocks.rows / TILES..(tile_y + 1) * blocks.rows / TILES {
                for x in tile_x * blocks.columns / TILES..(tile_x + 1) * blocks.columns / TILES {
                    let index = y * blocks.columns + x;
                    let r = relative[index];
                    let light = luminance(r);
                    if (0.4..1.7).contains(&light) && (r[0] - r[1]).abs().max((r[2] - r[1]).abs()) < 0.12 * light {
                        members.push((light, index));
                    }
                }
            }
            if members.len() < 8 {
                continue;
            }
            // Paper is the brightest colourless thing but for glints: take what lies near the upper quarter.
            chosen.extend(between(&mut members, 0.65, 0.9));
        }
    }
    fit(&mut surface, &chosen, &relative, blocks.columns);
    // Six terms do not need a hundred thousand blocks.
    let step = blocks.columns.min(blocks.rows).div_ceil(FITTED_ALONG).max(1);
    let some = (0..blocks.rows).step_by(step).flat_map(|y| (0..blocks.columns).step_by(step).map(move |x| y * blocks.columns + x));
    for tolerance in [0.08, 0.05, 0.04] {
        let near: Vec<usize> = some
            .clone()
            .filter(|index| {
                let at = luminance(surface.at(index % blocks.columns, index / blocks.columns)).max(1e-3);
                (luminance(relative[*index]) / at - 1.0).abs() < tolerance
            })
            .collect();
        fit(&mut surface, &near, &relative, blocks.columns);
    }
    surface
}

/// Those of the members whose place in the order of their light lies between two shares of all, in the order of their index.
fn between(members: &mut [(f32, usize)], from: f64, to: f64) -> Vec<usize> {
    let place = |share: f64| (members.len() as f64 * share) as usize;
    let (from, to) = (place(from), place(to));
    let order = |a: &(f32, usize), b: &(f32, usize)| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1));
    let (below, ..) = members.select_nth_unstable_by(to, order);
    let (_, first, above) = below.select_nth_unstable_by(from, order);
    let mut chosen: Vec<usize> = above.iter().map(|(_, index)| *index).chain([first.1]).collect();
    chosen.sort_unstable();
    chosen
}

/// Least squares; leaves the surface as it is where too few blocks are given or they lie on a line.
fn fit(surface: &mut Surface, members: &[usize], relative: &[[f32; 3]], columns: usize) {
    if members.len() < 30 {
        return;
    }
    let mut normal = nalgebra::SMatrix::<f64, 6, 6>::zeros();
    let mut right = nalgebra::SMatrix::<f64, 6, 3>::zeros();
    for index in members {
        let basis = surface.basis(index % columns, index / columns).map(f64::from);
        let value = relative[*index].map(f64::from);
        for i in 0..6 {
            for j in 0..=i {
                normal[(i, j)] += basis[i] * basis[j];
            }
            for c in 0..3 {
                right[(i, c)] += basis[i] * value[c];
            }
        }
    }
    // A touch of ridge on the slopes keeps a window seen in one corner only from running away at the others.
    for i in 1..6 {
        normal[(i, i)] += 1e-4 * members.len() as f64;
    }
    normal.fill_upper_triangle_with_lower_triangle();
    if let Some(solution) = normal.cholesky().map(|factor| factor.solve(&right)) {
        for c in 0..3 {
            for i in 0..6 {
                surface.terms[c][i] = solution[(i, c)] as f32;
            }
        }
    }
}

/// Fills unseen places from the seen ones around them, over a pyramid of halved grids, and smooths the seen ones lightly.
fn fill_unseen(values: &[f32], seen: &[bool], columns: usize, rows: usize) -> Vec<f32> {
    let weights: Vec<f32> = (0..values.len())
        .map(|index| {
            let (x, y) = (index % columns, index / columns);
            let whole = (y.saturating_sub(1)..(y + 2).min(rows))
                .all(|ny| (x.saturating_sub(1)..(x + 2).min(columns)).all(|nx| seen[ny * columns + nx]));
            // Blocks beside a grain hold some of its blurred edge: they count little.
            if whole {
                1.0
            } else if seen[index] {
                0.02
            } else {
                0.0
            }
        })
        .collect();
    pull_push(values, &weights, columns, rows)
}

fn pull_push(values: &[f32], weights: &[f32], columns: usize, rows: usize) -> Vec<f32> {
    if columns <= 1 && rows <= 1 {
        return vec![if weights[0] > 0.0 { values[0] } else { 1.0 }];
    }
    let (half_columns, half_rows) = (columns.div_ceil(2), rows.div_ceil(2));
    let mut half_values = vec![0.0_f32; half_columns * half_rows];
    let mut half_weights = vec![0.0_f32; half_columns * half_rows];
    for y in 0..rows {
        for x in 0..columns {
            let (from, to) = (y * columns + x, (y / 2) * half_columns + x / 2);
            half_values[to] += values[from] * weights[from];
            half_weights[to] += weights[from];
        }
    }
    for (value, weight) in half_values.iter_mut().zip(&mut half_weights) {
        if *weight > 0.0 {
            *value /= *weight;
        }
        *weight = weight.min(1.0);
    }
    let coarse = pull_push(&half_values, &half_weights, half_columns, half_rows);
    let mut out = vec![0.0_f32; values.len()];
    for y in 0..rows {
        for x in 0..columns {
            let index = y * columns + x;
            let from = bilinear(&coarse, half_columns, half_rows, (x as f32 + 0.5) / 2.0 - 0.5, (y as f32 + 0.5) / 2.0 - 0.5);
            let weight = weights[index].min(1.0) * 0.7;
            out[index] = weight * values[index] + (1.0 - weight) * from;
        }
    }
    out
}

fn bilinear(values: &[f32], columns: usize, rows: usize, x: f32, y: f32) -> f32 {
    let (x, y) = (x.clamp(0.0, (columns - 1) as f32), y.clamp(0.0, (rows - 1) as f32));
    let (x0, y0) = (x as usize, y as usize);
    let (x1, y1) = ((x0 + 1).min(columns - 1), (y0 + 1).min(rows - 1));
    let (fx, fy) = (x - x0 as f32, y - y0 as f32);
    let upper = values[y0 * columns + x0] * (1.0 - fx) + values[y0 * columns + x1] * fx;
    let lower = values[y1 * columns + x0] * (1.0 - fx) + values[y1 * columns + x1] * fx;
    upper * (1.0 - fy) + lower * fy
}

impl Ground {
    /// What reads a channel's level along rows of `width` pixels.
    pub fn level_rows(&self, channel: usize, width: usize) -> GroundRows<'_> {
        self.rows_of(&self.level[channel], width)
    }

    /// The same of clean, open paper; white paper only.
    pub fn paper_rows(&self, channel: usize, width: usize) -> GroundRows<'_> {
        self.rows_of(&self.paper[channel], width)
    }

    fn rows_of<'a>(&'a self, level: &'a [f32], width: usize) -> GroundRows<'a> {
        let place = |x: usize| {
            let fx = ((x as f32 + 0.5) / self.block_px as f32 - 0.5).clamp(0.0, (self.columns - 1) as f32);
            (fx as u32, fx - fx.floor())
        };
        let none = || (usize::MAX, Vec::with_capacity(width));
        GroundRows { ground: self, level, places: (0..width).map(place).collect(), drawn: [none(), none()] }
    }

    /// Whether a ground that was followed as white is paper where no card says so: bright, colourless, and plainly seen through the window.
    fn is_paper(&self) -> bool {
        let middle = |c: usize| {
            let mut levels: Vec<f32> = self.paper[c].clone();
            let at = levels.len() / 2;
            *levels.select_nth_unstable_by(at, f32::total_cmp).1
        };
        let paper = [middle(0), middle(1), middle(2)];
        let light = luminance(paper);
        let tint = (paper[0] - paper[1]).abs().max((paper[2] - paper[1]).abs());
        self.seen_share >= PAPER_SHARE && light >= PAPER_LIGHT && tint <= PAPER_TINT * light
    }

    /// Whether ground is seen at a pixel (in its block).
    pub fn is_seen(&self, x: usize, y: usize) -> bool {
        self.seen[(y / self.block_px).min(self.rows - 1) * self.columns + (x / self.block_px).min(self.columns - 1)]
    }
}

/// Reads one of a ground's levels along rows of pixels, bilinear between block centres.
pub struct GroundRows<'a> {
    ground: &'a Ground,
    level: &'a [f32],
    /// The left block of each pixel, and how far the pixel lies towards the right one, 0 to 1.
    places: Vec<(u32, f32)>,
    /// Two rows of blocks, drawn out to pixels, and which they are.
    drawn: [(usize, Vec<f32>); 2],
}

impl GroundRows<'_> {
    /// The level along pixel row `y`, into `out` (one value a pixel).
    pub fn row(&mut self, y: usize, out: &mut [f32]) {
        let Ground { block_px, rows, .. } = self.ground;
        let fy = ((y as f32 + 0.5) / *block_px as f32 - 0.5).clamp(0.0, (rows - 1) as f32);
        let upper = fy as usize;
        let lower = (upper + 1).min(rows - 1);
        // Downwards the lower of two rows is soon the upper one.
        if self.drawn[0].0 != upper && self.drawn[1].0 == upper {
            self.drawn.swap(0, 1);
        }
        for (place, row) in [upper, lower].into_iter().enumerate() {
            if self.drawn[place].0 != row {
                self.draw(place, row);
            }
        }
        mix(&self.drawn[0].1, &self.drawn[1].1, fy - fy.floor(), out);
    }

    fn draw(&mut self, place: usize, row: usize) {
        let columns = self.ground.columns;
        let blocks = &self.level[row * columns..(row + 1) * columns];
        let (drawn, values) = &mut self.drawn[place];
        *drawn = row;
        values.clear();
        values.extend(self.places.iter().map(|(block, along)| {
            let left = *block as usize;
            blocks[left] * (1.0 - along) + blocks[(left + 1).min(columns - 1)] * along
        }));
    }
}

#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn mix(upper: &[f32], lower: &[f32], part: f32, out: &mut [f32]) {
    for (out, (upper, lower)) in out.iter_mut().zip(upper.iter().zip(lower)) {
        *out = upper * (1.0 - part) + lower * part;
    }
}

/// Paper that no card vouches for: seen on this share of the window, this bright (linear light; sRGB 170), and within this tint.
const PAPER_SHARE: f64 = 0.35;
const PAPER_LIGHT: f32 = 0.4;
const PAPER_TINT: f32 = 0.2;

/// A plain ground must run through this share of the picture, through this many of 16 tiles, and be this even.
const PLAIN_SHARE: f64 = 0.3;
const PLAIN_TILES: usize = 13;
const PLAIN_UNEVEN: f32 = 0.045;

fn plain_ground(blocks: &Blocks) -> Result<Ground, CoreError> {
    let smooth = smoothed(blocks);
    let (mut best, mut most_tiles, mut uneven) = (0.0_f64, 0, None);
    for step in [0.012_f32, 0.02, 0.03, 0.042] {
        let gentle: Vec<bool> = (0..smooth.len())
            .map(|index| {
                let here = smooth[index];
                blocks.neighbours(index).all(|next| (0..3).all(|c| (smooth[next][c] - here[c]).abs() < step))
            })
            .collect();
        let seen = largest_connected(blocks, &gentle);
        let share = seen.iter().filter(|is| **is).count() as f64 / seen.len() as f64;
        best = best.max(share);
        if share < PLAIN_SHARE {
            continue;
        }
        let tiles = tiles_touched(blocks, &seen);
        most_tiles = most_tiles.max(tiles);
        if tiles < PLAIN_TILES {
            continue;
        }
        let level: [Vec<f32>; 3] = std::array::from_fn(|c| {
            let values: Vec<f32> = blocks.values.iter().map(|value| value[c]).collect();
            coarse_level(&values, &seen, blocks)
        });
        let mut departures: Vec<f32> = (0..seen.len())
            .filter(|index| seen[*index])
            .map(|index| (luminance(blocks.values[index]) - luminance([level[0][index], level[1][index], level[2][index]])).abs())
            .collect();
        departures.sort_by(f32::total_cmp);
        let departure = departures[departures.len() * 3 / 4];
        if departure > PLAIN_UNEVEN {
            uneven = Some(departure);
            break;
        }
        return Ok(blocks.ground(false, level, seen));
    }
    let why = if let Some(departure) = uneven {
        format!("what lies between them varies by {:.1} % in light, more than {:.1} %", 100.0 * departure, 100.0 * PLAIN_UNEVEN)
    } else if best < PLAIN_SHARE {
        format!("the largest even area is {:.0} % of the picture, at least {:.0} % is needed", 100.0 * best, 100.0 * PLAIN_SHARE)
    } else {
        format!("the even area reaches {most_tiles} of 16 parts of the picture, at least {PLAIN_TILES} are needed")
    };
    Err(too_crowded(format!("no plain ground runs between the grains ({why})")))
}

/// A plain ground's light varies slowly: the level is averaged over a sixteenth of the picture's shorter side.
fn coarse_level(values: &[f32], seen: &[bool], blocks: &Blocks) -> Vec<f32> {
    let tile = (blocks.columns.min(blocks.rows) / 16).max(1);
    let (columns, rows) = (blocks.columns.div_ceil(tile), blocks.rows.div_ceil(tile));
    let mut members: Vec<Vec<f32>> = vec![Vec::new(); columns * rows];
    for (index, value) in values.iter().enumerate() {
        if seen[index] {
            members[(index / blocks.columns / tile) * columns + index % blocks.columns / tile].push(*value);
        }
    }
    let mut coarse = vec![0.0; members.len()];
    let mut weights = vec![0.0; members.len()];
    for (index, list) in members.iter_mut().enumerate() {
        list.sort_by(f32::total_cmp);
        if let Some(median) = list.get(list.len() / 2) {
            coarse[index] = *median;
            weights[index] = list.len() as f32 / (tile * tile) as f32;
        }
    }
    let filled = pull_push(&coarse, &weights, columns, rows);
    (0..values.len())
        .map(|index| {
            let (x, y) = ((index % blocks.columns) as f32 + 0.5, (index / blocks.columns) as f32 + 0.5);
            bilinear(&filled, columns, rows, x / tile as f32 - 0.5, y / tile as f32 - 0.5)
        })
        .collect()
}

fn smoothed(blocks: &Blocks) -> Vec<[f32; 3]> {
    let (columns, rows) = (blocks.columns, blocks.rows);
    (0..blocks.values.len())
        .map(|index| {
            let (x, y) = (index % columns, index / columns);
            let (mut sum, mut count) = ([0.0_f32; 3], 0.0_f32);
            for ny in y.saturating_sub(1)..(y + 2).min(rows) {
                for nx in x.saturating_sub(1)..(x + 2).min(columns) {
                    for c in 0..3 {
                        sum[c] += blocks.values[ny * columns + nx][c];
                    }
                    count += 1.0;
                }
            }
            sum.map(|value| value / count)
        })
        .collect()
}

fn largest_connected(blocks: &Blocks, member: &[bool]) -> Vec<bool> {
    let mut label = vec![0_u32; member.len()];
    let (mut best, mut best_size, mut next_label) = (0, 0, 0);
    let mut queue = Vec::new();
    for start in 0..member.len() {
        if !member[start] || label[start] != 0 {
            continue;
        }
        next_label += 1;
        label[start] = next_label;
        queue.push(start);
        let mut size = 0;
        while let Some(index) = queue.pop() {
            size += 1;
            for next in blocks.neighbours(index) {
                if member[next] && label[next] == 0 {
                    label[next] = next_label;
                    queue.push(next);
                }
            }
        }
        if size > best_size {
            (best, best_size) = (next_label, size);
        }
    }
    label.iter().map(|value| best != 0 && *value == best).collect()
}

fn tiles_touched(blocks: &Blocks, seen: &[bool]) -> usize {
    let mut touched = [false; 16];
    for (index, is_seen) in seen.iter().enumerate() {
        if *is_seen {
            touched[(index / blocks.columns) * 4 / blocks.rows * 4 + (index % blocks.columns) * 4 / blocks.columns] = true;
        }
    }
    touched.iter().filter(|is| **is).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_of_a_ground_are_bilinear_between_block_centres_in_any_order() {
        let (columns, rows, side) = (7, 5, 6);
        let level: Vec<f32> = (0..columns * rows).map(|at| (at * at % 11) as f32).collect();
        let blocks = Blocks { side, columns, rows, values: Vec::new() };
        let ground = blocks.ground(true, [level.clone(), Vec::new(), Vec::new()], vec![true; columns * rows]);
        // The last block is cut: 40 pixels are six blocks and four of the seventh's six pixels.
        let width = 40;
        let (mut reader, mut line) = (ground.level_rows(0, width), vec![0.0; width]);
        for y in (0..rows * side).chain([3, 29, 0, 12]) {
            reader.row(y, &mut line);
            for (x, found) in line.iter().enumerate() {
                let [u, v] = [x, y].map(|place| (place as f32 + 0.5) / side as f32 - 0.5);
                assert!((found - bilinear(&level, columns, rows, u, v)).abs() < 1e-5, "{x}, {y}");
            }
        }
    }
}
