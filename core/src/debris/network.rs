//! The small network that tells grains from paper, shadow, water and film.
//!
//! It sees the window's light over the paper's and answers for each pixel whether it is grain and whether two grains meet
//! there, and for each 2 x 2 pixels whether it belongs to a lump. `fixtures/scenes/learn` draws the scenes it learned from and
//! holds its shape; `weights.txt` are the numbers (`weights.rs`). Plain sums in a fixed order: the same window gives the same answer.

use std::sync::OnceLock;

use multiversion::multiversion;

use super::light::LUMINANCE;
use super::planes::{Kernel, Planes, add_doubled, add_made_of_half, conv};
use super::weights::layers;

/// Multiple of the half-scale raster's sides: five halvings.
const BLOCK: usize = 32;

/// What the network answers: logits, above 0 for yes.
#[derive(Debug, Clone)]
pub struct Answer {
    /// Columns of the window, px.
    pub width: usize,
    /// Rows of the window, px.
    pub height: usize,
    /// For each pixel: grain. In 1/[`LOGIT_UNIT`], clamped to a byte.
    pub grain: Vec<i8>,
    /// For each pixel: two grains meet here. Same unit.
    pub seam: Vec<i8>,
    /// For each 2 x 2 pixels: part of a lump. Same unit; rows of [`Answer::half_width`].
    pub lump: Vec<i8>,
    /// Columns of [`Answer::lump`].
    pub half_width: usize,
}

/// Inside of a true grain the network is surer than this, in 1/[`LOGIT_UNIT`].
const SURE_INSIDE: i8 = 32;
/// Fewer pixels inside grains than this say nothing: in photos of few pixels the inside of a grain is all near its rim.
const LEAST_INSIDE: f64 = 20_000.0;

impl Answer {
    /// Share of the pixels well inside grains (3 px of the photo from any rim) of which the network is not sure, 0 to 1: where it meets
    /// what it does not know (hard shadows, foreign films) it doubts bodies all over, and their sizes are worth less. `photo_px`: side of a
    /// pixel of the photo, px of this answer; 1 or more. A photo drawn larger says no more inside its grains than it did.
    pub fn doubtful_share(&self, photo_px: f64) -> f64 {
        let reaching = |px: f64| (px * photo_px).round() as usize;
        let (width, reach, aslant) = (self.width, reaching(3.0), reaching(2.0));
        let around = [reach, reach * width, aslant * width + aslant, aslant * width - aslant];
        let (mut inside, mut doubtful) = (0_usize, 0_usize);
        for y in reach..self.height.saturating_sub(reach) {
            for index in y * width + reach..(y + 1) * width - reach {
                let here = self.grain[index];
                if here > 0 && around.iter().all(|step| self.grain[index - step] > 0 && self.grain[index + step] > 0) {
                    inside += 1;
                    doubtful += usize::from(here < SURE_INSIDE);
                }
            }
        }
        if (inside as f64) < LEAST_INSIDE * photo_px * photo_px { 0.0 } else { doubtful as f64 / inside as f64 }
    }
}

/// Steps of an [`Answer`]'s logits in one.
pub const LOGIT_UNIT: f32 = 16.0;

/// All layers of the network.
struct Network {
    layers: Vec<(&'static str, Kernel)>,
}

impl Network {
    fn layer(&self, name: &str) -> &Kernel {
        // Which layers there are is part of the program, as the weights are; a test runs them all.
        #[allow(clippy::expect_used, reason = "the weights are compiled in and a test reads every layer")]
        self.layers.iter().find(|(have, _)| *have == name).map(|(_, kernel)| kernel).expect("a layer of the network")
    }
}

fn network() -> &'static Network {
    static NETWORK: OnceLock<Network> = OnceLock::new();
    NETWORK.get_or_init(|| Network { layers: layers() })
}

/// Four roots of luminance and two hues for each 2 x 2 pixels, zero on clean paper.
pub struct Features {
    planes: Planes,
    width: usize,
    height: usize,
}

/// Light over paper along a row: red, green and blue, of an even number of pixels.
pub type LightRow = [Vec<f32>; 3];

/// All zero, for `width` pixels; the one beyond an odd width is made the last one again.
pub fn light_row(width: usize) -> LightRow {
    std::array::from_fn(|_| vec![0.0; width.next_multiple_of(2)])
}

#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn roots(row: &LightRow, out: &mut [f32]) {
    let width = out.len();
    let (red, green, blue) = (&row[0][..width], &row[1][..width], &row[2][..width]);
    for x in 0..width {
        let luminance = LUMINANCE[0] * red[x] + LUMINANCE[1] * green[x] + LUMINANCE[2] * blue[x];
        out[x] = (luminance.clamp(0.0, 4.0).sqrt() - 1.0) * 2.0;
    }
}

/// Means of 2 x 2 pixels of two rows.
#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn means(upper: &[f32], lower: &[f32], out: &mut [f32]) {
    let pairs = upper.as_chunks::<2>().0.iter().zip(lower.as_chunks::<2>().0);
    for (out, ([a, b], [c, d])) in out.iter_mut().zip(pairs) {
        *out = ((a + b + c + d) * 0.25).clamp(0.0, 4.0);
    }
}

/// A colour against green, zero where they are even.
#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn hues(colour: &[f32], green: &[f32], out: &mut [f32]) {
    for (out, (colour, green)) in out.iter_mut().zip(colour.iter().zip(green)) {
        *out = (colour - green) / (colour + green + 0.05) * 4.0;
    }
}

impl Features {
    /// For a window of `width` x `height` px.
    pub fn new(width: usize, height: usize) -> Self {
        let (columns, rows) = (width.div_ceil(2).next_multiple_of(BLOCK), height.div_ceil(2).next_multiple_of(BLOCK));
        Self { planes: Planes::new(6, columns, rows), width, height }
    }

    /// Takes two rows of light over paper; the second is the first again below the last row.
    pub fn set_rows(&mut self, half_row: usize, rows: &mut [LightRow; 2]) {
        let (width, half_width) = (self.width, self.width.div_ceil(2));
        if width % 2 == 1 {
            rows.iter_mut().flatten().for_each(|line| line[width] = line[width - 1]);
        }
        let [upper, lower] = &*rows;
        let mut line = vec![0.0; 2 * half_width];
        for (first, row) in [(0, upper), (2, lower)] {
            roots(row, &mut line);
            for side in [0, 1] {
                let to = &mut self.planes.row_mut(first + side, half_row)[..half_width];
                to.iter_mut().zip(line.as_chunks::<2>().0).for_each(|(to, pair)| *to = pair[side]);
            }
        }
        let mean: [Vec<f32>; 3] = std::array::from_fn(|c| {
            let mut mean = vec![0.0; half_width];
            means(&upper[c], &lower[c], &mut mean);
            mean
        });
        for (plane, other) in [(4, 0), (5, 2)] {
            hues(&mean[other], &mean[1], &mut self.planes.row_mut(plane, half_row)[..half_width]);
        }
    }

    /// Runs the network.
    pub fn answer(self) -> Answer {
        let Self { planes, width, height } = self;
        let net = network();
        let step = |name: &str, input: &Planes| conv(input, net.layer(name), true);
        let mut e0 = step("e0", &planes);
        drop(planes);
        let mut e1 = step("e1", &e0.halved());
        let mut e2 = step("e2", &e1.halved());
        let mut e3 = step("e3", &e2.halved());
        let mut e4 = step("e4", &e3.halved());
        let e5 = step("e5", &e4.halved());
        add_doubled(&mut e4, &e5);
        add_doubled(&mut e3, &step("d4", &e4));
        add_doubled(&mut e2, &step("d3", &e3));
        drop((e3, e4, e5));
        add_made_of_half(&mut e1, &e2, net.layer("d2"), net.layer("u1"));
        drop(e2);
        add_made_of_half(&mut e0, &e1, net.layer("d1"), net.layer("u0"));
        drop(e1);
        let half_width = width.div_ceil(2);
        let mut answer =
            Answer { width, height, grain: vec![0; width * height], seam: vec![0; width * height], lump: Vec::new(), half_width };
        answer.lump.reserve(half_width * height.div_ceil(2));
        last_layers(&e0, net, &mut answer);
        answer
    }
}

/// The two layers at half scale, row by row, so that their planes need no memory.
fn last_layers(e0: &Planes, net: &Network, answer: &mut Answer) {
    let (first, last) = (net.layer("d0"), net.layer("out"));
    let byte = |logit: f32| (logit * LOGIT_UNIT).clamp(-127.0, 127.0) as i8;
    let (width, height) = (answer.width, answer.height);
    let mut middle = Planes::new(first.outputs, e0.width, 1);
    let mut out = Planes::new(last.outputs, e0.width, 1);
    for row in 0..height.div_ceil(2) {
        first.row(e0, row, &mut middle, true);
        last.row(&middle, 0, &mut out, false);
        for quarter in 0..4 {
            let y = 2 * row + quarter / 2;
            if y >= height {
                continue;
            }
            for (to, from) in [(&mut answer.grain, quarter), (&mut answer.seam, 4 + quarter)] {
                let line = to[y * width..(y + 1) * width].iter_mut().skip(quarter % 2).step_by(2);
                line.zip(out.row(from, 0)).for_each(|(to, logit)| *to = byte(*logit));
            }
        }
        answer.lump.extend(out.row(8, 0)[..answer.half_width].iter().map(|logit| byte(*logit)));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn doubt_is_the_share_of_unsure_pixels_inside_bodies() {
        let (width, height) = (320, 200);
        let mut grain = vec![-60_i8; width * height];
        (20..180).for_each(|y| (20..300).for_each(|x| grain[y * width + x] = if x < 160 { 90 } else { 20 }));
        let answer = Answer { width, height, grain, seam: Vec::new(), lump: Vec::new(), half_width: 160 };
        assert!((answer.doubtful_share(1.0) - 0.5).abs() < 0.01, "{}", answer.doubtful_share(1.0));
        // 274 x 154 pixels lie well inside: enough of a photo's own, too few of one that was drawn four times as large.
        assert!((answer.doubtful_share(1.4) - 0.5).abs() < 0.01, "{}", answer.doubtful_share(1.4));
        assert_eq!(answer.doubtful_share(4.0), 0.0);
        let few = Answer { grain: vec![20; 200], width: 20, height: 10, ..answer };
        assert_eq!(few.doubtful_share(1.0), 0.0);
    }

    #[test]
    fn clean_paper_holds_no_grain_and_the_same_window_gives_the_same_answer() {
        let paper = || {
            let mut features = Features::new(131, 77);
            let row: LightRow = std::array::from_fn(|_| vec![1.0; 132]);
            (0..39).for_each(|half_row| features.set_rows(half_row, &mut [row.clone(), row.clone()]));
            features.answer()
        };
        let answer = paper();
        assert!(answer.grain.iter().all(|logit| *logit < 0));
        assert_eq!((answer.grain.len(), answer.lump.len()), (131 * 77, 66 * 39));
        assert_eq!(answer.grain, paper().grain);
    }
}
