//! Touching grains: cut at their necks.
//!
//! A flood over the exact Euclidean distance transform, deepest pixels first. Where two basins meet, they become one unless
//! the neck is narrow against the smaller grain. Each cut is then weighed again: it stays only where it leaves pieces that
//! are clearly more convex than the whole, so that a single angular grain is not cut.

use super::measure::Mask;
use super::settings::ReadSettings;

/// Splits a patch into grains; gives the patch back alone where nothing speaks for a cut.
pub fn split(mask: Mask, settings: &ReadSettings) -> Vec<Mask> {
    let area = mask.area();
    let solidity = area as f64 / mask.convex_area().max(1.0);
    if solidity > 0.97 || area < 24 {
        return vec![mask];
    }
    let depth = squared_distance(&mask).into_iter().map(f32::sqrt).collect::<Vec<f32>>();
    let basins = flood(&mask, &depth, settings.split_neck_share as f32);
    if basins.count < 2 {
        return vec![mask];
    }
    let kept = weigh_cuts(&mask, &basins, settings);
    pieces(&mask, &kept)
}

/// Squared distance of each inside pixel's centre to the nearest outside pixel's centre, px2 (Felzenszwalb and Huttenlocher 2012).
pub fn squared_distance(mask: &Mask) -> Vec<f32> {
    let (width, height) = (mask.width, mask.height);
    const FAR: f32 = 1e12;
    let mut grid: Vec<f32> = mask.inside.iter().map(|value| if *value == 0 { 0.0 } else { FAR }).collect();
    let longest = width.max(height);
    let (mut line, mut out) = (vec![0.0_f32; longest], vec![0.0_f32; longest]);
    let (mut apex, mut border) = (vec![0_usize; longest], vec![0.0_f32; longest + 1]);
    // Columns by two sweeps: distances along a column are whole numbers.
    for x in 0..width {
        let mut run = 0.0_f32;
        for y in 0..height {
            run = if mask.inside[y * width + x] == 0 { 0.0 } else { run + 1.0 };
            grid[y * width + x] = run;
        }
        run = 0.0;
        for y in (0..height).rev() {
            run = if mask.inside[y * width + x] == 0 { 0.0 } else { run + 1.0 };
            let least = run.min(grid[y * width + x]);
            grid[y * width + x] = least * least;
        }
    }
    for row in grid.chunks_exact_mut(width) {
        line[..width].copy_from_slice(row);
        lower_envelope(&line[..width], &mut out[..width], &mut apex, &mut border);
        row.copy_from_slice(&out[..width]);
    }
    grid
}

fn lower_envelope(values: &[f32], out: &mut [f32], apex: &mut [usize], border: &mut [f32]) {
    let mut top = 0;
    apex[0] = 0;
    border[0] = f32::NEG_INFINITY;
    border[1] = f32::INFINITY;
    for q in 1..values.len() {
        loop {
            let p = apex[top];
            let crossing = ((values[q] + (q * q) as f32) - (values[p] + (p * p) as f32)) / (2 * (q - p)) as f32;
            if crossing <= border[top] && top > 0 {
                top -= 1;
                continue;
            }
            top += 1;
            apex[top] = q;
            border[top] = crossing;
            border[top + 1] = f32::INFINITY;
            break;
        }
    }
    let mut k = 0;
    for (q, value) in out.iter_mut().enumerate() {
        while border[k + 1] < q as f32 {
            k += 1;
        }
        let gap = q.abs_diff(apex[k]);
        *value = (gap * gap) as f32 + values[apex[k]];
    }
}

/// Basins of the flood: a label from 1 for each inside pixel, 0 outside.
struct Basins {
    label: Vec<u32>,
    count: usize,
}

/// Pixels by falling depth; a pixel joins the deepest basin beside it and joins basins whose neck here is wide.
fn flood(mask: &Mask, depth: &[f32], neck_share: f32) -> Basins {
    let mut order: Vec<u32> = (0..mask.inside.len() as u32).filter(|index| mask.inside[*index as usize] != 0).collect();
    order.sort_unstable_by(|a, b| depth[*b as usize].total_cmp(&depth[*a as usize]).then(a.cmp(b)));
    let mut label = vec![0_u32; mask.inside.len()];
    let mut parent: Vec<u32> = vec![0];
    let mut peak: Vec<f32> = vec![0.0];
    let find = |parent: &mut Vec<u32>, mut at: u32| {
        while parent[at as usize] != at {
            parent[at as usize] = parent[parent[at as usize] as usize];
            at = parent[at as usize];
        }
        at
    };
    let width = mask.width;
    for index in order {
        let index = index as usize;
        let here = depth[index];
        let near = [
            index - 1,
            index + 1,
            index - width,
            index + width,
            index - width - 1,
            index - width + 1,
            index + width - 1,
            index + width + 1,
        ];
        let mut own = 0_u32;
        let mut deepest = 0.0;
        for other in near {
            if label[other] != 0 && depth[other] > deepest {
                deepest = depth[other];
                own = label[other];
            }
        }
        if own == 0 {
            own = parent.len() as u32;
            parent.push(own);
            peak.push(here);
            label[index] = own;
            continue;
        }
        label[index] = own;
        let mut mine = find(&mut parent, own);
        for other in near {
            if label[other] == 0 {
                continue;
            }
            let theirs = find(&mut parent, label[other]);
            if theirs == mine {
                continue;
            }
            let lower = peak[mine as usize].min(peak[theirs as usize]);
            // Half a pixel of depth is raster noise, whatever the share.
            if here >= neck_share * lower || lower - here < 0.6 {
                let (keep, drop) = if peak[mine as usize] >= peak[theirs as usize] { (mine, theirs) } else { (theirs, mine) };
                parent[drop as usize] = keep;
                mine = keep;
            }
        }
    }
    let mut number = vec![0_u32; parent.len()];
    let mut count = 0;
    for value in &mut label {
        if *value != 0 {
            let top = find(&mut parent, *value) as usize;
            if number[top] == 0 {
                count += 1;
                number[top] = count;
            }
            *value = number[top];
        }
    }
    Basins { label, count: count as usize }
}

/// Joins basins again whose cut gains too little, weakest cut first; gives each basin's final label.
fn weigh_cuts(mask: &Mask, basins: &Basins, settings: &ReadSettings) -> Basins {
    let mut group: Vec<u32> = (0..=basins.count as u32).collect();
    loop {
        let parts = group_masks(mask, basins, &group);
        let mut pairs: Vec<(u32, u32)> = Vec::new();
        let width = mask.width;
        for index in 0..basins.label.len() - width {
            let here = group[basins.label[index] as usize];
            for other in [index + 1, index + width] {
                let there = group[basins.label[other] as usize];
                if here != 0 && there != 0 && here != there {
                    pairs.push((here.min(there), here.max(there)));
                }
            }
        }
        pairs.sort_unstable();
        pairs.dedup();
        let mut weakest: Option<(f64, (u32, u32))> = None;
        for pair in pairs {
            let (Some(a), Some(b)) = (&parts[pair.0 as usize], &parts[pair.1 as usize]) else { continue };
            let gain = gain_of_cut(a, b);
            if gain < settings.split_solidity_gain && weakest.is_none_or(|(least, _)| gain < least) {
                weakest = Some((gain, pair));
            }
        }
        let Some((_, (keep, drop))) = weakest else { break };
        for label in &mut group {
            if *label == drop {
                *label = keep;
            }
        }
    }
    Basins { label: basins.label.iter().map(|label| group[*label as usize]).collect(), count: basins.count }
}

/// How much more convex two pieces are than their union: area-weighted solidity of the pieces minus that of the union.
fn gain_of_cut(a: &Mask, b: &Mask) -> f64 {
    let (area_a, area_b) = (a.area() as f64, b.area() as f64);
    let apart = (area_a * (area_a / a.convex_area()) + area_b * (area_b / b.convex_area())) / (area_a + area_b);
    let left = a.left.min(b.left) + 1;
    let top = a.top.min(b.top) + 1;
    let right = (a.left + a.width as i32).max(b.left + b.width as i32) - 1;
    let bottom = (a.top + a.height as i32).max(b.top + b.height as i32) - 1;
    let mut union = Mask::empty(left, top, (right - left) as usize, (bottom - top) as usize);
    for part in [a, b] {
        for row in 0..part.height {
            let to = (part.top - union.top) as usize + row;
            for column in 0..part.width {
                if part.inside[row * part.width + column] != 0 {
                    union.inside[to * union.width + (part.left - union.left) as usize + column] = 1;
                }
            }
        }
    }
    apart - (area_a + area_b) / union.convex_area()
}

fn group_masks(mask: &Mask, basins: &Basins, group: &[u32]) -> Vec<Option<Mask>> {
    let mut boxes = vec![[usize::MAX, usize::MAX, 0, 0]; basins.count + 1];
    for (index, label) in basins.label.iter().enumerate() {
        if *label != 0 {
            let at = &mut boxes[group[*label as usize] as usize];
            let (x, y) = (index % mask.width, index / mask.width);
            *at = [at[0].min(x), at[1].min(y), at[2].max(x + 1), at[3].max(y + 1)];
        }
    }
    let mut masks: Vec<Option<Mask>> = boxes
        .iter()
        .map(|[left, top, right, bottom]| {
            (right > left).then(|| Mask::empty(mask.left + *left as i32, mask.top + *top as i32, right - left, bottom - top))
        })
        .collect();
    for (index, label) in basins.label.iter().enumerate() {
        if *label != 0
            && let Some(part) = &mut masks[group[*label as usize] as usize]
        {
            let x = (mask.left + (index % mask.width) as i32 - part.left) as usize;
            let y = (mask.top + (index / mask.width) as i32 - part.top) as usize;
            part.inside[y * part.width + x] = 1;
        }
    }
    masks
}

fn pieces(mask: &Mask, basins: &Basins) -> Vec<Mask> {
    let group: Vec<u32> = (0..=basins.count as u32).collect();
    group_masks(mask, basins, &group).into_iter().flatten().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn union_of(width: usize, height: usize, inside: impl Fn(f64, f64) -> bool) -> Mask {
        let mut mask = Mask::empty(0, 0, width, height);
        for y in 0..height {
            for x in 0..width {
                mask.inside[(y + 1) * mask.width + x + 1] = u8::from(inside(x as f64 + 0.5, y as f64 + 0.5));
            }
        }
        mask
    }

    fn in_disc(x: f64, y: f64, cx: f64, cy: f64, r: f64) -> bool {
        (x - cx) * (x - cx) + (y - cy) * (y - cy) <= r * r
    }

    #[test]
    fn two_touching_discs_are_two_grains_of_their_own_size() {
        let mask = union_of(70, 44, |x, y| in_disc(x, y, 21.0, 22.0, 20.0) || in_disc(x, y, 52.0, 22.0, 12.0));
        let parts = split(mask, &ReadSettings::default());
        assert_eq!(parts.len(), 2);
        let mut sizes: Vec<f64> = parts.iter().map(|part| part.shape().unwrap().ecd).collect();
        sizes.sort_by(f64::total_cmp);
        assert!((sizes[0] / 24.0 - 1.0).abs() < 0.03 && (sizes[1] / 40.0 - 1.0).abs() < 0.03, "{sizes:?}");
    }

    #[test]
    fn chain_of_five_grains_is_five() {
        let mask = union_of(130, 30, |x, y| (0..5).any(|i| in_disc(x, y, 14.0 + 24.0 * f64::from(i), 15.0, 12.5)));
        assert_eq!(split(mask, &ReadSettings::default()).len(), 5);
    }

    #[test]
    fn single_angular_or_long_grain_is_not_cut() {
        let triangle = union_of(50, 50, |x, y| y > 2.0 && x > y * 0.5 && x < 48.0 - y * 0.3);
        let bar = union_of(90, 22, |x, y| (x * 0.1 - y + 8.0).abs() < 7.0 && x > 2.0 && x < 88.0);
        let kite = union_of(60, 60, |x, y| (x - 30.0).abs() / 14.0 + (y - 30.0).abs() / 28.0 < 1.0);
        for mask in [triangle, bar, kite] {
            assert_eq!(split(mask, &ReadSettings::default()).len(), 1);
        }
    }

    #[test]
    fn pieces_hold_every_pixel_once() {
        let mask = union_of(70, 44, |x, y| in_disc(x, y, 21.0, 22.0, 20.0) || in_disc(x, y, 52.0, 22.0, 12.0));
        let area = mask.area();
        assert_eq!(split(mask, &ReadSettings::default()).iter().map(Mask::area).sum::<usize>(), area);
    }

    proptest! {
        #[test]
        fn prop_distance_equals_a_search_over_all_pixels(bits in proptest::collection::vec(proptest::bool::weighted(0.8), 15 * 11)) {
            let mut mask = Mask::empty(0, 0, 15, 11);
            for (index, bit) in bits.iter().enumerate() {
                mask.inside[(index / 15 + 1) * mask.width + index % 15 + 1] = u8::from(*bit);
            }
            let distance = squared_distance(&mask);
            for (index, value) in distance.iter().enumerate() {
                let (x, y) = ((index % mask.width) as i32, (index / mask.width) as i32);
                let want = (0..mask.inside.len())
                    .filter(|other| mask.inside[*other] == 0)
                    .map(|other| {
                        let (dx, dy) = ((other % mask.width) as i32 - x, (other / mask.width) as i32 - y);
                        dx * dx + dy * dy
                    })
                    .min()
                    .unwrap();
                prop_assert_eq!(*value, want as f32);
            }
        }
    }
}
