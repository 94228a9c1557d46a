//! Procedures as data.

use std::sync::LazyLock;

use serde::{Deserialize, Serialize};

use crate::model::Cup;
use crate::model::pump::{BoxFluid, PumpSpec, SealVariant, SpeedControl, TestSwitches};
use crate::model::words::Words;

/// A text in both languages.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Bilingual {
    /// English.
    pub en: String,
    /// Spanish, as spoken on Latin American sites.
    pub es: String,
}

/// How grave a caution is. The words and their order are those of ANSI Z535.4 and ISO 3864-2.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Signal {
    /// Would kill or maim.
    Danger,
    /// Could kill or maim.
    Warning,
    /// Could hurt.
    Caution,
    /// Could harm the machine, or duty.
    Notice,
}

impl Signal {
    /// The signal word.
    pub fn words(self) -> Words {
        let (en, es) = match self {
            Self::Danger => ("DANGER", "PELIGRO"),
            Self::Warning => ("WARNING", "ADVERTENCIA"),
            Self::Caution => ("CAUTION", "ATENCIÓN"),
            Self::Notice => ("NOTICE", "AVISO"),
        };
        Words { en, es }
    }
}

/// A caution at the step that it belongs to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Caution {
    /// How grave.
    pub signal: Signal,
    /// What to mind.
    pub text: Bilingual,
    /// What it protects.
    pub protects: Bilingual,
}

/// What a step means for the life of the cup.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StepRecords {
    /// The old cup is out.
    Removed,
    /// The new cup is in.
    Fitted,
}

/// Where a step stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Place {
    Before,
    EachCup,
    After,
}

/// Which pumps a step is for; empty: all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct When {
    seal: Option<SealVariant>,
    test_switches: Option<TestSwitches>,
    speed_control: Option<SpeedControl>,
    fluid: Option<BoxFluid>,
}

impl When {
    fn fits(self, pump: &PumpSpec) -> bool {
        self.seal.is_none_or(|seal| seal == pump.seal)
            && self.test_switches.is_none_or(|switches| switches == pump.test_switches)
            && self.speed_control.is_none_or(|control| control == pump.speed_control)
            && self.fluid.is_none_or(|fluid| fluid == pump.fluid)
    }
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct Template {
    id: String,
    part: Place,
    title: Bilingual,
    text: Bilingual,
    #[serde(default)]
    hold: bool,
    caution: Option<Caution>,
    #[serde(default)]
    when: When,
    #[serde(default)]
    first_cup_only: bool,
    #[serde(default)]
    photo: bool,
    records: Option<StepRecords>,
    #[serde(default)]
    sources: Vec<String>,
}

/// A procedure as it stands in its data file.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Procedure {
    #[serde(rename = "schema")]
    _schema: String,
    /// Stable name.
    pub id: String,
    /// Changes whenever a step's meaning does.
    pub edition: String,
    /// What it is for.
    pub title: Bilingual,
    /// What comes before it all.
    pub first: Bilingual,
    steps: Vec<Template>,
}

/// One step for one pump.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// Its name within the work: `lock_out_A`, `refill`.
    pub key: String,
    /// The cup it is about, where it is about one.
    pub cup: Option<Cup>,
    /// Guards what hurts people or the machine.
    pub hold: bool,
    /// A few words.
    pub title: Bilingual,
    /// What to do.
    pub text: Bilingual,
    /// What to mind.
    pub caution: Option<Caution>,
    /// A photo matters here.
    pub photo: bool,
    /// What it means for the cup's life.
    pub records: Option<StepRecords>,
    /// Where the duty or the practice is written.
    pub sources: Vec<String>,
}

/// What stands before work that is no change-out and yet puts hands where something could move.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Precaution {
    /// What comes before it all.
    pub first: Bilingual,
    /// What to mind.
    pub caution: Caution,
    /// Where the duty or the practice is written.
    pub sources: Vec<String>,
}

static CUP_CHANGE: LazyLock<Procedure> = LazyLock::new(|| {
    // The file is part of the program and read by a test: it cannot be malformed here.
    serde_json::from_str(include_str!("../../../fixtures/procedures/cup_change.json")).unwrap_or_else(|cause| unreachable!("{cause}"))
});

/// The change of the piston cups.
pub fn cup_change() -> &'static Procedure {
    &CUP_CHANGE
}

/// What stands before a hand goes into a bore to measure it: the words of the change-out's own step there.
pub fn hand_in_bore() -> Precaution {
    let first = CUP_CHANGE.first.clone();
    let at = CUP_CHANGE.steps.iter().find(|step| step.id == "bore").and_then(|step| Some((step.caution.clone()?, step.sources.clone())));
    // The file is part of the program, and a test asks for this step.
    let (caution, sources) = at.unwrap_or_else(|| unreachable!("the bore's step has a caution"));
    Precaution { first, caution, sources }
}

impl Procedure {
    /// The steps for this pump and these cups, in order. One side is locked out, done and closed before the other is stroked.
    pub fn steps(&self, pump: &PumpSpec, cups: &[Cup]) -> Vec<Step> {
        let of = |place: Place| self.steps.iter().filter(move |step| step.part == place && step.when.fits(pump));
        let mut steps: Vec<Step> = of(Place::Before).map(|step| step.step(None)).collect();
        for (turn, cup) in cups.iter().enumerate() {
            steps.extend(of(Place::EachCup).filter(|step| turn == 0 || !step.first_cup_only).map(|step| step.step(Some(*cup))));
        }
        steps.extend(of(Place::After).map(|step| step.step(None)));
        steps
    }
}

impl Template {
    fn step(&self, cup: Option<Cup>) -> Step {
        let side = match cup {
            Some(Cup::A) => "A",
            Some(Cup::B) => "B",
            None => "",
        };
        let filled = |text: &Bilingual| Bilingual { en: text.en.replace("{cup}", side), es: text.es.replace("{cup}", side) };
        Step {
            key: if side.is_empty() { self.id.clone() } else { format!("{}_{side}", self.id) },
            cup,
            hold: self.hold,
            title: filled(&self.title),
            text: filled(&self.text),
            caution: self.caution.clone(),
            photo: self.photo,
            records: self.records,
            sources: self.sources.clone(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all_variants() -> Vec<PumpSpec> {
        let mut pumps = Vec::new();
        for seal in [SealVariant::GuideBand, SealVariant::ORing] {
            for test_switches in [TestSwitches::One, TestSwitches::Two] {
                for speed_control in [SpeedControl::Valve, SpeedControl::Electric] {
                    for fluid in [BoxFluid::Water, BoxFluid::Oil] {
                        pumps.push(PumpSpec { seal, test_switches, speed_control, fluid, ..PumpSpec::assumed("P") });
                    }
                }
            }
        }
        pumps
    }

    fn place(steps: &[Step], key: &str) -> usize {
        steps.iter().position(|step| step.key == key).unwrap_or_else(|| panic!("no step {key}"))
    }

    #[test]
    fn every_variant_locks_out_and_reads_zero_before_hands_go_in_and_clears_before_anything_moves() {
        for pump in all_variants() {
            let steps = cup_change().steps(&pump, &[Cup::A, Cup::B]);
            assert_eq!(steps[0].key, "manual");
            for cup in ["A", "B"] {
                let at = |key: &str| place(&steps, &format!("{key}_{cup}"));
                let stroke = steps.iter().position(|step| step.key.starts_with("stroke_to_box") && step.key.ends_with(cup)).unwrap();
                assert!(stroke < at("lock_out") && at("lock_out") < at("bleed_zero"), "{pump:?}");
                for hands in ["sensor_bar", "coupler_off", "head_out", "plate", "bore", "cup_in", "coupler_on", "sensor_back"] {
                    assert!((at("bleed_zero") + 1..at("clear_count")).contains(&at(hands)), "{hands} lies within the lock-out");
                }
            }
            // What moves stands outside every lock-out: side B is stroked only after side A is closed.
            let stroke_b = steps.iter().position(|step| step.key.starts_with("stroke_to_box") && step.key.ends_with('B')).unwrap();
            assert!(place(&steps, "clear_count_A") < stroke_b);
            assert!(steps.iter().position(|step| step.key.starts_with("test_strokes")).unwrap() > place(&steps, "clear_count_B"));
        }
    }

    #[test]
    fn every_variant_has_exactly_the_steps_of_its_own_parts() {
        for pump in all_variants() {
            let steps = cup_change().steps(&pump, &[Cup::A]);
            let has = |key: &str| steps.iter().filter(|step| step.key.starts_with(key)).count();
            assert_eq!((has("band_in"), has("o_ring_in")), if pump.seal == SealVariant::GuideBand { (1, 0) } else { (0, 1) });
            assert_eq!((has("slowest"), has("stroke_to_box"), has("drain"), has("test_strokes"), has("refill")), (1, 1, 1, 1, 1));
            let keys: std::collections::BTreeSet<_> = steps.iter().map(|step| &step.key).collect();
            assert_eq!(keys.len(), steps.len(), "no key twice");
        }
    }

    #[test]
    fn hand_in_the_bore_is_told_as_in_every_change_out() {
        let told = hand_in_bore();
        assert_eq!(told.caution.signal, Signal::Danger);
        assert_eq!(told.first, cup_change().first);
        assert!(told.caution.text.en.contains("lock on") && told.caution.text.en.contains("zero"), "{}", told.caution.text.en);
        for pump in all_variants() {
            let steps = cup_change().steps(&pump, &[Cup::A]);
            let step = &steps[place(&steps, "bore_A")];
            assert_eq!((step.caution.as_ref(), &step.sources), (Some(&told.caution), &told.sources));
        }
    }

    #[test]
    fn every_hold_point_and_every_danger_says_what_it_protects_in_both_languages() {
        for pump in all_variants() {
            for step in cup_change().steps(&pump, &[Cup::A, Cup::B]) {
                for text in [&step.title, &step.text] {
                    assert!(!text.en.is_empty() && !text.es.is_empty() && text.en != text.es && !text.en.contains('{'), "{}", step.key);
                    assert!(!text.en.contains('!') && !text.es.contains('!'), "{}", step.key);
                }
                if step.hold {
                    let caution = step.caution.as_ref().unwrap_or_else(|| panic!("hold point {} without its caution", step.key));
                    assert!(!caution.protects.en.is_empty() && !caution.protects.es.is_empty());
                }
                if step.caution.as_ref().is_some_and(|caution| caution.signal == Signal::Danger) {
                    assert!(step.hold, "{} is a danger without a hold point", step.key);
                }
            }
        }
    }
}
