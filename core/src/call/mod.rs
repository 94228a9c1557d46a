//! The call: pour, pour and watch, or change first.
//!
//! ```text
//! ask       the asked moments as a table, and the costs
//! answer    the answer as a document, `gritbook.call/1`
//! known     what is known of a pump's cups before a pour, in each measure of use
//! forecast  the chance that each cup lasts, from its age, the fleet's lives and the signs seen
//! blend     the forecast's hazards held against what simpler ones say
//! track     past forecasts as they were recorded, against what happened
//! decide    the choice of least expected cost, by renewal reward
//! reasons   why, and what would change it, in words
//! judge     a history and asks in, answers out: each from what was known before it and nothing later
//! ```
//!
//! Hard stops come first and no probability outvotes them. The core calls; a mechanic may overrule, and that is recorded.

mod answer;
mod ask;
mod blend;
mod decide;
mod forecast;
mod judge;
mod known;
mod reasons;
mod track;

pub use answer::{Answer, AskError, CALL_SCHEMA, Call, CallCode, Chance, CupForecast, ErrorBody, ExpectedCost, Hint, Reason};
pub use ask::{Ask, BadAsk, Costs, parse_asks, parse_costs};
pub use decide::{Choice, decide};
pub use forecast::{CupInput, Forecast, SharedLook};
pub use judge::{Judge, judge};
pub use reasons::percent_figure;
pub use track::{ENOUGH_CALLS, Forecasted, Held, TRACK_SCHEMA, TrackBin, TrackRecord, track_record};
