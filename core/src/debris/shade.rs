//! Shade: white ground in a shadow or under a thin film, told from a grain by its colour and evenness.
//!
//! A shadow takes a share of the light and leaves the paper's colour (but for the tint of the sky that still reaches it).
//! All shadows in one photo are about equally deep. Their depth and tint are learned from the photo's own even patches; a
//! pixel on the line from lit ground to the deepest shadow is shade, whatever lies beside it.

use super::segment::{DEPARTURE_UNIT, Departure};
use crate::order;

/// A shadow deeper than this is not told from a dark grain, share of the light.
const DEEPEST: f32 = 0.5;
/// An even patch's light varies less than this over 5 x 5 pixels.
const EVEN: f32 = 0.04;
/// Colour may stray this far from the line, as a share of the light that is left.
const STRAY: f32 = 0.055;

/// The line from lit ground to the deepest shadow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shade {
    /// Loss of light in the deepest shadow, share of the ground's light, 0 to 1.
    pub depth: f32,
    /// Red and blue against green in it, per share of light lost.
    pub tint: [f32; 2],
}

impl Shade {
    /// Learns the photo's shadows; `None` on a plain ground or where no even shade is seen.
    pub fn learn(departure: &Departure) -> Option<Self> {
        let (width, height) = (departure.width, departure.height);
        if departure.tones.is_empty() || width < 8 || height < 8 {
            return None;
        }
        let mut even: Vec<[f32; 3]> = Vec::new();
        for y in (2..height - 2).step_by(2) {
            for x in (2..width - 2).step_by(2) {
                let middle = departure.tones[y * width + x];
                let loss = -f32::from(middle[0]) / DEPARTURE_UNIT;
                if loss <= f32::from(departure.threshold) / DEPARTURE_UNIT || loss > DEEPEST {
                    continue;
                }
                let (mut low, mut high) = (i16::MAX, i16::MIN);
                for ny in [y - 2, y, y + 2] {
                    for nx in [x - 2, x, x + 2] {
                        let value = departure.tones[ny * width + nx][0];
                        low = low.min(value);
                        high = high.max(value);
                    }
                }
                let warm = f32::from(middle[1]) / DEPARTURE_UNIT;
                let cold = f32::from(middle[2]) / DEPARTURE_UNIT;
                if f32::from(high) - f32::from(low) < EVEN * DEPARTURE_UNIT && warm.abs().max(cold.abs()) < 0.5 * loss * 0.35 {
                    even.push([loss, warm / loss, cold / loss]);
                }
            }
        }
        if even.len() < 60 {
            return None;
        }
        order::by_number(&mut even, |even| f64::from(even[0]));
        // The deepest few in a hundred may be even spots of grey stones.
        let depth = even[even.len() * 93 / 100][0] + 0.02;
        let middle = |mut list: Vec<f32>| {
            list.sort_by(f32::total_cmp);
            list[list.len() / 2]
        };
        Some(Self { depth, tint: [middle(even.iter().map(|e| e[1]).collect()), middle(even.iter().map(|e| e[2]).collect())] })
    }

    /// Whether a pixel's departures (light, red and blue against green) lie on the line.
    pub fn holds(&self, tone: [i16; 3]) -> bool {
        let [light, warm, cold] = tone.map(|value| f32::from(value) / DEPARTURE_UNIT);
        let loss = -light;
        let stray = STRAY * (1.0 - loss).max(0.2);
        loss < self.depth && loss > -0.02 && (warm - self.tint[0] * loss).abs() < stray && (cold - self.tint[1] * loss).abs() < stray
    }
}
