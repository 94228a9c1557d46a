//! How parts end where several ends compete: failing mid-pour, pulled as worn, damaged, by plan, with the other cup.
//!
//! The share that has ended in one way by an age (cumulative incidence) is counted as it happened, the other ways beside it; it is not what
//! would be if the others were none (Aalen and Johansen 1978; held against lifelines' AalenJohansenFitter in `tests/peers/lives.py`).

use serde::{Deserialize, Serialize};

use super::sample::LifeSample;
use crate::history::LifeEnd;
use crate::model::entry::RemovalReason;

/// A way to end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum EndKind {
    /// It gave up mid-pour.
    Failed,
    /// Pulled because it looked worn.
    Worn,
    /// Pulled because it was damaged.
    Damaged,
    /// Pulled by plan.
    Planned,
    /// Pulled in the visit for the other cup.
    OtherCup,
    /// Pulled, and nobody wrote down why.
    NotTold,
}

impl EndKind {
    /// Of an ended life; None for one that is still in.
    pub fn of(end: LifeEnd) -> Option<Self> {
        Some(match end {
            LifeEnd::Running => return None,
            LifeEnd::Failed | LifeEnd::Removed(Some(RemovalReason::Failed)) => Self::Failed,
            LifeEnd::Removed(Some(RemovalReason::Worn)) => Self::Worn,
            LifeEnd::Removed(Some(RemovalReason::Damaged)) => Self::Damaged,
            LifeEnd::Removed(Some(RemovalReason::Planned)) => Self::Planned,
            LifeEnd::Removed(Some(RemovalReason::OtherCup)) => Self::OtherCup,
            LifeEnd::Removed(None) => Self::NotTold,
        })
    }

    /// In a few words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Failed => "failed mid-pour",
            Self::Worn => "pulled worn",
            Self::Damaged => "damaged",
            Self::Planned => "by plan",
            Self::OtherCup => "with the other cup",
            Self::NotTold => "pulled, no reason told",
        }
    }
}

/// A step of one end's curve.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct EndStep {
    /// Age, m3.
    pub age_m3: f64,
    /// Share of all that has ended so by this age, 0 to 1.
    pub share: f64,
}

/// One way to end, with its share.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct EndShare {
    /// Which.
    pub end: EndKind,
    /// Lives that ended so at a known age.
    pub lives: usize,
    /// Share of all that has ended so by the highest age on record, 0 to 1; what is missing to 1 over all ends was still in then.
    pub share: f64,
    /// The curve, a step at each age at which one ended so.
    pub steps: Vec<EndStep>,
}

/// Shares of the ends that occur. A life with no end is still in, or its age at its end is not known: it counts as watched so far.
pub fn competing_ends(lives: &[(LifeSample, Option<EndKind>)]) -> Vec<EndShare> {
    let mut ended: Vec<(f64, EndKind)> = lives.iter().filter_map(|(life, end)| end.map(|end| (life.lasted(), end))).collect();
    ended.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut shares: Vec<EndShare> = Vec::new();
    let mut still_in = 1.0;
    for at_once in ended.chunk_by(|a, b| a.0 == b.0) {
        let age_m3 = at_once[0].0;
        let at_risk = lives.iter().filter(|(life, _)| life.watched_from < age_m3 && life.lasted() >= age_m3).count();
        if at_risk == 0 {
            continue;
        }
        for alike in at_once.chunk_by(|a, b| a.1 == b.1) {
            let end = alike[0].1;
            let more = still_in * alike.len() as f64 / at_risk as f64;
            let at = shares.iter().position(|share| share.end == end).unwrap_or_else(|| {
                shares.push(EndShare { end, lives: 0, share: 0.0, steps: Vec::new() });
                shares.len() - 1
            });
            let of = &mut shares[at];
            of.lives += alike.len();
            of.share += more;
            of.steps.push(EndStep { age_m3, share: of.share });
        }
        still_in *= 1.0 - at_once.len() as f64 / at_risk as f64;
    }
    shares.sort_by_key(|share| share.end);
    shares
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_lives_by_hand() {
        let at = |age: f64, end| (LifeSample::sound_at(age), end);
        let lives = [at(1.0, Some(EndKind::Failed)), at(2.0, Some(EndKind::Worn)), at(3.0, None), at(4.0, Some(EndKind::Failed))];
        let shares = competing_ends(&lives);
        // 1/4 fails at 1; 3/4 x 1/3 is pulled at 2; 1/2 is in and the one left of them fails at 4.
        assert_eq!(shares.iter().map(|share| (share.end, share.lives)).collect::<Vec<_>>(), [(EndKind::Failed, 2), (EndKind::Worn, 1)]);
        assert!((shares[0].steps[0].share - 0.25).abs() < 1e-12 && (shares[0].share - 0.75).abs() < 1e-12);
        assert!((shares[1].share - 0.25).abs() < 1e-12);
    }

    #[test]
    fn with_one_end_alone_it_is_what_kaplan_meier_leaves() {
        let lives: Vec<LifeSample> =
            (1..=9).map(|i| if i % 3 == 0 { LifeSample::sound_at(f64::from(i)) } else { LifeSample::failed(f64::from(i)) }).collect();
        let with_ends: Vec<_> = lives.iter().map(|life| (*life, life.has_failed().then_some(EndKind::Failed))).collect();
        let shares = competing_ends(&with_ends);
        for (step, row) in shares[0].steps.iter().zip(crate::life::kaplan_meier(&lives)) {
            assert!((1.0 - step.share - row.lasting).abs() < 1e-12);
        }
    }

    #[test]
    fn a_part_found_in_use_is_not_at_risk_before_and_no_lives_give_no_ends() {
        let found = LifeSample { watched_from: 1.5, ..LifeSample::sound_at(3.0) };
        let lives = [(LifeSample::failed(1.0), Some(EndKind::Failed)), (LifeSample::sound_at(2.0), None), (found, Some(EndKind::Worn))];
        let shares = competing_ends(&lives);
        assert!((shares[0].share - 0.5).abs() < 1e-12 && (shares[1].share - 0.5).abs() < 1e-12);
        assert!(competing_ends(&[]).is_empty());
    }
}
