//! What followed each level in this shop: failures while it was the newest one, against those that age alone lets expect.
//!
//! How signs speak along a life is a model, and not all cups keep to it: a torn lip shows lumps today where all was clean last week, and
//! gives up soon. Counting what followed needs no such model.

use super::super::weibull::Weibull;
use crate::history::{Life, LifeEnd, Timeline};

/// Levels 0 to 3.
const LEVELS: usize = 4;

/// Failures against expected ones before a shop's own speak, for each newest level and where there is none. Assumption.
const BEFORE: [f64; LEVELS + 1] = [0.55, 1.3, 2.0, 4.0, 1.0];

/// Expected failures that this is worth. Assumption.
const WORTH: f64 = 2.0;

/// Failures and expected ones, for each newest level and where there is none.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Followed {
    counted: [[f64; 2]; LEVELS + 1],
}

impl Followed {
    /// Adds a pump's lives; `law`: its cups' lives by age alone, m3. Lives of unknown age tell nothing.
    pub(super) fn add(&mut self, timeline: &Timeline, lives: &[Life], law: &Weibull) {
        let seen = timeline.box_seen().iter().filter_map(|seen| seen.what.level.map(|level| (seen.position_m3, usize::from(level))));
        let seen: Vec<(f64, usize)> = seen.collect();
        for life in lives {
            let Some(from) = life.age_then_m3 else { continue };
            let [begin, end] = life.span_m3;
            let sum = |place: f64| law.hazard_sum((from + place - begin).max(0.0));
            let (mut at, mut newest) = (begin, LEVELS);
            for &(place, level) in seen.iter().filter(|(place, _)| *place > begin && *place < end) {
                self.counted[newest][1] += sum(place) - sum(at);
                (at, newest) = (place, level.min(LEVELS - 1));
            }
            self.counted[newest][1] += sum(end) - sum(at);
            self.counted[newest][0] += f64::from(u8::from(life.end == LifeEnd::Failed));
        }
    }

    /// Cups that failed in this shop while `newest` was the newest level, and how many age alone lets expect.
    pub fn counted(&self, newest: u8) -> [f64; 2] {
        self.counted[usize::from(newest).min(LEVELS - 1)]
    }

    /// How many times likelier cups failed while `newest` was the newest level than by age alone, above 0; never less after a worse level.
    pub fn times(&self, newest: Option<u8>) -> f64 {
        let of = |class: usize| {
            let [failed, expected] = self.counted[class];
            (WORTH * BEFORE[class] + failed, WORTH + expected)
        };
        let Some(level) = newest else {
            let (failed, expected) = of(LEVELS);
            return failed / expected;
        };
        // Levels whose counts contradict their order are taken together (pooling of adjacent violators).
        let mut pools: Vec<(f64, f64, usize)> = Vec::with_capacity(LEVELS);
        for class in 0..LEVELS {
            let (failed, expected) = of(class);
            pools.push((failed, expected, class));
            while let [.., before, last] = pools[..]
                && before.0 * last.1 > last.0 * before.1
            {
                pools.truncate(pools.len() - 2);
                pools.push((before.0 + last.0, before.1 + last.1, last.2));
            }
        }
        let pool = pools.iter().find(|(_, _, last)| usize::from(level) <= *last).or(pools.last());
        pool.map_or(1.0, |(failed, expected, _)| failed / expected)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::parse;
    use crate::model::Part;

    /// Ten pairs of cups that are looked at every 200 m3 and fail at 1000, all after `level`, which the last look shows.
    fn followed(level: u8) -> Followed {
        let mut text = "at,pump,cup,event,pump_m3,level\n".to_owned();
        let begin: chrono::DateTime<chrono::Utc> = "2025-01-01T06:00:00Z".parse().unwrap();
        for turn in 0..10 {
            let mut row = |day: i64, cup: &str, event: &str, m3: i64, level: &str| {
                let at = (begin + chrono::Duration::days(20 * turn + day)).to_rfc3339();
                text.push_str(&format!("{at},P,{cup},{event},{},{level}\n", 1000 * turn + m3));
            };
            row(0, "", "fitted", 0, "");
            (1..4).for_each(|look| row(look, "", "checked", 200 * look, "0"));
            row(4, "", "checked", 800, &level.to_string());
            row(5, "A", "failed", 1000, "");
            row(5, "B", "removed", 1000, "");
        }
        let timeline = &parse(text.as_bytes()).unwrap().timelines()[0];
        let mut followed = Followed::default();
        followed.add(timeline, &timeline.lives(Part::Cup), &Weibull { shape: 2.5, scale: 2500.0 });
        followed
    }

    #[test]
    fn level_that_failures_followed_counts_for_more_and_the_clean_ones_before_for_less() {
        let nothing = Followed::default();
        let lumps = followed(3);
        assert!(lumps.times(Some(3)) > nothing.times(Some(3)));
        assert!(lumps.times(Some(0)) < nothing.times(Some(0)));
        // 10 failed where 20 (0.4^2.5 - 0.32^2.5) = 0.866 were expected: (2 * 4 + 10) / (2 + 0.866).
        assert!((lumps.times(Some(3)) - 6.282).abs() < 0.001, "{}", lumps.times(Some(3)));
        let [failed, expected] = lumps.counted(3);
        assert_eq!(failed, 10.0);
        assert!((expected - 0.866).abs() < 0.001, "{expected}");
        assert_eq!(lumps.counted(2), [0.0, 0.0]);
        assert_eq!(lumps.times(Some(2)), nothing.times(Some(2)).min(lumps.times(Some(3))));
    }

    #[test]
    fn worse_level_is_never_the_better_one_however_failures_fell() {
        for level in 0..4 {
            let followed = followed(level);
            let times: Vec<f64> = (0..4).map(|level| followed.times(Some(level))).collect();
            assert!(times.is_sorted() && times[0] > 0.0, "{level}: {times:?}");
        }
    }

    #[test]
    fn without_a_record_the_stated_figures_speak() {
        let nothing = Followed::default();
        assert_eq!([Some(0), Some(1), Some(2), Some(3), None].map(|newest| nothing.times(newest)), BEFORE);
    }
}
