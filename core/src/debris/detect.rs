//! Reading marks in a reduced grey picture: finder patterns, then a grid of modules, then the payload.
//!
//! rqrr decodes; finding is done here. With four codes in line, as on the card, its search pairs finder patterns of different
//! codes (they stand just as square) and loses one to three of the marks; here a pattern's own size says how far its
//! partners are.

use std::ops::Range;
use std::panic::{AssertUnwindSafe, catch_unwind};

use multiversion::multiversion;
use nalgebra::Matrix3;

use super::card::{MARK_MODULES, MarkModules, MarkPlace};
use super::mark::FoundMark;
use super::pose::{apply, homography_of};
use crate::order;
use crate::photo::reduced::Reduced;

/// Modules between the centres of two finder patterns of a mark.
const CENTRE_DISTANCE: f64 = MARK_MODULES as f64 - 7.0;

/// Centre of a finder pattern, and of version 2's alignment pattern, modules (ISO/IEC 18004).
const FINDER: f64 = 3.5;
const ALIGNMENT: f64 = MARK_MODULES as f64 - 6.5;

/// More candidates than this are not a card but a pattern: the strongest are kept.
const MAX_PATTERNS: usize = 80;

/// Share of modules that must come out as printed.
const MIN_AGREEMENT: f64 = 0.9;

/// Every legible mark in the picture.
pub(crate) fn read_marks(picture: &Reduced) -> Vec<FoundMark> {
    let dark = darker_than_around(picture);
    let patterns = finder_patterns(&dark, picture.width, picture.height);
    let mut used = vec![false; patterns.len()];
    let mut marks = Vec::new();
    for triple in triples(&patterns) {
        if triple.members.iter().any(|member| used[*member]) {
            continue;
        }
        if let Some(mark) = read_grid(picture, triple.members.map(|member| patterns[member])) {
            triple.members.iter().for_each(|member| used[*member] = true);
            marks.push(mark);
        }
    }
    marks
}

/// True where a pixel is darker than nine tenths of the mean around it; the neighbourhood is an eighth of the long side wide.
fn darker_than_around(picture: &Reduced) -> Vec<bool> {
    let (width, height) = (picture.width, picture.height);
    let reach = (width.max(height) / 16).max(4);
    let mut columns = vec![0_u32; width];
    let mut upto = vec![0_u32; width + 1];
    let mut dark = vec![false; width * height];
    let row_of = |row: usize| &picture.luma[row * width..(row + 1) * width];
    let add = |columns: &mut Vec<u32>, row: usize| columns.iter_mut().zip(row_of(row)).for_each(|(sum, value)| *sum += u32::from(*value));
    (0..reach.min(height)).for_each(|row| add(&mut columns, row));
    for row in 0..height {
        if row + reach < height {
            add(&mut columns, row + reach);
        }
        if row > reach {
            columns.iter_mut().zip(row_of(row - reach - 1)).for_each(|(sum, value)| *sum -= u32::from(*value));
        }
        let rows = (row + reach).min(height - 1) - row.saturating_sub(reach) + 1;
        // Sums of the columns up to each: the difference of two is the sum of what lies between, though a sum may have run over.
        let mut sum = 0_u32;
        for (upto, column) in upto[1..].iter_mut().zip(&columns) {
            sum = sum.wrapping_add(*column);
            *upto = sum;
        }
        let (line, values) = (&mut dark[row * width..(row + 1) * width], row_of(row));
        let mut part = |columns: Range<usize>, around: usize| {
            let (low, high) = (columns.start.saturating_sub(reach), (columns.start + reach + 1).min(width));
            darker(&values[columns.clone()], [&upto[low..], &upto[high..]], (rows * around) as u32, &mut line[columns]);
        };
        // Near both ends fewer columns lie around a pixel.
        let ends = (0..reach.min(width)).chain(reach.max(width.saturating_sub(reach))..width);
        ends.for_each(|at| part(at..at + 1, (at + reach + 1).min(width) - at.saturating_sub(reach)));
        if width > 2 * reach {
            part(reach..width - reach, 2 * reach + 1);
        }
    }
    dark
}

/// Whether values are darker than nine tenths of the mean of `count` pixels around them, whose sums are the differences of two rows.
#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn darker(values: &[u8], [low, high]: [&[u32]; 2], count: u32, out: &mut [bool]) {
    for (is_dark, (value, (low, high))) in out.iter_mut().zip(values.iter().zip(low.iter().zip(high))) {
        *is_dark = u64::from(u32::from(*value) * 10) * u64::from(count) < u64::from(high.wrapping_sub(*low)) * 9;
    }
}

/// A finder pattern: three dark modules square inside a light and a dark ring.
#[derive(Debug, Clone, Copy)]
struct Pattern {
    /// Centre of its inner block, reduced px, pixel centres at half-integers.
    centre: [f64; 2],
    /// Side of a module, reduced px: from the block's area, so that neither roll nor tilt matter much.
    module: f64,
}

/// Runs in the proportion 1:1:3:1:1, as a line through the centre of a finder pattern shows them at any angle.
fn looks_like_finder(runs: [usize; 5]) -> bool {
    let unit = runs.iter().sum::<usize>() as f64 / 7.0;
    let near = |run: usize, modules: f64| (run as f64 - modules * unit).abs() <= 0.5 * modules.min(2.0) * unit + 0.7;
    unit >= 1.2 && near(runs[0], 1.0) && near(runs[1], 1.0) && near(runs[2], 3.0) && near(runs[3], 1.0) && near(runs[4], 1.0)
}

fn finder_patterns(dark: &[bool], width: usize, height: usize) -> Vec<Pattern> {
    let mut patterns: Vec<(Pattern, u32)> = Vec::new();
    for row in 0..height {
        let line = &dark[row * width..(row + 1) * width];
        // Lengths of the last five runs and where the newest of them ended.
        let mut runs = [0_usize; 5];
        let mut start = 0;
        for column in 1..=width {
            if column < width && line[column] == line[column - 1] {
                continue;
            }
            runs.rotate_left(1);
            runs[4] = column - start;
            start = column;
            // The run that just ended must be dark, as the first and the middle one then are.
            if !line[column - 1] || runs[0] == 0 || !looks_like_finder(runs) {
                continue;
            }
            let middle = column - runs[4] - runs[3] - runs[2] / 2 - 1;
            let total: usize = runs.iter().sum();
            let Some((centre_row, across)) = runs_through(dark, [middle, row], [width, height], 1) else { continue };
            if !looks_like_finder(across) || across.iter().sum::<usize>() * 2 < total || across.iter().sum::<usize>() > total * 2 {
                continue;
            }
            let known = |(pattern, _): &&mut (Pattern, u32)| {
                let reach = 2.0 * pattern.module;
                (pattern.centre[0] - middle as f64).abs() < reach && (pattern.centre[1] - centre_row as f64).abs() < reach
            };
            if let Some((_, hits)) = patterns.iter_mut().find(known) {
                *hits += 1;
            } else if let Some(pattern) = inner_block(dark, [middle, centre_row], [width, height], total) {
                patterns.push((pattern, 1));
            }
        }
    }
    order::by_number(&mut patterns, |(_, hits)| -f64::from(*hits));
    patterns.truncate(MAX_PATTERNS);
    patterns.into_iter().map(|(pattern, _)| pattern).collect()
}

/// The five runs along a column (`axis` 1) or row (`axis` 0) with the dark pixel `at` in the third, and that run's middle.
fn runs_through(dark: &[bool], at: [usize; 2], size: [usize; 2], axis: usize) -> Option<(usize, [usize; 5])> {
    let value = |place: usize| {
        let mut point = at;
        point[axis] = place;
        dark[point[1] * size[0] + point[0]]
    };
    if !value(at[axis]) {
        return None;
    }
    let mut runs = [0_usize; 5];
    let (mut low, mut high) = (at[axis], at[axis] + 1);
    let mut bounds = [low, high];
    for (back, forth, tone) in [(2, 2, true), (1, 3, false), (0, 4, true)] {
        let (low_start, high_start) = (low, high);
        while low > 0 && value(low - 1) == tone {
            low -= 1;
        }
        while high < size[axis] && value(high) == tone {
            high += 1;
        }
        if back == 2 {
            runs[2] = high - low;
            bounds = [low, high];
        } else {
            runs[back] = low_start - low;
            runs[forth] = high - high_start;
        }
    }
    Some(((bounds[0] + bounds[1] - 1) / 2, runs))
}

/// Centre and size of the dark block around `at`; `None` where it is no compact block of about three sevenths of `total`.
fn inner_block(dark: &[bool], at: [usize; 2], size: [usize; 2], total: usize) -> Option<Pattern> {
    if !dark[at[1] * size[0] + at[0]] {
        return None;
    }
    let reach = total / 2 + 1;
    let (left, top) = (at[0].saturating_sub(reach), at[1].saturating_sub(reach));
    let (right, bottom) = ((at[0] + reach).min(size[0] - 1), (at[1] + reach).min(size[1] - 1));
    let columns = right - left + 1;
    let mut seen = vec![false; columns * (bottom - top + 1)];
    let mut open = vec![at];
    seen[(at[1] - top) * columns + at[0] - left] = true;
    let (mut area, mut sums) = (0_usize, [0_usize; 2]);
    while let Some([x, y]) = open.pop() {
        if x == left || y == top || x == right || y == bottom {
            return None;
        }
        area += 1;
        sums[0] += x;
        sums[1] += y;
        for next in [[x - 1, y], [x + 1, y], [x, y - 1], [x, y + 1]] {
            let index = (next[1] - top) * columns + next[0] - left;
            if !seen[index] && dark[next[1] * size[0] + next[0]] {
                seen[index] = true;
                open.push(next);
            }
        }
    }
    let module = (area as f64 / 9.0).sqrt();
    let unit = total as f64 / 7.0;
    // A line across a turned or tilted pattern is longer than its side, never much shorter.
    let plausible = module > 0.5 * unit && module < 1.6 * unit;
    plausible.then(|| Pattern { centre: sums.map(|sum| sum as f64 / area as f64 + 0.5), module })
}

/// Three patterns that may be upper left, upper right and lower left of one mark.
struct Triple {
    members: [usize; 3],
    /// How far from square and from the expected distance.
    misfit: f64,
}

/// Likely triples, best first.
fn triples(patterns: &[Pattern]) -> Vec<Triple> {
    let mut triples = Vec::new();
    let towards = |from: &Pattern, to: &Pattern| [to.centre[0] - from.centre[0], to.centre[1] - from.centre[1]];
    for (corner, a) in patterns.iter().enumerate() {
        // Distance over the expected one; tilt of 50 degrees shortens to 0.64 and its own foreshortened module to 0.8.
        let partners: Vec<(usize, [f64; 2], f64)> = (0..patterns.len())
            .filter(|other| *other != corner)
            .filter_map(|other| {
                let b = &patterns[other];
                let (d, module) = (towards(a, b), (a.module + b.module) / 2.0);
                let ratio = d[0].hypot(d[1]) / (CENTRE_DISTANCE * module);
                let alike = a.module.max(b.module) < 1.6 * a.module.min(b.module);
                (alike && (0.65..1.5).contains(&ratio)).then_some((other, d, ratio))
            })
            .collect();
        for (right, along, ratio_right) in &partners {
            for (below, down, ratio_below) in &partners {
                let lengths = along[0].hypot(along[1]) * down[0].hypot(down[1]);
                let cosine = (along[0] * down[0] + along[1] * down[1]) / lengths;
                let turn = along[0] * down[1] - along[1] * down[0];
                if right != below && turn > 0.0 && cosine.abs() < 0.6 {
                    let misfit = cosine.abs() + (ratio_right * ratio_below).ln().abs();
                    triples.push(Triple { members: [corner, *right, *below], misfit });
                }
            }
        }
    }
    order::by_number(&mut triples, |triple| triple.misfit);
    triples
}

/// Samples the 25 x 25 modules and decodes them.
fn read_grid(picture: &Reduced, [corner, right, below]: [Pattern; 3]) -> Option<FoundMark> {
    let far = FINDER + CENTRE_DISTANCE;
    let fourth = [0, 1].map(|axis| right.centre[axis] + below.centre[axis] - corner.centre[axis]);
    let modules = [[FINDER, FINDER], [far, FINDER], [far, far], [FINDER, far]];
    let flat = homography_of(&modules, &[corner.centre, right.centre, fourth, below.centre])?;
    let grid = with_alignment(picture, &flat, [corner, right, below])?;
    let read = sample(picture, &grid);
    let payload = decode(&read)?;
    let place = MarkPlace::parse(&payload)?;
    let printed = MarkModules::encode(&payload).ok()?;
    let size = MARK_MODULES;
    let same = (0..size * size).filter(|index| read[*index] == printed.is_dark((index % size) as i32, (index / size) as i32)).count();
    if (same as f64) < MIN_AGREEMENT * (size * size) as f64 {
        return None;
    }
    let end = size as f64;
    let scale = f64::from(picture.factor);
    let rough_px = [[0.0, 0.0], [end, 0.0], [end, end], [0.0, end]].map(|corner| {
        let at = apply(&grid, corner);
        [0, 1].map(|axis| f64::from(picture.origin[axis]) + at[axis] * scale)
    });
    Some(FoundMark { place, modules: printed, rough_px })
}

/// Three finder patterns settle a parallelogram; the alignment pattern near the fourth corner adds the perspective.
fn with_alignment(picture: &Reduced, flat: &Matrix3<f64>, [corner, right, below]: [Pattern; 3]) -> Option<Matrix3<f64>> {
    // Dark centre, light ring, dark ring: sum of what should be light less what should be dark, per module.
    let score = |shift: [f64; 2]| {
        let (mut light, mut dark) = (0.0, 0.0);
        for row in -2_i32..=2 {
            for column in -2_i32..=2 {
                let at = apply(flat, [ALIGNMENT + shift[0] + f64::from(column), ALIGNMENT + shift[1] + f64::from(row)]);
                let value = luma_at(picture, at)?;
                if row.abs().max(column.abs()) == 1 { light += value / 8.0 } else { dark += value / 17.0 }
            }
        }
        Some(light - dark)
    };
    let mut best = (f64::NEG_INFINITY, [0.0, 0.0]);
    let steps = 12;
    for row in -steps..=steps {
        for column in -steps..=steps {
            let shift = [f64::from(column) * 0.25, f64::from(row) * 0.25];
            if let Some(score) = score(shift)
                && score > best.0
            {
                best = (score, shift);
            }
        }
    }
    let alignment = apply(flat, [ALIGNMENT + best.1[0], ALIGNMENT + best.1[1]]);
    let far = FINDER + CENTRE_DISTANCE;
    homography_of(
        &[[FINDER, FINDER], [far, FINDER], [ALIGNMENT, ALIGNMENT], [FINDER, far]],
        &[corner.centre, right.centre, alignment, below.centre],
    )
}

/// Bilinear between pixel centres at half-integers; `None` outside.
fn luma_at(picture: &Reduced, at: [f64; 2]) -> Option<f64> {
    let (x, y) = (at[0] - 0.5, at[1] - 0.5);
    if !(x >= 0.0 && y >= 0.0 && x < (picture.width - 1) as f64 && y < (picture.height - 1) as f64) {
        return None;
    }
    let (column, row) = (x as usize, y as usize);
    let (fx, fy) = (x - column as f64, y - row as f64);
    let value = |dx: usize, dy: usize| f64::from(picture.luma[(row + dy) * picture.width + column + dx]);
    let (top, bottom) = (value(0, 0) * (1.0 - fx) + value(1, 0) * fx, value(0, 1) * (1.0 - fx) + value(1, 1) * fx);
    Some(top * (1.0 - fy) + bottom * fy)
}

/// Whether each module is dark, against the middle between dark and light nearby; light where it lies outside the picture.
fn sample(picture: &Reduced, grid: &Matrix3<f64>) -> Vec<bool> {
    let size = MARK_MODULES as i32;
    // One module more on each side: the quiet zone lends its white to the border.
    let padded = size + 2;
    let values: Vec<f64> = (0..padded * padded)
        .map(|index| {
            let middle = [index % padded, index / padded].map(|place| f64::from(place) - 0.5);
            let spots = [[0.0, 0.0], [-0.2, -0.2], [0.2, -0.2], [-0.2, 0.2], [0.2, 0.2]];
            let spot = |[dx, dy]: [f64; 2]| luma_at(picture, apply(grid, [middle[0] + dx, middle[1] + dy])).unwrap_or(255.0);
            spots.into_iter().map(spot).sum::<f64>() / 5.0
        })
        .collect();
    let threshold = |column: i32, row: i32| {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for y in (row - 3).max(0)..=(row + 3).min(padded - 1) {
            for x in (column - 3).max(0)..=(column + 3).min(padded - 1) {
                let value = values[(y * padded + x) as usize];
                low = low.min(value);
                high = high.max(value);
            }
        }
        (low + high) / 2.0
    };
    let module = |index: i32| {
        let (column, row) = (index % size + 1, index / size + 1);
        values[(row * padded + column) as usize] < threshold(column, row)
    };
    (0..size * size).map(module).collect()
}

fn decode(modules: &[bool]) -> Option<String> {
    // rqrr works on what a photo says: a panic inside means that it cannot be read.
    catch_unwind(AssertUnwindSafe(|| {
        let grid = rqrr::SimpleGrid::from_func(MARK_MODULES, |x, y| modules[y * MARK_MODULES + x]);
        rqrr::Grid::new(grid).decode().ok().map(|(_, payload)| payload)
    }))
    .ok()
    .flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pixels_darker_than_around_are_those_found_one_by_one() {
        for (width, height) in [(90, 40), (40, 90), (9, 5), (7, 30), (1, 12), (20, 1)] {
            let luma: Vec<u8> = (0..(width * height) as u32).map(|at| (at.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
            let reach = (width.max(height) / 16).max(4);
            let found = darker_than_around(&Reduced { factor: 1, origin: [0, 0], width, height, luma: luma.clone() });
            for (at, is_dark) in found.iter().enumerate() {
                let near = |place: usize, length: usize| place.saturating_sub(reach)..(place + reach + 1).min(length);
                let rows = near(at / width, height).map(|row| &luma[row * width..][near(at % width, width)]);
                let around: Vec<u64> = rows.flatten().map(|value| u64::from(*value)).collect();
                let sum: u64 = around.iter().sum();
                assert_eq!(*is_dark, u64::from(luma[at]) * around.len() as u64 * 10 < sum * 9, "{width} x {height}: {at}");
            }
        }
    }
}
