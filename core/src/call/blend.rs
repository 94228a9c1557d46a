//! The factors by which a forecast's hazards are taken, from what simpler ones say.

use super::forecast::{Correction, Forecast};
use crate::history::Timeline;
use crate::life::shop::Shop;
use crate::model::Cup;

/// Volume for which forecasts are held against each other, m3: an ordinary pour. The asked pour's own volume has no part in it,
/// so a bigger pour cannot look safer.
const REFERENCE_M3: f64 = 60.0;

/// How what is known is made one, as powers of hazards beside the forecast's own: one pooled Weibull law for the whole shop; what followed the
/// newest level in this shop; and how far the forecast lies from the shop's usual hazard. Where signs mislead or cups wear in a way that the
/// model does not know, the simpler ones hold it back. The powers are those of the largest likelihood over both kinds of invented shops of
/// `fixtures/fleet/kinds` (their filters' own chances for 51 933 asks; alone, the one kind gives 0.24, 0.23 and -0.08, the other 0.19, 0.41
/// and -0.08).
const POOLED_POWER: f64 = 0.21;
const FOLLOWED_POWER: f64 = 0.34;
const USUAL_POWER: f64 = -0.08;

/// Power of what went through since the newest level: a lip torn since then showed nothing at it. By the largest likelihood over both kinds
/// of invented shops (alone, the one gives 0.08, the other 0.10). Of lumps it says nothing: they are the end.
pub(super) const SINCE_POWER: f64 = 0.1;

/// Volume since the newest level at which that power changes nothing, and the least and the most that it counts, m3. Assumption.
const SINCE_USUAL_M3: f64 = 100.0;
pub(super) const SINCE_M3: [f64; 2] = [14.0, 2000.0];

/// Share of a mean life from now over which what followed a level counts: then another look tells. 0.03 and 0.1 cost
/// the same on the invented shops, all of a life more.
const NEAR_SHARE: f64 = 0.05;

/// Standard deviation of ln hazard for what those powers might as well have been in the shop at hand.
const BLEND_SPREAD: f64 = 0.2;

/// The factors for the cups of a pump at a place along its record, from an ordinary pour; `newest`: the newest level and the place at which it
/// was seen.
pub(super) fn correction(shop: &Shop, timeline: &Timeline, here: f64, newest: Option<(u8, f64)>, forecast: &Forecast) -> Correction {
    let ln = |hazard: f64| hazard.max(1e-9).ln();
    let own = ln(forecast.ordinary_hazard(REFERENCE_M3));
    let pooled = shop.pooled();
    let of_cup = |cup: Cup| {
        let Some(fitted) = timeline.cup(cup) else { return 0.0 };
        let age = timeline.through_m3(&fitted, here).middle() + fitted.age_then_m3.unwrap_or(0.35 * pooled.scale);
        pooled.hazard_sum(age + REFERENCE_M3) - pooled.hazard_sum(age)
    };
    let simple = ln(of_cup(Cup::A) + of_cup(Cup::B));
    let usual = ln(2.0 * REFERENCE_M3 / pooled.mean());
    let followed = shop.followed().times(newest.map(|(level, _)| level));
    let since = newest.filter(|(level, _)| *level < 3).map_or(SINCE_USUAL_M3, |(_, at)| here - at);
    let since = (since.clamp(SINCE_M3[0], SINCE_M3[1]) / SINCE_USUAL_M3).ln();
    let away = POOLED_POWER * (simple - own).clamp(-3.0, 3.0) + USUAL_POWER * (own - usual).clamp(-4.0, 4.0);
    Correction {
        lasting: away.exp(),
        near: (FOLLOWED_POWER * followed.ln().clamp(-3.0, 4.0) + SINCE_POWER * since).exp(),
        near_m3: NEAR_SHARE * pooled.mean(),
        ln_spread: BLEND_SPREAD,
    }
}
