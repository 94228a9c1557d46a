//! White paper: a surface of its light, followed into films and soft shadows.

use super::super::light::luminance;
use super::super::window::WindowImage;
use super::Ground;
use super::blocks::Blocks;
use super::fill::fill_unseen;
use crate::order;

/// The gentlest step that stops the walk over white paper, as a share of the paper's light, between neighbouring blocks.
const WHITE_STEP: f32 = 0.035;

pub(super) fn white_ground(blocks: &Blocks, window: &WindowImage, table: &[f32; 256]) -> Ground {
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
    ground
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
