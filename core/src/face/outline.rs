//! Outlines as polygons: what makes one usable, which pixels it holds, and how to say it with fewer points.

use crate::error::CoreError;

/// Most corners of an outline drawn by hand.
const MOST_CORNERS: usize = 2000;

/// Refuses an outline that encloses nothing definite.
///
/// # Errors
/// `bad_outline` (fewer than 3 corners, too many, not numbers), `outline_outside` (a corner outside the photo), `outline_crosses`.
pub(crate) fn check_outline(outline: &[[f64; 2]], photo_px: [u32; 2]) -> Result<(), CoreError> {
    let usable = (3..=MOST_CORNERS).contains(&outline.len()) && outline.iter().flatten().all(|value| value.is_finite());
    if !usable {
        let reason = format!("an outline of {} corners encloses nothing", outline.len());
        return Err(CoreError::refused("bad_outline", reason, "tap at least three corners around the surface, as x,y pairs in pixels"));
    }
    let [width, height] = photo_px.map(f64::from);
    if let Some([x, y]) = outline.iter().find(|[x, y]| !((0.0..=width).contains(x) && (0.0..=height).contains(y))) {
        let reason = format!("the outline's corner {x}, {y} lies outside the photo of {width} x {height} px");
        return Err(CoreError::refused("outline_outside", reason, "keep the outline inside the upright photo"));
    }
    if let Some((one, other)) = crossing(outline) {
        let reason = format!("the outline crosses itself: the side after corner {} and the side after corner {}", one + 1, other + 1);
        return Err(CoreError::refused("outline_crosses", reason, "go round the surface once, corner after corner"));
    }
    Ok(())
}

/// The first two sides that cross or touch without being neighbours.
fn crossing(outline: &[[f64; 2]]) -> Option<(usize, usize)> {
    let count = outline.len();
    let side = |index: usize| (outline[index], outline[(index + 1) % count]);
    for one in 0..count {
        for other in one + 1..count {
            let neighbours = other == one + 1 || (one == 0 && other == count - 1);
            if !neighbours && meet(side(one), side(other)) {
                return Some((one, other));
            }
        }
    }
    None
}

fn meet((a, b): ([f64; 2], [f64; 2]), (c, d): ([f64; 2], [f64; 2])) -> bool {
    let side = |o: [f64; 2], p: [f64; 2], q: [f64; 2]| (p[0] - o[0]) * (q[1] - o[1]) - (p[1] - o[1]) * (q[0] - o[0]);
    let within =
        |o: [f64; 2], p: [f64; 2], q: [f64; 2]| (0..2).all(|axis| q[axis] >= o[axis].min(p[axis]) && q[axis] <= o[axis].max(p[axis]));
    let (c_side, d_side, a_side, b_side) = (side(a, b, c), side(a, b, d), side(c, d, a), side(c, d, b));
    (c_side * d_side < 0.0 && a_side * b_side < 0.0)
        || (c_side == 0.0 && within(a, b, c))
        || (d_side == 0.0 && within(a, b, d))
        || (a_side == 0.0 && within(c, d, a))
        || (b_side == 0.0 && within(c, d, b))
}

/// Sets `value` where a pixel's centre lies inside the polygon (even-odd), row by row.
pub(crate) fn fill(polygon: &[[f64; 2]], width: usize, height: usize, inside: &mut [u8], value: u8) {
    let mut crossings: Vec<f64> = Vec::new();
    for row in 0..height {
        let y = row as f64 + 0.5;
        crossings.clear();
        for (index, a) in polygon.iter().enumerate() {
            let b = polygon[(index + 1) % polygon.len()];
            if (a[1] <= y) != (b[1] <= y) {
                crossings.push(a[0] + (b[0] - a[0]) * (y - a[1]) / (b[1] - a[1]));
            }
        }
        crossings.sort_by(f64::total_cmp);
        for pair in crossings.chunks_exact(2) {
            let (first, last) = ((pair[0] - 0.5).ceil().max(0.0), (pair[1] - 0.5).ceil().min(width as f64));
            if last > first {
                inside[row * width + first as usize..row * width + last as usize].fill(value);
            }
        }
    }
}

/// The outline with corners left out where it stays within `tolerance` of where it was (Douglas and Peucker).
pub(crate) fn simplified(outline: &[[f64; 2]], tolerance: f64) -> Vec<[f64; 2]> {
    if outline.len() < 5 {
        return outline.to_vec();
    }
    // A closed outline is cut at its first corner and at the one farthest from it.
    let from = outline[0];
    let far = (1..outline.len()).max_by(|a, b| distance(outline[*a], from).total_cmp(&distance(outline[*b], from))).unwrap_or(0);
    let mut keep = vec![false; outline.len()];
    keep[0] = true;
    keep[far] = true;
    let mut open = vec![(0, far), (far, outline.len())];
    while let Some((first, last)) = open.pop() {
        let (a, b) = (outline[first], outline[last % outline.len()]);
        let worst = (first + 1..last).map(|at| (at, off_line(outline[at], a, b))).max_by(|one, other| one.1.total_cmp(&other.1));
        if let Some((at, off)) = worst
            && off > tolerance
        {
            keep[at] = true;
            open.push((first, at));
            open.push((at, last));
        }
    }
    outline.iter().zip(keep).filter_map(|(point, keep)| keep.then_some(*point)).collect()
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

fn off_line(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let length = distance(a, b);
    if length == 0.0 {
        return distance(p, a);
    }
    ((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])).abs() / length
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::debris::measure::polygon_area;

    const SQUARE: [[f64; 2]; 4] = [[2.0, 1.0], [8.0, 1.0], [8.0, 6.0], [2.0, 6.0]];

    fn code(outline: &[[f64; 2]]) -> &'static str {
        check_outline(outline, [10, 10]).map_or_else(|error| error.code(), |()| "fine")
    }

    #[test]
    fn outline_that_encloses_nothing_definite_is_refused_by_what_is_wrong() {
        assert_eq!(code(&SQUARE), "fine");
        assert_eq!(code(&SQUARE[..2]), "bad_outline");
        assert_eq!(code(&[[0.0, 0.0], [f64::NAN, 1.0], [3.0, 3.0]]), "bad_outline");
        assert_eq!(code(&[[2.0, 1.0], [10.5, 1.0], [8.0, 6.0]]), "outline_outside");
        assert_eq!(code(&[SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3]]), "outline_crosses");
        // A side that runs back through a corner touches it.
        assert_eq!(code(&[[1.0, 1.0], [9.0, 1.0], [9.0, 9.0], [5.0, 1.0], [1.0, 9.0]]), "outline_crosses");
    }

    #[test]
    fn filled_square_holds_exactly_its_pixels() {
        let mut inside = vec![0; 100];
        fill(&SQUARE, 10, 10, &mut inside, 1);
        assert_eq!(inside.iter().filter(|value| **value == 1).count(), 30);
        assert_eq!((inside[12], inside[11], inside[17], inside[18]), (1, 0, 1, 0));
        fill(&[[4.0, 3.0], [5.0, 3.0], [5.0, 4.0], [4.0, 4.0]], 10, 10, &mut inside, 0);
        assert_eq!(inside.iter().filter(|value| **value == 1).count(), 29, "a hole");
    }

    #[test]
    fn simplified_circle_keeps_its_area_with_a_tenth_of_the_points() {
        let circle: Vec<[f64; 2]> =
            (0..720).map(|i| (f64::from(i) / 360.0 * std::f64::consts::PI).sin_cos()).map(|(y, x)| [100.0 * x, 100.0 * y]).collect();
        let fewer = simplified(&circle, 0.5);
        assert!(fewer.len() < 72, "{}", fewer.len());
        assert!((polygon_area(&fewer) / polygon_area(&circle) - 1.0).abs() < 0.01);
    }
}
