use proptest::prelude::*;

use super::*;

#[test]
fn chances_of_all_steps_sum_to_one() {
    let model = ConditionModel::assumed();
    let table = model.tables();
    for share in [0.0, 0.3, 0.8, 1.2] {
        let sum: f64 = (0..=3).map(|step| table.level.chance(step, share)).sum();
        assert!((sum - 1.0).abs() < 1e-9);
    }
    assert!((model.grade.at_most(1, 0.45) - 0.5).abs() < 1e-12);
}

#[test]
fn a_shop_whose_cups_show_sand_early_is_learned_from() {
    let model = ConditionModel::assumed();
    let truth = SignModel::new(&[0.35, 0.6, 0.85], 0.05);
    // Signs in the exact proportions of the truth.
    let mut counts = ConditionCounts::default();
    for i in 0..40 {
        let life_share = (f64::from(i) + 0.5) / 40.0;
        for step in 0..=3 {
            counts.level.add(life_share, step, 10.0 * truth.chance(step, life_share));
        }
    }
    let mut learned = model.clone();
    for _ in 0..6 {
        learned = learned.learned(&counts);
    }
    for (got, expected) in learned.level.cuts.iter().zip(&truth.cuts) {
        assert!((got - expected).abs() < 0.03, "{learned:?}");
    }
    assert!(learned.level.misread < 0.05);
    assert_eq!(model.learned(&ConditionCounts::default()), model);
}

#[test]
fn a_shop_that_misreads_a_fifth_is_found_out() {
    let truth = SignModel { misread: 0.2, ..SignModel::new(&[0.5, 0.75, 0.93], 0.08) };
    let mut counts = ConditionCounts::default();
    for i in 0..40 {
        let life_share = (f64::from(i) + 0.5) / 40.0;
        (0..=3).for_each(|step| counts.level.add(life_share, step, 10.0 * truth.chance(step, life_share)));
    }
    let learned = (0..4).fold(ConditionModel::assumed(), |model, _| model.learned(&counts));
    assert!((0.15..=0.25).contains(&learned.level.misread), "{learned:?}");
}

proptest! {
    /// Likelihood ratio of a worse sign to a better one never falls as the share of life grows, misread signs or not.
    #[test]
    fn prop_worse_sign_speaks_for_a_later_life(share in 0.0..1.5_f64, more in 0.0..0.5_f64, step in 0_u8..4, misread in 0.0..0.4_f64) {
        let table = SignModel { misread, ..ConditionModel::assumed().grade }.table();
        let ratio = |share: f64| table.chance(step + 1, share) / table.chance(step, share);
        prop_assert!(ratio(share + more) >= ratio(share) * (1.0 - 1e-6));
    }
}
