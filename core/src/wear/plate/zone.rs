//! The narrowest zone about heights that are known up to some free movements: a tilt of the whole plate, of one straightedge line.

use microlp::{ComparisonOp, OptimizationDirection, Problem, Solution, SolveOutcome};
use nalgebra::{DMatrix, DVector};

use crate::error::CoreError;

/// Heights, one a row, and the movements that the readings leave free, one a column: any mix of them may be added.
pub(super) struct Form {
    pub(super) heights: DVector<f64>,
    /// Columns of like size.
    pub(super) free: DMatrix<f64>,
}

/// A zone: what is left of each height when the best mix of the free movements is taken off.
pub(super) struct Zone {
    pub(super) mix: DVector<f64>,
    pub(super) residuals: DVector<f64>,
}

impl Zone {
    fn new(form: &Form, mix: DVector<f64>) -> Self {
        Self { residuals: &form.heights - &form.free * &mix, mix }
    }

    /// Lowest and highest residual.
    pub(super) fn ends(&self) -> (f64, f64) {
        (self.residuals.min(), self.residuals.max())
    }

    /// Highest less lowest residual.
    pub(super) fn width(&self) -> f64 {
        let (low, high) = self.ends();
        high - low
    }
}

impl Form {
    /// The mix of least squares. None where one of the free movements cannot be told from the others.
    pub(super) fn least_squares(&self) -> Option<Zone> {
        let svd = self.free.clone().svd(true, true);
        if svd.rank(1e-9 * svd.singular_values.max()) < self.free.ncols() {
            return None;
        }
        Some(Zone::new(self, svd.solve(&self.heights, 1e-12).ok()?))
    }

    /// The zone whose width is least, exactly, by linear programming on the residuals of `fit`.
    pub(super) fn narrowest(&self, fit: &Zone) -> Result<Zone, CoreError> {
        let size = fit.residuals.amax();
        if size < 1e-12 {
            return Ok(Zone::new(self, fit.mix.clone()));
        }
        let mut problem = Problem::new(OptimizationDirection::Minimize);
        let half = problem.add_var(1.0, (0.0, f64::INFINITY));
        let mix: Vec<_> = (0..self.free.ncols()).map(|_| problem.add_var(0.0, (f64::NEG_INFINITY, f64::INFINITY))).collect();
        for (row, residual) in fit.residuals.iter().enumerate() {
            let moved = mix.iter().enumerate().map(|(column, var)| (*var, self.free[(row, column)]));
            problem.add_constraint(moved.clone().chain([(half, 1.0)]).collect::<Vec<_>>(), ComparisonOp::Ge, residual / size);
            problem.add_constraint(moved.chain([(half, -1.0)]).collect::<Vec<_>>(), ComparisonOp::Le, residual / size);
        }
        let solved = solve(&problem)?;
        let step = DVector::from_iterator(mix.len(), mix.iter().map(|var| solved[*var] * size));
        Ok(Zone::new(self, &fit.mix + step))
    }

    /// How the least width answers to each height: its derivative, of first order. The dual of [`Self::narrowest`].
    pub(super) fn weights(&self, fit: &Zone) -> Result<DVector<f64>, CoreError> {
        let size = fit.residuals.amax();
        let rows = self.free.nrows();
        if size < 1e-12 {
            return Ok(DVector::zeros(rows));
        }
        let mut problem = Problem::new(OptimizationDirection::Maximize);
        let pairs: Vec<_> = (fit.residuals.iter())
            .map(|r| [1.0, -1.0].map(|sign| (sign, problem.add_var(sign * r / size, (0.0, f64::INFINITY)))))
            .collect();
        for column in 0..self.free.ncols() {
            let terms = pairs.iter().enumerate().flat_map(|(row, pair)| pair.map(|(sign, var)| (var, sign * self.free[(row, column)])));
            problem.add_constraint(terms.collect::<Vec<_>>(), ComparisonOp::Eq, 0.0);
        }
        problem.add_constraint(pairs.iter().flatten().map(|(_, var)| (*var, 1.0)).collect::<Vec<_>>(), ComparisonOp::Eq, 1.0);
        let solved = solve(&problem)?;
        // The width is twice the half width that the problem speaks of.
        Ok(DVector::from_iterator(rows, pairs.iter().map(|pair| 2.0 * pair.iter().map(|(sign, var)| sign * solved[*var]).sum::<f64>())))
    }

    /// How much of `shape` (one figure a height) stands in the heights beside the free movements. None where it cannot be told
    /// from them.
    pub(super) fn share_of(&self, shape: &[f64]) -> Option<f64> {
        let columns = self.free.ncols();
        let mut free = self.free.clone().insert_column(columns, 0.0);
        free.set_column(columns, &DVector::from_column_slice(shape));
        let with = Self { heights: self.heights.clone(), free };
        with.least_squares().map(|fit| fit.mix[columns])
    }
}

fn solve(problem: &Problem) -> Result<Solution, CoreError> {
    let failed = |cause: String| {
        CoreError::new(crate::ErrorKind::Internal, "failed", format!("the minimum zone was not found: {cause}"), "report these readings")
    };
    match problem.solve().map_err(|cause| failed(cause.to_string()))? {
        SolveOutcome::Solution(solution) => Ok(solution),
        // No limit of time or nodes is set.
        SolveOutcome::Interrupted(_) => Err(failed("interrupted".to_owned())),
    }
}
