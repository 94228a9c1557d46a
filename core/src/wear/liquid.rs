//! What the liquid in the box says, and what to look at next to tell the explanations apart.

use super::grade::Words;
use crate::model::entry::Liquid;

/// Where a statement comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// Common practice, no published source.
    Practice,
    /// A public trade page, read; one voice among several.
    Read(&'static str),
    /// Recalled, not seen in print: never a limit by itself.
    Memory,
}

/// What one sign means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sign {
    /// What it means.
    pub meaning: Words,
    /// What to look at next.
    pub look_next: Words,
    /// Where that is from.
    pub standing: Standing,
}

/// What the look of the liquid means.
pub fn sign(liquid: Liquid) -> Sign {
    match liquid {
        Liquid::Clear => Sign {
            meaning: Words { en: "Nothing has passed.", es: "No ha pasado nada." },
            look_next: Words { en: "Nothing more; drain again as usual.", es: "Nada más; drene otra vez como siempre." },
            standing: Standing::Practice,
        },
        Liquid::Grey => Sign {
            meaning: Words { en: "Cement fines only: normal.", es: "Sólo finos de cemento: normal." },
            look_next: Words { en: "Look for sand in what settled.", es: "Busque arena en lo asentado." },
            standing: Standing::Practice,
        },
        Liquid::Muddy => Sign {
            meaning: Words {
                en: "Holds mortar: a piston seal is badly worn, or the bore is.",
                es: "Lleva mortero: un sello de pistón está muy gastado, o el cilindro.",
            },
            look_next: Words {
                en: "Cups new and good? Then measure the bore; new cups will not cure it.",
                es: "¿Copas nuevas y buenas? Entonces mida el cilindro; copas nuevas no lo curan.",
            },
            standing: Standing::Read("chinapumpparts.com, News 114"),
        },
        Liquid::Oily => Sign {
            meaning: Words {
                en: "Oil on the water: a rod seal of a drive cylinder may leak.",
                es: "Aceite en el agua: puede fugar un sello de vástago del cilindro hidráulico.",
            },
            look_next: Words {
                en: "Check the oil level, and the oil for water (milky).",
                es: "Revise el nivel de aceite, y si el aceite tiene agua (lechoso).",
            },
            standing: Standing::Memory,
        },
    }
}

/// What a low level means, whatever the look.
pub fn low() -> Sign {
    Sign {
        meaning: Words {
            en: "Water passes a worn seal forward into the concrete, or the box leaks.",
            es: "El agua pasa por un sello gastado hacia el concreto, o la caja fuga.",
        },
        look_next: Words {
            en: "Look for a leak outside. Slump higher out of the line than in the hopper points to the seal.",
            es: "Busque fuga por fuera. Si el concreto sale más aguado que en la tolva, es el sello.",
        },
        standing: Standing::Read("concreteconstruction.net, water leakage into pumped concrete"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_look_has_a_meaning_of_its_own_and_something_to_do() {
        let signs = [Liquid::Clear, Liquid::Grey, Liquid::Muddy, Liquid::Oily].map(sign);
        for (index, one) in signs.iter().enumerate() {
            assert!(!one.look_next.en.is_empty() && !one.look_next.es.is_empty());
            assert!(signs.iter().skip(index + 1).all(|other| other.meaning != one.meaning));
        }
    }

    #[test]
    fn what_was_only_recalled_says_so() {
        assert_eq!(sign(Liquid::Oily).standing, Standing::Memory);
        assert!(matches!(low().standing, Standing::Read(_)));
    }
}
