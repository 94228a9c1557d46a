use super::super::{History, parse};
use super::*;

fn history(rows: &str) -> History {
    parse(
        format!("at,pump,cup,event,pump_m3,pour_m3,age_m3,grade,level,part,reason,measure,value,concrete_bar,mix_factor\n{rows}")
            .as_bytes(),
    )
    .unwrap()
}

/// A row on day `day` (01 to 28); `rest` holds the cells after `event`.
pub(super) fn row(day: u32, cup: &str, event: &str, rest: &str) -> String {
    let commas = 11 - rest.matches(',').count();
    format!("2026-03-{day:02}T08:00:00Z,P,{cup},{event},{rest}{}\n", ",".repeat(commas - 1))
}

pub(super) fn timeline(rows: &[String]) -> Timeline {
    history(&rows.concat()).timelines().remove(0)
}

pub(super) fn ages(timeline: &Timeline) -> Vec<(Option<Cup>, LifeEnd, f64, f64)> {
    timeline.lives(Part::Cup).iter().map(|life| (life.cup, life.end, life.through_m3.low, life.through_m3.high)).collect()
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
