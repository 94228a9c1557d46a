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

use super::condition::{ConditionCounts, ConditionTables, PLACES, SignTable, TRUST};
use super::weibull::Weibull;

/// Ends beyond a life's use that are told apart: bins of [`END_STEP`] in ln, the last one open.
pub const ENDS: usize = 25;

/// Width of an end bin in ln.
pub const END_STEP: f64 = 0.1;

/// Share of life at which a cup that is pulled as worn is half likely to be pulled, and the width of that. Assumption.
const PULLED_AT: (f64, f64) = (0.72, 0.12);

/// Chance that whoever looks at a cup at this share of its life finds it worn enough to pull, in a shop that always pulls such cups.
pub fn found_worn(life_share: f64) -> f64 {
    1.0 / (1.0 + ((PULLED_AT.0 - life_share) / PULLED_AT.1).exp())
}

/// Pulls among cups found worn, as if seen: a shop may pull by looks or run to failure. Assumption: three in ten, soon outweighed.
const PULL_PRIOR: (f64, f64) = (0.6, 2.0);

/// The share of cups found worn that a shop pulls, from its `pulls` and how many of its looks must have found a cup worn.
pub fn pulled_share(pulls: f64, found_worn: f64) -> f64 {
    ((PULL_PRIOR.0 + pulls) / (PULL_PRIOR.1 + found_worn)).min(0.95)
}

/// Mean use to failure of a badly fitted cup, as a share of the scale of good ones. Assumption.
pub const BAD_FIT_SHARE: f64 = 0.08;

/// What fails cups beside wear.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mishaps {
    /// Share of fits that go wrong.
    pub bad_fit: f64,
    /// Failures from outside (a stone, a broken bolt) for each life of wear.
    pub per_life: f64,
}

/// Prior of the share of bad fits: bad ones among all, as if seen. Assumption: about one in thirty.
const BAD_FIT_PRIOR: (f64, f64) = (0.7, 25.0);

/// Prior of mishaps for each life: mishaps in lives, as if seen. Assumption: about one in twenty-five.
const MISHAP_PRIOR: (f64, f64) = (1.0, 25.0);

/// More mishaps for each life than this are not believed: then it is wear that the signs do not show.
const MOST_MISHAPS: f64 = 0.35;

impl Default for Mishaps {
    /// What is assumed before a shop's own failures speak.
    fn default() -> Self {
        Self::learned(0.0, 0.0, 0.0, 0.0)
    }
}

impl Mishaps {
    /// From counts, parts of one where a cause is not known for sure: bad fits among `fits`, mishaps in `lives` worth of use.
    pub fn learned(bad_fits: f64, fits: f64, mishaps: f64, lives: f64) -> Self {
        Self {
            bad_fit: (BAD_FIT_PRIOR.0 + bad_fits) / (BAD_FIT_PRIOR.1 + fits),
            per_life: ((MISHAP_PRIOR.0 + mishaps) / (MISHAP_PRIOR.1 + lives)).min(MOST_MISHAPS),
        }
    }

    /// Hazard of a mishap for each unit of use.
    pub fn hazard(&self, scale: f64) -> f64 {
        self.per_life / scale
    }

    /// Chance that a fit has not been a bad one that failed by `age`.
    pub fn fit_holds(&self, scale: f64, age: f64) -> f64 {
        1.0 - self.bad_fit + self.bad_fit * (-age.max(0.0) / (BAD_FIT_SHARE * scale)).exp()
    }

    /// Hazard of a bad fit at `age`, given that the cup has lasted so far.
    pub fn bad_fit_hazard(&self, scale: f64, age: f64) -> f64 {
        let mean = BAD_FIT_SHARE * scale;
        self.bad_fit * (-age / mean).exp() / mean / self.fit_holds(scale, age)
    }
}

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
    /// How many looks at it must have found it worn; None where its age is not known.
    pub found_worn: Option<f64>,
}

/// One possible end of a life.
#[derive(Clone, Copy)]
struct End {
    /// Use at it over the whole life, from new.
    whole: f64,
    weight: f64,
    prior: f64,
}

struct Working {
    ends: Vec<End>,
    /// Use when watching began.
    from: f64,
    /// The first end stands for a failure by wear at the life's use.
    failed: bool,
    unsure: bool,
    /// How much its signs teach.
    teaches: f64,
}

impl Working {
    /// Keeps the odds of a mishap within [`MISHAP_ODDS`] of what they are without signs.
    fn bound_mishap(&mut self) {
        let odds = |wear: f64, rest: f64| rest / wear.max(1e-300);
        let before = odds(self.ends[0].prior, self.ends[1..].iter().map(|end| end.prior).sum());
        let wear = self.ends[0].weight;
        let now = odds(wear, 1.0 - wear).clamp(before / MISHAP_ODDS, before * MISHAP_ODDS);
        let rest = now / (1.0 + now);
        let scale = rest / (1.0 - wear).max(1e-300);
        self.ends[0].weight = 1.0 - rest;
        self.ends[1..].iter_mut().for_each(|end| end.weight *= scale);
    }

    /// Ends with their weights.
    fn told(&self) -> impl Iterator<Item = (f64, f64)> {
        self.ends.iter().map(|end| (end.whole, end.weight))
    }

    /// Ends with their weights, for learning how signs speak. A failure counts at the use it had, mishap or not: sorting out
    /// those whose signs do not fit would make the rest fit ever better.
    fn taught(&self) -> impl Iterator<Item = (f64, f64)> {
        let told = if self.failed { 1 } else { self.ends.len() };
        self.ends[..told].iter().map(|end| (end.whole, if self.failed { 1.0 } else { end.weight })).filter(|(_, weight)| *weight > 1e-3)
    }
}

/// The most by which signs may speak for a mishap or against it.
const MISHAP_ODDS: f64 = 8.0;

impl SignedRecord {
    fn covering(&self, at: f64) -> [Option<usize>; 2] {
        std::array::from_fn(|cup| {
            self.lives.iter().rposition(|life| life.cup == cup && at > life.begin && at <= life.begin + life.through + 1e-9)
        })
    }

    /// Weighs the ends of every life by its signs, under one law; adds what the signs tell of themselves to `counts`, where a
    /// life that was pulled as worn teaches with the weight beside them (the share that the shop pulls), one that failed with 1.
    pub fn soften(
        &self,
        law: &Weibull,
        tables: &ConditionTables,
        mishaps: &Mishaps,
        counts: Option<(f64, &mut ConditionCounts)>,
    ) -> Vec<Softened> {
        let soft = counts.as_ref().map_or(0.0, |(pulled, _)| *pulled);
        let mut working: Vec<Working> = self.lives.iter().map(|life| working(life, law, mishaps, soft)).collect();
        let looks: Vec<(&Look, [Option<usize>; 2])> =
            self.looks.iter().map(|look| (look, self.covering(look.at))).filter(|(_, both)| both.iter().any(Option::is_some)).collect();
        // Chances of everything that a look showed, along a life.
        let chances: Vec<Vec<f64>> = looks
            .iter()
            .map(|(look, _)| {
                let mut product = vec![1.0; PLACES];
                for (table, step) in look.signs(tables) {
                    product.iter_mut().zip(table.of_step(step)).for_each(|(product, chance)| *product *= chance);
                }
                product
            })
            .collect();
        let mut ln = vec![Vec::new(); self.lives.len()];
        for sweep in 0..2 {
            for (i, life) in self.lives.iter().enumerate() {
                let own = &working[i];
                let mut sum = LnSum::new(own.ends.len());
                for (at, step) in &life.grades {
                    let chances = tables.grade.of_step(*step);
                    sum.add(own.ends.iter().map(|end| chances[SignTable::place((own.from + at) / end.whole)]));
                }
                for ((look, both), chances) in looks.iter().zip(&chances).filter(|((_, both), _)| both[life.cup] == Some(i)) {
                    let other = both[1 - life.cup].map(|o| (&working[o], look.at - self.lives[o].begin));
                    // Ends come from the nearest to the farthest, so places come from the last to the first.
                    let places: Vec<(usize, f64)> = other.map_or_else(Vec::new, |(other, through)| {
                        other.ends.iter().map(|end| (SignTable::place((other.from + through) / end.whole), end.weight)).collect()
                    });
                    let (mut passed, mut beyond, mut left) = (0, 0.0, 1.0);
                    sum.add(own.ends.iter().map(|end| {
                        let place = SignTable::place((own.from + look.at - life.begin) / end.whole);
                        // The other cup is the worse where its place lies beyond this one's.
                        while let Some((farther, weight)) = places.get(passed).filter(|(other, _)| *other > place) {
                            beyond += weight * chances[*farther];
                            left -= weight;
                            passed += 1;
                        }
                        beyond + f64::max(left, 0.0) * chances[place]
                    }));
                }
                let mut sum = sum.done();
                sum.iter_mut().for_each(|value| *value *= TRUST);
                if life.end == SignedEnd::Out(true) {
                    for (value, end) in sum.iter_mut().zip(&own.ends) {
                        let share = (own.from + life.through) / end.whole;
                        *value -= ((PULLED_AT.0 - share) / PULLED_AT.1).exp().ln_1p();
                    }
                }
                let top = sum.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                let own = &mut working[i];
                let mut total = 0.0;
                for (end, value) in own.ends.iter_mut().zip(&sum) {
                    end.weight = end.prior * (value - top).exp();
                    total += end.weight;
                }
                own.ends.iter_mut().for_each(|end| end.weight /= total.max(1e-300));
                if own.failed {
                    own.bound_mishap();
                }
                if sweep == 1 {
                    ln[i] = sum;
                }
            }
        }
        if let Some((_, counts)) = counts {
            self.count(&working, &looks, counts);
        }
        // A bad fit leaks from the start: any sign is as likely as any other.
        let mut ln_flat: Vec<f64> = self.lives.iter().map(|life| life.grades.len() as f64 * 0.2_f64.ln()).collect();
        for (look, both) in &looks {
            let flat: f64 = look.signs(tables).map(|(table, _)| -(table.steps() as f64).ln()).sum();
            both.iter().flatten().for_each(|&i| ln_flat[i] += flat);
        }
        let mut found = vec![0.0; self.lives.len()];
        for (look, both) in &looks {
            for &i in both.iter().flatten() {
                let own = &working[i];
                found[i] +=
                    own.told().map(|(whole, weight)| weight * found_worn((own.from + look.at - self.lives[i].begin) / whole)).sum::<f64>();
            }
        }
        (0..self.lives.len())
            .map(|i| {
                let life = &self.lives[i];
                let bad = if life.age_then == Some(0.0) { mishaps.bad_fit_hazard(law.scale, life.through) } else { 0.0 };
                let found_worn = (!working[i].unsure).then_some(found[i]);
                Softened { found_worn, ..softened(&working[i], &ln[i], bad, TRUST * ln_flat[i]) }
            })
            .collect()
    }

    fn count(&self, working: &[Working], looks: &[(&Look, [Option<usize>; 2])], counts: &mut ConditionCounts) {
        for (look, both) in looks {
            let of = |i: usize| (&working[i], look.at - self.lives[i].begin);
            let cups: Vec<_> = both.iter().flatten().map(|&i| of(i)).collect();
            let teaches = cups.iter().map(|(own, _)| own.teaches).fold(0.0, f64::max);
            if teaches <= 0.0 || cups.iter().any(|(own, _)| own.unsure) {
                continue;
            }
            let mut shares: Vec<(f64, f64)> = vec![(0.0, teaches)];
            for (own, through) in cups {
                let ends: Vec<(f64, f64)> = own.taught().map(|(whole, weight)| ((own.from + through) / whole, weight)).collect();
                shares = shares.iter().flat_map(|(a, w)| ends.iter().map(move |(b, v)| (a.max(*b), w * v))).collect();
            }
            for (share, weight) in shares {
                for (kind, step) in [
                    (&mut counts.level, look.level),
                    (&mut counts.muddy, look.muddy),
                    (&mut counts.low, look.low),
                    (&mut counts.settled, look.settled),
                ] {
                    if let Some(step) = step {
                        kind.add(share, step, weight);
                    }
                }
            }
        }
        for (life, own) in self.lives.iter().zip(working).filter(|(_, own)| !own.unsure && own.teaches > 0.0) {
            for (at, step) in &life.grades {
                for (whole, weight) in own.taught() {
                    counts.grade.add((own.from + at) / whole, *step, own.teaches * weight);
                }
            }
        }
    }
}

/// Sums of logarithms of chances, one for each end: a logarithm is taken once for several chances multiplied.
struct LnSum {
    sum: Vec<f64>,
    product: Vec<f64>,
    multiplied: usize,
}

impl LnSum {
    /// Chances count as at least this; so many of them multiplied stay above the smallest double.
    const LEAST: f64 = 1e-12;
    const MULTIPLIED: usize = 24;

    fn new(ends: usize) -> Self {
        Self { sum: vec![0.0; ends], product: vec![1.0; ends], multiplied: 0 }
    }

    fn add(&mut self, chances: impl Iterator<Item = f64>) {
        self.product.iter_mut().zip(chances).for_each(|(product, chance)| *product *= chance.max(Self::LEAST));
        self.multiplied += 1;
        if self.multiplied == Self::MULTIPLIED {
            self.take();
        }
    }

    fn take(&mut self) {
        for (sum, product) in self.sum.iter_mut().zip(&mut self.product) {
            *sum += std::mem::replace(product, 1.0).ln();
        }
        self.multiplied = 0;
    }

    fn done(mut self) -> Vec<f64> {
        if self.multiplied > 0 {
            self.take();
        }
        self.sum
    }
}

/// What signs say of a life: `ln` of them for each end; against a bad fit's hazard `bad` and ln of its signs.
fn softened(own: &Working, ln: &[f64], bad: f64, ln_flat: f64) -> Softened {
    let beyond = usize::from(own.failed);
    let top = ln[beyond..].iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let told = ln[beyond..].iter().any(|value| (value - ln[beyond]).abs() > 1e-6);
    let ratio = (told && !own.unsure).then(|| std::array::from_fn(|b| (ln[beyond + b] - top).exp()));
    if !own.failed {
        return Softened { worn_out: 0.0, mishap: 0.0, bad_fit: 0.0, ratio, found_worn: None };
    }
    let worn_out = own.ends[0].weight;
    let all = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let good: f64 = own.ends.iter().zip(ln).map(|(end, value)| end.prior * (value - all).exp()).sum();
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

/// Ends of a life before its signs, weighed by the law alone.
fn working(life: &SignedLife, law: &Weibull, mishaps: &Mishaps, soft: f64) -> Working {
    // Where nobody knows the age a middling one stands in; such a life teaches nothing about the signs.
    let from = life.age_then.unwrap_or(0.35 * law.scale);
    let unsure = life.age_then.is_none();
    let used = (from + life.through).max(1e-3 * law.scale);
    let failed = life.end == SignedEnd::Failed;
    let mut ends = Vec::with_capacity(ENDS + 1);
    let sum = law.hazard_sum(used);
    let hazard = law.shape / used * sum;
    if failed {
        ends.push(End { whole: used, weight: hazard, prior: hazard });
    }
    // Failing by a mishap, the end of wear still lies ahead.
    let odds = if failed { mishaps.hazard(law.scale) } else { 1.0 };
    let mut before = 1.0;
    for b in 0..ENDS {
        let after = if b + 1 == ENDS { 0.0 } else { (sum - law.hazard_sum(used * (END_STEP * (b + 1) as f64).exp())).exp() };
        let prior = odds * (before - after).max(1e-12);
        ends.push(End { whole: end_of(used, b), weight: prior, prior });
        before = after;
    }
    let total: f64 = ends.iter().map(|end| end.prior).sum();
    ends.iter_mut().for_each(|end| end.weight /= total);
    // The end of a life that came out is itself guessed from its signs, and such lives left alone would run away with them. But where cups are
    // pulled by their looks those that fail are the few whose signs told little: learned from them alone, signs seem to come later than they do.
    let teaches = match life.end {
        SignedEnd::Failed => 1.0,
        SignedEnd::Out(true) => soft,
        SignedEnd::Out(false) | SignedEnd::Running => 0.0,
    };
    Working { ends, from, failed, unsure, teaches }
}

/// The middle of an end bin.
fn end_of(used: f64, bin: usize) -> f64 {
    used * (END_STEP * (bin as f64 + 0.5)).exp()
}
