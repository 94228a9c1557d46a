//! The hybrid logical clock: order across devices that do not trust each other's wall clocks.
//!
//! Kulkarni, Demirbas et al., "Logical Physical Clocks", 2014, figure 5. The wall clock only ever pushes the time
//! forward: a clock that is set back leaves it standing and counts. The last value is stored with each entry's
//! transaction, so it goes on after a restart.

use crate::model::entry::HybridTime;

/// A time further ahead of the wall clock than this is not followed: one phone set to the year 2099 must not drag every
/// other clock there for good. Its entries are kept all the same. 26 hours hold any mistaken time zone.
pub const FOLLOWED_AHEAD_MS: i64 = 26 * 3600 * 1000;

/// The time of something that happens here now. Always later than `last`.
pub fn tick(last: HybridTime, wall_ms: i64) -> HybridTime {
    if wall_ms > last.ms { HybridTime { ms: wall_ms, count: 0 } } else { after(last) }
}

/// The clock after hearing of `theirs`: later than both. `None` where theirs is too far ahead to be followed.
pub fn merge(last: HybridTime, theirs: HybridTime, wall_ms: i64) -> Option<HybridTime> {
    if theirs.ms.saturating_sub(wall_ms.max(last.ms)) > FOLLOWED_AHEAD_MS {
        return None;
    }
    if wall_ms > last.ms && wall_ms > theirs.ms {
        return Some(HybridTime { ms: wall_ms, count: 0 });
    }
    // The greater of the two, and one more: with equal milliseconds this is max(count, count) + 1.
    Some(after(last.max(theirs)))
}

fn after(time: HybridTime) -> HybridTime {
    match time.count.checked_add(1) {
        Some(count) => HybridTime { ms: time.ms, count },
        None => HybridTime { ms: time.ms.saturating_add(1), count: 0 },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(ms: i64, count: u32) -> HybridTime {
        HybridTime { ms, count }
    }

    #[test]
    fn trace_of_two_nodes_with_a_clock_set_back_is_as_computed() {
        // Rules from Kulkarni et al. 2014, figure 5; the nine steps were computed from them independently.
        let a1 = tick(at(0, 0), 10);
        assert_eq!(a1, at(10, 0));
        let b2 = merge(at(0, 0), a1, 1).unwrap();
        assert_eq!(b2, at(10, 1));
        let b3 = tick(b2, 2);
        assert_eq!(b3, at(10, 2));
        let a4 = merge(a1, b3, 11).unwrap();
        assert_eq!(a4, at(11, 0));
        let a5 = tick(a4, 11);
        assert_eq!(a5, at(11, 1));
        let b6 = tick(b3, 12);
        assert_eq!(b6, at(12, 0));
        let a7 = merge(a5, b6, 12).unwrap();
        assert_eq!(a7, at(12, 1));
        let a8 = tick(a7, 9);
        assert_eq!(a8, at(12, 2));
        assert_eq!(merge(b6, a8, 12).unwrap(), at(12, 3));
    }

    #[test]
    fn time_of_a_phone_set_decades_ahead_is_not_followed() {
        assert_eq!(merge(at(1_000, 0), at(1_000 + FOLLOWED_AHEAD_MS + 1, 0), 900), None);
        assert!(merge(at(1_000, 0), at(1_000 + FOLLOWED_AHEAD_MS, 0), 900).is_some());
    }

    #[test]
    fn counter_that_runs_out_goes_to_the_next_millisecond() {
        assert_eq!(tick(at(5, u32::MAX), 3), at(6, 0));
    }

    fn any_time() -> impl Strategy<Value = HybridTime> {
        (0..i64::MAX / 4, any::<u32>()).prop_map(|(ms, count)| at(ms, count))
    }

    proptest! {
        #[test]
        fn prop_clock_never_goes_back_under_any_wall_clock(start in any_time(), walls in proptest::collection::vec(any::<i64>(), 1..50)) {
            let mut last = start;
            for wall in walls {
                let next = tick(last, wall);
                prop_assert!(next > last);
                last = next;
            }
        }

        #[test]
        fn prop_merged_clock_is_later_than_both(last in any_time(), theirs in any_time(), wall in any::<i64>()) {
            if let Some(merged) = merge(last, theirs, wall) {
                prop_assert!(merged > last);
                prop_assert!(merged > theirs);
                prop_assert!(merged.ms <= last.ms.max(theirs.ms).max(wall).saturating_add(1));
            }
        }
    }
}
