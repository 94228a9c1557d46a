//! The chance that each cup lasts: its law, its age, the signs seen at it and in the shared box.
//!
//! For each law that the posterior holds possible, what is left of each cup's life is cut into slices of known chance; the
//! signs weigh the slices (and pairs of slices, since the box shows the worse cup), and the law itself by how well it
//! explains them. The slices do not depend on the asked pour, so a bigger pour can never look safer. Beside wear a cup may be
//! badly fitted, for which signs too early for wear speak, and any cup may meet a mishap.

use std::sync::LazyLock;

use crate::life::Weibull;
use crate::life::condition::{ConditionTables, PLACES, SignTable};
use crate::life::elementary::{exps, lns};
use crate::life::fleet::age_of_unknown;
use crate::life::joint::{BAD_FIT_SHARE, Look, Mishaps, found_worn};
use crate::life::numeric::{root, weighted_quantile};

/// Chance of failing by the end of each slice, given that the cup has lasted so far.
const BREAKS: [f64; SLICES + 1] =
    [0.0, 0.0025, 0.006, 0.012, 0.025, 0.045, 0.075, 0.11, 0.155, 0.21, 0.27, 0.34, 0.41, 0.49, 0.57, 0.65, 0.73, 0.81, 0.89, 0.96, 1.0];
const SLICES: usize = 20;
/// Hazard from now to the middle of each slice.
static MIDDLES: LazyLock<[f64; SLICES]> = LazyLock::new(|| std::array::from_fn(|k| -(-f64::midpoint(BREAKS[k], BREAKS[k + 1])).ln_1p()));
const EDGES: usize = SLICES + 1;

/// Laws that stand for a posterior.
pub(super) const LAWS: usize = 45;

/// Distance of the 5 % ends of a normal law from its middle, in standard deviations.
const FIVE_PERCENT: f64 = 1.644_853_626_951_472;

/// What neither laws nor record show of how much higher a chance of failing may be, as a distance in ln hazard: cups wear in ways that
/// no model knows. Chosen, with [`untold_less`], so that 90 % intervals hold what they should on the invented shops of
/// `fixtures/fleet/kinds`.
const UNTOLD_MORE: f64 = 0.85;

/// The same downwards, at this ln hazard. A small chance is the mean over many cups that are sound, with next to no chance, and few
/// that are not: most lie far below it. Close to failing both sides are alike.
fn untold_less(ln_hazard: f64) -> f64 {
    2.5 - 1.4 * ((ln_hazard + 4.0) / 2.0).clamp(0.0, 1.0)
}

/// What is known of one cup, in one measure of use.
#[derive(Debug, Clone, PartialEq)]
pub struct CupInput {
    /// Use through it while it was watched.
    pub watched: f64,
    /// Use when watching began; None where nobody knows.
    pub age_then: Option<f64>,
    /// Grades: watched use at each, and the grade.
    pub grades: Vec<(f64, u8)>,
    /// Watched use at the last look after which it went on, and the share of cups found worn that this shop pulls: having been left in is a
    /// sign too. One look alone, the last: the same eye left it in at those before.
    pub left_in: Option<(f64, f64)>,
}

/// A look into the box.
#[derive(Debug, Clone, PartialEq)]
pub struct SharedLook {
    /// What it showed; its place is not used.
    pub look: Look,
    /// Watched use of each cup at it; None for a cup that was not in yet.
    pub watched: [Option<f64>; 2],
}

/// Chances of everything that a look showed, along a life.
pub(super) struct LookChances {
    chances: Vec<f64>,
    /// The same where nothing is known of the cups: each step as likely as any other.
    flat: f64,
}

/// Signs of one life are not independent of each other (same cup, same eye, wear that runs ahead stays ahead), and a cup may be torn since
/// they were seen: the newest counts whole, each one before it for this share of the next. Chosen among 1, 0.7 and 0.5 on the invented
/// shops of `fixtures/fleet/kinds`.
const OLDER: f64 = 0.7;

/// Takes numbers above 0 to a power.
fn raise(values: &mut [f64], power: f64) {
    if power != 1.0 {
        lns(values, 1e-300, 0.0);
        values.iter_mut().for_each(|ln| *ln *= power);
        exps(values, 0.0);
    }
}

/// The power with which each of so many signs counts, oldest first.
fn powers(signs: usize) -> impl Iterator<Item = f64> {
    (0..signs).rev().map(|newer| OLDER.powi(newer as i32))
}

/// The chances of looks under one set of tables.
pub(super) fn look_chances(looks: &[SharedLook], tables: &ConditionTables) -> Vec<LookChances> {
    let of = |(seen, power): (&SharedLook, f64)| {
        let mut chances = vec![1.0; PLACES];
        let mut flat = 1.0;
        for (table, step) in seen.look.signs(tables) {
            chances.iter_mut().zip(table.of_step(step)).for_each(|(product, chance)| *product *= chance);
            flat /= table.steps() as f64;
        }
        raise(&mut chances, power);
        LookChances { chances, flat: flat.powf(power) }
    };
    looks.iter().zip(powers(looks.len())).map(of).collect()
}

/// One possible law with the cups' prospects under it.
#[derive(Debug, Clone)]
struct Prospect {
    life: Weibull,
    weight: f64,
    /// Use per m3 during the asked pour, and after it.
    rates: [f64; 2],
    /// ln (use per m3 after the asked pour / scale).
    ln_rate_over_scale: f64,
    /// Use of each cup now, and its hazard summed so far.
    now: [f64; 2],
    summed: [f64; 2],
    /// Chance that each cup is a bad fit that has held so far.
    bad_fit: [f64; 2],
    mishaps: Mishaps,
    /// Chance of each pair of slices from here to the last of both: `[k * EDGES + l]` is that cup A ends in slice k or later and B in l or later.
    joint: Vec<f64>,
    margins: [[f64; EDGES]; 2],
}

/// The cups' prospects.
#[derive(Debug, Clone)]
pub struct Forecast {
    prospects: Vec<Prospect>,
    present: [bool; 2],
    pour_m3: f64,
    correction: Correction,
    /// Chance that all cups and that each cup last to where the correction's near part ends, not corrected.
    near: [f64; 3],
}

/// Factors of hazards, from what other forecasts and the shop's own record say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Correction {
    /// Of all hazards, those of new cups too.
    pub(super) lasting: f64,
    /// Beside it, of the cups that are in, up to a volume from now: what a look tells fades.
    pub(super) near: f64,
    /// That volume, m3.
    pub(super) near_m3: f64,
    /// Standard deviation of ln of both together.
    pub(super) ln_spread: f64,
}

impl Correction {
    const NONE: Self = Self { lasting: 1.0, near: 1.0, near_m3: 0.0, ln_spread: 0.0 };

    /// A chance to last `more_m3`, from what it is without correction, there and where the near part ends.
    fn of(&self, lasts: f64, lasts_near: f64, more_m3: f64) -> f64 {
        let near = if more_m3 <= self.near_m3 { lasts } else { lasts_near };
        lasts.powf(self.lasting) * near.powf(self.lasting * (self.near - 1.0))
    }
}

impl Forecast {
    /// No cup yet: a forecast for a pour, to which laws are added by [`Forecast::add`].
    pub fn new(pour_m3: f64, present: [bool; 2]) -> Self {
        Self { prospects: Vec::with_capacity(LAWS), present, pour_m3, correction: Correction::NONE, near: [1.0; 3] }
    }

    /// Adds laws of equal weight in one measure of use, in which the cups and looks are given; `rates`: use per m3 during the
    /// asked pour and after it. The laws take turns with the ways in which signs may speak.
    pub fn add(
        &mut self,
        laws: &[Weibull],
        cups: &[Option<CupInput>; 2],
        looks: &[SharedLook],
        tables: &[ConditionTables],
        mishaps: &Mishaps,
        rates: [f64; 2],
    ) {
        let chances: Vec<Vec<LookChances>> = tables.iter().map(|tables| look_chances(looks, tables)).collect();
        for (index, law) in laws.iter().enumerate() {
            let way = index % tables.len();
            let seen = Seen { looks, chances: &chances[way], grades: &tables[way].grade };
            self.prospects.push(prospect(*law, index, cups, &seen, mishaps, rates));
        }
    }

    /// Makes the weights sum to 1; called once, after the last [`Forecast::add`].
    pub fn finish(&mut self) {
        let top = self.prospects.iter().map(|p| p.weight).fold(f64::NEG_INFINITY, f64::max);
        let mut sum = 0.0;
        for prospect in &mut self.prospects {
            prospect.weight = (prospect.weight - top).exp();
            sum += prospect.weight;
        }
        self.prospects.iter_mut().for_each(|prospect| prospect.weight /= sum);
    }

    fn use_of(&self, prospect: &Prospect, more_m3: f64) -> f64 {
        let [during, after] = prospect.rates;
        more_m3.min(self.pour_m3) * during + (more_m3 - self.pour_m3).max(0.0) * after
    }

    /// Chance that cup `which` (0 A, 1 B) lasts `more_m3` from now, as if the other held: mean and 90 % interval.
    pub fn cup_lasts(&self, which: usize, more_m3: f64) -> (f64, f64, f64) {
        let mut values: Vec<(f64, f64)> = self.prospects.iter().map(|p| (p.cup_lasts(which, self.use_of(p, more_m3)), p.weight)).collect();
        let mean = values.iter().map(|(value, weight)| value * weight).sum::<f64>().clamp(0.0, 1.0);
        let ends = [0.05, 0.95].map(|q| weighted_quantile(&mut values, q));
        let value = self.correction.of(mean, self.near[1 + which], more_m3);
        // On the scale of ln hazard: what the laws leave open and what the record leaves open, as if independent; the mean is inside.
        let ln = |lasts: f64| (-lasts.clamp(1e-12, 1.0 - 1e-12).ln()).ln();
        let untold = [UNTOLD_MORE, untold_less(ln(value))];
        let away = |end: f64, untold: f64| {
            let laws = ln(end) - ln(mean);
            (laws * laws + (FIVE_PERCENT * self.correction.ln_spread).powi(2) + untold * untold).sqrt()
        };
        let (more, less) = (away(ends[0], untold[0]), away(ends[1], untold[1]));
        let at = |away: f64| (-(ln(value) + away).exp()).exp();
        (value, at(more).min(value), at(-less).max(value))
    }

    /// Takes hazards times factors.
    pub(super) fn correct(&mut self, correction: Correction) {
        let near = correction.near_m3;
        let of_cup =
            |which: usize| self.prospects.iter().map(|p| p.weight * p.cup_lasts(which, self.use_of(p, near))).sum::<f64>().clamp(0.0, 1.0);
        self.near = [self.all_last_use(|p| self.use_of(p, near)), of_cup(0), of_cup(1)];
        self.correction = correction;
    }

    /// Chance that every cup lasts `more_m3` from now.
    pub fn all_last(&self, more_m3: f64) -> f64 {
        self.correction.of(self.all_last_use(|p| self.use_of(p, more_m3)), self.near[0], more_m3)
    }

    /// Hazard summed over `more_m3` of ordinary work, not corrected.
    pub(super) fn ordinary_hazard(&self, more_m3: f64) -> f64 {
        -self.all_last_use(|p| more_m3 * p.rates[1]).max(1e-300).ln()
    }

    /// Chance that every cup lasts `more_m3` from now, shared out over the laws: each one's weight times the chance under it.
    pub(super) fn all_last_by_law(&self, more_m3: f64) -> Vec<f64> {
        let mut parts: Vec<f64> = self.prospects.iter().map(|p| self.weighted_last(p, self.use_of(p, more_m3))).collect();
        let sum: f64 = parts.iter().sum();
        let lasts = self.correction.of(sum.clamp(0.0, 1.0), self.near[0], more_m3);
        parts.iter_mut().for_each(|part| *part *= lasts / sum.max(1e-300));
        parts
    }

    fn all_last_use(&self, more: impl Fn(&Prospect) -> f64) -> f64 {
        self.prospects.iter().map(|p| self.weighted_last(p, more(p))).sum::<f64>().clamp(0.0, 1.0)
    }

    /// Weight of a law times the chance under it that every cup lasts `more` use.
    fn weighted_last(&self, p: &Prospect, more: f64) -> f64 {
        let rest: f64 = (0..2).filter(|&c| self.present[c]).map(|c| p.escapes(c, more)).product();
        p.weight * rest * p.both_last(more, self.present)
    }

    /// Weights of the laws; their sum is 1.
    pub(super) fn weights(&self) -> impl Iterator<Item = f64> {
        self.prospects.iter().map(|p| p.weight)
    }

    /// Chance under each law that two new cups both last `age_m3` of ordinary work.
    pub(super) fn new_pair_lasts_by_law(&self, age_m3: f64) -> impl Iterator<Item = f64> {
        let ln_age = age_m3.max(1e-9).ln();
        self.prospects.iter().map(move |p| {
            let age = age_m3 * p.rates[1];
            let worn = (p.life.shape * (ln_age + p.ln_rate_over_scale)).exp();
            let ln_one = p.mishaps.fit_holds(p.life.scale, age).ln() - worn - p.mishaps.hazard(p.life.scale) * age;
            (2.0 * self.correction.lasting * ln_one).exp()
        })
    }

    /// The volume of ordinary work that one in fifty of new pairs reaches at most, over what is possible.
    pub fn far_m3(&self) -> f64 {
        self.prospects.iter().map(|p| p.weight * p.life.quantile(0.97) / p.rates[1]).sum()
    }

    /// Median life of a new cup in ordinary work, m3.
    pub fn median_life_m3(&self) -> f64 {
        let mut values: Vec<_> = self.prospects.iter().map(|p| (p.life.quantile(0.5) / p.rates[1], p.weight)).collect();
        weighted_quantile(&mut values, 0.5)
    }

    /// Volume from now at which the chance of cup `which` to last falls to `limit`; None beyond `far_m3`.
    pub fn lasts_until(&self, which: usize, limit: f64, far_m3: f64) -> Option<f64> {
        let lasts = |more: f64| {
            let mean = self.prospects.iter().map(|p| p.weight * p.cup_lasts(which, self.use_of(p, more))).sum::<f64>();
            self.correction.of(mean.clamp(0.0, 1.0), self.near[1 + which], more)
        };
        if lasts(far_m3) > limit {
            return None;
        }
        // On the scale of ln hazard over ln m3 the curve is nearly straight.
        let wanted = (-limit.ln()).max(1e-12).ln();
        let short = |ln_m3: f64| (-lasts(ln_m3.exp()).clamp(1e-300, 1.0 - 1e-15).ln()).ln() - wanted;
        let ln_far = far_m3.max(1e-6).ln();
        Some(root(short, ln_far - 16.0, ln_far, 1e-6).map_or(0.0, f64::exp))
    }
}

impl Prospect {
    /// Chance that cup `which` lasts `more` use, wear and all.
    fn cup_lasts(&self, which: usize, more: f64) -> f64 {
        let (slice, part) = self.reached(which, more);
        let beyond = &self.margins[which];
        (beyond[slice] - part * (beyond[slice] - beyond[slice + 1])) * self.escapes(which, more)
    }

    /// The slice of cup `which` that lies `more` use from now, and the share of it up to there.
    fn reached(&self, which: usize, more: f64) -> (usize, f64) {
        let failed = -(self.summed[which] - self.life.hazard_sum(self.now[which] + more)).exp_m1();
        let slice = BREAKS[1..SLICES].partition_point(|end| *end <= failed);
        (slice, ((failed - BREAKS[slice]) / (BREAKS[slice + 1] - BREAKS[slice])).clamp(0.0, 1.0))
    }

    /// Chance that neither cup wears out within `more` use; of one that is not `present` nothing is asked.
    fn both_last(&self, more: f64, present: [bool; 2]) -> f64 {
        let reached = |c: usize| if present[c] { self.reached(c, more) } else { (0, 0.0) };
        let (k, a) = reached(0);
        // Cups that went in together have come as far.
        let (l, b) = if present[0] && present[1] && self.now[0] == self.now[1] { (k, a) } else { reached(1) };
        let at = |k: usize, l: usize| self.joint[k * EDGES + l];
        let row = |k: usize| at(k, l) - b * (at(k, l) - at(k, l + 1));
        row(k) - a * (row(k) - row(k + 1))
    }

    /// Chance that neither a mishap nor a bad fit ends cup `which` within `more` use.
    fn escapes(&self, which: usize, more: f64) -> f64 {
        let scale = self.life.scale;
        let fit = 1.0 + self.bad_fit[which] * (-more / (BAD_FIT_SHARE * scale)).exp_m1();
        fit * (-self.mishaps.hazard(scale) * more).exp()
    }
}

/// What was seen, with its chances under one way in which signs may speak.
struct Seen<'a> {
    looks: &'a [SharedLook],
    chances: &'a [LookChances],
    grades: &'a SignTable,
}

/// Use at failure in the middle of each slice, of a cup whose hazard sums to this so far.
fn ends_of_slices(life: &Weibull, sum: f64) -> [f64; SLICES] {
    let mut ends = MIDDLES.map(|middle| sum + middle);
    raise(&mut ends, 1.0 / life.shape);
    ends.map(|end| life.scale * end)
}

fn prospect(life: Weibull, index: usize, cups: &[Option<CupInput>; 2], seen: &Seen<'_>, mishaps: &Mishaps, rates: [f64; 2]) -> Prospect {
    let mut now = [0.0; 2];
    let mut summed = [0.0; 2];
    let mut begun = [0.0; 2];
    // Use at failure, in the middle of each slice.
    let mut ends = [[1.0; SLICES]; 2];
    let mut weights = [[0.0; SLICES]; 2];
    for (c, cup) in cups.iter().enumerate() {
        let Some(cup) = cup else {
            weights[c][0] = 1.0;
            continue;
        };
        // Laws take turns with a young, a middling and an old cup where nobody knows its age.
        let turn = (index + c) % 3;
        let age_then = cup.age_then.unwrap_or_else(|| age_of_unknown(&life, cup.watched, (turn as f64 + 0.5) / 3.0) - cup.watched);
        begun[c] = age_then;
        now[c] = age_then + cup.watched;
        let sum = life.hazard_sum(now[c]);
        summed[c] = sum;
        ends[c] = match cups[0] {
            Some(_) if c == 1 && now[0] == now[1] => ends[0],
            _ => ends_of_slices(&life, sum),
        };
        for (k, &end) in ends[c].iter().enumerate() {
            let graded = |(&(at, step), power): (&(f64, u8), f64)| seen.grades.chance(step, (age_then + at) / end).powf(power);
            let graded: f64 = cup.grades.iter().zip(powers(cup.grades.len())).map(graded).product();
            let left_in = cup.left_in.map_or(1.0, |(at, pulled)| 1.0 - pulled * found_worn((age_then + at) / end));
            weights[c][k] = (BREAKS[k + 1] - BREAKS[k]) * graded * left_in;
        }
    }

    let mut joint = vec![1.0; SLICES * SLICES];
    let mut flat = 1.0;
    for (look, chances) in seen.looks.iter().zip(seen.chances) {
        // A cup that was not in yet shows nothing: it is at the start of the table, and the other one is the worse.
        let places: [[usize; SLICES]; 2] = std::array::from_fn(|c| match (look.watched[c], &cups[c]) {
            (Some(at), Some(_)) => std::array::from_fn(|k| SignTable::place((begun[c] + at) / ends[c][k])),
            _ => [0; SLICES],
        });
        for (row, one) in joint.chunks_exact_mut(SLICES).zip(places[0]) {
            for (chance, other) in row.iter_mut().zip(places[1]) {
                *chance *= chances.chances[one.max(other)];
            }
        }
        flat *= chances.flat;
    }
    let mut sum = 0.0;
    for (k, row) in joint.chunks_exact_mut(SLICES).enumerate() {
        for (l, chance) in row.iter_mut().enumerate() {
            *chance *= weights[0][k] * weights[1][l];
            sum += *chance;
        }
    }
    // A badly fitted cup leaks from the start: any sign is as likely as any other.
    let mut bad = [0.0; 2];
    for (c, cup) in cups.iter().enumerate() {
        if let Some(cup) = cup.as_ref().filter(|cup| cup.age_then == Some(0.0)) {
            let holds = mishaps.bad_fit * (-now[c] / (BAD_FIT_SHARE * life.scale)).exp() / (1.0 - mishaps.bad_fit);
            let graded = 0.2_f64.powf(powers(cup.grades.len()).sum());
            bad[c] = holds * flat * graded * weights[1 - c].iter().sum::<f64>();
        }
    }
    let all = (sum + bad[0] + bad[1]).max(1e-300);
    let mut beyond = vec![0.0; EDGES * EDGES];
    for k in (0..SLICES).rev() {
        let mut row = 0.0;
        for l in (0..SLICES).rev() {
            row += joint[k * SLICES + l];
            beyond[k * EDGES + l] = beyond[(k + 1) * EDGES + l] + row;
        }
    }
    let whole = sum.max(1e-300);
    beyond.iter_mut().for_each(|chance| *chance /= whole);
    let margins = [std::array::from_fn(|k| beyond[k * EDGES]), std::array::from_fn(|l| beyond[l])];
    Prospect {
        life,
        weight: all.ln(),
        rates,
        ln_rate_over_scale: (rates[1] / life.scale).ln(),
        now,
        summed,
        bad_fit: bad.map(|bad| bad / all),
        mishaps: *mishaps,
        joint: beyond,
        margins,
    }
}
