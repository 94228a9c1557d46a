//! Lives of parts, ended and running, with their ages as far as they are known.

use super::parts::FittedPart;
use super::{Place, ROUNDING_M3, Timeline};
use crate::life::{Ending, LifeSample};
use crate::model::entry::RemovalReason;
use crate::model::{Cup, Part};

/// A use of a part, in m3 or in duty, known within two ends.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Age {
    /// At least this.
    pub low: f64,
    /// At most this.
    pub high: f64,
}

impl Age {
    /// The middle of what is possible.
    pub fn middle(self) -> f64 {
        f64::midpoint(self.low, self.high)
    }

    /// Whether both ends agree to a rounding.
    pub fn is_exact(self) -> bool {
        self.high - self.low <= ROUNDING_M3
    }
}

/// How a life ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LifeEnd {
    /// It gave up mid-pour.
    Failed,
    /// It came out before failing; the reason where one was given.
    Removed(Option<RemovalReason>),
    /// It is still in.
    Running,
}

/// One life of a part, ended or running.
#[derive(Debug, Clone, PartialEq)]
pub struct Life {
    /// Which part.
    pub part: Part,
    /// Which side.
    pub cup: Option<Cup>,
    /// How it ended.
    pub end: LifeEnd,
    /// Its age when watching began, m3; None where nobody knows.
    pub age_then_m3: Option<f64>,
    /// m3 through it while it was watched.
    pub through_m3: Age,
    /// The same in duty.
    pub through_duty: Age,
    /// Places along the record between which it was watched, m3 (middle of what is possible).
    pub span_m3: [f64; 2],
    /// Duty per m3 around its end: turns a density over duty into one over m3.
    pub duty_rate: f64,
    /// Grades, as the use (middle of what is possible, in m3 and in duty) at which each was given.
    pub grades: Vec<([f64; 2], u8)>,
}

impl Life {
    /// The life as a sample for a fit, ages in m3; None where it says nothing (no use at all).
    ///
    /// A part of unknown age that failed is known only to have lasted longer than it was watched.
    pub fn sample_m3(&self) -> Option<LifeSample> {
        self.sample(self.through_m3, self.age_then_m3)
    }

    fn sample(&self, through: Age, age_then: Option<f64>) -> Option<LifeSample> {
        let from = age_then.unwrap_or(0.0);
        let (low, high) = (from + through.low, from + through.high);
        let ending = match (self.end, age_then) {
            (LifeEnd::Failed, Some(_)) if high <= 0.0 => Ending::FailedBetween(0.0, 1.0),
            (LifeEnd::Failed, Some(_)) if through.is_exact() => Ending::Failed(f64::midpoint(low, high)),
            (LifeEnd::Failed, Some(_)) => Ending::FailedBetween(low, high),
            _ => Ending::SoundAt(low),
        };
        let says_something = !matches!(ending, Ending::SoundAt(age) if age <= from);
        says_something.then_some(LifeSample { watched_from: from, ending })
    }
}

impl Timeline {
    /// Ended and running lives of a part, in the order in which they ended; running ones last.
    pub fn lives(&self, part: Part) -> Vec<Life> {
        let here = Place { low: self.position, high: self.position, open: false };
        let ended = self.ended.iter().filter(|ended| ended.part.part == part).map(|ended| self.life(&ended.part, ended.end, ended.how));
        let running = self.fitted.values().filter(|fitted| fitted.part == part).map(|fitted| self.life(fitted, here, LifeEnd::Running));
        ended.chain(running).collect()
    }

    fn life(&self, part: &FittedPart, end: Place, how: LifeEnd) -> Life {
        let through_m3 = Age { low: (end.low - part.start.high).max(0.0), high: (end.high - part.start.low).max(0.0) };
        let duty = |place: f64| self.duty_at(place);
        let through_duty =
            Age { low: (duty(end.low) - duty(part.start.high)).max(0.0), high: (duty(end.high) - duty(part.start.low)).max(0.0) };
        let duty_rate = self.duty.rate_before(end.high);
        let grades = part
            .grades
            .iter()
            .map(|seen| ([self.through_m3(part, seen.position_m3).middle(), self.through_duty(part, seen.position_m3).middle()], seen.what))
            .collect();
        Life {
            part: part.part,
            cup: part.cup,
            end: how,
            age_then_m3: part.age_then_m3,
            through_m3,
            through_duty,
            span_m3: [f64::midpoint(part.start.low, part.start.high), f64::midpoint(end.low, end.high)],
            duty_rate,
            grades,
        }
    }

    /// How many lives of cups have ended.
    pub fn ended_cups(&self) -> usize {
        self.ended.iter().filter(|ended| ended.part.part == Part::Cup).count()
    }

    /// How many lives of cups ended in failure.
    pub fn failed_cups(&self) -> usize {
        self.ended.iter().filter(|ended| ended.part.part == Part::Cup && ended.how == LifeEnd::Failed).count()
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{ages, row, timeline};
    use super::*;

    #[test]
    fn ages_follow_from_the_running_total() {
        let t = timeline(&[
            row(1, "A", "fitted", "1000,"),
            row(5, "A", "failed", "4500,"),
            row(5, "A", "fitted", "4500,"),
            row(9, "", "counter", "5000,"),
        ]);
        assert_eq!(ages(&t), [(Some(Cup::A), LifeEnd::Failed, 3500.0, 3500.0), (Some(Cup::A), LifeEnd::Running, 500.0, 500.0)]);
        assert_eq!(t.total_m3(), Some(5000.0));
        assert_eq!(t.lives(Part::Cup)[0].sample_m3(), Some(LifeSample::failed(3500.0)));
    }

    #[test]
    fn ages_follow_from_pours_where_no_total_was_read() {
        let t = timeline(&[
            row(1, "A", "fitted", ","),
            row(2, "", "poured", ",120,"),
            row(3, "", "poured", ",80,"),
            row(4, "A", "removed", ","),
        ]);
        assert_eq!(ages(&t), [(Some(Cup::A), LifeEnd::Removed(None), 200.0, 200.0)]);
        assert_eq!(t.total_m3(), None);
    }

    #[test]
    fn unrecorded_volume_between_readings_makes_an_interval() {
        // 300 m3 by the total, 100 by the pours: the 200 others went through before or after the failure.
        let t = timeline(&[
            row(1, "A", "fitted", "1000,"),
            row(2, "", "poured", ",100,"),
            row(3, "A", "failed", ","),
            row(4, "", "counter", "1300,"),
        ]);
        assert_eq!(ages(&t), [(Some(Cup::A), LifeEnd::Failed, 100.0, 300.0)]);
        assert_eq!(t.lives(Part::Cup)[0].sample_m3().unwrap().ending, Ending::FailedBetween(100.0, 300.0));
    }

    #[test]
    fn part_found_in_use_is_watched_from_its_age_or_from_an_unknown_one() {
        let t = timeline(&[
            row(1, "A", "in_use", "1000,,700,"),
            row(1, "B", "in_use", "1000,"),
            row(5, "A", "failed", "1500,"),
            row(5, "B", "failed", "1500,"),
        ]);
        let samples: Vec<_> = t.lives(Part::Cup).iter().map(|life| life.sample_m3().unwrap()).collect();
        assert_eq!(samples[0], LifeSample { watched_from: 700.0, ending: Ending::Failed(1200.0) });
        assert_eq!(samples[1], LifeSample::sound_at(500.0));
    }
}
