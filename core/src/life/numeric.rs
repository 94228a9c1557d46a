//! Bracketed roots, one-dimensional minima, quadrature. All deterministic, none unbounded.

/// A root of `f` between `low` and `high` by Brent's method; None where the ends have the same sign or are not finite.
///
/// Source: R. P. Brent, Algorithms for Minimization without Derivatives, 1973, chapter 4 (from memory; checked below).
pub fn root(mut f: impl FnMut(f64) -> f64, low: f64, high: f64, tolerance: f64) -> Option<f64> {
    let (mut a, mut b) = (low, high);
    let (mut fa, mut fb) = (f(a), f(b));
    if !(fa.is_finite() && fb.is_finite()) || fa * fb > 0.0 {
        return None;
    }
    let (mut c, mut fc) = (a, fa);
    let mut d = b - a;
    let mut e = d;
    for _ in 0..200 {
        if fb * fc > 0.0 {
            (c, fc) = (a, fa);
            d = b - a;
            e = d;
        }
        if fc.abs() < fb.abs() {
            (a, fa) = (b, fb);
            (b, fb) = (c, fc);
            (c, fc) = (a, fa);
        }
        let near = 2.0 * f64::EPSILON * b.abs() + 0.5 * tolerance;
        let half = 0.5 * (c - b);
        if half.abs() <= near || fb == 0.0 {
            return Some(b);
        }
        if e.abs() >= near && fa.abs() > fb.abs() {
            let s = fb / fa;
            let (mut p, mut q) = if a == c {
                (2.0 * half * s, 1.0 - s)
            } else {
                let (q, r) = (fa / fc, fb / fc);
                (s * (2.0 * half * q * (q - r) - (b - a) * (r - 1.0)), (q - 1.0) * (r - 1.0) * (s - 1.0))
            };
            if p > 0.0 {
                q = -q;
            } else {
                p = -p;
            }
            if 2.0 * p < (3.0 * half * q - (near * q).abs()).min((e * q).abs()) {
                e = d;
                d = p / q;
            } else {
                d = half;
                e = half;
            }
        } else {
            d = half;
            e = half;
        }
        (a, fa) = (b, fb);
        b += if d.abs() > near { d } else { near.copysign(half) };
        fb = f(b);
        if !fb.is_finite() {
            return None;
        }
    }
    Some(b)
}

/// Where `f` is least between `low` and `high`, and its value there: Brent's parabola with golden sections.
///
/// Finds one minimum; of several it may be any. `tolerance` is relative to the place, not below 1e-9.
pub fn minimum(mut f: impl FnMut(f64) -> f64, low: f64, high: f64, tolerance: f64) -> (f64, f64) {
    const GOLDEN: f64 = 0.381_966_011_250_105;
    let (mut a, mut b) = (low, high);
    let mut x = a + GOLDEN * (b - a);
    let (mut w, mut v) = (x, x);
    let mut fx = f(x);
    let (mut fw, mut fv) = (fx, fx);
    let (mut d, mut e) = (0.0_f64, 0.0_f64);
    for _ in 0..120 {
        let middle = 0.5 * (a + b);
        let near = tolerance.max(1e-9) * x.abs() + 1e-12;
        if (x - middle).abs() <= 2.0 * near - 0.5 * (b - a) {
            break;
        }
        let mut golden = true;
        if e.abs() > near {
            let r = (x - w) * (fx - fv);
            let mut q = (x - v) * (fx - fw);
            let mut p = (x - v) * q - (x - w) * r;
            q = 2.0 * (q - r);
            if q > 0.0 {
                p = -p;
            }
            q = q.abs();
            let before = e;
            e = d;
            // The same parabola as before leads to where an end now is: that is no guess, and rounding must not decide it.
            let inside = 1.0 - 1e-9;
            if p.abs() < (0.5 * q * before).abs() && p > q * (a - x) * inside && p < q * (b - x) * inside {
                d = p / q;
                let u = x + d;
                if u - a < 2.0 * near || b - u < 2.0 * near {
                    d = near.copysign(middle - x);
                }
                golden = false;
            }
        }
        if golden {
            e = if x >= middle { a - x } else { b - x };
            d = GOLDEN * e;
        }
        let u = x + if d.abs() >= near { d } else { near.copysign(d) };
        let fu = f(u);
        if fu <= fx {
            if u >= x {
                a = x;
            } else {
                b = x;
            }
            (v, fv) = (w, fw);
            (w, fw) = (x, fx);
            (x, fx) = (u, fu);
        } else {
            if u < x {
                a = u;
            } else {
                b = u;
            }
            if fu <= fw || w == x {
                (v, fv) = (w, fw);
                (w, fw) = (u, fu);
            } else if fu <= fv || v == x || v == w {
                (v, fv) = (u, fu);
            }
        }
    }
    (x, fx)
}

/// Nodes and weights of the eight-point Gauss-Legendre rule on -1..1 (Abramowitz and Stegun, table 25.4).
const GAUSS8: [(f64, f64); 4] = [
    (0.183_434_642_495_649_8, 0.362_683_783_378_362),
    (0.525_532_409_916_329, 0.313_706_645_877_887_3),
    (0.796_666_477_413_626_7, 0.222_381_034_453_374_5),
    (0.960_289_856_497_536_3, 0.101_228_536_290_376_3),
];

/// The integral of `f` from `low` to `high` by `pieces` eight-point Gauss-Legendre rules.
pub fn integral(mut f: impl FnMut(f64) -> f64, low: f64, high: f64, pieces: usize) -> f64 {
    let step = (high - low) / pieces as f64;
    let half = step / 2.0;
    let mut sum = 0.0;
    for piece in 0..pieces {
        let middle = low + step * (piece as f64 + 0.5);
        for (node, weight) in GAUSS8 {
            sum += weight * (f(middle - half * node) + f(middle + half * node));
        }
    }
    sum * half
}

/// The value below which the share `q` of the weight lies; values need not be sorted. NaN where there is no weight.
pub fn weighted_quantile(values_and_weights: &mut [(f64, f64)], q: f64) -> f64 {
    crate::order::pairs(values_and_weights);
    let total: f64 = values_and_weights.iter().map(|(_, weight)| weight).sum();
    let mut sum = 0.0;
    for &(value, weight) in values_and_weights.iter() {
        sum += weight;
        if sum >= q * total {
            return value;
        }
    }
    values_and_weights.last().map_or(f64::NAN, |&(value, _)| value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn root_of_a_cubic_is_found_and_a_missing_one_is_said() {
        let x = root(|x| x * x * x - 2.0, 0.0, 5.0, 1e-14).unwrap();
        assert!((x - 2.0_f64.cbrt()).abs() < 1e-12);
        assert!(root(|x| x * x + 1.0, -1.0, 1.0, 1e-9).is_none());
        assert!(root(|_| f64::NAN, -1.0, 1.0, 1e-9).is_none());
    }

    #[test]
    fn minimum_of_a_bowl_is_found() {
        let (x, value) = minimum(|x| (x - 1.25).powi(2) + 3.0, -10.0, 10.0, 1e-9);
        assert!((x - 1.25).abs() < 1e-6 && (value - 3.0).abs() < 1e-12);
    }

    #[test]
    fn integral_of_the_exponential_is_exact_to_rounding() {
        assert!((integral(f64::exp, 0.0, 1.0, 1) - (1.0_f64.exp() - 1.0)).abs() < 1e-14);
    }

    #[test]
    fn quantile_follows_the_weights() {
        let mut values = [(3.0, 1.0), (1.0, 2.0), (2.0, 1.0)];
        assert!((weighted_quantile(&mut values, 0.5) - 1.0).abs() < 1e-12);
        assert!((weighted_quantile(&mut values, 0.9) - 3.0).abs() < 1e-12);
    }
}
