//! What a measured wear surface says, in words. It suggests what to look at; it never names a grade.

use super::reading::{FaceFinding, FaceReading, FindingCode, Length, More, Share, Surface};

/// The words that stand under every answer.
pub const SUGGESTS: (&str, &str) = ("This measures the photo. You give the grade.", "Esto mide la foto. El estado lo pone usted.");

/// A finding with its words.
pub(crate) fn finding(code: FindingCode, value: f64, limit: f64) -> FaceFinding {
    let percent = |share: f64| format!("{:.0}", share * 100.0);
    let (en, es) = match code {
        FindingCode::Glare => (
            format!("Shine hides {} % of the surface: what lies under it is not told. Shade it with your body, no flash.", percent(value)),
            format!(
                "El brillo tapa el {} % de la superficie: lo que hay debajo no se sabe. Hágale sombra con el cuerpo, sin flash.",
                percent(value)
            ),
        ),
        FindingCode::WetOrShadow => (
            format!(
                "{} % of the surface has soft or wet-looking patches: grit or not is not told there. Wipe it dry and photograph again.",
                percent(value)
            ),
            format!(
                "El {} % de la superficie tiene manchas suaves o mojadas: ahí no se sabe si hay arena. Séquela y tome otra foto.",
                percent(value)
            ),
        ),
        FindingCode::Dark => (
            "Little light: dark grit may be missed. Go where there is more light.".to_owned(),
            "Poca luz: puede faltar arena oscura. Busque más luz.".to_owned(),
        ),
        FindingCode::Blur => (
            "The photo is soft: small grit is lost. Hold still and touch the part on the screen to focus.".to_owned(),
            "La foto no está nítida: se pierde la arena fina. Sostenga firme y toque la pieza en la pantalla para enfocar.".to_owned(),
        ),
        FindingCode::NoCard => (
            "No card in the photo: shares are told, millimetres are not. Lay the card beside the part, level with its face.".to_owned(),
            "Sin tarjeta en la foto: se dan partes, no milímetros. Ponga la tarjeta junto a la pieza, a la altura de su cara.".to_owned(),
        ),
        FindingCode::BarOff => (
            "Lengths were put right by the card's bar. Print a new card at 100 %, not fitted to the page.".to_owned(),
            "Las medidas se corrigieron por la barra de la tarjeta. Imprima una nueva al 100 %, sin ajustar a la página.".to_owned(),
        ),
        FindingCode::WhiteBurnt => (
            "The white is burnt out: colours are off. Less light, or touch the white on the screen.".to_owned(),
            "El blanco está quemado: los colores no son de fiar. Menos luz, o toque el blanco en la pantalla.".to_owned(),
        ),
        FindingCode::FaceSmall => (
            "The part is small in the photo: only coarse grit is seen. Go closer.".to_owned(),
            "La pieza se ve pequeña: sólo se ve la arena gruesa. Acérquese.".to_owned(),
        ),
        FindingCode::TooFine => (
            "Part of what is foreign is too fine for this photo to count one by one. Go closer.".to_owned(),
            "Parte de lo ajeno es muy fina para contarla en esta foto. Acérquese.".to_owned(),
        ),
        FindingCode::NoColour => (
            "The surface has no colour of its own: grit cannot be told from shadow.".to_owned(),
            "La superficie no tiene color propio: no se distingue la arena de la sombra.".to_owned(),
        ),
        FindingCode::LeftOut => (
            format!("A hole or another part, {} % of the outline, was left out.", percent(value)),
            format!("Se dejó fuera un agujero u otra pieza, {} % del contorno.", percent(value)),
        ),
        FindingCode::Reflections => (
            format!(
                "Reflections cover {} % of the metal: chips are not told from them there. Use even light, a white sheet above it.",
                percent(value)
            ),
            format!(
                "Hay reflejos en el {} % del metal: ahí no se distingue el cromo saltado. Use luz pareja, una hoja blanca encima.",
                percent(value)
            ),
        ),
    };
    FaceFinding { code, value, limit, en, es }
}

/// `7 % (5 to 9)`, with one decimal below ten in a hundred.
pub fn share_words(share: &Share) -> (String, String) {
    let figure = |value: f64, fine: bool| if fine { format!("{:.1}", 100.0 * value) } else { format!("{:.0}", 100.0 * value) };
    let fine = share.high < 0.0995;
    let (value, low, high) = (figure(share.value, fine), figure(share.low, fine), figure(share.high, fine));
    (format!("{value} % ({low} to {high})"), format!("{value} % ({low} a {high})"))
}

/// `2.4 mm`, or pixels where there is no scale.
pub fn length_words(length: &Length) -> String {
    length.mm.map_or_else(|| format!("{:.0} px", length.px), |mm| format!("{mm:.1} mm"))
}

/// The answer in short lines, English then Spanish, gravest first. The last line says who gives the grade.
pub fn lines(reading: &FaceReading) -> Vec<(String, String)> {
    let mut lines = Vec::new();
    let last = reading.last.as_ref();
    if let Some(grit) = &reading.grit {
        let (en, es) = share_words(&grit.share);
        lines.push((format!("Share under grit: {en}"), format!("Cubierto de arena: {es}")));
        if let Some(largest) = &grit.largest {
            let size = length_words(&largest.feret_max);
            lines.push((format!("Largest grain: {size}"), format!("Grano más grande: {size}")));
        }
    }
    if let Some(chips) = &reading.chips {
        let (en, es) = share_words(&chips.share);
        lines.push((format!("Chipped or dull: {} patches, {en}", chips.count), format!("Saltado u opaco: {} manchas, {es}", chips.count)));
    }
    if let (None, None) = (&reading.grit, &reading.chips) {
        lines.push(("Grit cannot be told on this surface.".to_owned(), "En esta superficie no se distingue la arena.".to_owned()));
    }
    if let Some(longest) = &reading.scores.longest {
        let size = length_words(longest);
        lines.push((
            format!("Scores: {}, the longest {size}", reading.scores.count),
            format!("Rayas: {}, la más larga {size}", reading.scores.count),
        ));
    } else {
        lines.push(("Scores: none seen".to_owned(), "Rayas: no se ven".to_owned()));
    }
    if let Some(last) = last {
        if let Some(share) = &last.share {
            let (en, es) = share_words(share);
            lines.push((format!("Last time: {en}"), format!("La vez pasada: {es}")));
        }
        let (en, es) = more_words(reading.surface, last.more);
        lines.push((en.to_owned(), es.to_owned()));
        lines.extend(last.remarks.iter().map(|remark| (remark.en.clone(), remark.es.clone())));
    }
    lines.extend(reading.findings.iter().map(|finding| (finding.en.clone(), finding.es.clone())));
    lines.push((SUGGESTS.0.to_owned(), SUGGESTS.1.to_owned()));
    lines
}

/// More than last time, in words.
pub fn more_words(surface: Surface, more: More) -> (&'static str, &'static str) {
    match (surface, more) {
        (Surface::Coloured, More::Yes) => ("More grit than last time.", "Más arena que la vez pasada."),
        (Surface::Coloured, More::No) => ("No more grit than last time.", "No hay más arena que la vez pasada."),
        (Surface::Metal, More::Yes) => ("More chipped than last time.", "Más cromo saltado que la vez pasada."),
        (Surface::Metal, More::No) => ("No more chipped than last time.", "No hay más cromo saltado que la vez pasada."),
        (_, More::CannotTell) => ("More than last time or not: cannot tell.", "Si hay más que la vez pasada: no se puede saber."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_have_a_decimal_only_where_they_are_small() {
        assert_eq!(share_words(&Share { value: 0.071, low: 0.054, high: 0.092 }).0, "7.1 % (5.4 to 9.2)");
        assert_eq!(share_words(&Share { value: 0.31, low: 0.27, high: 0.352 }).1, "31 % (27 a 35)");
    }

    #[test]
    fn every_finding_ends_its_sentences_in_both_languages() {
        use FindingCode::*;
        for code in [Glare, WetOrShadow, Dark, Blur, NoCard, WhiteBurnt, FaceSmall, TooFine, NoColour, LeftOut, Reflections] {
            let said = finding(code, 0.12, 0.02);
            assert!(said.en.ends_with('.') && said.es.ends_with('.') && said.en != said.es, "{code:?}");
        }
    }
}
