//! What a record teaches, and the rounds of learning it.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use super::super::condition::{ConditionCounts, ConditionModel, ConditionTables, SETTLED_SHARES};
use super::super::fleet::{Fleet, GridLife, middle_law};
use super::super::joint::{Mishaps, SignedRecord, Softened, pulled_share};
use super::super::weibull::Weibull;
use super::followed::Followed;
use super::reading::{grid_life, grid_lives, rates_at_failures, settled_classes, signed_record, through};
use super::turn::{ODDS, Suspected, Watched, suspected};
use super::{MEASURES, Measure, Record};
use crate::history::{Life, LifeEnd, Timeline};
use crate::model::Part;
use crate::model::entry::RemovalReason;

/// Rounds of learning; more change little.
const ROUNDS: usize = 3;

/// A law in the middle of the prior, for a pump of which nothing is known yet.
const ASSUMED_LAW: Weibull = Weibull { shape: 2.5, scale: 4000.0 };

/// What the shop's record has taught.
pub(super) struct Learned {
    model: ConditionModel,
    /// The ways in which signs may speak: the model, and the model moved along a life by what is not known of it.
    pub(super) ways: Vec<ConditionTables>,
    pub(super) mishaps: Mishaps,
    pub(super) followed: Followed,
    /// Share of cups found worn that the shop pulls.
    pub(super) pulled_share: f64,
    /// Each pump's law in the middle of what is possible, for each measure.
    laws: [BTreeMap<String, Weibull>; 2],
    /// Settled solids for each m3 at which the classes begin; None while too few are on record.
    pub(super) settled_per_m3: Option<[f64; SETTLED_SHARES.len()]>,
    /// One law for the whole shop, m3, as a spreadsheet would have it.
    pub(super) pooled: Weibull,
    /// Weight of the duty measure against volume.
    pub(super) duty: f64,
    turn: Option<(DateTime<Utc>, f64)>,
}

/// One pump's lives, and the same with its looks in each measure.
struct Read {
    pump: String,
    /// Duty per m3 of what went through before the record.
    rate_before: f64,
    lives: Vec<Life>,
    signed: Vec<SignedRecord>,
}

/// What one round has counted.
#[derive(Default)]
struct Counted {
    signs: ConditionCounts,
    bad_fits: f64,
    fits: f64,
    mishaps: f64,
    lives_used: f64,
    pulls: f64,
    found_worn: f64,
    watched: Vec<Watched>,
}

impl Learned {
    /// What is assumed before anything is known.
    pub(super) fn nothing() -> Self {
        let model = ConditionModel::assumed();
        Self {
            ways: ways(&model, 0.0),
            model,
            mishaps: Mishaps::default(),
            followed: Followed::default(),
            pulled_share: pulled_share(0.0, 0.0),
            laws: [BTreeMap::new(), BTreeMap::new()],
            settled_per_m3: None,
            pooled: ASSUMED_LAW,
            duty: 0.0,
            turn: None,
        }
    }

    /// A turn of the shop's work that no row tells: since when, and by how much more each m3 wears. Duty is m3 weighted by it.
    pub(super) fn turn(&self) -> Option<(DateTime<Utc>, f64)> {
        self.turn
    }

    /// Learns from a record, by turns, from what is assumed on.
    pub(super) fn learn(&mut self, mut record: Record, fleets: &mut [Fleet; 2]) {
        self.model = ConditionModel::assumed();
        self.ways = vec![self.model.tables()];
        self.mishaps = Mishaps::default();
        self.laws = [BTreeMap::new(), BTreeMap::new()];
        self.settled_per_m3 = settled_classes(record.values());
        (self.duty, self.turn) = (0.0, None);
        record.values_mut().for_each(|timeline| timeline.set_turn(None));
        let mut rough = [Fleet::rough(), Fleet::rough()];
        let mut measures = if record.values().any(Timeline::tells_duty) { &MEASURES[..] } else { &MEASURES[..1] };
        let mut read = self.read(&record, measures);
        let mut watched = Vec::new();
        for _ in 1..ROUNDS {
            watched = self.round(&read, measures, &mut rough, false);
        }
        if measures.len() == 1
            && let Some(turns) = suspected(&record, &watched)
        {
            self.try_turns(&mut record, &turns, rough[0].ln_evidence());
            if self.turn.is_some() {
                measures = &MEASURES[..];
                read = self.read(&record, measures);
            }
        }
        self.round(&read, measures, fleets, true);
        self.followed = Followed::default();
        for (timeline, read) in record.values().zip(&read) {
            self.followed.add(timeline, &read.lives, &self.law(&read.pump, Measure::Volume));
        }
        let known = read.iter().flat_map(|read| &read.lives).filter(|life| life.age_then_m3.is_some());
        let lives: Vec<GridLife> = known.map(|life| grid_life(life, Measure::Volume, 1.0, None)).collect();
        self.pooled = fleets[0].pooled(&lives);
    }

    /// What does not change from round to round.
    fn read(&self, record: &Record, measures: &[Measure]) -> Vec<Read> {
        let of = |timeline: &Timeline| {
            let lives = timeline.lives(Part::Cup);
            let signed = measures.iter().map(|measure| signed_record(timeline, &lives, *measure, self.settled_per_m3.as_ref())).collect();
            Read { pump: timeline.pump().to_owned(), rate_before: timeline.duty_rate_before_record(), lives, signed }
        };
        record.values().map(of).collect()
    }

    /// A round: lives weighed by their signs as they are known so far, and what the two teach of each other.
    fn round(&mut self, read: &[Read], measures: &[Measure], fleets: &mut [Fleet; 2], last: bool) -> Vec<Watched> {
        let leading = if self.duty > 0.5 { Measure::Duty } else { Measure::Volume };
        let mut counted = Counted::default();
        for Read { pump, rate_before, lives, signed } in read {
            for (measure, signed) in measures.iter().zip(signed) {
                let leads = *measure == leading;
                let law = self.law(pump, *measure);
                let counts = leads.then_some((self.pulled_share, &mut counted.signs));
                let softened = signed.soften(&law, &self.ways[0], &self.mishaps, counts);
                let grid = grid_lives(lives, *measure, *rate_before, &softened);
                fleets[*measure as usize].set_pump(pump, &grid, &rates_at_failures(lives, *measure));
                if leads {
                    let of_pump = || lives.iter().zip(&softened);
                    of_pump().for_each(|(life, signs)| counted.add(life, signs, through(life, leading) / law.scale));
                    counted.watched.extend(of_pump().map(|(life, signs)| Watched::new(pump, life, signs.worn_out, &law)));
                }
            }
        }
        self.model = self.model.learned(&counted.signs);
        self.mishaps = Mishaps::learned(counted.bad_fits, counted.fits, counted.mishaps, counted.lives_used);
        self.pulled_share = pulled_share(counted.pulls, counted.found_worn);
        self.ways =
            if last { ways(&self.model, counted.signs.level.total() + counted.signs.grade.total()) } else { vec![self.model.tables()] };
        for measure in measures {
            let fleet = &mut fleets[*measure as usize];
            if last {
                fleet.settle()
            } else {
                fleet.settle_roughly()
            }
            self.take_laws(fleet, *measure, read.iter().map(|read| read.pump.as_str()));
        }
        if measures.len() > 1 {
            let [volume, duty] = [0, 1].map(|measure: usize| fleets[measure].ln_evidence());
            self.duty = self.weight_of_duty(duty - volume);
        }
        counted.watched
    }

    fn take_laws<'a>(&mut self, fleet: &Fleet, measure: Measure, pumps: impl Iterator<Item = &'a str>) {
        for pump in pumps {
            self.laws[measure as usize].insert(pump.to_owned(), middle_law(&fleet.posterior(pump, &[])));
        }
    }

    /// The weight of duty against volume where it explains the lives better by this much, ln: even odds before, but for a turn that is
    /// only suspected.
    fn weight_of_duty(&self, ln_more: f64) -> f64 {
        let odds = if self.turn.is_some() { ODDS } else { 1.0 };
        1.0 / (1.0 + (-ln_more).exp() / odds)
    }

    /// Takes the likeliest of the suspected turns for one, unless it is far from likely; `volume` is the evidence of lives in m3.
    fn try_turns(&mut self, record: &mut Record, turns: &Suspected, volume: f64) {
        let mut best: Option<(f64, f64, Fleet)> = None;
        for factor in turns.factors {
            record.values_mut().for_each(|timeline| timeline.set_turn(Some((turns.at, factor))));
            let mut fleet = Fleet::rough();
            for Read { pump, rate_before, lives, signed } in self.read(record, &[Measure::Duty]) {
                let softened = signed[0].soften(&self.law(&pump, Measure::Volume), &self.ways[0], &self.mishaps, None);
                let grid = grid_lives(&lives, Measure::Duty, rate_before, &softened);
                fleet.set_pump(&pump, &grid, &rates_at_failures(&lives, Measure::Duty));
            }
            let more = fleet.ln_evidence() - volume;
            if best.as_ref().is_none_or(|(before, ..)| more > *before) {
                best = Some((more, factor, fleet));
            }
        }
        if let Some((more, factor, mut fleet)) = best {
            self.turn = Some((turns.at, factor));
            self.duty = self.weight_of_duty(more);
            if self.duty < 0.05 {
                (self.duty, self.turn) = (0.0, None);
            } else {
                fleet.settle_roughly();
                self.take_laws(&fleet, Measure::Duty, record.keys().map(String::as_str));
            }
        }
        let turn = self.turn;
        record.values_mut().for_each(|timeline| timeline.set_turn(turn));
    }

    fn law(&self, pump: &str, measure: Measure) -> Weibull {
        self.laws[measure as usize].get(pump).copied().unwrap_or(ASSUMED_LAW)
    }

    /// A pump's lives in one measure with what their signs say of them.
    pub(super) fn soften(&self, timeline: &Timeline, measure: Measure) -> (Vec<GridLife>, Vec<Softened>) {
        let lives = timeline.lives(Part::Cup);
        let record = signed_record(timeline, &lives, measure, self.settled_per_m3.as_ref());
        let softened = record.soften(&self.law(timeline.pump(), measure), &self.ways[0], &self.mishaps, None);
        (grid_lives(&lives, measure, timeline.duty_rate_before_record(), &softened), softened)
    }
}

impl Counted {
    /// Adds a life with what its signs say; `lives_used`: its use as a share of an ordinary life.
    fn add(&mut self, life: &Life, signs: &Softened, lives_used: f64) {
        self.bad_fits += signs.bad_fit;
        self.mishaps += signs.mishap;
        if let Some(found) = signs.found_worn {
            self.found_worn += found;
            self.pulls += f64::from(u8::from(life.end == LifeEnd::Removed(Some(RemovalReason::Worn))));
        }
        self.fits += f64::from(u8::from(life.age_then_m3 == Some(0.0)));
        self.lives_used += lives_used;
    }
}

/// The ways in which signs may speak: the model, and the model moved along a life, as far as `signs` counted ones leave it open.
fn ways(model: &ConditionModel, signs: f64) -> Vec<ConditionTables> {
    // Each sign places the cuts to about a width over the square root of half its kind's share; a model never seen is worth its
    // spread. The five moves stand for fifths of a normal law.
    let spread = (1.0 / (1.0 / (0.12 * 0.12) + 2.0 * signs)).sqrt();
    [0.0, -1.28, 1.28, -0.52, 0.52].iter().map(|move_by| model.moved(move_by * spread).tables()).collect()
}
