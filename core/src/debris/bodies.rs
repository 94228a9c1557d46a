//! From what the network saw to bodies: one mask for each grain or lump.

use std::collections::BTreeMap;

use super::lump::{Told, tell};
use super::measure::Mask;
use super::network::Answer;
use super::reading::GrainKind;
use super::rim::LightMap;
use super::segment::{flood_outside, patches};
use super::settings::ReadSettings;
use super::split::split;

/// One grain or lump.
#[derive(Debug, Clone)]
pub struct Body {
    /// Its pixels.
    pub mask: Mask,
    /// What it is.
    pub kind: GrainKind,
    /// Called a grain, and yet much like a lump.
    pub may_be_lump: bool,
}

/// What lies on the paper.
#[derive(Debug, Clone)]
pub struct Found {
    /// Bodies in reading order of their patches.
    pub bodies: Vec<Body>,
    /// Pixels under grains of any size.
    pub grain_px: usize,
    /// Pixels of the largest patch of grains that hang together and are no single convex body.
    pub largest_ragged_px: usize,
}

/// Inside a grain, away from where it meets another.
const CORE: u8 = 1;
/// Grain where two of them meet.
const SEAM: u8 = 2;
/// A core of fewer pixels is a crumb of the seam's.
const LEAST_CORE_PX: usize = 4;

/// Where less of the paper than this is left free grains lie on each other; nothing is cut there, percent.
const CUT_UP_TO_PERCENT: usize = 75;

/// Above this share of doubt inside grains nothing is told apart, and the photo is refused. Up to here photos of four painters gave levels
/// and sizes nearly as good as those of less doubt; of those beyond it levels were often wrong and a D50 off by as much as 29 % (DEVELOPERS.md).
pub const DOUBT_REFUSED: f64 = 0.14;

/// What a window shows.
#[derive(Debug, Clone, Copy)]
pub struct Shown<'a> {
    /// What the network sees in it.
    pub answer: &'a Answer,
    /// [`Answer::doubtful_share`].
    pub doubt: f64,
    /// Its light.
    pub light: &'a LightMap,
    /// Its scale.
    pub px_per_mm: f64,
}

/// Bodies of at least `least_px` pixels; none where grains cover nearly all or are doubted too much.
pub fn bodies(shown: Shown<'_>, least_px: usize, settings: &ReadSettings) -> Found {
    let Shown { answer, doubt, light, px_per_mm } = shown;
    let marked: Vec<u8> = answer
        .grain
        .iter()
        .zip(&answer.seam)
        .map(|(grain, seam)| {
            if *grain <= 0 {
                0
            } else if *seam > 0 {
                SEAM
            } else {
                CORE
            }
        })
        .collect();
    let whole = patches(&marked, |taken| taken != 0, answer.width, answer.height, least_px);
    let grain_px = marked.iter().filter(|taken| **taken != 0).count();
    // One big stone is compact and convex; a heap's rim is ragged.
    let ragged = whole.iter().filter(|mask| (mask.area() as f64) < 0.9 * mask.convex_area());
    let largest_ragged_px = ragged.map(Mask::area).max().unwrap_or(0);
    let mut found = Found { bodies: Vec::with_capacity(whole.len()), grain_px, largest_ragged_px };
    // What is refused either way would take longest to cut apart: noise.
    if grain_px * 100 > marked.len() * CUT_UP_TO_PERCENT || doubt > DOUBT_REFUSED {
        return found;
    }
    let pieces: Vec<Mask> =
        whole.into_iter().flat_map(|mask| apart(mask, &marked, answer, least_px)).filter(|piece| piece.area() >= least_px).collect();
    for mask in without_enclosed(pieces, marked, answer.width) {
        let told = tell(answer_over(&mask, answer).lump, &mask, light, px_per_mm);
        let (kind, parts) = if told == Told::Lump { (GrainKind::Lump, vec![mask]) } else { (GrainKind::Grain, split(mask, settings)) };
        let may_be_lump = told == Told::MaybeLump && parts.len() == 1;
        let sure = parts.into_iter().filter(|part| part.area() >= least_px && answer_over(part, answer).grain > SURE_GRAIN);
        found.bodies.extend(sure.map(|mask| Body { mask, kind, may_be_lump }));
    }
    found
}

/// Cuts a patch along its seams: its cores, each grown back to the middle of the seams around it; cuts along weak seams are
/// taken back.
fn apart(mask: Mask, marked: &[u8], answer: &Answer, least_px: usize) -> Vec<Mask> {
    let at_window = |index: usize| {
        let (x, y) = (mask.left + (index % mask.width) as i32, mask.top + (index / mask.width) as i32);
        y as usize * answer.width + x as usize
    };
    let mut core = vec![0_u8; mask.inside.len()];
    for (index, value) in core.iter_mut().enumerate() {
        if mask.inside[index] != 0 {
            *value = u8::from(marked[at_window(index)] == CORE);
        }
    }
    let cores = patches(&core, |value| value == 1, mask.width, mask.height, LEAST_CORE_PX);
    if cores.len() < 2 {
        return vec![mask];
    }
    let mut owner = vec![0_u32; mask.inside.len()];
    let mut queue: Vec<usize> = Vec::new();
    for (number, part) in cores.iter().enumerate() {
        for (index, inside) in part.inside.iter().enumerate() {
            if *inside != 0 {
                let (x, y) = (part.left + (index % part.width) as i32, part.top + (index / part.width) as i32);
                let at = y as usize * mask.width + x as usize;
                owner[at] = number as u32 + 1;
                queue.push(at);
            }
        }
    }
    // First come, first served, in reading order: a pixel goes to the core it is nearest to by steps.
    let mut next = 0;
    while next < queue.len() {
        let at = queue[next];
        next += 1;
        // The mask's border is empty: all four neighbours exist.
        for near in [at - 1, at + 1, at - mask.width, at + mask.width] {
            if mask.inside[near] != 0 && owner[near] == 0 {
                owner[near] = owner[at];
                queue.push(near);
            }
        }
    }
    let mut borders: BTreeMap<(u32, u32), Border> = BTreeMap::new();
    let mut area = vec![0_usize; cores.len() + 1];
    for index in 0..owner.len() - mask.width {
        let here = owner[index];
        area[here as usize] += 1;
        for other in [index + 1, index + mask.width] {
            let there = owner[other];
            if here != 0 && there != 0 && here != there {
                let seam = answer.seam[at_window(index)].min(answer.seam[at_window(other)]);
                let border = borders.entry((here.min(there), here.max(there))).or_default();
                border.sum += i64::from(seam);
                border.count += 1;
            }
        }
    }
    let group = joined(borders, area, least_px);
    owner.iter_mut().for_each(|number| *number = group[*number as usize]);
    pieces(&mask, &owner, cores.len())
}

/// Pixels along which two pieces meet and the network's word on them.
#[derive(Debug, Clone, Copy, Default)]
struct Border {
    sum: i64,
    count: i64,
}

impl Border {
    fn mean(self) -> f64 {
        self.sum as f64 / self.count.max(1) as f64
    }
}

/// A seam whose mean logit lies below this is none, in 1/[`super::network::LOGIT_UNIT`].
const WEAK_SEAM: f64 = 14.0;

/// The number that each piece ends up with: pieces along weak seams become one, weakest first, and so do crumbs too small to
/// count with their weakest neighbour.
fn joined(mut borders: BTreeMap<(u32, u32), Border>, mut area: Vec<usize>, least_px: usize) -> Vec<u32> {
    let mut group: Vec<u32> = (0..area.len() as u32).collect();
    loop {
        let weakest = borders
            .iter()
            .map(|(pair, border)| {
                let crumb = area[pair.0 as usize].min(area[pair.1 as usize]) < least_px;
                (if crumb { border.mean() - 1000.0 } else { border.mean() }, *pair)
            })
            .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let Some((_, (keep, drop))) = weakest.filter(|(mean, _)| *mean < WEAK_SEAM) else { break };
        group.iter_mut().filter(|number| **number == drop).for_each(|number| *number = keep);
        area[keep as usize] += area[drop as usize];
        let of_drop: Vec<((u32, u32), Border)> =
            borders.iter().filter(|(pair, _)| pair.0 == drop || pair.1 == drop).map(|(pair, border)| (*pair, *border)).collect();
        for (pair, border) in of_drop {
            borders.remove(&pair);
            let other = if pair.0 == drop { pair.1 } else { pair.0 };
            if other != keep {
                let into = borders.entry((keep.min(other), keep.max(other))).or_default();
                into.sum += border.sum;
                into.count += border.count;
            }
        }
    }
    group
}

fn pieces(mask: &Mask, owner: &[u32], count: usize) -> Vec<Mask> {
    let mut boxes = vec![[usize::MAX, usize::MAX, 0, 0]; count];
    for (index, number) in owner.iter().enumerate().filter(|(_, number)| **number != 0) {
        let at = &mut boxes[*number as usize - 1];
        let (x, y) = (index % mask.width, index / mask.width);
        *at = [at[0].min(x), at[1].min(y), at[2].max(x + 1), at[3].max(y + 1)];
    }
    let mut parts: Vec<Mask> = boxes
        .iter()
        .map(|[left, top, right, bottom]| match right.checked_sub(*left) {
            Some(width) => Mask::empty(mask.left + *left as i32, mask.top + *top as i32, width, bottom - top),
            // A number that was joined to another.
            None => Mask::empty(0, 0, 0, 0),
        })
        .collect();
    for (index, number) in owner.iter().enumerate().filter(|(_, number)| **number != 0) {
        let part = &mut parts[*number as usize - 1];
        let x = (mask.left + (index % mask.width) as i32 - part.left) as usize;
        let y = (mask.top + (index / mask.width) as i32 - part.top) as usize;
        part.inside[y * part.width + x] = 1;
    }
    parts.retain(|part| part.width > 2);
    parts
}

/// Fills the pieces, and leaves out those that lay in another's holes: the bright grains of a lump, the crystals of a stone.
/// `raster`: a byte for each pixel of the window, written over.
fn without_enclosed(mut pieces: Vec<Mask>, mut raster: Vec<u8>, width: usize) -> Vec<Mask> {
    raster.fill(0);
    for piece in &mut pieces {
        let own = piece.inside.clone();
        fill(piece);
        piece.places(width).filter(|(index, _)| own[*index] == 0).for_each(|(_, at)| raster[at] = 1);
    }
    pieces.retain(|piece| piece.places(width).any(|(_, at)| raster[at] == 0));
    pieces
}

/// Fills what lies enclosed: a glint, a pale core.
pub(super) fn fill(mask: &mut Mask) {
    let outside = flood_outside(mask);
    mask.inside.iter_mut().zip(outside).for_each(|(inside, outside)| *inside = u8::from(!outside));
}

/// Mean logits over a mask, in 1/[`super::network::LOGIT_UNIT`].
struct Mean {
    grain: f64,
    lump: f64,
}

/// Of the pixels of a true grain the network is sure but at its rim; a shadow's edge or a drop's rim that it takes for grain
/// has it in doubt all over. Set so that on photos of all painters as many false bodies are let in as true ones are left out (DEVELOPERS.md).
const SURE_GRAIN: f64 = 18.0;

fn answer_over(mask: &Mask, answer: &Answer) -> Mean {
    let (mut grain, mut lump, mut count) = (0_i64, 0_i64, 0_i64);
    for (_, at) in mask.places(answer.width) {
        let (x, y) = (at % answer.width, at / answer.width);
        grain += i64::from(answer.grain[at]);
        lump += i64::from(answer.lump[y / 2 * answer.half_width + x / 2]);
        count += 1;
    }
    let count = count.max(1) as f64;
    Mean { grain: grain as f64 / count, lump: lump as f64 / count }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An answer sure of grain wherever `is_grain` says so.
    fn answer(side: usize, is_grain: impl Fn(f64, f64) -> bool) -> Answer {
        let at = |index: usize| is_grain((index % side) as f64, (index / side) as f64);
        let grain = (0..side * side).map(|index| if at(index) { 90 } else { -90 }).collect();
        let lump = vec![-90; (side / 2) * (side / 2)];
        Answer { width: side, height: side, grain, seam: vec![-90; side * side], lump, half_width: side / 2 }
    }

    #[test]
    fn what_lies_in_the_holes_of_a_body_is_part_of_it() {
        let from = |x: f64, y: f64, at: [f64; 2]| (x - at[0]).hypot(y - at[1]);
        let ring = |x: f64, y: f64| (20.0..30.0).contains(&from(x, y, [60.0, 60.0]));
        let crystal = |x: f64, y: f64| from(x, y, [62.0, 58.0]) < 8.0;
        let beside = |x: f64, y: f64| from(x, y, [105.0, 105.0]) < 8.0;
        let settings = ReadSettings::default();
        let answer = answer(128, |x, y| ring(x, y) || crystal(x, y) || beside(x, y));
        let light = LightMap { width: 128, height: 128, values: vec![60; 128 * 128] };
        let found = bodies(Shown { answer: &answer, doubt: 0.0, light: &light, px_per_mm: 24.0 }, 20, &settings);
        let mut areas: Vec<usize> = found.bodies.iter().map(|body| body.mask.area()).collect();
        areas.sort_unstable();
        assert_eq!(areas.len(), 2, "{areas:?}");
        // Whole discs of radius 8 and 30.
        assert!(areas[0].abs_diff(201) < 10 && areas[1].abs_diff(2827) < 60, "{areas:?}");
    }
}
