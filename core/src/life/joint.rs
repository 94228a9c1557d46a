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

use std::sync::OnceLock;

use super::condition::{ConditionCounts, ConditionTables, PLACES, SHARE_BINS, SignCounts, SignTable, TRUST};
use super::elementary::{exps, lns};
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
    /// How many looks at it must have found it worn; None where its age is not known or nothing is counted.
    pub found_worn: Option<f64>,
}

/// One end more than [`ENDS`]: a failure by wear at the life's use.
const MOST_ENDS: usize = ENDS + 1;

/// The possible ends of a life with their weights, from the nearest to the farthest.
struct Working {
    /// How many there are: the rest of each list means nothing.
    ends: usize,
    /// Use at each over the whole life, from new.
    whole: [f64; MOST_ENDS],
    weight: [f64; MOST_ENDS],
    prior: [f64; MOST_ENDS],
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
        let before = odds(self.prior[0], self.prior[1..self.ends].iter().sum());
        let wear = self.weight[0];
        let now = odds(wear, 1.0 - wear).clamp(before / MISHAP_ODDS, before * MISHAP_ODDS);
        let rest = now / (1.0 + now);
        let scale = rest / (1.0 - wear).max(1e-300);
        self.weight[0] = 1.0 - rest;
        self.weight[1..self.ends].iter_mut().for_each(|weight| *weight *= scale);
    }

    /// Share of the life at each end, at this use since watching began.
    fn shares(&self, through: f64) -> [f64; MOST_ENDS] {
        let (used, mut shares) = (self.from + through, [0.0; MOST_ENDS]);
        shares.iter_mut().zip(&self.whole).for_each(|(share, whole)| *share = used / whole);
        shares
    }

    /// The same as places in a table of signs.
    fn places(&self, through: f64) -> [u8; MOST_ENDS] {
        const { assert!(PLACES <= 256) };
        let mut places = [0; MOST_ENDS];
        places.iter_mut().zip(self.shares(through)).for_each(|(place, share)| *place = SignTable::place(share) as u8);
        places
    }

    /// The weights by what was seen: `ln` of it for each end.
    fn weigh(&mut self, ln: &[f64; MOST_ENDS]) {
        let top = ln[..self.ends].iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut seen = *ln;
        exps(&mut seen[..self.ends], top);
        let mut total = 0.0;
        for ((weight, prior), seen) in self.weight.iter_mut().zip(&self.prior).zip(&seen).take(self.ends) {
            *weight = prior * seen;
            total += *weight;
        }
        self.weight.iter_mut().for_each(|weight| *weight /= total.max(1e-300));
        if self.failed {
            self.bound_mishap();
        }
    }

    /// Share of life at this use with its weight, for learning how signs speak. A failure counts at the use it had, mishap or not: sorting out
    /// those whose signs do not fit would make the rest fit ever better.
    fn taught(&self, through: f64) -> impl Iterator<Item = (f64, f64)> {
        let told = if self.failed { 1 } else { self.ends };
        let ends = self.whole.iter().zip(&self.weight).take(told);
        let weighed = ends.map(move |(whole, weight)| ((self.from + through) / whole, if self.failed { 1.0 } else { *weight }));
        weighed.filter(|(_, weight)| *weight > 1e-3)
    }

    /// The chance that whoever looks at this use finds it worn enough to pull.
    fn found_worn(&self, through: f64) -> f64 {
        let mut odds = self.shares(through).map(|share| (PULLED_AT.0 - share) / PULLED_AT.1);
        exps(&mut odds, 0.0);
        self.weight.iter().zip(&odds).take(self.ends).map(|(weight, odds)| weight / (1.0 + odds)).sum()
    }
}

/// The most by which signs may speak for a mishap or against it.
const MISHAP_ODDS: f64 = 8.0;

/// Along a life, the chance of everything that a look showed: a table of [`PLACES`], with room for any byte.
type Shown = [f64; 256];

/// A look with the lives it shows.
struct Glance<'a> {
    look: &'a Look,
    both: [Option<usize>; 2],
    /// Which of the chances of all that looks showed are its own.
    shown: usize,
    /// Places in a table of signs for the ends of each life.
    places: [[u8; MOST_ENDS]; 2],
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
        let mut working: Vec<Working> = self.lives.iter().map(|life| working(life, law, &grown, mishaps, soft)).collect();
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

/// Chance of what a look showed for each end of a life, the other cup's ends weighed: the box shows the worse of the two.
fn worse_of_two(chances: &Shown, places: &[u8; MOST_ENDS], other: Option<(&Working, &[u8; MOST_ENDS])>) -> [f64; MOST_ENDS] {
    let mut told = [0.0; MOST_ENDS];
    let Some((other, farther)) = other else {
        told.iter_mut().zip(places).for_each(|(told, place)| *told = chances[usize::from(*place)]);
        return told;
    };
    // Ends come from the nearest to the farthest, so places come from the last to the first.
    let mut others = farther.iter().zip(&other.weight).take(other.ends);
    let mut next = others.next();
    let (mut beyond, mut left) = (0.0, 1.0);
    for (told, place) in told.iter_mut().zip(places) {
        // The other cup is the worse where its place lies beyond this one's.
        while let Some((farther, weight)) = next.filter(|(farther, _)| *farther > place) {
            beyond += weight * chances[usize::from(*farther)];
            left -= weight;
            next = others.next();
        }
        *told = beyond + f64::max(left, 0.0) * chances[usize::from(*place)];
    }
    told
}

/// The grades of a life.
fn graded(life: &SignedLife, own: &Working, table: &SignTable) -> LnSum {
    let mut sum = LnSum::new();
    for (at, step) in &life.grades {
        let chances = table.of_step(*step);
        sum.add(&own.places(*at).map(|place| chances[usize::from(place)]));
    }
    sum
}

/// -ln of the chance that a life which came out worn looked worn, for each end; 0 for the others.
fn ln_pulled(life: &SignedLife, own: &Working) -> [f64; MOST_ENDS] {
    let mut ln = [0.0; MOST_ENDS];
    if life.end == SignedEnd::Out(true) {
        ln = own.shares(life.through).map(|share| (PULLED_AT.0 - share) / PULLED_AT.1);
        exps(&mut ln, 0.0);
        ln.iter_mut().for_each(|odds| *odds += 1.0);
        lns(&mut ln, 1.0, 0.0);
    }
    ln
}

/// Sums of logarithms of chances, one for each end: a logarithm is taken once for several chances multiplied.
#[derive(Clone)]
struct LnSum {
    sum: [f64; MOST_ENDS],
    product: [f64; MOST_ENDS],
    multiplied: usize,
}

impl LnSum {
    /// Chances count as at least this; so many of them multiplied stay above the smallest double.
    const LEAST: f64 = 1e-12;
    const MULTIPLIED: usize = 24;

    fn new() -> Self {
        Self { sum: [0.0; MOST_ENDS], product: [1.0; MOST_ENDS], multiplied: 0 }
    }

    fn add(&mut self, chances: &[f64; MOST_ENDS]) {
        self.product.iter_mut().zip(chances).for_each(|(product, chance)| *product *= chance.max(Self::LEAST));
        self.multiplied += 1;
        if self.multiplied == Self::MULTIPLIED {
            self.take();
        }
    }

    fn take(&mut self) {
        lns(&mut self.product, 1e-300, 0.0);
        self.sum.iter_mut().zip(&self.product).for_each(|(sum, ln)| *sum += ln);
        self.product = [1.0; MOST_ENDS];
        self.multiplied = 0;
    }

    fn done(mut self) -> [f64; MOST_ENDS] {
        if self.multiplied > 0 {
            self.take();
        }
        self.sum
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

/// How much less than nothing of the hazard summed over a life is left to the end of each bin beyond it, for lives of this shape: 1 less
/// what the sum has grown to by then.
fn grown(shape: f64) -> [f64; ENDS] {
    let mut grown = std::array::from_fn(|b| shape * END_STEP * (b + 1) as f64);
    exps(&mut grown, 0.0);
    grown.map(|grown| 1.0 - grown)
}

/// Ends of a life before its signs, weighed by the law alone.
fn working(life: &SignedLife, law: &Weibull, grown: &[f64; ENDS], mishaps: &Mishaps, soft: f64) -> Working {
    // Where nobody knows the age a middling one stands in; such a life teaches nothing about the signs.
    let from = life.age_then.unwrap_or(0.35 * law.scale);
    let unsure = life.age_then.is_none();
    let used = (from + life.through).max(1e-3 * law.scale);
    let failed = life.end == SignedEnd::Failed;
    let sum = law.hazard_sum(used);
    let hazard = law.shape / used * sum;
    let mut afters = grown.map(|grown| sum * grown);
    exps(&mut afters, 0.0);
    afters[ENDS - 1] = 0.0;
    // Failing by a mishap, the end of wear still lies ahead.
    let odds = if failed { mishaps.hazard(law.scale) } else { 1.0 };
    let first = usize::from(failed);
    let mut whole = [used; MOST_ENDS];
    let mut prior = [hazard; MOST_ENDS];
    let mut before = 1.0;
    for ((whole, prior), (after, middle)) in whole[first..].iter_mut().zip(&mut prior[first..]).zip(afters.iter().zip(middles())) {
        *whole = used * middle;
        *prior = odds * (before - after).max(1e-12);
        before = *after;
    }
    let ends = first + ENDS;
    let total: f64 = prior[..ends].iter().sum();
    // The end of a life that came out is itself guessed from its signs, and such lives left alone would run away with them. But where cups are
    // pulled by their looks those that fail are the few whose signs told little: learned from them alone, signs seem to come later than they do.
    let teaches = match life.end {
        SignedEnd::Failed => 1.0,
        SignedEnd::Out(true) => soft,
        SignedEnd::Out(false) | SignedEnd::Running => 0.0,
    };
    Working { ends, whole, weight: prior.map(|prior| prior / total), prior, from, failed, unsure, teaches }
}

/// The middle of each end bin, as a multiple of the use at which they begin.
fn middles() -> &'static [f64; ENDS] {
    static MIDDLES: OnceLock<[f64; ENDS]> = OnceLock::new();
    MIDDLES.get_or_init(|| std::array::from_fn(|b| (END_STEP * (b as f64 + 0.5)).exp()))
}
