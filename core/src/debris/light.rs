//! Linear light and luminance of pixels.

use multiversion::multiversion;

/// sRGB byte to linear light (IEC 61966-2-1), 0 to 1.
pub fn linear_table() -> [f32; 256] {
    std::array::from_fn(|byte| {
        let value = byte as f64 / 255.0;
        let linear = if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) };
        // Rounded so that the last bit of a platform's power function cannot reach an answer.
        ((linear * 1e6).round() / 1e6) as f32
    })
}

/// Light of pixels, each colour apart.
pub fn to_light(rgb: &[u8], table: &[f32; 256], [red, green, blue]: &mut [Vec<f32>; 3]) {
    let light = red.iter_mut().zip(green).zip(blue);
    for ([r, g, b], ((red, green), blue)) in rgb.as_chunks::<3>().0.iter().zip(light) {
        *red = table[usize::from(*r)];
        *green = table[usize::from(*g)];
        *blue = table[usize::from(*b)];
    }
}

/// Weights of red, green and blue in luminance (IEC 61966-2-1).
pub const LUMINANCE: [f32; 3] = [0.2126, 0.7152, 0.0722];

/// Luminance of linear light.
pub fn luminance(v: [f32; 3]) -> f32 {
    LUMINANCE[0] * v[0] + LUMINANCE[1] * v[1] + LUMINANCE[2] * v[2]
}

/// Luminance of each of many pixels, each colour apart.
#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
pub fn luminances(colours: &[Vec<f32>; 3], light: &mut [f32]) {
    let count = light.len();
    let (red, green, blue) = (&colours[0][..count], &colours[1][..count], &colours[2][..count]);
    for x in 0..count {
        light[x] = LUMINANCE[0] * red[x] + LUMINANCE[1] * green[x] + LUMINANCE[2] * blue[x];
    }
}
