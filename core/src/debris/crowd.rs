//! Whether grains lie heaped: paper shows nowhere over a stretch larger than any stone of this trade; or whether something throws a shadow
//! across the window, so that next to no paper is seen in full light.
//!
//! Told from the paper alone, whatever was made of the grains: what lies on each other must not be read as if it lay apart.

use super::ground::{Ground, too_crowded};
use crate::error::CoreError;

/// Side of the squares in which paper is looked for, mm.
const SQUARE_MM: f64 = 4.0;
/// A square holds paper where it shows in this share of its blocks.
const LEAST_PAPER: f64 = 0.06;
/// A deep shadow hides the paper too, but it is even; grains make the light jump from block to block by this share of the
/// paper's light, on average.
const LEAST_BUSY: f32 = 0.03;

/// Less paper than this in full light says nothing of the rest, share of the window.
const LEAST_SEEN: f64 = 0.2;
/// Grains hide the paper where at least this share of the squares without paper is busy; else it is a shadow, a film or mud.
const LEAST_BUSY_SHARE: f64 = 0.5;

/// What a square of the window shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Square {
    /// Paper, somewhere in it.
    Paper,
    /// No paper, and light that jumps: grains.
    Busy,
    /// No paper, and even light: a shadow, a film, mud, one large stone.
    Even,
}

/// Area of the largest connected stretch of busy squares without paper, mm2.
pub fn largest_heap_mm2(ground: &Ground, px_per_mm: f64) -> f64 {
    let side = square_side(ground, px_per_mm);
    let mut heaped: Vec<bool> = squares(ground, side).into_iter().map(|square| square == Square::Busy).collect();
    let square_mm = side as f64 * ground.block_px as f64 / px_per_mm;
    largest_group(&mut heaped, ground.columns / side) as f64 * square_mm * square_mm
}

/// Refuses a window in which next to no paper is seen in full light.
///
/// # Errors
/// `too_crowded` where grains hide the paper, `paper_hidden` where something else does.
pub fn refuse_hidden_paper(ground: &Ground, px_per_mm: f64) -> Result<(), CoreError> {
    if ground.seen_share >= LEAST_SEEN {
        return Ok(());
    }
    let (percent, least) = (100.0 * ground.seen_share, 100.0 * LEAST_SEEN);
    let squares = squares(ground, square_side(ground, px_per_mm));
    let count = |wanted: Square| squares.iter().filter(|square| **square == wanted).count() as f64;
    let busy = count(Square::Busy);
    if busy >= LEAST_BUSY_SHARE * (busy + count(Square::Even)) {
        return Err(too_crowded(format!("the white ground shows on {percent:.0} % of the window only, at least {least:.0} % is needed")));
    }
    Err(CoreError::refused(
        "paper_hidden",
        format!("a shadow or mud lies on the window: paper shows in even light on {percent:.0} % of it, at least {least:.0} % is needed"),
        "hold hand and phone so that their shadow falls beside the card, or shade all of it with your body; wipe mud off",
    ))
}

/// Blocks along the side of a square.
fn square_side(ground: &Ground, px_per_mm: f64) -> usize {
    ((SQUARE_MM * px_per_mm / ground.block_px as f64).round() as usize).max(2)
}

/// The window in squares of `side` blocks, row by row.
fn squares(ground: &Ground, side: usize) -> Vec<Square> {
    let (columns, rows) = (ground.columns / side, ground.rows / side);
    let mut squares = Vec::with_capacity(columns * rows);
    for row in 0..rows {
        for column in 0..columns {
            let (mut paper, mut jumps) = (0_usize, 0.0_f32);
            for y in row * side..(row + 1) * side {
                for x in column * side..(column + 1) * side {
                    let index = y * ground.columns + x;
                    paper += usize::from(ground.seen[index]);
                    if x + 1 < (column + 1) * side {
                        jumps += (ground.light[index + 1] - ground.light[index]).abs();
                    }
                }
            }
            squares.push(if paper as f64 >= LEAST_PAPER * (side * side) as f64 {
                Square::Paper
            } else if jumps / (side * (side - 1)) as f32 > LEAST_BUSY {
                Square::Busy
            } else {
                Square::Even
            });
        }
    }
    squares
}

/// Squares in the largest group that hangs together; clears what it has counted.
fn largest_group(member: &mut [bool], columns: usize) -> usize {
    let mut largest = 0;
    let mut queue = Vec::new();
    for start in 0..member.len() {
        if !std::mem::take(&mut member[start]) {
            continue;
        }
        let mut size = 0;
        queue.push(start);
        while let Some(index) = queue.pop() {
            size += 1;
            let column = index % columns;
            let near = [
                (column > 0).then(|| index - 1),
                (column + 1 < columns).then_some(index + 1),
                index.checked_sub(columns),
                (index + columns < member.len()).then_some(index + columns),
            ];
            for next in near.into_iter().flatten() {
                if std::mem::take(&mut member[next]) {
                    queue.push(next);
                }
            }
        }
        largest = largest.max(size);
    }
    largest
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 30 x 30 mm in blocks of 0.5 mm; `heap` tells which blocks hold grains.
    fn ground(heap: impl Fn(usize, usize) -> bool) -> Ground {
        let side = 60;
        let at = |index: usize| (index % side, index / side);
        let seen: Vec<bool> = (0..side * side).map(|index| !heap(at(index).0, at(index).1)).collect();
        let light = seen.iter().enumerate().map(|(index, seen)| if *seen { 1.0 } else { [0.2, 0.4, 0.3][index % 3] }).collect();
        let level: [Vec<f32>; 3] = std::array::from_fn(|_| vec![1.0; side * side]);
        Ground { white: true, block_px: 10, columns: side, rows: side, paper: level.clone(), level, seen_share: 0.5, seen, light }
    }

    #[test]
    fn heap_is_measured_and_grains_apart_or_one_stone_are_none() {
        assert!(largest_heap_mm2(&ground(|x, y| x < 40 && y < 40), 20.0) >= 256.0);
        assert_eq!(largest_heap_mm2(&ground(|x, y| (x / 3 + y / 3) % 2 == 0), 20.0), 0.0);
        assert!(largest_heap_mm2(&ground(|x, y| x < 20 && y < 20), 20.0) <= 100.0);
    }

    #[test]
    fn paper_hidden_by_grains_is_crowded_and_by_a_shadow_said_so() {
        let code = |ground: &Ground| refuse_hidden_paper(ground, 20.0).map_err(|error| error.code().to_owned());
        let mut hidden = ground(|x, _| x < 54);
        hidden.seen_share = 0.1;
        assert_eq!(code(&hidden), Err("too_crowded".to_owned()));
        hidden.light.fill(0.3);
        assert_eq!(code(&hidden), Err("paper_hidden".to_owned()));
        hidden.seen_share = 0.2;
        assert_eq!(code(&hidden), Ok(()));
    }

    #[test]
    fn deep_even_shadow_is_no_heap() {
        let mut shadow = ground(|x, _| x < 40);
        shadow.light.fill(0.3);
        assert_eq!(largest_heap_mm2(&shadow, 20.0), 0.0);
    }
}
