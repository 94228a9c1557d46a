//! From a chart to shapes at fixed places. All the arithmetic of charts is here; painters only paint.

use super::{Axis, AxisScale, Chart, Label, Mark, Place, Tick, Tone, plain_number};

/// Shapes at fixed places, from back to front; units are CSS pixels, y grows downwards.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    /// For readers that cannot see it.
    pub title: String,
    /// Width, px.
    pub width_px: f64,
    /// Height, px.
    pub height_px: f64,
    /// From back to front.
    pub shapes: Vec<Shape>,
}

/// One thing to paint.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// A line or an area.
    Path {
        /// Corners.
        points: Vec<[f64; 2]>,
        /// Back to the first corner.
        closed: bool,
        /// Tone and opacity of its area.
        fill: Option<(Tone, f64)>,
        /// Its line.
        stroke: Option<Stroke>,
    },
    /// A round point.
    Dot {
        /// Its centre.
        at: [f64; 2],
        /// Its radius, px.
        radius_px: f64,
        /// Filled, or a ring.
        filled: bool,
        /// Its colour.
        tone: Tone,
    },
    /// Words.
    Text(TextShape),
    /// Shapes of which only what lies in the rectangle is seen.
    Clip {
        /// Upper left.
        from: [f64; 2],
        /// Lower right.
        to: [f64; 2],
        /// What is cut.
        shapes: Vec<Shape>,
    },
}

/// How a line is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stroke {
    /// Its colour.
    pub tone: Tone,
    /// Its width, px.
    pub width_px: f64,
    /// Broken rather than whole.
    pub dashed: bool,
}

/// One line of words.
#[derive(Debug, Clone, PartialEq)]
pub struct TextShape {
    /// The anchor on the base line.
    pub at: [f64; 2],
    /// What `at` is to the words.
    pub anchor: Anchor,
    /// Type size, px.
    pub size_px: f64,
    /// Bold.
    pub bold: bool,
    /// Turned to read upwards.
    pub upright: bool,
    /// A rim of ground around the letters, where they stand over lines.
    pub halo: bool,
    /// Their colour.
    pub tone: Tone,
    /// The words, as they are.
    pub text: String,
}

/// What the anchor is to the words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// Their start.
    Start,
    /// Their middle.
    Middle,
    /// Their end.
    End,
}

const TITLE_PX: f64 = 20.0;
const TEXT_PX: f64 = 15.0;
const NOTE_PX: f64 = 14.0;
const LINE_PX: f64 = 18.0;

/// Rough width of words: 0.56 em a letter, measured on the embedded face over our own labels (real: 0.48 to 0.55).
pub(in crate::report) fn width_of(text: &str, size_px: f64) -> f64 {
    text.lines().map(|line| line.chars().count()).max().unwrap_or(0) as f64 * size_px * 0.56
}

struct Frame<'a> {
    chart: &'a Chart,
    left: f64,
    right: f64,
    top: f64,
    foot: f64,
}

impl Frame<'_> {
    fn x(&self, value: f64) -> f64 {
        self.left + self.chart.x.share(value) * (self.right - self.left)
    }

    fn y(&self, value: f64) -> f64 {
        self.foot - self.chart.y.share(value) * (self.foot - self.top)
    }

    fn at(&self, [x, y]: [f64; 2]) -> Option<[f64; 2]> {
        // Far outside is as good as just outside, and keeps the numbers in the file small.
        let reach = 4.0 * (self.chart.width_px + self.chart.height_px);
        let place = [self.x(x), self.y(y)];
        place.iter().all(|v| v.is_finite()).then(|| place.map(|v| v.clamp(-reach, reach)))
    }

    /// The finite runs of the points.
    fn runs(&self, points: &[[f64; 2]]) -> Vec<Vec<[f64; 2]>> {
        let mut runs = vec![Vec::new()];
        for point in points {
            match self.at(*point) {
                Some(place) => runs.last_mut().into_iter().for_each(|run: &mut Vec<_>| run.push(place)),
                None => runs.push(Vec::new()),
            }
        }
        runs.retain(|run| !run.is_empty());
        runs
    }

    fn inside(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [x.clamp(self.left, self.right), y.clamp(self.top, self.foot)]
    }
}

impl Chart {
    /// Lays the chart out.
    pub fn layout(&self) -> Drawing {
        let width_px = self.width_px.max(240.0);
        let height_px = self.height_px.max(180.0);
        let x_ticks = ticks_of(&self.x);
        let y_ticks = ticks_of(&self.y);
        let widest = y_ticks.iter().map(|t| width_of(&t.text, NOTE_PX)).fold(0.0, f64::max);
        let end_label = self
            .marks
            .iter()
            .filter_map(label_of)
            .filter(|label| label.place == Place::End)
            .map(|label| width_of(&label.text, TEXT_PX) + 14.0)
            .fold(18.0, f64::max);
        let frame = Frame {
            chart: self,
            left: 16.0 + LINE_PX + 6.0 + widest + 8.0,
            right: (width_px - end_label.min(width_px * 0.4)).max(120.0),
            top: 14.0 + TITLE_PX + if self.note.is_empty() { 0.0 } else { LINE_PX + 2.0 } + 16.0,
            foot: height_px - 12.0 - LINE_PX - LINE_PX - 8.0,
        };

        let mut shapes = vec![words([16.0, 12.0 + TITLE_PX], Anchor::Start, TITLE_PX, true, &self.title)];
        if !self.note.is_empty() {
            let mut note = plain_words([16.0, 14.0 + TITLE_PX + LINE_PX], Anchor::Start, NOTE_PX, &self.note);
            note.tone = Tone::Pencil;
            shapes.push(Shape::Text(note));
        }
        draw_grid(&frame, &x_ticks, &y_ticks, &mut shapes);
        let mut clipped = Vec::new();
        for mark in &self.marks {
            draw_mark(&frame, mark, &mut clipped);
        }
        shapes.push(Shape::Clip { from: [frame.left, frame.top], to: [frame.right, frame.foot], shapes: clipped });
        draw_axes(&frame, &x_ticks, &y_ticks, &mut shapes);
        draw_labels(&frame, &mut shapes);
        Drawing { title: self.title.clone(), width_px, height_px, shapes }
    }
}

fn label_of(mark: &Mark) -> Option<&Label> {
    match mark {
        Mark::Line { label, .. } | Mark::Steps { label, .. } | Mark::Points { label, .. } => label.as_ref(),
        Mark::Band { .. } | Mark::Ticks { .. } | Mark::Hatched { .. } | Mark::UprightAt { .. } | Mark::LevelAt { .. } => None,
    }
}

fn plain_words(at: [f64; 2], anchor: Anchor, size_px: f64, text: &str) -> TextShape {
    TextShape { at, anchor, size_px, bold: false, upright: false, halo: false, tone: Tone::Ink, text: text.to_owned() }
}

fn words(at: [f64; 2], anchor: Anchor, size_px: f64, bold: bool, text: &str) -> Shape {
    Shape::Text(TextShape { bold, ..plain_words(at, anchor, size_px, text) })
}

fn line(points: Vec<[f64; 2]>, tone: Tone, width_px: f64, dashed: bool) -> Shape {
    Shape::Path { points, closed: false, fill: None, stroke: Some(Stroke { tone, width_px, dashed }) }
}

fn draw_grid(frame: &Frame<'_>, x_ticks: &[Tick], y_ticks: &[Tick], shapes: &mut Vec<Shape>) {
    for tick in y_ticks {
        let y = frame.y(tick.at);
        shapes.push(line(vec![[frame.left, y], [frame.right, y]], Tone::Rule, 1.0, false));
    }
    for tick in x_ticks.iter().filter(|tick| !tick.text.is_empty()) {
        let x = frame.x(tick.at);
        shapes.push(line(vec![[x, frame.top], [x, frame.foot]], Tone::Rule, 1.0, false));
    }
}

fn draw_axes(frame: &Frame<'_>, x_ticks: &[Tick], y_ticks: &[Tick], shapes: &mut Vec<Shape>) {
    let corner = vec![[frame.left, frame.top], [frame.left, frame.foot], [frame.right, frame.foot]];
    shapes.push(line(corner, Tone::Pencil, 1.25, false));
    // A number that would touch its neighbour is left out; its mark stays.
    let mut written_to = f64::NEG_INFINITY;
    for tick in x_ticks {
        let x = frame.x(tick.at);
        shapes.push(line(vec![[x, frame.foot], [x, frame.foot + 5.0]], Tone::Pencil, 1.25, false));
        let half = width_of(&tick.text, NOTE_PX) / 2.0;
        if x - half > written_to + 6.0 {
            shapes.push(words([x, frame.foot + 6.0 + NOTE_PX], Anchor::Middle, NOTE_PX, false, &tick.text));
            written_to = x + half;
        }
    }
    for tick in y_ticks {
        let y = frame.y(tick.at);
        shapes.push(line(vec![[frame.left - 5.0, y], [frame.left, y]], Tone::Pencil, 1.25, false));
        shapes.push(words([frame.left - 8.0, y + NOTE_PX * 0.35], Anchor::End, NOTE_PX, false, &tick.text));
    }
    let middle = f64::midpoint(frame.left, frame.right);
    shapes.push(words([middle, frame.foot + 12.0 + LINE_PX + TEXT_PX], Anchor::Middle, TEXT_PX, false, &frame.chart.x.label));
    let mut upright = plain_words([14.0 + TEXT_PX, f64::midpoint(frame.top, frame.foot)], Anchor::Middle, TEXT_PX, &frame.chart.y.label);
    upright.upright = true;
    shapes.push(Shape::Text(upright));
}

fn draw_mark(frame: &Frame<'_>, mark: &Mark, shapes: &mut Vec<Shape>) {
    match mark {
        Mark::Line { points, tone, width_px, dashed, .. } => {
            shapes.extend(frame.runs(points).into_iter().map(|run| line(run, *tone, *width_px, *dashed)));
        }
        Mark::Steps { points, tone, width_px, .. } => {
            for run in frame.runs(points) {
                let mut stairs: Vec<[f64; 2]> = Vec::with_capacity(run.len() * 2);
                for [x, y] in run {
                    if let Some(&[_, before]) = stairs.last() {
                        stairs.push([x, before]);
                    }
                    stairs.push([x, y]);
                }
                shapes.push(line(stairs, *tone, *width_px, false));
            }
        }
        Mark::Band { points, tone } => {
            let low: Vec<_> = points.iter().filter_map(|&[x, low, _]| frame.at([x, low])).collect();
            let high = points.iter().rev().filter_map(|&[x, _, high]| frame.at([x, high]));
            let around: Vec<_> = low.iter().copied().chain(high).collect();
            shapes.push(Shape::Path { points: around, closed: true, fill: Some((*tone, 0.14)), stroke: None });
        }
        Mark::Points { points, tone, filled, radius_px, .. } => {
            let dots = points.iter().filter_map(|point| frame.at(*point));
            shapes.extend(dots.map(|at| Shape::Dot { at, radius_px: *radius_px, filled: *filled, tone: *tone }));
        }
        Mark::Ticks { at_x, tone } => {
            for x in at_x.iter().map(|x| frame.x(*x)).filter(|x| x.is_finite()) {
                shapes.push(line(vec![[x, frame.foot - 12.0], [x, frame.foot]], *tone, 1.5, false));
            }
        }
        Mark::Hatched { from_x, to_x, .. } => {
            let (from, to) = (frame.x(*from_x), frame.x(*to_x));
            if !(from.is_finite() && to.is_finite()) {
                return;
            }
            let (from, to) = (from.clamp(frame.left, frame.right), to.clamp(frame.left, frame.right));
            let tall = frame.foot - frame.top;
            let mut strokes = Vec::new();
            // The raster is tied to the frame, so that two hatched regions run on into each other.
            let mut x = frame.left - tall - (tall % 9.0);
            while x < to {
                strokes.push(line(vec![[x, frame.foot], [x + tall, frame.top]], Tone::Pencil, 0.8, false));
                x += 9.0;
            }
            shapes.push(Shape::Clip { from: [from, frame.top], to: [to.max(from), frame.foot], shapes: strokes });
        }
        Mark::UprightAt { x, tone, .. } => {
            let x = frame.x(*x);
            shapes.push(line(vec![[x, frame.top], [x, frame.foot]], *tone, 1.5, true));
        }
        Mark::LevelAt { y, tone, .. } => {
            let y = frame.y(*y);
            shapes.push(line(vec![[frame.left, y], [frame.right, y]], *tone, 1.5, true));
        }
    }
}

/// Words at the marks, in front of everything; those at line ends are moved apart.
fn draw_labels(frame: &Frame<'_>, shapes: &mut Vec<Shape>) {
    let mut at_end: Vec<(f64, Vec<&str>, Tone)> = Vec::new();
    for mark in &frame.chart.marks {
        let (points, tone) = match mark {
            Mark::Line { points, tone, .. } | Mark::Steps { points, tone, .. } | Mark::Points { points, tone, .. } => (points, *tone),
            Mark::Hatched { from_x, to_x, text } => {
                let from = frame.inside([frame.x(*from_x), frame.top]);
                let to = frame.inside([frame.x(*to_x), frame.top]);
                let at = [f64::midpoint(from[0], to[0]), frame.top + 20.0];
                // Words wider than the hatched region lean into the frame instead of over its edge.
                let half = width_of(text, TEXT_PX) / 2.0;
                let x = at[0].max(frame.left + half + 6.0).min((frame.right - half - 6.0).max(frame.left + half + 6.0));
                push_lines(shapes, [x, at[1]], Anchor::Middle, &text.lines().collect::<Vec<_>>(), Tone::Ink);
                continue;
            }
            Mark::UprightAt { x, tone, text } => {
                let x = frame.x(*x);
                if x.is_finite() && !text.is_empty() {
                    let (anchor, dx) = if x > f64::midpoint(frame.left, frame.right) { (Anchor::End, -7.0) } else { (Anchor::Start, 7.0) };
                    push_lines(shapes, [x + dx, frame.top + 16.0], anchor, &text.lines().collect::<Vec<_>>(), *tone);
                }
                continue;
            }
            Mark::LevelAt { y, tone, text } => {
                let y = frame.y(*y);
                if y.is_finite() && !text.is_empty() {
                    push_lines(shapes, [frame.left + 8.0, y - 6.0], Anchor::Start, &[text.as_str()], *tone);
                }
                continue;
            }
            Mark::Band { .. } | Mark::Ticks { .. } => continue,
        };
        let Some(label) = label_of(mark) else { continue };
        let places: Vec<_> = points.iter().filter_map(|point| frame.at(*point)).collect();
        let Some(&last) = places.last() else { continue };
        let lines: Vec<_> = label.text.lines().collect();
        let place_at = |share: f64| {
            let index = (share.clamp(0.0, 1.0) * (places.len() - 1) as f64).round() as usize;
            let here = places.get(index).copied().unwrap_or(last);
            let next = places.get(index + 1).copied().unwrap_or(here);
            let before = places.get(index.saturating_sub(1)).copied().unwrap_or(here);
            (frame.inside(here), next[1] < before[1])
        };
        // Words lean away from the line: over a rising one they end at the point, over a falling one they start there.
        match label.place {
            Place::End => at_end.push((frame.inside(last)[1], lines, tone)),
            Place::Above(share) => {
                let ([x, y], rising) = place_at(share);
                let (anchor, dx) = leaning(frame, x, &label.text, rising);
                push_lines(shapes, [x + dx, y - 8.0 - LINE_PX * (lines.len() as f64 - 1.0)], anchor, &lines, tone);
            }
            Place::Below(share) => {
                let ([x, y], rising) = place_at(share);
                let (anchor, dx) = leaning(frame, x, &label.text, !rising);
                push_lines(shapes, [x + dx, y + 8.0 + TEXT_PX], anchor, &lines, tone);
            }
        }
    }
    at_end.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut free_from = frame.top - LINE_PX;
    for (y, lines, tone) in at_end {
        let tall = LINE_PX * lines.len() as f64;
        let from = (y - tall / 2.0).max(free_from);
        push_lines(shapes, [frame.right + 8.0, from + TEXT_PX], Anchor::Start, &lines, tone);
        free_from = from + tall + 2.0;
    }
}

/// Which way words at `x` lean, to the left or to the right: the other way where they would run over the picture's edge and fit there.
fn leaning(frame: &Frame<'_>, x: f64, text: &str, left: bool) -> (Anchor, f64) {
    let reach = width_of(text, TEXT_PX) + 8.0;
    let (fits_left, fits_right) = (x - reach >= 0.0, x + reach <= frame.chart.width_px);
    let left = if left { fits_left || !fits_right } else { fits_left && !fits_right };
    if left { (Anchor::End, -8.0) } else { (Anchor::Start, 8.0) }
}

fn push_lines(shapes: &mut Vec<Shape>, [x, y]: [f64; 2], anchor: Anchor, lines: &[&str], tone: Tone) {
    for (i, text) in lines.iter().enumerate() {
        let at = [x, y + LINE_PX * i as f64];
        shapes.push(Shape::Text(TextShape { halo: true, tone, ..plain_words(at, anchor, TEXT_PX, text) }));
    }
}

/// The axis's own ticks that lie on it, or steps of 1, 2, 5; on a log axis decades, with 2 and 5 where there is room.
fn ticks_of(axis: &Axis) -> Vec<Tick> {
    let on_axis = |at: f64| (-1e-9..=1.0 + 1e-9).contains(&axis.share(at));
    if !axis.ticks.is_empty() {
        let mut ticks: Vec<_> = axis.ticks.iter().filter(|tick| on_axis(tick.at)).cloned().collect();
        ticks.sort_by(|a, b| a.at.total_cmp(&b.at));
        return ticks;
    }
    let mut ticks = Vec::new();
    match axis.scale {
        AxisScale::Linear => {
            let span = axis.to - axis.from;
            if !(span.is_finite() && span > 0.0) {
                return ticks;
            }
            let rough = span / 5.0;
            let decade = 10_f64.powf(rough.log10().floor());
            let step = decade * [1.0, 2.0, 5.0, 10.0].into_iter().find(|m| m * decade >= rough * 0.999).unwrap_or(10.0);
            let first = (axis.from / step - 1e-9).ceil() as i64;
            for i in first..first + 20 {
                let at = i as f64 * step;
                if !on_axis(at) {
                    break;
                }
                ticks.push(Tick { at, text: plain_number(at) });
            }
        }
        AxisScale::Log => {
            let (low, high) = (axis.from.log10(), axis.to.log10());
            if !(low.is_finite() && high > low) {
                return ticks;
            }
            let words_at: &[u32] = if high - low > 4.0 { &[1] } else { &[1, 2, 5] };
            for decade in low.floor() as i32..=high.ceil() as i32 {
                for digit in 1..10_u32 {
                    let at = f64::from(digit) * 10_f64.powi(decade);
                    if on_axis(at) {
                        let text = if words_at.contains(&digit) { plain_number(at) } else { String::new() };
                        ticks.push(Tick { at, text });
                    }
                }
            }
        }
    }
    ticks
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(drawing: &Drawing) -> Vec<&TextShape> {
        drawing
            .shapes
            .iter()
            .filter_map(|shape| match shape {
                Shape::Text(text) => Some(text),
                _ => None,
            })
            .collect()
    }

    fn two_lines() -> Chart {
        let line = |y: f64, text: &str| Mark::Line {
            points: vec![[0.0, 0.0], [10.0, y]],
            tone: Tone::Own,
            width_px: 2.0,
            dashed: false,
            label: Some(Label { text: text.to_owned(), place: Place::End }),
        };
        Chart::new("two", Axis::linear("x, m3", 0.0, 10.0), Axis::linear("y, %", 0.0, 100.0))
            .with(line(50.0, "first"))
            .with(line(50.5, "second"))
    }

    #[test]
    fn labels_at_nearly_the_same_height_move_apart() {
        let drawing = two_lines().layout();
        let y = |name: &str| texts(&drawing).iter().find(|t| t.text == name).unwrap().at[1];
        // The higher line keeps the upper place.
        assert!(y("first") - y("second") >= LINE_PX);
    }

    #[test]
    fn words_at_a_point_near_an_edge_lean_into_the_picture() {
        for (x, place, start) in [
            (9.8, Place::Above(1.0), false),
            (9.8, Place::Below(1.0), false),
            (5.0, Place::Above(1.0), true),
            (5.0, Place::Below(1.0), false),
            (0.1, Place::Below(1.0), true),
        ] {
            let label = Some(Label { text: "a rather long label of 6.28 mm".to_owned(), place });
            let mark = Mark::Line { points: vec![[x, 50.0]], tone: Tone::Own, width_px: 2.0, dashed: false, label };
            let drawing = Chart::new("one", Axis::linear("", 0.0, 10.0), Axis::linear("", 0.0, 100.0)).with(mark).layout();
            let found = texts(&drawing).into_iter().find(|text| text.text.starts_with("a rather")).unwrap();
            assert_eq!(found.anchor == Anchor::Start, start, "{x} {place:?}");
        }
    }

    #[test]
    fn points_map_to_the_frame_by_hand() {
        let axis = Axis::log("size, mm", 0.1, 10.0);
        assert!((axis.share(1.0) - 0.5).abs() < 1e-12);
        assert!(axis.share(0.0).is_nan());
        assert_eq!(axis.label, "size, mm (log)");
        assert!((Axis::linear("", 5.0, 15.0).share(7.5) - 0.25).abs() < 1e-12);
    }

    #[test]
    fn ticks_are_ones_twos_and_fives_and_stay_on_the_axis() {
        let texts = |axis: &Axis| ticks_of(axis).into_iter().map(|t| t.text).filter(|t| !t.is_empty()).collect::<Vec<_>>();
        assert_eq!(texts(&Axis::linear("", 0.0, 12_000.0)), ["0", "5000", "10\u{2009}000"]);
        assert_eq!(texts(&Axis::linear("", 0.0, 1.0)), ["0", "0.2", "0.4", "0.6", "0.8", "1"]);
        assert_eq!(texts(&Axis::log("", 0.075, 9.5)), ["0.1", "0.2", "0.5", "1", "2", "5"]);
    }

    #[test]
    fn a_gap_in_the_values_breaks_the_line() {
        let mark = Mark::Line {
            points: vec![[0.0, 1.0], [1.0, f64::NAN], [2.0, 1.0], [3.0, 2.0]],
            tone: Tone::Ink,
            width_px: 1.0,
            dashed: false,
            label: None,
        };
        let drawing = Chart::new("gap", Axis::linear("", 0.0, 3.0), Axis::linear("", 0.0, 2.0)).with(mark).layout();
        let clipped = drawing.shapes.iter().find_map(|shape| match shape {
            Shape::Clip { shapes, .. } => Some(shapes.len()),
            _ => None,
        });
        assert_eq!(clipped, Some(2));
    }

    #[test]
    fn markup_in_words_is_escaped_and_the_text_is_the_same_each_time() {
        let mut chart = two_lines();
        chart.title = "<script> & \"quotes\" \u{0}".to_owned();
        let svg = chart.to_svg();
        assert!(svg.contains("&lt;script&gt; &amp; &quot;quotes&quot; \u{fffd}"));
        assert!(!svg.contains("<script>"));
        assert_eq!(svg, chart.clone().to_svg());
    }

    #[test]
    fn numbers_are_written_as_people_write_them() {
        assert_eq!(plain_number(0.0), "0");
        assert_eq!(plain_number(0.075), "0.075");
        assert_eq!(plain_number(1.5), "1.5");
        assert_eq!(plain_number(4750.0), "4750");
        assert_eq!(plain_number(-12_000.0), "\u{2212}12\u{2009}000");
    }
}
