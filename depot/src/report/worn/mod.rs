//! Pictures of measured wear, one file a document.

mod bolt;
mod bore;
mod line;
mod oring;
mod plate;
mod thickness;

use gritbook_core::wear::Verdict;

pub use bolt::bolt;
pub use bore::bore;
pub use line::line;
pub use oring::oring;
pub use plate::plate;
pub use thickness::thickness;

use super::chart::{Anchor, Drawing, Shape, Stroke, TextShape, Tone};

/// A sheet to draw on, with its title and note where charts have theirs.
struct Sheet {
    drawing: Drawing,
}

impl Sheet {
    fn new(title: &str, note: &str, width_px: f64, height_px: f64) -> Self {
        let mut sheet = Self { drawing: Drawing { title: title.to_owned(), width_px, height_px, shapes: Vec::new() } };
        sheet.text([16.0, 32.0], Anchor::Start, 20.0, Tone::Ink, true, title);
        sheet.text([16.0, 52.0], Anchor::Start, 14.0, Tone::Pencil, false, note);
        sheet
    }

    fn text(&mut self, at: [f64; 2], anchor: Anchor, size_px: f64, tone: Tone, bold: bool, text: &str) {
        let text = TextShape { at, anchor, size_px, bold, upright: false, halo: true, tone, text: text.to_owned() };
        self.drawing.shapes.push(Shape::Text(text));
    }

    /// A plain label.
    fn label(&mut self, at: [f64; 2], anchor: Anchor, text: &str) {
        self.text(at, anchor, 15.0, Tone::Ink, false, text);
    }

    fn line(&mut self, points: impl Into<Vec<[f64; 2]>>, tone: Tone, width_px: f64, dashed: bool) {
        let stroke = Some(Stroke { tone, width_px, dashed });
        self.drawing.shapes.push(Shape::Path { points: points.into(), closed: false, fill: None, stroke });
    }

    /// An area with its outline.
    fn area(&mut self, points: Vec<[f64; 2]>, fill: Tone, opacity: f64, stroke: Option<Stroke>) {
        self.drawing.shapes.push(Shape::Path { points, closed: true, fill: Some((fill, opacity)), stroke });
    }

    fn dot(&mut self, at: [f64; 2], radius_px: f64, filled: bool, tone: Tone) {
        self.drawing.shapes.push(Shape::Dot { at, radius_px, filled, tone });
    }
}

/// A circle as a polygon, fine enough to look round.
fn circle(middle: [f64; 2], radius: f64) -> Vec<[f64; 2]> {
    const CORNERS: u32 = 90;
    (0..CORNERS)
        .map(|corner| std::f64::consts::TAU * f64::from(corner) / f64::from(CORNERS))
        .map(|angle| [middle[0] + radius * angle.cos(), middle[1] + radius * angle.sin()])
        .collect()
}

const INK_LINE: Stroke = Stroke { tone: Tone::Ink, width_px: 2.0, dashed: false };

/// The title's end: the verdict in words.
fn said(verdict: Verdict) -> &'static str {
    verdict.words().en
}
