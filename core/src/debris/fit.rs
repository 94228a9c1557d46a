//! One homography (and one lens term) for all marks together, from the measured edges.

use nalgebra::{Matrix2, Matrix3, SMatrix, SVector};

use super::mark::{Edge, FoundMark, Sampler, cross};
use super::pose::{Lens, apply};

/// Unknowns: eight of the homography, the lens term, and how far ink spreads beyond its edge.
const UNKNOWNS: usize = 10;

/// Expected spread of the lens term over phone cameras (assumption): keeps it at rest where few marks cannot tell.
const LENS_SPREAD: f64 = 0.03;

/// Expected spread of the ink gain, mm (assumption): paper soaks, screens bloom, half level shifts with tone curves.
const GAIN_SPREAD_MM: f64 = 0.1;

/// Typical error of one edge, mm: sets the weight of the two expectations above, nothing else.
const EDGE_ERROR_MM: f64 = 0.015;

/// Tukey's constant: 95 % efficiency on normal errors.
const TUKEY: f64 = 4.685;

/// One mark with its edges listed once.
pub(crate) struct MarkEdges<'a> {
    pub(crate) mark: &'a FoundMark,
    pub(crate) edges: Vec<Edge>,
}

impl<'a> MarkEdges<'a> {
    pub(crate) fn new(mark: &'a FoundMark) -> Self {
        Self { mark, edges: mark.edges() }
    }

    /// Every `n`-th edge: enough for the first rounds.
    pub(crate) fn thinned(&self, n: usize) -> Self {
        Self { mark: self.mark, edges: self.edges.iter().step_by(n).copied().collect() }
    }
}

/// State of the fit: window mm to px.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Fit {
    pub(crate) homography: Matrix3<f64>,
    pub(crate) lens: Lens,
    /// How far dark reaches beyond its nominal edge, mm.
    pub(crate) gain_mm: f64,
}

/// One measured edge held against the fit.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Misfit {
    pub(crate) mark: usize,
    pub(crate) edge: Edge,
    /// Measured minus expected place along the edge's axis, mm, ink gain taken off.
    pub(crate) error_mm: f64,
    /// Tukey's weight, 0 to 1.
    pub(crate) weight: f64,
}

impl Fit {
    pub(crate) fn photo_px(&self, mm: [f64; 2]) -> [f64; 2] {
        self.lens.bend(apply(&self.homography, mm))
    }

    /// Measures every edge, `reach` modules to either side.
    pub(crate) fn measure(&self, sampler: &Sampler<'_>, marks: &[MarkEdges<'_>], reach: f64) -> Vec<Misfit> {
        let mut misfits = Vec::with_capacity(marks.iter().map(|mark| mark.edges.len()).sum());
        for (index, mark) in marks.iter().enumerate() {
            let pitch = mark.mark.pitch_mm();
            for edge in &mark.edges {
                if let Some(shift_mm) = cross(sampler, edge, pitch, reach * pitch, |mm| self.photo_px(mm)) {
                    let gain = if edge.light_after { self.gain_mm } else { -self.gain_mm };
                    misfits.push(Misfit { mark: index, edge: *edge, error_mm: shift_mm - gain, weight: 1.0 });
                }
            }
        }
        weigh(&mut misfits);
        misfits
    }

    /// One Gauss-Newton step on `misfits`; the lens term stays where it is unless `with_lens`. `None` where the edges do not settle it.
    pub(crate) fn step(&self, misfits: &[Misfit], with_lens: bool) -> Option<Self> {
        // Both sides are brought to about unit size, or the normal equations lose half of their digits.
        let (mm_norm, px_norm) = self.normalisers(misfits)?;
        let normed = px_norm * self.homography * mm_norm.try_inverse()?;
        let h = normed / normed[(2, 2)];
        let [sx, sy] = [mm_norm[(0, 0)], mm_norm[(1, 1)]];
        let radius = self.lens.radius_px;

        let mut normal = SMatrix::<f64, UNKNOWNS, UNKNOWNS>::zeros();
        let mut right = SVector::<f64, UNKNOWNS>::zeros();
        for misfit in misfits.iter().filter(|misfit| misfit.weight > 0.0) {
            let [x, y] = apply(&mm_norm, misfit.edge.middle_mm);
            let w = h[(2, 0)] * x + h[(2, 1)] * y + 1.0;
            let u = (h[(0, 0)] * x + h[(0, 1)] * y + h[(0, 2)]) / w;
            let v = (h[(1, 0)] * x + h[(1, 1)] * y + h[(1, 2)]) / w;
            // Derivative of the straight picture (units of the lens radius) by normalised mm, then by mm.
            let straight = Matrix2::new(
                (h[(0, 0)] - u * h[(2, 0)]) / w * sx,
                (h[(0, 1)] - u * h[(2, 1)]) / w * sy,
                (h[(1, 0)] - v * h[(2, 0)]) / w * sx,
                (h[(1, 1)] - v * h[(2, 1)]) / w * sy,
            );
            let r2 = u * u + v * v;
            let k = self.lens.k;
            let bend = Matrix2::new(1.0 + k * r2 + 2.0 * k * u * u, 2.0 * k * u * v, 2.0 * k * u * v, 1.0 + k * r2 + 2.0 * k * v * v);
            let inverse = (bend * straight).try_inverse()?;
            // A shift (du, dv) of the picture moves the expected edge by this many mm along its axis.
            let axis = inverse.row(misfit.edge.axis);
            let on_straight = axis * bend;
            let (a, b) = (on_straight[0] / w, on_straight[1] / w);
            let sign = if misfit.edge.light_after { 1.0 } else { -1.0 };
            let lens = if with_lens { (axis[0] * u + axis[1] * v) * r2 } else { 0.0 };
            let row =
                SVector::<f64, UNKNOWNS>::from([a * x, a * y, a, b * x, b * y, b, -(a * u + b * v) * x, -(a * u + b * v) * y, lens, sign]);
            // The picture has to move so that the expected edge comes to where it was measured: the unknowns are small and linear.
            normal += row * row.transpose() * misfit.weight;
            right += row * (misfit.error_mm * misfit.weight);
        }
        let expect = |spread: f64| (EDGE_ERROR_MM / spread).powi(2);
        normal[(8, 8)] += expect(LENS_SPREAD);
        right[8] -= expect(LENS_SPREAD) * self.lens.k;
        normal[(9, 9)] += expect(GAIN_SPREAD_MM);
        right[9] -= expect(GAIN_SPREAD_MM) * self.gain_mm;
        let change = normal.cholesky()?.solve(&right);
        let moved = h + Matrix3::new(change[0], change[1], change[2], change[3], change[4], change[5], change[6], change[7], 0.0);
        let homography = px_norm.try_inverse()? * moved * mm_norm;
        let homography = homography / homography[(2, 2)];
        let k = self.lens.k + change[8];
        let sane = homography.iter().all(|value| value.is_finite()) && k.abs() < 0.3 && radius > 0.0;
        sane.then_some(Self { homography, lens: Lens { k, ..self.lens }, gain_mm: self.gain_mm + change[9] })
    }

    /// Millimetres centred on the edges and scaled to about 1; px centred on the lens and scaled by its radius.
    fn normalisers(&self, misfits: &[Misfit]) -> Option<(Matrix3<f64>, Matrix3<f64>)> {
        if misfits.is_empty() {
            return None;
        }
        let count = misfits.len() as f64;
        let mean = [0, 1].map(|axis| misfits.iter().map(|misfit| misfit.edge.middle_mm[axis]).sum::<f64>() / count);
        let reach = misfits.iter().map(|misfit| (misfit.edge.middle_mm[0] - mean[0]).hypot(misfit.edge.middle_mm[1] - mean[1]));
        let s = 1.0 / reach.fold(1.0, f64::max);
        let mm_norm = Matrix3::new(s, 0.0, -s * mean[0], 0.0, s, -s * mean[1], 0.0, 0.0, 1.0);
        let (r, c) = (1.0 / self.lens.radius_px, self.lens.centre_px);
        Some((mm_norm, Matrix3::new(r, 0.0, -r * c[0], 0.0, r, -r * c[1], 0.0, 0.0, 1.0)))
    }
}

/// Tukey's biweight about zero, scaled by the median absolute error.
fn weigh(misfits: &mut [Misfit]) {
    let mut sizes: Vec<f64> = misfits.iter().map(|misfit| misfit.error_mm.abs()).collect();
    let Some(median) = median(&mut sizes) else { return };
    // Never narrower than what JPEG and noise do to single edges.
    let width = TUKEY * (1.4826 * median).max(0.005);
    for misfit in misfits {
        let share = misfit.error_mm / width;
        misfit.weight = if share.abs() < 1.0 { (1.0 - share * share).powi(2) } else { 0.0 };
    }
}

/// The median; reorders `values`. `None` for none.
fn median(values: &mut [f64]) -> Option<f64> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}
