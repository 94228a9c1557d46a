//! A pump's lives and looks in one measure of use.

use super::super::condition::SETTLED_SHARES;
use super::super::fleet::GridLife;
use super::super::joint::{Look, SignedEnd, SignedLife, SignedRecord, Softened};
use super::Measure;
use crate::history::{Life, LifeEnd, Seen, Timeline};
use crate::model::Cup;
use crate::model::entry::{Liquid, RemovalReason};

/// Fewest settled rates on record for classes to mean anything.
const LEAST_SETTLED: usize = 12;

/// What was pumped since the drain, m3, below which a settled volume says nothing.
const LEAST_SINCE_DRAIN_M3: f64 = 20.0;

/// Use through a life while it was watched; the middle of what is possible.
pub(super) fn through(life: &Life, measure: Measure) -> f64 {
    if measure == Measure::Duty { life.through_duty.middle() } else { life.through_m3.middle() }
}

/// Use per m3 at each failure at a known age.
pub(super) fn rates_at_failures(lives: &[Life], measure: Measure) -> Vec<f64> {
    let failed = lives.iter().filter(|life| life.end == LifeEnd::Failed && life.through_m3.is_exact());
    failed.map(|life| if measure == Measure::Duty { life.duty_rate } else { 1.0 }).collect()
}

/// A pump's lives with what their signs say of them; `rate_before`: duty per m3 of what went through before its record.
pub(super) fn grid_lives(lives: &[Life], measure: Measure, rate_before: f64, softened: &[Softened]) -> Vec<GridLife> {
    lives.iter().zip(softened).map(|(life, signs)| grid_life(life, measure, rate_before, Some(signs))).collect()
}

fn settled_per_m3(seen: &Seen) -> Option<f64> {
    let since = seen.since_drain_m3.filter(|since| *since >= LEAST_SINCE_DRAIN_M3)?;
    seen.settled_ml.map(|settled| settled / since)
}

/// Where the classes of settled solids begin in a shop's own record.
pub(super) fn settled_classes<'a>(timelines: impl Iterator<Item = &'a Timeline>) -> Option<[f64; SETTLED_SHARES.len()]> {
    let mut rates: Vec<f64> = timelines.flat_map(Timeline::box_seen).filter_map(|seen| settled_per_m3(&seen.what)).collect();
    if rates.len() < LEAST_SETTLED {
        return None;
    }
    rates.sort_by(f64::total_cmp);
    Some(SETTLED_SHARES.map(|share| rates[(share * rates.len() as f64) as usize]))
}

/// A look into the box at a place along the record, with its settled solids in the shop's classes.
pub fn look_of(seen: &Seen, at: f64, classes: Option<&[f64; SETTLED_SHARES.len()]>) -> Look {
    Look {
        at,
        level: seen.level,
        muddy: match seen.liquid {
            Some(Liquid::Muddy) => Some(1),
            Some(Liquid::Clear | Liquid::Grey) => Some(0),
            Some(Liquid::Oily) | None => None,
        },
        low: seen.liquid_low.map(u8::from),
        settled: classes.and_then(|classes| settled_per_m3(seen).map(|rate| classes.iter().filter(|begin| rate > **begin).count() as u8)),
    }
}

/// A pump's lives and looks in one measure of use.
pub(super) fn signed_record(
    timeline: &Timeline,
    lives: &[Life],
    measure: Measure,
    classes: Option<&[f64; SETTLED_SHARES.len()]>,
) -> SignedRecord {
    let place = |position: f64| if measure == Measure::Duty { timeline.duty_at(position) } else { position };
    let rate = if measure == Measure::Duty { timeline.duty_rate_before_record() } else { 1.0 };
    let lives = lives.iter().map(|life| SignedLife {
        cup: usize::from(life.cup == Some(Cup::B)),
        begin: place(life.span_m3[0]),
        through: through(life, measure),
        age_then: life.age_then_m3.map(|age| age * rate),
        end: match life.end {
            LifeEnd::Failed => SignedEnd::Failed,
            LifeEnd::Removed(reason) => SignedEnd::Out(matches!(reason, Some(RemovalReason::Worn))),
            LifeEnd::Running => SignedEnd::Running,
        },
        grades: life.grades.iter().map(|&(at, step)| (at[measure as usize], step)).collect(),
    });
    let looks = timeline.box_seen().iter().map(|seen| look_of(&seen.what, place(seen.position_m3), classes));
    SignedRecord { lives: lives.collect(), looks: looks.collect() }
}

pub(super) fn grid_life(life: &Life, measure: Measure, rate_before: f64, signs: Option<&Softened>) -> GridLife {
    let (through, rate) = match measure {
        Measure::Volume => (life.through_m3, 1.0),
        Measure::Duty => (life.through_duty, rate_before),
    };
    let failed = life.end == LifeEnd::Failed;
    let (low, high) = match failed {
        // A failure at once still takes a little use, so that its density is finite.
        true if life.through_m3.is_exact() => (through.middle().max(0.5 * rate), through.middle().max(0.5 * rate)),
        true => (through.low, through.high.max(through.low + 0.5 * rate)),
        false => (through.low, through.low),
    };
    GridLife {
        watched_from: life.age_then_m3.map(|age| age * rate),
        low,
        high,
        running: life.end == LifeEnd::Running,
        worn_out: signs.map_or(1.0, |signs| signs.worn_out),
        mishap: signs.map_or(0.0, |signs| signs.mishap),
        ratio: signs.and_then(|signs| signs.ratio),
        ..GridLife::plain(low, failed)
    }
}
