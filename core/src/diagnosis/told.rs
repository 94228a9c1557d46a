//! What a diagnosis says beside the shares: which sign speaks for which cause, whether the first is sure enough, and what it cannot tell.

use super::{Cause, Diagnosis, SignSeen};
use crate::wear::grade::Words;

/// How many times likelier than on the mean of all causes a sign has to be under one to speak for it; one over it, against it. Our choice.
const SPEAKS: f64 = 1.2;

/// The first cause is unsure below this share, and where the second has at least this share of it. Our choice.
const UNSURE: f64 = 0.5;

/// Whether a sign speaks for a cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Speaks {
    /// It is seen more often under it than under the others.
    For,
    /// About as often.
    Neither,
    /// Less often.
    Against,
}

impl SignSeen {
    /// Whether this sign speaks for that cause.
    pub fn speaks(self, cause: Cause) -> Speaks {
        match self.times(cause) {
            times if times >= SPEAKS => Speaks::For,
            times if times <= 1.0 / SPEAKS => Speaks::Against,
            _ => Speaks::Neither,
        }
    }

    fn asked(self) -> Asked {
        match self {
            Self::PasteOnly | Self::SomeSand | Self::Sand | Self::Lumps | Self::Sudden => Asked::Level,
            Self::Clean | Self::Muddy | Self::Oily | Self::Low => Asked::Liquid,
            Self::AtOnce | Self::SoonAfterChange | Self::MidLife | Self::OldCups => Asked::Age,
            Self::SameBeforeChange | Self::CleanBeforeChange | Self::ShortLifeBefore => Asked::Before,
            Self::CupsBad | Self::CupsGood => Asked::Cups,
            Self::BoreOver | Self::BoreWithin => Asked::Bore,
        }
    }
}

/// What a sign answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Asked {
    Level,
    Liquid,
    Age,
    Before,
    Cups,
    Bore,
}

impl Asked {
    const ALL: [Self; 6] = [Self::Level, Self::Liquid, Self::Age, Self::Before, Self::Cups, Self::Bore];

    /// That nobody answered it.
    fn open(self) -> Words {
        match self {
            Self::Level => Words { en: "No level of the box is recorded.", es: "No hay un nivel de la caja anotado." },
            Self::Liquid => {
                Words { en: "The liquid was not recorded at the last check.", es: "En la última revisión no se anotó el líquido." }
            }
            Self::Age => Words { en: "How much these cups have pumped is not known.", es: "No se sabe cuánto llevan estas copas." },
            Self::Before => Words {
                en: "What the box showed before the last change is not known.",
                es: "No se sabe qué mostraba la caja antes del último cambio.",
            },
            Self::Cups => Words { en: "These cups have no grade yet.", es: "Estas copas todavía no tienen grado." },
            Self::Bore => Words { en: "The bore was never measured.", es: "El cilindro nunca se midió." },
        }
    }
}

impl Diagnosis {
    /// The first cause must not be taken for certain: it has less than half of the whole, or the second is close to it.
    pub fn unsure(&self) -> bool {
        match self.causes.as_slice() {
            [first, second, ..] => first.share < UNSURE || second.share >= UNSURE * first.share,
            _ => false,
        }
    }

    /// What it cannot tell: what nobody recorded, then what no record could.
    pub fn cannot_tell(&self) -> Vec<Words> {
        let seen = |code: SignSeen| self.signs.iter().any(|sign| sign.code == code);
        let trouble = [SignSeen::Sand, SignSeen::Lumps, SignSeen::Muddy].into_iter().any(seen);
        let open = |asked: &Asked| {
            // A clean box is not compared with the one before the change.
            (*asked != Asked::Before || trouble) && !self.signs.iter().any(|sign| sign.code.asked() == *asked)
        };
        let fixed = [
            Words {
                en: "Which of the two cups: the box is shared. Only a look at each tells.",
                es: "Cuál de las dos copas: la caja es común. Sólo mirar cada una lo dice.",
            },
            Words {
                en: "The shares are assumptions, no published figures: they say where to look first, not what to change.",
                es: "Las proporciones son suposiciones, no hay cifras publicadas: dicen dónde mirar primero, no qué cambiar.",
            },
        ];
        Asked::ALL.into_iter().filter(open).map(Asked::open).chain(fixed).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnosis::weigh;

    #[test]
    fn sand_and_mud_speak_for_cups_and_bore_alike_and_against_a_sound_box() {
        for sign in [SignSeen::Sand, SignSeen::Muddy] {
            assert_eq!(sign.speaks(Cause::WornCups), Speaks::For, "{sign:?}");
            assert_eq!(sign.speaks(Cause::WornBore), Speaks::For, "{sign:?}");
            assert_eq!(sign.speaks(Cause::Sound), Speaks::Against, "{sign:?}");
        }
        assert_eq!(SignSeen::SoonAfterChange.speaks(Cause::WornBore), Speaks::For);
        assert_eq!(SignSeen::SoonAfterChange.speaks(Cause::WornCups), Speaks::Against);
        assert_eq!(SignSeen::SoonAfterChange.speaks(Cause::Sound), Speaks::Neither);
    }

    #[test]
    fn what_nobody_recorded_is_said_and_what_was_is_not() {
        let found = weigh("P", &[SignSeen::Sand, SignSeen::OldCups]);
        let told: Vec<&str> = found.cannot_tell().iter().map(|words| words.en).collect();
        let start = |asked: Asked| told.contains(&asked.open().en);
        assert!(start(Asked::Liquid) && start(Asked::Before) && start(Asked::Cups) && start(Asked::Bore), "{told:?}");
        assert!(!start(Asked::Level) && !start(Asked::Age), "{told:?}");
        assert!(told.last().is_some_and(|last| last.contains("assumptions")), "{told:?}");
        // A clean box asks for nothing from before the change.
        assert!(!weigh("P", &[SignSeen::PasteOnly]).cannot_tell().contains(&Asked::Before.open()));
    }

    #[test]
    fn few_signs_leave_it_unsure_and_more_of_them_do_not() {
        let unsure = |signs: &[SignSeen]| weigh("P", signs).unsure();
        assert!(!unsure(&[SignSeen::PasteOnly, SignSeen::Clean, SignSeen::CupsGood]));
        // Sand at an unknown age: no cause has half of the whole.
        assert!(unsure(&[SignSeen::Sand]));
        // At once after new cups: the bore, or a bad fit close behind it; that the box showed it before parts them.
        let at_once = [SignSeen::Sand, SignSeen::Muddy, SignSeen::AtOnce];
        assert_eq!(weigh("P", &at_once).causes[0].cause, Cause::WornBore);
        assert!(unsure(&at_once));
        assert!(!unsure(&[at_once.as_slice(), &[SignSeen::SameBeforeChange]].concat()));
    }
}
