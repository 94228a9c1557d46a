//! Causes, signs, and how likely each sign is under each cause.
//!
//! What a sign means is from the pages named in [`Cause::source`] and from common practice; how likely it is, as a number, is our
//! assumption throughout: no published figure was found.

use serde::{Deserialize, Serialize};

use crate::wear::grade::Words;

/// What may be behind the signs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Cause {
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

/// What was seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum SignSeen {
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

impl Cause {
    /// All of them.
    pub const ALL: [Self; 6] = [Self::Sound, Self::WornCups, Self::WornBore, Self::BadFit, Self::RodSeal, Self::Damage];

    /// Share before any sign. Assumption.
    pub(super) fn before(self) -> f64 {
        match self {
            Self::Sound => 0.60,
            Self::WornCups => 0.20,
            Self::WornBore => 0.08,
            Self::BadFit => 0.04,
            Self::RodSeal => 0.04,
            Self::Damage => 0.04,
        }
    }

    /// In words.
    pub(super) fn words(self) -> Words {
        match self {
            Self::Sound => Words { en: "Nothing is wrong.", es: "No hay nada malo." },
            Self::WornCups => Words { en: "The cups are worn.", es: "Las copas están gastadas." },
            Self::WornBore => {
                Words { en: "The bore is worn: new cups will not cure it.", es: "El cilindro está gastado: copas nuevas no lo curan." }
            }
            Self::BadFit => Words { en: "A cup or its band went in badly.", es: "Una copa o su banda quedó mal montada." },
            Self::RodSeal => {
                Words { en: "A rod seal of a drive cylinder leaks oil.", es: "Un sello de vástago del cilindro hidráulico fuga aceite." }
            }
            Self::Damage => Words { en: "Something damaged a cup or the bore.", es: "Algo dañó una copa o el cilindro." },
        }
    }

    /// What to look at for it. Hands go near the box only after lock-out and a gauge that reads zero.
    pub(super) fn look_next(self) -> Words {
        match self {
            Self::Sound => Words { en: "Drain again as usual.", es: "Drene otra vez como siempre." },
            Self::WornCups => Words {
                en: "After lock-out and zero pressure: look at both cups' lips and grade them.",
                es: "Con bloqueo y presión en cero: mire los labios de las dos copas y califíquelas.",
            },
            Self::WornBore => Words {
                en: "After lock-out and zero pressure: measure the bore at several places and directions.",
                es: "Con bloqueo y presión en cero: mida el cilindro en varios puntos y direcciones.",
            },
            Self::BadFit => Words {
                en: "After lock-out and zero pressure: is the band square, the lip rolled, the groove free of burrs?",
                es: "Con bloqueo y presión en cero: ¿la banda está a escuadra, el labio doblado, la ranura sin rebabas?",
            },
            Self::RodSeal => Words {
                en: "Check the oil level, and the oil for water (milky).",
                es: "Revise el nivel de aceite, y si el aceite tiene agua (lechoso).",
            },
            Self::Damage => Words {
                en: "After lock-out and zero pressure: look for a cut in a cup and for scores or chipped chrome in the bore.",
                es: "Con bloqueo y presión en cero: busque un corte en la copa y rayas o cromo saltado en el cilindro.",
            },
        }
    }

    /// Where what is said of it stands.
    pub(super) fn source(self) -> &'static str {
        match self {
            Self::Sound | Self::BadFit | Self::Damage => "common practice, no published source",
            Self::WornCups => "chinapumpparts.com, News 114: turbid water or mortar means a badly worn piston",
            Self::WornBore => "chinapumpparts.com, News 114: turbid again soon after new pistons that are good means a worn cylinder",
            Self::RodSeal => "from memory, not seen in print",
        }
    }
}

/// What would best tell two causes apart.
pub(super) fn tells_apart(first: Cause, second: Cause) -> Words {
    let both = |a: Cause, b: Cause| (first == a && second == b) || (first == b && second == a);
    if both(Cause::WornBore, Cause::BadFit) {
        Words {
            en: "After lock-out and zero pressure: look at the new cups. Good, square and uncut: measure the bore. Rolled or cut: a bad fit.",
            es: "Con bloqueo y presión en cero: mire las copas nuevas. Buenas, a escuadra y sin cortes: mida el cilindro. Dobladas o cortadas: mal montaje.",
        }
    } else if both(Cause::WornBore, Cause::WornCups) {
        Words {
            en: "After lock-out and zero pressure: grade the cups. Lips still good: measure the bore.",
            es: "Con bloqueo y presión en cero: califique las copas. Si los labios están buenos: mida el cilindro.",
        }
    } else if first == Cause::Sound {
        second.look_next()
    } else {
        first.look_next()
    }
}

impl SignSeen {
    /// Chance of the sign under a cause: of its level, liquid, age or grade among the others of the same kind. Assumptions; in the order
    /// of [`Cause::ALL`].
    pub(super) fn chance(self, cause: Cause) -> f64 {
        let chances = match self {
            Self::PasteOnly => [0.72, 0.05, 0.10, 0.10, 0.72, 0.10],
            Self::SomeSand => [0.22, 0.20, 0.25, 0.20, 0.22, 0.15],
            Self::Sand => [0.05, 0.50, 0.50, 0.45, 0.05, 0.35],
            Self::Lumps => [0.01, 0.25, 0.15, 0.25, 0.01, 0.40],
            Self::Clean => [0.94, 0.39, 0.39, 0.44, 0.25, 0.47],
            Self::Muddy => [0.05, 0.60, 0.60, 0.55, 0.05, 0.50],
            Self::Oily => [0.01, 0.01, 0.01, 0.01, 0.70, 0.03],
            Self::Low => [0.03, 0.35, 0.30, 0.35, 0.05, 0.40],
            Self::Sudden => [0.05, 0.12, 0.08, 0.30, 0.05, 0.60],
            Self::AtOnce => [0.06, 0.01, 0.30, 0.55, 0.10, 0.08],
            Self::SoonAfterChange => [0.25, 0.06, 0.40, 0.30, 0.25, 0.22],
            Self::MidLife => [0.39, 0.28, 0.15, 0.10, 0.33, 0.35],
            Self::OldCups => [0.30, 0.65, 0.15, 0.05, 0.32, 0.35],
            Self::SameBeforeChange => [0.40, 0.60, 0.85, 0.40, 0.40, 0.40],
            Self::CleanBeforeChange => [0.60, 0.40, 0.15, 0.60, 0.60, 0.60],
            Self::ShortLifeBefore => [0.10, 0.15, 0.60, 0.15, 0.10, 0.15],
            Self::CupsBad => [0.03, 0.80, 0.12, 0.60, 0.10, 0.60],
            Self::CupsGood => [0.97, 0.20, 0.88, 0.40, 0.90, 0.40],
            Self::BoreOver => [0.08, 0.15, 0.85, 0.15, 0.12, 0.25],
            Self::BoreWithin => [0.92, 0.85, 0.15, 0.85, 0.88, 0.75],
        };
        Cause::ALL.iter().position(|known| *known == cause).map_or(1.0, |at| chances[at])
    }

    /// How many times likelier the sign is under a cause than on the mean of all.
    pub(super) fn times(self, cause: Cause) -> f64 {
        let mean = Cause::ALL.iter().map(|cause| self.chance(*cause)).sum::<f64>() / Cause::ALL.len() as f64;
        self.chance(cause) / mean
    }

    /// In words.
    pub(super) fn words(self) -> Words {
        match self {
            Self::PasteOnly => Words { en: "Paste only in the box.", es: "Sólo lechada en la caja." },
            Self::SomeSand => Words { en: "Some sand in the box.", es: "Algo de arena en la caja." },
            Self::Sand => Words { en: "Sand in the box.", es: "Arena en la caja." },
            Self::Lumps => Words { en: "Lumps in the box.", es: "Grumos en la caja." },
            Self::Clean => Words { en: "The water is clear or grey.", es: "El agua está clara o gris." },
            Self::Muddy => Words { en: "The water is muddy.", es: "El agua está lodosa." },
            Self::Oily => Words { en: "Oil on the water.", es: "Aceite en el agua." },
            Self::Low => Words { en: "The water is low.", es: "El agua está baja." },
            Self::Sudden => Words { en: "It came all of a sudden.", es: "Apareció de repente." },
            Self::AtOnce => Words { en: "The cups had just been fitted.", es: "Las copas estaban recién montadas." },
            Self::SoonAfterChange => Words { en: "Soon after the change.", es: "Poco después del cambio." },
            Self::MidLife => Words { en: "The cups are in the middle of a life.", es: "Las copas van a media vida." },
            Self::OldCups => Words { en: "The cups are old.", es: "Las copas son viejas." },
            Self::SameBeforeChange => {
                Words { en: "The box showed it before the change too.", es: "La caja ya lo mostraba antes del cambio." }
            }
            Self::CleanBeforeChange => Words { en: "The box was clean before the change.", es: "Antes del cambio la caja estaba limpia." },
            Self::ShortLifeBefore => Words { en: "The cups before these did not last.", es: "Las copas anteriores duraron poco." },
            Self::CupsBad => Words { en: "A cup is graded passing or spent.", es: "Una copa está calificada dejando pasar o acabada." },
            Self::CupsGood => Words { en: "The cups are graded good.", es: "Las copas están calificadas buenas." },
            Self::BoreOver => Words { en: "The bore measures worn.", es: "El cilindro mide gastado." },
            Self::BoreWithin => Words { en: "The bore measures sound.", es: "El cilindro mide bien." },
        }
    }
}
