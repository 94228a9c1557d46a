//! Why, and what would change it, in words a mechanic can argue with; in both languages.

use chrono::{DateTime, Datelike, Utc};

use super::answer::{CallCode, Hint, Reason};
use super::ask::Costs;
use super::decide::Choice;
use crate::debris::level;
use crate::debris::reading::LevelCode;
use crate::history::{BREAK_IN_M3, BreakIn, Seen, Stop, StopKind};
use crate::model::Cup;
use crate::model::entry::Liquid;
use crate::model::words::{MONTHS, Words};
use crate::wear::grade::GRADE_NAMES;

/// What the words are made from.
pub(super) struct Facts<'a> {
    pub(super) stops: &'a [Stop],
    pub(super) choice: &'a Choice,
    pub(super) costs: &'a Costs,
    pub(super) pour_m3: f64,
    /// Cup, age, last grade.
    pub(super) cups: &'a [(Cup, Option<f64>, Option<u8>)],
    pub(super) last_seen: Option<Seen>,
    /// Cups that failed in this shop after the newest level, and how many age alone lets expect.
    pub(super) followed: Option<[f64; 2]>,
    pub(super) break_in: Option<BreakIn>,
    /// The call after a look into the box that shows paste only, some sand, or sand; None where it stays as it is.
    pub(super) look_first: Option<[CallCode; 3]>,
    pub(super) turn: Option<Turned>,
    pub(super) failures: usize,
    pub(super) median_life_m3: f64,
}

/// A turn of the shop's work that the lives alone show and the forecast goes by.
pub(super) struct Turned {
    /// Since when.
    pub(super) at: DateTime<Utc>,
    /// By how much more each m3 wears since.
    pub(super) factor: f64,
    /// How sure it is, 0 to 1.
    pub(super) chance: f64,
}

/// A text in both languages.
struct Said {
    en: String,
    es: String,
}

fn said(en: impl Into<String>, es: impl Into<String>) -> Said {
    Said { en: en.into(), es: es.into() }
}

fn reason(code: &str, text: Said, value: Option<f64>, limit: Option<f64>) -> Reason {
    Reason { code: code.to_owned(), text: text.en, text_es: text.es, value, limit }
}

fn hint(code: &str, text: Said) -> Hint {
    Hint { code: code.to_owned(), text: text.en, text_es: text.es }
}

fn side(cup: Option<Cup>) -> &'static str {
    match cup {
        Some(Cup::A) => " A",
        Some(Cup::B) => " B",
        None => "",
    }
}

/// A life or a sum of money to two figures: what is reckoned from a few lives is known no finer.
fn two_figures(value: f64) -> String {
    if !(value.is_finite() && value > 0.0) {
        return format!("{value:.0}");
    }
    let step = 10_f64.powf(value.log10().floor() - 1.0);
    let rounded = (value / step).round() * step;
    let decimals = (1.0 - rounded.log10().floor()).clamp(0.0, 2.0) as usize;
    format!("{rounded:.decimals$}")
}

/// A chance as a figure in percent: 12, 4.3, 0.4. `None` below a tenth of a percent: it is known no finer.
pub fn percent_figure(chance: f64) -> Option<String> {
    let percent = 100.0 * chance;
    let digits = if percent >= 9.95 { 0 } else { 1 };
    (percent >= 0.095).then(|| format!("{percent:.digits$}"))
}

/// A chance in words: 12 %, 0.4 %, under 0.1 %.
fn percent(chance: f64) -> Said {
    match percent_figure(chance) {
        Some(figure) => said(format!("{figure}\u{a0}%"), format!("{figure}\u{a0}%")),
        None => said("under 0.1\u{a0}%", "menos de 0.1\u{a0}%"),
    }
}

fn stop_reason(stop: &Stop) -> Reason {
    let side = side(stop.cup);
    let Words { en: part_en, es: part_es } = stop.part.name();
    let (code, text) = match stop.kind {
        StopKind::Lumps => ("lumps", said("Lumps in the box: the cups are done.", "Grumos en la caja: las copas ya no sirven.")),
        StopKind::CupSpent => ("cup_spent", said(format!("Cup{side} is graded spent."), format!("Copa{side}: calificada acabada."))),
        StopKind::PartSpent => {
            ("part_spent", said(format!("{part_en}{side} is graded spent."), format!("{part_es}{side}: estado acabado.")))
        }
        StopKind::PlateLow => (
            "plate_low",
            said(format!("Plate{side} is low in the centre: replace it."), format!("Plato{side} hundido en el centro: cámbielo.")),
        ),
        StopKind::BoltMissing => {
            ("bolt_missing", said("A coupler bolt is missing or broken.", "Falta un tornillo del acople, o está roto."))
        }
        StopKind::SensorBarMoved => (
            "sensor_bar_moved",
            said(
                "The sensor bar was moved: set its distance as the maker says.",
                "La barra del sensor se movió: ajuste su distancia como dice el fabricante.",
            ),
        ),
        StopKind::CupOut => (
            "cup_out",
            said(
                format!("Cup{side} came out or failed, and no new one is on record."),
                format!("Copa{side}: salió o falló, y no hay una nueva registrada."),
            ),
        ),
    };
    reason(code, text, Some(stop.value), Some(stop.limit))
}

fn cost_reason(choice: &Choice, costs: &Costs, stopped: bool) -> Reason {
    let [pour, watch, change] = choice.costs;
    let going_on = pour.min(watch);
    let currency = &costs.currency;
    let text = match choice.call {
        CallCode::Pour | CallCode::PourAndWatch if stopped => {
            let less = two_figures(change - going_on);
            said(
                format!("By cost alone going on would be about {less} {currency} cheaper; what was seen decides."),
                format!("Sólo por el costo, seguir saldría unos {less} {currency} más barato; decide lo que se vio."),
            )
        }
        CallCode::ChangeFirst => {
            let more = two_figures(going_on - change);
            said(
                format!("Going on is expected to cost about {more} {currency} more than changing now."),
                format!("Seguir así costaría unos {more} {currency} más que cambiar ahora."),
            )
        }
        CallCode::PourAndWatch => {
            let (saves, dearer) = (two_figures(pour - watch), two_figures(change - watch));
            said(
                format!(
                    "Watching is expected to save about {saves} {currency} against pouring unwatched; changing now would cost about {dearer} more."
                ),
                format!("Vigilar ahorraría unos {saves} {currency} frente a colar sin vigilar; cambiar ahora costaría unos {dearer} más."),
            )
        }
        CallCode::Pour => {
            let more = two_figures(change - pour);
            said(
                format!("Changing now is expected to cost about {more} {currency} more than pouring."),
                format!("Cambiar ahora costaría unos {more} {currency} más que colar."),
            )
        }
    };
    reason("expected_cost", text, Some(going_on), Some(change))
}

/// A turn that is surer than this is said without its chance.
const SURE_TURN: f64 = 0.95;

/// Cups wear out sooner or later than before. The day is known to some weeks, so the month is said.
fn turn_reason(turn: &Turned) -> Option<Reason> {
    let month = MONTHS.get(turn.at.month0() as usize)?;
    let (year, factor) = (turn.at.year(), turn.factor);
    let how_long = if factor > 1.0 { Words { en: "less", es: "menos" } } else { Words { en: "longer", es: "más" } };
    let how_sure = if turn.chance > SURE_TURN {
        said("", "")
    } else {
        let chance = percent(turn.chance);
        said(format!(" (chance {})", chance.en), format!(" (probabilidad {})", chance.es))
    };
    let text = said(
        format!(
            "On all pumps cups have lasted {} since about {} {year}{}: each m³ since then wears as {factor:.1}\u{a0}m³ before.",
            how_long.en, month.en, how_sure.en
        ),
        format!(
            "En todas las bombas las copas duran {} desde más o menos {} de {year}{}: cada m³ desde entonces gasta como {factor:.1}\u{a0}m³ de antes.",
            how_long.es, month.es, how_sure.es
        ),
    );
    Some(reason("work_turned", text, Some(factor), Some(1.0)))
}

/// What the last look into the box said.
fn seen_reasons(seen: Seen) -> Vec<Reason> {
    let mut signs = Vec::new();
    let level = match seen.level {
        Some(0) => Some(said("Paste only in the box at the last look.", "Sólo lechada en la caja en la última revisión.")),
        Some(1) => Some(said("Some sand in the box at the last look.", "Algo de arena en la caja en la última revisión.")),
        Some(2) => Some(said(
            "Sand in the box at the last look: cups are passing.",
            "Arena en la caja en la última revisión: las copas dejan pasar.",
        )),
        _ => None,
    };
    if let Some(text) = level {
        signs.push(reason("level", text, seen.level.map(f64::from), Some(2.0)));
    }
    match seen.liquid {
        Some(Liquid::Muddy) => signs.push(reason(
            "liquid_muddy",
            said(
                "Muddy liquid: mortar is passing the cups, or the bore is worn.",
                "Líquido lodoso: pasa mortero por las copas, o el cilindro está gastado.",
            ),
            None,
            None,
        )),
        Some(Liquid::Oily) => signs.push(reason(
            "liquid_oily",
            said(
                "Oil on the liquid: look at the rod seal; it says nothing about the cups.",
                "Aceite en el líquido: revise el sello del vástago; de las copas no dice nada.",
            ),
            None,
            None,
        )),
        _ => {}
    }
    if seen.liquid_low == Some(true) {
        signs.push(reason(
            "liquid_low",
            said(
                "Liquid low: it may pass the cups forward into the concrete.",
                "Líquido bajo: puede estar pasando por las copas hacia el concreto.",
            ),
            None,
            None,
        ));
    }
    signs
}

fn cup_reasons(cup: Cup, age: Option<f64>, grade: Option<u8>, median_life_m3: f64) -> Vec<Reason> {
    let mut signs = Vec::new();
    let side = side(Some(cup));
    if let Some(grade) = grade.filter(|grade| *grade < 4)
        && let Some(name) = GRADE_NAMES.get(usize::from(grade))
    {
        let text = said(format!("Cup{side} graded {grade}, {}.", name.en), format!("Copa{side}: estado {grade}, {}.", name.es));
        signs.push(reason("grade", text, Some(f64::from(grade)), Some(4.0)));
    }
    let life = two_figures(median_life_m3);
    signs.push(match age {
        Some(age) => reason(
            "age",
            said(
                format!("Cup{side} has {age:.0}\u{a0}m³; half of such cups reach about {life}\u{a0}m³."),
                format!("Copa{side}: lleva {age:.0}\u{a0}m³; la mitad de las copas así llega a unos {life}\u{a0}m³."),
            ),
            Some(age),
            Some(median_life_m3),
        ),
        None => reason(
            "age_unknown",
            said(
                format!("Nobody knows the age of cup{side}; that is in the interval."),
                format!("Nadie sabe la edad de la copa{side}; el intervalo ya lo incluye."),
            ),
            None,
            None,
        ),
    });
    signs
}

/// Failures, counted or expected, from which on what followed a level is worth saying.
const ENOUGH_FOLLOWED: f64 = 3.0;
/// How far the two must lie apart for it, as a factor.
const PLAINLY_APART: f64 = 1.5;

/// What followed the newest level in this shop so far, where that is plainly more or less than age alone lets expect.
fn followed_reason([failed, expected]: [f64; 2]) -> Option<Reason> {
    let apart = failed > PLAINLY_APART * expected || PLAINLY_APART * failed < expected;
    if failed.max(expected) < ENOUGH_FOLLOWED || !apart {
        return None;
    }
    let by_age = if expected < 9.95 { format!("{expected:.1}") } else { format!("{expected:.0}") };
    let text = said(
        format!("After such a level {failed:.0} cups failed in this shop before the next look; by age alone {by_age} would have."),
        format!("Después de ese nivel fallaron {failed:.0} copas en este taller antes de la siguiente revisión; por edad serían {by_age}."),
    );
    Some(reason("level_followed", text, Some(failed), Some(expected)))
}

/// The look that follows new cups: due now, or after the asked pour.
fn break_in_reason(break_in: &BreakIn, pour_m3: f64) -> Option<Reason> {
    let through = break_in.through_m3;
    if let Some(look) = break_in.due() {
        let text = said(
            format!("New cups, {through:.0}\u{a0}m³ through them: a look into the box is due."),
            format!("Copas nuevas, llevan {through:.0}\u{a0}m³: toca revisar la caja."),
        );
        return Some(reason("break_in_due", text, Some(through), Some(look.at_m3)));
    }
    let look = break_in.due_within(pour_m3)?;
    let text = if look.at_m3 <= BREAK_IN_M3[0] {
        said("New cups: look into the box after this pour.", "Copas nuevas: revise la caja después de este colado.")
    } else {
        said(
            format!("New cups reach {:.0}\u{a0}m³ in this pour: look into the box after it.", look.at_m3),
            format!("Las copas nuevas llegan a {:.0}\u{a0}m³ en este colado: revise la caja después.", look.at_m3),
        )
    };
    Some(reason("break_in_next", text, Some(through), Some(look.at_m3)))
}

/// Reasons, gravest first.
pub(super) fn reasons(facts: &Facts<'_>) -> Vec<Reason> {
    let Facts { choice, costs, .. } = facts;
    let mut reasons: Vec<Reason> = facts.stops.iter().map(stop_reason).collect();
    let chance = percent(choice.chance_of_failure);
    reasons.push(reason(
        "chance_of_failure",
        said(
            format!("Chance that a cup fails in the next {:.0}\u{a0}m³: {}.", facts.pour_m3, chance.en),
            format!("Probabilidad de que una copa falle en los próximos {:.0}\u{a0}m³: {}.", facts.pour_m3, chance.es),
        ),
        Some(choice.chance_of_failure),
        None,
    ));
    reasons.push(cost_reason(choice, costs, !facts.stops.is_empty()));
    reasons.extend(facts.turn.as_ref().and_then(turn_reason));
    reasons.extend(facts.last_seen.map(seen_reasons).unwrap_or_default());
    reasons.extend(facts.followed.and_then(followed_reason));
    reasons.extend(facts.break_in.as_ref().and_then(|break_in| break_in_reason(break_in, facts.pour_m3)));
    for (cup, age, grade) in facts.cups {
        reasons.extend(cup_reasons(*cup, *age, *grade, facts.median_life_m3));
    }
    if facts.failures < crate::life::fit::LEAST_FAILURES {
        let text = said(
            format!("Only {} failed lives are known; the stated prior still speaks.", facts.failures),
            format!("Sólo se conocen {} vidas que acabaron en falla; todavía pesa la suposición inicial.", facts.failures),
        );
        reasons.push(reason("few_lives", text, Some(facts.failures as f64), Some(crate::life::fit::LEAST_FAILURES as f64)));
    }
    reasons
}

impl CallCode {
    /// The call within a sentence.
    pub fn words(self) -> Words {
        match self {
            Self::Pour => Words { en: "pour", es: "cuele" },
            Self::PourAndWatch => Words { en: "pour and watch", es: "cuele y vigile" },
            Self::ChangeFirst => Words { en: "change first", es: "primero cambie" },
        }
    }

    /// The call as a sentence of its own.
    pub fn sentence(self) -> Words {
        match self {
            Self::Pour => Words { en: "Pour.", es: "Cuele." },
            Self::PourAndWatch => Words { en: "Pour, and watch.", es: "Cuele, y vigile." },
            Self::ChangeFirst => Words { en: "Change first.", es: "Primero cambie." },
        }
    }
}

fn lifts(kind: StopKind) -> Hint {
    match kind {
        StopKind::Lumps => hint(
            "new_look",
            said(
                "New cups; or drain the box again: less than lumps at a new look lifts the stop.",
                "Copas nuevas; o drene la caja otra vez: si ya no salen grumos, se levanta el alto.",
            ),
        ),
        StopKind::CupSpent => {
            hint("new_cup", said("A new cup, or a better grade on a second look.", "Una copa nueva, o mejor estado al revisar de nuevo."))
        }
        StopKind::PartSpent | StopKind::PlateLow => hint(
            "new_part",
            said(
                "The part replaced, or a better grade or measure on record.",
                "La pieza cambiada, o un mejor estado o medida en el registro.",
            ),
        ),
        StopKind::BoltMissing => hint(
            "bolts_complete",
            said("All bolts in and tight, and graded so.", "Todos los tornillos puestos y apretados, y así calificados."),
        ),
        StopKind::SensorBarMoved => hint(
            "sensor_bar_set",
            said(
                "The sensor bar set and a measure of sensor_bar_moved 0 on record.",
                "La barra del sensor ajustada, y la medida sensor_bar_moved 0 en el registro.",
            ),
        ),
        StopKind::CupOut => hint("cup_in", said("The new cup on record as fitted.", "La copa nueva registrada como montada.")),
    }
}

/// What a look into the box before the pour would lead to. Levels that lead to the same stand together.
fn look_first(after: [CallCode; 3]) -> Hint {
    let mut text = said("Lock out, drain the box and look first.", "Primero bloquee la bomba, drene la caja y revise.");
    let levels: Vec<(Words, CallCode)> = [LevelCode::PasteOnly, LevelCode::SomeSand, LevelCode::Sand, LevelCode::Lumps]
        .into_iter()
        .map(|code| level::words(code).0)
        .zip(after.into_iter().chain([CallCode::ChangeFirst]))
        .collect();
    for alike in levels.chunk_by(|one, next| one.1 == next.1) {
        let [en, es] =
            [|words: Words| words.en, |words: Words| words.es].map(|of| alike.iter().map(|(name, _)| of(*name)).collect::<Vec<_>>());
        let then = alike[0].1.words();
        text.en.push_str(&format!(" {}: {}.", either(&en, "or"), then.en));
        text.es.push_str(&format!(" {}: {}.", either(&es, "o"), then.es));
    }
    hint("look_first", text)
}

/// Names as one: Paste only, some sand or sand.
fn either(names: &[&str], or: &str) -> String {
    let mut names = names.iter().enumerate().map(|(i, name)| if i == 0 { (*name).to_owned() } else { name.to_lowercase() });
    let last = names.next_back().unwrap_or_default();
    let before: Vec<_> = names.collect();
    if before.is_empty() { last } else { format!("{} {or} {last}", before.join(", ")) }
}

/// What would change the call.
pub(super) fn would_change(facts: &Facts<'_>) -> Vec<Hint> {
    if !facts.stops.is_empty() {
        return facts.stops.iter().map(|stop| lifts(stop.kind)).collect();
    }
    let mut hints: Vec<Hint> = facts.look_first.map(look_first).into_iter().collect();
    let [smaller, bigger] = facts.choice.other_pours;
    // Only what a mechanic can use: a smaller pour that needs less, a bigger one that needs more.
    if let Some((volume, call)) = smaller.filter(|(_, call)| *call < facts.choice.call) {
        let Words { en, es } = call.words();
        let text = said(
            format!("For a pour of {volume:.0}\u{a0}m³ or less: {en}."),
            format!("Para un colado de {volume:.0}\u{a0}m³ o menos: {es}."),
        );
        hints.push(hint("smaller_pour", text));
    }
    if let Some((volume, call)) = bigger.filter(|(_, call)| *call > facts.choice.call) {
        let Words { en, es } = call.words();
        hints.push(hint(
            "bigger_pour",
            said(format!("For {volume:.0}\u{a0}m³ or more: {en}."), format!("Para {volume:.0}\u{a0}m³ o más: {es}.")),
        ));
    }
    match facts.choice.call {
        CallCode::ChangeFirst => {
            let still = facts.costs.planned_change;
            let dearer = still + (facts.choice.costs[2] - facts.choice.costs[0].min(facts.choice.costs[1])).abs();
            let currency = &facts.costs.currency;
            let text = said(
                format!("A planned visit dearer than about {dearer:.0} {currency}."),
                format!("Una visita planeada que cueste más de unos {dearer:.0} {currency}."),
            );
            hints.push(hint("dearer_change", text));
        }
        CallCode::Pour | CallCode::PourAndWatch => {
            let text = said(
                "Lumps at a look into the box, or a cup graded spent: change first at once.",
                "Grumos al revisar la caja, o una copa acabada: entonces cambie de inmediato.",
            );
            hints.push(hint("worse_sign", text));
        }
    }
    hints
}

#[cfg(test)]
mod tests {
    use super::CallCode::{ChangeFirst, Pour, PourAndWatch};
    use super::*;

    #[test]
    fn levels_that_lead_to_the_same_stand_together() {
        let texts = |after| (look_first(after).text, look_first(after).text_es);
        let (en, es) = texts([Pour, Pour, PourAndWatch]);
        assert_eq!(en, "Lock out, drain the box and look first. Paste only or some sand: pour. Sand: pour and watch. Lumps: change first.");
        assert_eq!(
            es,
            "Primero bloquee la bomba, drene la caja y revise. Sólo lechada o algo de arena: cuele. Arena: cuele y vigile. Grumos: primero cambie."
        );
        let (en, es) = texts([Pour, ChangeFirst, ChangeFirst]);
        assert_eq!(en, "Lock out, drain the box and look first. Paste only: pour. Some sand, sand or lumps: change first.");
        assert_eq!(
            es,
            "Primero bloquee la bomba, drene la caja y revise. Sólo lechada: cuele. Algo de arena, arena o grumos: primero cambie."
        );
    }

    #[test]
    fn what_is_reckoned_is_said_to_two_figures_and_told_whole() {
        let figures =
            [(4618.6, "4600"), (9960.0, "10000"), (12_345.0, "12000"), (765.0, "770"), (8.26, "8.3"), (0.123, "0.12"), (0.0, "0")];
        for (value, said) in figures {
            assert_eq!(two_figures(value), said);
        }
        let age = &cup_reasons(Cup::A, Some(812.4), None, 4618.6)[0];
        assert_eq!(age.text, "Cup A has 812\u{a0}m³; half of such cups reach about 4600\u{a0}m³.");
        assert_eq!(age.text_es, "Copa A: lleva 812\u{a0}m³; la mitad de las copas así llega a unos 4600\u{a0}m³.");
        assert_eq!((age.value, age.limit), (Some(812.4), Some(4618.6)));
    }

    #[test]
    fn where_a_stop_decides_the_cost_does_not_speak_for_pouring() {
        let choice = |call, costs| Choice {
            call,
            costs,
            chance_of_failure: 0.1,
            cost_per_m3: 1.0,
            best_change_age_m3: None,
            other_pours: [None, None],
        };
        let said = |call, costs, stopped| cost_reason(&choice(call, costs), &Costs::default(), stopped).text;
        let by_cost = "By cost alone going on would be about 450 USD cheaper; what was seen decides.";
        assert_eq!(said(PourAndWatch, [120.0, 90.0, 540.0], true), by_cost);
        assert_eq!(said(Pour, [90.0, 120.0, 540.0], true), by_cost);
        assert_eq!(said(Pour, [90.0, 120.0, 540.0], false), "Changing now is expected to cost about 450 USD more than pouring.");
        let dearer = "Going on is expected to cost about 450 USD more than changing now.";
        assert_eq!(said(ChangeFirst, [1290.0, 990.0, 540.0], true), dearer);
    }
}
