//! A smaller grey picture of a photo, for looking before measuring.

use super::Photo;

/// A grey picture with each pixel the mean of `factor` x `factor` photo pixels.
pub(crate) struct Reduced {
    pub(crate) factor: u32,
    pub(crate) origin: [u32; 2],
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) luma: Vec<u8>,
}

/// Part of the photo at `origin`, reduced by `factor`; luma = (r + 2 g + b) / 4.
pub(crate) fn reduced(photo: &Photo, origin: [u32; 2], size: [u32; 2], factor: u32) -> Reduced {
    let (step, stride) = (factor as usize, photo.width_px as usize * 3);
    let (width, height) = (size[0] as usize / step, size[1] as usize / step);
    let mut luma = Vec::with_capacity(width * height);
    let mut sums = vec![0_u32; width];
    let count = (step * step * 4) as u32;
    for row in 0..height {
        sums.fill(0);
        for line in 0..step {
            let start = (origin[1] as usize + row * step + line) * stride + origin[0] as usize * 3;
            let pixels = &photo.rgb[start..start + width * step * 3];
            for (sum, block) in sums.iter_mut().zip(pixels.chunks_exact(step * 3)) {
                *sum += block.chunks_exact(3).map(|p| u32::from(p[0]) + 2 * u32::from(p[1]) + u32::from(p[2])).sum::<u32>();
            }
        }
        luma.extend(sums.iter().map(|sum| (sum / count) as u8));
    }
    Reduced { factor, origin, width, height, luma }
}
