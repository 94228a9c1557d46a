//! Which cause fits the signs.

use gritbook_core::diagnosis as core_diagnosis;

use crate::cross::{choice, record};

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
    /// One cause with its share, in both languages.
    Suspect = core_diagnosis::Suspect {
        /// Which.
        cause: Cause,
        /// English.
        text: String,
        /// Spanish.
        text_es: String,
        /// Its share among the causes, 0 to 1; all sum to 1.
        share: f64,
        /// What to look at next for it, English.
        look_next: String,
        /// The same in Spanish.
        look_next_es: String,
        /// Where what is said of it stands.
        source: String,
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

record! {
    /// Which cause fits what a pump showed last.
    Diagnosis = core_diagnosis::Diagnosis {
        /// Always `gritbook.diagnosis/1`.
        schema: String,
        /// The pump's name.
        pump: String,
        /// Likeliest first.
        causes: Vec<Suspect>,
        /// What was weighed, the strongest first.
        signs: Vec<WeighedSign>,
        /// What would best tell the first cause from the second, English.
        look_next: String,
        /// The same in Spanish.
        look_next_es: String,
    }
}
