//! How long parts last, and how honest the calls were, as charts.

use gritbook_core::call::{TrackBin, TrackRecord};
use gritbook_core::life::{LifeSummary, Weibull};
use gritbook_core::model::words::Words;
use gritbook_core::units::M3_PER_YD3;
use gritbook_core::units::shown::UnitSystem;

use super::chart::{Axis, Chart, Label, Mark, Place, Tone, plain_number};

/// The counted and the fitted curve; beyond the last life it is hatched.
///
/// `narrow` leaves out what a page says in words beside it: the prior, what is hatched, the fit without what was seen. `say` gives the
/// words in the reader's language; concrete is in the unit of `units`.
pub fn life_chart(summary: &LifeSummary, narrow: bool, say: impl Fn(Words) -> &'static str, units: UnitSystem) -> Chart {
    let shown = |m3: f64| if units == UnitSystem::Inch { m3 / M3_PER_YD3 } else { m3 };
    // As the other charts of the command write it, without a raised figure.
    let unit = if units == UnitSystem::Inch { "yd3" } else { "m3" };
    let law = summary.weibull();
    // The curve to go by accounts for what was seen; the one that does not stands behind it, to be held against it.
    let told = summary.with_signs.as_ref().map(|_| summary.law_to_go_by());
    let last_counted = summary.kaplan_meier.last().map_or(0.0, |row| row.age_m3);
    let to = (law.quantile(0.97)).max(last_counted) * 1.05;
    let ages: Vec<f64> = (0..=120).map(|i| to * f64::from(i) / 120.0).collect();
    let mut counted = vec![[0.0, 100.0]];
    counted.extend(summary.kaplan_meier.iter().map(|row| [shown(row.age_m3), 100.0 * row.reliability]));
    // Pointwise normal bounds from Greenwood's error, clipped to what a share can be.
    let mut band: Vec<[f64; 3]> = vec![[0.0, 100.0, 100.0]];
    for row in &summary.kaplan_meier {
        let half = 1.96 * row.reliability_se;
        let [low, high] = [(row.reliability - half).max(0.0), (row.reliability + half).min(1.0)].map(|share| 100.0 * share);
        if let Some(&[_, before_low, before_high]) = band.last() {
            band.push([shown(row.age_m3), before_low, before_high]);
        }
        band.push([shown(row.age_m3), low, high]);
    }
    let lives = &summary.lives;
    let note = format!(
        "{} {}, {} {}",
        lives.all_failures(),
        say(Words { en: "failed", es: "fallaron" }),
        lives.right_censored,
        say(Words { en: "sound when last seen", es: "sin falla la última vez" })
    );
    let mut chart = Chart::new(
        say(Words { en: "How long they last", es: "Cuánto duran" }),
        Axis::linear(format!("{}, {unit}", say(Words { en: "concrete through the part", es: "concreto por la pieza" })), 0.0, shown(to)),
        Axis::linear(say(Words { en: "still sound, %", es: "sin falla, %" }), 0.0, 100.0),
    );
    chart.note = if summary.prior_used && !narrow {
        format!("{note}; {}", say(Words { en: "too few for a fit: with the stated prior", es: "pocas para un ajuste: con lo usual" }))
    } else {
        note
    };
    if last_counted > 0.0 && last_counted < 0.98 * to {
        chart = chart.with(Mark::Hatched {
            from_x: shown(last_counted),
            to_x: shown(to),
            text: if narrow { "" } else { say(Words { en: "no failure\nseen yet", es: "ninguna falla\nvista" }) }.to_owned(),
        });
    }
    let line = |law: Weibull, text: &str, plain: bool| Mark::Line {
        points: ages.iter().map(|age| [shown(*age), 100.0 * law.reliability(*age)]).collect(),
        tone: if plain { Tone::Pencil } else { Tone::Own },
        width_px: if plain { 1.5 } else { 2.5 },
        dashed: plain,
        label: Some(Label { text: text.to_owned(), place: Place::End }),
    };
    if counted.len() > 1 {
        let label = Label { text: say(Words { en: "counted", es: "contado" }).to_owned(), place: Place::Below(1.0) };
        chart = chart.with(Mark::Band { points: band, tone: Tone::Pencil }).with(Mark::Steps {
            points: counted,
            tone: Tone::Pencil,
            width_px: 1.5,
            label: Some(label),
        });
    }
    let alone = if summary.prior_used { Words { en: "with prior", es: "con lo usual" } } else { Words { en: "fitted", es: "ajustado" } };
    let chart = match told {
        Some(told) if !narrow => chart.with(line(law, say(Words { en: "without signs", es: "sin señales" }), true)).with(line(
            told,
            say(Words { en: "with signs", es: "con señales" }),
            false,
        )),
        Some(told) => chart.with(line(told, say(Words { en: "expected", es: "esperado" }), false)),
        None => chart.with(line(law, say(alone), false)),
    };
    let b10_m3 = summary.b10_to_go_by().value;
    let text = format!("{}\n{} {unit}", say(Words { en: "one in ten by", es: "una de diez a" }), plain_number(shown(b10_m3)));
    chart.with(Mark::UprightAt { x: shown(b10_m3), tone: Tone::Ink, text })
}

/// Chances given against shares that failed, each with its interval; on the line they are honest.
pub fn track_chart(record: &TrackRecord, say: impl Fn(Words) -> &'static str) -> Chart {
    let said = 130.0 * record.bins.iter().map(|bin| bin.mean_chance).fold(0.1, f64::max);
    let seen = 105.0 * record.bins.iter().map(|bin| bin.high).fold(0.1, f64::max);
    let (said, seen) = (said.min(100.0), seen.min(100.0));
    let honest = said.min(seen);
    let mut chart = Chart::new(
        say(Words { en: "What was said, and what happened", es: "Lo que se dijo y lo que pasó" }),
        Axis::linear(say(Words { en: "chance of failure given, %", es: "probabilidad de falla dicha, %" }), 0.0, said),
        Axis::linear(say(Words { en: "failed, %", es: "fallaron, %" }), 0.0, seen),
    );
    chart.note = format!(
        "{} {}, {} {}",
        record.forecasts,
        say(Words { en: "forecasts", es: "pronósticos" }),
        record.failed,
        say(Words { en: "failed", es: "fallaron" })
    );
    let dot = |bin: &TrackBin| [100.0 * bin.mean_chance, 100.0 * bin.failed as f64 / bin.forecasts.max(1) as f64];
    let line = Mark::Line {
        points: vec![[0.0, 0.0], [honest, honest]],
        tone: Tone::Pencil,
        width_px: 1.5,
        dashed: true,
        label: Some(Label { text: say(Words { en: "as said", es: "como se dijo" }).to_owned(), place: Place::End }),
    };
    let bars = record.bins.iter().map(|bin| Mark::Line {
        points: vec![[100.0 * bin.mean_chance, 100.0 * bin.low], [100.0 * bin.mean_chance, 100.0 * bin.high]],
        tone: Tone::Own,
        width_px: 2.0,
        dashed: false,
        label: None,
    });
    let chart = bars.fold(chart.with(line), Chart::with);
    chart.with(Mark::Points { points: record.bins.iter().map(dot).collect(), tone: Tone::Own, filled: true, radius_px: 5.0, label: None })
}
