//! Which cause fits the signs.

use gritbook_core::diagnosis as core_diagnosis;

use crate::cross::{Cross, choice, record};
use crate::grades::Words;

choice! {
    /// What may be behind the signs.
    Cause = core_diagnosis::Cause {
        /// Nothing is wrong.
        Sound,
        /// The cups are worn.
        WornCups,
        /// The bore is worn: new cups will not cure it.
        WornBore,
        /// A cup or band went in badly.
        BadFit,
        /// A rod seal of a drive cylinder leaks oil.
        RodSeal,
        /// Something damaged a cup or the bore.
        Damage,
    }
}

choice! {
    /// What was seen.
    SignSeen = core_diagnosis::SignSeen {
        /// Level 0.
        PasteOnly,
        /// Level 1.
        SomeSand,
        /// Level 2.
        Sand,
        /// Level 3.
        Lumps,
        /// Clear or grey water.
        Clean,
        /// Muddy water.
        Muddy,
        /// Oil on the water.
        Oily,
        /// The water is low.
        Low,
        /// The level rose by two steps or more within a tenth of a life.
        Sudden,
        /// The cups were just fitted when it first showed.
        AtOnce,
        /// Soon after the change.
        SoonAfterChange,
        /// In the middle of a life.
        MidLife,
        /// Late in a life.
        OldCups,
        /// The box showed sand or mud before the last change too.
        SameBeforeChange,
        /// It did not.
        CleanBeforeChange,
        /// The cups before these lasted less than 0.4 of a median life.
        ShortLifeBefore,
        /// A cup is graded passing or spent.
        CupsBad,
        /// The cups are graded worn at most.
        CupsGood,
        /// The bore measures worn.
        BoreOver,
        /// The bore measures sound.
        BoreWithin,
    }
}

record! {
    /// A sign that was weighed, in both languages.
    WeighedSign = core_diagnosis::WeighedSign {
        /// Which.
        code: SignSeen,
        /// English.
        text: String,
        /// Spanish.
        text_es: String,
        /// For which cause it speaks most.
        speaks_for: Cause,
        /// How many times likelier it is under that cause than on the mean of all.
        times: f64,
    }
}

/// One cause with its share, in both languages.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct Suspect {
    /// Which.
    pub cause: Cause,
    /// What it is.
    pub text: Words,
    /// Its share among the causes, 0 to 1; all sum to 1.
    pub share: f64,
    /// The signs that speak for it, the strongest first.
    pub signs_for: Vec<WeighedSign>,
    /// Those that speak against it.
    pub signs_against: Vec<WeighedSign>,
    /// What to look at next for it.
    pub look_next: Words,
    /// Where what is said of it stands.
    pub source: String,
}

/// Which cause fits what a pump showed last.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct Diagnosis {
    /// Always `gritbook.diagnosis/1`.
    pub schema: String,
    /// The pump's name.
    pub pump: String,
    /// Likeliest first.
    pub causes: Vec<Suspect>,
    /// The first cause must not be taken for certain: say so beside it.
    pub unsure: bool,
    /// What was weighed, the strongest first.
    pub signs: Vec<WeighedSign>,
    /// What would best tell the first cause from the second.
    pub look_next: Words,
    /// What it cannot tell: what nobody recorded, then what no record could.
    pub cannot_tell: Vec<Words>,
}

impl Cross<Diagnosis> for core_diagnosis::Diagnosis {
    fn cross(self) -> Diagnosis {
        let (unsure, cannot_tell) = (self.unsure(), self.cannot_tell().cross());
        let Self { schema, pump, causes, signs, look_next, look_next_es } = self;
        let which = |cause, speaks| {
            let of_it = signs.iter().filter(|sign| sign.code.speaks(cause) == speaks);
            of_it.cloned().collect::<Vec<_>>().cross()
        };
        let suspect = |one: core_diagnosis::Suspect| {
            let core_diagnosis::Suspect { cause, text, text_es, share, look_next, look_next_es, source } = one;
            Suspect {
                cause: cause.cross(),
                text: Words { en: text, es: text_es },
                share,
                signs_for: which(cause, core_diagnosis::Speaks::For),
                signs_against: which(cause, core_diagnosis::Speaks::Against),
                look_next: Words { en: look_next, es: look_next_es },
                source,
            }
        };
        Diagnosis {
            schema,
            pump,
            causes: causes.into_iter().map(suspect).collect(),
            unsure,
            look_next: Words { en: look_next, es: look_next_es },
            cannot_tell,
            signs: signs.cross(),
        }
    }
}
