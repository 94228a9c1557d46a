//! What is asked, and what things cost.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::answer::{AskError, ErrorBody};
use crate::error::CoreError;
use crate::history::Refusal;
use crate::history::{Cells, split_table};

/// One asked moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Ask {
    /// When; only what is stamped at or before it is known.
    pub at: DateTime<Utc>,
    /// The same as it was written.
    pub at_text: String,
    /// Which pump.
    pub pump: String,
    /// The coming pour, m3.
    pub next_pour_m3: f64,
    /// Running total now, m3; None: the last known one.
    pub pump_m3: Option<f64>,
    /// Concrete pressure of the coming pour, bar; None: as usual.
    pub concrete_bar: Option<f64>,
    /// Mix factor of the coming pour; None: as usual.
    pub mix_factor: Option<f64>,
    /// Bore of the concrete cylinders, mm, where exposure is wanted.
    pub bore_mm: Option<f64>,
}

/// A row that is no ask; answered with its error in its place.
pub type BadAsk = AskError;

/// Reads asks: columns `at`, `pump`, `next_pour_m3`, optional `pump_m3`, `concrete_bar`, `mix_factor`, `bore_mm`.
///
/// # Errors
/// A [`Refusal`] where the table as a whole cannot be read. A bad row is no refusal: it stands as a [`BadAsk`] in its place.
pub fn parse_asks(bytes: &[u8]) -> Result<Vec<Result<Ask, BadAsk>>, Refusal> {
    let table = split_table(bytes, "list of asks")?;
    let missing: Vec<_> = ["at", "pump", "next_pour_m3"].into_iter().filter(|name| !table.header.iter().any(|h| h == name)).collect();
    if !missing.is_empty() {
        let reason = format!("the list of asks has no column {}", missing.join(", "));
        return Err(CoreError::refused("missing_columns", reason, "asks need the columns at, pump, next_pour_m3").into());
    }
    let asks = table.rows.iter().map(|(line, cells)| {
        let cells = Cells::new(&table, cells);
        ask_of(&cells).map_err(|reason| AskError {
            at: cells.text("at").to_owned(),
            pump: cells.text("pump").to_owned(),
            error: ErrorBody {
                code: "bad_ask".to_owned(),
                reason: format!("line {line}: {reason}"),
                advice: "correct that line and ask again; the other asks are answered".to_owned(),
            },
        })
    });
    Ok(asks.collect())
}

fn ask_of(cells: &Cells<'_>) -> Result<Ask, String> {
    Ok(Ask {
        at: cells.moment("at")?,
        at_text: cells.text("at").to_owned(),
        pump: cells.name("pump")?,
        next_pour_m3: cells.number("next_pour_m3", 0.0, 1e5)?.ok_or("next_pour_m3 is empty")?,
        pump_m3: cells.number("pump_m3", 0.0, 1e8)?,
        concrete_bar: cells.number("concrete_bar", 0.0, 400.0)?,
        mix_factor: cells.number("mix_factor", 0.01, 100.0)?,
        bore_mm: cells.number("bore_mm", 80.0, 300.0)?,
    })
}

/// What things cost, in one currency.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(default)]
pub struct Costs {
    /// Name of the currency.
    pub currency: String,
    /// One planned visit that changes both cups.
    pub planned_change: f64,
    /// A failure during a pour, everything: line, concrete, crane, change.
    pub failure_mid_pour: f64,
    /// Looking into the box during one pour.
    pub watch: f64,
    /// Share of failures that watching turns into planned changes, 0 to 1.
    pub watch_saves: f64,
    /// The shop's limit: a cup is to be changed before its chance of lasting falls below this, 0 to 1.
    pub lasting_limit: f64,
}

impl Default for Costs {
    /// Assumptions, for the shop to replace. A set of pistons costs about USD 180 (READ m.saintyoldawin.com, cost of
    /// maintenance); the rest of the visit, the failure and the watching are our guesses.
    fn default() -> Self {
        Self {
            currency: "USD".to_owned(),
            planned_change: 900.0,
            failure_mid_pour: 6000.0,
            watch: 60.0,
            watch_saves: 0.5,
            lasting_limit: 0.95,
        }
    }
}

impl Costs {
    /// Checks the figures.
    ///
    /// # Errors
    /// `bad_costs` with the figure and its range.
    pub fn check(&self) -> Result<(), CoreError> {
        let bad = |reason: String| Err(CoreError::refused("bad_costs", reason, "correct the figure in the costs"));
        for (name, value, low, high) in [
            ("planned_change", self.planned_change, f64::MIN_POSITIVE, 1e12),
            ("failure_mid_pour", self.failure_mid_pour, f64::MIN_POSITIVE, 1e12),
            ("watch", self.watch, 0.0, 1e12),
            ("watch_saves", self.watch_saves, 0.0, 1.0),
            ("lasting_limit", self.lasting_limit, 0.5, 0.9999),
        ] {
            if !(low..=high).contains(&value) {
                let low = if low == f64::MIN_POSITIVE { "above 0".to_owned() } else { low.to_string() };
                return bad(format!("{name} {value} is outside {low} to {high}"));
            }
        }
        if self.failure_mid_pour < self.planned_change {
            return bad(format!("failure_mid_pour {} is below planned_change {}", self.failure_mid_pour, self.planned_change));
        }
        Ok(())
    }
}

/// Reads costs from JSON; what is left out stays at its default, fields that are not known are passed over.
///
/// # Errors
/// `bad_costs`.
pub fn parse_costs(bytes: &[u8]) -> Result<Costs, CoreError> {
    let advice = "give a JSON object with planned_change, failure_mid_pour, watch, watch_saves";
    let cannot = |cause| CoreError::refused("bad_costs", "the costs cannot be read", advice).because(cause);
    // An object only: serde would take a list for the fields in their order.
    let object: serde_json::Map<String, serde_json::Value> = serde_json::from_slice(bytes).map_err(cannot)?;
    let costs: Costs = serde_json::from_value(object.into()).map_err(cannot)?;
    costs.check()?;
    Ok(costs)
}
