//! What is known of a pump's cups before a pour, in each measure of use that the forecast goes by.

use super::blend::correction;
use super::forecast::{CupInput, Forecast, LAWS, SharedLook};
use crate::history::{FittedPart, Timeline};
use crate::life::Weibull;
use crate::life::condition::SETTLED_SHARES;
use crate::life::fleet::{GridLife, equal_slices};
use crate::life::joint::Look;
use crate::life::shop::{Measure, Shop, look_of};
use crate::model::Cup;

pub(super) const CUPS: [Cup; 2] = [Cup::A, Cup::B];

/// Signs of one kind that a forecast looks back on; older ones say little beside newer ones.
const LOOK_BACK: usize = 8;

/// A pour to come.
pub(super) struct Coming {
    /// Place along the pump's record at which it begins.
    pub(super) here: f64,
    pub(super) pour_m3: f64,
    pub(super) concrete_bar: Option<f64>,
    pub(super) mix_factor: Option<f64>,
}

/// The laws that are possible and what was seen of the cups, in one measure of use.
struct InMeasure {
    laws: Vec<Weibull>,
    cups: [Option<CupInput>; 2],
    looks: Vec<SharedLook>,
    /// Use per m3 during the coming pour, and after it.
    rates: [f64; 2],
}

/// What is known.
pub(super) struct Known<'a> {
    shop: &'a Shop,
    timeline: &'a Timeline,
    coming: Coming,
    measures: Vec<InMeasure>,
    present: [bool; 2],
}

/// How many of the laws are counted in duty.
pub(super) fn laws_in_duty(shop: &Shop) -> usize {
    (LAWS as f64 * shop.duty_weight()).round() as usize
}

impl<'a> Known<'a> {
    /// What is known of a pump's cups before a coming pour.
    pub(super) fn of(shop: &'a Shop, timeline: &'a Timeline, coming: Coming) -> Self {
        let cups: [Option<FittedPart>; 2] = CUPS.map(|cup| timeline.cup(cup));
        let in_duty = laws_in_duty(shop);
        let mut measures = Vec::with_capacity(2);
        for (measure, laws) in [(Measure::Volume, LAWS - in_duty), (Measure::Duty, in_duty)] {
            if laws == 0 {
                continue;
            }
            let use_at = |position: f64| match measure {
                Measure::Volume => position,
                // Volume that the ask adds to the record goes at the usual rate.
                Measure::Duty => {
                    timeline.duty_at(position.min(timeline.position_m3()))
                        + (position - timeline.position_m3()).max(0.0) * timeline.duty_rate(None, None)
                }
            };
            let rates = match measure {
                Measure::Volume => [1.0, 1.0],
                Measure::Duty => [timeline.duty_rate(coming.concrete_bar, coming.mix_factor), timeline.duty_rate(None, None)],
            };
            let pulled = shop.pulled_share();
            let before = timeline.duty_rate_before_record();
            let inputs = cups.clone().map(|cup| cup.map(|cup| cup_input(timeline, &cup, measure, coming.here, &use_at, before, pulled)));
            // The signs of the cups that are in weigh the laws in the forecast; here they count with their use alone.
            let running: Vec<GridLife> = inputs
                .iter()
                .flatten()
                .map(|cup| GridLife { watched_from: cup.age_then, running: true, ..GridLife::plain(cup.watched, false) })
                .collect();
            let cells = shop.fleet(measure).posterior(timeline.pump(), &running);
            let looks = shared_looks(timeline, &cups, measure, &use_at, shop.settled_classes());
            measures.push(InMeasure { laws: equal_slices(&cells, laws), cups: inputs, looks, rates });
        }
        Self { shop, timeline, coming, measures, present: cups.map(|cup| cup.is_some()) }
    }

    /// The forecast of the cups, blended; `level_now`: as if a look into the box now had shown this level.
    pub(super) fn forecast(&self, level_now: Option<u8>) -> Forecast {
        let Self { shop, timeline, coming, .. } = self;
        let mut forecast = Forecast::new(coming.pour_m3, self.present);
        for InMeasure { laws, cups, looks, rates } in &self.measures {
            let look_now = level_now.map(|level| SharedLook {
                look: Look { at: 0.0, level: Some(level), muddy: None, low: None, settled: None },
                watched: [0, 1].map(|c: usize| cups[c].as_ref().map(|cup| cup.watched)),
            });
            let looks: Vec<SharedLook> = looks.iter().cloned().chain(look_now).collect();
            forecast.add(laws, cups, &looks, shop.ways(), shop.mishaps(), *rates);
        }
        forecast.finish();
        let newest = level_now.map(|level| (level, coming.here)).or_else(|| newest_level(timeline));
        forecast.correct(correction(shop, timeline, coming.here, newest, &forecast));
        forecast
    }

    /// m3 since the newest level, or since the younger cup went in where that is less.
    pub(super) fn not_looked_for_m3(&self) -> f64 {
        let here = self.coming.here;
        let through = CUPS.iter().filter_map(|cup| self.timeline.cup(*cup)).map(|cup| self.timeline.through_m3(&cup, here).middle());
        let looked = newest_level(self.timeline).map(|(_, at)| here - at);
        through.chain(looked).fold(f64::INFINITY, f64::min)
    }
}

/// The newest level of the box since both cups went in, and the place along the record at which it was seen.
pub(super) fn newest_level(timeline: &Timeline) -> Option<(u8, f64)> {
    let since = CUPS.iter().filter_map(|cup| timeline.cup(*cup)).map(|cup| cup.since).max();
    let mut seen = timeline.box_seen().iter().rev().take_while(|seen| since.is_none_or(|since| seen.at >= since));
    seen.find_map(|seen| Some((seen.what.level?, seen.position_m3)))
}

/// Use after a look, m3, from which on the cups have been left in and another look tells something new: whoever looks may ask before he
/// decides.
pub(super) const LEFT_IN_M3: f64 = 5.0;

fn cup_input(
    timeline: &Timeline,
    cup: &FittedPart,
    measure: Measure,
    here: f64,
    use_at: &dyn Fn(f64) -> f64,
    rate_before: f64,
    pulled: f64,
) -> CupInput {
    let watched = watched_use(timeline, cup, measure, here, use_at);
    let rate = if measure == Measure::Duty { rate_before } else { 1.0 };
    let skip = cup.grades.len().saturating_sub(LOOK_BACK);
    let grades =
        cup.grades.iter().skip(skip).map(|seen| (watched_use(timeline, cup, measure, seen.position_m3, use_at), seen.what)).collect();
    let looked = timeline.box_seen().iter().rev().take_while(|seen| seen.at >= cup.since).map(|seen| seen.position_m3);
    let graded = cup.grades.iter().rev().map(|seen| seen.position_m3);
    let last = looked.chain(graded).filter(|at| *at <= here - LEFT_IN_M3).fold(f64::NEG_INFINITY, f64::max);
    let left_in = (last.is_finite()).then(|| (watched_use(timeline, cup, measure, last, use_at), pulled));
    CupInput { watched, age_then: cup.age_then_m3.map(|age| age * rate), grades, left_in }
}

/// Use of a cup at a place since it was fitted or found; the middle of what is possible.
fn watched_use(timeline: &Timeline, cup: &FittedPart, measure: Measure, position: f64, use_at: &dyn Fn(f64) -> f64) -> f64 {
    match measure {
        Measure::Volume => timeline.through_m3(cup, position).middle(),
        Measure::Duty => {
            let through = timeline.through_m3(cup, position);
            (use_at(position) - f64::midpoint(use_at(position - through.high), use_at(position - through.low))).max(0.0)
        }
    }
}

fn shared_looks(
    timeline: &Timeline,
    cups: &[Option<FittedPart>; 2],
    measure: Measure,
    use_at: &dyn Fn(f64) -> f64,
    classes: Option<&[f64; SETTLED_SHARES.len()]>,
) -> Vec<SharedLook> {
    // Looks before the younger cup went in show another cup; they speak of nothing that is still in.
    let since = cups.iter().flatten().map(|cup| cup.since).max();
    let looks: Vec<_> =
        timeline.box_seen().iter().rev().take_while(|seen| since.is_none_or(|since| seen.at >= since)).take(LOOK_BACK).collect();
    let mut shared = Vec::new();
    for seen in looks.into_iter().rev() {
        let watched: [Option<f64>; 2] =
            std::array::from_fn(|c| cups[c].as_ref().map(|cup| watched_use(timeline, cup, measure, seen.position_m3, use_at)));
        // Nothing went through since the change: what is in the box is what the old cups left.
        if watched.iter().flatten().any(|used| *used > 0.0) {
            shared.push(SharedLook { look: look_of(&seen.what, 0.0, classes), watched });
        }
    }
    shared
}
