//! How honest past calls were.

use gritbook_core::call as core_call;

use crate::cross::{Cross, Piece, choice};

choice! {
    /// What happened against what was said.
    Held = core_call::Held {
        /// What was said lies within what the number of calls can show.
        AsSaid,
        /// More failed than was said.
        More,
        /// Fewer failed than was said.
        Fewer,
    }
}

/// Recorded chances of about the same size, against what happened.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct TrackBin {
    /// Chances of failure from this on, 0 to 1.
    pub from: f64,
    /// Chances below this.
    pub to: f64,
    /// How many.
    pub forecasts: u64,
    /// Their mean chance.
    pub mean_chance: f64,
    /// How many failed.
    pub failed: u64,
    /// 95 % interval of the share that fails in the long run, given what failed.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// How it turned out; null where there are too few calls to say: tell no share then.
    pub held: Option<Held>,
}

/// The calls recorded in this book, each against the pour that followed.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct TrackRecord {
    /// Always `gritbook.track_record/1`.
    pub schema: String,
    /// Calls whose pour is over.
    pub forecasts: u64,
    /// Recorded ones without an outcome: the pour is still to come, or the cups were changed before it.
    pub without_outcome: u64,
    /// How many failed.
    pub failed: u64,
    /// How many were expected to.
    pub expected: f64,
    /// 95 % interval of the share that fails in the long run.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// How all of them turned out; null where there are too few calls to say: tell no share then.
    pub held: Option<Held>,
    /// Whether the chances told risky pours from safe ones better than one chance for all would have; null where that is no question.
    pub tells_apart: Option<bool>,
    /// Mean squared difference of chance and outcome; null without calls.
    pub brier: Option<f64>,
    /// Mean of -ln of the chance given to what happened; null without calls.
    pub log_score: Option<f64>,
    /// The first for one who always says the share that failed in the end: what is to be beaten.
    pub brier_of_share: Option<f64>,
    /// The second for the same.
    pub log_score_of_share: Option<f64>,
    /// Bins that hold any call.
    pub bins: Vec<TrackBin>,
}

/// Calls with an outcome from which on a share is told.
#[uniffi::export]
pub fn enough_calls() -> u64 {
    core_call::ENOUGH_CALLS.cross()
}

impl Piece for core_call::TrackBin {}

impl Cross<TrackBin> for core_call::TrackBin {
    fn cross(self) -> TrackBin {
        let held = self.held().cross();
        let Self { from, to, forecasts, mean_chance, failed, low, high } = self;
        TrackBin { from, to, forecasts: forecasts.cross(), mean_chance, failed: failed.cross(), low, high, held }
    }
}

impl Cross<TrackRecord> for core_call::TrackRecord {
    fn cross(self) -> TrackRecord {
        let (held, tells_apart, (low, high)) = (self.held().cross(), self.tells_apart(), self.interval());
        let Self { schema, forecasts, without_outcome, failed, expected, brier, log_score, brier_of_share, log_score_of_share, bins } =
            self;
        TrackRecord {
            schema,
            forecasts: forecasts.cross(),
            without_outcome: without_outcome.cross(),
            failed: failed.cross(),
            expected,
            low,
            high,
            held,
            tells_apart,
            brier,
            log_score,
            brier_of_share,
            log_score_of_share,
            bins: bins.cross(),
        }
    }
}
