//! Chances to end in bins beyond an age, and sums of logarithms: what the likelihood of signs is worked out with.

use std::sync::OnceLock;

use multiversion::multiversion;

use super::super::elementary::{exps, lns};
use super::super::joint::{END_STEP, ENDS};
use super::grid::{LN_SCALE_STEP, LN_SHAPE_0, LN_SHAPE_STEP, SCALES, SHAPES};

/// Places in the table: every distance between an age and a scale on the grid.
const PLACES: usize = 2 * SCALES - 1;

/// Scales that are worked on at once.
const BLOCK: usize = 32;

/// The scales, filled up to whole blocks.
pub(super) const WIDE: usize = SCALES.next_multiple_of(BLOCK);

/// A row of the table, filled up so that a wide one may begin at the last place that is asked for.
const ROW: usize = SCALES - 1 + WIDE;

/// Factors of at least [`LEAST`] whose product stays above the smallest double.
pub(super) const MULTIPLIED: usize = 10;

/// Chances of signs count as at least this.
const LEAST: f32 = 1e-30;

/// Adds the logarithms of `product` to `sum` and begins it anew.
pub(super) fn add_ln(sum: &mut [f64], product: &mut [f64; WIDE]) {
    lns(product, 1e-300, 0.0);
    for (sum, product) in sum.iter_mut().zip(product) {
        *sum += *product;
        *product = 1.0;
    }
}

/// Natural logarithm of a normal positive number to single precision, in a form that compilers turn into vector code.
///
/// Source: the polynomial of Cephes' logf (S. Moshier; from memory, held against `ln` below).
pub(super) fn fast_ln(x: f32) -> f32 {
    const TO_ROOT_HALF: u32 = 0x3F35_04F3;
    let bits = x.to_bits().wrapping_sub(TO_ROOT_HALF);
    let exponent = (bits as i32) >> 23;
    let mantissa = f32::from_bits((bits & 0x007F_FFFF).wrapping_add(TO_ROOT_HALF));
    let z = mantissa - 1.0;
    let mut p = 7.037_683_6e-2_f32;
    for c in [-0.115_146_1, 0.116_769_98, -0.124_201_41, 0.142_493_23, -0.166_680_58, 0.200_007_15, -0.249_999_94, 0.333_333_3] {
        p = p * z + c;
    }
    z + z * z * (z * p - 0.5) + exponent as f32 * std::f32::consts::LN_2
}

/// Chance to end in each bin beyond an age, having reached it.
pub(super) struct Beyond {
    /// For each shape, bin, and place of the scale over the age. In single precision: it weighs likelihoods of signs, which are not
    /// known to a millionth.
    chances: Vec<f32>,
    /// For each shape and place, how many bins have any chance there or at a place before it: about half of the table is none.
    bins: Vec<usize>,
}

/// One life's signs: the age it has reached as a place among the scales, and the relative likelihood of the signs for an end in each bin
/// beyond it.
pub(super) struct Told {
    at: usize,
    ratio: [f32; ENDS],
}

impl Told {
    pub(super) fn new(at: usize, ratio: &[f64; ENDS]) -> Self {
        Self { at, ratio: ratio.map(|ratio| ratio as f32) }
    }
}

impl Beyond {
    fn of_shape(&self, shape: usize) -> (&[f32], &[usize]) {
        (&self.chances[shape * ENDS * ROW..(shape + 1) * ENDS * ROW], &self.bins[shape * ROW..(shape + 1) * ROW])
    }

    /// Multiplies `product` by the chance of the signs under each scale.
    pub(super) fn multiply(&self, shape: usize, told: &Told, product: &mut [f64; WIDE]) {
        multiply(self.of_shape(shape), told, product);
    }

    /// Adds `weight` times the logarithm of the chance of the signs under each scale to `sum`.
    pub(super) fn add_weighted(&self, shape: usize, told: &Told, weight: f64, sum: &mut [f64]) {
        add_weighted(self.of_shape(shape), told, weight, sum);
    }
}

/// Chance of the signs under each scale: the ratio of each bin by the chance to end in it.
#[inline(always)]
fn chance_told((chances, bins): (&[f32], &[usize]), told: &Told) -> [f32; WIDE] {
    let from = SCALES - 1 - told.at;
    let mut all = [0.0; WIDE];
    for (block, out) in all.chunks_exact_mut(BLOCK).enumerate() {
        let begin = from + block * BLOCK;
        let mut sums = [0.0_f32; BLOCK];
        let some = bins[begin + BLOCK - 1];
        for (row, ratio) in chances.chunks_exact(ROW).zip(&told.ratio).take(some) {
            for (sum, chance) in sums.iter_mut().zip(&row[begin..begin + BLOCK]) {
                *sum += ratio * chance;
            }
        }
        out.copy_from_slice(&sums);
    }
    all
}

#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn multiply(table: (&[f32], &[usize]), told: &Told, product: &mut [f64; WIDE]) {
    let chance = chance_told(table, told);
    product.iter_mut().zip(&chance).for_each(|(product, chance)| *product *= f64::from(chance.max(LEAST)));
}

#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn add_weighted(table: (&[f32], &[usize]), told: &Told, weight: f64, sum: &mut [f64]) {
    let chance = chance_told(table, told);
    sum.iter_mut().zip(&chance).for_each(|(sum, chance)| *sum += weight * f64::from(fast_ln(chance.max(LEAST))));
}

pub(super) fn beyond() -> &'static Beyond {
    static TABLE: OnceLock<Beyond> = OnceLock::new();
    TABLE.get_or_init(|| {
        let mut chances = vec![0.0_f32; SHAPES * ENDS * ROW];
        let mut bins = vec![0; SHAPES * ROW];
        for (i, (rows, bins)) in chances.chunks_exact_mut(ENDS * ROW).zip(bins.chunks_exact_mut(ROW)).enumerate() {
            let shape = (LN_SHAPE_0 + LN_SHAPE_STEP * i as f64).exp();
            let sums: [f64; PLACES] = std::array::from_fn(|place| (-shape * ((place as f64 - (SCALES - 1) as f64) * LN_SCALE_STEP)).exp());
            let mut before = [1.0; PLACES];
            for (b, row) in rows.chunks_exact_mut(ROW).enumerate() {
                let grown = 1.0 - (shape * END_STEP * (b + 1) as f64).exp();
                let mut after = [0.0; PLACES];
                if b + 1 < ENDS {
                    after = sums.map(|sum| sum * grown);
                    exps(&mut after, 0.0);
                }
                for (chance, (before, after)) in row.iter_mut().zip(before.iter().zip(&after)) {
                    // Denormal numbers would only be slow.
                    let told = before - after;
                    *chance = if told > f64::from(LEAST) { told as f32 } else { 0.0 };
                }
                let begins = row.iter().position(|chance| *chance > 0.0).unwrap_or(ROW);
                bins[begins..].fill(b + 1);
                before = after;
            }
        }
        Beyond { chances, bins }
    })
}
