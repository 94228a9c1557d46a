//! Any plain ground: the largest connected area without steep steps.

use super::super::light::luminance;
use super::blocks::Blocks;
use super::fill::{bilinear, pull_push};
use super::{Ground, too_crowded};
use crate::error::CoreError;

/// A plain ground must run through this share of the picture, through this many of 16 tiles, and be this even.
const PLAIN_SHARE: f64 = 0.3;
const PLAIN_TILES: usize = 13;
const PLAIN_UNEVEN: f32 = 0.045;

pub(super) fn plain_ground(blocks: &Blocks) -> Result<Ground, CoreError> {
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
