use super::super::{History, parse};
use super::*;
use crate::life::Ending;

fn history(rows: &str) -> History {
    parse(
        format!("at,pump,cup,event,pump_m3,pour_m3,age_m3,grade,level,part,reason,measure,value,concrete_bar,mix_factor\n{rows}")
            .as_bytes(),
    )
    .unwrap()
}

/// A row on day `day` (01 to 28); `rest` holds the cells after `event`.
fn row(day: u32, cup: &str, event: &str, rest: &str) -> String {
    let commas = 11 - rest.matches(',').count();
    format!("2026-03-{day:02}T08:00:00Z,P,{cup},{event},{rest}{}\n", ",".repeat(commas - 1))
}

fn timeline(rows: &[String]) -> Timeline {
    history(&rows.concat()).timelines().remove(0)
}

fn ages(timeline: &Timeline) -> Vec<(Option<Cup>, LifeEnd, f64, f64)> {
    timeline.lives(Part::Cup).iter().map(|life| (life.cup, life.end, life.through_m3.low, life.through_m3.high)).collect()
}

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
    let t =
        timeline(&[row(1, "A", "fitted", ","), row(2, "", "poured", ",120,"), row(3, "", "poured", ",80,"), row(4, "A", "removed", ",")]);
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
fn total_below_the_pours_wins() {
    let t = timeline(&[
        row(1, "A", "fitted", "1000,"),
        row(2, "", "poured", ",100,"),
        row(3, "", "counter", "1080,"),
        row(4, "A", "removed", "1090,"),
    ]);
    assert_eq!(ages(&t)[0].2, 90.0);
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

#[test]
fn event_for_the_whole_pump_concerns_both_cups() {
    let t = timeline(&[row(1, "", "fitted", "1000,"), row(5, "", "removed", "1500,,,,,,planned,")]);
    assert_eq!(ages(&t).len(), 2);
    assert!(t.lives(Part::Cup).iter().all(|life| life.end == LifeEnd::Removed(Some(RemovalReason::Planned))));
}

#[test]
fn failure_of_an_unknown_cup_falls_to_the_one_that_is_changed() {
    let t = timeline(&[row(1, "", "fitted", "1000,"), row(5, "", "failed", "1500,"), row(6, "B", "fitted", "1500,")]);
    let lives = ages(&t);
    assert_eq!(lives[0], (Some(Cup::B), LifeEnd::Failed, 500.0, 500.0));
    assert_eq!((lives[1].0, lives[1].1), (Some(Cup::A), LifeEnd::Running));
    assert!(t.stops().is_empty());
}

#[test]
fn stops_come_with_what_was_seen_and_go_with_what_was_done() {
    let kinds = |rows: &[String]| timeline(rows).stops().iter().map(|stop| (stop.kind, stop.cup)).collect::<Vec<_>>();
    let mut rows = vec![row(1, "", "fitted", "1000,"), row(2, "", "checked", "1100,,,,3,")];
    assert_eq!(kinds(&rows), [(StopKind::Lumps, None)]);
    rows.push(row(3, "A", "graded", "1100,,,4,"));
    rows.push(row(3, "", "graded", "1100,,,4,,bolts,"));
    assert_eq!(kinds(&rows), [(StopKind::Lumps, None), (StopKind::CupSpent, Some(Cup::A)), (StopKind::BoltMissing, None)]);
    rows.push(row(4, "A", "removed", "1100,,,,,,worn,"));
    assert_eq!(kinds(&rows), [(StopKind::BoltMissing, None), (StopKind::CupOut, Some(Cup::A))]);
    rows.push(row(4, "A", "fitted", "1100,"));
    assert_eq!(kinds(&rows), []);
    rows.push(row(5, "", "measured", "1100,,,,,,,sensor_bar_moved,1,"));
    assert_eq!(kinds(&rows), [(StopKind::SensorBarMoved, None)]);
    rows.push(row(6, "", "fitted", "1100,"));
    assert_eq!(kinds(&rows), [(StopKind::SensorBarMoved, None)]);
    rows.push(row(7, "", "measured", "1100,,,,,,,sensor_bar_moved,0,"));
    assert_eq!(kinds(&rows), []);
}

#[test]
fn lumps_stay_a_stop_while_one_of_two_sound_cups_is_from_before() {
    let mut rows = vec![
        row(1, "", "fitted", "1000,"),
        row(2, "", "checked", "1100,,,,3,"),
        row(3, "A", "removed", "1100,,,,,,planned,"),
        row(3, "A", "fitted", "1100,"),
    ];
    assert_eq!(timeline(&rows).stops().len(), 1);
    rows.push(row(4, "B", "removed", "1100,,,,,,planned,"));
    rows.push(row(4, "B", "fitted", "1100,"));
    assert_eq!(timeline(&rows).stops().len(), 0);
}

#[test]
fn duty_weighs_volume_by_pressure_and_mix() {
    // 100 m3 at 100 bar and mix 1.5: 300 of duty; 100 m3 untold: at the means so far, another 300.
    let t = timeline(&[row(1, "A", "fitted", "1000,"), row(2, "", "poured", "1100,100,,,,,,,,100,1.5"), row(3, "", "counter", "1200,")]);
    assert!((t.duty_at(100.0) - 300.0).abs() < 1e-9);
    assert!((t.duty_at(200.0) - 600.0).abs() < 1e-9);
    let cup = t.cup(Cup::A).unwrap();
    assert!((t.through_duty(&cup, 150.0).middle() - 450.0).abs() < 1e-9);
}

#[test]
fn pour_written_after_its_reading_still_tells_its_pressure() {
    let t = timeline(&[row(1, "A", "fitted", "1000,"), row(2, "", "checked", "1100,"), row(3, "", "poured", "1100,100,,,,,,,,100,1")]);
    assert!((t.duty_at(100.0) - 200.0).abs() < 1e-9);
}
