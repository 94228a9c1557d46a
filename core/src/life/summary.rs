//! How long parts of one kind last, as a document: `gritbook.life/1`.

use serde::{Deserialize, Serialize};

use super::competing::{EndKind, EndShare, competing_ends};
use super::counted::kaplan_meier;
use super::fit::{Interval, LEAST_FAILURES, LifeCounts, fit};
use super::fleet::{Cell, Fleet, GridLife};
use super::joint::Softened;
use super::numeric::weighted_quantile;
use super::sample::{Ending, LifeSample};
use super::shop::Shop;
use super::weibull::Weibull;
use crate::error::CoreError;
use crate::history::{History, LifeEnd};
use crate::model::Part;
use crate::model::entry::RemovalReason;

/// The schema name of a life document.
pub const LIFE_SCHEMA: &str = "gritbook.life/1";

/// Two-sided confidence of every interval in the document.
const CONFIDENCE: f64 = 0.95;

/// An estimate with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Estimate {
    /// Best value.
    pub value: f64,
    /// Lower end; null where the data give none.
    pub low: Option<f64>,
    /// Upper end; null where the data give none.
    pub high: Option<f64>,
}

/// Estimates of one Weibull law.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Estimates {
    /// No unit.
    pub shape: Estimate,
    /// The age that 36.8 % reach, m3.
    pub scale_m3: Estimate,
    /// The age by which a tenth has failed, m3.
    pub b10_m3: Estimate,
}

/// One step of the counted curve.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct CountedStep {
    /// Age at which something failed, m3.
    pub age_m3: f64,
    /// Lives under watch just before it.
    pub at_risk: u32,
    /// How many failed at it.
    pub failed: u32,
    /// Kaplan-Meier estimate of the chance to last beyond it.
    pub reliability: f64,
    /// Greenwood's standard error.
    pub reliability_se: f64,
    /// Nelson-Aalen estimate of the hazard sum.
    pub hazard_sum: f64,
}

/// How long cups last where the ends of their lives are judged together with what was seen: a cup that came out because it looked worn
/// was near its end, a failure may be a mishap or a bad fit and no wear.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct WithSigns {
    /// Failures put down to wear; parts of one where the cause is not known for sure.
    pub failed_worn: f64,
    /// Failures put down to mishaps.
    pub failed_by_mishap: f64,
    /// Failures put down to a bad fit.
    pub failed_badly_fitted: f64,
    /// Share of fits that go wrong.
    pub bad_fit_share: f64,
    /// Mishaps for each life of wear.
    pub mishaps_per_life: f64,
    /// Lives that came out sound and whose signs told how near their end was.
    pub told_by_signs: usize,
    /// What explains the lives better, `m3` or `duty` (m3 weighted by concrete pressure and mix, in proportion to MPa km on one pump).
    pub measure: String,
    /// Weight of the evidence for duty, 0 to 1; 0 where no pressure or mix is on record.
    pub duty_weight: f64,
    /// The law of wear, posterior medians with 95 % intervals, the stated prior in it.
    pub law: Estimates,
}

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct LifeSummary {
    /// Always [`LIFE_SCHEMA`].
    pub schema: String,
    /// Which part.
    pub part: Part,
    /// What the estimates stand on.
    pub lives: LifeCounts,
    /// Of the right censored: lives of unknown age, known only to have lasted longer than they were watched.
    pub age_unknown: usize,
    /// Of the right censored: lives that came out worn, before they failed. The fit takes every censored life for one that could
    /// have gone on like any other; a part that comes out because it is worn could not. Where these are many, parts last less
    /// long than the fit says.
    pub came_out_worn: usize,
    /// `maximum_likelihood`, or `posterior` where the stated prior is in use.
    pub method: String,
    /// True where there are too few failures for a fit and the stated prior speaks with them.
    pub prior_used: bool,
    /// Shape with its interval: likelihood ratio, or posterior.
    pub shape: Estimate,
    /// Scale with its interval, m3.
    pub scale_m3: Estimate,
    /// B10 with its interval, m3.
    pub b10_m3: Estimate,
    /// Median life, m3.
    pub median_m3: f64,
    /// Mean life, m3.
    pub mean_m3: f64,
    /// Confidence of the intervals.
    pub confidence: f64,
    /// Log-likelihood at its maximum; null where the prior is in use.
    pub log_likelihood: Option<f64>,
    /// Wald intervals on the log scale of shape and scale, for those who compare; null where the prior is in use.
    pub wald: Option<[Interval; 2]>,
    /// The same estimates with the stated prior, whatever the method above.
    pub with_prior: Estimates,
    /// The fit that accounts for removals that were no accident, beside the one above that does not; cups only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub with_signs: Option<WithSigns>,
    /// The counted curve.
    pub kaplan_meier: Vec<CountedStep>,
    /// How they ended, each way beside the others.
    #[serde(default)]
    pub ends: Vec<EndShare>,
}

impl LifeSummary {
    /// The law of the estimates.
    pub fn weibull(&self) -> Weibull {
        Weibull { shape: self.shape.value, scale: self.scale_m3.value }
    }

    /// The law to go by: the one that accounts for what was seen, where there is one.
    pub fn law_to_go_by(&self) -> Weibull {
        self.with_signs
            .as_ref()
            .map_or_else(|| self.weibull(), |told| Weibull { shape: told.law.shape.value, scale: told.law.scale_m3.value })
    }

    /// Its B10, m3.
    pub fn b10_to_go_by(&self) -> &Estimate {
        self.with_signs.as_ref().map_or(&self.b10_m3, |told| &told.law.b10_m3)
    }

    /// Whether the figures speak of this kind of part: the stated prior is of cups, and where it speaks it tells nothing of another.
    pub fn speaks_of_part(&self) -> bool {
        !self.prior_used || self.part == Part::Cup
    }
}

/// Sums up the lives of one kind of part in a history.
///
/// # Errors
/// `no_lives` where the history holds none.
pub fn summary(history: &History, part: Part) -> Result<LifeSummary, CoreError> {
    let (mut samples, mut ends) = (Vec::new(), Vec::new());
    let (mut age_unknown, mut came_out_worn) = (0, 0);
    for timeline in history.timelines() {
        for life in timeline.lives(part) {
            if let Some(sample) = life.sample_m3() {
                age_unknown += usize::from(life.age_then_m3.is_none());
                came_out_worn += usize::from(life.end == LifeEnd::Removed(Some(RemovalReason::Worn)));
                samples.push(sample);
                ends.push((sample, EndKind::of(life.end).filter(|_| life.age_then_m3.is_some())));
            }
        }
    }
    if samples.is_empty() {
        return Err(CoreError::refused(
            "no_lives",
            "the history holds no life of this part",
            "record when parts are fitted and what is pumped; a life begins with `fitted` or `in_use`",
        ));
    }
    let counts = LifeCounts::of(&samples);
    let with_prior = posterior(&samples);
    let fitted = if counts.all_failures() >= LEAST_FAILURES { fit(&samples).ok() } else { None };
    let estimate =
        |value: f64, interval: Option<Interval>| Estimate { value, low: interval.map(|i| i.low), high: interval.map(|i| i.high) };
    let estimates = match &fitted {
        Some(fit) => Estimates {
            shape: estimate(fit.weibull.shape, fit.shape_interval(CONFIDENCE)),
            scale_m3: estimate(fit.weibull.scale, fit.scale_interval(CONFIDENCE)),
            b10_m3: estimate(fit.weibull.quantile(0.1), fit.quantile_interval(0.1, CONFIDENCE)),
        },
        None => with_prior.clone(),
    };
    let law = Weibull { shape: estimates.shape.value, scale: estimates.scale_m3.value };
    let steps = kaplan_meier(&samples).into_iter().map(|row| CountedStep {
        age_m3: row.age,
        at_risk: row.at_risk,
        failed: row.failed,
        reliability: row.lasting,
        reliability_se: row.lasting_se,
        hazard_sum: row.hazard_sum,
    });
    Ok(LifeSummary {
        schema: LIFE_SCHEMA.to_owned(),
        part,
        lives: counts,
        age_unknown,
        came_out_worn,
        method: if fitted.is_some() { "maximum_likelihood" } else { "posterior" }.to_owned(),
        prior_used: fitted.is_none(),
        shape: estimates.shape,
        scale_m3: estimates.scale_m3,
        b10_m3: estimates.b10_m3,
        median_m3: law.quantile(0.5),
        mean_m3: law.mean(),
        confidence: CONFIDENCE,
        log_likelihood: fitted.as_ref().map(|fit| fit.log_likelihood),
        wald: fitted.as_ref().and_then(|fit| fit.wald(CONFIDENCE)).map(|(shape, scale)| [shape, scale]),
        with_prior,
        with_signs: (part == Part::Cup).then(|| with_signs(history)),
        kaplan_meier: steps.collect(),
        ends: competing_ends(&ends),
    })
}

/// The lives judged together with their signs.
fn with_signs(history: &History) -> WithSigns {
    let mut shop = Shop::new();
    history.rows.iter().for_each(|row| shop.take_in(row));
    shop.learn_all();
    let lives = shop.signed_lives_m3();
    let sum = |f: &dyn Fn(&Softened) -> f64| lives.iter().map(|(_, signs)| f(signs)).sum::<f64>();
    let duty_weight = if shop.turn().is_some() { 0.0 } else { shop.duty_weight() };
    let grid: Vec<GridLife> = lives.iter().map(|(life, _)| *life).collect();
    WithSigns {
        failed_worn: sum(&|signs| signs.worn_out),
        failed_by_mishap: sum(&|signs| signs.mishap),
        failed_badly_fitted: sum(&|signs| signs.bad_fit),
        bad_fit_share: shop.mishaps().bad_fit,
        mishaps_per_life: shop.mishaps().per_life,
        told_by_signs: lives.iter().filter(|(life, signs)| !life.failed && !life.running && signs.ratio.is_some()).count(),
        measure: if duty_weight > 0.5 { "duty" } else { "m3" }.to_owned(),
        duty_weight,
        law: estimates_of(&Fleet::new().posterior_finely("all", &grid)),
    }
}

/// Posterior medians and 95 % intervals with all lives taken as one pump's, as the fit takes them.
fn posterior(samples: &[LifeSample]) -> Estimates {
    let lives: Vec<GridLife> = samples
        .iter()
        .map(|sample| {
            let from = sample.watched_from;
            let (low, high, failed) = match sample.ending {
                Ending::Failed(age) => (age - from, age - from, true),
                Ending::SoundAt(age) => (age - from, age - from, false),
                Ending::FailedBetween(low, high) => (low - from, high - from, true),
            };
            GridLife { watched_from: Some(from), low, high, ..GridLife::plain(low, failed) }
        })
        .collect();
    estimates_of(&Fleet::new().posterior_finely("all", &lives))
}

fn estimates_of(cells: &[Cell]) -> Estimates {
    let quantiles = |f: &dyn Fn(&Weibull) -> f64| {
        let mut values: Vec<(f64, f64)> = cells.iter().map(|Cell { life, weight, .. }| (f(life), *weight)).collect();
        let at = |values: &mut [(f64, f64)], q| weighted_quantile(values, q);
        let tail = (1.0 - CONFIDENCE) / 2.0;
        Estimate { value: at(&mut values, 0.5), low: Some(at(&mut values, tail)), high: Some(at(&mut values, 1.0 - tail)) }
    };
    Estimates { shape: quantiles(&|law| law.shape), scale_m3: quantiles(&|law| law.scale), b10_m3: quantiles(&|law| law.quantile(0.1)) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::parse;
    use crate::life::fit::published::SETS;

    /// A history whose cup A lives are the set's: each on a pump of its own.
    fn history_of(failed: &[f64], sound: &[f64]) -> History {
        let mut text = "at,pump,cup,event,pump_m3\n".to_owned();
        let ended = failed.iter().map(|age| (age, "failed")).chain(sound.iter().map(|age| (age, "removed")));
        for (i, (age, event)) in ended.enumerate() {
            text.push_str(&format!("2026-01-01T00:00:00Z,P{i},A,fitted,1000\n2026-02-01T00:00:00Z,P{i},A,{event},{}\n", 1000.0 + age));
        }
        parse(text.as_bytes()).unwrap()
    }

    #[test]
    fn published_set_written_as_a_history_gives_its_fit() {
        let set = &SETS[3];
        let summary = summary(&history_of(set.failed, set.sound), Part::Cup).unwrap();
        assert!(!summary.prior_used);
        assert!((summary.shape.value / set.shape - 1.0).abs() < 1e-6);
        assert!((summary.scale_m3.value / set.scale - 1.0).abs() < 1e-6);
        assert!((summary.b10_m3.low.unwrap() / set.b10_ratio[0] - 1.0).abs() < 1e-4);
        assert_eq!((summary.lives.failures, summary.lives.right_censored), (5, 2));
        assert_eq!(summary.kaplan_meier.len(), 5);
    }

    #[test]
    fn two_failures_are_not_fitted_the_prior_speaks() {
        let summary = summary(&history_of(&[3000.0, 3100.0], &[]), Part::Cup).unwrap();
        assert!(summary.prior_used);
        assert_eq!(summary.method, "posterior");
        // Two close lives would give a shape of about 70 by maximum likelihood.
        assert!(summary.shape.value < 8.0, "{:?}", summary.shape);
        assert!(summary.scale_m3.low.unwrap() < 3000.0 && summary.scale_m3.high.unwrap() > 3100.0);
        assert!(summary.speaks_of_part());
    }

    #[test]
    fn prior_of_cups_does_not_speak_of_a_plate() {
        let text = "at,pump,part,event,pump_m3\n2025-01-01T06:00:00Z,P1,plate,fitted,0\n2025-06-01T06:00:00Z,P1,plate,failed,9000\n";
        let summary = summary(&crate::history::parse(text.as_bytes()).unwrap(), Part::Plate).unwrap();
        assert!(summary.prior_used && !summary.speaks_of_part());
        assert_eq!((summary.law_to_go_by(), summary.b10_to_go_by()), (summary.weibull(), &summary.b10_m3));
    }

    /// Cups that wear out at 3000 m3 (shape 4), pulled at 85 % of that with sand seen before: as if sound, they make the plain fit think
    /// that cups last far longer.
    #[test]
    fn cups_pulled_worn_are_near_their_end_and_the_fit_with_signs_says_so() {
        let truth = Weibull { shape: 4.0, scale: 3000.0 };
        let mut text = "at,pump,cup,event,pump_m3,level,reason\n".to_owned();
        for i in 0..60 {
            let life = truth.quantile((f64::from(i) + 0.5) / 60.0);
            // Every fifth is not pulled in time.
            let (share, event, reason) = if i % 5 == 0 { (1.0, "failed", "") } else { (0.85, "removed", "worn") };
            text.push_str(&format!("2026-01-01T00:00:00Z,P{i},A,fitted,1000,,\n"));
            for (day, (at, level)) in [(0.3, 0), (0.6, 1), (0.8, 2)].into_iter().enumerate() {
                text.push_str(&format!("2026-01-{:02}T00:00:00Z,P{i},,checked,{:.1},{level},\n", day + 5, 1000.0 + at * life));
            }
            text.push_str(&format!("2026-02-01T00:00:00Z,P{i},A,{event},{:.1},,{reason}\n", 1000.0 + share * life));
        }
        let summary = summary(&parse(text.as_bytes()).unwrap(), Part::Cup).unwrap();
        let told = summary.with_signs.unwrap();
        assert!(summary.scale_m3.value > 1.25 * truth.scale, "{:?}", summary.scale_m3);
        assert!((told.law.scale_m3.value / truth.scale - 1.0).abs() < 0.12, "{:?}", told.law);
        assert!((told.law.shape.value / truth.shape - 1.0).abs() < 0.35, "{:?}", told.law);
        assert_eq!(told.told_by_signs, 48);
        assert!(told.failed_worn > 8.0, "{told:?}");
    }

    #[test]
    fn history_without_lives_is_refused() {
        let history = parse(b"at,pump,event,pump_m3\n2026-01-01T00:00:00Z,P,counter,5\n").unwrap();
        assert_eq!(summary(&history, Part::Cup).unwrap_err().code(), "no_lives");
    }
}
