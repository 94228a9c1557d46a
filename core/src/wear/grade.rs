//! The five grades of each part, in words, in English and Spanish.
//!
//! No standard grades these parts. Every criterion here is common practice, no published source, worded by us; the
//! maker's manual wins where it gives a limit. A grade that was given names the edition of this table it was given by.

use crate::model::part::{Grade, Part};
pub use crate::model::words::Words;

/// Edition of the table; changes whenever a criterion's meaning does.
pub const CRITERIA_EDITION: &str = "2026-11";

/// The grades' names, 0 to 4.
pub const GRADE_NAMES: [Words; 5] = [
    Words { en: "sound", es: "sana" },
    Words { en: "bedded", es: "asentada" },
    Words { en: "worn", es: "gastada" },
    Words { en: "passing", es: "pasa material" },
    Words { en: "spent", es: "acabada" },
];

/// What a part looks like at each grade, 0 to 4.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Criteria {
    /// Which part.
    pub part: Part,
    /// One sentence a grade.
    pub grades: [Words; 5],
}

const fn w(en: &'static str, es: &'static str) -> Words {
    Words { en, es }
}

/// The whole table, in the order in which a box is looked at.
pub const CRITERIA: [Criteria; 7] = [
    Criteria {
        part: Part::Cup,
        grades: [
            w("Lip sharp all round, face clean.", "Labio con filo en todo el contorno, cara limpia."),
            w("Lip shiny where it runs, still full; face dull.", "Labio brilloso donde corre, todavía entero; cara opaca."),
            w(
                "Lip rounded or thinned on part of the rim; grit set in the face.",
                "Labio redondeado o adelgazado en parte; arenilla clavada en la cara.",
            ),
            w("Lip cut, torn or worn through in places; sand has passed.", "Labio cortado, roto o comido en partes; ya pasó arena."),
            w("Lip gone, pieces missing, or lumps have passed.", "Sin labio, le faltan pedazos, o ya pasaron grumos."),
        ],
    },
    Criteria {
        part: Part::GuideBand,
        grades: [
            w("Full thickness, edges square.", "Espesor completo, cantos rectos."),
            w("Polished evenly, still square.", "Pulida pareja, todavía recta."),
            w("Worn to one side, or grit set in it.", "Gastada de un lado, o con arenilla clavada."),
            w("Scored or rolled; the plate can touch the bore.", "Rayada o enrollada; el plato puede tocar el cilindro."),
            w("Broken, missing, or worn down to the plate.", "Rota, faltante, o comida hasta el plato."),
        ],
    },
    Criteria {
        part: Part::ORing,
        grades: [
            w("Round, springy, no marks.", "Redondo, elástico, sin marcas."),
            w("A flat begins to show, still springy.", "Empieza a aplanarse, todavía elástico."),
            w("Clearly flat, or surface cracked.", "Claramente plano, o con la superficie agrietada."),
            w("Nicked or cut; it no longer fills its groove.", "Con muescas o cortes; ya no llena su ranura."),
            w("Broken or missing.", "Roto o faltante."),
        ],
    },
    Criteria {
        part: Part::Plate,
        grades: [
            w("Flat and clean, holes round.", "Plano y limpio, agujeros redondos."),
            w("Flat; light rust or paste that cleans off.", "Plano; óxido leve o lechada que se limpia."),
            w("Light shows under a straightedge; marks that a file takes off.", "Se ve luz bajo la regla; marcas que la lima quita."),
            w("Low in the centre within the limit, or holes pulled oval.", "Hundido en el centro dentro del límite, o agujeros ovalados."),
            w("Low in the centre beyond the limit, bent or cracked.", "Hundido en el centro más del límite, doblado o agrietado."),
        ],
    },
    Criteria {
        part: Part::Bore,
        grades: [
            w("Chrome bright, smooth to a bare finger.", "Cromo brillante, liso al dedo."),
            w("Fine lines that a nail does not catch.", "Líneas finas que la uña no siente."),
            w("Lines that a nail catches, or dull bands.", "Líneas que la uña siente, o bandas opacas."),
            w("Scores, or spots where chrome is gone.", "Rayas hondas, o puntos sin cromo."),
            w("Chrome flaking, steel showing along the stroke.", "Cromo descascarado, acero a la vista a lo largo de la carrera."),
        ],
    },
    Criteria {
        part: Part::Coupler,
        grades: [
            w("Halves matched, stamps the same way, faces bright.", "Mitades del mismo juego, marcas al mismo lado, caras brillantes."),
            w("Light fretting, no play.", "Roce leve, sin juego."),
            w("Shoulders marked, play just felt.", "Hombros marcados, juego apenas se siente."),
            w("Play seen as the rod turns to the other stroke.", "El juego se ve al cambiar la carrera."),
            w("Cracked, or halves that do not belong together.", "Agrietado, o mitades que no son del mismo juego."),
        ],
    },
    Criteria {
        part: Part::Bolts,
        grades: [
            w("All there, threads clean, torque holds.", "Todos, roscas limpias, mantienen el apriete."),
            w("Surface rust, threads run free by hand.", "Óxido superficial, la rosca corre a mano."),
            w("Threads bind: chase them before refitting.", "La rosca se traba: repásela antes de montar."),
            w("Stretched, bent, or heads rounded: replace.", "Estirados, doblados o cabezas redondeadas: cámbielos."),
            w("One missing or broken.", "Falta uno o está roto."),
        ],
    },
];

/// What `part` looks like at `grade`.
pub fn criterion(part: Part, grade: Grade) -> Words {
    criteria(part).grades[usize::from(grade.number())]
}

/// The criteria of one part.
pub fn criteria(part: Part) -> &'static Criteria {
    let row = match part {
        Part::Cup => 0,
        Part::GuideBand => 1,
        Part::ORing => 2,
        Part::Plate => 3,
        Part::Bore => 4,
        Part::Coupler => 5,
        Part::Bolts => 6,
    };
    &CRITERIA[row]
}

/// Whether this grade alone means "change first", whatever the chances say: every part at grade 4.
pub fn is_hard_stop(grade: Grade) -> bool {
    grade.number() == 4
}

/// The graver of two grades of one part: an eye grade and a measured one stand side by side, and the graver counts.
pub fn graver(eye: Option<Grade>, measured: Option<Grade>) -> Option<Grade> {
    eye.max(measured)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_part_has_its_own_row_and_five_different_criteria_in_both_languages() {
        for (row, criteria_of_row) in CRITERIA.iter().enumerate() {
            assert_eq!(criteria(criteria_of_row.part), criteria_of_row, "row {row}");
            for (grade, words) in criteria_of_row.grades.iter().enumerate() {
                let others = criteria_of_row.grades.iter().skip(grade + 1);
                assert!(!words.en.is_empty() && !words.es.is_empty() && words.en != words.es);
                assert!(others.clone().all(|other| other.en != words.en && other.es != words.es));
            }
        }
    }

    #[test]
    fn only_the_spent_grade_is_a_hard_stop() {
        let stops: Vec<bool> = (0..=4).map(|grade| is_hard_stop(Grade::new(grade).unwrap())).collect();
        assert_eq!(stops, [false, false, false, false, true]);
    }

    #[test]
    fn the_graver_of_eye_and_measure_counts() {
        let grade = |number| Grade::new(number).ok();
        assert_eq!(graver(grade(1), grade(3)), grade(3));
        assert_eq!(graver(grade(2), None), grade(2));
        assert_eq!(graver(None, None), None);
    }

    #[test]
    fn a_grade_above_four_is_refused() {
        assert_eq!(Grade::new(5).unwrap_err().code(), "bad_grade");
        assert_eq!(criterion(Part::Cup, Grade::new(4).unwrap()).en, "Lip gone, pieces missing, or lumps have passed.");
    }
}
