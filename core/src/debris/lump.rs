//! Lump or stone: the network's word over a body, and beside it what its light shows on the scale of sand.
//!
//! Sand set in cement stands out as pale grains in a darker body, so that light has a long tail upwards. A stone's cracks and stains give it
//! one downwards, and a worn stone has next to none. Where the network leans towards a stone and pale grains are plain to see, the body is a
//! lump; where it is not quite sure of a lump and the body is smooth, a touch has to tell (common practice, no published source: a lump
//! crumbles between gloved fingers). The limits were set on photos of three painters (DEVELOPERS.md).

use std::sync::LazyLock;

use super::measure::Mask;
use super::rim::{LightMap, PAPER};
use super::split::squared_distance;

/// From here on a body is a lump, mean of [`super::network::Answer::lump`] in 1/[`super::network::LOGIT_UNIT`]. A stone of many crystals has
/// the network in doubt: of 414 painted stones from 2 mm on 13 lie above this, of 78 lumps 49.
const LUMP: f64 = 18.0;
/// From here on a body may be one: 19 more stones of these, 15 more lumps.
const MAYBE_LUMP: f64 = 8.0;
/// From here on pale grains make a lump of a body: below, the network is sure of a stone, veined ones among them.
const LUMP_IF_SANDY: f64 = -30.0;
/// Up to here a smooth body is no more than may be one.
const STONE_IF_SMOOTH: f64 = 30.0;

/// So far inside its rim a body's light is looked at, mm.
const INSIDE_MM: f64 = 0.17;
/// Half the side of the square over which light is taken as that of one grain, and as that of the body around it, mm.
const GRAIN_MM: f64 = 0.05;
const AROUND_MM: f64 = 0.58;
/// Bodies of less inside than this show too little, mm2.
const LEAST_INSIDE_MM2: f64 = 1.5;

/// Skewness of ln light, grain over surroundings, from which on pale grains rule.
const SANDY_SKEWNESS: f64 = 0.5;
/// The palest in 33 of a sandy body is so much paler than what is around it, ln.
const SANDY_PALEST: f64 = 0.5;
/// A smooth body has no tail upwards, and its light varies by less than this, standard deviation of ln.
const SMOOTH_SPREAD: f64 = 0.24;

/// What a body is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Told {
    /// Bound grains.
    Lump,
    /// A grain, and yet much like a lump.
    MaybeLump,
    /// One grain, or more that touch.
    Grain,
}

/// Tells what a body is from the network's word, mean of [`super::network::Answer::lump`] over it in 1/[`super::network::LOGIT_UNIT`], and
/// from its light. `light` holds the mask and is of `px_per_mm`.
pub fn tell(word: f64, mask: &Mask, light: &LightMap, px_per_mm: f64) -> Told {
    let texture = if word > LUMP_IF_SANDY && word <= STONE_IF_SMOOTH { Texture::of(mask, light, px_per_mm) } else { None };
    let lump = match texture {
        Some(texture) if word > LUMP => !texture.smooth(),
        Some(texture) => texture.sandy(),
        None => word > LUMP,
    };
    if lump {
        Told::Lump
    } else if word > MAYBE_LUMP {
        Told::MaybeLump
    } else {
        Told::Grain
    }
}

/// How the light inside a body varies on the scale of sand grains: ln of a grain's light over that around it, its standard deviation,
/// its skewness and what the palest in 33 reach.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Texture {
    spread: f64,
    skewness: f64,
    palest: f64,
}

/// ln of each level of a [`LightMap`] over the paper; black is a hundredth of it.
static LN_LIGHT: LazyLock<[f64; 256]> = LazyLock::new(|| std::array::from_fn(|level| (level as f64 / f64::from(PAPER)).max(0.01).ln()));

impl Texture {
    /// `None` for a body too small to show any.
    fn of(mask: &Mask, light: &LightMap, px_per_mm: f64) -> Option<Self> {
        let least_px = LEAST_INSIDE_MM2 * px_per_mm * px_per_mm;
        if (mask.area() as f64) < least_px {
            return None;
        }
        let deep = (INSIDE_MM * px_per_mm).powi(2) as f32;
        let depth = squared_distance(mask);
        let inside: Vec<(usize, f64)> = mask
            .places(light.width)
            .filter(|(index, _)| depth[*index] > deep)
            .map(|(index, at)| (index, LN_LIGHT[usize::from(light.values[at])]))
            .collect();
        if (inside.len() as f64) < least_px {
            return None;
        }
        let sums = Sums::of(&inside, mask.width, mask.height);
        let [near, around] = [GRAIN_MM, AROUND_MM].map(|half| ((half * px_per_mm).round() as usize).max(1));
        let mut over: Vec<f64> = inside.iter().map(|(index, _)| sums.mean(*index, near) - sums.mean(*index, around)).collect();
        let count = over.len() as f64;
        let mean = over.iter().sum::<f64>() / count;
        let moment = |power: i32| over.iter().map(|value| (value - mean).powi(power)).sum::<f64>() / count;
        let spread = moment(2).sqrt();
        let skewness = moment(3) / spread.max(1e-6).powi(3);
        let at = (0.97 * (count - 1.0)).round() as usize;
        let (_, palest, _) = over.select_nth_unstable_by(at, f64::total_cmp);
        Some(Self { spread, skewness, palest: *palest })
    }

    /// Pale grains in a darker body.
    fn sandy(&self) -> bool {
        self.skewness > SANDY_SKEWNESS && self.palest > SANDY_PALEST
    }

    /// No grains to see.
    fn smooth(&self) -> bool {
        self.skewness < 0.0 && self.spread < SMOOTH_SPREAD
    }
}

/// Sums from the first row and column on, for means over squares in constant time.
struct Sums {
    width: usize,
    height: usize,
    /// `(width + 1) * (height + 1)` pairs: values and how many.
    sums: Vec<(f64, f64)>,
}

impl Sums {
    fn of(inside: &[(usize, f64)], width: usize, height: usize) -> Self {
        let mut sums = vec![(0.0, 0.0); (width + 1) * (height + 1)];
        for (index, value) in inside {
            sums[(index / width + 1) * (width + 1) + index % width + 1] = (*value, 1.0);
        }
        for y in 1..=height {
            let mut row = (0.0, 0.0);
            for x in 1..=width {
                let at = y * (width + 1) + x;
                row = (row.0 + sums[at].0, row.1 + sums[at].1);
                let above = sums[at - width - 1];
                sums[at] = (row.0 + above.0, row.1 + above.1);
            }
        }
        Self { width, height, sums }
    }

    /// Mean of what lies inside the body within `half` pixels of one, left and right, up and down.
    fn mean(&self, index: usize, half: usize) -> f64 {
        let (x, y) = (index % self.width, index / self.width);
        let (left, right) = (x.saturating_sub(half), (x + half + 1).min(self.width));
        let (top, bottom) = (y.saturating_sub(half), (y + half + 1).min(self.height));
        let at = |x: usize, y: usize| self.sums[y * (self.width + 1) + x];
        let (a, b, c, d) = (at(left, top), at(right, top), at(left, bottom), at(right, bottom));
        (d.0 - b.0 - c.0 + a.0) / (d.1 - b.1 - c.1 + a.1).max(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PX_PER_MM: f64 = 24.0;

    /// A disc of this diameter with the light of a place in it, px from its left and top; paper around.
    fn disc(diameter_mm: f64, light: impl Fn(usize, usize) -> u8) -> (Mask, LightMap) {
        let side = (diameter_mm * PX_PER_MM) as usize;
        let mut mask = Mask::empty(0, 0, side, side);
        let mut map = LightMap { width: side, height: side, values: vec![PAPER as u8; side * side] };
        for (x, y) in (0..side * side).map(|at| (at % side, at / side)) {
            let middle = side as f64 / 2.0;
            if (x as f64 + 0.5 - middle).hypot(y as f64 + 0.5 - middle) < middle {
                mask.inside[(y + 1) * mask.width + x + 1] = 1;
                map.values[y * side + x] = light(x, y);
            }
        }
        (mask, map)
    }

    fn told(word: f64, diameter_mm: f64, light: impl Fn(usize, usize) -> u8) -> Told {
        let (mask, map) = disc(diameter_mm, light);
        tell(word, &mask, &map, PX_PER_MM)
    }

    /// Grains of 0.25 mm, 0.7 mm apart, in a body.
    fn grains(body: u8, grain: u8) -> impl Fn(usize, usize) -> u8 {
        move |x, y| if x % 17 < 6 && y % 17 < 6 { grain } else { body }
    }

    #[test]
    fn pale_grains_in_a_dark_body_make_a_lump_of_what_the_network_takes_for_a_stone() {
        for word in [-29.0, 0.0, 12.0, 18.0] {
            assert_eq!(told(word, 4.0, grains(40, 120)), Told::Lump, "{word}");
        }
        assert_eq!(told(-31.0, 4.0, grains(40, 120)), Told::Grain, "the network is sure of a stone");
    }

    #[test]
    fn dark_grains_in_a_pale_body_and_even_bodies_are_what_the_network_says() {
        for light in [(120, 40), (60, 60)] {
            assert_eq!(told(0.0, 4.0, grains(light.0, light.1)), Told::Grain);
            assert_eq!(told(12.0, 4.0, grains(light.0, light.1)), Told::MaybeLump);
            assert_eq!(told(31.0, 4.0, grains(light.0, light.1)), Told::Lump);
        }
    }

    #[test]
    fn smooth_body_that_the_network_is_not_quite_sure_of_is_left_to_a_touch() {
        let stained = |x: usize, _: usize| if x % 40 < 6 { 50 } else { 60 };
        assert_eq!(told(25.0, 4.0, stained), Told::MaybeLump);
        assert_eq!(told(31.0, 4.0, stained), Told::Lump);
        // Dark pores in a body that varies as much as sand does are no reason for doubt.
        assert_eq!(told(25.0, 4.0, grains(120, 30)), Told::Lump);
    }

    #[test]
    fn small_body_is_what_the_network_says() {
        assert_eq!(told(12.0, 1.5, grains(40, 120)), Told::MaybeLump);
        assert_eq!(told(25.0, 1.5, |_, _| 60), Told::Lump);
    }

    #[test]
    fn mean_over_a_square_takes_what_is_inside_alone() {
        let inside = [(0, 1.0), (1, 2.0), (4, 6.0), (8, 100.0)];
        let sums = Sums::of(&inside, 3, 3);
        assert_eq!(sums.mean(0, 1), 3.0);
        assert_eq!(sums.mean(8, 1), 53.0);
        assert_eq!(sums.mean(4, 9), 27.25);
    }
}
