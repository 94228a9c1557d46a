//! How honest past calls were.

use gritbook_core::call as core_call;

use crate::cross::record;

record! {
    /// Recorded chances of about the same size, against what happened.
    TrackBin = core_call::TrackBin {
        /// Chances of failure from this on, 0 to 1.
        from: f64,
        /// Chances below this.
        to: f64,
        /// How many.
        forecasts: u64,
        /// Their mean chance.
        mean_chance: f64,
        /// How many failed.
        failed: u64,
        /// 95 % interval of the share that fails in the long run, given what failed.
        low: f64,
        /// Upper end.
        high: f64,
    }
}

record! {
    /// The calls recorded in this book, each against the pour that followed.
    TrackRecord = core_call::TrackRecord {
        /// Always `gritbook.track_record/1`.
        schema: String,
        /// Calls whose pour is over.
        forecasts: u64,
        /// Recorded ones without an outcome: the pour is still to come, or the cups were changed before it.
        without_outcome: u64,
        /// How many failed.
        failed: u64,
        /// How many were expected to.
        expected: f64,
        /// Mean squared difference of chance and outcome; null without calls.
        brier: Option<f64>,
        /// Mean of -ln of the chance given to what happened; null without calls.
        log_score: Option<f64>,
        /// The first for one who always says the share that failed in the end: what is to be beaten.
        brier_of_share: Option<f64>,
        /// The second for the same.
        log_score_of_share: Option<f64>,
        /// Bins that hold any call.
        bins: Vec<TrackBin>,
    }
}
