//! Age replacement: change by plan at an age, or at failure if that comes first, and what a unit of use costs then.
//!
//! Cost rate g(t) = (planned R(t) + failure (1 - R(t))) / integral of R from 0 to t: the mean cost of a cycle over its mean
//! length (renewal reward). Source: Barlow and Hunter 1960, as in reliawiki.com, Optimum Replacement Time Example (READ).

use statrs::function::gamma::checked_gamma_lr;

use super::numeric::root;
use super::weibull::Weibull;

/// The best age to change by plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Replacement {
    /// The age, in the unit of the lives.
    pub age: f64,
    /// Cost per unit of use when changing at that age.
    pub cost_rate: f64,
}

/// Mean length of a cycle that ends at `age` or at failure: the integral of R from 0 to `age`.
pub fn mean_cycle(life: &Weibull, age: f64) -> f64 {
    let sum = life.hazard_sum(age);
    if sum <= 0.0 {
        return 0.0;
    }
    life.mean() * checked_gamma_lr(1.0 / life.shape, sum).unwrap_or(1.0)
}

/// Cost per unit of use when changing at `age`; costs in any one currency.
pub fn cost_rate(life: &Weibull, planned: f64, failure: f64, age: f64) -> f64 {
    let lasting = life.reliability(age);
    (planned * lasting + failure * (1.0 - lasting)) / mean_cycle(life, age)
}

/// Cost per unit of use when changing at failure alone.
pub fn run_to_failure_rate(life: &Weibull, failure: f64) -> f64 {
    failure / life.mean()
}

/// The age of least cost rate; None where running to failure is cheapest: a shape of 1 or below, a failure that costs no
/// more than a planned change, or an optimum so late that nothing would reach it.
pub fn best_age(life: &Weibull, planned: f64, failure: f64) -> Option<Replacement> {
    if life.shape <= 1.0 || failure <= planned || planned <= 0.0 {
        return None;
    }
    // g'(t) = 0: h(t) * integral of R - (1 - R(t)) = planned / (failure - planned); the left side grows from 0.
    let target = planned / (failure - planned);
    let slope = |age: f64| {
        let hazard = life.shape / life.scale * (age / life.scale).powf(life.shape - 1.0);
        hazard * mean_cycle(life, age) - (1.0 - life.reliability(age)) - target
    };
    // Where fewer than one in 10^12 arrive, a plan is no plan.
    let far = life.scale * (12.0 * std::f64::consts::LN_10).powf(1.0 / life.shape);
    let age = root(slope, life.scale * 1e-9, far, life.scale * 1e-14)?;
    Some(Replacement { age, cost_rate: cost_rate(life, planned, failure, age) })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: f64, expected: f64, relative: f64) {
        assert!((got - expected).abs() <= relative * expected, "{got} against {expected}");
    }

    /// First row: inputs and formula READ reliawiki.com, Optimum Replacement Time Example, which prints 493.0470; a library's
    /// documentation prints 493.19 from a grid. Last: inputs READ in a public reliability article copy. The others and all
    /// digits: scipy 1.17.1 on the stationarity equation.
    #[test]
    fn best_ages_agree_with_the_stationarity_equation() {
        for (shape, scale, planned, failure, age, rate) in [
            (2.5, 1000.0, 1.0, 5.0, 493.046_958, 0.003_462_042_7),
            (2.0, 1.0, 1.0, 5.0, 0.510_655, 4.085_241_794_4),
            (2.0, 1.0, 1.0, 10.0, 0.336_451, 6.056_121_442_6),
            (3.0, 1.0, 1.0, 5.0, 0.502_610, 3.031_396_704_3),
            (3.0, 1.0, 1.0, 10.0, 0.382_456, 3.949_350_299_2),
            (2.0, 1000.0, 100.0, 1000.0, 336.451_191, 0.605_612_144_3),
            (3.5, 40_000.0, 600.0, 4000.0, 18_797.413_767, 0.045_038_326_5),
            (1.5, 1000.0, 1.0, 5.0, 675.491_992, 0.004_931_299_2),
            (3.0, 150.0, 2.0, 8.0, 83.122_982, 0.036_850_294_5),
        ] {
            let best = best_age(&Weibull { shape, scale }, planned, failure).unwrap();
            near(best.age, age, 2e-6);
            near(best.cost_rate, rate, 2e-8);
        }
        near(run_to_failure_rate(&Weibull { shape: 2.5, scale: 1000.0 }, 5.0), 0.005_635_302_5, 2e-8);
        near(run_to_failure_rate(&Weibull { shape: 3.0, scale: 150.0 }, 8.0), 0.059_725_147_8, 2e-8);
    }

    #[test]
    fn the_grid_answer_of_a_library_page_is_not_the_optimum() {
        let life = Weibull { shape: 2.5, scale: 1000.0 };
        let best = best_age(&life, 1.0, 5.0).unwrap();
        assert!((best.age - 493.19).abs() > 0.1);
        assert!(cost_rate(&life, 1.0, 5.0, 493.19) > best.cost_rate);
    }

    #[test]
    fn without_wear_out_or_without_a_dear_failure_there_is_no_best_age() {
        for shape in [0.5, 0.9, 1.0] {
            assert!(best_age(&Weibull { shape, scale: 1000.0 }, 1.0, 5.0).is_none());
        }
        assert!(best_age(&Weibull { shape: 3.0, scale: 1000.0 }, 5.0, 5.0).is_none());
        assert!(best_age(&Weibull { shape: 3.0, scale: 1000.0 }, 0.0, 5.0).is_none());
        assert!(best_age(&Weibull { shape: 1.05, scale: 1000.0 }, 4.9, 5.0).is_none());
    }
}
