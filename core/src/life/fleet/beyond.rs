//! Chances to end in bins beyond an age, and sums of logarithms: what the likelihood of signs is worked out with.

use std::sync::OnceLock;

use multiversion::multiversion;

use super::super::joint::{END_STEP, ENDS};
use super::grid::{LN_SCALE_STEP, LN_SHAPE_0, LN_SHAPE_STEP, SCALES, SHAPES};

/// Columns of [`beyond`]: every distance between an age and a scale on the grid.
pub(super) const BEYOND: usize = 2 * SCALES - 1;

/// Factors of at least 1e-30 whose product stays above the smallest double.
pub(super) const MULTIPLIED: usize = 10;

/// Adds the logarithms of `product` to `sum` and begins it anew.
pub(super) fn add_ln(sum: &mut [f64], product: &mut [f64; SCALES]) {
    for (sum, product) in sum.iter_mut().zip(product) {
        *sum += product.ln();
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
    pub(super) chances: Vec<f32>,
    /// For each shape and bin the first place at which the chance is more than nothing: about half of the table is none.
    pub(super) begins: Vec<usize>,
}

impl Beyond {
    /// Chance of the signs for each scale: `ratio` of each bin by the chance to end in it. `first` is the first bin's row of the table, `at`
    /// the age's place among the scales.
    pub(super) fn tell(&self, first: usize, at: usize, ratio: &[f64; ENDS], told: &mut [f32; SCALES]) {
        told.fill(0.0);
        for (row, ratio) in (first..).zip(ratio) {
            let from = row * BEYOND + SCALES - 1 - at;
            let begins = (self.begins[row] + at).saturating_sub(SCALES - 1).min(SCALES);
            add_scaled(&mut told[begins..], &self.chances[from + begins..from + SCALES], *ratio as f32);
        }
    }
}

#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn add_scaled(sums: &mut [f32], chances: &[f32], by: f32) {
    sums.iter_mut().zip(chances).for_each(|(sum, chance)| *sum += by * chance);
}

pub(super) fn beyond() -> &'static Beyond {
    static TABLE: OnceLock<Beyond> = OnceLock::new();
    TABLE.get_or_init(|| {
        let mut chances = vec![0.0_f32; SHAPES * ENDS * BEYOND];
        for i in 0..SHAPES {
            let shape = (LN_SHAPE_0 + LN_SHAPE_STEP * i as f64).exp();
            let grown: [f64; ENDS] = std::array::from_fn(|b| 1.0 - (shape * END_STEP * (b + 1) as f64).exp());
            for column in 0..BEYOND {
                let ln_scale_over_age = (column as f64 - (SCALES - 1) as f64) * LN_SCALE_STEP;
                let sum = (-shape * ln_scale_over_age).exp();
                let mut before = 1.0;
                for (b, grown) in grown.iter().enumerate() {
                    let after = if b + 1 == ENDS || before == 0.0 { 0.0 } else { (sum * grown).exp() };
                    // Denormal numbers would only be slow.
                    let chance = before - after;
                    chances[(i * ENDS + b) * BEYOND + column] = if chance > 1e-30 { chance as f32 } else { 0.0 };
                    before = after;
                }
            }
        }
        let begins = chances.chunks_exact(BEYOND).map(|row| row.iter().position(|chance| *chance > 0.0).unwrap_or(BEYOND)).collect();
        Beyond { chances, begins }
    })
}
