//! The method `spread`: grains that lie apart on a ground that shows between them. Window to grains.

use std::time::Instant;

use super::bodies::{Body, Found, Shown, bodies};
use super::crowd::{largest_heap_mm2, refuse_hidden_paper};
use super::even_stone::take_even_stones;
use super::gradation::sphere_mm3;
use super::ground::{Ground, find_ground, too_crowded};
use super::hard_shadow::{self, HardShadow};
use super::look::{Seen, look};
use super::measure::{Mask, Shape, feret};
use super::reading::{Grain, GrainKind};
use super::rim::{EdgeSpread, settle_rims};
use super::segment::{Departure, Taken, departure, fill_holes, is_even, is_soft, mark, patches};
use super::settings::{GroundKind, ReadSettings};
use super::shade::Shade;
use super::split::split;
use super::texture::{self, Texture};
use super::window::WindowImage;
use crate::error::CoreError;
use crate::order;
use crate::photo::quality::sharpness_of_strong_edges;

/// The method's name in the document.
pub const METHOD_NAME: &str = "spread";
/// Changes whenever answers may.
pub const METHOD_VERSION: &str = "14";

/// What the window told.
#[derive(Debug, Clone)]
pub struct Spread {
    /// Counted grains in reading order, unrounded.
    pub grains: Vec<Grain>,
    /// Box of each grain, mm, in the same order.
    pub boxes_mm: Vec<[f64; 2]>,
    /// Outline of each grain, mm, in the same order.
    pub outlines_mm: Vec<Vec<[f64; 2]>>,
    /// Grains at or above this size are counted, mm.
    pub smallest_resolved_mm: f64,
    /// Share of the window under counted grains, percent.
    pub cover_percent: f64,
    /// Volume of all counted grains as spheres, mm3.
    pub volume_mm3: f64,
    /// Spread of the picture's edges, px of the window; `None` where no clear edge was found.
    pub edge_sigma_px: Option<f64>,
    /// The hard shadows that were taken off before the grains were looked for.
    pub hard_shadow: Option<HardShadow>,
    /// Share of what was seen inside grains that the network doubts, 0 to 1; 0 on a plain ground.
    pub doubt: f64,
    /// The heap that was read as a whole, its grains not told apart.
    pub texture: Option<Texture>,
}

/// How long each step took, in order; never part of a document.
pub type Timings = Vec<(&'static str, std::time::Duration)>;

/// Times the steps of a reading.
pub(crate) struct Stopwatch<'a> {
    timings: &'a mut Timings,
    since: Instant,
}

impl<'a> Stopwatch<'a> {
    pub(crate) fn new(timings: &'a mut Timings) -> Self {
        Self { timings, since: Instant::now() }
    }

    pub(crate) fn lap(&mut self, step: &'static str) {
        let now = Instant::now();
        self.timings.push((step, now - self.since));
        self.since = now;
    }
}

/// Finds and measures the grains of a window.
///
/// `photo_px_per_mm` is the photo's own scale: a window drawn larger than the photo resolves no more than the photo.
///
/// Without a card a window full of like grains is read as a whole (`texture`).
///
/// # Errors
/// `too_crowded` where grains lie heaped or no ground shows between them; `too_small` for a window under 64 px.
pub fn read_window(
    window: &WindowImage,
    photo_px_per_mm: f64,
    settings: &ReadSettings,
    timings: &mut Timings,
) -> Result<Spread, CoreError> {
    if window.width_px.min(window.height_px) < 64 {
        return Err(CoreError::refused(
            "too_small",
            format!("the window is {} x {} px, at least 64 x 64 is needed", window.width_px, window.height_px),
            "go closer, or choose a larger part of the photo",
        ));
    }
    let told_apart = apart(window, photo_px_per_mm, settings, timings);
    // On a card paper could show between the grains: there a heap is sent back to be spread.
    let bare = window.white.is_none() && settings.ground != GroundKind::White;
    let heaped = bare && told_apart.as_ref().is_err_and(|error| error.code() == "too_crowded");
    let texture = if heaped { texture::of_heap(window) } else { None };
    texture.map_or(told_apart, |texture| Ok(heap(window, texture, settings)))
}

/// A heap without grains told apart.
fn heap(window: &WindowImage, texture: Texture, settings: &ReadSettings) -> Spread {
    let scale = window.px_per_mm;
    let volume_mm3 = texture.layer_mm3(f64::from(window.width_px) * f64::from(window.height_px) / (scale * scale));
    Spread { cover_percent: 100.0, volume_mm3, texture: Some(texture), ..measured(&[], window, settings.smallest_px) }
}

/// The grains of a window one by one.
fn apart(window: &WindowImage, photo_px_per_mm: f64, settings: &ReadSettings, timings: &mut Timings) -> Result<Spread, CoreError> {
    let mut watch = Stopwatch::new(timings);
    let ground = find_ground(window, settings.ground)?;
    watch.lap("ground");
    if ground.white {
        return on_paper(window, &ground, photo_px_per_mm, settings, watch);
    }
    let departure = departure(window, &ground, settings);
    watch.lap("departure");
    let shade = Shade::learn(&departure);
    let marked = mark(&departure, shade.as_ref());
    watch.lap("half_level");
    let scale = window.px_per_mm;
    let edge_sigma_px = departure.edge_sigma_px;
    // What the photo resolves, in px of the window.
    let coarsening = (scale / photo_px_per_mm).max(1.0);
    let smallest_px = (settings.smallest_px * coarsening).max(settings.smallest_edge_sigmas * edge_sigma_px.unwrap_or(coarsening));
    let least_px = (0.5 * smallest_px * smallest_px * std::f64::consts::FRAC_PI_4) as usize;
    let whole = patches(&marked, |taken| taken != Taken::Ground as u8, departure.width, departure.height, least_px);
    watch.lap("patches");
    let mut found: Vec<Mask> = Vec::with_capacity(whole.len());
    for mask in whole {
        found.extend(without_shade(mask, &marked, &departure, least_px));
    }
    drop(marked);
    let found = closed(found, &departure);
    refuse_heaps(&found, window, settings)?;
    watch.lap("shade_and_holes");
    // Bound grains are not told from stones: no rule tried holds up against scenes with known truth (DEVELOPERS.md).
    let grains: Vec<Mask> = found.into_iter().flat_map(|mask| split(mask, settings)).collect();
    watch.lap("split");
    let grains: Vec<Body> = grains.into_iter().map(|mask| Body { mask, kind: GrainKind::Grain, may_be_lump: false }).collect();
    let mut spread = measured(&grains, window, smallest_px);
    spread.edge_sigma_px = edge_sigma_px;
    watch.lap("measure");
    if spread.cover_percent > settings.crowded_cover_percent {
        return Err(too_crowded(format!(
            "grains cover {:.0} % of the window, at most {:.0} % can be told apart",
            spread.cover_percent, settings.crowded_cover_percent
        )));
    }
    Ok(spread)
}

/// On white paper: what the network sees there.
fn on_paper(
    window: &WindowImage,
    ground: &Ground,
    photo_px_per_mm: f64,
    settings: &ReadSettings,
    mut watch: Stopwatch<'_>,
) -> Result<Spread, CoreError> {
    refuse_hidden_paper(ground, window.px_per_mm)?;
    let edge_sigma_px = window.edge_sigma_px.unwrap_or_else(|| sharpness_of_strong_edges(window).edge_sigma_px);
    let coarsening = (window.px_per_mm / photo_px_per_mm).max(1.0);
    let smallest_px = (settings.smallest_px * coarsening).max(settings.smallest_edge_sigmas * edge_sigma_px);
    let heap_mm2 = largest_heap_mm2(ground, window.px_per_mm);
    if heap_mm2 > settings.heap_mm2 {
        return Err(too_crowded(format!("grains lie heaped: no paper shows over {heap_mm2:.0} mm2")));
    }
    let Seen { mut answer, light, hard_shadow } = look(window, ground);
    watch.lap("network");
    // Without a card the window may hold print, as dark and even as a stone.
    if window.white.is_some() {
        take_even_stones(&mut answer, &light);
    }
    watch.lap("stones");
    let doubt = answer.doubtful_share(coarsening);
    let smallest_px = if hard_shadow.is_some() { smallest_px.max(hard_shadow::LEAST_GRAIN_PX) } else { smallest_px };
    let least_px = (0.5 * smallest_px * smallest_px * std::f64::consts::FRAC_PI_4) as usize;
    let shown = Shown { answer: &answer, doubt, light: &light, px_per_mm: window.px_per_mm };
    let mut found = bodies(shown, least_px, settings);
    drop(answer);
    watch.lap("bodies");
    refuse_crowd(&found, window, settings)?;
    settle_rims(&mut found.bodies, &light, EdgeSpread { sigma_px: edge_sigma_px, photo_px: coarsening });
    watch.lap("rims");
    let mut spread = measured(&found.bodies, window, smallest_px);
    spread.edge_sigma_px = Some(edge_sigma_px);
    spread.hard_shadow = hard_shadow;
    spread.doubt = doubt;
    watch.lap("measure");
    Ok(spread)
}

/// Where grains cover most of the paper or hang together in one large patch they lie on each other and hide each other.
fn refuse_crowd(found: &Found, window: &WindowImage, settings: &ReadSettings) -> Result<(), CoreError> {
    let cover_percent = 100.0 * found.grain_px as f64 / (f64::from(window.width_px) * f64::from(window.height_px));
    if cover_percent > settings.crowded_cover_percent {
        let limit = settings.crowded_cover_percent;
        return Err(too_crowded(format!("grains cover {cover_percent:.0} % of the window, at most {limit:.0} % can be told apart")));
    }
    let largest_mm2 = found.largest_ragged_px as f64 / (window.px_per_mm * window.px_per_mm);
    if largest_mm2 > settings.heap_mm2 {
        return Err(too_crowded(format!("grains lie heaped: one patch of {largest_mm2:.0} mm2 without ground in it")));
    }
    Ok(())
}

/// The grains of a patch that may hold shade: its parts that are certainly grain, or all of it where it has next to none and
/// still looks like a grain (pale quartz), or nothing (a shadow, a film).
fn without_shade(mask: Mask, marked: &[u8], departure: &Departure, least_px: usize) -> Vec<Mask> {
    let mut core = vec![0_u8; mask.inside.len()];
    let mut shaded = 0;
    for (index, value) in core.iter_mut().enumerate() {
        if mask.inside[index] != 0 {
            let (x, y) = (mask.left + (index % mask.width) as i32, mask.top + (index / mask.width) as i32);
            *value = marked[y as usize * departure.width + x as usize];
            shaded += usize::from(*value == Taken::Shade as u8);
        }
    }
    let area = mask.area();
    let mut parts =
        if shaded == 0 { Vec::new() } else { patches(&core, |taken| taken == Taken::Grain as u8, mask.width, mask.height, least_px) };
    let certain: usize = parts.iter().map(Mask::area).sum();
    // A pale grain shows a dark crescent on its shaded side only; a coloured or dark one shows its whole body.
    let crescent = certain * 2 < area && parts.iter().all(|part| (part.area() as f64) < 0.82 * part.convex_area());
    if shaded == 0 || certain * 5 < area || crescent {
        let film = is_soft(&mask, departure) || (shaded * 4 > area * 3 && is_even(&mask, departure));
        if film {
            return Vec::new();
        }
        let mut mask = mask;
        if shaded * 2 > area && (area as f64) < 0.9 * mask.convex_area() && area < 40 * least_px {
            mask.fill_hull();
        }
        return vec![mask];
    }
    for part in &mut parts {
        part.left += mask.left;
        part.top += mask.top;
    }
    parts.retain(|part| !is_soft(part, departure));
    parts
}

/// Fills holes, largest patch first, and drops the fragments that lay in them.
fn closed(mut found: Vec<Mask>, departure: &Departure) -> Vec<Mask> {
    let mut claimed = vec![false; departure.values.len()];
    let mut order: Vec<usize> = (0..found.len()).collect();
    order::by_number(&mut order, |index| -(found[*index].inside.len() as f64));
    let mut keep = vec![true; found.len()];
    for index in order {
        let mask = &mut found[index];
        let at = |mask: &Mask, inner: usize| {
            let (x, y) = (mask.left + (inner % mask.width) as i32, mask.top + (inner / mask.width) as i32);
            y as usize * departure.width + x as usize
        };
        let first = mask.inside.iter().position(|value| *value != 0);
        if first.is_none_or(|first| claimed[at(mask, first)]) {
            keep[index] = false;
            continue;
        }
        let filled = fill_holes(mask, departure);
        for inner in filled {
            claimed[at(mask, inner)] = true;
        }
    }
    let mut kept = keep.into_iter();
    found.retain(|_| kept.next().unwrap_or(false));
    found
}

/// A patch far larger than a stone of this trade, or one in which hundreds of grains hang together, cannot be told apart.
fn refuse_heaps(found: &[Mask], window: &WindowImage, settings: &ReadSettings) -> Result<(), CoreError> {
    let scale = window.px_per_mm;
    for mask in found {
        let area_mm2 = mask.area() as f64 / (scale * scale);
        if area_mm2 < settings.heap_mm2 {
            continue;
        }
        let solidity = mask.area() as f64 / mask.convex_area();
        // One big stone is compact and convex; a heap's rim is ragged.
        if solidity < 0.9 {
            return Err(too_crowded(format!("grains lie heaped: one patch of {area_mm2:.0} mm2 without ground in it")));
        }
    }
    Ok(())
}

fn measured(grains: &[Body], window: &WindowImage, smallest_px: f64) -> Spread {
    let scale = window.px_per_mm;
    let (width, height) = (f64::from(window.width_px), f64::from(window.height_px));
    let mut rows: Vec<(Grain, ([f64; 2], Vec<[f64; 2]>))> = Vec::with_capacity(grains.len());
    let mut area_px = 0.0;
    for Body { mask, kind, may_be_lump } in grains {
        let Some(seen) = mask.shape() else { continue };
        // What can be told apart is a matter of the pixels that a grain covers in the photo.
        if seen.ecd < smallest_px {
            continue;
        }
        let shape = from_above(mask, seen, window);
        area_px += shape.area;
        let outline = mask.outline().iter().map(|point| point.map(|value| value / scale)).collect();
        let grain = Grain { may_be_lump: *may_be_lump, ..grain(mask, *kind, &shape, [width, height], scale) };
        rows.push((grain, (shape.box_size.map(|side| side / scale), outline)));
    }
    order::by_numbers(&mut rows, |(grain, _)| [grain.y_mm, grain.x_mm]);
    let volume_mm3 = rows.iter().map(|(grain, _)| sphere_mm3(grain.ecd_mm)).sum();
    let (grains, (boxes_mm, outlines_mm)) = rows.into_iter().unzip();
    Spread {
        grains,
        boxes_mm,
        outlines_mm,
        smallest_resolved_mm: smallest_px / scale,
        cover_percent: 100.0 * area_px / (width * height),
        volume_mm3,
        edge_sigma_px: None,
        hard_shadow: None,
        doubt: 0.0,
        texture: None,
    }
}

/// The shape as straight above the grain: sizes as they would be seen from there; box, place and form stay as they are seen.
fn from_above(mask: &Mask, seen: Shape, window: &WindowImage) -> Shape {
    let Some(sight) = window.sight else { return seen };
    let slant = sight.slant(seen.centroid.map(|value| value / window.px_per_mm));
    let hull: Vec<[f64; 2]> = mask.hull().into_iter().map(|corner| slant.from_above(corner)).collect();
    let (feret_min, feret_max) = feret(&hull);
    Shape { area: seen.area / slant.stretch, ecd: seen.ecd / slant.stretch.sqrt(), feret_min, feret_max, ..seen }
}

fn grain(mask: &Mask, kind: GrainKind, shape: &Shape, window_px: [f64; 2], scale: f64) -> Grain {
    let right = f64::from(mask.left) + mask.width as f64 - 1.0;
    let bottom = f64::from(mask.top) + mask.height as f64 - 1.0;
    Grain {
        x_mm: shape.centroid[0] / scale,
        y_mm: shape.centroid[1] / scale,
        ecd_mm: shape.ecd / scale,
        feret_min_mm: shape.feret_min / scale,
        feret_max_mm: shape.feret_max / scale,
        area_mm2: shape.area / (scale * scale),
        circularity: shape.circularity,
        solidity: shape.solidity,
        kind,
        may_be_lump: false,
        cut: mask.left < 0 || mask.top < 0 || right >= window_px[0] || bottom >= window_px[1],
        outline_mm: None,
    }
}

#[cfg(test)]
#[path = "grains_tests.rs"]
mod tests;
