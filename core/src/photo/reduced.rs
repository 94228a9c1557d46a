//! A smaller grey picture of a photo, for looking before measuring.

use multiversion::multiversion;

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
    let mut sums = vec![0_u32; width * step * 3];
    for row in 0..height {
        sums.fill(0);
        for line in 0..step {
            let start = (origin[1] as usize + row * step + line) * stride + origin[0] as usize * 3;
            add(&mut sums, &photo.rgb[start..]);
        }
        // A step that is known when the program is made needs no division.
        match step {
            1 => means::<3>(&sums, &mut luma),
            2 => means::<6>(&sums, &mut luma),
            3 => means::<9>(&sums, &mut luma),
            4 => means::<12>(&sums, &mut luma),
            _ => luma.extend(sums.chunks_exact(step * 3).map(|block| mean(block, step))),
        }
    }
    Reduced { factor, origin, width, height, luma }
}

/// Means of blocks of N / 3 pixels along the row of sums.
fn means<const N: usize>(sums: &[u32], luma: &mut Vec<u8>) {
    luma.extend(sums.as_chunks::<N>().0.iter().map(|block| mean(block, N / 3)));
}

#[inline(always)]
fn mean(block: &[u32], step: usize) -> u8 {
    (block.as_chunks::<3>().0.iter().map(|[r, g, b]| r + 2 * g + b).sum::<u32>() / (step * step * 4) as u32) as u8
}

#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn add(sums: &mut [u32], values: &[u8]) {
    sums.iter_mut().zip(values).for_each(|(sum, value)| *sum += u32::from(*value));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::Sha256Hex;

    #[test]
    fn every_factor_gives_the_means_worked_out_one_by_one() {
        let (width, height) = (47_u32, 31_u32);
        let rgb: Vec<u8> = (0..width * height * 3).map(|at| (at.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
        let value = |x: u32, y: u32, c: u32| u32::from(rgb[(3 * (y * width + x) + c) as usize]);
        let photo = Photo { id: Sha256Hex::of(b"test"), width_px: width, height_px: height, rgb: rgb.clone(), taken_at: None };
        for factor in 1..=6 {
            let (origin, size) = ([3, 2], [width - 5, height - 4]);
            let found = reduced(&photo, origin, size, factor);
            assert_eq!([found.width, found.height], size.map(|side| (side / factor) as usize));
            for (at, luma) in found.luma.iter().enumerate() {
                let (column, row) = (at as u32 % (size[0] / factor), at as u32 / (size[0] / factor));
                let block = (0..factor * factor).map(|k| (origin[0] + column * factor + k % factor, origin[1] + row * factor + k / factor));
                let sum: u32 = block.map(|(x, y)| value(x, y, 0) + 2 * value(x, y, 1) + value(x, y, 2)).sum();
                assert_eq!(u32::from(*luma), sum / (factor * factor * 4), "{factor}: {column}, {row}");
            }
        }
    }
}
