//! exp and ln over whole rows of numbers, in plain arithmetic that compilers turn into vector code.
//!
//! Only sums, products, quotients and bits: the same answer on every machine, whatever its library of mathematics does. Source: the
//! rational forms of Cephes' exp and log (S. Moshier; from memory, held against the standard library's below).

use multiversion::multiversion;

/// Below this exp is taken as 0: no denormal numbers, which would only be slow.
const LEAST: f64 = -708.0;

/// e to the power of `x`, 0 below -708; not for numbers above 709.
#[inline(always)]
fn exp(x: f64) -> f64 {
    // Adding it leaves the nearest whole number in the lowest bits.
    const WHOLE: f64 = 6_755_399_441_055_744.0;
    let kept = if x > LEAST { x } else { LEAST };
    let shifted = kept * std::f64::consts::LOG2_E + WHOLE;
    let whole = shifted - WHOLE;
    let r = (kept - whole * 6.931_457_519_531_25e-1) - whole * 1.428_606_820_309_417_2e-6;
    let square = r * r;
    let p = r * ((1.261_771_930_748_105_9e-4 * square + 3.029_944_077_074_419_6e-2) * square + 1.0);
    let q = ((3.001_985_051_386_644_6e-6 * square + 2.524_483_403_496_841e-3) * square + 2.272_655_482_081_550_3e-1) * square + 2.0;
    let power = f64::from_bits((shifted.to_bits() << 52).wrapping_add(1023 << 52));
    let value = (1.0 + 2.0 * (p / (q - p))) * power;
    if x > LEAST { value } else { 0.0 }
}

/// Natural logarithm of a normal positive number.
#[inline(always)]
fn ln(x: f64) -> f64 {
    /// Bits of the square root of one half: numbers are split into a power of two and a factor from there to twice as much.
    const ROOT_HALF: u64 = 0x3FE6_A09E_667F_3BCD;
    /// 2 to the 52nd: with the bits of a small whole number below, the number beside it.
    const WHOLE: u64 = 0x4330_0000_0000_0000;
    let bits = x.to_bits().wrapping_sub(ROOT_HALF).wrapping_add(1023 << 52);
    let exponent = f64::from_bits((bits >> 52) | WHOLE) - (f64::from_bits(WHOLE) + 1023.0);
    let z = f64::from_bits((bits & 0x000F_FFFF_FFFF_FFFF).wrapping_add(ROOT_HALF)) - 1.0;
    let square = z * z;
    let mut p = 1.018_756_638_045_809_3e-4;
    for c in [4.974_949_949_767_47e-1, 4.705_791_198_788_817, 14.498_922_534_161_093, 17.936_867_850_781_983, 7.708_387_337_558_854] {
        p = p * z + c;
    }
    let mut q = 1.0;
    for c in [11.287_358_718_916_746, 45.227_914_583_753_225, 82.987_526_691_277_66, 71.154_475_061_856_39, 23.125_162_012_676_534] {
        q = q * z + c;
    }
    let y = z * (square * p / q) - exponent * 2.121_944_400_546_905_8e-4 - 0.5 * square;
    z + y + exponent * 0.693_359_375
}

/// Puts e to the power of each number less `from` in its place: 0 where that is below -708. No number may be above `from` + 709.
#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
pub fn exps(values: &mut [f64], from: f64) {
    values.iter_mut().for_each(|value| *value = exp(*value - from));
}

/// Puts the natural logarithm of each number, or of `least` where that is more, and `more` in its place. `least` must be above 1e-307.
#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
pub fn lns(values: &mut [f64], least: f64, more: f64) {
    values.iter_mut().for_each(|value| *value = ln(if *value > least { *value } else { least }) + more);
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn exp_of(x: f64) -> f64 {
        let mut values = [x; 9];
        exps(&mut values, 0.0);
        assert_eq!(values, [values[0]; 9]);
        values[0]
    }

    fn ln_of(x: f64) -> f64 {
        let mut values = [x; 9];
        lns(&mut values, 1e-300, 0.0);
        assert_eq!(values, [values[0]; 9]);
        values[0]
    }

    proptest! {
        #[test]
        fn prop_exp_is_the_standard_one_to_four_in_the_last_place(x in -707.9_f64..709.0) {
            prop_assert!((exp_of(x) / x.exp() - 1.0).abs() < 9e-16);
        }

        #[test]
        fn prop_ln_is_the_standard_one_to_four_in_the_last_place(power in -690.0_f64..700.0, near in 0.5_f64..2.0) {
            for x in [power.exp(), near] {
                prop_assert!((ln_of(x) - x.ln()).abs() <= 9e-16 * x.ln().abs().max(0.01), "{x}");
            }
        }
    }

    #[test]
    fn ends_are_held() {
        assert_eq!([exp_of(0.0), exp_of(-708.0), exp_of(f64::NEG_INFINITY)], [1.0, 0.0, 0.0]);
        assert_eq!(ln_of(1.0), 0.0);
        assert_eq!(ln_of(0.0), ln_of(1e-300));
        let mut shifted = [2.0];
        exps(&mut shifted, 2.0);
        lns(&mut shifted, 1e-300, 5.0);
        assert_eq!(shifted, [5.0]);
    }
}
