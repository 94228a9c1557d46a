//! Light relative to a white: what an sRGB code value means once the photo's white is taken for white.

use super::colour::linear;

/// Lightness L* 50 in linear light, the card's grey.
const GREY_LIGHT: f64 = 0.184_187;

/// Code value to light over the white's light, channel by channel.
#[derive(Debug, Clone)]
pub(crate) struct LightTable([[f32; 256]; 3]);

impl LightTable {
    /// For a white that stands in the photo as `white_srgb`, 8-bit.
    pub(crate) fn new(white_srgb: [f64; 3]) -> Self {
        Self::over(white_srgb.map(|code| linear(code / 255.0)))
    }

    /// For a grey of L* 50 that stands in the photo as `grey_srgb`, 8-bit.
    pub(crate) fn of_grey(grey_srgb: [f64; 3]) -> Self {
        Self::over(grey_srgb.map(|code| linear(code / 255.0) / GREY_LIGHT))
    }

    fn over(white: [f64; 3]) -> Self {
        Self(white.map(|white| std::array::from_fn(|code| (linear(code as f64 / 255.0) / white.max(1e-4)) as f32)))
    }

    /// Light of a pixel.
    #[inline]
    pub(crate) fn of(&self, pixel: [u8; 3]) -> [f32; 3] {
        [self.0[0][pixel[0] as usize], self.0[1][pixel[1] as usize], self.0[2][pixel[2] as usize]]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::face::colour::lab_of_linear;

    #[test]
    fn white_becomes_white_and_grey_becomes_fifty_whatever_the_lamp() {
        let lamp = [250, 221, 170];
        let white = lab_of_linear(LightTable::new(lamp.map(f64::from)).of(lamp).map(f64::from));
        assert!((white.l - 100.0).abs() < 0.01 && white.chroma() < 0.02, "{white:?}");
        let lamp = [130, 112, 90];
        let grey = lab_of_linear(LightTable::of_grey(lamp.map(f64::from)).of(lamp).map(f64::from));
        assert!((grey.l - 50.0).abs() < 0.01 && grey.chroma() < 0.02, "{grey:?}");
    }
}
