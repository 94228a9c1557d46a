//! A report on paper: text, drawings and photos that flow down pages of A4 or Letter, as PDF.
//!
//! Each page is one SVG in millimetres; what stands on paper is what a browser would show of it.

use std::fmt::Write as _;
use std::sync::LazyLock;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use gritbook_core::debris::card::Paper;
use gritbook_core::{CoreError, ErrorKind};
use krilla::page::PageSettings;
use krilla_svg::{SurfaceExt as _, SvgSettings};
use resvg::usvg;
use ttf_parser::Face;

use super::fonts::{BOLD, REGULAR, svg_options};

/// Points (1/72 inch) per millimetre.
const POINTS_PER_MM: f64 = 72.0 / 25.4;
const MARGIN_MM: f64 = 18.0;
const FOOT_MM: f64 = 16.0;
/// Between drawings.
const GAP_MM: f64 = 4.0;
const INK: &str = "#16181A";
const PENCIL: &str = "#4F5256";

static FACES: LazyLock<[Option<Face<'static>>; 2]> = LazyLock::new(|| [REGULAR, BOLD].map(|bytes| Face::parse(bytes, 0).ok()));

/// How a line of text looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Type {
    /// Height of the letters' em, mm.
    pub size_mm: f64,
    /// Bold.
    pub bold: bool,
    /// In pencil grey rather than ink.
    pub faint: bool,
}

impl Type {
    /// The report's title.
    pub const TITLE: Self = Self { size_mm: 8.4, bold: true, faint: false };
    /// A heading.
    pub const HEADING: Self = Self { size_mm: 5.4, bold: true, faint: false };
    /// What an entry says.
    pub const STRONG: Self = Self { size_mm: 4.4, bold: true, faint: false };
    /// Plain text.
    pub const TEXT: Self = Self { size_mm: 3.7, bold: false, faint: false };
    /// Small print.
    pub const NOTE: Self = Self { size_mm: 3.2, bold: false, faint: true };

    fn line_mm(self) -> f64 {
        self.size_mm * 1.32
    }

    /// Width of a text in this type, mm.
    pub fn width_mm(self, text: &str) -> f64 {
        let Some(face) = &FACES[usize::from(self.bold)] else { return text.chars().count() as f64 * self.size_mm * 0.56 };
        let advance = |c| face.glyph_index(c).and_then(|glyph| face.glyph_hor_advance(glyph)).map_or(500.0, f64::from);
        text.chars().map(advance).sum::<f64>() / f64::from(face.units_per_em()) * self.size_mm
    }

    /// A text in lines no wider than `width_mm`; a word that is wider stands alone and is cut.
    fn lines(self, text: &str, width_mm: f64) -> Vec<String> {
        let mut lines = vec![String::new()];
        for word in text.split([' ', '\n']).filter(|word| !word.is_empty()) {
            let last = lines.len() - 1;
            let longer = if lines[last].is_empty() { word.to_owned() } else { format!("{} {word}", lines[last]) };
            if self.width_mm(&longer) <= width_mm {
                lines[last] = longer;
                continue;
            }
            let mut rest = word.to_owned();
            while self.width_mm(&rest) > width_mm && rest.pop().is_some() {}
            if lines[last].is_empty() { lines[last] = rest } else { lines.push(rest) }
        }
        lines
    }
}

/// A drawing with its place on paper.
#[derive(Debug, Clone)]
pub struct Placed {
    /// A whole `<svg>` element with a viewBox and without a size.
    svg: String,
    width_mm: f64,
    height_mm: f64,
}

impl Placed {
    /// A drawing that fills this much paper.
    pub fn new(svg: String, width_mm: f64, height_mm: f64) -> Self {
        Self { svg, width_mm, height_mm }
    }

    /// A photo of this height: JPEG bytes and its shape, width over height.
    pub fn photo(jpeg: &[u8], shape: f64, height_mm: f64) -> Self {
        let (width_mm, data) = (height_mm * shape, STANDARD.encode(jpeg));
        let svg = format!(
            r#"<svg viewBox="0 0 {width_mm:.2} {height_mm:.2}"><image width="{width_mm:.2}" height="{height_mm:.2}" href="data:image/jpeg;base64,{data}"/></svg>"#
        );
        Self { svg, width_mm, height_mm }
    }

    /// A sign with bold words beside it.
    pub fn sign(sign: &str, words: &str, height_mm: f64) -> Self {
        let kind = Type::STRONG;
        let width_mm = height_mm + 3.0 + kind.width_mm(words);
        let sign = sign.replacen("<svg ", &format!(r#"<svg width="{height_mm}" height="{height_mm}" "#), 1);
        let (x, y, size, words) = (height_mm + 3.0, height_mm / 2.0 + 1.5, kind.size_mm, super::chart::escaped(words));
        let text = format!(r#"<text x="{x}" y="{y}" font-size="{size}" font-weight="700" fill="{INK}">{words}</text>"#);
        Self { svg: format!(r#"<svg viewBox="0 0 {width_mm:.2} {height_mm}">{sign}{text}</svg>"#), width_mm, height_mm }
    }
}

/// Pages in the making.
#[derive(Debug)]
pub struct Report {
    page_mm: [f64; 2],
    foot: String,
    pages: Vec<String>,
    y: f64,
}

impl Report {
    /// An empty report; `foot` stands at the foot of each page, before its number.
    pub fn new(paper: Paper, foot: &str) -> Self {
        let page_mm = match paper {
            Paper::A4 => [210.0, 297.0],
            Paper::Letter => [215.9, 279.4],
        };
        Self { page_mm, foot: foot.to_owned(), pages: vec![String::new()], y: MARGIN_MM }
    }

    /// Width between the margins, mm.
    pub fn width_mm(&self) -> f64 {
        self.page_mm[0] - 2.0 * MARGIN_MM
    }

    /// Begins a new page where less than this much is left on the current one.
    pub fn keep_together(&mut self, height_mm: f64) {
        if self.y + height_mm > self.page_mm[1] - FOOT_MM - 4.0 && self.y > MARGIN_MM {
            self.pages.push(String::new());
            self.y = MARGIN_MM;
        }
    }

    /// Leaves room.
    pub fn space(&mut self, height_mm: f64) {
        self.y += height_mm;
    }

    /// How high a text is, mm.
    pub fn height_of(&self, text: &str, kind: Type, indent_mm: f64) -> f64 {
        kind.lines(text, self.width_mm() - indent_mm).len() as f64 * kind.line_mm()
    }

    /// A paragraph.
    pub fn text(&mut self, text: &str, kind: Type, indent_mm: f64) {
        for line in kind.lines(text, self.width_mm() - indent_mm) {
            self.keep_together(kind.line_mm());
            self.y += kind.line_mm();
            self.write([MARGIN_MM + indent_mm, self.y - 0.28 * kind.line_mm()], &line, kind, "start");
        }
    }

    /// A line with one text at each side.
    pub fn both(&mut self, left: (&str, Type), right: (&str, Type)) {
        let high = left.1.line_mm().max(right.1.line_mm());
        self.keep_together(high);
        self.y += high;
        let base = self.y - 0.28 * high;
        self.write([MARGIN_MM, base], left.0, left.1, "start");
        self.write([self.page_mm[0] - MARGIN_MM, base], right.0, right.1, "end");
    }

    /// A hairline over the whole width.
    pub fn rule(&mut self) {
        self.keep_together(3.0);
        self.y += 1.5;
        let (left, right, y) = (MARGIN_MM, self.page_mm[0] - MARGIN_MM, self.y);
        self.put(&format!(r##"<path d="M{left} {y:.2}H{right}" stroke="#D9D3C4" stroke-width="0.3"/>"##));
        self.y += 1.5;
    }

    /// Drawings side by side, in as many rows as they need.
    pub fn drawings(&mut self, drawings: &[Placed], indent_mm: f64) {
        let room = self.width_mm() - indent_mm;
        let mut row: Vec<&Placed> = Vec::new();
        let mut wide = 0.0;
        for drawing in drawings {
            if wide + drawing.width_mm > room && !row.is_empty() {
                self.row(&std::mem::take(&mut row), indent_mm);
                wide = 0.0;
            }
            row.push(drawing);
            wide += drawing.width_mm + GAP_MM;
        }
        self.row(&row, indent_mm);
    }

    fn row(&mut self, row: &[&Placed], indent_mm: f64) {
        let high = row.iter().map(|drawing| drawing.height_mm).fold(0.0, f64::max);
        if row.is_empty() {
            return;
        }
        self.keep_together(high + 2.0);
        let (mut x, y) = (MARGIN_MM + indent_mm, self.y + 1.0);
        for Placed { svg, width_mm, height_mm } in row {
            let at = format!(r#"<svg x="{x:.2}" y="{y:.2}" width="{width_mm:.2}" height="{height_mm:.2}" "#);
            self.put(&svg.replacen("<svg ", &at, 1));
            x += width_mm + GAP_MM;
        }
        self.y += high + 2.0;
    }

    /// Lines to sign on, side by side, with what each is for.
    pub fn signatures(&mut self, names: &[&str]) {
        self.keep_together(24.0);
        let wide = self.width_mm() / names.len().max(1) as f64;
        let y = self.y + 15.0;
        for (at, name) in names.iter().enumerate() {
            let x = MARGIN_MM + wide * at as f64;
            self.put(&format!(r#"<path d="M{x:.2} {y:.2}h{:.2}" stroke="{INK}" stroke-width="0.3"/>"#, wide - 6.0));
            self.write([x, y + 4.6], name, Type::NOTE, "start");
        }
        self.y = y + 8.0;
    }

    fn put(&mut self, markup: &str) {
        if let Some(page) = self.pages.last_mut() {
            page.push_str(markup);
        }
    }

    fn write(&mut self, [x, y]: [f64; 2], text: &str, kind: Type, anchor: &str) {
        let weight = if kind.bold { r#" font-weight="700""# } else { "" };
        let (size, colour) = (kind.size_mm, if kind.faint { PENCIL } else { INK });
        let text = super::chart::escaped(text);
        self.put(&format!(
            r#"<text x="{x:.2}" y="{y:.2}" font-size="{size}" fill="{colour}" text-anchor="{anchor}"{weight}>{text}</text>"#
        ));
    }

    /// The pages as SVG, one string each.
    pub fn svg_pages(&self) -> Vec<String> {
        let [width, height] = self.page_mm;
        let count = self.pages.len();
        let pages = (1..).zip(&self.pages).map(|(number, page)| {
            let mut svg = String::with_capacity(page.len() + 1024);
            // Writing to a String cannot fail.
            let _ = write!(
                svg,
                r##"<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}" font-family="Atkinson Hyperlegible" color="{INK}"><style>.ground{{fill:#F4EFE3}}</style><rect width="{width}" height="{height}" fill="#FFFFFF"/>{page}"##
            );
            let (y, right) = (height - 9.0, width - MARGIN_MM);
            let foot = super::chart::escaped(&self.foot);
            let _ = write!(svg, r#"<text x="{MARGIN_MM}" y="{y}" font-size="3.2" fill="{PENCIL}">{foot}</text>"#);
            let _ = write!(svg, r#"<text x="{right}" y="{y}" font-size="3.2" fill="{PENCIL}" text-anchor="end">{number} / {count}</text></svg>"#);
            svg
        });
        pages.collect()
    }

    /// The pages as one PDF.
    ///
    /// # Errors
    /// An internal error only.
    pub fn pdf(&self) -> Result<Vec<u8>, CoreError> {
        let failed =
            |reason: String| CoreError::new(ErrorKind::Internal, "report_not_drawn", reason, "report this with the program's version");
        let options = svg_options();
        let [width, height] = self.page_mm.map(|side| (side * POINTS_PER_MM) as f32);
        let no_size = || failed("the page has no size".to_owned());
        let size = krilla::geom::Size::from_wh(width, height).ok_or_else(no_size)?;
        let mut document = krilla::Document::new();
        for svg in self.svg_pages() {
            let tree = usvg::Tree::from_str(&svg, &options).map_err(|cause| failed(format!("a page is not readable: {cause}")))?;
            let mut page = document.start_page_with(PageSettings::from_wh(width, height).ok_or_else(no_size)?);
            let mut surface = page.surface();
            let drawn = surface.draw_svg(&tree, size, SvgSettings::default());
            surface.finish();
            page.finish();
            drawn.ok_or_else(|| failed("a page could not be drawn".to_owned()))?;
        }
        document.finish().map_err(|cause| failed(format!("writing the PDF failed: {cause:?}")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_text_is_broken_at_words_and_no_line_is_too_wide() {
        let text = "Sand means that the cups are passing: watch closely or change them before the next pour. ".repeat(4);
        let lines = Type::TEXT.lines(&text, 80.0);
        assert!(lines.len() > 4 && lines.iter().all(|line| Type::TEXT.width_mm(line) <= 80.0));
        assert_eq!(lines.join(" "), text.trim());
        let endless = Type::TEXT.lines(&"w".repeat(500), 80.0);
        assert!(endless.len() == 1 && Type::TEXT.width_mm(&endless[0]) <= 80.0);
    }

    #[test]
    fn text_that_fills_a_page_goes_on_on_the_next_and_the_pdf_has_both() {
        let mut report = Report::new(Paper::Letter, "P1 <& \"north\">");
        (0..80).for_each(|number| report.text(&format!("line {number}"), Type::TEXT, 0.0));
        let pages = report.svg_pages();
        assert_eq!(pages.len(), 2);
        assert!(pages[1].contains("2 / 2") && pages[1].contains("line 79") && pages[0].contains("P1 &lt;&amp;"));
        let pdf = report.pdf().unwrap();
        assert!(pdf.starts_with(b"%PDF-"));
        assert!(String::from_utf8_lossy(&pdf).contains("/Type/Pages/Count 2"));
    }
}
