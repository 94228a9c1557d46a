//! Planes of numbers with a border of zeros, and sums over their neighbourhoods: what a small network is made of.

/// Several rasters of one size, each with a border of one zero all round.
#[derive(Debug, Clone)]
pub struct Planes {
    /// Columns without the border.
    pub width: usize,
    /// Rows without the border.
    pub height: usize,
    /// How many rasters.
    pub count: usize,
    values: Vec<f32>,
}

impl Planes {
    /// All zero.
    pub fn new(count: usize, width: usize, height: usize) -> Self {
        Self { width, height, count, values: vec![0.0; count * (width + 2) * (height + 2)] }
    }

    /// Start of the border's cell left of the given row; `row` counts from 0 for the border's own row.
    fn start(&self, plane: usize, bordered_row: usize) -> usize {
        (plane * (self.height + 2) + bordered_row) * (self.width + 2)
    }

    /// One row without its border.
    pub fn row(&self, plane: usize, row: usize) -> &[f32] {
        let start = self.start(plane, row + 1) + 1;
        &self.values[start..start + self.width]
    }

    /// One row without its border.
    pub fn row_mut(&mut self, plane: usize, row: usize) -> &mut [f32] {
        let start = self.start(plane, row + 1) + 1;
        let width = self.width;
        &mut self.values[start..start + width]
    }

    /// One row with its border; row 0 is the border above.
    fn bordered(&self, plane: usize, bordered_row: usize) -> &[f32] {
        let start = self.start(plane, bordered_row);
        &self.values[start..start + self.width + 2]
    }

    /// Means of 2 x 2 cells. Both sides must be even.
    pub fn halved(&self) -> Self {
        let mut half = Self::new(self.count, self.width / 2, self.height / 2);
        for plane in 0..self.count {
            for row in 0..half.height {
                let (upper, lower) = (self.row(plane, 2 * row), self.row(plane, 2 * row + 1));
                let pairs = upper.as_chunks::<2>().0.iter().zip(lower.as_chunks::<2>().0);
                for (to, ([a, b], [c, d])) in half.row_mut(plane, row).iter_mut().zip(pairs) {
                    *to = (a + b + c + d) * 0.25;
                }
            }
        }
        half
    }
}

/// Adds planes of half the size, each cell to four.
pub fn add_doubled(planes: &mut Planes, half: &Planes) {
    for plane in 0..planes.count {
        for row in 0..planes.height {
            let from = half.row(plane, row / 2);
            for (pair, value) in planes.row_mut(plane, row).as_chunks_mut::<2>().0.iter_mut().zip(from) {
                pair[0] += value;
                pair[1] += value;
            }
        }
    }
}

/// Weights of a square neighbourhood (1 x 1 or 3 x 3) for each channel out.
#[derive(Debug, Clone)]
pub struct Kernel {
    side: usize,
    inputs: usize,
    /// Channels out.
    pub outputs: usize,
    /// For each channel out: bias, then for each row of the neighbourhood and channel in the weights along the row.
    bias: Vec<f32>,
    weights: Vec<f32>,
    set: usize,
}

/// Channels out that are summed side by side: their sums stay in the nearest memory.
const SIDE_BY_SIDE: usize = 4;

impl Kernel {
    /// All zero.
    pub fn new(side: usize, inputs: usize, outputs: usize) -> Self {
        Self { side, inputs, outputs, bias: vec![0.0; outputs], weights: vec![0.0; outputs * side * side * inputs], set: 0 }
    }

    /// Sets one channel out; `weights` run row by row of the neighbourhood, column by column, then channels in.
    pub fn set(&mut self, out: usize, bias: f32, weights: &[f32]) {
        let (side, inputs) = (self.side, self.inputs);
        if weights.len() != side * side * inputs || out >= self.outputs {
            return;
        }
        self.bias[out] = bias;
        self.set += 1;
        let to = &mut self.weights[out * side * side * inputs..(out + 1) * side * side * inputs];
        for (index, weight) in weights.iter().enumerate() {
            let (place, input) = (index / inputs, index % inputs);
            to[(place / side * inputs + input) * side + place % side] = *weight;
        }
    }

    /// Whether every channel out was set.
    pub fn is_whole(&self) -> bool {
        self.set == self.outputs
    }

    /// Computes row `row` of `input` into row 0 of `out`, below zero cut off where `rectified`.
    pub fn row(&self, input: &Planes, row: usize, out: &mut Planes, rectified: bool) {
        self.row_into(input, row, out, 0, rectified);
    }

    fn row_into(&self, input: &Planes, row: usize, out: &mut Planes, to_row: usize, rectified: bool) {
        let width = out.width;
        let mut sums = [const { Vec::new() }; SIDE_BY_SIDE];
        for first in (0..self.outputs).step_by(SIDE_BY_SIDE) {
            let many = SIDE_BY_SIDE.min(self.outputs - first);
            for (offset, sum) in sums.iter_mut().enumerate() {
                sum.clear();
                sum.resize(width, if offset < many { self.bias[first + offset] } else { 0.0 });
            }
            for down in 0..self.side {
                for channel in 0..self.inputs {
                    // A neighbourhood of one cell stands on the row itself, one of three begins a row above.
                    let line = input.bordered(channel, if self.side == 1 { row + 1 } else { row + down });
                    self.add(line, first, down, channel, &mut sums);
                }
            }
            for (offset, sum) in sums.iter().enumerate().take(many) {
                let to = out.row_mut(first + offset, to_row);
                if rectified {
                    to.iter_mut().zip(sum).for_each(|(to, value)| *to = value.max(0.0));
                } else {
                    to.copy_from_slice(sum);
                }
            }
        }
    }

    fn add(&self, line: &[f32], first: usize, down: usize, channel: usize, sums: &mut [Vec<f32>; SIDE_BY_SIDE]) {
        let of = |offset: usize| {
            let out = (first + offset).min(self.outputs - 1);
            let start = ((out * self.side + down) * self.inputs + channel) * self.side;
            &self.weights[start..start + self.side]
        };
        let [s0, s1, s2, s3] = sums;
        let width = s0.len();
        let (s0, s1, s2, s3) = (&mut s0[..width], &mut s1[..width], &mut s2[..width], &mut s3[..width]);
        if self.side == 1 {
            let (a, b, c, d) = (of(0)[0], of(1)[0], of(2)[0], of(3)[0]);
            let line = &line[1..=width];
            for x in 0..width {
                s0[x] += a * line[x];
                s1[x] += b * line[x];
                s2[x] += c * line[x];
                s3[x] += d * line[x];
            }
            return;
        }
        let three = |offset: usize| {
            let weights = of(offset);
            (weights[0], weights[1], weights[2])
        };
        let ((a0, a1, a2), (b0, b1, b2), (c0, c1, c2), (d0, d1, d2)) = (three(0), three(1), three(2), three(3));
        let (left, middle, right) = (&line[..width], &line[1..=width], &line[2..width + 2]);
        for x in 0..width {
            s0[x] += a0 * left[x] + a1 * middle[x] + a2 * right[x];
            s1[x] += b0 * left[x] + b1 * middle[x] + b2 * right[x];
            s2[x] += c0 * left[x] + c1 * middle[x] + c2 * right[x];
            s3[x] += d0 * left[x] + d1 * middle[x] + d2 * right[x];
        }
    }
}

/// All rows of a kernel over `input`.
pub fn conv(input: &Planes, kernel: &Kernel, rectified: bool) -> Planes {
    let mut out = Planes::new(kernel.outputs, input.width, input.height);
    for row in 0..input.height {
        kernel.row_into(input, row, &mut out, row, rectified);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_over_a_neighbourhood_are_those_worked_by_hand() {
        let mut planes = Planes::new(2, 3, 2);
        planes.row_mut(0, 0).copy_from_slice(&[1.0, 2.0, 3.0]);
        planes.row_mut(0, 1).copy_from_slice(&[4.0, 5.0, 6.0]);
        planes.row_mut(1, 1).copy_from_slice(&[0.0, 10.0, 0.0]);
        let mut kernel = Kernel::new(3, 2, 1);
        // Row by row, column by column, then channels in: the left neighbour of channel 0, the cell itself of channel 1.
        let mut weights = [0.0; 18];
        weights[3 * 2] = 2.0;
        weights[4 * 2 + 1] = -1.0;
        kernel.set(0, 0.5, &weights);
        assert!(kernel.is_whole());
        let out = conv(&planes, &kernel, false);
        assert_eq!((out.row(0, 0), out.row(0, 1)), (&[0.5, 2.5, 4.5][..], &[0.5, -1.5, 10.5][..]));
        assert_eq!(conv(&planes, &kernel, true).row(0, 1), [0.5, 0.0, 10.5]);
    }

    #[test]
    fn halving_averages_and_doubling_repeats() {
        let mut planes = Planes::new(1, 4, 2);
        planes.row_mut(0, 0).copy_from_slice(&[1.0, 2.0, 0.0, 0.0]);
        planes.row_mut(0, 1).copy_from_slice(&[3.0, 6.0, 0.0, 4.0]);
        let half = planes.halved();
        assert_eq!(half.row(0, 0), [3.0, 1.0]);
        add_doubled(&mut planes, &half);
        assert_eq!((planes.row(0, 0), planes.row(0, 1)), (&[4.0, 5.0, 1.0, 1.0][..], &[6.0, 9.0, 1.0, 5.0][..]));
    }
}
