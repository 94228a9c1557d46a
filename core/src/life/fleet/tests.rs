use super::beyond::fast_ln;
use super::*;

fn known(age: f64, failed: bool) -> GridLife {
    GridLife::plain(age, failed)
}

fn mean_ln(cells: &[Cell], f: impl Fn(&Weibull) -> f64) -> f64 {
    cells.iter().map(|cell| cell.weight * f(&cell.life)).sum()
}

#[test]
fn fast_logarithm_is_the_logarithm_to_single_precision() {
    for x in (0..4000).map(|i| (0.035 * f64::from(i) - 69.0).exp() as f32) {
        let exact = f64::from(x).ln();
        assert!((f64::from(fast_ln(x)) - exact).abs() < 2e-7 * exact.abs().max(1.0), "{x}");
    }
}

#[test]
fn lives_of_every_kind_weigh_alike_whichever_way_they_are_multiplied() {
    let told = |weight: f64| {
        let ratio = std::array::from_fn(|b| (-0.2 * b as f64).exp());
        let lives: Vec<GridLife> = (0..25)
            .map(|i| GridLife {
                ratio: Some(ratio),
                failed: weight < 1.0,
                worn_out: 0.0,
                mishap: weight,
                ..known(900.0 + 40.0 * f64::from(i), false)
            })
            .collect();
        mean_ln(&Fleet::new().posterior("P", &lives), |life| life.scale.ln())
    };
    assert!((told(1.0) - told(1.0 - 1e-7)).abs() < 1e-4, "{} {}", told(1.0), told(1.0 - 1e-7));
}

#[test]
fn what_contradicts_itself_is_weighed_by_logarithms() {
    let mut weights = [1.0, 0.0, 0.0];
    weigh(&mut weights, &[-2000.0, 0.0, -1.0]);
    assert_eq!((weights[0], weights[1]), (0.0, 1.0));
    let mut weights = [1.0, 3.0];
    weigh(&mut weights, &[0.0, -1.0]);
    assert!((weights[1] / weights[0] - 3.0 / 1.0_f64.exp()).abs() < 1e-12);
}

#[test]
fn without_lives_the_prior_speaks_and_holds_700_and_20000() {
    let cells = Fleet::new().posterior("P", &[]);
    let below = |age: f64| cells.iter().map(|cell| cell.weight * (1.0 - cell.life.reliability(age))).sum::<f64>();
    assert!(below(700.0) > 0.05, "{}", below(700.0));
    assert!(below(20_000.0) < 0.95, "{}", below(20_000.0));
    assert!((mean_ln(&cells, |life| life.shape.ln()) - PRIOR_LN_SHAPE.0).abs() < 0.05);
}

#[test]
fn many_lives_overrule_the_prior() {
    // Lives at the quantiles of shape 4, scale 1500.
    let truth = Weibull { shape: 4.0, scale: 1500.0 };
    let mut fleet = Fleet::new();
    for pump in 0..6 {
        let lives: Vec<_> = (0..20).map(|i| known(truth.quantile((f64::from(i) + 0.5) / 20.0), true)).collect();
        fleet.set_pump(&format!("P{pump}"), &lives, &[]);
    }
    let cells = fleet.posterior("another", &[]);
    assert!((mean_ln(&cells, |life| life.scale.ln()) - truth.scale.ln()).abs() < 0.04);
    assert!((mean_ln(&cells, |life| life.shape.ln()) - truth.shape.ln()).abs() < 0.12);
}

#[test]
fn pump_with_few_lives_leans_on_the_fleet() {
    let mut fleet = Fleet::new();
    for pump in 0..8 {
        let lives: Vec<_> = (0..12).map(|i| known(2000.0 + 100.0 * f64::from(i), true)).collect();
        fleet.set_pump(&format!("P{pump}"), &lives, &[]);
    }
    let ln_scale = |cells: Vec<Cell>| mean_ln(&cells, |life| life.scale.ln());
    let alone = ln_scale(Fleet::new().posterior("new", &[known(900.0, true)]));
    let leaning = ln_scale(fleet.posterior("new", &[known(900.0, true)]));
    let others = ln_scale(fleet.posterior("new", &[]));
    assert!(alone < leaning + 1.0 && leaning < others, "{alone} {leaning} {others}");
    assert!(leaning > 1200.0_f64.ln(), "{}", leaning.exp());
}

#[test]
fn interval_and_exact_agree_where_the_interval_is_narrow() {
    let mean = |lives: &[GridLife]| mean_ln(&Fleet::new().posterior("P", lives), |life| life.scale.ln());
    let narrow = GridLife { low: 999.9, high: 1000.1, ..known(1000.0, true) };
    let exact = mean(&[known(1000.0, true), known(1500.0, false)]);
    assert!((exact - mean(&[narrow, known(1500.0, false)])).abs() < 1e-5);
}

#[test]
fn running_life_counts_for_the_fleet_only_by_tenths() {
    let mut fleet = Fleet::new();
    let running = |age: f64| [GridLife { running: true, ..known(age, false) }];
    assert!(fleet.set_pump("P", &running(1000.0), &[]));
    assert!(!fleet.set_pump("P", &running(1050.0), &[]));
    assert!(fleet.set_pump("P", &running(1200.0), &[]));
    assert!(fleet.set_pump("P", &[known(1200.0, true)], &[1.0]));
}

#[test]
fn part_of_unknown_age_is_older_than_it_was_watched_and_younger_is_likelier_with_early_failure() {
    let life = Weibull { shape: 3.0, scale: 1000.0 };
    let median = age_of_unknown(&life, 0.0, 0.5);
    // For a shape far above 1 the age is nearly uniform over a life: its median is near half the mean.
    assert!((median / life.mean() - 0.5).abs() < 0.06, "{median}");
    assert!(age_of_unknown(&life, 700.0, 0.5) > 700.0);
    assert!(age_of_unknown(&life, 700.0, 0.1) < age_of_unknown(&life, 700.0, 0.9));
}

#[test]
fn running_life_of_unknown_age_speaks_for_longer_lives_than_nothing() {
    let mean = |lives: &[GridLife]| mean_ln(&Fleet::new().posterior("P", lives), |life| life.scale.ln());
    let unknown = GridLife { watched_from: None, ..known(6000.0, false) };
    assert!(mean(&[unknown]) > mean(&[]) + 0.1);
    assert!(mean(&[GridLife { low: 300.0, high: 300.0, failed: true, ..unknown }]) < mean(&[]));
}
