//! The grains of a reading drawn over its own photo, as the entry has them.

use std::fmt::Write as _;

use gritbook_core::debris::reading::{Grain, GrainKind, Reading};

use super::super::shown::Shown;

/// More grains than these change nothing that an eye sees.
const MOST_GRAINS: usize = 4000;
/// Room left around the window, share of its longer side.
const ROOM: f64 = 0.03;

/// The part of the oriented photo around the window: x, y, width, height, px. None where the reading names no place in the photo.
pub(super) fn part(reading: &Reading) -> Option<[u32; 4]> {
    let (width, height) = (f64::from(reading.photo.width_px), f64::from(reading.photo.height_px));
    let corners = reading.scale.window_corners_px;
    let ends = |axis: usize| {
        let of = corners.iter().map(|corner| corner[axis]);
        (of.clone().fold(f64::INFINITY, f64::min), of.fold(f64::NEG_INFINITY, f64::max))
    };
    let ((left, right), (top, bottom)) = (ends(0), ends(1));
    let room = (right - left).max(bottom - top) * ROOM;
    let (left, top) = ((left - room).max(0.0).floor(), (top - room).max(0.0).floor());
    let (right, bottom) = ((right + room).min(width).ceil(), (bottom + room).min(height).ceil());
    let sane = right - left >= 16.0 && bottom - top >= 16.0;
    sane.then_some([left as u32, top as u32, (right - left) as u32, (bottom - top) as u32])
}

/// The map from the window, mm, to the photo, px: a projective map that takes the window's corners to theirs in the photo.
struct Map {
    a: [f64; 8],
}

impl Map {
    /// Unit square to quadrilateral (Heckbert, Fundamentals of Texture Mapping and Image Warping, 1989, 2.2.3), in mm.
    fn of(corners: [[f64; 2]; 4], [width, height]: [f64; 2]) -> Option<Self> {
        let [[x0, y0], [x1, y1], [x2, y2], [x3, y3]] = corners;
        let (dx1, dx2, sx) = (x1 - x2, x3 - x2, x0 - x1 + x2 - x3);
        let (dy1, dy2, sy) = (y1 - y2, y3 - y2, y0 - y1 + y2 - y3);
        let by = dx1 * dy2 - dx2 * dy1;
        if by.abs() < 1e-9 || width <= 0.0 || height <= 0.0 {
            return None;
        }
        let (g, h) = ((sx * dy2 - dx2 * sy) / by, (dx1 * sy - sx * dy1) / by);
        let unit = [x1 - x0 + g * x1, x3 - x0 + h * x3, x0, y1 - y0 + g * y1, y3 - y0 + h * y3, y0, g, h];
        let [a, b, c, d, e, f, g, h] = unit;
        Some(Self { a: [a / width, b / height, c, d / width, e / height, f, g / width, h / height] })
    }

    fn at(&self, x: f64, y: f64) -> [f64; 2] {
        let [a, b, c, d, e, f, g, h] = self.a;
        let w = g * x + h * y + 1.0;
        [(a * x + b * y + c) / w, (d * x + e * y + f) / w]
    }

    /// The circle of a grain's area in the photo: x, y, radius. None where the map is none.
    fn circle(&self, grain: &Grain) -> Option<[f64; 3]> {
        let [x, y] = self.at(grain.x_mm, grain.y_mm);
        let radius = grain.ecd_mm / 2.0;
        // The scale where the grain lies: a tilted photo has another one at each place.
        let [across, along] = [self.at(grain.x_mm + radius, grain.y_mm), self.at(grain.x_mm, grain.y_mm + radius)];
        let reach = ((across[0] - x).hypot(across[1] - y) * (along[0] - x).hypot(along[1] - y)).sqrt();
        reach.is_finite().then_some([x, y, reach])
    }
}

/// Inline SVG: the photo's part at `address`, the window's frame, and each grain as the circle of its area.
pub(super) fn drawing(reading: &Reading, address: &str, shown: Shown) -> Option<String> {
    let [left, top, width, height] = part(reading)?;
    let map = Map::of(reading.scale.window_corners_px, reading.scale.window_mm)?;
    let line = f64::from(width.max(height)) / 400.0;
    let count = reading.grains.len();
    let title = shown.pick(
        format!("The photo of the window with its {count} grains, each as a circle of its area"),
        format!("La foto de la ventana con sus {count} granos, cada uno como círculo de su área"),
    );
    let mut svg = format!(
        "<svg class=\"over\" viewBox=\"{left} {top} {width} {height}\" role=\"img\"><title>{title}</title>\
         <image href=\"{address}\" x=\"{left}\" y=\"{top}\" width=\"{width}\" height=\"{height}\" preserveAspectRatio=\"none\"/>"
    );
    let frame: Vec<String> = reading.scale.window_corners_px.iter().map(|[x, y]| format!("{x:.1} {y:.1}")).collect();
    // Writing to a string cannot fail.
    let _ = write!(svg, "<path class=\"frame\" d=\"M{}Z\" stroke-width=\"{line:.1}\"/>", frame.join("L"));
    for (class, thick) in [("halo", 2.2 * line), ("grain", 1.1 * line)] {
        let _ = write!(svg, "<g class=\"{class}\" stroke-width=\"{thick:.1}\">");
        for grain in reading.grains.iter().take(MOST_GRAINS) {
            let Some([x, y, reach]) = map.circle(grain) else { continue };
            let cut = if grain.cut { " class=\"cut\"" } else { "" };
            let _ = write!(svg, "<circle{cut} cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{reach:.1}\"/>");
            if grain.kind == GrainKind::Lump {
                let _ = write!(svg, "<circle{cut} cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{:.1}\"/>", reach + 3.0 * line);
            }
        }
        svg.push_str("</g>");
    }
    let size = 15.0 * line;
    for grain in reading.grains.iter().filter(|grain| grain.may_be_lump) {
        let Some([x, y, reach]) = map.circle(grain) else { continue };
        let [x, base] = beside([x, y, reach], size, [left, top, width].map(f64::from));
        let word = shown.pick("a lump?", "¿grumo?");
        let _ = write!(
            svg,
            "<text x=\"{x:.1}\" y=\"{base:.1}\" text-anchor=\"middle\" font-size=\"{size:.1}\" stroke-width=\"{:.1}\">{word}</text>",
            0.25 * size
        );
    }
    svg.push_str("</svg>");
    Some(svg)
}

/// Where the foot of a word beside a circle stands, px: above it, or below where the picture ends; never over the picture's sides.
fn beside([x, y, reach]: [f64; 3], size: f64, [left, top, width]: [f64; 3]) -> [f64; 2] {
    let over = y - reach - 0.35 * size;
    let base = if over - size > top { over } else { y + reach + 1.1 * size };
    let half = 2.2 * size;
    [x.max(left + half).min(left + width - half), base]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn word_stands_above_its_stone_below_at_the_top_and_inside_at_the_sides() {
        let part = [100.0, 50.0, 400.0];
        assert_eq!(beside([300.0, 200.0, 10.0], 20.0, part), [300.0, 183.0]);
        assert_eq!(beside([300.0, 60.0, 10.0], 20.0, part), [300.0, 92.0]);
        assert_eq!(beside([102.0, 200.0, 10.0], 20.0, part)[0], 144.0);
        assert_eq!(beside([499.0, 200.0, 10.0], 20.0, part)[0], 456.0);
    }

    #[test]
    fn corners_go_to_corners_and_a_tilted_middle_leans_to_the_far_side() {
        let corners = [[100.0, 100.0], [500.0, 120.0], [460.0, 420.0], [130.0, 400.0]];
        let map = Map::of(corners, [60.0, 40.0]).unwrap();
        for ([x, y], corner) in [[0.0, 0.0], [60.0, 0.0], [60.0, 40.0], [0.0, 40.0]].into_iter().zip(corners) {
            let [u, v] = map.at(x, y);
            assert!((u - corner[0]).abs() < 1e-9 && (v - corner[1]).abs() < 1e-9, "{u} {v}");
        }
        // The middle is where the diagonals cross.
        let [u, v] = map.at(30.0, 20.0);
        let t = |p: [f64; 2], q: [f64; 2]| (q[0] - p[0]) * (v - p[1]) - (q[1] - p[1]) * (u - p[0]);
        assert!(t(corners[0], corners[2]).abs() < 1e-6 && t(corners[1], corners[3]).abs() < 1e-6);
        assert!(Map::of([[0.0, 0.0]; 4], [60.0, 40.0]).is_none());
    }
}
