//! The call, as asked and as answered.

use gritbook_core::call as core_call;
use gritbook_core::fieldbook as core_book;

use super::Cup;
use crate::cross::{Cross, choice, record};

choice! {
    /// What to do, least to gravest.
    CallCode = core_call::CallCode {
        /// Pour.
        Pour,
        /// Pour, and look into the box during the pour.
        PourAndWatch,
        /// The pump comes down first.
        ChangeFirst,
    }
}

record! { both
    /// What is asked of a call; null: as last known, or as usual.
    CallQuestion = core_book::CallQuestion {
        /// The coming pour, m3.
        next_pour_m3: f64,
        /// Running total now, m3.
        pump_m3: Option<f64>,
        /// Concrete pressure of the coming pour, bar.
        concrete_bar: Option<f64>,
        /// Mix factor of the coming pour; 1 is ordinary.
        mix_factor: Option<f64>,
    }
}

record! { both
    /// What things cost, in one currency.
    Costs = core_call::Costs {
        /// Name of the currency.
        currency: String,
        /// One planned visit that changes both cups.
        planned_change: f64,
        /// A failure during a pour, everything.
        failure_mid_pour: f64,
        /// Looking into the box during one pour.
        watch: f64,
        /// Share of failures that watching turns into planned changes, 0 to 1.
        watch_saves: f64,
        /// The shop's limit for a cup's chance of lasting, 0 to 1.
        lasting_limit: f64,
    }
}

record! {
    /// A chance with its 90 % interval.
    Chance = core_call::Chance {
        /// Mean, 0 to 1.
        value: f64,
        /// Lower end.
        low: f64,
        /// Upper end.
        high: f64,
    }
}

record! {
    /// What is expected of one cup, as if the other held.
    CupForecast = core_call::CupForecast {
        /// Which.
        cup: Cup,
        /// m3 through it; null where nobody knows.
        age_m3: Option<f64>,
        /// MPa km since it was fitted, where bore and pressures are known.
        exposure_mpa_km: Option<f64>,
        /// Chance that it lasts the asked pour.
        chance_lasts_pour: Chance,
        /// m3 from now after which its chance of lasting falls below the shop's limit.
        change_by_m3: Option<f64>,
    }
}

record! {
    /// Why, in both languages.
    CallReason = core_call::Reason {
        /// Stable code.
        code: String,
        /// English.
        text: String,
        /// Spanish.
        text_es: String,
        /// The number behind it.
        value: Option<f64>,
        /// What it is held against.
        limit: Option<f64>,
    }
}

record! {
    /// What would change the call, in both languages.
    CallHint = core_call::Hint {
        /// Stable code.
        code: String,
        /// English.
        text: String,
        /// Spanish.
        text_es: String,
    }
}

/// The answer.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct CallAnswer {
    /// What to do.
    pub call: CallCode,
    /// The call as a sentence.
    pub sentence: crate::grades::Words,
    /// Chance that either cup fails during the asked pour.
    pub chance_of_failure: f64,
    /// The cups that are in.
    pub cups: Vec<CupForecast>,
    /// Cups to change in the visit.
    pub change_cups: Vec<Cup>,
    /// Why, gravest first.
    pub reasons: Vec<CallReason>,
    /// What would change it.
    pub would_change: Vec<CallHint>,
    /// A rule decided that no probability outvotes.
    pub hard_stop: bool,
    /// Age at which changing by plan costs least.
    pub best_change_age_m3: Option<f64>,
    /// The whole answer, `gritbook.call/1`: what `record_call` takes.
    pub document_json: String,
}

impl crate::cross::Piece for gritbook_core::model::Cup {}

impl Cross<CallAnswer> for core_call::Call {
    fn cross(self) -> CallAnswer {
        let document_json = self.document();
        CallAnswer {
            call: self.call.cross(),
            sentence: self.call.sentence().cross(),
            chance_of_failure: self.chance_of_failure,
            cups: self.cups.cross(),
            change_cups: self.change_cups.cross(),
            reasons: self.reasons.cross(),
            would_change: self.would_change.cross(),
            hard_stop: self.hard_stop,
            best_change_age_m3: self.best_change_age_m3,
            document_json,
        }
    }
}

/// The costs that are assumed until the shop enters its own.
#[uniffi::export]
pub fn assumed_costs() -> Costs {
    core_call::Costs::default().cross()
}
