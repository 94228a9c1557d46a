//! Why, and what would change it, in words a mechanic can argue with.

use super::answer::{CallCode, Hint, Reason};
use super::ask::Costs;
use super::decide::Choice;
use crate::history::{Seen, Stop, StopKind};
use crate::model::entry::Liquid;
use crate::model::{Cup, Part};

/// What the words are made from.
pub(super) struct Facts<'a> {
    pub(super) stops: &'a [Stop],
    pub(super) choice: &'a Choice,
    pub(super) costs: &'a Costs,
    pub(super) pour_m3: f64,
    /// Cup, age, last grade.
    pub(super) cups: &'a [(Cup, Option<f64>, Option<u8>)],
    pub(super) last_seen: Option<Seen>,
    pub(super) failures: usize,
    pub(super) median_life_m3: f64,
}

fn reason(code: &str, text: impl Into<String>, value: Option<f64>, limit: Option<f64>) -> Reason {
    Reason { code: code.to_owned(), text: text.into(), value, limit }
}

fn side(cup: Option<Cup>) -> &'static str {
    match cup {
        Some(Cup::A) => " A",
        Some(Cup::B) => " B",
        None => "",
    }
}

fn part_name(part: Part) -> &'static str {
    match part {
        Part::Cup => "Cup",
        Part::GuideBand => "Guide band",
        Part::ORing => "O-ring",
        Part::Plate => "Plate",
        Part::Bore => "Bore",
        Part::Coupler => "Coupler",
        Part::Bolts => "Bolts",
    }
}

/// A chance in words: 12 %, 0.4 %, under 0.1 %.
fn percent(chance: f64) -> String {
    let percent = 100.0 * chance;
    if percent >= 9.95 {
        format!("{percent:.0} %")
    } else if percent >= 0.095 {
        format!("{percent:.1} %")
    } else {
        "under 0.1 %".to_owned()
    }
}

fn stop_reason(stop: &Stop) -> Reason {
    let (code, text) = match stop.kind {
        StopKind::Lumps => ("lumps", "Lumps in the box: the cups are done.".to_owned()),
        StopKind::CupSpent => ("cup_spent", format!("Cup{} is graded spent.", side(stop.cup))),
        StopKind::PartSpent => ("part_spent", format!("{}{} is graded spent.", part_name(stop.part), side(stop.cup))),
        StopKind::PlateLow => ("plate_low", format!("Plate{} is low in the centre: replace it.", side(stop.cup))),
        StopKind::BoltMissing => ("bolt_missing", "A coupler bolt is missing or broken.".to_owned()),
        StopKind::SensorBarMoved => ("sensor_bar_moved", "The sensor bar was moved: set its distance as the maker says.".to_owned()),
        StopKind::CupOut => ("cup_out", format!("Cup{} came out or failed, and no new one is on record.", side(stop.cup))),
    };
    reason(code, text, Some(stop.value), Some(stop.limit))
}

/// Reasons, gravest first.
pub(super) fn reasons(facts: &Facts<'_>) -> Vec<Reason> {
    let Facts { choice, costs, .. } = facts;
    let mut reasons: Vec<Reason> = facts.stops.iter().map(stop_reason).collect();
    let [pour, watch, change] = choice.costs;
    let chance = percent(choice.chance_of_failure);
    reasons.push(reason(
        "chance_of_failure",
        format!("Chance that a cup fails in the next {:.0} m3: {chance}.", facts.pour_m3),
        Some(choice.chance_of_failure),
        None,
    ));
    let going_on = pour.min(watch);
    let text = match choice.call {
        CallCode::ChangeFirst => {
            format!("Going on is expected to cost {:.0} {} more than changing now.", going_on - change, costs.currency)
        }
        CallCode::PourAndWatch => {
            format!(
                "Watching is expected to save {:.0} {} against pouring unwatched; changing now would cost {:.0} more.",
                pour - watch,
                costs.currency,
                change - watch
            )
        }
        CallCode::Pour => format!("Changing now is expected to cost {:.0} {} more than pouring.", change - pour, costs.currency),
    };
    reasons.push(reason("expected_cost", text, Some(going_on), Some(change)));
    let mut signs = Vec::new();
    if let Some(seen) = facts.last_seen {
        match seen.level {
            Some(1) => signs.push(reason("level", "Some sand in the box at the last look.", Some(1.0), Some(2.0))),
            Some(2) => signs.push(reason("level", "Sand in the box at the last look: cups are passing.", Some(2.0), Some(2.0))),
            Some(0) => signs.push(reason("level", "Paste only in the box at the last look.", Some(0.0), Some(2.0))),
            _ => {}
        }
        match seen.liquid {
            Some(Liquid::Muddy) => {
                signs.push(reason("liquid_muddy", "Muddy liquid: mortar is passing the cups, or the bore is worn.", None, None))
            }
            Some(Liquid::Oily) => {
                signs.push(reason("liquid_oily", "Oil on the liquid: look at the rod seal; it says nothing about the cups.", None, None))
            }
            _ => {}
        }
        if seen.liquid_low == Some(true) {
            signs.push(reason("liquid_low", "Liquid low: it may pass the cups forward into the concrete.", None, None));
        }
    }
    for (cup, age, grade) in facts.cups {
        if let Some(grade) = grade.filter(|grade| *grade < 4) {
            let word = ["sound", "bedded", "worn", "passing"].get(usize::from(grade)).copied().unwrap_or("spent");
            signs.push(reason("grade", format!("Cup{} graded {grade}, {word}.", side(Some(*cup))), Some(f64::from(grade)), Some(4.0)));
        }
        match age {
            Some(age) => signs.push(reason(
                "age",
                format!("Cup{} has {age:.0} m3; half of such cups reach {:.0} m3.", side(Some(*cup)), facts.median_life_m3),
                Some(*age),
                Some(facts.median_life_m3),
            )),
            None => signs.push(reason(
                "age_unknown",
                format!("Nobody knows the age of cup{}; that is in the interval.", side(Some(*cup))),
                None,
                None,
            )),
        }
    }
    reasons.extend(signs);
    if facts.failures < crate::life::fit::LEAST_FAILURES {
        let text = format!("Only {} failed lives are known; the stated prior still speaks.", facts.failures);
        reasons.push(reason("few_lives", text, Some(facts.failures as f64), Some(crate::life::fit::LEAST_FAILURES as f64)));
    }
    reasons
}

fn word(call: CallCode) -> &'static str {
    match call {
        CallCode::Pour => "pour",
        CallCode::PourAndWatch => "pour and watch",
        CallCode::ChangeFirst => "change first",
    }
}

/// What would change the call.
pub(super) fn would_change(facts: &Facts<'_>) -> Vec<Hint> {
    let hint = |code: &str, text: String| Hint { code: code.to_owned(), text };
    if !facts.stops.is_empty() {
        return facts
            .stops
            .iter()
            .map(|stop| match stop.kind {
                StopKind::Lumps => {
                    hint("new_look", "New cups; or drain the box again: less than lumps at a new look lifts the stop.".to_owned())
                }
                StopKind::CupSpent => hint("new_cup", "A new cup, or a better grade on a second look.".to_owned()),
                StopKind::PartSpent | StopKind::PlateLow => {
                    hint("new_part", "The part replaced, or a better grade or measure on record.".to_owned())
                }
                StopKind::BoltMissing => hint("bolts_complete", "All bolts in and tight, and graded so.".to_owned()),
                StopKind::SensorBarMoved => {
                    hint("sensor_bar_set", "The sensor bar set and a measure of sensor_bar_moved 0 on record.".to_owned())
                }
                StopKind::CupOut => hint("cup_in", "The new cup on record as fitted.".to_owned()),
            })
            .collect();
    }
    let mut hints = Vec::new();
    let [smaller, bigger] = facts.choice.other_pours;
    // Only what a mechanic can use: a smaller pour that needs less, a bigger one that needs more.
    if let Some((volume, call)) = smaller.filter(|(_, call)| *call < facts.choice.call) {
        hints.push(hint("smaller_pour", format!("For a pour of {volume:.0} m3 or less: {}.", word(call))));
    }
    if let Some((volume, call)) = bigger.filter(|(_, call)| *call > facts.choice.call) {
        hints.push(hint("bigger_pour", format!("For {volume:.0} m3 or more: {}.", word(call))));
    }
    match facts.choice.call {
        CallCode::ChangeFirst => {
            let still = facts.costs.planned_change;
            let dearer = still + (facts.choice.costs[2] - facts.choice.costs[0].min(facts.choice.costs[1])).abs();
            hints.push(hint("dearer_change", format!("A planned visit dearer than about {dearer:.0} {}.", facts.costs.currency)));
        }
        CallCode::Pour | CallCode::PourAndWatch => {
            hints.push(hint("worse_sign", "Lumps at a look into the box, or a cup graded spent: change first at once.".to_owned()));
        }
    }
    hints
}
