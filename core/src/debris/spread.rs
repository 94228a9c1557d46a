//! How sharp the marks' edges are.
//!
//! The step across an edge is read a short way to either side and held against what the printed modules around it would show
//! through a Gauss blur. That stays right where the blur is so wide that neighbouring modules run into each other, and
//! there are hundreds of edges to average.

use statrs::function::erf::erf;

use super::fit::MarkEdges;
use super::mark::{Edge, FoundMark, Sampler};
use super::pose::CardPose;
use crate::photo::quality::Sharpness;

/// Edges of a mark and axis that are looked at: every n-th, so that the cost stays a fraction of the fit's.
const EDGES_PER_AXIS: usize = 80;

/// Largest spread that is told apart, modules: beyond it no mark can be read anyway.
const MAX_SIGMA_MODULES: f64 = 1.2;

/// Variance that bilinear reading between pixels adds, px squared.
const READING_VARIANCE: f64 = 1.0 / 6.0;

/// Edge spread over all marks: the worse of the two directions, so that a moved photo counts as blurred.
pub(super) fn sharpness_of(sampler: &Sampler<'_>, marks: &[MarkEdges<'_>], pose: &CardPose) -> Sharpness {
    let centre = pose.window_mm.map(|side| side / 2.0);
    let mut worst_mm: f64 = 0.0;
    for axis in [0, 1] {
        let (mut total, mut count) = (0.0, 0.0);
        for mark in marks {
            if let Some(sigma_mm) = sigma_mm(sampler, mark, pose, axis) {
                total += sigma_mm;
                count += 1.0;
            }
        }
        if count > 0.0 {
            worst_mm = worst_mm.max(total / count);
        }
    }
    Sharpness { edge_sigma_px: worst_mm * pose.px_per_mm_at(centre), edge_sigma_mm: worst_mm }
}

/// Spread of one mark's edges across `axis`, mm.
fn sigma_mm(sampler: &Sampler<'_>, mark: &MarkEdges<'_>, pose: &CardPose, axis: usize) -> Option<f64> {
    let found = mark.mark;
    let pitch = found.pitch_mm();
    let (dark, light) = levels(sampler, found, pose)?;
    let along_axis: Vec<&Edge> = mark.edges.iter().filter(|edge| edge.axis == axis).collect();
    let every = along_axis.len().div_ceil(EDGES_PER_AXIS).max(1);
    let edges: Vec<&Edge> = along_axis.into_iter().step_by(every).collect();
    let middle = found.mm([found.modules.size() as f64 / 2.0; 2]);
    let px_per_module = {
        let mut ends = [middle; 2];
        ends[0][axis] -= pitch / 2.0;
        ends[1][axis] += pitch / 2.0;
        let [from, to] = ends.map(|mm| pose.photo_px(mm));
        (to[0] - from[0]).hypot(to[1] - from[1])
    };
    // Most sensitive about one sigma from the edge; but no nearer than the pixels allow, nor past the module's middle.
    let (nearest, farthest): (f64, f64) = ((0.6 / px_per_module).min(0.4), 0.45);
    let mut away = farthest / 2.0;
    let mut sigma = 0.0;
    for _ in 0..3 {
        away = away.clamp(nearest, farthest);
        let mut steps: Vec<f64> = Vec::with_capacity(edges.len());
        let mut seen: Vec<&Edge> = Vec::with_capacity(edges.len());
        for edge in &edges {
            if let Some(step) = step(sampler, edge, away * pitch, pose) {
                steps.push(step / (light - dark));
                seen.push(edge);
            }
        }
        if seen.len() < 10 {
            return None;
        }
        let measured = steps.iter().sum::<f64>() / steps.len() as f64;
        let expected = |sigma: f64| {
            let shares = Shares::new(away, sigma);
            seen.iter().map(|edge| shares.expected_step(found, edge)).sum::<f64>() / seen.len() as f64
        };
        let (mut low, mut high) = (0.0, MAX_SIGMA_MODULES);
        for _ in 0..16 {
            let trial = (low + high) / 2.0;
            if expected(trial) > measured { low = trial } else { high = trial }
        }
        sigma = (low + high) / 2.0;
        away = sigma;
    }
    let sigma_px = ((sigma * px_per_module).powi(2) - READING_VARIANCE).max(0.01).sqrt();
    Some(sigma_px / px_per_module * pitch)
}

/// Dark and light of a mark, linear: inside the finder patterns and in the quiet zone beside them.
fn levels(sampler: &Sampler<'_>, mark: &FoundMark, pose: &CardPose) -> Option<(f64, f64)> {
    let size = mark.modules.size() as f64;
    let mean = |places: &[[f64; 2]]| {
        let values: Vec<f64> = places.iter().filter_map(|place| sampler.at(pose.photo_px(mark.mm(*place)))).map(f64::from).collect();
        (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
    };
    let (near, far) = (3.5, size - 3.5);
    let spots = |[x, y]: [f64; 2]| [[x, y], [x - 0.4, y], [x + 0.4, y], [x, y - 0.4], [x, y + 0.4]];
    let dark: Vec<[f64; 2]> = [[near, near], [far, near], [near, far]].into_iter().flat_map(spots).collect();
    let (out, beyond) = (-2.2, size + 2.2);
    let light = [[near, out], [out, near], [far, out], [beyond, near], [near, beyond], [out, far]];
    let (dark, light) = (mean(&dark)?, mean(&light)?);
    (light - dark > 0.02).then_some((dark, light))
}

/// Light minus dark at `away_mm` to either side of an edge.
fn step(sampler: &Sampler<'_>, edge: &Edge, away_mm: f64, pose: &CardPose) -> Option<f64> {
    let [mut before, mut after] = [edge.middle_mm; 2];
    before[edge.axis] -= away_mm;
    after[edge.axis] += away_mm;
    let difference = f64::from(sampler.at(pose.photo_px(after))? - sampler.at(pose.photo_px(before))?);
    Some(if edge.light_after { difference } else { -difference })
}

/// Modules across an edge, and aside of it, whose blur reaches it.
const ACROSS: std::ops::Range<i32> = -4..4;
const ASIDE: std::ops::RangeInclusive<i32> = -3..=3;

/// What the modules around an edge add to its step through a blur: the same for every edge of a mark.
struct Shares {
    across: Vec<f64>,
    aside: Vec<f64>,
}

impl Shares {
    /// Of edges read `away` modules to either side, blurred by `sigma` modules.
    fn new(away: f64, sigma: f64) -> Self {
        let share = |from: f64, to: f64| {
            let normal = |x: f64| if sigma > 1e-6 { erf(x / (sigma * std::f64::consts::SQRT_2)) } else { x.signum() };
            (normal(to) - normal(from)) / 2.0
        };
        let beside = |from: f64| share(from - away, from + 1.0 - away) - share(from + away, from + 1.0 + away);
        // An edge stands between two modules, in the middle of their sides.
        Self {
            across: ACROSS.map(|module| beside(f64::from(module))).collect(),
            aside: ASIDE.map(|module| share(f64::from(module) - 0.5, f64::from(module) + 0.5)).collect(),
        }
    }

    /// The step that the printed modules around an edge would show, ink 0 and paper 1.
    fn expected_step(&self, mark: &FoundMark, edge: &Edge) -> f64 {
        let pitch = mark.pitch_mm();
        let place = [0, 1].map(|axis| (edge.middle_mm[axis] - mark.place.offset_mm[axis]) / pitch);
        let (column, row) = (place[edge.axis].round() as i32, place[1 - edge.axis].floor() as i32);
        let mut total = 0.0;
        for (across, weight) in ACROSS.zip(&self.across).filter(|(_, weight)| weight.abs() >= 1e-6) {
            for (aside, share) in ASIDE.zip(&self.aside) {
                let [mut x, mut y] = [column + across, row + aside];
                if edge.axis == 1 {
                    (x, y) = (y, x);
                }
                if !mark.modules.is_dark(x, y) {
                    total += weight * share;
                }
            }
        }
        if edge.light_after { total } else { -total }
    }
}
