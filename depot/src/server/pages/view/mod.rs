//! Turns sealed texts into what a page says. Nothing is shown that an entry does not hold.

mod say;

use gritbook_core::ids::{EntryId, PhotoId};
use gritbook_core::model::part::{Cup, GradeSource, Part};
use gritbook_core::model::pump::{BoxFluid, PumpSpec, SealVariant};
use gritbook_core::model::{Entry, EntryBody, EntryHead};
use gritbook_core::wear::grade::GRADE_NAMES;

use super::super::archive::PumpPage;
use super::super::archive::keeping::PhotosKnown;
use super::shown::Shown;
use super::signs;

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
    /// Put away by the rule on keeping photos.
    pub(in crate::server) put_away: bool,
}

/// One entry as the page shows it.
#[derive(Default)]
pub(in crate::server) struct EntryView {
    /// Its id; empty where the text could not be read.
    pub(in crate::server) id: String,
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
    pub(in crate::server) is_call: bool,
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
    /// What of older entries and of photos on their way is to be said; empty where there is nothing.
    pub(in crate::server) older_line: String,
    pub(in crate::server) photos_line: String,
}

/// Photos that the shown entries of a pump name.
pub(in crate::server) fn photos_named(page: &PumpPage) -> Vec<PhotoId> {
    let entries = page.newest.iter().filter_map(|doc| serde_json::from_str::<Entry>(doc).ok());
    entries.flat_map(|entry| entry.body.photos().to_vec()).collect()
}

fn spec(page: &PumpPage) -> Option<PumpSpec> {
    match serde_json::from_str::<Entry>(page.set.as_deref()?).ok()?.body {
        EntryBody::PumpSet(spec) => Some(spec),
        _ => None,
    }
}

/// What the pump is called; where its figures have not come, the start of its id.
pub(in crate::server) fn name(page: &PumpPage, shown: Shown) -> String {
    let unnamed = || format!("{} {}", shown.pick("Pump", "Bomba"), short(&page.pump.to_string()));
    spec(page).map_or_else(unnamed, |spec| spec.name)
}

/// The page's view of a pump.
pub(in crate::server) fn pump(page: &PumpPage, photos: &PhotosKnown, shown: Shown) -> PumpView {
    let spec = spec(page);
    let entries: Vec<EntryView> = page.newest.iter().map(|doc| entry(doc, photos, &page.amended, shown)).collect();
    let unknown = || shown.pick("Its figures have not come yet", "Sus datos no han llegado").to_owned();
    let older = page.total.saturating_sub(entries.len() as u64);
    let missing = entries.iter().flat_map(|entry| &entry.photos).filter(|photo| !photo.here && !photo.put_away).count();
    PumpView {
        id: page.pump.to_string(),
        name: name(page, shown),
        about: spec.as_ref().map_or_else(unknown, |spec| about(spec, shown)),
        standings: standings(page, shown),
        older,
        older_line: super::older_line(shown, older),
        photos_line: super::photos_line(shown, missing),
        entries,
    }
}

/// Each cup's newest grade, by the newest entries.
pub(in crate::server) fn standings(page: &PumpPage, shown: Shown) -> Vec<Standing> {
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
                title: part_title(Part::Cup, Some(cup), shown),
                word: grade_word(grade, shown),
                ring: signs::ring(grade, newest.source == GradeSource::Measured, shown),
            })
        })
        .collect()
}

/// One sealed text as the page shows it.
pub(in crate::server) fn entry(doc: &str, photos: &PhotosKnown, amended: &[EntryId], shown: Shown) -> EntryView {
    let Ok(entry) = serde_json::from_str::<Entry>(doc) else { return unreadable(doc, shown) };
    let mut view = EntryView::default();
    stamp(&mut view, &entry.head, shown);
    say::body(&mut view, &entry.body, shown);
    view.amended = amended.contains(&entry.head.id);
    view.photos = entry
        .body
        .photos()
        .iter()
        .map(|photo| {
            let (here, put_away) = (photos.here.contains(photo), photos.put_away.contains(photo));
            PhotoView { sha256: photo.to_string(), short: short(&photo.to_string()), here, put_away }
        })
        .collect();
    view
}

/// A text that cannot be read as an entry, though its head could when it came: a body that a newer program wrote.
fn unreadable(doc: &str, shown: Shown) -> EntryView {
    #[derive(serde::Deserialize)]
    struct Named {
        kind: String,
    }
    let kind = serde_json::from_str(doc).map_or_else(|_| shown.pick("entry", "registro").into(), |Named { kind }| unknown_kind(&kind));
    let mut view = EntryView { kind, ..EntryView::default() };
    if let Ok(head) = serde_json::from_str::<EntryHead>(doc) {
        stamp(&mut view, &head, shown);
    }
    newer(&mut view, shown);
    view
}

/// A kind that this program has no words for; a name can be of any length.
fn unknown_kind(kind: &str) -> String {
    kind.chars().take(40).collect::<String>().replace('_', " ")
}

fn newer(view: &mut EntryView, shown: Shown) {
    view.says = shown.pick("This entry comes from a newer program.", "Este registro viene de un programa más nuevo.").into();
    view.means = shown
        .pick("It is kept as it came. Update the depot to see it here.", "Se guarda como llegó. Actualice el depósito para verlo aquí.")
        .into();
}

fn stamp(view: &mut EntryView, head: &EntryHead, shown: Shown) {
    view.id = head.id.to_string();
    view.day = shown.day(head.at);
    view.time = head.at.format("%H:%M").to_string();
    view.stamp = head.at.to_rfc3339();
    view.person.clone_from(&head.person);
}

/// The grade in a word.
pub(in crate::server) fn grade_word(grade: u8, shown: Shown) -> &'static str {
    GRADE_NAMES.get(usize::from(grade)).map_or(shown.pick("unknown", "no se sabe"), |name| shown.say(*name))
}

/// "Cup A"; the part alone where no cup is named.
pub(in crate::server) fn part_title(part: Part, cup: Option<Cup>, shown: Shown) -> String {
    let name = shown.say(part.name());
    match cup {
        None => name.to_owned(),
        Some(Cup::A) => format!("{name} A"),
        Some(Cup::B) => format!("{name} B"),
    }
}

fn about(spec: &PumpSpec, shown: Shown) -> String {
    let seal = match spec.seal {
        SealVariant::GuideBand => shown.pick("guide band", "banda guía"),
        SealVariant::ORing => "O-ring",
    };
    let fluid = match spec.fluid {
        BoxFluid::Water => shown.pick("water in the box", "agua en la caja"),
        BoxFluid::Oil => shown.pick("oil in the box", "aceite en la caja"),
    };
    let ((bore, unit), (stroke, stroke_unit)) = (shown.length(spec.bore_mm), shown.length(spec.stroke_mm));
    let (bore_word, stroke_word) = shown.pick(("Bore", "stroke"), ("Cilindro", "carrera"));
    format!("{bore_word} {bore} {unit}, {stroke_word} {stroke} {stroke_unit}, {seal}, {fluid}")
}

fn short(hash: &str) -> String {
    hash.chars().take(8).collect()
}

#[cfg(test)]
mod tests {
    use super::super::super::archive::people::Language;
    use super::*;

    #[test]
    fn entry_of_a_newer_kind_is_shown_as_kept() {
        for (kind, body) in [("weighed_in", "{}"), ("graded", "{\"part\":\"a part of tomorrow\"}")] {
            let id = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f";
            let doc = format!(
                r#"{{"schema":"gritbook.entry/1","id":"{id}","device":"{id}","seq":1,"person":"Rosa","at":"2026-09-21T08:00:00-06:00",
                "hlc":{{"ms":1,"count":0}},"prev":null,"pump":"{id}","kind":"{kind}","body":{body}}}"#
            );
            let view = entry(&doc, &PhotosKnown::default(), &[], Shown::default());
            assert_eq!((view.kind, view.person.as_str()), (kind.replace('_', " "), "Rosa"));
            assert!(view.means.contains("kept"));
            let view = entry(&doc, &PhotosKnown::default(), &[], Shown { language: Language::Es, ..Shown::default() });
            assert!(view.means.contains("Se guarda"));
        }
    }
}
