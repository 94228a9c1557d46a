//! Finding the surface by its colour: the largest coherent coloured part of the photo.
//!
//! Looked for on a picture of some 640 px. Hue and chroma, both taken relative to lightness, stay as they are where light falls off
//! or a shadow lies, so that a face under a lamp is still one surface.

use super::colour::{Lab, lab_of_linear};
use super::light::LightTable;
use super::outline::{fill, simplified};
use super::raster::averaged;
use crate::debris::measure::{Mask, convex_hull};
use crate::debris::segment::patches;
use crate::error::CoreError;
use crate::photo::Photo;

/// Long side of the picture that is searched, px.
const LONG_SIDE_PX: usize = 640;
/// Chroma from which a colour is one, CIELAB.
pub(crate) const LEAST_CHROMA: f64 = 12.0;
/// Bins of the hue, 5 degrees each.
const BINS: usize = 72;
/// Half width of the hues that belong to one surface, degrees.
const HUE_REACH: f64 = 22.0;
/// Share of the photo below which a coloured part is no surface worth measuring.
const LEAST_SHARE: f64 = 0.015;
/// All channels from here on are burnt out by shine, 8-bit.
const BURNT: u8 = 244;
/// The surface must outweigh the next best by this factor.
const CLEARLY: f64 = 1.5;

/// The outline of the largest coloured surface, px of the photo; its rim is left out by about one part in two hundred of its size.
///
/// # Errors
/// `no_face` where no coloured part stands out, `which_face` where two do.
pub(crate) fn find_surface(photo: &Photo, light: &LightTable) -> Result<Vec<[f64; 2]>, CoreError> {
    let size = [photo.width_px as usize, photo.height_px as usize];
    let step = size[0].max(size[1]).div_ceil(LONG_SIDE_PX).max(2);
    let (rgb, width, height) = averaged(photo, [0, 0], size, step);
    let Some(rgb) = rgb else { return Err(no_face()) };
    let colours: Vec<Lab> = rgb.as_chunks::<3>().0.iter().map(|pixel| lab_of_linear(light.of(*pixel).map(f64::from))).collect();
    let hue = |lab: &Lab| lab.b.atan2(lab.a).to_degrees().rem_euclid(360.0);
    let coloured = |lab: &Lab| lab.chroma() >= LEAST_CHROMA && lab.l > 4.0;
    let mut counts = [0.0_f64; BINS];
    for lab in colours.iter().filter(|lab| coloured(lab)) {
        counts[(hue(lab) / 360.0 * BINS as f64) as usize % BINS] += lab.chroma();
    }
    let smoothed: [f64; BINS] = std::array::from_fn(|bin| (0..5).map(|at| counts[(bin + BINS + at - 2) % BINS]).sum());
    let peaks = (0..BINS).filter(|bin| {
        let here = smoothed[*bin];
        here > 0.0 && (1..=4).all(|at| here >= smoothed[(bin + at) % BINS] && here > smoothed[(bin + BINS - at) % BINS])
    });
    let mut found: Vec<(f64, Mask)> = Vec::new();
    for bin in peaks {
        let middle = (bin as f64 + 0.5) * 360.0 / BINS as f64;
        let off = |lab: &Lab| ((hue(lab) - middle + 540.0).rem_euclid(360.0) - 180.0).abs();
        // Saturation, chroma over lightness, of this hue's pixels: half of the usual is paler stuff of the same hue.
        let mut saturations: Vec<f64> =
            colours.iter().filter(|lab| coloured(lab) && off(lab) < HUE_REACH).map(|lab| lab.chroma() / (lab.l + 16.0)).collect();
        if (saturations.len() as f64) < LEAST_SHARE * colours.len() as f64 {
            continue;
        }
        let upper = saturations.len() * 7 / 10;
        let usual = *saturations.select_nth_unstable_by(upper, f64::total_cmp).1;
        let belongs = |lab: &Lab| coloured(lab) && off(lab) < HUE_REACH && lab.chroma() / (lab.l + 16.0) > 0.55 * usual;
        let mut mask: Vec<u8> = colours.iter().map(|lab| u8::from(belongs(lab))).collect();
        // Grit at the rim does not bite into the outline: closed over gaps, then opened to let go of threads.
        for (grow, reach) in [(true, 4), (false, 6), (true, 2)] {
            spread(&mut mask, width, height, reach, grow);
        }
        for mask in patches(&mask, |value| value != 0, width, height, (LEAST_SHARE * colours.len() as f64) as usize) {
            let area = mask.area() as f64;
            let weight = area * usual * (1.0 - 0.8 * border_share(&mask, width, height));
            found.push((weight, mask));
        }
    }
    // The same patch may be met under two neighbouring hues.
    found.sort_by(|one, other| other.0.total_cmp(&one.0));
    let Some((weight, best)) = found.first() else { return Err(no_face()) };
    if let Some((next, _)) = found.iter().skip(1).find(|(_, other)| apart(best, other))
        && next * CLEARLY > *weight
    {
        let reason = "two coloured surfaces in the photo are about as large";
        return Err(CoreError::refused(
            "which_face",
            reason,
            "draw the outline of the one to measure, or leave the other out of the picture",
        ));
    }
    // One cell of the searched picture is given up along the rim, where it mixes with what lies around.
    let mut whole = vec![0_u8; width * height];
    best.paint(&mut whole, width);
    with_shine(best, &colours, &rgb, &mut whole, width, height);
    spread(&mut whole, width, height, 1, false);
    let largest = patches(&whole, |value| value != 0, width, height, 50).into_iter().max_by_key(Mask::area).ok_or_else(no_face)?;
    let outline = simplified(&largest.outline(), 0.9);
    Ok(outline.into_iter().map(|point| [0, 1].map(|axis| (point[axis] * step as f64).min(size[axis] as f64))).collect())
}

/// What shine burnt out of the surface, or made pale, belongs to it: it is not seen well, but it is not beside it either.
fn with_shine(surface: &Mask, colours: &[Lab], rgb: &[u8], whole: &mut [u8], width: usize, height: usize) {
    let mut around = vec![0_u8; width * height];
    fill(&convex_hull(surface.outline()), width, height, &mut around, 1);
    let of_it: Vec<Lab> = colours.iter().zip(&*whole).filter(|(_, inside)| **inside != 0).map(|(lab, _)| *lab).collect();
    let count = of_it.len().max(1) as f64;
    let [l, a, b] = [of_it.iter().map(|lab| lab.l).sum::<f64>(), of_it.iter().map(|lab| lab.a).sum(), of_it.iter().map(|lab| lab.b).sum()];
    let (light, chroma) = (l / count, (a / count).hypot(b / count).max(1e-6));
    // Paler, lighter, and still a little to the surface's own side of grey.
    let pale = |lab: &Lab| lab.l > light + 5.0 && (lab.a * a + lab.b * b) / (count * chroma) > 0.06 * chroma;
    let shine = |(pixel, lab): (&[u8; 3], &Lab)| pixel.iter().all(|value| *value >= BURNT) || pale(lab);
    let mut found: Vec<u8> =
        rgb.as_chunks::<3>().0.iter().zip(colours).zip(&around).map(|(at, inside)| u8::from(*inside != 0 && shine(at))).collect();
    for grow in [true, false] {
        spread(&mut found, width, height, 3, grow);
    }
    for ((whole, found), inside) in whole.iter_mut().zip(found).zip(around) {
        *whole |= found & inside;
    }
}

fn no_face() -> CoreError {
    let reason = "no coloured surface stands out in the photo";
    CoreError::refused("no_face", reason, "fill half of the picture with the part, or draw its outline: bare metal always needs one")
}

/// True where two patches hardly share a pixel's box.
fn apart(one: &Mask, other: &Mask) -> bool {
    let at = |mask: &Mask, x: i32, y: i32| {
        let (x, y) = (x - mask.left, y - mask.top);
        x >= 0
            && y >= 0
            && (x as usize) < mask.width
            && (y as usize) < mask.height
            && mask.inside[y as usize * mask.width + x as usize] != 0
    };
    let (mut shared, mut all) = (0_usize, 0_usize);
    for row in 0..other.height {
        for column in 0..other.width {
            if other.inside[row * other.width + column] != 0 {
                all += 1;
                shared += usize::from(at(one, other.left + column as i32, other.top + row as i32));
            }
        }
    }
    shared * 4 < all
}

/// Share of the patch's outline that lies along the photo's border: a bench runs out of the picture, a part seldom does.
fn border_share(mask: &Mask, width: usize, height: usize) -> f64 {
    let outline = mask.outline();
    let (mut along, mut all) = (0.0, 0.0);
    for (index, a) in outline.iter().enumerate() {
        let b = outline[(index + 1) % outline.len()];
        let length = (a[0] - b[0]).hypot(a[1] - b[1]);
        let on = |axis: usize, limit: f64| (a[axis] <= 1.0 && b[axis] <= 1.0) || (a[axis] >= limit - 1.0 && b[axis] >= limit - 1.0);
        all += length;
        along += if on(0, width as f64) || on(1, height as f64) { length } else { 0.0 };
    }
    if all > 0.0 { along / all } else { 0.0 }
}

/// Grows or shrinks a mask by `reach` pixels, square; outside the picture nothing is inside, and nothing shrinks from there.
pub(crate) fn spread(mask: &mut [u8], width: usize, height: usize, reach: usize, grow: bool) {
    let wanted = u8::from(grow);
    let mut line = vec![0_u8; width.max(height)];
    let mut along = |mask: &mut [u8], start: usize, stride: usize, count: usize| {
        // Distance to the last wanted pixel, forwards then backwards.
        let line = &mut line[..count];
        line.fill(1 - wanted);
        for backwards in [false, true] {
            let mut since = reach + 1;
            for index in 0..count {
                let at = if backwards { count - 1 - index } else { index };
                since = if mask[start + at * stride] == wanted { 0 } else { since + 1 };
                if since <= reach {
                    line[at] = wanted;
                }
            }
        }
        for (at, value) in line.iter().enumerate() {
            mask[start + at * stride] = *value;
        }
    };
    for row in 0..height {
        along(mask, row * width, 1, width);
    }
    for column in 0..width {
        along(mask, column, width, height);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::Sha256Hex;

    fn photo(pixel: impl Fn(f64, f64) -> [u8; 3]) -> Photo {
        let rgb = (0..480).flat_map(|y| (0..640).map(move |x| (f64::from(x), f64::from(y)))).flat_map(|(x, y)| pixel(x, y)).collect();
        Photo { id: Sha256Hex::of(b"test"), width_px: 640, height_px: 480, rgb, taken_at: None }
    }

    fn disc(x: f64, y: f64, centre: [f64; 2], radius: f64) -> bool {
        (x - centre[0]).hypot(y - centre[1]) < radius
    }

    #[test]
    fn red_disc_under_falling_light_is_found_whole() {
        let light = LightTable::new([255.0; 3]);
        let photo = photo(|x, y| {
            let shade = 0.4 + 0.6 * x / 640.0;
            let colour = if disc(x, y, [300.0, 240.0], 150.0) { [190.0, 40.0, 35.0] } else { [150.0, 148.0, 145.0] };
            colour.map(|value| (value * shade) as u8)
        });
        let outline = find_surface(&photo, &light).unwrap();
        let area = crate::debris::measure::polygon_area(&outline);
        let full = std::f64::consts::PI * 150.0 * 150.0;
        assert!((0.93..1.0).contains(&(area / full)), "{}", area / full);
    }

    #[test]
    fn grey_photo_has_no_face_and_two_equal_discs_leave_it_open_which() {
        let light = LightTable::new([255.0; 3]);
        assert_eq!(find_surface(&photo(|x, _| [(x / 3.0) as u8; 3]), &light).unwrap_err().code(), "no_face");
        let two = photo(|x, y| match (disc(x, y, [160.0, 240.0], 110.0), disc(x, y, [480.0, 240.0], 110.0)) {
            (true, _) => [190, 40, 35],
            (_, true) => [40, 60, 190],
            _ => [150, 150, 150],
        });
        assert_eq!(find_surface(&two, &light).unwrap_err().code(), "which_face");
    }

    #[test]
    fn spread_grows_and_shrinks_by_whole_pixels() {
        let mut mask = vec![0_u8; 49];
        mask[24] = 1;
        spread(&mut mask, 7, 7, 2, true);
        assert_eq!(mask.iter().map(|value| usize::from(*value)).sum::<usize>(), 25);
        spread(&mut mask, 7, 7, 2, false);
        assert_eq!((mask.iter().map(|value| usize::from(*value)).sum::<usize>(), mask[24]), (1, 1));
    }
}
