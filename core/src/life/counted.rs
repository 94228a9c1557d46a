//! Lives without a model: Kaplan-Meier with Greenwood's error, Nelson-Aalen.

use serde::{Deserialize, Serialize};

use super::sample::{Ending, LifeSample};

/// One step of the counted curve, at an age at which something failed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct CountedRow {
    /// The age, in the unit of the lives.
    pub age: f64,
    /// Lives under watch just before it.
    pub at_risk: u32,
    /// How many failed at it.
    pub failed: u32,
    /// Kaplan-Meier estimate of the chance to last beyond it.
    pub lasting: f64,
    /// Greenwood's standard error of `lasting`.
    pub lasting_se: f64,
    /// Nelson-Aalen estimate of the hazard sum, no smoothing of ties.
    pub hazard_sum: f64,
}

/// The steps in order of age.
///
/// A life sound at the very age of a failure still counts as at risk there (the usual convention). A failure known only
/// between two ages is placed at its upper end; the Weibull fit uses the whole interval, this curve is for the eye.
pub fn kaplan_meier(lives: &[LifeSample]) -> Vec<CountedRow> {
    let end = |life: &LifeSample| match life.ending {
        Ending::Failed(age) | Ending::SoundAt(age) | Ending::FailedBetween(_, age) => age,
    };
    let mut ages: Vec<f64> = lives.iter().filter(|life| life.has_failed()).map(end).collect();
    ages.sort_by(f64::total_cmp);
    ages.dedup();

    // Under watch just before age t: begun before t, not ended before t. Two sorted lists give both counts.
    let mut ends: Vec<f64> = lives.iter().map(end).collect();
    let mut begins: Vec<f64> = lives.iter().map(|life| life.watched_from).collect();
    let mut failures: Vec<f64> = lives.iter().filter(|life| life.has_failed()).map(end).collect();
    for list in [&mut ends, &mut begins, &mut failures] {
        list.sort_by(f64::total_cmp);
    }
    let (mut lasting, mut greenwood, mut hazard_sum) = (1.0_f64, 0.0_f64, 0.0_f64);
    let mut rows = Vec::with_capacity(ages.len());
    for age in ages {
        let begun = begins.partition_point(|&begin| begin < age);
        let ended = ends.partition_point(|&end| end < age);
        let at_risk = begun.saturating_sub(ended);
        let failed = failures.partition_point(|&t| t <= age) - failures.partition_point(|&t| t < age);
        if at_risk == 0 {
            continue;
        }
        let (n, d) = (at_risk as f64, failed as f64);
        lasting *= 1.0 - d / n;
        greenwood += if at_risk > failed { d / (n * (n - d)) } else { 0.0 };
        hazard_sum += d / n;
        rows.push(CountedRow {
            age,
            at_risk: u32::try_from(at_risk).unwrap_or(u32::MAX),
            failed: u32::try_from(failed).unwrap_or(u32::MAX),
            lasting,
            lasting_se: lasting * greenwood.sqrt(),
            hazard_sum,
        });
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lives(failed: &[f64], sound: &[f64]) -> Vec<LifeSample> {
        failed.iter().map(|&t| LifeSample::failed(t)).chain(sound.iter().map(|&t| LifeSample::sound_at(t))).collect()
    }

    /// READ itl.nist.gov/div898/handbook/apr/section2/apr215.htm (data and first fractions); the rest and Greenwood's
    /// errors by two libraries (lifelines 0.30.3, reliability 0.9.0).
    #[test]
    fn nist_apr215_table_is_reproduced() {
        let sound: Vec<f64> = [50.0, 100.0, 125.0, 150.0].into_iter().chain([200.0; 10]).collect();
        let rows = kaplan_meier(&lives(&[10.0, 32.0, 56.0, 98.0, 122.0, 181.0], &sound));
        let lasting = [0.95, 0.9, 0.847_058_823_5, 0.794_117_647_1, 0.737_394_958, 0.670_359_052_7];
        let errors = [0.048_733_971_7, 0.067_082_039_3, 0.081_388_319_9, 0.091_921_279_8, 0.101_356_803_4, 0.112_140_685_9];
        let hazard = [0.05, 0.102_631_578_9, 0.161_455_108_4, 0.223_955_108_4, 0.295_383_679_8, 0.386_292_770_7];
        let at_risk = [20, 19, 17, 16, 14, 11];
        assert_eq!(rows.len(), 6);
        for (i, row) in rows.iter().enumerate() {
            assert!((row.lasting - lasting[i]).abs() < 1e-9);
            assert!((row.lasting_se - errors[i]).abs() < 1e-9);
            assert!((row.hazard_sum - hazard[i]).abs() < 1e-9);
            assert_eq!(row.at_risk, at_risk[i]);
        }
    }

    /// READ reliability docs, Kaplan-Meier.rst (all rows): the automotive set.
    #[test]
    fn automotive_table_is_reproduced() {
        let rows = kaplan_meier(&lives(&super::super::fit::published::AUTOMOTIVE_FAILED, &super::super::fit::published::AUTOMOTIVE_SOUND));
        let expected = [
            (28, 0.964_285_71, 0.035_070_73),
            (25, 0.925_714_29, 0.050_613_96),
            (23, 0.885_465_84, 0.062_396_78),
            (22, 0.845_217_39, 0.071_370_61),
            (17, 0.795_498_72, 0.082_696_2),
            (15, 0.742_465_47, 0.092_640_47),
            (13, 0.685_352_74, 0.101_605_33),
            (10, 0.616_817_47, 0.112_203_06),
            (8, 0.539_715_29, 0.121_821_63),
            (2, 0.269_857_64, 0.200_304_02),
        ];
        assert_eq!(rows.len(), expected.len());
        for (row, (at_risk, lasting, error)) in rows.iter().zip(expected) {
            assert_eq!(row.at_risk, at_risk);
            assert!((row.lasting - lasting).abs() < 1e-8 && (row.lasting_se - error).abs() < 1e-8);
        }
    }

    /// 6-MP remission times, weeks (Freireich 1963, as shipped with lifelines 0.30.3): ties at 6.
    #[test]
    fn six_mp_remissions_with_ties_are_reproduced() {
        let failed = [6.0, 6.0, 6.0, 7.0, 10.0, 13.0, 16.0, 22.0, 23.0];
        let sound = [6.0, 9.0, 10.0, 11.0, 17.0, 19.0, 20.0, 25.0, 32.0, 32.0, 34.0, 35.0];
        let rows = kaplan_meier(&lives(&failed, &sound));
        let expected = [(21, 0.857_142_857_1), (17, 0.806_722_689_1), (15, 0.752_941_176_5), (12, 0.690_196_078_4)];
        for (row, (at_risk, lasting)) in rows.iter().zip(expected) {
            assert_eq!(row.at_risk, at_risk);
            assert!((row.lasting - lasting).abs() < 1e-9);
        }
        assert_eq!(rows[0].failed, 3);
        assert!((rows[6].lasting - 0.448_179_271_7).abs() < 1e-9);
    }

    #[test]
    fn a_life_found_in_use_is_not_at_risk_before_it_was_found() {
        let found = LifeSample { watched_from: 15.0, ending: Ending::Failed(30.0) };
        let rows = kaplan_meier(&[LifeSample::failed(10.0), LifeSample::sound_at(40.0), found]);
        assert_eq!(rows.iter().map(|row| row.at_risk).collect::<Vec<_>>(), [2, 2]);
        assert!((rows[1].lasting - 0.25).abs() < 1e-12);
    }
}
