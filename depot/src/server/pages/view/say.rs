//! What each kind of entry says.

use gritbook_core::call::{CallCode, percent_figure};
use gritbook_core::debris::level;
use gritbook_core::debris::reading::Reading;
use gritbook_core::model::EntryBody;
use gritbook_core::model::entry::{BoxCheck, Called, ChangedOut, Liquid, RemovalReason};
use gritbook_core::model::part::{GradeSource, Part};
use gritbook_core::model::words::Words;

use super::super::shown::{InUnit, Shown, number, whole};
use super::super::signs;
use super::{EntryView, Figure, about, grade_word, newer, part_title, unknown_kind};
use crate::report::words::sized_as_a_heap;

pub(super) fn body(view: &mut EntryView, body: &EntryBody, shown: Shown) {
    match body {
        EntryBody::PumpSet(spec) => {
            view.kind = shown.pick("Pump", "Bomba").into();
            view.says = shown.pick(format!("{} is in the book.", spec.name), format!("{} está en el libro.", spec.name));
            view.means = about(spec, shown);
        }
        EntryBody::BoxCheck(check) => box_check(view, check, shown),
        EntryBody::Graded(graded) => {
            let grade = graded.grade.number();
            view.kind = shown.pick("Grade", "Grado").into();
            view.sign = signs::ring(grade, graded.source == GradeSource::Measured, shown);
            view.says = format!("{}: {}.", part_title(graded.part, graded.cup, shown), grade_word(grade, shown));
            let (en, es) = match graded.source {
                GradeSource::Eye => ("by eye", "a ojo"),
                GradeSource::Measured => ("measured", "medido"),
            };
            view.means = shown.pick(format!("Grade {grade} of 0 to 4, {en}"), format!("Grado {grade} de 0 a 4, {es}"));
            total(view, graded.pump_m3, shown);
            note(view, &graded.note);
        }
        EntryBody::Measured(measured) => {
            let (name, (value, unit)) = measure(&measured.measure, measured.value, shown);
            view.kind = shown.pick("Measured", "Medida").into();
            let space = if unit.is_empty() { "" } else { "\u{a0}" };
            view.says = format!("{}: {name} {value}{space}{unit}.", part_title(measured.part, measured.cup, shown));
            total(view, measured.pump_m3, shown);
        }
        EntryBody::Fitted(fitted) => {
            view.kind = shown.pick("Fitted", "Puesta").into();
            let how = if fitted.already_in {
                shown.pick("was in already when the book began", "ya estaba puesta al empezar el libro")
            } else {
                shown.pick("fitted new", "puesta nueva")
            };
            view.says = format!("{} {how}.", part_title(fitted.part, fitted.cup, shown));
            if let Some(age) = fitted.age_m3 {
                figure(view, shown.pick("age then", "uso entonces"), shown.concrete(age));
            }
            total(view, fitted.pump_m3, shown);
        }
        EntryBody::Removed(removed) => {
            view.kind = shown.pick("Removed", "Retirada").into();
            let why = shown.say(match removed.reason {
                RemovalReason::Worn => Words { en: "taken out worn", es: "retirada por gastada" },
                RemovalReason::Planned => Words { en: "taken out on plan", es: "retirada según plan" },
                RemovalReason::Damaged => Words { en: "taken out damaged", es: "retirada por dañada" },
                RemovalReason::OtherCup => Words { en: "taken out with the other cup", es: "retirada junto con la otra copa" },
                RemovalReason::Failed => Words { en: "gave up mid-pour", es: "falló en pleno colado" },
            });
            view.says = format!("{} {why}.", part_title(removed.part, removed.cup, shown));
            total(view, removed.pump_m3, shown);
        }
        EntryBody::Poured(poured) => {
            view.kind = shown.pick("Pour", "Colado").into();
            view.says = match poured.pour_m3 {
                None => shown.pick("Total read off.", "Total leído.").into(),
                Some(volume) => {
                    let (value, unit) = shown.concrete(volume);
                    format!("{value}\u{a0}{unit} {}.", shown.pick("pumped", "bombeados"))
                }
            };
            if let Some(bar) = poured.concrete_bar {
                figure(view, shown.pick("concrete pressure", "presión del concreto"), shown.pressure(bar));
            }
            if let Some(factor) = poured.mix_factor {
                figure(view, shown.pick("mix factor", "factor de mezcla"), (number(factor), ""));
            }
            total(view, poured.pump_m3, shown);
        }
        EntryBody::Called(called) => call(view, called, shown),
        EntryBody::ChangedOut(changed) => change_out(view, changed, shown),
        EntryBody::Amended(amended) => {
            match &amended.instead {
                Some(instead) => {
                    self::body(view, instead, shown);
                    view.is_call = false;
                    view.lines.insert(0, format!("{}: {}", shown.pick("Put right", "Corregido"), amended.reason));
                }
                None => {
                    view.says = shown.pick("An earlier entry does not hold.", "Un registro anterior no vale.").into();
                    view.lines.push(format!("{}: {}", shown.pick("Why", "Por qué"), amended.reason));
                }
            }
            view.kind = shown.pick("Amendment", "Corrección").into();
        }
        EntryBody::Other(other) => {
            view.kind = unknown_kind(&other.kind);
            newer(view, shown);
        }
    }
}

fn change_out(view: &mut EntryView, changed: &ChangedOut, shown: Shown) {
    view.kind = shown.pick("Change-out", "Cambio").into();
    let cups: Vec<_> = changed.cups.iter().map(|cup| part_title(Part::Cup, Some(*cup), shown)).collect();
    let skipped: Vec<_> = changed.steps.iter().filter(|step| step.skipped.is_some()).collect();
    let (cups, steps) = (cups.join(shown.pick(" and ", " y ")), changed.steps.len());
    view.says = shown.pick(format!("{cups} changed, {steps} steps."), format!("Cambio de {cups}, {steps} pasos."));
    for step in skipped {
        let why = step.skipped.as_deref().unwrap_or_default();
        view.lines.push(format!("{} {}: {why}", shown.pick("Skipped", "Se saltó"), step.step.replace('_', " ")));
    }
    if !changed.parts_used.is_empty() {
        view.lines.push(format!("{}: {}", shown.pick("Parts", "Piezas"), changed.parts_used));
    }
    total(view, changed.pump_m3, shown);
}

fn box_check(view: &mut EntryView, check: &BoxCheck, shown: Shown) {
    view.kind = shown.pick("Box check", "Revisión de la caja").into();
    (view.says, view.means) = match check.level {
        Some(level) => {
            let (name, meaning) = level::words(level);
            (format!("{}.", shown.say(name)), shown.say(meaning).into())
        }
        None => (
            shown.pick("Box drained and looked at.", "Caja vaciada y revisada.").into(),
            shown.pick("No level was set.", "No se fijó nivel.").into(),
        ),
    };
    if let Some(reading) = &check.reading {
        view.strip = if sized_as_a_heap(reading) { signs::texture(reading.level.code, shown) } else { signs::strip(reading, shown) };
        reading_figures(view, reading, shown);
        let read_level = reading.level.code;
        if check.level.is_some_and(|level| level != read_level) {
            let name = shown.say(level::words(read_level).0).to_lowercase();
            view.lines.push(format!("{}: {name}", shown.pick("The photo alone says", "La foto sola dice")));
        }
    } else if let Some(level) = check.level {
        view.strip = signs::texture(level, shown);
        view.lines.push(shown.pick("Level judged by eye", "Nivel juzgado a ojo").into());
    }
    let liquid = check.liquid.map(|liquid| shown.pick(format!("Liquid {}", liquid.name().en), format!("Líquido {}", of_liquid(liquid))));
    match (liquid, check.liquid_low) {
        (Some(liquid), Some(true)) => view.lines.push(format!("{liquid}; {}", shown.pick("low", "bajo"))),
        (Some(liquid), _) => view.lines.push(liquid),
        (None, Some(true)) => view.lines.push(shown.pick("Liquid low", "Líquido bajo").into()),
        (None, _) => {}
    }
    if let Some(settled) = check.settled_ml {
        figure(view, shown.pick("settled", "asentado"), shown.material(settled));
    }
    total(view, check.pump_m3, shown);
    note(view, &check.note);
}

/// The Spanish word as it goes with "líquido"; the phone's own goes with "agua".
fn of_liquid(liquid: Liquid) -> &'static str {
    match liquid {
        Liquid::Clear => "claro",
        Liquid::Grey => "gris",
        Liquid::Muddy => "lodoso",
        Liquid::Oily => "aceitoso",
    }
}

fn reading_figures(view: &mut EntryView, reading: &Reading, shown: Shown) {
    if let Some(gradation) = &reading.gradation {
        let [low, high] = gradation.interval95.d50_mm.map(number);
        figure(view, shown.pick("D50: half is finer", "D50: la mitad es más fina"), (number(gradation.d50_mm), "mm"));
        view.lines.push(shown.pick(
            format!("D50 lies between {low} and {high} mm (95 % interval)"),
            format!("D50 está entre {low} y {high} mm (intervalo de 95 %)"),
        ));
    }
    if sized_as_a_heap(reading) {
        let (en, es) = (
            "The grains lay heaped: none was told apart, only the middle size was measured",
            "Los granos estaban amontonados: ninguno se distinguió, sólo se midió el tamaño medio",
        );
        view.lines.push(shown.pick(en, es).into());
        return;
    }
    figure(view, shown.pick("grains", "granos"), (whole(reading.grains.len() as f64), ""));
    figure(view, shown.pick("of the window covered", "de la ventana cubierta"), (number(reading.cover_percent), "%"));
    let smallest = number(reading.smallest_resolved_mm);
    view.lines.push(shown.pick(
        format!("Grains under {smallest} mm cannot be told in this photo"),
        format!("En esta foto no se distinguen granos de menos de {smallest} mm"),
    ));
}

fn call(view: &mut EntryView, called: &Called, shown: Shown) {
    view.kind = shown.pick("Call", "Decisión").into();
    view.is_call = true;
    let given = called.answer.get("call").and_then(|call| call.as_str()).unwrap_or_default();
    view.says = call_words(called.overruled_to.as_deref().unwrap_or(given), shown);
    if let Some(chance) = called.answer.get("chance_of_failure").and_then(serde_json::Value::as_f64) {
        let value = percent_figure(chance).unwrap_or_else(|| shown.pick("under 0.1", "menos de 0.1").to_owned());
        figure(view, shown.pick("chance of failing in the pour", "probabilidad de fallar en el colado"), (value, "%"));
        view.strip = signs::hundred(chance, shown);
    }
    if called.overruled_to.is_some() {
        view.means = format!("{}: {}", shown.pick("The book said", "El libro decía"), call_words(given, shown));
        let none = shown.pick("no reason given", "sin motivo");
        view.lines.push(format!(
            "{}: {}",
            shown.pick("Overruled", "Se decidió otra cosa"),
            called.overrule_reason.as_deref().unwrap_or(none)
        ));
    }
    let reasons = called.answer.get("reasons").and_then(|reasons| reasons.as_array()).into_iter().flatten();
    // An answer of an older program has its reasons in English alone.
    let text = |reason: &serde_json::Value| {
        let own = reason.get(shown.pick("text", "text_es")).and_then(|text| text.as_str()).filter(|text| !text.is_empty());
        own.or_else(|| reason.get("text")?.as_str()).map(str::to_owned)
    };
    view.lines.extend(reasons.filter_map(text).take(4));
}

fn call_words(call: &str, shown: Shown) -> String {
    let known = serde_json::from_value::<CallCode>(call.into());
    known.map_or(shown.pick("A call was made.", "Se tomó una decisión."), |code| shown.say(code.sentence())).into()
}

/// Measures that the program writes itself, in Spanish.
const MEASURES: [(&str, &str); 9] = [
    ("plate_flatness", "planitud"),
    ("plate_low_centre", "centro bajo"),
    ("bore_wear", "desgaste del cilindro"),
    ("bore_wear_at_least", "desgaste del cilindro, al menos"),
    ("cup_lip", "labio de la copa"),
    ("cup_wall", "pared de la copa"),
    ("guide_band", "banda guía"),
    ("oring_squeeze", "compresión del O-ring"),
    ("bolt_torque", "par de apriete"),
];

/// `bore_wear_mm` is "bore wear" in mm or in; a measure without a known unit keeps its whole name.
fn measure(measure: &str, value: f64, shown: Shown) -> (String, InUnit) {
    let plain = |unit| move |_: Shown, value: f64| (number(value), unit);
    let units: [(&str, &dyn Fn(Shown, f64) -> InUnit); 6] = [
        ("_mm", &Shown::length),
        ("_um", &plain("µm")),
        ("_bar", &Shown::pressure),
        ("_nm", &Shown::torque),
        ("_ml", &Shown::material),
        ("_percent", &plain("%")),
    ];
    let known = units.iter().find_map(|(ending, unit)| Some((measure.strip_suffix(ending)?, unit(shown, value))));
    let (name, value) = known.unwrap_or_else(|| (measure, (number(value), "")));
    let spanish = MEASURES.iter().find(|(known, _)| *known == name).map(|(_, es)| (*es).to_owned());
    let english = name.replace('_', " ");
    (shown.pick(english.clone(), spanish.unwrap_or(english)), value)
}

fn figure(view: &mut EntryView, label: &'static str, (value, unit): InUnit) {
    view.figures.push(Figure { label, value, unit });
}

fn total(view: &mut EntryView, pump_m3: Option<f64>, shown: Shown) {
    if let Some(total) = pump_m3 {
        let (value, unit) = shown.concrete(total);
        view.total = format!("{}\u{a0}{value}\u{a0}{unit}", shown.pick("at", "a los"));
    }
}

fn note(view: &mut EntryView, note: &str) {
    if !note.is_empty() {
        view.lines.push(format!("“{note}”"));
    }
}

#[cfg(test)]
mod tests {
    use gritbook_core::units::shown::UnitSystem;

    use super::super::super::super::archive::people::Language;
    use super::*;

    #[test]
    fn measure_carries_its_unit_in_its_name() {
        assert_eq!(measure("bore_wear_mm", 0.254, Shown::default()), ("bore wear".into(), ("0.25".into(), "mm")));
        assert_eq!(measure("play", 2.0, Shown::default()), ("play".into(), ("2".into(), "")));
        let inch = Shown { language: Language::Es, units: UnitSystem::Inch };
        assert_eq!(measure("bore_wear_mm", 0.254, inch), ("desgaste del cilindro".into(), ("0.010".into(), "in")));
    }
}
