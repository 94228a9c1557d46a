//! The debris card as a printed sheet: drawn once as SVG in millimetres, then made into PNG or PDF.
//!
//! The block with window, marks and patches is what the camera needs; everything else on the page is for the person
//! who prints it once and for the one who uses it for the first time.

use std::fmt::Write as _;

use gritbook_core::CoreError;
use gritbook_core::ErrorKind;
use gritbook_core::debris::card::{BAR_MM, Card, CardGeometry, GREY_PATCH_SRGB, MARK_MODULES, MarkModules, Paper};
use krilla::page::PageSettings;
use krilla_svg::{SurfaceExt as _, SvgSettings};
use resvg::usvg;

use super::fonts::svg_options;

const INK: &str = "#16181A";
const PENCIL: &str = "#4F5256";
const RULE: &str = "#D9D3C4";

/// Points (1/72 inch) per millimetre.
const POINTS_PER_MM: f64 = 72.0 / 25.4;

/// The card on a sheet of paper.
#[derive(Debug, Clone)]
pub struct CardSheet {
    geometry: CardGeometry,
    svg: String,
}

/// English and Spanish, in the order in which the hand does them.
const STEPS: [[&str; 2]; 5] = [
    [
        "Print at 100 % on white paper, not glossy.|The bar must measure 100 mm.",
        "Imprima al 100 % en papel blanco sin brillo.|La barra debe medir 100 mm.",
    ],
    ["Glue it flat on a board. A bent card|is refused.", "Péguela plana sobre una tabla. Una tarjeta|doblada no sirve."],
    ["Rinse the spoonful until the water|runs clear.", "Enjuague la cucharada hasta que el agua|salga clara."],
    [
        "Spread it in the window, one layer deep.|Grains must not touch.",
        "Extiéndala en la ventana, en una sola capa.|Que los granos no se toquen.",
    ],
    [
        "Shade it with your body. Hold the phone|straight above, all four marks in view.",
        "Hágale sombra con el cuerpo. Teléfono|derecho encima, las cuatro marcas a la vista.",
    ],
];

impl CardSheet {
    /// Draws the card for `paper`; `px_per_mm` is the scale that [`CardSheet::png`] will have.
    ///
    /// # Errors
    /// `bad_dpi` outside 50 to 1200 dots per inch, so that no print is coarser than its marks or larger than memory.
    pub fn draw(paper: Paper, px_per_mm: f64) -> Result<Self, CoreError> {
        let dpi = px_per_mm * 25.4;
        if !(50.0 - 1e-6..=1200.0 + 1e-6).contains(&dpi) {
            return Err(CoreError::refused(
                "bad_dpi",
                format!("{dpi:.0} dots per inch is outside 50 to 1200"),
                "leave it out: 300 suits every printer",
            ));
        }
        let geometry = CardGeometry::on_paper(paper, px_per_mm);
        let svg = svg_of(&geometry)?;
        Ok(Self { geometry, svg })
    }

    /// Where things are on the page.
    pub fn geometry(&self) -> &CardGeometry {
        &self.geometry
    }

    /// The drawing, one user unit a millimetre.
    pub fn svg(&self) -> &str {
        &self.svg
    }

    fn tree(&self) -> Result<usvg::Tree, CoreError> {
        usvg::Tree::from_str(&self.svg, &svg_options()).map_err(|cause| internal("drawing the card failed").because(cause))
    }

    /// A PNG at the geometry's `px_per_mm`, with that scale written into the file so that it prints at true size.
    ///
    /// # Errors
    /// An internal error only.
    pub fn png(&self) -> Result<Vec<u8>, CoreError> {
        let scale = self.geometry.px_per_mm;
        let [width, height] = self.geometry.page_mm.map(|side| (side * scale).round() as u32);
        let mut pixmap = resvg::tiny_skia::Pixmap::new(width, height).ok_or_else(|| internal("the page has no pixels"))?;
        pixmap.fill(resvg::tiny_skia::Color::WHITE);
        let transform = resvg::tiny_skia::Transform::from_scale(scale as f32, scale as f32);
        resvg::render(&self.tree()?, transform, &mut pixmap.as_mut());
        // Opaque everywhere, so premultiplied is plain; nothing on the sheet is coloured enough to need RGB's threefold size, but
        // viewers and test programs treat RGB alike everywhere.
        let rgb: Vec<u8> = pixmap.data().chunks_exact(4).flat_map(|pixel| [pixel[0], pixel[1], pixel[2]]).collect();
        let mut file = Vec::new();
        let mut encoder = png::Encoder::new(&mut file, width, height);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        let per_metre = (scale * 1000.0).round() as u32;
        encoder.set_pixel_dims(Some(png::PixelDimensions { xppu: per_metre, yppu: per_metre, unit: png::Unit::Meter }));
        let written = encoder.write_header().and_then(|mut writer| {
            writer.write_image_data(&rgb)?;
            writer.finish()
        });
        written.map_err(|cause| internal("writing the PNG failed").because(cause))?;
        Ok(file)
    }

    /// A PDF page at true size.
    ///
    /// # Errors
    /// An internal error only.
    pub fn pdf(&self) -> Result<Vec<u8>, CoreError> {
        let tree = self.tree()?;
        let [width, height] = self.geometry.page_mm.map(|side| (side * POINTS_PER_MM) as f32);
        let size = krilla::geom::Size::from_wh(width, height).ok_or_else(|| internal("the page has no size"))?;
        let settings = PageSettings::from_wh(width, height).ok_or_else(|| internal("the page has no size"))?;
        let mut document = krilla::Document::new();
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        let drawn = surface.draw_svg(&tree, size, SvgSettings::default());
        surface.finish();
        page.finish();
        drawn.ok_or_else(|| internal("drawing the card as PDF failed"))?;
        document.finish().map_err(|cause| internal(&format!("writing the PDF failed: {cause:?}")))
    }
}

fn internal(reason: &str) -> CoreError {
    CoreError::new(ErrorKind::Internal, "card_not_drawn", reason, "report this with the program's version")
}

/// A growing SVG with the few shapes that the sheet uses; all lengths in mm.
struct Pen {
    svg: String,
}

impl Pen {
    fn rect(&mut self, [x, y, width, height]: [f64; 4], fill: &str) {
        // Writing into a String cannot fail.
        let _ = write!(self.svg, r#"<rect x="{x:.4}" y="{y:.4}" width="{width:.4}" height="{height:.4}" fill="{fill}"/>"#);
    }

    fn outline(&mut self, [x, y, width, height]: [f64; 4], stroke: f64, color: &str) {
        let (x, y, width, height) = (x - stroke / 2.0, y - stroke / 2.0, width + stroke, height + stroke);
        let _ = write!(
            self.svg,
            r#"<rect x="{x:.4}" y="{y:.4}" width="{width:.4}" height="{height:.4}" fill="none" stroke="{color}" stroke-width="{stroke}"/>"#
        );
    }

    fn text(&mut self, [x, y]: [f64; 2], size: f64, style: &str, words: &str) {
        let _ = write!(self.svg, r#"<text x="{x:.3}" y="{y:.3}" font-size="{size}" {style}>{words}</text>"#);
    }

    /// All dark modules as one path: one path has no seams between neighbours, however it falls on the pixels.
    fn mark(&mut self, [x, y, side, _]: [f64; 4], modules: &MarkModules) {
        let pitch = side / MARK_MODULES as f64;
        let count = MARK_MODULES as i32;
        let mut path = String::new();
        for row in 0..count {
            let mut column = 0;
            while column < count {
                let start = column;
                while modules.is_dark(column, row) {
                    column += 1;
                }
                if column > start {
                    let (left, top, right) = (x + f64::from(start) * pitch, y + f64::from(row) * pitch, x + f64::from(column) * pitch);
                    let _ = write!(path, "M{left:.4} {top:.4}H{right:.4}V{:.4}H{left:.4}Z", top + pitch);
                }
                column += 1;
            }
        }
        let _ = write!(self.svg, r##"<path d="{path}" fill="#000000"/>"##);
    }
}

fn svg_of(geometry: &CardGeometry) -> Result<String, CoreError> {
    let [page_width, page_height] = geometry.page_mm;
    let [left, top, window_width, window_height] = geometry.window_mm;
    let (right, bottom, middle) = (left + window_width, top + window_height, page_width / 2.0);
    let mut pen = Pen { svg: String::new() };
    let _ = write!(
        pen.svg,
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="{page_width}" height="{page_height}" viewBox="0 0 {page_width} {page_height}" font-family="Atkinson Hyperlegible" fill="{INK}">"#
    );
    pen.rect([0.0, 0.0, page_width, page_height], "#FFFFFF");

    let card = Card::new();
    for (mark, rect) in card.marks.iter().zip(&geometry.marks_mm) {
        pen.mark(*rect, &MarkModules::encode(&mark.payload())?);
    }
    let on_page = |rect: [f64; 4]| [rect[0] + left, rect[1] + top, rect[2], rect[3]];
    for patch in card.white_mm {
        pen.outline(on_page(patch), 0.25, PENCIL);
    }
    let grey = format!("rgb({GREY_PATCH_SRGB},{GREY_PATCH_SRGB},{GREY_PATCH_SRGB})");
    for patch in card.grey_mm {
        pen.rect(on_page(patch), &grey);
    }
    window_frame(&mut pen, geometry);

    // Between the marks: what the hand must remember each time, readable from where the phone is held.
    let strip = r#"text-anchor="middle""#;
    let bold = r#"text-anchor="middle" font-weight="bold""#;
    pen.text([middle, top - 15.2], 7.2, bold, "Gritbook");
    pen.text([middle, top - 10.0], 3.7, strip, "debris card · tarjeta de residuos");
    pen.text([middle, bottom + 9.4], 4.6, bold, "One layer, grains apart.");
    pen.text([middle, bottom + 14.8], 4.3, strip, "Una capa, granos separados.");
    pen.text([middle, bottom + 20.6], 3.7, strip, "shade it · con sombra");

    // Where to cut, clear of the quiet zones.
    let (outer_left, outer_top) = (geometry.marks_mm[0][0] - 7.0, geometry.marks_mm[0][1] - 7.0);
    let (outer_right, outer_bottom) = (right + (left - outer_left), bottom + (top - outer_top));
    let _ = write!(
        pen.svg,
        r#"<path d="M{outer_left:.3} {outer_top:.3}H{outer_right:.3}V{outer_bottom:.3}H{outer_left:.3}Z" fill="none" stroke="{PENCIL}" stroke-width="0.2" stroke-dasharray="1.6 1.6"/>"#
    );

    printer_check(&mut pen, middle, outer_bottom + 10.0);
    steps(&mut pen, middle, outer_bottom + 27.0);
    pen.svg.push_str("</svg>");
    Ok(pen.svg)
}

/// Four broken lines 2 mm outside the window show where to spread; they leave the marks' quiet zones and the window white.
fn window_frame(pen: &mut Pen, geometry: &CardGeometry) {
    let [left, top, width, height] = geometry.window_mm;
    let (gap, stroke) = (2.0, 0.35);
    for x in [left - gap - stroke, left + width + gap] {
        pen.rect([x, top + 1.0, stroke, height - 2.0], PENCIL);
    }
    for y in [top - gap - stroke, top + height + gap] {
        pen.rect([left + 1.0, y, width - 2.0, stroke], PENCIL);
    }
}

/// The 100 mm bar, outer ends to outer ends, with a tick each 10 mm.
fn printer_check(pen: &mut Pen, middle: f64, y: f64) {
    let start = middle - BAR_MM / 2.0;
    pen.rect([start, y, BAR_MM, 0.5], INK);
    for tick in 0..=10 {
        let at = f64::from(tick) * BAR_MM / 10.0;
        let (width, height) = if tick % 10 == 0 { (0.5, 5.0) } else { (0.25, 2.5) };
        // The end ticks lie inside the length, so that outer edge to outer edge is 100 mm.
        let x = (start + at - width / 2.0).clamp(start, start + BAR_MM - width);
        pen.rect([x, y - height + 0.5, width, height], INK);
    }
    let style = r#"text-anchor="middle""#;
    pen.text([middle, y + 6.0], 4.2, style, "100 mm (3.94 in) from end to end · de punta a punta");
}

fn steps(pen: &mut Pen, middle: f64, top: f64) {
    let (size, leading, gap) = (3.9, 4.9, 3.0);
    let columns = [middle - 87.0, middle + 3.0];
    let heading = r#"font-weight="bold""#;
    let _ = write!(pen.svg, r#"<rect x="{:.3}" y="{:.3}" width="174" height="0.2" fill="{RULE}"/>"#, columns[0], top - 7.0);
    let mut y = top;
    for (number, step) in STEPS.iter().enumerate() {
        for (column, words) in columns.iter().zip(step) {
            pen.text([*column, y], size * 1.25, heading, &(number + 1).to_string());
            for (line, part) in words.split('|').enumerate() {
                pen.text([column + 6.0, y + line as f64 * leading], size, "", part);
            }
        }
        y += 2.0 * leading + gap;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// First and last dark column (or row) edge along a line of the raster, in mm, by half-level interpolation.
    fn dark_span(values: &[f64], px_per_mm: f64) -> [f64; 2] {
        let crossing = |a: usize| (a as f64 + 0.5 + (values[a] - 127.5) / (values[a] - values[a + 1])) / px_per_mm;
        let edges: Vec<f64> = (0..values.len() - 1).filter(|i| (values[*i] >= 127.5) != (values[i + 1] >= 127.5)).map(crossing).collect();
        [edges[0], edges[edges.len() - 1]]
    }

    #[test]
    fn raster_puts_mark_edges_where_the_geometry_says() {
        for (paper, dpi) in [(Paper::A4, 300.0), (Paper::Letter, 200.0)] {
            let sheet = CardSheet::draw(paper, dpi / 25.4).unwrap();
            let picture = image::load_from_memory(&sheet.png().unwrap()).unwrap().to_luma8();
            let geometry = sheet.geometry();
            let scale = geometry.px_per_mm;
            for mark in &geometry.marks_mm {
                // Row and column through the finder patterns' middle: both ends of each are dark there.
                let middle = |start: f64| ((start + 3.5 * mark[2] / 25.0) * scale) as u32;
                let window = |start: f64| ((start - 3.0) * scale) as u32..((start + 23.0) * scale) as u32;
                for (from, line) in [
                    (window(mark[0]), window(mark[0]).map(|x| f64::from(picture.get_pixel(x, middle(mark[1])).0[0])).collect::<Vec<_>>()),
                    (window(mark[1]), window(mark[1]).map(|y| f64::from(picture.get_pixel(middle(mark[0]), y).0[0])).collect::<Vec<_>>()),
                ] {
                    let start = if from == window(mark[0]) { mark[0] } else { mark[1] };
                    let span = dark_span(&line, scale).map(|mm| mm + f64::from(from.start) / scale);
                    assert!((span[0] - start).abs() < 0.02 && (span[1] - start - 20.0).abs() < 0.02, "{span:?} against {start}");
                }
            }
        }
    }

    #[test]
    fn window_and_a_margin_of_1_5_mm_stay_white() {
        let sheet = CardSheet::draw(Paper::A4, 300.0 / 25.4).unwrap();
        let picture = image::load_from_memory(&sheet.png().unwrap()).unwrap().to_luma8();
        let [x, y, width, height] = sheet.geometry().window_mm;
        let scale = sheet.geometry().px_per_mm;
        let range = |start: f64, length: f64| ((start - 1.5) * scale).ceil() as u32..((start + length + 1.5) * scale) as u32;
        for row in range(y, height) {
            assert!(range(x, width).all(|column| picture.get_pixel(column, row).0[0] == 255), "row {row}");
        }
    }

    #[test]
    fn quiet_zones_of_all_marks_stay_white() {
        let sheet = CardSheet::draw(Paper::A4, 300.0 / 25.4).unwrap();
        let picture = image::load_from_memory(&sheet.png().unwrap()).unwrap().to_luma8();
        let scale = sheet.geometry().px_per_mm;
        for mark in &sheet.geometry().marks_mm {
            let (outer, inner) = (3.2, 0.1);
            let inside = |at: f64, start: f64, grow: f64| at > start - grow && at < start + 20.0 + grow;
            for (column, row, pixel) in picture.enumerate_pixels() {
                let (x, y) = ((f64::from(column) + 0.5) / scale, (f64::from(row) + 0.5) / scale);
                let quiet = inside(x, mark[0], outer) && inside(y, mark[1], outer);
                if quiet && !(inside(x, mark[0], inner) && inside(y, mark[1], inner)) {
                    assert_eq!(pixel.0[0], 255, "at {x:.1}, {y:.1} mm");
                }
            }
        }
    }

    #[test]
    fn page_has_its_true_size_in_png_and_pdf() {
        let sheet = CardSheet::draw(Paper::Letter, 100.0 / 25.4).unwrap();
        let picture = image::load_from_memory(&sheet.png().unwrap()).unwrap();
        assert_eq!((picture.width(), picture.height()), (850, 1100));
        let pdf = sheet.pdf().unwrap();
        assert!(pdf.starts_with(b"%PDF-"));
        let text = String::from_utf8_lossy(&pdf);
        assert!(text.contains("/MediaBox [0 0 612 792]") || text.contains("/MediaBox[0 0 612 792]"), "letter is 612 x 792 points");
    }

    #[test]
    fn dots_per_inch_out_of_range_is_refused() {
        for dpi in [10.0, 5000.0, f64::NAN] {
            assert_eq!(CardSheet::draw(Paper::A4, dpi / 25.4).unwrap_err().code(), "bad_dpi");
        }
    }
}
