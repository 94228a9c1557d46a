//! How long parts last by the whole record, how the calls turned out, and what to have on the shelf.

use std::collections::HashMap;

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use gritbook_core::call::{ENOUGH_CALLS, Held, TrackRecord, percent_figure};
use gritbook_core::life::LifeSummary;
use gritbook_core::life::summary::Estimate;
use gritbook_core::model::words::Words;
use gritbook_core::shelf::{Shelf, ShelfSettings};

use super::super::super::Problem;
use super::super::frame::{Frame, html};
use super::super::shown::{Shown, number, whole};
use super::super::view;
use super::super::visit::Visit;
use super::{chart_svg, for_a_page};
use crate::report::lives::{life_chart, track_chart};

/// Shares of lead times in which the shelf must not run out, percent: what one may choose.
const SERVICES: [u32; 4] = [80, 90, 95, 99];

#[derive(Template)]
#[template(path = "record/parts.html")]
struct Page {
    frame: Frame,
    lives: Vec<Lives>,
    calls: Calls,
    shelf: Option<OnShelf>,
    days: u32,
    services: Vec<(u32, bool)>,
}

/// One kind of part.
struct Lives {
    title: &'static str,
    /// Inline SVG; empty where too few failed to draw a line that speaks of this part.
    chart: String,
    lines: Vec<String>,
}

struct Calls {
    /// Inline SVG; empty where there are too few.
    chart: String,
    lines: Vec<String>,
    /// What was said, and what came of it.
    bins: Vec<(String, String)>,
}

struct OnShelf {
    says: String,
    lines: Vec<String>,
    /// Pump, its name, chance, what it pumps until then.
    pumps: Vec<(String, String, String, String)>,
}

pub(super) async fn page(visit: Visit) -> Result<Response, Problem> {
    let usual = ShelfSettings::default();
    let days: u32 = visit.query.number("days", 1..=365)?.unwrap_or(usual.lead_time_days as u32);
    let service = visit.query.number("service", 50..=99)?.unwrap_or((100.0 * usual.service).round() as u32);
    let settings = ShelfSettings { lead_time_days: f64::from(days), service: f64::from(service) / 100.0, ..usual };
    let told = visit.depot.told_of_parts(visit.reader.only().map(<[_]>::to_vec), settings).await?;
    let frame = visit.frame();
    let shown = frame.shown;
    let pumps = visit.depot.archive().pumps(0).await?;
    let names: HashMap<String, String> = pumps.iter().map(|page| (page.pump.to_string(), view::name(page, shown))).collect();
    let page = Page {
        lives: told.lives.iter().map(|summary| lives(summary, shown)).collect(),
        calls: calls(&told.track, shown),
        shelf: told.shelf.as_ref().map(|found| on_shelf(found, &names, shown)),
        days,
        services: SERVICES.iter().map(|choice| (*choice, *choice == service)).collect(),
        frame,
    };
    visit.seen("fleet_seen", None).await;
    html(StatusCode::OK, &page)
}

fn lives(summary: &LifeSummary, shown: Shown) -> Lives {
    let counts = &summary.lives;
    let mut lines = vec![shown.pick(
        format!("{} failed, {} sound when last seen.", counts.all_failures(), counts.right_censored),
        format!("{} fallaron, {} sin falla la última vez.", counts.all_failures(), counts.right_censored),
    )];
    let told = summary.speaks_of_part();
    if told {
        lines.push(one_in_ten(summary.b10_to_go_by(), shown));
        let (half, unit) = shown.concrete(summary.law_to_go_by().quantile(0.5));
        lines.push(shown.pick(format!("Half have failed by {half}\u{a0}{unit}."), format!("La mitad ya falló a los {half}\u{a0}{unit}.")));
        if summary.prior_used {
            let few = "Too few failed to go by them alone: usual lives of the trade count with them.";
            lines.push(
                shown.pick(few, "Fallaron pocas para guiarse solo por ellas: cuentan también las vidas usuales del oficio.").to_owned(),
            );
        }
    } else {
        lines.push(shown.pick("Too few failed to say how long they last.", "Fallaron pocas para decir cuánto duran.").to_owned());
    }
    if summary.came_out_worn > 0 {
        lines.push(shown.pick(
            format!("{} of the sound ones came out worn: they would not have gone on like the others.", summary.came_out_worn),
            format!("{} de las que no fallaron salieron gastadas: no habrían seguido como las demás.", summary.came_out_worn),
        ));
    }
    let chart = if told { chart_svg(&for_a_page(life_chart(summary, true, |words| shown.say(words), shown.units))) } else { String::new() };
    Lives { title: shown.say(summary.part.name()), chart, lines }
}

fn one_in_ten(b10_m3: &Estimate, shown: Shown) -> String {
    let (value, unit) = shown.concrete(b10_m3.value);
    let end = |end: Option<f64>| end.map_or_else(|| "?".to_owned(), |m3| shown.concrete(m3).0);
    let (low, high) = (end(b10_m3.low), end(b10_m3.high));
    shown.pick(
        format!("One in ten has failed by {value}\u{a0}{unit} (95\u{a0}%: {low} to {high})."),
        format!("Una de cada diez ya falló a los {value}\u{a0}{unit} (95\u{a0}%: de {low} a {high})."),
    )
}

fn held_words(held: Held) -> Words {
    match held {
        Held::AsSaid => {
            Words { en: "As said, as far as so many calls can show.", es: "Como se dijo, hasta donde tantas decisiones lo muestran." }
        }
        Held::More => Words { en: "More failed than was said.", es: "Fallaron más de lo que se dijo." },
        Held::Fewer => Words { en: "Fewer failed than was said.", es: "Fallaron menos de lo que se dijo." },
    }
}

fn calls(track: &TrackRecord, shown: Shown) -> Calls {
    let waiting = match track.without_outcome {
        0 => None,
        1 => Some(shown.pick("1 more call has no outcome yet.", "1 decisión más todavía sin resultado.").to_owned()),
        more => {
            Some(shown.pick(format!("{more} more calls have no outcome yet."), format!("{more} decisiones más todavía sin resultado.")))
        }
    };
    if track.forecasts == 0 {
        let none = shown.pick(
            "No call can be judged yet. A call counts once it is recorded and the pour after it is in the record.",
            "Todavía no hay decisión que comparar. Una cuenta cuando está registrada y el colado que le sigue está en el registro.",
        );
        return Calls { chart: String::new(), lines: std::iter::once(none.to_owned()).chain(waiting).collect(), bins: Vec::new() };
    }
    let expected = number(track.expected);
    let mut lines = vec![shown.pick(
        format!("{} calls whose pour is over: {} failed, {expected} were expected to.", track.forecasts, track.failed),
        format!("{} decisiones con su colado ya hecho: {} fallaron, se esperaban {expected}.", track.forecasts, track.failed),
    )];
    match track.held() {
        Some(held) => lines.push(shown.say(held_words(held)).to_owned()),
        None => lines.push(shown.pick(
            format!("Too few to say how good the calls are. From {ENOUGH_CALLS} on it is told here."),
            format!("Son pocas para decir qué tan buenas son. Desde {ENOUGH_CALLS} se dice aquí."),
        )),
    }
    lines.extend(track.tells_apart().map(|apart| {
        let words = if apart {
            shown.pick(
                "They told risky pours from safe ones better than one chance for all would have.",
                "Separaron los colados de riesgo de los seguros mejor que una sola probabilidad para todos.",
            )
        } else {
            shown.pick(
                "They told risky pours from safe ones no better than one chance for all would have.",
                "No separaron los colados de riesgo de los seguros mejor que una sola probabilidad para todos.",
            )
        };
        words.to_owned()
    }));
    lines.extend(waiting);
    let bins = track.bins.iter().map(|bin| {
        let percent = |share: f64| percent_figure(share).unwrap_or_else(|| "0".to_owned());
        let (said, count, failed) = (percent(bin.mean_chance), bin.forecasts, bin.failed);
        let (low, high) = (percent(bin.low), percent(bin.high));
        let calls = shown.count(count as u64, Words { en: "call", es: "decisión" }, Words { en: "calls", es: "decisiones" });
        shown.pick(
            (format!("Said {said} of 100"), format!("{calls}, {failed} failed; in the long run {low} to {high} of 100")),
            (format!("Se dijo {said} de 100"), format!("{calls}, {failed} fallaron; a la larga, de {low} a {high} de 100")),
        )
    });
    let bins = bins.collect();
    let chart = if track.held().is_some() { chart_svg(&for_a_page(track_chart(track, |words| shown.say(words)))) } else { String::new() };
    Calls { chart, lines, bins }
}

fn on_shelf(found: &Shelf, names: &HashMap<String, String>, shown: Shown) -> OnShelf {
    let (cups, days, service) = (found.reorder_point_cups, whole(found.lead_time_days), whole((100.0 * found.reached_service).floor()));
    let expected = number(found.expected_cups);
    let says = if cups == 0 {
        shown.pick("None has to lie there.".to_owned(), "No hace falta tener ninguna.".to_owned())
    } else {
        shown.pick(format!("Order when {cups} cups are left."), format!("Pida cuando queden {cups} copas."))
    };
    let lines = vec![
        shown.pick(
            format!("With so many the shelf lasts {days} days at least {service} times in 100. {expected} cups are expected to be needed."),
            format!("Con tantas, el estante alcanza {days} días al menos {service} veces de 100. Se espera gastar {expected} copas."),
        ),
        shown
            .pick(
                "A pump that comes down takes two cups. Cups that the shop changes by plan come on top.",
                "Una bomba que se para lleva dos copas. Las que el taller cambia por plan van aparte.",
            )
            .to_owned(),
    ];
    // The one that is most likely to need them first.
    let mut pumps: Vec<_> = found.pumps.iter().collect();
    pumps.sort_by(|one, other| other.chance.total_cmp(&one.chance));
    let line = |pump: &&gritbook_core::shelf::PumpDemand| {
        let (volume, unit) = shown.concrete(pump.volume_m3);
        let chance = percent_figure(pump.chance).unwrap_or_else(|| shown.pick("under 0.1", "menos de 0.1").to_owned());
        (
            pump.pump.clone(),
            names.get(&pump.pump).cloned().unwrap_or_else(|| pump.pump.clone()),
            shown.pick(format!("{chance} of 100 that a cup fails"), format!("{chance} de 100 de que falle una copa")),
            format!("{volume}\u{a0}{unit}"),
        )
    };
    OnShelf { says, lines, pumps: pumps.iter().map(line).collect() }
}
