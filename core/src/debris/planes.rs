//! Planes of numbers with a border of zeros, and sums over their neighbourhoods: what a small network is made of.

use multiversion::multiversion;

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
    (0..half.height).for_each(|row| add_row_doubled(planes, row, half, row));
}

/// Adds row `from_row` of planes of half the size, each cell to four of rows `2 * row` and `2 * row + 1`.
fn add_row_doubled(planes: &mut Planes, row: usize, half: &Planes, from_row: usize) {
    for plane in 0..planes.count {
        let from = half.row(plane, from_row);
        for to_row in [2 * row, 2 * row + 1] {
            for (pair, value) in planes.row_mut(plane, to_row).as_chunks_mut::<2>().0.iter_mut().zip(from) {
                pair[0] += value;
                pair[1] += value;
            }
        }
    }
}

/// [`add_doubled`] of what `first`, cut off below zero, and then `last`, of single cells, make of `half`: row by row, so that the planes in
/// between need no memory.
pub fn add_made_of_half(planes: &mut Planes, half: &Planes, first: &Kernel, last: &Kernel) {
    let mut middle = Planes::new(first.outputs, half.width, 1);
    let mut made = Planes::new(last.outputs, half.width, 1);
    for row in 0..half.height {
        first.row(half, row, &mut middle, true);
        last.row(&middle, 0, &mut made, false);
        add_row_doubled(planes, row, &made, 0);
    }
}

/// Channels out that are summed side by side: their sums stay in the nearest memory.
const SIDE_BY_SIDE: usize = 4;

/// Weights along a row of the neighbourhood, for channels out side by side.
type Along = [[f32; 3]; SIDE_BY_SIDE];

/// Weights of a square neighbourhood (1 x 1 or 3 x 3) for each channel out.
#[derive(Debug, Clone)]
pub struct Kernel {
    side: usize,
    inputs: usize,
    /// Channels out.
    pub outputs: usize,
    bias: Vec<[f32; SIDE_BY_SIDE]>,
    /// For each few channels out: the rows of the neighbourhood, and in them the channels in.
    weights: Vec<Along>,
    set: usize,
}

impl Kernel {
    /// All zero.
    pub fn new(side: usize, inputs: usize, outputs: usize) -> Self {
        let groups = outputs.div_ceil(SIDE_BY_SIDE);
        Self {
            side,
            inputs,
            outputs,
            bias: vec![[0.0; SIDE_BY_SIDE]; groups],
            weights: vec![Along::default(); groups * side * inputs],
            set: 0,
        }
    }

    /// Sets one channel out; `weights` run row by row of the neighbourhood, column by column, then channels in.
    pub fn set(&mut self, out: usize, bias: f32, weights: &[f32]) {
        let (side, inputs) = (self.side, self.inputs);
        if weights.len() != side * side * inputs || out >= self.outputs {
            return;
        }
        let (group, within) = (out / SIDE_BY_SIDE, out % SIDE_BY_SIDE);
        self.bias[group][within] = bias;
        self.set += 1;
        let to = &mut self.weights[group * side * inputs..(group + 1) * side * inputs];
        for (index, weight) in weights.iter().enumerate() {
            let (place, input) = (index / inputs, index % inputs);
            to[place / side * inputs + input][within][place % side] = *weight;
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
        // A neighbourhood of one cell stands on the cell itself, one of three begins a row above and a cell to the left.
        let inset = usize::from(self.side == 1);
        let rows = row + inset..row + inset + self.side;
        let lines: Vec<&[f32]> = rows.flat_map(|row| (0..self.inputs).map(move |channel| &input.bordered(channel, row)[inset..])).collect();
        let mut sums = vec![0.0; SIDE_BY_SIDE * width];
        for (group, (bias, weights)) in self.bias.iter().zip(self.weights.chunks_exact(lines.len())).enumerate() {
            if self.side == 1 {
                sum_single(&lines, weights, bias, &mut sums);
            } else {
                sum_triple(&lines, weights, bias, &mut sums);
            }
            let first = group * SIDE_BY_SIDE;
            for (plane, sum) in (first..self.outputs).zip(sums.chunks_exact(width)) {
                let to = out.row_mut(plane, to_row);
                if rectified {
                    to.iter_mut().zip(sum).for_each(|(to, value)| *to = value.max(0.0));
                } else {
                    to.copy_from_slice(sum);
                }
            }
        }
    }
}

/// Sums of cells of `lines` by one weight each, for channels out side by side, whose rows stand one after the other in `sums`.
///
/// Wider registers of this machine sum more cells at a time; each cell's sum keeps its order, so that every machine gives the same.
#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn sum_single(lines: &[&[f32]], weights: &[Along], bias: &[f32; SIDE_BY_SIDE], sums: &mut [f32]) {
    let width = sums.len() / SIDE_BY_SIDE;
    let [s0, s1, s2, s3] = begun(sums, bias);
    for (line, [a, b, c, d]) in lines.iter().zip(weights) {
        let line = &line[..width];
        for x in 0..width {
            s0[x] += a[0] * line[x];
            s1[x] += b[0] * line[x];
            s2[x] += c[0] * line[x];
            s3[x] += d[0] * line[x];
        }
    }
}

/// The same of each cell and its two neighbours.
#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn sum_triple(lines: &[&[f32]], weights: &[Along], bias: &[f32; SIDE_BY_SIDE], sums: &mut [f32]) {
    let width = sums.len() / SIDE_BY_SIDE;
    let [s0, s1, s2, s3] = begun(sums, bias);
    for (line, [a, b, c, d]) in lines.iter().zip(weights) {
        let (left, middle, right) = (&line[..width], &line[1..=width], &line[2..width + 2]);
        for x in 0..width {
            s0[x] += a[0] * left[x] + a[1] * middle[x] + a[2] * right[x];
            s1[x] += b[0] * left[x] + b[1] * middle[x] + b[2] * right[x];
            s2[x] += c[0] * left[x] + c[1] * middle[x] + c[2] * right[x];
            s3[x] += d[0] * left[x] + d[1] * middle[x] + d[2] * right[x];
        }
    }
}

/// Rows of sums, one after the other, each at its bias.
#[inline(always)]
fn begun<'a>(sums: &'a mut [f32], bias: &[f32; SIDE_BY_SIDE]) -> [&'a mut [f32]; SIDE_BY_SIDE] {
    let width = sums.len() / SIDE_BY_SIDE;
    let mut rows = sums.chunks_exact_mut(width);
    bias.map(|bias| {
        let row = rows.next().unwrap_or_default();
        row.fill(bias);
        row
    })
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

    #[test]
    fn sum_made_row_by_row_is_that_of_whole_planes() {
        let mut half = Planes::new(2, 3, 2);
        (0..4).for_each(|at| half.row_mut(at % 2, at / 2).copy_from_slice(&[0.3 + at as f32, -1.7, 0.9 * at as f32]));
        let (mut first, mut last) = (Kernel::new(3, 2, 3), Kernel::new(1, 3, 2));
        (0..3).for_each(|out| first.set(out, 0.1, &[0.7 - 0.5 * out as f32; 18]));
        (0..2).for_each(|out| last.set(out, -0.2, &[0.3, -0.4, 0.1 + out as f32]));
        let (mut by_rows, mut whole) = (Planes::new(2, 6, 4), Planes::new(2, 6, 4));
        add_made_of_half(&mut by_rows, &half, &first, &last);
        add_doubled(&mut whole, &conv(&conv(&half, &first, true), &last, false));
        assert!(whole.values.iter().any(|value| *value > 0.1));
        assert_eq!(by_rows.values, whole.values);
    }

    /// Wider registers must not change a bit: each cell is summed in the order written here, on every machine.
    #[test]
    fn every_cell_is_summed_in_one_order_whatever_the_registers() {
        let mut state = 5_u32;
        let mut random = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 8) as f32 / (1 << 23) as f32 - 1.0
        };
        for (side, inputs, outputs, width) in [(3, 5, 9, 37), (1, 6, 7, 64), (3, 1, 4, 1)] {
            let mut planes = Planes::new(inputs, width, 3);
            (0..inputs).for_each(|plane| (0..3).for_each(|row| planes.row_mut(plane, row).iter_mut().for_each(|cell| *cell = random())));
            let mut kernel = Kernel::new(side, inputs, outputs);
            let weights: Vec<Vec<f32>> = (0..outputs).map(|_| (0..side * side * inputs).map(|_| random()).collect()).collect();
            weights.iter().enumerate().for_each(|(out, weights)| kernel.set(out, 0.1 * out as f32, weights));
            let found = conv(&planes, &kernel, false);
            let inset = usize::from(side == 1);
            for (out, weights) in weights.iter().enumerate() {
                for (row, x) in (0..3).flat_map(|row| (0..width).map(move |x| (row, x))) {
                    let mut sum = 0.1 * out as f32;
                    for (down, input) in (0..side).flat_map(|down| (0..inputs).map(move |input| (down, input))) {
                        let line = planes.bordered(input, row + down + inset);
                        let of = |along: usize| weights[(down * side + along) * inputs + input] * line[x + along + inset];
                        sum += if side == 1 { of(0) } else { of(0) + of(1) + of(2) };
                    }
                    assert_eq!(found.row(out, row)[x].to_bits(), sum.to_bits(), "{side} {out} {row} {x}");
                }
            }
        }
    }
}
