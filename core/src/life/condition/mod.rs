//! What grades, levels, the liquid and the settled solids say about how far a cup is through its life.
//!
//! A cup that will wear out at use T has gone through the share f = use / T of its life. A worse sign is likelier the larger f is:
//! the chance of a sign at or beyond step k is a logistic curve in f with its middle at `cuts[k]` and a width. Wrong signs
//! happen: a share of them (`misread`) may be any step. The ratio of a worse sign's chance to a better one's is kept from falling
//! as f grows ([`SignTable`]), so a worse sign always moves the judgement towards failure (monotone likelihood ratio), whatever the
//! prior and however many signs are misread.
//!
//! The box is shared: its level is that of the cup that is further through its life.
//!
//! The figures are assumptions, for a shop's own lives to correct ([`ConditionModel::learned`]).
//!
//! ```text
//! sign   one kind of sign: its chances along a life, as a table, and corrected by counts
//! mod    all kinds together
//! ```

mod sign;

pub use sign::{CUT_SPREAD, LN_WIDTH_SPREAD, PLACES, SHARE_BINS, SignCounts, SignModel, SignTable, TRUST};

/// All signs.
#[derive(Debug, Clone, PartialEq)]
pub struct ConditionModel {
    /// Levels 0 to 3: paste only, some sand, sand, lumps.
    pub level: SignModel,
    /// Grades 0 to 4.
    pub grade: SignModel,
    /// Muddy or not.
    pub muddy: SignModel,
    /// Low or not.
    pub low: SignModel,
    /// Settled solids for each m3 since the drain, in classes of the shop's own records ([`SETTLED_SHARES`]).
    pub settled: SignModel,
}

/// A settled rate is in class k where it lies above this share k of the shop's own rates so far.
pub const SETTLED_SHARES: [f64; 4] = [0.5, 0.75, 0.9, 0.97];

/// Counts of every kind of sign.
#[derive(Debug, Clone, PartialEq)]
pub struct ConditionCounts {
    /// Levels.
    pub level: SignCounts,
    /// Grades.
    pub grade: SignCounts,
    /// Muddy.
    pub muddy: SignCounts,
    /// Low.
    pub low: SignCounts,
    /// Settled.
    pub settled: SignCounts,
}

impl Default for ConditionCounts {
    fn default() -> Self {
        Self {
            level: SignCounts::new(4),
            grade: SignCounts::new(5),
            muddy: SignCounts::new(2),
            low: SignCounts::new(2),
            settled: SignCounts::new(SETTLED_SHARES.len() + 1),
        }
    }
}

impl ConditionModel {
    /// What is assumed before a shop's own lives speak. The order of signs is common practice, no published source: paste
    /// only is normal, sand means that cups are passing, lumps that they are done; muddy water means a badly worn piston
    /// (READ chinapumpparts.com, News 114); box water that falls passes the worn seal (READ concreteconstruction.net, water
    /// leakage into pumped concrete). The places along a life are our assumption.
    pub fn assumed() -> Self {
        Self {
            level: SignModel::new(&[0.5, 0.75, 0.93], 0.13),
            grade: SignModel::new(&[0.2, 0.45, 0.7, 0.93], 0.13),
            muddy: SignModel::new(&[0.9], 0.15),
            low: SignModel::new(&[1.05], 0.2),
            settled: SignModel::new(&[0.45, 0.68, 0.82, 0.93], 0.15),
        }
    }

    /// The model corrected by counted signs, against what is assumed.
    #[must_use]
    pub fn learned(&self, counts: &ConditionCounts) -> Self {
        let prior = Self::assumed();
        Self {
            level: self.level.learned(&prior.level, &counts.level),
            grade: self.grade.learned(&prior.grade, &counts.grade),
            muddy: self.muddy.learned(&prior.muddy, &counts.muddy),
            low: self.low.learned(&prior.low, &counts.low),
            settled: self.settled.learned(&prior.settled, &counts.settled),
        }
    }

    /// Every sign moved along the life by `shift` shares.
    #[must_use]
    pub fn moved(&self, shift: f64) -> Self {
        Self {
            level: self.level.moved(shift),
            grade: self.grade.moved(shift),
            muddy: self.muddy.moved(shift),
            low: self.low.moved(shift),
            settled: self.settled.moved(shift),
        }
    }

    /// The chances as tables.
    pub fn tables(&self) -> ConditionTables {
        ConditionTables {
            level: self.level.table(),
            grade: self.grade.table(),
            muddy: self.muddy.table(),
            low: self.low.table(),
            settled: self.settled.table(),
        }
    }
}

/// Tables of every kind of sign.
#[derive(Debug, Clone, PartialEq)]
pub struct ConditionTables {
    /// Levels.
    pub level: SignTable,
    /// Grades.
    pub grade: SignTable,
    /// Muddy.
    pub muddy: SignTable,
    /// Low.
    pub low: SignTable,
    /// Settled.
    pub settled: SignTable,
}

#[cfg(test)]
mod tests;
