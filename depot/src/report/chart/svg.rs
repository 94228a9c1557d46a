//! A drawing as SVG text.
//!
//! No ids and no style sheet, so that several charts may stand in one page; all text is escaped.

use std::fmt::Write as _;

use super::Tone;
use super::layout::{Anchor, Drawing, Shape, Stroke, TextShape};

/// The family that is embedded in pages and reports (SIL Open Font License).
const FAMILY: &str = "Atkinson Hyperlegible";

/// The colour of each tone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Palette {
    /// The ground.
    pub paper: &'static str,
    /// Text.
    pub ink: &'static str,
    /// Axes and second lines.
    pub pencil: &'static str,
    /// Hairlines.
    pub rule: &'static str,
    /// The own data.
    pub violet: &'static str,
}

impl Palette {
    /// By day.
    pub const DAY: Self = Self { paper: "#FBF8F1", ink: "#16181A", pencil: "#4F5256", rule: "#D9D3C4", violet: "#3B2F8F" };
    /// At night.
    pub const NIGHT: Self = Self { paper: "#121416", ink: "#F2EFE8", pencil: "#B4B0A6", rule: "#34383C", violet: "#B9AEFF" };

    fn of(&self, tone: Tone) -> &'static str {
        match tone {
            Tone::Paper => self.paper,
            Tone::Ink => self.ink,
            Tone::Pencil => self.pencil,
            Tone::Rule => self.rule,
            Tone::Own => self.violet,
        }
    }
}

/// Paints `drawing` as a whole SVG document. The same drawing gives the same text.
pub fn to_svg(drawing: &Drawing, palette: &Palette) -> String {
    let mut out = String::with_capacity(16 * 1024);
    let (w, h) = (number(drawing.width_px), number(drawing.height_px));
    // Writing to a String cannot fail.
    let _ = write!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}\" height=\"{h}\" viewBox=\"0 0 {w} {h}\" role=\"img\" \
         font-family=\"{FAMILY}, sans-serif\" style=\"font-variant-numeric: tabular-nums\">\n<title>{}</title>\n\
         <rect width=\"{w}\" height=\"{h}\" fill=\"{}\"/>\n",
        escaped(&drawing.title),
        palette.paper
    );
    for shape in &drawing.shapes {
        paint(&mut out, shape, palette);
    }
    out.push_str("</svg>\n");
    out
}

fn paint(out: &mut String, shape: &Shape, palette: &Palette) {
    match shape {
        Shape::Path { points, closed, fill, stroke } => {
            if points.is_empty() {
                return;
            }
            out.push_str("<path d=\"");
            for (i, [x, y]) in points.iter().enumerate() {
                let _ = write!(out, "{}{} {}", if i == 0 { "M" } else { "L" }, number(*x), number(*y));
            }
            if *closed {
                out.push('Z');
            }
            out.push('"');
            match fill {
                Some((tone, opacity)) => {
                    let _ = write!(out, " fill=\"{}\" fill-opacity=\"{}\"", palette.of(*tone), number(*opacity));
                }
                None => out.push_str(" fill=\"none\""),
            }
            paint_stroke(out, stroke.as_ref(), palette);
            out.push_str("/>\n");
        }
        Shape::Dot { at: [x, y], radius_px, filled, tone } => {
            let colour = palette.of(*tone);
            let fill = if *filled { colour } else { palette.paper };
            let _ = writeln!(
                out,
                "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{fill}\" stroke=\"{colour}\" stroke-width=\"1.5\"/>",
                number(*x),
                number(*y),
                number(*radius_px)
            );
        }
        Shape::Text(text) => paint_text(out, text, palette),
        Shape::Clip { from: [x0, y0], to: [x1, y1], shapes } => {
            // A nested viewport clips by itself and needs no id.
            let (x, y, w, h) = (number(*x0), number(*y0), number(x1 - x0), number(y1 - y0));
            let _ = writeln!(out, "<svg x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" viewBox=\"{x} {y} {w} {h}\" overflow=\"hidden\">");
            for inner in shapes {
                paint(out, inner, palette);
            }
            out.push_str("</svg>\n");
        }
    }
}

fn paint_stroke(out: &mut String, stroke: Option<&Stroke>, palette: &Palette) {
    if let Some(stroke) = stroke {
        let _ =
            write!(out, " stroke=\"{}\" stroke-width=\"{}\" stroke-linejoin=\"round\"", palette.of(stroke.tone), number(stroke.width_px));
        if stroke.dashed {
            out.push_str(" stroke-dasharray=\"7 5\"");
        }
    }
}

fn paint_text(out: &mut String, text: &TextShape, palette: &Palette) {
    let [x, y] = text.at;
    let (x, y) = (number(x), number(y));
    let anchor = match text.anchor {
        Anchor::Start => "start",
        Anchor::Middle => "middle",
        Anchor::End => "end",
    };
    let _ = write!(
        out,
        "<text x=\"{x}\" y=\"{y}\" text-anchor=\"{anchor}\" font-size=\"{}\" fill=\"{}\"",
        number(text.size_px),
        palette.of(text.tone)
    );
    if text.bold {
        out.push_str(" font-weight=\"700\"");
    }
    if text.upright {
        let _ = write!(out, " transform=\"rotate(-90 {x} {y})\"");
    }
    if text.halo {
        let _ = write!(out, " stroke=\"{}\" stroke-width=\"4\" stroke-linejoin=\"round\" paint-order=\"stroke\"", palette.paper);
    }
    let _ = writeln!(out, ">{}</text>", escaped(&text.text));
}

/// Two decimals at most, no trailing zeros: short, and the same on every machine.
fn number(value: f64) -> String {
    if !value.is_finite() {
        return "0".to_owned();
    }
    let mut text = format!("{value:.2}");
    text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    if text == "-0" { "0".to_owned() } else { text }
}

/// XML text: markup escaped, characters that XML 1.0 forbids replaced.
pub(crate) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' | '\r' => out.push(' '),
            c if c < ' ' || matches!(c, '\u{fffe}' | '\u{ffff}') => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}
