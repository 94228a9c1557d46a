//! The call: 2,000 asks on a fleet of 60 pumps over three years in at most 10 s on one core, and a single ask after 200 lives within
//! 30 ms on a phone's core. The history is invented and the same in every run.

#![allow(missing_docs, reason = "criterion's macros make undocumented functions")]
#![allow(clippy::unwrap_used, reason = "a bench may fail loudly")]

use std::fmt::Write as _;
use std::hint::black_box;

use chrono::{DateTime, Duration, Utc};
use criterion::{Criterion, criterion_group, criterion_main};
use gritbook_core::call::{Costs, judge, parse_asks};
use gritbook_core::history::parse;

/// Numbers between 0 and 1 (xorshift), the same in every run.
struct Numbers(u64);

impl Numbers {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// A history and asks as files: `pumps` over `days`, a pour every second day or so, a look before every third, cups that last 900 to 3300 m3.
fn files(pumps: usize, days: i64, ask_every: usize) -> (String, String, usize) {
    let mut numbers = Numbers(0x9E37_79B9_7F4A_7C15);
    let begin: DateTime<Utc> = "2024-01-01T06:00:00Z".parse().unwrap();
    let (mut history, mut asks) = (String::new(), String::new());
    history.push_str("at,pump,cup,event,pump_m3,pour_m3,concrete_bar,mix_factor,level,grade,liquid,reason\n");
    asks.push_str("at,pump,next_pour_m3,concrete_bar,mix_factor\n");
    let (mut pours, mut lives) = (0, 0);
    for pump in 0..pumps {
        let factor = 0.7 + 0.6 * numbers.next();
        let mut total = 1000.0;
        let mut life = [0.0; 2];
        let mut used = [0.0; 2];
        let mut at = begin + Duration::minutes((numbers.next() * 2000.0) as i64);
        for (cup, life) in ["A", "B"].into_iter().zip(&mut life) {
            *life = factor * (900.0 + 2400.0 * numbers.next());
            writeln!(history, "{},P{pump:02},{cup},fitted,{total:.1},,,,,,,", at.to_rfc3339()).unwrap();
        }
        while at < begin + Duration::days(days) {
            at += Duration::minutes(1200 + (numbers.next() * 3600.0) as i64);
            let share = (used[0] / life[0]).max(used[1] / life[1]);
            if numbers.next() < 0.33 {
                let level = ((share + 0.3 * (numbers.next() - 0.5) - 0.25) * 4.0).clamp(0.0, 3.0) as u8;
                let grade = (((used[0] / life[0]) + 0.2 * (numbers.next() - 0.5)) * 4.5).clamp(0.0, 4.0) as u8;
                writeln!(history, "{},P{pump:02},,checked,{total:.1},,,,{level},,grey,", at.to_rfc3339()).unwrap();
                writeln!(history, "{},P{pump:02},A,graded,{total:.1},,,,,{grade},,", (at + Duration::minutes(10)).to_rfc3339()).unwrap();
                if share > 0.9 && numbers.next() < 0.5 {
                    lives += 2;
                    for cup in ["A", "B"] {
                        let (out, new) = (at + Duration::minutes(20), at + Duration::minutes(30));
                        writeln!(history, "{},P{pump:02},{cup},removed,{total:.1},,,,,,,worn", out.to_rfc3339()).unwrap();
                        writeln!(history, "{},P{pump:02},{cup},fitted,{total:.1},,,,,,,", new.to_rfc3339()).unwrap();
                    }
                    life = [0, 1].map(|_| factor * (900.0 + 2400.0 * numbers.next()));
                    used = [0.0; 2];
                }
            }
            at += Duration::minutes(60);
            let (bar, mix) = (50.0 + 20.0 * numbers.next(), 0.9 + 0.3 * numbers.next());
            let volume = 20.0 + 100.0 * numbers.next();
            pours += 1;
            if pours % ask_every == 0 {
                writeln!(asks, "{},P{pump:02},{volume:.1},{bar:.0},{mix:.1}", at.to_rfc3339()).unwrap();
            }
            at += Duration::minutes(240);
            total += volume;
            used.iter_mut().for_each(|used| *used += volume);
            writeln!(history, "{},P{pump:02},,poured,{total:.1},{volume:.1},{bar:.0},{mix:.1},,,,", at.to_rfc3339()).unwrap();
            if let Some(cup) = (0..2).find(|&cup| used[cup] > life[cup]) {
                lives += 2;
                let (failed, other) = if cup == 0 { ("A", "B") } else { ("B", "A") };
                writeln!(history, "{},P{pump:02},{failed},failed,{total:.1},,,,,,,", (at + Duration::minutes(1)).to_rfc3339()).unwrap();
                writeln!(history, "{},P{pump:02},{other},removed,{total:.1},,,,,,,other_cup", (at + Duration::minutes(2)).to_rfc3339())
                    .unwrap();
                for cup in ["A", "B"] {
                    writeln!(history, "{},P{pump:02},{cup},fitted,{total:.1},,,,,,,", (at + Duration::minutes(3)).to_rfc3339()).unwrap();
                }
                life = [0, 1].map(|_| factor * (900.0 + 2400.0 * numbers.next()));
                used = [0.0; 2];
            }
        }
    }
    (history, asks, lives)
}

fn last_ask(asks: &str) -> String {
    let lines: Vec<&str> = asks.lines().collect();
    let last = lines[1..].iter().max().unwrap();
    format!("{}\n{last}\n", lines[0])
}

fn call(criterion: &mut Criterion) {
    let costs = Costs::default();
    let mut group = criterion.benchmark_group("call");
    group.sample_size(10);

    let (history, asks, lives) = files(8, 950, 10);
    let one = last_ask(&asks);
    group.bench_function(format!("one_ask_after_{lives}_lives_with_reading_the_file"), |bencher| {
        bencher.iter(|| {
            let history = parse(history.as_bytes()).unwrap();
            judge(black_box(&history), &parse_asks(one.as_bytes()).unwrap(), &costs).unwrap()
        });
    });

    let (history, asks, lives) = files(60, 3 * 365, 16);
    let history = parse(history.as_bytes()).unwrap();
    let asks = parse_asks(asks.as_bytes()).unwrap();
    let name = format!("{}_asks_on_60_pumps_three_years_{}_rows_{lives}_lives", asks.len(), history.rows.len());
    group.bench_function(name, |bencher| bencher.iter(|| judge(black_box(&history), &asks, &costs).unwrap()));
    group.finish();
}

criterion_group!(benches, call);
criterion_main!(benches);
