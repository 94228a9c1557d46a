//! A shop's whole record of cups, and what it teaches: the laws of their lives, how signs speak along them, what fails beside wear.
//!
//! Learning goes by turns over all lives and looks (a few rounds from what is assumed), so it is not done at every row: it is due
//! when the ended lives or the looks have grown by an eighth since the last time, and works on the record as it was at that row. When
//! it is due follows from the rows alone, so an answer does not depend on what else was asked. What a pump's own
//! lives and signs say since then is taken in at once.

use std::collections::BTreeMap;

use super::condition::{ConditionCounts, ConditionModel, ConditionTables, SETTLED_SHARES};
use super::fleet::{Fleet, GridLife, middle_law};
use super::joint::{Look, Mishaps, SignedEnd, SignedLife, SignedRecord, Softened, pulled_share};
use super::weibull::Weibull;
use crate::history::{Life, LifeEnd, Row, Seen, Timeline};
use crate::model::entry::{Liquid, RemovalReason};
use crate::model::{Cup, Part};

/// A measure of use that lives are counted in. Which one the lives follow is judged by the evidence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    /// m3.
    Volume,
    /// m3 weighted by pressure and mix.
    Duty,
}

const MEASURES: [Measure; 2] = [Measure::Volume, Measure::Duty];

/// What the shop's record has taught.
struct Learned {
    model: ConditionModel,
    /// The ways in which signs may speak: the model, and the model moved along a life by what is not known of it.
    ways: Vec<ConditionTables>,
    mishaps: Mishaps,
    /// Share of cups found worn that the shop pulls.
    pulled_share: f64,
    /// Each pump's law in the middle of what is possible, for each measure.
    laws: [BTreeMap<String, Weibull>; 2],
    /// Settled solids for each m3 at which the classes begin; None while too few are on record.
    settled_per_m3: Option<[f64; SETTLED_SHARES.len()]>,
    /// One law for the whole shop, m3, as a spreadsheet would have it.
    pooled: Weibull,
    /// Weight of the duty measure against volume.
    duty: f64,
}

/// Rounds of learning; more change little.
const ROUNDS: usize = 3;

/// Fewest settled rates on record for classes to mean anything.
const LEAST_SETTLED: usize = 12;

/// What was pumped since the drain, m3, below which a settled volume says nothing.
const LEAST_SINCE_DRAIN_M3: f64 = 20.0;

/// A shop's record.
pub struct Shop {
    timelines: BTreeMap<String, Timeline>,
    fleets: [Fleet; 2],
    learned: Learned,
    /// Ended lives and looks so far, and when learning was last due.
    grown: [usize; 2],
    learned_at: [usize; 2],
    /// The record as it was when learning was last due, where that is still to be done.
    due: Option<BTreeMap<String, Timeline>>,
}

impl Default for Shop {
    fn default() -> Self {
        Self::new()
    }
}

impl Shop {
    /// Nothing is known yet.
    pub fn new() -> Self {
        Self {
            timelines: BTreeMap::new(),
            fleets: [Fleet::new(), Fleet::new()],
            learned: Learned {
                model: ConditionModel::assumed(),
                ways: ways(&ConditionModel::assumed(), 0.0),
                mishaps: Mishaps::default(),
                pulled_share: pulled_share(0.0, 0.0),
                laws: [BTreeMap::new(), BTreeMap::new()],
                settled_per_m3: None,
                pooled: ASSUMED_LAW,
                duty: 0.0,
            },
            grown: [0, 0],
            learned_at: [0, 0],
            due: None,
        }
    }

    /// Takes in the next row; rows must come in the order of a [`crate::history::History`].
    pub fn take_in(&mut self, row: &Row) {
        if !self.timelines.contains_key(&row.pump) {
            self.timelines.insert(row.pump.clone(), Timeline::new(&row.pump));
        }
        let Some(timeline) = self.timelines.get_mut(&row.pump) else { return };
        let before = [timeline.ended_cups(), timeline.box_seen().len()];
        timeline.take_in(row);
        self.grown[0] += timeline.ended_cups() - before[0];
        self.grown[1] += timeline.box_seen().len() - before[1];
        let enough = |i: usize, least: usize| self.grown[i] >= self.learned_at[i] + (self.learned_at[i] / 8).max(least);
        if enough(0, 1) || enough(1, 12) {
            self.learned_at = self.grown;
            self.due = Some(self.timelines.clone());
        }
    }

    /// Learns where that is due, and takes in what `pump`'s own ended lives say since.
    pub fn catch_up(&mut self, pump: &str) {
        if let Some(record) = self.due.take() {
            self.learn(&record);
        }
        if let Some(timeline) = self.timelines.get(pump) {
            for measure in MEASURES.into_iter().filter(|measure| *measure == Measure::Volume || self.learned.duty > 0.0) {
                if self.fleets[measure as usize].ended_of(pump) != Some(timeline.ended_cups()) {
                    let (grid, _) = self.learned.soften(timeline, measure);
                    let ended: Vec<GridLife> = grid.into_iter().filter(|life| !life.running).collect();
                    self.fleets[measure as usize].set_ended(pump, &ended);
                }
            }
        }
    }

    /// Learns from the whole record, due or not.
    pub fn learn_all(&mut self) {
        self.due = None;
        let record = std::mem::take(&mut self.timelines);
        self.learn(&record);
        self.timelines = record;
    }

    /// One pump's record.
    pub fn timeline(&self, pump: &str) -> Option<&Timeline> {
        self.timelines.get(pump)
    }

    /// The lives in one measure.
    pub fn fleet(&self, measure: Measure) -> &Fleet {
        &self.fleets[measure as usize]
    }

    /// Weight of the duty measure against volume, from the evidence and even odds before it.
    pub fn duty_weight(&self) -> f64 {
        self.learned.duty
    }

    /// The ways in which signs may speak, as tables; the first is the likeliest.
    pub fn ways(&self) -> &[ConditionTables] {
        &self.learned.ways
    }

    /// What fails cups beside wear.
    pub fn mishaps(&self) -> &Mishaps {
        &self.learned.mishaps
    }

    /// Share of cups found worn that the shop pulls, 0 to 1.
    pub fn pulled_share(&self) -> f64 {
        self.learned.pulled_share
    }

    /// Where the classes of settled solids begin, mL for each m3; None while too few are on record.
    pub fn settled_classes(&self) -> Option<&[f64; SETTLED_SHARES.len()]> {
        self.learned.settled_per_m3.as_ref()
    }

    /// One law for the whole shop, m3, as a spreadsheet would have it.
    pub fn pooled(&self) -> &Weibull {
        &self.learned.pooled
    }

    /// Failures of cups on record.
    pub fn failures(&self) -> usize {
        self.timelines.values().map(Timeline::failed_cups).sum()
    }

    /// Every life of a cup in m3 with what its signs say of it, as of the last learning.
    pub fn signed_lives_m3(&self) -> Vec<(GridLife, Softened)> {
        let of = |timeline| {
            let (grid, softened) = self.learned.soften(timeline, Measure::Volume);
            grid.into_iter().zip(softened).collect::<Vec<_>>()
        };
        self.timelines.values().flat_map(of).collect()
    }

    /// Learns from a record, by turns, from what is assumed on.
    fn learn(&mut self, record: &BTreeMap<String, Timeline>) {
        let learned = &mut self.learned;
        let tells_duty = record.values().any(Timeline::tells_duty);
        let measures = if tells_duty { &MEASURES[..] } else { &MEASURES[..1] };
        learned.model = ConditionModel::assumed();
        learned.ways = vec![learned.model.tables()];
        learned.mishaps = Mishaps::default();
        learned.laws = [BTreeMap::new(), BTreeMap::new()];
        learned.duty = 0.0;
        learned.settled_per_m3 = settled_classes(record.values());
        // What does not change from round to round.
        let told: Vec<(&str, Vec<Life>)> = record.iter().map(|(pump, timeline)| (pump.as_str(), timeline.lives(Part::Cup))).collect();
        let read: Vec<Vec<SignedRecord>> = record
            .values()
            .zip(&told)
            .map(|(timeline, (_, lives))| {
                measures.iter().map(|measure| signed_record(timeline, lives, *measure, learned.settled_per_m3.as_ref())).collect()
            })
            .collect();
        let mut rough = [Fleet::rough(), Fleet::rough()];
        for round in 1..=ROUNDS {
            let fleets = if round == ROUNDS { &mut self.fleets } else { &mut rough };
            let leading = if learned.duty > 0.5 { Measure::Duty } else { Measure::Volume };
            let mut counts = ConditionCounts::default();
            let (mut bad_fits, mut fits, mut mishaps, mut lives_used) = (0.0, 0.0, 0.0, 0.0);
            let (mut pulls, mut found_worn) = (0.0, 0.0);
            for ((timeline, (pump, lives)), read) in record.values().zip(&told).zip(&read) {
                for (measure, read) in measures.iter().zip(read) {
                    let leads = *measure == leading;
                    let law = learned.law(pump, *measure);
                    let counted = leads.then_some((learned.pulled_share, &mut counts));
                    let softened = read.soften(&law, &learned.ways[0], &learned.mishaps, counted);
                    let grid = grid_lives(timeline, lives, *measure, &softened);
                    let failed = lives.iter().filter(|life| life.end == LifeEnd::Failed && life.through_m3.is_exact());
                    let at_failures: Vec<f64> = failed.map(|life| if *measure == Measure::Duty { life.duty_rate } else { 1.0 }).collect();
                    fleets[*measure as usize].set_pump(pump, &grid, &at_failures);
                    if leads {
                        for (life, signs) in lives.iter().zip(&softened) {
                            bad_fits += signs.bad_fit;
                            mishaps += signs.mishap;
                            if let Some(found) = signs.found_worn {
                                found_worn += found;
                                pulls += f64::from(u8::from(life.end == LifeEnd::Removed(Some(RemovalReason::Worn))));
                            }
                            fits += f64::from(u8::from(life.age_then_m3 == Some(0.0)));
                            lives_used += through(life, leading) / law.scale;
                        }
                    }
                }
            }
            learned.model = learned.model.learned(&counts);
            learned.mishaps = Mishaps::learned(bad_fits, fits, mishaps, lives_used);
            learned.pulled_share = pulled_share(pulls, found_worn);
            learned.ways = if round == ROUNDS {
                ways(&learned.model, counts.level.total() + counts.grade.total())
            } else {
                vec![learned.model.tables()]
            };
            for measure in measures {
                let fleet = &mut fleets[*measure as usize];
                if round == ROUNDS {
                    fleet.settle()
                } else {
                    fleet.settle_roughly()
                }
                for pump in record.keys() {
                    learned.laws[*measure as usize].insert(pump.clone(), middle_law(&fleet.posterior(pump, &[])));
                }
            }
            if tells_duty {
                let [volume, duty] = [0, 1].map(|measure: usize| fleets[measure].ln_evidence());
                learned.duty = 1.0 / (1.0 + (volume - duty).exp());
            }
        }
        let known = told.iter().flat_map(|(_, lives)| lives).filter(|life| life.age_then_m3.is_some());
        let lives: Vec<GridLife> = known.map(|life| grid_life(life, Measure::Volume, 1.0, None)).collect();
        learned.pooled = self.fleets[0].pooled(&lives);
    }
}

impl Learned {
    fn law(&self, pump: &str, measure: Measure) -> Weibull {
        self.laws[measure as usize].get(pump).copied().unwrap_or(ASSUMED_LAW)
    }

    /// A pump's lives in one measure with what their signs say of them.
    fn soften(&self, timeline: &Timeline, measure: Measure) -> (Vec<GridLife>, Vec<Softened>) {
        let lives = timeline.lives(Part::Cup);
        let record = signed_record(timeline, &lives, measure, self.settled_per_m3.as_ref());
        let softened = record.soften(&self.law(timeline.pump(), measure), &self.ways[0], &self.mishaps, None);
        (grid_lives(timeline, &lives, measure, &softened), softened)
    }
}

fn grid_lives(timeline: &Timeline, lives: &[Life], measure: Measure, softened: &[Softened]) -> Vec<GridLife> {
    let mean_rate = timeline.duty_rate(None, None);
    lives.iter().zip(softened).map(|(life, signs)| grid_life(life, measure, mean_rate, Some(signs))).collect()
}

fn through(life: &Life, measure: Measure) -> f64 {
    if measure == Measure::Duty { life.through_duty.middle() } else { life.through_m3.middle() }
}

/// A law in the middle of the prior, for a pump of which nothing is known yet.
const ASSUMED_LAW: Weibull = Weibull { shape: 2.5, scale: 4000.0 };

/// The ways in which signs may speak: the model, and the model moved along a life, as far as `signs` counted ones leave it open.
fn ways(model: &ConditionModel, signs: f64) -> Vec<ConditionTables> {
    // Each sign places the cuts to about a width over the square root of half its kind's share; a model never seen is worth its
    // spread. The five moves stand for fifths of a normal law.
    let spread = (1.0 / (1.0 / (0.12 * 0.12) + 2.0 * signs)).sqrt();
    [0.0, -1.28, 1.28, -0.52, 0.52].iter().map(|move_by| model.moved(move_by * spread).tables()).collect()
}

fn settled_per_m3(seen: &Seen) -> Option<f64> {
    let since = seen.since_drain_m3.filter(|since| *since >= LEAST_SINCE_DRAIN_M3)?;
    seen.settled_ml.map(|settled| settled / since)
}

/// Where the classes of settled solids begin in a shop's own record.
fn settled_classes<'a>(timelines: impl Iterator<Item = &'a Timeline>) -> Option<[f64; SETTLED_SHARES.len()]> {
    let mut rates: Vec<f64> = timelines.flat_map(Timeline::box_seen).filter_map(|seen| settled_per_m3(&seen.what)).collect();
    if rates.len() < LEAST_SETTLED {
        return None;
    }
    rates.sort_by(f64::total_cmp);
    Some(SETTLED_SHARES.map(|share| rates[(share * rates.len() as f64) as usize]))
}

/// A look into the box at a place along the record, with its settled solids in the shop's classes.
pub fn look_of(seen: &Seen, at: f64, classes: Option<&[f64; SETTLED_SHARES.len()]>) -> Look {
    Look {
        at,
        level: seen.level,
        muddy: match seen.liquid {
            Some(Liquid::Muddy) => Some(1),
            Some(Liquid::Clear | Liquid::Grey) => Some(0),
            Some(Liquid::Oily) | None => None,
        },
        low: seen.liquid_low.map(u8::from),
        settled: classes.and_then(|classes| settled_per_m3(seen).map(|rate| classes.iter().filter(|begin| rate > **begin).count() as u8)),
    }
}

/// A pump's lives and looks in one measure of use.
fn signed_record(timeline: &Timeline, lives: &[Life], measure: Measure, classes: Option<&[f64; SETTLED_SHARES.len()]>) -> SignedRecord {
    let place = |position: f64| if measure == Measure::Duty { timeline.duty_at(position) } else { position };
    let rate = if measure == Measure::Duty { timeline.duty_rate(None, None) } else { 1.0 };
    let lives = lives.iter().map(|life| SignedLife {
        cup: usize::from(life.cup == Some(Cup::B)),
        begin: place(life.span_m3[0]),
        through: through(life, measure),
        age_then: life.age_then_m3.map(|age| age * rate),
        end: match life.end {
            LifeEnd::Failed => SignedEnd::Failed,
            LifeEnd::Removed(reason) => SignedEnd::Out(matches!(reason, Some(RemovalReason::Worn))),
            LifeEnd::Running => SignedEnd::Running,
        },
        grades: life.grades.iter().map(|&(at, step)| (at[measure as usize], step)).collect(),
    });
    let looks = timeline.box_seen().iter().map(|seen| look_of(&seen.what, place(seen.position_m3), classes));
    SignedRecord { lives: lives.collect(), looks: looks.collect() }
}

fn grid_life(life: &Life, measure: Measure, mean_rate: f64, signs: Option<&Softened>) -> GridLife {
    let (through, rate) = match measure {
        Measure::Volume => (life.through_m3, 1.0),
        Measure::Duty => (life.through_duty, mean_rate),
    };
    let failed = life.end == LifeEnd::Failed;
    let (low, high) = match failed {
        // A failure at once still takes a little use, so that its density is finite.
        true if life.through_m3.is_exact() => (through.middle().max(0.5 * rate), through.middle().max(0.5 * rate)),
        true => (through.low, through.high.max(through.low + 0.5 * rate)),
        false => (through.low, through.low),
    };
    GridLife {
        watched_from: life.age_then_m3.map(|age| age * rate),
        low,
        high,
        running: life.end == LifeEnd::Running,
        worn_out: signs.map_or(1.0, |signs| signs.worn_out),
        mishap: signs.map_or(0.0, |signs| signs.mishap),
        ratio: signs.and_then(|signs| signs.ratio),
        ..GridLife::plain(low, failed)
    }
}
