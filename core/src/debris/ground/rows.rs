//! A ground's level along rows of pixels.

use multiversion::multiversion;

use super::Ground;

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

#[cfg(test)]
mod tests {
    use super::super::blocks::Blocks;
    use super::super::fill::bilinear;

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
