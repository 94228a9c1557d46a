//! How honest past forecasts were: each as it was recorded when it was made, against what happened.

use serde::{Deserialize, Serialize};

/// The schema name of a track record.
pub const TRACK_SCHEMA: &str = "gritbook.track_record/1";

/// Ends of the bins. Chances of a failure are mostly small, so the bins are narrow there.
const EDGES: [f64; 8] = [0.0, 0.01, 0.03, 0.06, 0.12, 0.25, 0.5, 1.0];

/// Calls with an outcome from which on a share is told; below it one more failure would move the share by more than a tenth. Our choice.
pub const ENOUGH_CALLS: usize = 10;

/// What happened against what was said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Held {
    /// What was said lies within what the number of calls can show.
    AsSaid,
    /// More failed than was said.
    More,
    /// Fewer failed than was said.
    Fewer,
}

/// A forecast with its outcome.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forecasted {
    /// Chance of failure that was given, 0 to 1.
    pub chance: f64,
    /// A cup failed in that pour.
    pub failed: bool,
}

/// Forecasts of about the same chance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct TrackBin {
    /// Chances from this on.
    pub from: f64,
    /// Chances below this; the last bin holds its end.
    pub to: f64,
    /// How many.
    pub forecasts: usize,
    /// Their mean chance.
    pub mean_chance: f64,
    /// How many failed.
    pub failed: usize,
    /// 95 % interval of the share that fails in the long run, given what failed (Wilson).
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct TrackRecord {
    /// Always [`TRACK_SCHEMA`].
    pub schema: String,
    /// Forecasts whose pour is over.
    pub forecasts: usize,
    /// Recorded ones that have no outcome: the pour is still to come, or the cups were changed before it.
    pub without_outcome: usize,
    /// How many failed.
    pub failed: usize,
    /// How many were expected to.
    pub expected: f64,
    /// Mean squared difference of chance and outcome (Brier 1950); null without forecasts.
    pub brier: Option<f64>,
    /// Mean of -ln of the chance given to what happened; null without forecasts.
    pub log_score: Option<f64>,
    /// The same two for one who always says the share that failed in the end: what is to be beaten.
    pub brier_of_share: Option<f64>,
    /// Its log score.
    pub log_score_of_share: Option<f64>,
    /// Bins that hold any forecast.
    pub bins: Vec<TrackBin>,
}

impl TrackBin {
    /// How it turned out; null where there are too few calls to say.
    pub fn held(&self) -> Option<Held> {
        held(self.forecasts, self.mean_chance, (self.low, self.high))
    }
}

impl TrackRecord {
    /// 95 % interval of the share that fails in the long run, over all calls.
    pub fn interval(&self) -> (f64, f64) {
        wilson(self.failed, self.forecasts)
    }

    /// How all of them turned out; null where there are too few to say.
    pub fn held(&self) -> Option<Held> {
        held(self.forecasts, self.expected / self.forecasts.max(1) as f64, self.interval())
    }

    /// Whether the chances told risky pours from safe ones better than one chance for all would have (by the mean squared
    /// difference); null where too few calls or no failure make that no question.
    pub fn tells_apart(&self) -> Option<bool> {
        let some = self.forecasts >= ENOUGH_CALLS && self.failed > 0 && self.failed < self.forecasts;
        let (own, share) = self.brier.zip(self.brier_of_share).filter(|_| some)?;
        Some(own < share)
    }
}

fn held(calls: usize, said: f64, (low, high): (f64, f64)) -> Option<Held> {
    (calls >= ENOUGH_CALLS).then_some(match said {
        said if said < low => Held::More,
        said if said > high => Held::Fewer,
        _ => Held::AsSaid,
    })
}

/// Scores forecasts.
pub fn track_record(forecasts: &[Forecasted], without_outcome: usize) -> TrackRecord {
    let count = forecasts.len();
    let failed = forecasts.iter().filter(|forecast| forecast.failed).count();
    let share = failed as f64 / count.max(1) as f64;
    let mean = |f: &dyn Fn(&Forecasted) -> f64| (count > 0).then(|| forecasts.iter().map(f).sum::<f64>() / count as f64);
    let brier = |chance: f64, failed: bool| (chance - f64::from(u8::from(failed))).powi(2);
    // A chance of exactly 0 or 1 that proves wrong would cost without end; nobody can mean it.
    let log = |chance: f64, failed: bool| -(if failed { chance } else { 1.0 - chance }).max(1e-6).ln();
    let bins = EDGES.windows(2).filter_map(|ends| {
        let [from, to] = [ends[0], ends[1]];
        let inside: Vec<_> =
            forecasts.iter().filter(|one| one.chance >= from && (one.chance < to || (to >= 1.0 && one.chance <= 1.0))).collect();
        let failed = inside.iter().filter(|one| one.failed).count();
        let (low, high) = wilson(failed, inside.len());
        (!inside.is_empty()).then(|| TrackBin {
            from,
            to,
            forecasts: inside.len(),
            mean_chance: inside.iter().map(|one| one.chance).sum::<f64>() / inside.len() as f64,
            failed,
            low,
            high,
        })
    });
    TrackRecord {
        schema: TRACK_SCHEMA.to_owned(),
        forecasts: count,
        without_outcome,
        failed,
        expected: forecasts.iter().fold(0.0, |sum, one| sum + one.chance),
        brier: mean(&|one| brier(one.chance, one.failed)),
        log_score: mean(&|one| log(one.chance, one.failed)),
        brier_of_share: mean(&|one| brier(share, one.failed)),
        log_score_of_share: mean(&|one| log(share, one.failed)),
        bins: bins.collect(),
    }
}

/// Wilson's 95 % interval of a share (Wilson 1927; the formula from memory, its values checked below by hand).
fn wilson(hits: usize, of: usize) -> (f64, f64) {
    if of == 0 {
        return (0.0, 1.0);
    }
    let (n, p, z) = (of as f64, hits as f64 / of as f64, 1.959_963_984_540_054_f64);
    let middle = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half = z / (1.0 + z * z / n) * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    ((middle - half).max(0.0), (middle + half).min(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scores_are_those_by_hand() {
        let of = |chance, failed| Forecasted { chance, failed };
        let record = track_record(&[of(0.1, false), of(0.1, true), of(0.5, true), of(1.0, true)], 2);
        assert_eq!((record.forecasts, record.failed, record.without_outcome), (4, 3, 2));
        // (0.01 + 0.81 + 0.25 + 0) / 4 and -(ln 0.9 + ln 0.1 + ln 0.5 + ln 1) / 4.
        assert!((record.brier.unwrap() - 0.2675).abs() < 1e-12);
        assert!((record.log_score.unwrap() - (-(0.045_f64).ln() / 4.0)).abs() < 1e-12);
        assert!((record.brier_of_share.unwrap() - 0.1875).abs() < 1e-12);
        assert_eq!(record.bins.iter().map(|bin| (bin.forecasts, bin.failed)).collect::<Vec<_>>(), [(2, 1), (2, 2)]);
        assert!((record.expected - 1.7).abs() < 1e-12);
    }

    /// 1 of 10: 0.017876 to 0.404150 by hand with z 1.959964.
    #[test]
    fn wilson_interval_is_the_one_by_hand() {
        let (low, high) = wilson(1, 10);
        assert!((low - 0.017_876).abs() < 1e-5 && (high - 0.404_150).abs() < 1e-5, "{low} {high}");
        assert_eq!(wilson(0, 0), (0.0, 1.0));
    }

    #[test]
    fn too_few_calls_say_nothing_and_enough_say_which_way_they_were_wrong() {
        let of = |chance, failed: usize, calls: usize| {
            let made: Vec<_> = (0..calls).map(|at| Forecasted { chance, failed: at < failed }).collect();
            track_record(&made, 0)
        };
        for few in [of(0.1, 1, 9), track_record(&[], 4)] {
            assert_eq!((few.held(), few.tells_apart()), (None, None));
            assert!(few.bins.iter().all(|bin| bin.held().is_none()));
        }
        assert_eq!(of(0.1, 1, 10).held(), Some(Held::AsSaid));
        assert_eq!(of(0.1, 8, 20).held(), Some(Held::More));
        assert_eq!(of(0.4, 1, 40).bins[0].held(), Some(Held::Fewer));
    }

    #[test]
    fn chances_that_follow_what_happened_tell_apart_and_one_chance_for_all_does_not() {
        let made = |chances: [f64; 2]| -> Vec<_> {
            (0..40).map(|at| Forecasted { chance: chances[usize::from(at % 10 == 0)], failed: at % 10 == 0 }).collect()
        };
        assert_eq!(track_record(&made([0.02, 0.6]), 0).tells_apart(), Some(true));
        assert_eq!(track_record(&made([0.6, 0.02]), 0).tells_apart(), Some(false));
        // None failed: nothing was there to be told apart.
        let sound = [Forecasted { chance: 0.02, failed: false }; 20];
        assert_eq!(track_record(&sound, 0).tells_apart(), None);
    }

    #[test]
    fn without_forecasts_nothing_is_scored() {
        let record = track_record(&[], 1);
        assert!(record.brier.is_none() && record.bins.is_empty() && record.without_outcome == 1);
        assert!(record.expected.is_sign_positive(), "an empty sum of floats is -0");
    }
}
