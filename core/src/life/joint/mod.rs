//! Lives and signs of one pump taken together: what a life that came out before failing would still have lasted.
//!
//! A cup that comes out because it looked worn is no ordinary censored life. Its life T is unknown, but every sign seen along it
//! says something about use / T. So each life carries weights over possible ends: for one that came out, ends beyond its use; for one
//! that failed, the end it had, or one beyond it that a mishap forestalled, or a bad fit that cut it short. Signs of the box
//! speak of the cup that is further through its life, so the weights of both cups are worked out by turns (mean field).
//!
//! Removal for wear is itself a sign: a mechanic pulls a cup that looks worn to him, whether or not he writes a grade down.
//! Whether a removal is informative then needs no assumption beyond that: given the signs on record, it may depend on them
//! in any way.
//!
//! ```text
//! mod      a pump's lives and looks, and what the signs say of each life
//! ends     the possible ends of one life with their weights
//! shown    the chance of what looks and grades showed, for each end
//! mishaps  what fails cups beside wear, and pulling by looks
//! ```

mod ends;
mod mishaps;
mod shown;

use ends::{MOST_ENDS, Working, grown};
pub use mishaps::{BAD_FIT_SHARE, Mishaps, found_worn, pulled_share};
use shown::{Glance, LnSum, Shown, graded, ln_pulled, worse_of_two};

use super::condition::{ConditionCounts, ConditionTables, SHARE_BINS, SignCounts, SignTable, TRUST};
use super::elementary::exps;
use super::weibull::Weibull;

/// Ends beyond a life's use that are told apart: bins of [`END_STEP`] in ln, the last one open.
pub const ENDS: usize = 25;

/// Width of an end bin in ln.
pub const END_STEP: f64 = 0.1;

/// How a life ended, for its signs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SignedEnd {
    /// In a pour.
    Failed,
    /// Before; true where it came out because it looked worn.
    Out(bool),
    /// It is still in.
    Running,
}

/// One life with what was seen at the cup alone. Uses in one measure.
#[derive(Debug, Clone, PartialEq)]
pub struct SignedLife {
    /// 0 A, 1 B.
    pub cup: usize,
    /// Place along the record at which watching began.
    pub begin: f64,
    /// Use through it since (middle of what is possible).
    pub through: f64,
    /// Use when watching began; None where nobody knows.
    pub age_then: Option<f64>,
    /// How it ended.
    pub end: SignedEnd,
    /// Grades: use since watching began, and the step.
    pub grades: Vec<(f64, u8)>,
}

/// A look into the box.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Look {
    /// Place along the record.
    pub at: f64,
    /// Level.
    pub level: Option<u8>,
    /// Muddy (1) or not (0).
    pub muddy: Option<u8>,
    /// Low (1) or not (0).
    pub low: Option<u8>,
    /// Class of the settled rate.
    pub settled: Option<u8>,
}

/// One pump's lives and looks, in order of time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SignedRecord {
    /// Lives.
    pub lives: Vec<SignedLife>,
    /// Looks.
    pub looks: Vec<Look>,
}

/// What the signs say of one life.
#[derive(Debug, Clone, PartialEq)]
pub struct Softened {
    /// Weight of the life's end as a wear-out failure; 0 where it did not fail.
    pub worn_out: f64,
    /// Weight of it as a life forestalled by a mishap.
    pub mishap: f64,
    /// Weight of it as a bad fit.
    pub bad_fit: f64,
    /// Relative likelihood of the signs for an end in each bin beyond the life's use; None where no sign tells the bins apart.
    pub ratio: Option<[f64; ENDS]>,
    /// How many looks at it must have found it worn; None where its age is not known or nothing is counted.
    pub found_worn: Option<f64>,
}

impl SignedRecord {
    fn covering(&self, at: f64) -> [Option<usize>; 2] {
        std::array::from_fn(|cup| {
            self.lives.iter().rposition(|life| life.cup == cup && at > life.begin && at <= life.begin + life.through + 1e-9)
        })
    }

    /// Looks that show any life, and along a life the chances of everything that a look showed, once for all looks that showed the same.
    fn glances(&self, working: &[Working], tables: &ConditionTables) -> (Vec<Glance<'_>>, Vec<Shown>) {
        let mut chances: Vec<Shown> = Vec::new();
        let mut alike = std::collections::BTreeMap::new();
        let mut glances = Vec::with_capacity(self.looks.len());
        for look in &self.looks {
            let both = self.covering(look.at);
            if both == [None; 2] {
                continue;
            }
            let shown = *alike.entry([look.level, look.muddy, look.low, look.settled]).or_insert_with(|| {
                let mut product = [1.0; 256];
                for (table, step) in look.signs(tables) {
                    product.iter_mut().zip(table.of_step(step)).for_each(|(product, chance)| *product *= chance);
                }
                chances.push(product);
                chances.len() - 1
            });
            let places = both.map(|i| i.map_or([0; MOST_ENDS], |i| working[i].places(look.at - self.lives[i].begin)));
            glances.push(Glance { look, both, shown, places });
        }
        (glances, chances)
    }

    /// Weighs the ends of every life by its signs, under one law; adds what the signs tell of themselves to `counts`, where a
    /// life that was pulled as worn teaches with the weight beside them (the share that the shop pulls), one that failed with 1.
    /// How many looks found a life worn is told with `counts` alone.
    pub fn soften(
        &self,
        law: &Weibull,
        tables: &ConditionTables,
        mishaps: &Mishaps,
        counts: Option<(f64, &mut ConditionCounts)>,
    ) -> Vec<Softened> {
        let soft = counts.as_ref().map_or(0.0, |(pulled, _)| *pulled);
        let grown = grown(law.shape);
        let mut working: Vec<Working> = self.lives.iter().map(|life| Working::new(life, law, &grown, mishaps, soft)).collect();
        let (glances, chances) = self.glances(&working, tables);
        // Signs of the cup alone do not change with the turns.
        let own: Vec<LnSum> = self.lives.iter().zip(&working).map(|(life, own)| graded(life, own, &tables.grade)).collect();
        let pulled: Vec<[f64; MOST_ENDS]> = self.lives.iter().zip(&working).map(|(life, own)| ln_pulled(life, own)).collect();
        let mut ln = vec![[0.0; MOST_ENDS]; self.lives.len()];
        for _ in 0..2 {
            for (i, life) in self.lives.iter().enumerate() {
                let mut sum = own[i].clone();
                for glance in glances.iter().filter(|glance| glance.both[life.cup] == Some(i)) {
                    let other = glance.both[1 - life.cup].map(|other| (&working[other], &glance.places[1 - life.cup]));
                    sum.add(&worse_of_two(&chances[glance.shown], &glance.places[life.cup], other));
                }
                let sum = sum.done();
                ln[i] = std::array::from_fn(|end| TRUST * sum[end] - pulled[i][end]);
                working[i].weigh(&ln[i]);
            }
        }
        let mut found = vec![None; self.lives.len()];
        if let Some((_, counts)) = counts {
            self.count(&working, &glances, counts);
            for (found, _) in found.iter_mut().zip(&working).filter(|(_, own)| !own.unsure) {
                *found = Some(0.0);
            }
            for glance in &glances {
                for &i in glance.both.iter().flatten() {
                    if let Some(found) = &mut found[i] {
                        *found += working[i].found_worn(glance.look.at - self.lives[i].begin);
                    }
                }
            }
        }
        // A bad fit leaks from the start: any sign is as likely as any other.
        let mut ln_flat: Vec<f64> = self.lives.iter().map(|life| life.grades.len() as f64 * 0.2_f64.ln()).collect();
        for glance in &glances {
            let flat: f64 = glance.look.signs(tables).map(|(table, _)| -(table.steps() as f64).ln()).sum();
            glance.both.iter().flatten().for_each(|&i| ln_flat[i] += flat);
        }
        (0..self.lives.len())
            .map(|i| {
                let life = &self.lives[i];
                let bad = if life.age_then == Some(0.0) { mishaps.bad_fit_hazard(law.scale, life.through) } else { 0.0 };
                Softened { found_worn: found[i], ..softened(&working[i], &ln[i], bad, TRUST * ln_flat[i]) }
            })
            .collect()
    }

    fn count(&self, working: &[Working], glances: &[Glance<'_>], counts: &mut ConditionCounts) {
        for glance in glances {
            let cups = || glance.both.iter().flatten().map(|&i| (&working[i], glance.look.at - self.lives[i].begin));
            let teaches = cups().map(|(own, _)| own.teaches).fold(0.0, f64::max);
            if teaches <= 0.0 || cups().any(|(own, _)| own.unsure) {
                continue;
            }
            // The share of the one that is further: each by itself, and up to each place.
            let mut further = [0.0; SHARE_BINS];
            further[0] = teaches;
            for (own, through) in cups() {
                let mut shares = [0.0; SHARE_BINS];
                own.taught(through).for_each(|(share, weight)| shares[SignCounts::bin(share)] += weight);
                let (mut below, mut up_to) = (0.0, 0.0);
                for (further, share) in further.iter_mut().zip(shares) {
                    up_to += share;
                    let both = *further * up_to + below * share;
                    below += *further;
                    *further = both;
                }
            }
            let look = glance.look;
            for (kind, step) in [
                (&mut counts.level, look.level),
                (&mut counts.muddy, look.muddy),
                (&mut counts.low, look.low),
                (&mut counts.settled, look.settled),
            ] {
                if let Some(step) = step {
                    kind.add_all(&further, step);
                }
            }
        }
        for (life, own) in self.lives.iter().zip(working).filter(|(_, own)| !own.unsure && own.teaches > 0.0) {
            for (at, step) in &life.grades {
                for (share, weight) in own.taught(*at) {
                    counts.grade.add(share, *step, own.teaches * weight);
                }
            }
        }
    }
}

/// What signs say of a life: `ln` of them for each end; against a bad fit's hazard `bad` and ln of its signs.
fn softened(own: &Working, ln: &[f64; MOST_ENDS], bad: f64, ln_flat: f64) -> Softened {
    let (ln, beyond) = (&ln[..own.ends], usize::from(own.failed));
    let top = |ln: &[f64]| ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let told = ln[beyond..].iter().any(|value| (value - ln[beyond]).abs() > 1e-6);
    let ratio = (told && !own.unsure).then(|| {
        let mut ratio: [f64; ENDS] = std::array::from_fn(|b| ln[beyond + b]);
        exps(&mut ratio, top(&ln[beyond..]));
        ratio
    });
    if !own.failed {
        return Softened { worn_out: 0.0, mishap: 0.0, bad_fit: 0.0, ratio, found_worn: None };
    }
    let worn_out = own.weight[0];
    let all = top(ln);
    let mut good = ln.to_vec();
    exps(&mut good, all);
    let good: f64 = own.prior.iter().zip(&good).map(|(prior, seen)| prior * seen).sum();
    let bad = bad * (ln_flat - all).min(700.0).exp();
    let bad_fit = bad / (bad + good).max(1e-300);
    Softened { worn_out: worn_out * (1.0 - bad_fit), mishap: (1.0 - worn_out) * (1.0 - bad_fit), bad_fit, ratio, found_worn: None }
}

impl Look {
    /// The signs with their tables.
    pub fn signs<'a>(&self, tables: &'a ConditionTables) -> impl Iterator<Item = (&'a SignTable, u8)> + use<'a> {
        [(&tables.level, self.level), (&tables.muddy, self.muddy), (&tables.low, self.low), (&tables.settled, self.settled)]
            .into_iter()
            .filter_map(|(table, step)| step.map(|step| (table, step)))
    }
}
