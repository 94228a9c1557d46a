//! Charts: one model, laid out once, painted as SVG here and as PDF paths by the report.
//!
//! ```text
//! Chart (what to show) ──layout──► Drawing (shapes at fixed places) ──svg──► text
//!                                                             └──────► any other painter
//! ```
//!
//! Thin axes in pencil, own data in violet, fleet in pencil, the unknown hatched; labels stand at the line, there are no
//! legend boxes; a log axis says so. The same chart gives the same text, byte for byte. Nothing here reads a clock.

mod layout;
mod svg;

pub(super) use layout::width_of;
pub use layout::{Anchor, Drawing, Shape, Stroke, TextShape};
pub(crate) use svg::escaped;
pub use svg::{Palette, to_svg};

/// A chart: two axes and what is drawn between them, from back to front.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    /// What the picture answers, one short line.
    pub title: String,
    /// A second, smaller line under the title; empty for none.
    pub note: String,
    /// Width of the whole picture, CSS pixels (at least 240).
    pub width_px: f64,
    /// Height of the whole picture, CSS pixels (at least 180).
    pub height_px: f64,
    /// The axis below.
    pub x: Axis,
    /// The axis at the left.
    pub y: Axis,
    /// From back to front.
    pub marks: Vec<Mark>,
}

/// One axis. Values outside `from..to` are cut at the frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// What it measures, with its unit: `sieve opening, mm`.
    pub label: String,
    /// Linear or logarithmic.
    pub scale: AxisScale,
    /// Value at the left or lower end.
    pub from: f64,
    /// Value at the right or upper end; above `from`.
    pub to: f64,
    /// Where to write a number; empty: chosen by itself (1, 2, 5 steps; decades on a log axis).
    pub ticks: Vec<Tick>,
}

/// How values are spread along an axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AxisScale {
    /// Even.
    Linear,
    /// By the logarithm; both ends must be above 0.
    Log,
}

/// A place on an axis with what is written there.
#[derive(Debug, Clone, PartialEq)]
pub struct Tick {
    /// Where.
    pub at: f64,
    /// What is written; empty for a mark without words.
    pub text: String,
}

/// The tones of a notebook; which colour they are is the palette's business.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// The ground.
    Paper,
    /// Text and drawings.
    Ink,
    /// Axes, second lines, the fleet.
    Pencil,
    /// Hairlines.
    Rule,
    /// This pump, this photo: the own data.
    Own,
}

/// Words at a mark.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// The words; a line feed breaks the line.
    pub text: String,
    /// Where on the mark they stand.
    pub place: Place,
}

/// Where a label stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Place {
    /// To the right of the line's last point, outside the frame; several such labels move apart.
    End,
    /// Above the line at this share (0 to 1) of its points, leaning away from it.
    Above(f64),
    /// Below the line at this share (0 to 1) of its points, leaning away from it.
    Below(f64),
}

/// Something drawn between the axes. Points are `[x, y]` in axis units; a point that is not finite breaks the line.
#[derive(Debug, Clone, PartialEq)]
pub enum Mark {
    /// A line through the points.
    Line {
        /// In drawing order.
        points: Vec<[f64; 2]>,
        /// Its colour.
        tone: Tone,
        /// Width, px.
        width_px: f64,
        /// Broken rather than whole.
        dashed: bool,
        /// Words at it.
        label: Option<Label>,
    },
    /// A staircase: each value holds until the next point's x.
    Steps {
        /// In order of x.
        points: Vec<[f64; 2]>,
        /// Its colour.
        tone: Tone,
        /// Width, px.
        width_px: f64,
        /// Words at it.
        label: Option<Label>,
    },
    /// The ground between two lines: an interval.
    Band {
        /// `[x, low, high]` in order of x.
        points: Vec<[f64; 3]>,
        /// Its colour, laid on thin.
        tone: Tone,
    },
    /// Separate points.
    Points {
        /// Where.
        points: Vec<[f64; 2]>,
        /// Their colour.
        tone: Tone,
        /// Filled, or a ring.
        filled: bool,
        /// Radius, px.
        radius_px: f64,
        /// Words at the last one.
        label: Option<Label>,
    },
    /// Short upright strokes at the foot of the frame, one per value, to show where data lie.
    Ticks {
        /// Where along x.
        at_x: Vec<f64>,
        /// Their colour.
        tone: Tone,
    },
    /// What is not known: slanted lines from the foot to the top of the frame between two x.
    Hatched {
        /// From here.
        from_x: f64,
        /// To here.
        to_x: f64,
        /// What is not known there.
        text: String,
    },
    /// A straight line across the frame at one x.
    UprightAt {
        /// Where.
        x: f64,
        /// Its colour.
        tone: Tone,
        /// Words at its top.
        text: String,
    },
    /// A straight line across the frame at one y.
    LevelAt {
        /// Where.
        y: f64,
        /// Its colour.
        tone: Tone,
        /// Words at its left end.
        text: String,
    },
}

impl Axis {
    /// A linear axis with ticks of its own choice.
    pub fn linear(label: impl Into<String>, from: f64, to: f64) -> Self {
        Self { label: label.into(), scale: AxisScale::Linear, from, to, ticks: Vec::new() }
    }

    /// A logarithmic axis with ticks of its own choice; its label says that it is one.
    pub fn log(label: impl Into<String>, from: f64, to: f64) -> Self {
        Self { label: format!("{} (log)", label.into()), scale: AxisScale::Log, from, to, ticks: Vec::new() }
    }

    /// The same axis with these ticks.
    #[must_use]
    pub fn with_ticks(mut self, ticks: impl IntoIterator<Item = (f64, String)>) -> Self {
        self.ticks = ticks.into_iter().map(|(at, text)| Tick { at, text }).collect();
        self
    }

    /// Share of the axis at `value`: 0 at `from`, 1 at `to`; not finite where the value has no place.
    pub fn share(&self, value: f64) -> f64 {
        match self.scale {
            AxisScale::Linear => (value - self.from) / (self.to - self.from),
            AxisScale::Log if value > 0.0 => (value / self.from).ln() / (self.to / self.from).ln(),
            AxisScale::Log => f64::NAN,
        }
    }
}

impl Chart {
    /// An empty chart of the usual size, 720 x 440 px.
    pub fn new(title: impl Into<String>, x: Axis, y: Axis) -> Self {
        Self { title: title.into(), note: String::new(), width_px: 720.0, height_px: 440.0, x, y, marks: Vec::new() }
    }

    /// The chart with one more mark, in front of the others.
    #[must_use]
    pub fn with(mut self, mark: Mark) -> Self {
        self.marks.push(mark);
        self
    }

    /// Lays it out and paints it as SVG by day.
    pub fn to_svg(&self) -> String {
        to_svg(&self.layout(), &Palette::DAY)
    }
}

/// A number as a person writes it: thin spaces between thousands, no more decimals than it has.
pub fn plain_number(value: f64) -> String {
    let magnitude = value.abs();
    let decimals = if magnitude == 0.0 || magnitude >= 100.0 {
        0
    } else {
        // Three significant digits are plenty on an axis.
        (2 - magnitude.log10().floor() as i32).clamp(0, 6) as usize
    };
    let mut text = format!("{magnitude:.decimals$}");
    if text.contains('.') {
        text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    }
    let whole = text.find('.').unwrap_or(text.len());
    if whole > 4 {
        let mut at = whole;
        while at > 3 {
            at -= 3;
            text.insert(at, '\u{2009}');
        }
    }
    if value < 0.0 && text != "0" { format!("\u{2212}{text}") } else { text }
}
