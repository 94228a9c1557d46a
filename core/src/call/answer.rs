//! The answer as a document: `gritbook.call/1`.

use serde::{Deserialize, Serialize};

use crate::model::Cup;

/// The schema name of an answer.
pub const CALL_SCHEMA: &str = "gritbook.call/1";

/// What to do, least to gravest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum CallCode {
    /// Pour.
    Pour,
    /// Pour, and look into the box during the pour.
    PourAndWatch,
    /// The pump comes down first.
    ChangeFirst,
}

/// A chance with its 90 % interval from what is not known (parameters, the pump's own factor, an unknown age).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Chance {
    /// Mean, 0 to 1.
    pub value: f64,
    /// 5 % of what is possible lies below.
    pub low: f64,
    /// 5 % of what is possible lies above.
    pub high: f64,
}

/// What is expected of one cup, as if the other held.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct CupForecast {
    /// Which.
    pub cup: Cup,
    /// m3 through it; null where nobody knows its age.
    pub age_m3: Option<f64>,
    /// Loaded slide times pressure and mix since it was fitted, MPa km; only where the bore and pressures are known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exposure_mpa_km: Option<f64>,
    /// Chance that it lasts the asked pour.
    pub chance_lasts_pour: Chance,
    /// m3 from the asked moment after which its chance of lasting falls below the shop's limit; null where that lies beyond
    /// what can be said.
    pub change_by_m3: Option<f64>,
}

/// Why, gravest first.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Reason {
    /// Stable code.
    pub code: String,
    /// In words.
    pub text: String,
    /// The same in Spanish.
    pub text_es: String,
    /// The number behind it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// What it is held against.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit: Option<f64>,
}

/// What would change the call.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Hint {
    /// Stable code.
    pub code: String,
    /// In words.
    pub text: String,
    /// The same in Spanish.
    pub text_es: String,
}

/// Expected cost of each choice over the asked pour and the life thereafter, against the cost of an ordinary cubic metre
/// under the best plan. Only differences mean something.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ExpectedCost {
    /// As given with the costs.
    pub currency: String,
    /// Pour.
    pub pour: f64,
    /// Pour and watch.
    pub pour_and_watch: f64,
    /// Change first.
    pub change_first: f64,
}

/// An answer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Call {
    /// Always [`CALL_SCHEMA`].
    pub schema: String,
    /// As asked.
    pub at: String,
    /// As asked.
    pub pump: String,
    /// As asked.
    pub next_pour_m3: f64,
    /// The cups that are in.
    pub cups: Vec<CupForecast>,
    /// Chance that either cup fails during the asked pour.
    pub chance_of_failure: f64,
    /// What to do.
    pub call: CallCode,
    /// Cups to change in the visit; empty unless the call is to change first, and where what must be put right is no cup.
    pub change_cups: Vec<Cup>,
    /// Why, gravest first.
    pub reasons: Vec<Reason>,
    /// What would change it.
    pub would_change: Vec<Hint>,
    /// A rule decided that no probability outvotes.
    pub hard_stop: bool,
    /// Age at which changing by plan costs least; absent where running on costs least.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub best_change_age_m3: Option<f64>,
    /// What each choice is expected to cost.
    pub expected_cost: ExpectedCost,
}

impl Call {
    /// The document as JSON.
    pub fn document(&self) -> String {
        // Finite numbers and strings always serialise.
        serde_json::to_string(self).unwrap_or_default()
    }
}

/// An error inside an answer line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ErrorBody {
    /// Stable code.
    pub code: String,
    /// What was wrong.
    pub reason: String,
    /// What to do.
    pub advice: String,
}

/// An ask that cannot be answered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct AskError {
    /// As asked.
    pub at: String,
    /// As asked.
    pub pump: String,
    /// Why not.
    pub error: ErrorBody,
}

/// One line of answers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(untagged)]
pub enum Answer {
    /// Answered.
    Call(Box<Call>),
    /// Not answered.
    Error(AskError),
}
