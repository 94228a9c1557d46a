//! A pump's report on paper: how it stands, what was found and done, with photos, curves and reasons, cautions and lines to sign on.

use gritbook_core::debris::card::Paper;
use gritbook_core::model::words::Words;
use gritbook_core::model::{Entry, EntryBody};

use super::super::archive::{PhotoKind, PumpPage};
use super::super::pages::{Shown, curve_in, small_photo, view};
use super::super::{Depot, Problem, on_disk};
use crate::report::paper::{Placed, Report, Type};

/// Heights on paper, mm.
const PICTURE_MM: f64 = 52.0;
const RING_MM: f64 = 14.0;
/// A chart's width over its height.
const CURVE_SHAPE: f64 = 720.0 / 440.0;
/// A report carries this many photos at most: the newest. All of them stay at the depot.
const MOST_PHOTOS: usize = 24;

const CAUTIONS: [Words; 4] = [
    Words {
        en: "The maker's manual, local codes and licensed practice come first; nothing in this report overrules them.",
        es: "El manual del fabricante, las normas locales y la práctica con licencia van primero; nada en este informe está por encima.",
    },
    Words {
        en: "Never hands, feet or anything else in the water box, valve or hopper while the hydraulics run or are ready to run.",
        es: "Nunca manos, pies ni otra cosa en la caja de agua, la válvula o la tolva mientras el hidráulico trabaje o esté listo para trabajar.",
    },
    Words {
        en: "Before work: shut down, lock out and tag out, bleed stored pressure and read zero on the gauge. Never open a line under pressure.",
        es: "Antes de trabajar: apague, bloquee y etiquete, libere la presión guardada y lea cero en el manómetro. Nunca abra una línea con presión.",
    },
    Words {
        en: "Levels and grades are common practice in words and numbers of this book: no published limit stands behind them.",
        es: "Los niveles y grados son práctica común en palabras y números de este libro: ningún límite publicado los respalda.",
    },
];

/// A photo for paper: JPEG bytes and width over height.
type Printed = (Vec<u8>, f64);

pub(super) async fn of(depot: &Depot, page: &PumpPage, paper: Paper, shown: Shown) -> Result<Vec<u8>, Problem> {
    let here = depot.archive().photos_known(view::photos_named(page)).await?;
    let pump = view::pump(page, &here, shown);
    let mut photos = Vec::with_capacity(pump.entries.len());
    let mut left = MOST_PHOTOS;
    for entry in &pump.entries {
        let mut of_entry = Vec::new();
        for photo in entry.photos.iter().filter(|photo| photo.here) {
            if left == 0 {
                break;
            }
            // A photo that cannot be drawn is named in the text all the same.
            if let Some(printed) = printed(depot, &photo.sha256).await? {
                of_entry.push(printed);
                left -= 1;
            }
        }
        photos.push(of_entry);
    }
    let made_at = format!("{} {} UTC", shown.day(depot.now().fixed_offset()), depot.now().format("%H:%M"));
    let entries: Vec<Option<Entry>> = page.newest.iter().map(|doc| serde_json::from_str(doc).ok()).collect();
    Ok(on_disk(move || lay_out(&pump, &entries, &photos, &made_at, paper, shown).pdf()).await?)
}

async fn printed(depot: &Depot, sha256: &str) -> Result<Option<Printed>, Problem> {
    let Ok(sha256) = sha256.parse() else { return Ok(None) };
    let Some(photo) = depot.archive().photo(sha256).await?.filter(|photo| photo.kind != PhotoKind::Other) else { return Ok(None) };
    let bytes = match small_photo(depot, &photo).await {
        Ok(bytes) => bytes,
        Err(problem) if problem.code() == "not_drawn" => return Ok(None),
        Err(problem) => return Err(problem),
    };
    let size = image::ImageReader::new(std::io::Cursor::new(&bytes)).with_guessed_format().ok().and_then(|r| r.into_dimensions().ok());
    Ok(size.map(|(width, height)| (bytes, f64::from(width) / f64::from(height.max(1)))))
}

fn lay_out(pump: &view::PumpView, entries: &[Option<Entry>], photos: &[Vec<Printed>], made_at: &str, paper: Paper, shown: Shown) -> Report {
    let mut report = Report::new(paper, &format!("Gritbook: {}, {made_at}", pump.name));
    report.both((&pump.name, Type::TITLE), (made_at, Type::NOTE));
    report.text(&pump.about, Type::TEXT, 0.0);
    report.rule();
    standings(&mut report, pump, shown);
    report.text(shown.pick("What was found and done, newest first", "Lo visto y hecho, lo más nuevo primero"), Type::HEADING, 0.0);
    for ((view, entry), photos) in pump.entries.iter().zip(entries).zip(photos) {
        one(&mut report, view, entry.as_ref(), photos, shown);
    }
    if pump.older > 0 {
        let older = pump.older;
        let text = shown
            .pick(format!("{older} older entries stand in the export."), format!("{older} registros anteriores están en la exportación."));
        report.text(&text, Type::NOTE, 0.0);
    }
    let high = CAUTIONS.iter().map(|caution| report.height_of(shown.say(*caution), Type::TEXT, 0.0) + 1.0).sum::<f64>();
    report.keep_together(high + 46.0);
    report.space(4.0);
    report.text(shown.pick("Before anybody works on it", "Antes de que alguien trabaje en ella"), Type::HEADING, 0.0);
    for caution in CAUTIONS {
        report.text(shown.say(caution), Type::TEXT, 0.0);
        report.space(1.0);
    }
    report.signatures(&shown.pick(["Mechanic, date", "Owner or office, date"], ["Mecánico, fecha", "Dueño u oficina, fecha"]));
    report
}

/// How each cup stands, by its newest grade, and the newest call.
fn standings(report: &mut Report, pump: &view::PumpView, shown: Shown) {
    let signs = pump.standings.iter().map(|one| Placed::sign(&one.ring, &format!("{}: {}", one.title, one.word), RING_MM));
    report.drawings(&signs.collect::<Vec<_>>(), 0.0);
    let call = pump.entries.iter().find(|entry| entry.is_call && !entry.amended);
    if let Some(call) = call {
        report.text(&format!("{}, {}: {}", shown.pick("Last call", "Última decisión"), call.day, call.says), Type::STRONG, 0.0);
        report.text(&figures(call), Type::TEXT, 4.0);
        for line in &call.lines {
            report.text(line, Type::TEXT, 4.0);
        }
    }
    report.rule();
}

fn one(report: &mut Report, view: &view::EntryView, entry: Option<&Entry>, photos: &[Printed], shown: Shown) {
    // An entry's words stay with its pictures.
    report.keep_together(if photos.is_empty() { 24.0 } else { 36.0 + PICTURE_MM });
    report.space(2.0);
    let (when, total) = (format!("{} {}, {}", view.day, view.time, view.person), view.total.as_str());
    report.both((&format!("{}: {}", view.kind, view.says), Type::STRONG), ("", Type::NOTE));
    report.both((&when, Type::NOTE), (total, Type::NOTE));
    if view.amended {
        report.text(shown.pick("A later entry puts this one right.", "Un registro posterior corrige éste."), Type::STRONG, 4.0);
    }
    if !view.means.is_empty() {
        report.text(&view.means, Type::TEXT, 4.0);
    }
    if !view.figures.is_empty() {
        report.text(&figures(view), Type::TEXT, 4.0);
    }
    for line in &view.lines {
        report.text(line, Type::TEXT, 4.0);
    }
    let put_away = view.photos.iter().filter(|photo| photo.put_away).count();
    if put_away > 0 {
        let text = shown.pick(
            format!("{put_away} photos of it were put away: the depot keeps photos for a set time."),
            format!("{put_away} fotos de él se retiraron: el depósito guarda las fotos un tiempo fijo."),
        );
        report.text(&text, Type::NOTE, 4.0);
    }
    let absent = view.photos.iter().filter(|photo| !photo.here && !photo.put_away).count();
    if absent > 0 {
        let text = shown.pick(format!("{absent} photos of it have not come yet."), format!("{absent} fotos de él no han llegado."));
        report.text(&text, Type::NOTE, 4.0);
    }
    let mut pictures: Vec<_> = photos.iter().map(|(jpeg, shape)| Placed::photo(jpeg, *shape, PICTURE_MM)).collect();
    if let Some(EntryBody::BoxCheck(check)) = entry.map(|entry| &entry.body)
        && let Some(reading) = check.reading.as_ref().filter(|reading| reading.gradation.is_some())
    {
        pictures.push(Placed::new(unsized_svg(&curve_in(reading, shown).to_svg()), PICTURE_MM * CURVE_SHAPE, PICTURE_MM));
    }
    report.drawings(&pictures, 0.0);
    report.rule();
}

/// The figures of an entry in one line.
fn figures(view: &view::EntryView) -> String {
    let one = |figure: &view::Figure| format!("{} {} {}", figure.label, figure.value, figure.unit).trim_end().to_owned();
    view.figures.iter().map(one).collect::<Vec<_>>().join("; ")
}

/// A chart's SVG without a size of its own: the page gives it one.
fn unsized_svg(svg: &str) -> String {
    let Some((head, rest)) = svg.split_once('>') else { return svg.to_owned() };
    let kept = head.split(' ').filter(|part| !part.starts_with("width=") && !part.starts_with("height=")).collect::<Vec<_>>().join(" ");
    format!("{kept}>{rest}")
}

#[cfg(test)]
mod tests {
    use gritbook_core::ids::PumpId;
    use gritbook_core::units::shown::UnitSystem;

    use super::super::super::archive::keeping::PhotosKnown;
    use super::super::super::archive::people::Language;
    use super::*;

    #[test]
    fn report_speaks_the_readers_language_in_the_readers_units() {
        let id = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f";
        let doc = |kind: &str, body: &str| {
            format!(
                r#"{{"schema":"gritbook.entry/1","id":"{id}","device":"{id}","seq":1,"person":"Rosa","at":"2026-08-21T08:00:00-06:00",
                "hlc":{{"ms":1,"count":0}},"prev":null,"pump":"{id}","kind":"{kind}","body":{body}}}"#
            )
        };
        let poured = doc("poured", r#"{"pour_m3":100.0,"pump_m3":220.0,"concrete_bar":50.0,"mix_factor":null}"#);
        let page = PumpPage { pump: PumpId::named("p"), set: None, newest: vec![poured], total: 3, amended: Vec::new() };
        let text = |language, units| {
            let shown = Shown { language, units };
            let pump = view::pump(&page, &PhotosKnown::default(), shown);
            lay_out(&pump, &[None], &[Vec::new()], "today", Paper::A4, shown).svg_pages().concat()
        };
        let (english, spanish) = (text(Language::En, UnitSystem::Metric), text(Language::Es, UnitSystem::Inch));
        for (en, es) in [
            ("newest first", "lo más nuevo primero"),
            ("m³ pumped.", "yd³ bombeados."),
            ("Before anybody", "Antes de que alguien"),
            ("Mechanic, date", "Mecánico, fecha"),
            ("2 older", "2 registros anteriores"),
        ] {
            assert!(english.contains(en) && !english.contains(es), "{en}");
            assert!(spanish.contains(es) && !spanish.contains(en), "{es}");
        }
    }
}
