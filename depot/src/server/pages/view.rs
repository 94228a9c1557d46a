//! Turns sealed texts into what the page says. Nothing is shown that an entry does not hold.

use gritbook_core::call::CallCode;
use gritbook_core::debris::level;
use gritbook_core::debris::reading::Reading;
use gritbook_core::ids::{EntryId, PhotoId};
use gritbook_core::model::entry::{BoxCheck, Called, ChangedOut, RemovalReason};
use gritbook_core::model::part::{Cup, GradeSource, Part};
use gritbook_core::model::pump::{BoxFluid, PumpSpec, SealVariant};
use gritbook_core::model::{Entry, EntryBody, EntryHead};
use gritbook_core::wear::grade::GRADE_NAMES;

use super::super::archive::PumpPage;
use super::signs;
use crate::report::words::sized_as_a_heap;

/// A number with its unit and what it is.
pub(in crate::server) struct Figure {
    pub(in crate::server) label: &'static str,
    pub(in crate::server) value: String,
    pub(in crate::server) unit: &'static str,
}

/// A photo that an entry names.
pub(in crate::server) struct PhotoView {
    pub(in crate::server) sha256: String,
    pub(in crate::server) short: String,
    pub(in crate::server) here: bool,
}

/// One entry as the page shows it.
#[derive(Default)]
pub(in crate::server) struct EntryView {
    pub(in crate::server) day: String,
    pub(in crate::server) time: String,
    pub(in crate::server) stamp: String,
    pub(in crate::server) person: String,
    /// The pump's running total then, with its unit; empty where it was not noted.
    pub(in crate::server) total: String,
    /// What kind of entry, in a word or two.
    pub(in crate::server) kind: String,
    /// The one thing it says.
    pub(in crate::server) says: String,
    /// What that means, where there is something to add.
    pub(in crate::server) means: String,
    /// Inline SVG.
    pub(in crate::server) sign: String,
    /// Inline SVG.
    pub(in crate::server) strip: String,
    pub(in crate::server) figures: Vec<Figure>,
    pub(in crate::server) lines: Vec<String>,
    pub(in crate::server) photos: Vec<PhotoView>,
    pub(in crate::server) amended: bool,
}

/// A cup's newest grade.
pub(in crate::server) struct Standing {
    pub(in crate::server) title: String,
    pub(in crate::server) word: &'static str,
    pub(in crate::server) ring: String,
}

/// One pump with its newest entries.
pub(in crate::server) struct PumpView {
    pub(in crate::server) id: String,
    pub(in crate::server) name: String,
    pub(in crate::server) about: String,
    pub(in crate::server) standings: Vec<Standing>,
    pub(in crate::server) entries: Vec<EntryView>,
    pub(in crate::server) older: u64,
    pub(in crate::server) missing_photos: usize,
}

/// Photos that the shown entries of a pump name.
pub(in crate::server) fn photos_named(page: &PumpPage) -> Vec<PhotoId> {
    let entries = page.newest.iter().filter_map(|doc| serde_json::from_str::<Entry>(doc).ok());
    entries.flat_map(|entry| entry.body.photos().to_vec()).collect()
}

/// The page's view of a pump; `here` are the photos that have arrived.
pub(in crate::server) fn pump(page: &PumpPage, here: &[PhotoId]) -> PumpView {
    let spec = page.set.as_deref().and_then(|doc| serde_json::from_str::<Entry>(doc).ok()).and_then(|entry| match entry.body {
        EntryBody::PumpSet(spec) => Some(spec),
        _ => None,
    });
    let entries: Vec<EntryView> = page.newest.iter().map(|doc| entry(doc, here, &page.amended)).collect();
    PumpView {
        id: page.pump.to_string(),
        name: spec.as_ref().map_or_else(|| format!("Pump {}", short(&page.pump.to_string())), |spec| spec.name.clone()),
        about: spec.as_ref().map_or_else(|| "Its figures have not come yet".to_owned(), about),
        standings: standings(page),
        older: page.total.saturating_sub(entries.len() as u64),
        missing_photos: entries.iter().flat_map(|entry| &entry.photos).filter(|photo| !photo.here).count(),
        entries,
    }
}

fn standings(page: &PumpPage) -> Vec<Standing> {
    let entries: Vec<Entry> = page.newest.iter().filter_map(|doc| serde_json::from_str(doc).ok()).collect();
    [Cup::A, Cup::B]
        .into_iter()
        .filter_map(|cup| {
            // Newest first; a change-out closes what was graded before it.
            let newest = entries.iter().filter(|entry| !page.amended.contains(&entry.head.id)).find_map(|entry| match &entry.body {
                EntryBody::Graded(graded) if graded.part == Part::Cup && graded.cup == Some(cup) => Some(Some(graded)),
                EntryBody::Fitted(fitted) if fitted.part == Part::Cup && fitted.cup == Some(cup) => Some(None),
                _ => None,
            })??;
            let grade = newest.grade.number();
            Some(Standing {
                title: format!("Cup {}", cup_word(cup)),
                word: grade_word(grade),
                ring: signs::ring(grade, newest.source == GradeSource::Measured),
            })
        })
        .collect()
}

fn entry(doc: &str, here: &[PhotoId], amended: &[EntryId]) -> EntryView {
    let Ok(entry) = serde_json::from_str::<Entry>(doc) else { return unreadable(doc) };
    let mut view = view(&entry.head, &entry.body);
    view.amended = amended.contains(&entry.head.id);
    view.photos = entry
        .body
        .photos()
        .iter()
        .map(|photo| PhotoView { sha256: photo.to_string(), short: short(&photo.to_string()), here: here.contains(photo) })
        .collect();
    view
}

/// A text that cannot be read as an entry, though its head could when it came.
fn unreadable(doc: &str) -> EntryView {
    let mut view = EntryView { kind: "entry".into(), ..EntryView::default() };
    if let Ok(head) = serde_json::from_str::<EntryHead>(doc) {
        stamp(&mut view, &head);
    }
    newer(&mut view);
    view
}

fn newer(view: &mut EntryView) {
    view.says = "This entry comes from a newer program.".into();
    view.means = "It is kept as it came. Update the depot to see it here.".into();
}

fn stamp(view: &mut EntryView, head: &EntryHead) {
    view.day = head.at.format("%-d %b %Y").to_string();
    view.time = head.at.format("%H:%M").to_string();
    view.stamp = head.at.to_rfc3339();
    view.person.clone_from(&head.person);
}

fn view(head: &EntryHead, body: &EntryBody) -> EntryView {
    let mut view = EntryView::default();
    stamp(&mut view, head);
    say(&mut view, body);
    view
}

fn say(view: &mut EntryView, body: &EntryBody) {
    match body {
        EntryBody::PumpSet(spec) => {
            view.kind = "Pump".into();
            view.says = format!("{} is in the book.", spec.name);
            view.means = about(spec);
        }
        EntryBody::BoxCheck(check) => box_check(view, check),
        EntryBody::Graded(graded) => {
            let grade = graded.grade.number();
            view.kind = "Grade".into();
            view.sign = signs::ring(grade, graded.source == GradeSource::Measured);
            view.says = format!("{}: {}.", part_title(graded.part, graded.cup), grade_word(grade));
            view.means = format!("Grade {grade} of 0 to 4, {}", if graded.source == GradeSource::Eye { "by eye" } else { "measured" });
            total(view, graded.pump_m3);
            note(view, &graded.note);
        }
        EntryBody::Measured(measured) => {
            let (name, unit) = measure_words(&measured.measure);
            view.kind = "Measured".into();
            view.says = format!(
                "{}: {name} {}{}{unit}.",
                part_title(measured.part, measured.cup),
                number(measured.value),
                if unit.is_empty() { "" } else { "\u{a0}" }
            );
            total(view, measured.pump_m3);
        }
        EntryBody::Fitted(fitted) => {
            view.kind = "Fitted".into();
            let how = if fitted.already_in { "was in already when the book began" } else { "fitted new" };
            view.says = format!("{} {how}.", part_title(fitted.part, fitted.cup));
            if let Some(age) = fitted.age_m3 {
                view.figures.push(Figure { label: "age then", value: whole(age), unit: "m³" });
            }
            total(view, fitted.pump_m3);
        }
        EntryBody::Removed(removed) => {
            view.kind = "Removed".into();
            let why = match removed.reason {
                RemovalReason::Worn => "taken out worn",
                RemovalReason::Planned => "taken out on plan",
                RemovalReason::Damaged => "taken out damaged",
                RemovalReason::OtherCup => "taken out with the other cup",
                RemovalReason::Failed => "gave up mid-pour",
            };
            view.says = format!("{} {why}.", part_title(removed.part, removed.cup));
            total(view, removed.pump_m3);
        }
        EntryBody::Poured(poured) => {
            view.kind = "Pour".into();
            view.says = poured.pour_m3.map_or_else(|| "Total read off.".into(), |volume| format!("{}\u{a0}m³ pumped.", whole(volume)));
            if let Some(bar) = poured.concrete_bar {
                view.figures.push(Figure { label: "concrete pressure", value: number(bar), unit: "bar" });
            }
            if let Some(factor) = poured.mix_factor {
                view.figures.push(Figure { label: "mix factor", value: number(factor), unit: "" });
            }
            total(view, poured.pump_m3);
        }
        EntryBody::Called(called) => call(view, called),
        EntryBody::ChangedOut(changed) => change_out(view, changed),
        EntryBody::Amended(amended) => {
            match &amended.instead {
                Some(instead) => {
                    say(view, instead);
                    view.lines.insert(0, format!("Put right: {}", amended.reason));
                }
                None => {
                    view.says = "An earlier entry does not hold.".into();
                    view.lines.push(format!("Why: {}", amended.reason));
                }
            }
            view.kind = "Amendment".into();
        }
        EntryBody::Other(other) => {
            view.kind = other.kind.chars().take(40).collect::<String>().replace('_', " ");
            newer(view);
        }
    }
}

fn change_out(view: &mut EntryView, changed: &ChangedOut) {
    view.kind = "Change-out".into();
    let cups: Vec<_> = changed.cups.iter().map(|cup| part_title(Part::Cup, Some(*cup))).collect();
    let skipped: Vec<_> = changed.steps.iter().filter(|step| step.skipped.is_some()).collect();
    view.says = format!("{} changed, {} steps.", cups.join(" and "), changed.steps.len());
    for step in skipped {
        let why = step.skipped.as_deref().unwrap_or_default();
        view.lines.push(format!("Skipped {}: {why}", step.step.replace('_', " ")));
    }
    if !changed.parts_used.is_empty() {
        view.lines.push(format!("Parts: {}", changed.parts_used));
    }
    total(view, changed.pump_m3);
}

fn box_check(view: &mut EntryView, check: &BoxCheck) {
    view.kind = "Box check".into();
    (view.says, view.means) = match check.level {
        Some(level) => {
            let (name, meaning) = level::words(level);
            (format!("{}.", name.en), meaning.en.into())
        }
        None => ("Box drained and looked at.".into(), "No level was set.".into()),
    };
    if let Some(reading) = &check.reading {
        view.strip = if sized_as_a_heap(reading) { signs::texture(reading.level.code) } else { signs::strip(reading) };
        reading_figures(view, reading);
        let read_level = reading.level.code;
        if check.level.is_some_and(|level| level != read_level) {
            view.lines.push(format!("The photo alone says: {}", level::words(read_level).0.en.to_lowercase()));
        }
    } else if let Some(level) = check.level {
        view.strip = signs::texture(level);
        view.lines.push("Level judged by eye".into());
    }
    let liquid = check.liquid.map(|liquid| liquid.name().en);
    match (liquid, check.liquid_low) {
        (Some(liquid), Some(true)) => view.lines.push(format!("Liquid {liquid}; low")),
        (Some(liquid), _) => view.lines.push(format!("Liquid {liquid}")),
        (None, Some(true)) => view.lines.push("Liquid low".into()),
        (None, _) => {}
    }
    if let Some(settled) = check.settled_ml {
        view.figures.push(Figure { label: "settled", value: number(settled), unit: "mL" });
    }
    total(view, check.pump_m3);
    note(view, &check.note);
}

fn reading_figures(view: &mut EntryView, reading: &Reading) {
    if let Some(gradation) = &reading.gradation {
        let [low, high] = gradation.interval95.d50_mm;
        view.figures.push(Figure { label: "D50: half is finer", value: number(gradation.d50_mm), unit: "mm" });
        view.lines.push(format!("D50 lies between {} and {} mm (95 % interval)", number(low), number(high)));
    }
    if sized_as_a_heap(reading) {
        view.lines.push("The grains lay heaped: none was told apart, only the middle size was measured".into());
        return;
    }
    view.figures.push(Figure { label: "grains", value: whole(reading.grains.len() as f64), unit: "" });
    view.figures.push(Figure { label: "of the window covered", value: number(reading.cover_percent), unit: "%" });
    view.lines.push(format!("Grains under {} mm cannot be told in this photo", number(reading.smallest_resolved_mm)));
}

fn call(view: &mut EntryView, called: &Called) {
    view.kind = "Call".into();
    let given = called.answer.get("call").and_then(|call| call.as_str()).unwrap_or_default();
    view.says = call_words(called.overruled_to.as_deref().unwrap_or(given));
    if let Some(chance) = called.answer.get("chance_of_failure").and_then(serde_json::Value::as_f64) {
        // A chance is known to a tenth of a percent at best.
        let value = if chance < 0.001 { "under 0.1".to_owned() } else { number(chance * 100.0) };
        view.figures.push(Figure { label: "chance of failing in the pour", value, unit: "%" });
        view.strip = signs::hundred(chance);
    }
    if called.overruled_to.is_some() {
        view.means = format!("The book said: {}", call_words(given));
        view.lines.push(format!("Overruled: {}", called.overrule_reason.as_deref().unwrap_or("no reason given")));
    }
    let reasons = called.answer.get("reasons").and_then(|reasons| reasons.as_array()).into_iter().flatten();
    view.lines.extend(reasons.filter_map(|reason| Some(reason.get("text")?.as_str()?.to_owned())).take(4));
}

fn call_words(call: &str) -> String {
    let known = serde_json::from_value::<CallCode>(call.into());
    known.map_or("A call was made.", |code| code.sentence().en).into()
}

fn grade_word(grade: u8) -> &'static str {
    GRADE_NAMES.get(usize::from(grade)).map_or("unknown", |name| name.en)
}

fn cup_word(cup: Cup) -> &'static str {
    match cup {
        Cup::A => "A",
        Cup::B => "B",
    }
}

fn part_title(part: Part, cup: Option<Cup>) -> String {
    let name = part.name().en;
    cup.map_or_else(|| name.to_owned(), |cup| format!("{name} {}", cup_word(cup)))
}

/// `bore_wear_mm` is "bore wear" in "mm"; a measure without a known unit keeps its whole name.
fn measure_words(measure: &str) -> (String, &'static str) {
    for (ending, unit) in [("_mm", "mm"), ("_um", "µm"), ("_bar", "bar"), ("_nm", "N m"), ("_ml", "mL"), ("_percent", "%")] {
        if let Some(name) = measure.strip_suffix(ending) {
            return (name.replace('_', " "), unit);
        }
    }
    (measure.replace('_', " "), "")
}

fn about(spec: &PumpSpec) -> String {
    let seal = match spec.seal {
        SealVariant::GuideBand => "guide band",
        SealVariant::ORing => "O-ring",
    };
    let fluid = match spec.fluid {
        BoxFluid::Water => "water in the box",
        BoxFluid::Oil => "oil in the box",
    };
    format!("Bore {} mm, stroke {} mm, {seal}, {fluid}", number(spec.bore_mm), whole(spec.stroke_mm))
}

fn total(view: &mut EntryView, pump_m3: Option<f64>) {
    if let Some(total) = pump_m3 {
        view.total = format!("at\u{a0}{}\u{a0}m³", whole(total));
    }
}

fn note(view: &mut EntryView, note: &str) {
    if !note.is_empty() {
        view.lines.push(format!("“{note}”"));
    }
}

fn short(hash: &str) -> String {
    hash.chars().take(8).collect()
}

/// Two or three figures that count, no more: 0.05, 0.84, 3.2, 230.
fn number(value: f64) -> String {
    if !value.is_finite() {
        return "unknown".into();
    }
    let text = match value.abs() {
        size if size >= 100.0 => return whole(value),
        size if size >= 10.0 => format!("{value:.1}"),
        size if size >= 0.1 || size == 0.0 => format!("{value:.2}"),
        _ => format!("{value:.3}"),
    };
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A whole number with thin spaces between thousands.
fn whole(value: f64) -> String {
    let digits = format!("{:.0}", value.abs());
    let mut text = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at) % 3 == 0 {
            text.push('\u{202f}');
        }
        text.push(digit);
    }
    if value < 0.0 && text != "0" { format!("\u{2212}{text}") } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_show_what_counts() {
        assert_eq!(["0.05", "0.84", "3.2", "48.5", "230"], [0.05, 0.84, 3.2, 48.5, 230.0].map(number).each_ref().map(String::as_str));
        assert_eq!(whole(12_400.0), "12\u{202f}400");
        assert_eq!(whole(999.6), "1\u{202f}000");
        assert_eq!(whole(-1_234.0), "\u{2212}1\u{202f}234");
        assert_eq!(number(f64::NAN), "unknown");
    }

    #[test]
    fn measure_carries_its_unit_in_its_name() {
        assert_eq!(measure_words("bore_wear_mm"), ("bore wear".into(), "mm"));
        assert_eq!(measure_words("play"), ("play".into(), ""));
    }

    #[test]
    fn entry_of_a_newer_kind_is_shown_as_kept() {
        for (kind, body) in [("weighed_in", "{}"), ("graded", "{\"part\":\"a part of tomorrow\"}")] {
            let id = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f";
            let doc = format!(
                r#"{{"schema":"gritbook.entry/1","id":"{id}","device":"{id}","seq":1,"person":"Rosa","at":"2026-09-21T08:00:00-06:00",
                "hlc":{{"ms":1,"count":0}},"prev":null,"pump":"{id}","kind":"{kind}","body":{body}}}"#
            );
            let view = entry(&doc, &[], &[]);
            assert_eq!((view.kind, view.person.as_str()), (kind.replace('_', " "), "Rosa"));
            assert!(view.means.contains("kept"));
        }
    }
}
