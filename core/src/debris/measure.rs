//! Measures of one grain's pixels: area, diameters, perimeter, shape, outline.
//!
//! A [`Mask`] holds one grain in its bounding box with one empty pixel all round. Pixels are unit squares: the convex hull,
//! the Feret diameters and the outline go through pixel corners, areas count squares.

/// One grain (or any patch) as pixels in its padded bounding box.
#[derive(Debug, Clone, PartialEq)]
pub struct Mask {
    /// Column of the box's first pixel in the window; may be -1 because of the padding.
    pub left: i32,
    /// Row of the box's first pixel in the window; may be -1.
    pub top: i32,
    /// Columns, padding included.
    pub width: usize,
    /// Rows, padding included.
    pub height: usize,
    /// 1 inside, 0 outside, row by row; the outermost ring is 0.
    pub inside: Vec<u8>,
}

/// What is measured on a [`Mask`]; lengths in pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shape {
    /// Pixels inside.
    pub area: f64,
    /// Centroid, window coordinates, pixel centres at half-integers.
    pub centroid: [f64; 2],
    /// Diameter of the circle of equal area (ISO 9276-6).
    pub ecd: f64,
    /// Smallest distance between two parallel tangents.
    pub feret_min: f64,
    /// Largest distance between two parallel tangents.
    pub feret_max: f64,
    /// Width and height of the upright box.
    pub box_size: [f64; 2],
    /// Perimeter by the Cauchy-Crofton formula in eight directions.
    pub perimeter: f64,
    /// sqrt(4 pi A / P^2) (ISO 9276-6: form from memory), at most 1.
    pub circularity: f64,
    /// Pixels inside over the pixels whose centres lie in the convex hull of all centres; 1 for any digitally convex patch.
    pub solidity: f64,
}

impl Mask {
    /// Sets to 1 what lies under the mask in a picture of rows of `width` pixels that holds it.
    pub(crate) fn paint(&self, picture: &mut [u8], width: usize) {
        self.places(width).for_each(|(_, at)| picture[at] = 1);
    }

    /// An empty mask for the box from column `left` and row `top`, `width` x `height` without its padding.
    pub fn empty(left: i32, top: i32, width: usize, height: usize) -> Self {
        let (width, height) = (width + 2, height + 2);
        Self { left: left - 1, top: top - 1, width, height, inside: vec![0; width * height] }
    }

    /// Its pixels: where in the mask, and where in a picture of rows of `width` pixels that holds it.
    pub(crate) fn places(&self, width: usize) -> impl Iterator<Item = (usize, usize)> + '_ {
        let inside = self.inside.iter().enumerate().filter(|(_, inside)| **inside != 0);
        inside.map(move |(index, _)| {
            let (x, y) = (self.left + (index % self.width) as i32, self.top + (index / self.width) as i32);
            (index, y as usize * width + x as usize)
        })
    }

    /// Pixels inside.
    pub fn area(&self) -> usize {
        self.inside.iter().map(|value| usize::from(*value)).sum()
    }

    /// Corners of the convex hull of the pixel squares, counter-clockwise in a right-handed frame, window coordinates.
    pub fn hull(&self) -> Vec<[f64; 2]> {
        let mut corners = Vec::with_capacity(4 * self.height);
        for row in 1..self.height - 1 {
            let line = &self.inside[row * self.width..(row + 1) * self.width];
            let Some(first) = line.iter().position(|value| *value != 0) else { continue };
            let last = line.iter().rposition(|value| *value != 0).unwrap_or(first);
            let (x0, x1) = (f64::from(self.left) + first as f64, f64::from(self.left) + last as f64 + 1.0);
            let y = f64::from(self.top) + row as f64;
            corners.extend([[x0, y], [x1, y], [x0, y + 1.0], [x1, y + 1.0]]);
        }
        convex_hull(corners)
    }

    /// Pixels whose centres lie in the convex hull of all pixel centres, by Pick's theorem: A + B / 2 + 1.
    ///
    /// Unlike the area of the hull through pixel corners this does not grow with the boundary's staircase, which would
    /// make every small disc look hollow.
    pub fn convex_area(&self) -> f64 {
        let mut centres = Vec::with_capacity(2 * self.height);
        for (row, line) in self.inside.chunks_exact(self.width).enumerate() {
            let Some(first) = line.iter().position(|value| *value != 0) else { continue };
            let last = line.iter().rposition(|value| *value != 0).unwrap_or(first);
            centres.extend([[first as f64, row as f64], [last as f64, row as f64]]);
        }
        let hull = convex_hull(centres);
        let on_edges: u64 = (0..hull.len())
            .map(|index| {
                let (a, b) = (hull[index], hull[(index + 1) % hull.len()]);
                greatest_common_divisor((a[0] - b[0]).abs() as u64, (a[1] - b[1]).abs() as u64)
            })
            .sum();
        match hull.len() {
            0 => 0.0,
            1 => 1.0,
            _ => polygon_area(&hull) + on_edges as f64 / 2.0 + 1.0,
        }
    }

    /// Fills the convex hull of the pixel centres.
    pub fn fill_hull(&mut self) {
        let mut centres = Vec::new();
        for (row, line) in self.inside.chunks_exact(self.width).enumerate() {
            let Some(first) = line.iter().position(|value| *value != 0) else { continue };
            let last = line.iter().rposition(|value| *value != 0).unwrap_or(first);
            centres.extend([[first as f64, row as f64], [last as f64, row as f64]]);
        }
        let hull = convex_hull(centres);
        for row in 1..self.height - 1 {
            let y = row as f64;
            let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
            for (index, a) in hull.iter().enumerate() {
                let b = hull[(index + 1) % hull.len()];
                if (a[1] - y) * (b[1] - y) <= 0.0 {
                    let xs = if a[1] == b[1] { [a[0], b[0]] } else { [a[0] + (b[0] - a[0]) * (y - a[1]) / (b[1] - a[1]); 2] };
                    low = low.min(xs[0]).min(xs[1]);
                    high = high.max(xs[0]).max(xs[1]);
                }
            }
            if low <= high {
                // Rounding of a crossing must not lose the pixel that made it.
                let (first, last) = ((low - 1e-9).ceil() as usize, (high + 1e-9).floor() as usize);
                self.inside[row * self.width + first..=row * self.width + last].fill(1);
            }
        }
    }

    /// Measures the mask; `None` where it is empty.
    pub fn shape(&self) -> Option<Shape> {
        let (mut area, mut sum_x, mut sum_y) = (0_u64, 0_u64, 0_u64);
        for (row, line) in self.inside.chunks_exact(self.width).enumerate() {
            for (column, value) in line.iter().enumerate() {
                if *value != 0 {
                    area += 1;
                    sum_x += column as u64;
                    sum_y += row as u64;
                }
            }
        }
        if area == 0 {
            return None;
        }
        let pixels = area as f64;
        let hull = self.hull();
        let (feret_min, feret_max) = feret(&hull);
        let (low, high) = bounds(&hull);
        let perimeter = self.perimeter();
        Some(Shape {
            area: pixels,
            centroid: [f64::from(self.left) + sum_x as f64 / pixels + 0.5, f64::from(self.top) + sum_y as f64 / pixels + 0.5],
            ecd: (4.0 * pixels / std::f64::consts::PI).sqrt(),
            feret_min,
            feret_max,
            box_size: [high[0] - low[0], high[1] - low[1]],
            perimeter,
            circularity: ((4.0 * std::f64::consts::PI * pixels).sqrt() / perimeter).min(1.0),
            solidity: pixels / self.convex_area(),
        })
    }

    /// Perimeter by Cauchy-Crofton: for a curve, pi times the mean over directions of its projected length (counted once
    /// for each crossing, halved). Crossings are counted along the rows, columns, diagonals and knight's moves of the raster.
    pub fn perimeter(&self) -> f64 {
        // Direction and its share of the half turn: half the angle to either neighbour, over pi.
        let knight = 0.5_f64.atan();
        let diagonal = std::f64::consts::FRAC_PI_4;
        let axis_share = knight / std::f64::consts::PI;
        let diagonal_share = (diagonal - knight) / std::f64::consts::PI;
        let knight_share = (axis_share + diagonal_share) / 2.0;
        let moves: [(i32, i32, f64); 8] = [
            (1, 0, axis_share),
            (0, 1, axis_share),
            (1, 1, diagonal_share),
            (-1, 1, diagonal_share),
            (2, 1, knight_share),
            (1, 2, knight_share),
            (-1, 2, knight_share),
            (-2, 1, knight_share),
        ];
        let (width, height) = (self.width as i32, self.height as i32);
        let at = |x: i32, y: i32| {
            if x < 0 || y < 0 || x >= width || y >= height { 0 } else { self.inside[(y * width + x) as usize] }
        };
        let mut counts = [0_u64; 8];
        for y in -2..height {
            for x in -2..width + 2 {
                let here = at(x, y);
                for (count, (dx, dy, _)) in counts.iter_mut().zip(moves) {
                    *count += u64::from(here != at(x + dx, y + dy));
                }
            }
        }
        let mean: f64 =
            moves.iter().zip(counts).map(|((dx, dy, share), count)| share * count as f64 / f64::from(dx * dx + dy * dy).sqrt()).sum();
        std::f64::consts::PI / 2.0 * mean
    }

    /// The outer outline through pixel corners, clockwise on the screen, straight runs merged, window coordinates.
    ///
    /// Patches that meet at a corner only belong together (8-connected). Holes are not followed.
    pub fn outline(&self) -> Vec<[f64; 2]> {
        let Some(start) = self.inside.iter().position(|value| *value != 0) else { return Vec::new() };
        let (start_x, start_y) = ((start % self.width) as i32, (start / self.width) as i32);
        let width = self.width as i32;
        let is_in = |x: i32, y: i32| x >= 0 && y >= 0 && x < width && y < self.height as i32 && self.inside[(y * width + x) as usize] != 0;
        // Walk along the corner grid with the inside on the right hand; headings: 0 right, 1 down, 2 left, 3 up.
        let (mut x, mut y, mut heading) = (start_x, start_y, 0_usize);
        let steps = [(1, 0), (0, 1), (-1, 0), (0, -1)];
        // Pixels ahead of a corner at each heading: left-hand one, right-hand one.
        let ahead = [((0, -1), (0, 0)), ((0, 0), (-1, 0)), ((-1, 0), (-1, -1)), ((-1, -1), (0, -1))];
        let mut points = Vec::new();
        let mut last_heading = 4;
        loop {
            if heading != last_heading {
                points.push([f64::from(self.left + x), f64::from(self.top + y)]);
                last_heading = heading;
            }
            x += steps[heading].0;
            y += steps[heading].1;
            let ((lx, ly), (rx, ry)) = ahead[heading];
            heading = if is_in(x + lx, y + ly) {
                (heading + 3) % 4
            } else if is_in(x + rx, y + ry) {
                heading
            } else {
                (heading + 1) % 4
            };
            if (x, y) == (start_x, start_y) && heading == 0 {
                return points;
            }
        }
    }
}

/// Area of a simple polygon (shoelace), square of the points' unit.
pub fn polygon_area(points: &[[f64; 2]]) -> f64 {
    let mut twice = 0.0;
    for (index, point) in points.iter().enumerate() {
        let next = points[(index + 1) % points.len()];
        twice += point[0] * next[1] - next[0] * point[1];
    }
    twice.abs() / 2.0
}

/// Convex hull by Andrew's monotone chain; points on an edge are left out.
pub fn convex_hull(mut points: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    points.dedup();
    if points.len() < 3 {
        return points;
    }
    let cross = |o: [f64; 2], a: [f64; 2], b: [f64; 2]| (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0]);
    let mut hull: Vec<[f64; 2]> = Vec::with_capacity(points.len());
    for pass in 0..2 {
        let floor = hull.len();
        let mut add = |point: [f64; 2]| {
            while hull.len() >= floor + 2 && cross(hull[hull.len() - 2], hull[hull.len() - 1], point) <= 0.0 {
                hull.pop();
            }
            hull.push(point);
        };
        if pass == 0 {
            points.iter().for_each(|point| add(*point));
        } else {
            points.iter().rev().for_each(|point| add(*point));
        }
        hull.pop();
    }
    hull
}

/// Smallest and largest Feret diameter of a convex polygon, by rotating calipers.
pub fn feret(hull: &[[f64; 2]]) -> (f64, f64) {
    let n = hull.len();
    let distance = |a: [f64; 2], b: [f64; 2]| ((a[0] - b[0]) * (a[0] - b[0]) + (a[1] - b[1]) * (a[1] - b[1])).sqrt();
    if n < 3 {
        let length = if n == 2 { distance(hull[0], hull[1]) } else { 0.0 };
        return (0.0, length);
    }
    let (mut smallest, mut largest) = (f64::INFINITY, 0.0_f64);
    let mut far = 1;
    for i in 0..n {
        let (a, b) = (hull[i], hull[(i + 1) % n]);
        let edge = distance(a, b);
        let height = |p: [f64; 2]| ((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])).abs() / edge;
        while height(hull[(far + 1) % n]) > height(hull[far]) {
            far = (far + 1) % n;
        }
        smallest = smallest.min(height(hull[far]));
        // Antipodal pairs of this edge; the neighbour covers an edge parallel to it.
        for p in [hull[far], hull[(far + 1) % n]] {
            largest = largest.max(distance(a, p)).max(distance(b, p));
        }
    }
    (smallest, largest)
}

fn greatest_common_divisor(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { greatest_common_divisor(b, a % b) }
}

fn bounds(points: &[[f64; 2]]) -> ([f64; 2], [f64; 2]) {
    points.iter().fold(([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]), |(low, high), p| {
        ([low[0].min(p[0]), low[1].min(p[1])], [high[0].max(p[0]), high[1].max(p[1])])
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn mask_of(width: usize, height: usize, inside: impl Fn(f64, f64) -> bool) -> Mask {
        let mut mask = Mask::empty(0, 0, width, height);
        for y in 0..height {
            for x in 0..width {
                mask.inside[(y + 1) * mask.width + x + 1] = u8::from(inside(x as f64 + 0.5, y as f64 + 0.5));
            }
        }
        mask
    }

    /// Pixels with x^2 + y^2 <= r^2, centred on a pixel.
    fn disc(r: i32) -> Mask {
        let middle = f64::from(r) + 0.5;
        let side = 2 * r as usize + 1;
        mask_of(side, side, |x, y| (x - middle) * (x - middle) + (y - middle) * (y - middle) <= f64::from(r * r))
    }

    // Gauss's circle problem: lattice points in a disc, computed exactly.
    #[test]
    fn digital_disc_has_the_known_pixels_and_diameter() {
        let table = [
            (1, 5, 2.52313),
            (2, 13, 4.06843),
            (3, 29, 6.07651),
            (4, 49, 7.89865),
            (5, 81, 10.15541),
            (10, 317, 20.09022),
            (20, 1257, 40.00578),
            (50, 7845, 99.94280),
            (100, 31417, 200.00342),
            (200, 125_629, 399.94476),
        ];
        for (r, pixels, diameter) in table {
            let shape = disc(r).shape().unwrap();
            assert_eq!(shape.area, f64::from(pixels), "r {r}");
            assert!((shape.ecd - diameter).abs() < 5e-5, "r {r}: {}", shape.ecd);
        }
    }

    #[test]
    fn digital_disc_is_nearly_a_circle_at_every_size() {
        for r in [4, 5, 8, 10, 20, 50, 100] {
            let shape = disc(r).shape().unwrap();
            assert!(shape.circularity > 0.955, "r {r}: {shape:?}");
            assert!((shape.perimeter / (std::f64::consts::PI * shape.ecd) - 1.0).abs() < 0.045, "r {r}: {shape:?}");
            assert_eq!(shape.solidity, 1.0, "r {r}");
            assert!(shape.feret_max - shape.feret_min <= 0.1 * shape.ecd + 1.0, "r {r}: {shape:?}");
        }
    }

    // A rectangle of 30 x 20 squares: box 30 x 20, diagonal sqrt(1300), solid; perimeter 100, so that the circularity is
    // sqrt(4 pi 600) / 100 = 0.868.
    #[test]
    fn rectangle_has_the_measures_worked_by_hand() {
        let shape = mask_of(30, 20, |_, _| true).shape().unwrap();
        assert_eq!((shape.area, shape.feret_min, shape.solidity), (600.0, 20.0, 1.0));
        assert!((shape.feret_max - 1300.0_f64.sqrt()).abs() < 1e-12);
        assert_eq!(shape.box_size, [30.0, 20.0]);
        assert_eq!(shape.centroid, [15.0, 10.0]);
        // Eight directions leave 3 to 4 % on straight upright edges, the worst case.
        assert!((shape.perimeter - 100.0).abs() < 4.0, "{}", shape.perimeter);
        assert!((shape.circularity - 0.868).abs() < 0.035, "{}", shape.circularity);
    }

    // An L of 10 x 10 with a 5 x 5 corner missing: 75 pixels; of the notch, the centres on or under the diagonal from its
    // one end to the other belong to the hull: 4 + 3 + 2 + 1.
    #[test]
    fn notched_square_has_the_solidity_worked_by_hand() {
        let shape = mask_of(10, 10, |x, y| x < 5.0 || y < 5.0).shape().unwrap();
        assert!((shape.solidity - 75.0 / 85.0).abs() < 1e-12, "{}", shape.solidity);
        assert!((shape.feret_max - 200.0_f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn outline_of_a_filled_patch_encloses_exactly_its_pixels() {
        for mask in [disc(7), mask_of(10, 10, |x, y| x < 5.0 || y < 5.0), mask_of(1, 1, |_, _| true)] {
            assert_eq!(polygon_area(&mask.outline()), mask.area() as f64);
        }
        assert_eq!(mask_of(3, 2, |_, _| true).outline(), [[0.0, 0.0], [3.0, 0.0], [3.0, 2.0], [0.0, 2.0]]);
    }

    #[test]
    fn filled_hull_holds_exactly_the_convex_area() {
        for mut mask in [disc(7), mask_of(10, 10, |x, y| x < 5.0 || y < 5.0), mask_of(12, 9, |x, y| x < 2.0 || y > 7.0 || x * y > 80.0)] {
            let want = mask.convex_area();
            mask.fill_hull();
            assert_eq!(mask.area() as f64, want);
            assert_eq!(mask.convex_area(), want);
        }
    }

    #[test]
    fn empty_mask_has_no_shape_and_no_outline() {
        assert!(Mask::empty(3, 4, 5, 6).shape().is_none());
        assert!(Mask::empty(3, 4, 5, 6).outline().is_empty());
    }

    proptest! {
        #[test]
        fn prop_feret_diameters_agree_with_a_search_over_all_pairs_and_edges(
            points in proptest::collection::vec((0_i32..40, 0_i32..40), 3..30)
        ) {
            let hull = convex_hull(points.iter().map(|(x, y)| [f64::from(*x), f64::from(*y)]).collect());
            prop_assume!(hull.len() >= 3);
            let (smallest, largest) = feret(&hull);
            let n = hull.len();
            let (mut want_largest, mut want_smallest) = (0.0_f64, f64::INFINITY);
            for i in 0..n {
                let (a, b) = (hull[i], hull[(i + 1) % n]);
                let edge = (b[0] - a[0]).hypot(b[1] - a[1]);
                let widest = hull.iter().map(|p| ((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])).abs() / edge);
                want_smallest = want_smallest.min(widest.fold(0.0, f64::max));
                for p in &hull {
                    want_largest = want_largest.max((a[0] - p[0]).hypot(a[1] - p[1]));
                }
            }
            prop_assert!((smallest - want_smallest).abs() < 1e-9 && (largest - want_largest).abs() < 1e-9);
        }

        #[test]
        fn prop_ellipse_is_measured_within_a_pixel_at_any_turn(a in 10.0_f64..30.0, flat in 0.5_f64..1.0, turn in 0.0_f64..3.2) {
            let b = a * flat;
            let side = (2.0 * a).ceil() as usize + 4;
            let middle = side as f64 / 2.0;
            let (sin, cos) = turn.sin_cos();
            let mask = mask_of(side, side, |x, y| {
                let (x, y) = (x - middle, y - middle);
                let (u, v) = ((x * cos + y * sin) / a, (y * cos - x * sin) / b);
                u * u + v * v <= 1.0
            });
            let shape = mask.shape().unwrap();
            prop_assert!((shape.ecd / (2.0 * (a * b).sqrt()) - 1.0).abs() < 0.03, "{:?}", shape);
            prop_assert!((shape.feret_max - 2.0 * a).abs() < 1.5 && (shape.feret_min - 2.0 * b).abs() < 1.5, "{:?}", shape);
            prop_assert!(shape.solidity > 0.97 && shape.solidity <= 1.0);
        }
    }
}
