//! Colour as an eye would tell it apart: sRGB to linear light to CIELAB under D65, and the colour difference CIEDE2000.
//!
//! | what | from |
//! |---|---|
//! | sRGB's curve (knee at 0.04045) and its matrix to XYZ | IEC 61966-2-1, by the figures that scikit-image and colour both use |
//! | CIELAB | CIE 15: knee at (6/29)^3 |
//! | CIEDE2000, kL = kC = kH = 1 | Sharma, Wu, Dalal, "The CIEDE2000 color-difference formula: implementation notes, supplementary test data, and mathematical observations", 2005: its 34 pairs are the test |

/// White of D65 for the 2 degree observer, XYZ with Y = 1.
const WHITE_XYZ: [f64; 3] = [0.950_47, 1.0, 1.088_83];

/// Linear sRGB to XYZ.
const TO_XYZ: [[f64; 3]; 3] =
    [[0.412_456_4, 0.357_576_1, 0.180_437_5], [0.212_672_9, 0.715_152_2, 0.072_175_0], [0.019_333_9, 0.119_192_0, 0.950_304_1]];

/// A colour in CIELAB: lightness 0 to 100, a (red against green), b (yellow against blue).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lab {
    /// Lightness L*.
    pub l: f64,
    /// Red against green, a*.
    pub a: f64,
    /// Yellow against blue, b*.
    pub b: f64,
}

impl Lab {
    /// Chroma C*: how far from grey.
    pub fn chroma(self) -> f64 {
        self.a.hypot(self.b)
    }
}

/// Linear light of an sRGB code value, both 0 to 1.
pub fn linear(code: f64) -> f64 {
    if code <= 0.040_45 { code / 12.92 } else { ((code + 0.055) / 1.055).powf(2.4) }
}

/// sRGB code value of linear light, both 0 to 1; light beyond that is cut.
pub fn encoded(light: f64) -> f64 {
    let light = light.clamp(0.0, 1.0);
    if light <= 0.003_130_8 { light * 12.92 } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 }
}

/// CIELAB of linear sRGB light, in which 1, 1, 1 is white.
///
/// ```
/// # use gritbook_core::face::colour::lab_of_linear;
/// let white = lab_of_linear([1.0, 1.0, 1.0]);
/// assert!((white.l - 100.0).abs() < 0.01 && white.chroma() < 0.02);
/// ```
pub fn lab_of_linear(rgb: [f64; 3]) -> Lab {
    let knee = 6.0_f64 / 29.0;
    let bent = |t: f64| if t > knee.powi(3) { t.cbrt() } else { t / (3.0 * knee * knee) + 4.0 / 29.0 };
    let [x, y, z] = [0, 1, 2].map(|row| {
        let value: f64 = (0..3).map(|channel| TO_XYZ[row][channel] * rgb[channel]).sum();
        bent(value / WHITE_XYZ[row])
    });
    Lab { l: 116.0 * y - 16.0, a: 500.0 * (x - y), b: 200.0 * (y - z) }
}

/// CIELAB of an 8-bit sRGB colour.
pub fn lab_of_srgb(rgb: [u8; 3]) -> Lab {
    lab_of_linear(rgb.map(|code| linear(f64::from(code) / 255.0)))
}

/// The colour difference CIEDE2000 (kL = kC = kH = 1). About 1 is the least that an eye tells side by side.
pub fn ciede2000(one: Lab, other: Lab) -> f64 {
    let seventh = |chroma: f64| (chroma.powi(7) / (chroma.powi(7) + 25.0_f64.powi(7))).sqrt();
    let g = 0.5 * (1.0 - seventh((one.chroma() + other.chroma()) / 2.0));
    let (a1, a2) = (one.a * (1.0 + g), other.a * (1.0 + g));
    let (c1, c2) = (a1.hypot(one.b), a2.hypot(other.b));
    let turn = |a: f64, b: f64| if a == 0.0 && b == 0.0 { 0.0 } else { b.atan2(a).to_degrees().rem_euclid(360.0) };
    let (h1, h2) = (turn(a1, one.b), turn(a2, other.b));
    let grey = c1 * c2 == 0.0;
    let step = match h2 - h1 {
        _ if grey => 0.0,
        step if step > 180.0 => step - 360.0,
        step if step < -180.0 => step + 360.0,
        step => step,
    };
    let (dl, dc) = (other.l - one.l, c2 - c1);
    let dh = 2.0 * (c1 * c2).sqrt() * (step / 2.0).to_radians().sin();
    let (l, c) = ((one.l + other.l) / 2.0, (c1 + c2) / 2.0);
    let h = match h1 + h2 {
        sum if grey => sum,
        sum if (h1 - h2).abs() <= 180.0 => sum / 2.0,
        sum if sum < 360.0 => (sum + 360.0) / 2.0,
        sum => (sum - 360.0) / 2.0,
    };
    let cos = |degrees: f64| degrees.to_radians().cos();
    let t = 1.0 - 0.17 * cos(h - 30.0) + 0.24 * cos(2.0 * h) + 0.32 * cos(3.0 * h + 6.0) - 0.20 * cos(4.0 * h - 63.0);
    let from_fifty = (l - 50.0).powi(2);
    let sl = 1.0 + 0.015 * from_fifty / (20.0 + from_fifty).sqrt();
    let (sc, sh) = (1.0 + 0.045 * c, 1.0 + 0.015 * c * t);
    let blue = 30.0 * (-((h - 275.0) / 25.0).powi(2)).exp();
    let rt = -(2.0 * blue).to_radians().sin() * 2.0 * seventh(c);
    let (l_part, c_part, h_part) = (dl / sl, dc / sc, dh / sh);
    (l_part * l_part + c_part * c_part + h_part * h_part + rt * c_part * h_part).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn rows(text: &str) -> impl Iterator<Item = Vec<&str>> {
        text.lines().skip(1).map(|line| line.split(',').collect())
    }

    fn number(text: &str) -> f64 {
        text.parse().unwrap()
    }

    // The 34 pairs of Sharma, Wu and Dalal as scikit-image prints them (skimage/color/tests/ciede2000_test_data.txt): four decimals.
    #[test]
    fn published_pairs_come_out_to_their_last_digit() {
        let mut seen = 0;
        for row in rows(include_str!("../../testdata/ciede2000_sharma34.csv")) {
            let lab = |at: usize| Lab { l: number(row[at]), a: number(row[at + 1]), b: number(row[at + 2]) };
            let (one, other) = (lab(1), lab(4));
            for difference in [ciede2000(one, other), ciede2000(other, one)] {
                assert!((difference - number(row[7])).abs() <= 5e-5, "pair {}: {difference}", row[0]);
            }
            seen += 1;
        }
        assert_eq!(seen, 34);
    }

    // Computed with scikit-image 0.26.0 and colour 0.4.7, which differ in the digits of their matrices.
    #[test]
    fn colours_agree_with_two_libraries_as_far_as_these_agree() {
        let mut seen = 0;
        for row in rows(include_str!("../../testdata/srgb_lab.csv")) {
            let lab = lab_of_srgb([1, 2, 3].map(|at| row[at].parse().unwrap()));
            for first in [7, 10] {
                let theirs = [0, 1, 2].map(|at| number(row[first + at]));
                let apart = [lab.l - theirs[0], lab.a - theirs[1], lab.b - theirs[2]];
                assert!(apart.iter().all(|value| value.abs() < 0.03), "{}: {lab:?} against {theirs:?}", row[0]);
            }
            seen += 1;
        }
        assert!(seen >= 15);
    }

    // 10 and 11 stand on either side of the curve's knee.
    #[test]
    fn linear_light_has_its_knee_where_the_standard_has_it() {
        for (code, light) in [(10.0, 0.003_035_270), (11.0, 0.003_346_536), (128.0, 0.215_860_500)] {
            assert!((linear(code / 255.0) - light).abs() < 5e-10, "{code}");
        }
    }

    proptest! {
        #[test]
        fn prop_code_values_survive_the_way_to_linear_light_and_back(code in 0_u8..=255) {
            prop_assert!((encoded(linear(f64::from(code) / 255.0)) * 255.0 - f64::from(code)).abs() < 1e-3);
        }

        #[test]
        fn prop_difference_is_symmetric_and_zero_only_to_itself(one in any::<[u8; 3]>(), other in any::<[u8; 3]>()) {
            let (a, b) = (lab_of_srgb(one), lab_of_srgb(other));
            prop_assert!((ciede2000(a, b) - ciede2000(b, a)).abs() < 1e-9 && ciede2000(a, b) >= 0.0);
            prop_assert!(ciede2000(a, a) == 0.0);
        }
    }
}
