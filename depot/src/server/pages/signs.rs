//! The signs of the notebook, drawn as inline SVG in the colour of the text around them.

use std::fmt::Write as _;

use gritbook_core::debris::reading::{LevelCode, Reading};

use super::shown::Shown;
use super::view::grade_word;

/// Dots of a grit ring: a hexagon of `grade` shells around one dot, 1 + 3 n (n + 1) of them; none for grade 0.
/// Centres in units of the raster's pitch.
fn dots(grade: u8) -> Vec<(f64, f64)> {
    let shells = i32::from(grade.min(4));
    if shells == 0 {
        return Vec::new();
    }
    let mut centres = Vec::new();
    for row in -shells..=shells {
        let columns = 2 * shells + 1 - row.abs();
        for column in 0..columns {
            let x = f64::from(column) - f64::from(columns - 1) / 2.0;
            centres.push((x, f64::from(row) * 0.75_f64.sqrt()));
        }
    }
    centres
}

/// The tool's own mark: a grit ring without a meaning.
pub(super) fn mark() -> String {
    format!("<svg class=\"ring\" viewBox=\"-50 -50 100 100\" aria-hidden=\"true\">{}</svg>", ring_inside(2))
}

fn ring_inside(grade: u8) -> String {
    let mut svg =
        String::from("<circle r=\"46\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"4\"/><path fill=\"currentColor\" d=\"");
    for (x, y) in dots(grade) {
        // Two half circles; one path is a quarter of the bytes of 61 circles. Writing to a string cannot fail.
        let _ = write!(svg, "M{:.1} {:.1}a3.9 3.9 0 1 0 7.8 0a3.9 3.9 0 1 0-7.8 0", x * 9.6 - 3.9, y * 9.6);
    }
    svg.push_str("\"/>");
    svg
}

/// A grit ring: a circle that fills with grit as the part wears. A measured grade has a square corner mark.
pub(super) fn ring(grade: u8, measured: bool, shown: Shown) -> String {
    let (title, word) = (shown.pick("Grade", "Grado"), grade_word(grade, shown));
    let source = if measured { shown.pick("measured", "medido") } else { shown.pick("by eye", "a ojo") };
    let corner = if measured { "<path fill=\"currentColor\" d=\"M30-50h20v20h-20z\"/>" } else { "" };
    format!(
        "<svg class=\"ring\" viewBox=\"-50 -50 100 100\" role=\"img\"><title>{title} {grade}, {word}, {source}</title>{}{corner}</svg>",
        ring_inside(grade)
    )
}

/// A chance as 100 small squares in four rows of 25, so that they stay legible on a phone; as many filled as the chance has percent.
pub(super) fn hundred(chance: f64, shown: Shown) -> String {
    let filled = (chance * 100.0).round().clamp(0.0, 100.0) as u32;
    let mut path = String::new();
    for at in 0..filled {
        let _ = write!(path, "M{} {}h4v4h-4z", at % 25 * 6 + 1, at / 25 * 6 + 1);
    }
    let mut outline = String::new();
    for at in filled..100 {
        let _ = write!(outline, "M{}.4 {}.4h3.2v3.2h-3.2z", at % 25 * 6 + 1, at / 25 * 6 + 1);
    }
    format!(
        "<svg class=\"strip hundred\" viewBox=\"0 0 150 24\" role=\"img\"><title>{filled} {} 100</title><path fill=\"currentColor\" d=\"{path}\"/>\
         <path fill=\"none\" stroke=\"currentColor\" stroke-width=\".8\" d=\"{outline}\"/></svg>",
        shown.pick("of", "de")
    )
}

/// Height of a level strip, mm on the card.
const STRIP_MM: f64 = 12.0;
/// More grains than these change nothing that an eye sees.
const MOST_GRAINS: usize = 1500;

/// The strip of the window that holds most grain, drawn from the reading's own grains at true scale beside a 5 mm bar.
pub(super) fn strip(reading: &Reading, shown: Shown) -> String {
    let [width, height] = reading.scale.window_mm;
    if !(width > 0.0 && height > 0.0 && width < 1000.0 && height < 1000.0) {
        return String::new();
    }
    let high = STRIP_MM.min(height);
    // Bands of a strip's height, half a strip apart.
    let bands = ((height - high) / (high / 2.0)).floor().clamp(0.0, 200.0) as usize + 1;
    let area_from =
        |top: f64| reading.grains.iter().filter(|grain| (top..top + high).contains(&grain.y_mm)).map(|grain| grain.area_mm2).sum::<f64>();
    let tops = (0..bands).map(|band| band as f64 * high / 2.0);
    let top = tops.max_by(|one, other| area_from(*one).total_cmp(&area_from(*other))).unwrap_or(0.0);
    let mut svg = format!(
        "<svg class=\"strip\" viewBox=\"0 0 {width:.1} {:.1}\" role=\"img\">\
         <title>{}</title>\
         <path class=\"ground\" d=\"M0 0h{width:.1}v{high:.1}h-{width:.1}z\"/>\
         <svg width=\"{width:.1}\" height=\"{high:.1}\" viewBox=\"0 0 {width:.1} {high:.1}\" fill=\"currentColor\">",
        high + 3.4,
        shown.pick(
            format!("The fullest strip of the window, {width:.0} mm wide, with its grains at true scale"),
            format!("La franja más llena de la ventana, {width:.0} mm de ancho, con sus granos a escala")
        )
    );
    let shown = reading.grains.iter().filter(|grain| (top..top + high).contains(&grain.y_mm)).take(MOST_GRAINS);
    for grain in shown {
        let _ = write!(svg, "<circle cx=\"{:.2}\" cy=\"{:.2}\" r=\"{:.3}\"/>", grain.x_mm, grain.y_mm - top, grain.ecd_mm / 2.0);
    }
    let base = high + 2.0;
    let _ = write!(
        svg,
        "</svg><path d=\"M0 {:.1}v1.2M0 {base:.1}h5M5 {:.1}v1.2\" stroke=\"currentColor\" stroke-width=\".3\" fill=\"none\"/>\
         <text x=\"6\" y=\"{:.1}\" font-size=\"2.6\" fill=\"currentColor\">5 mm</text></svg>",
        base - 0.6,
        base - 0.6,
        base + 0.9
    );
    svg
}

/// The van der Corput sequence: spreads points evenly over 0 to 1 and without a raster that the eye would see.
fn spread(mut number: u32, base: u32) -> f64 {
    let (mut value, mut share) = (0.0, 1.0);
    while number > 0 {
        share /= f64::from(base);
        value += share * f64::from(number % base);
        number /= base;
    }
    value
}

/// One of four fixed textures, for a level judged by eye: film, pepper, sand, lumps. No scale: nothing was measured.
pub(super) fn texture(level: LevelCode, shown: Shown) -> String {
    let (count, radius) = match level {
        LevelCode::PasteOnly => (0_u32, 0.0),
        LevelCode::SomeSand => (40, 0.28),
        LevelCode::Sand => (190, 0.42),
        LevelCode::Lumps => (22, 1.5),
    };
    let mut svg = format!(
        "<svg class=\"strip\" viewBox=\"0 0 60 9\" role=\"img\"><title>{}</title><path class=\"ground\" d=\"M0 0h60v9H0z\"/><g fill=\"currentColor\">",
        shown.pick("Judged by eye", "Juzgado a ojo")
    );
    for number in 1..=count {
        // Fixed, so the texture is the same every time.
        let x = spread(number, 2) * (60.0 - 2.0 * radius) + radius;
        let y = spread(number, 3) * (9.0 - 2.0 * radius) + radius;
        let _ = write!(svg, "<circle cx=\"{x:.2}\" cy=\"{y:.2}\" r=\"{radius}\"/>");
    }
    if level == LevelCode::PasteOnly {
        svg.push_str("</g><path d=\"M0 6q8-2 15 0t15 0t15 0t15 0\" fill=\"none\" stroke=\"currentColor\" stroke-width=\".25\"/></svg>");
    } else {
        svg.push_str("</g></svg>");
    }
    svg
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rings_hold_0_7_19_37_and_61_dots_inside_the_circle() {
        for (grade, count) in [(0, 0), (1, 7), (2, 19), (3, 37), (4, 61)] {
            let dots = dots(grade);
            assert_eq!(dots.len(), count);
            assert!(dots.iter().all(|(x, y)| x.hypot(*y) * 9.6 + 3.9 < 44.0));
        }
    }

    #[test]
    fn only_a_measured_grade_has_the_corner_mark() {
        assert!(ring(2, true, Shown::default()).contains("M30-50"));
        assert!(!ring(2, false, Shown::default()).contains("M30-50"));
    }
}
