//! Errors in Spanish, by their stable code: what was wrong and what to do. The error itself says it in English, with its figures.
//!
//! Only what a person with a phone can meet stands here; other codes fall back to the English text.

/// What was wrong and what to do, in Spanish.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SpanishError {
    /// What was wrong.
    pub reason: &'static str,
    /// What to do.
    pub advice: &'static str,
}

/// The Spanish words of an error code, where it has some.
pub fn spanish(code: &str) -> Option<SpanishError> {
    TABLE.iter().find(|(known, ..)| *known == code).map(|&(_, reason, advice)| SpanishError { reason, advice })
}

/// Code, what was wrong, what to do.
const TABLE: &[(&str, &str, &str)] = &[
    // Photos.
    ("no_such_file", "No se encuentra el archivo.", "Tome la foto otra vez o elija otra."),
    ("not_a_photo", "El archivo no es una foto.", "Elija una foto tal como la guardó la cámara, JPEG o PNG."),
    ("cut_off_file", "La foto está incompleta.", "Cópiela otra vez o tome una nueva."),
    ("too_big", "La foto es demasiado grande.", "Ponga la cámara en un tamaño normal."),
    ("no_card", "No se ve la tarjeta en la foto.", "Ponga la tarjeta entera en la foto, con sus marcas a la vista."),
    (
        "card_cut_off",
        "Parte de la ventana de la tarjeta queda fuera de la foto.",
        "Suba un poco el teléfono: ventana y cuatro marcas dentro.",
    ),
    ("card_bent", "La tarjeta está doblada.", "Póngala plana sobre una tabla y tome la foto otra vez."),
    ("two_cards", "Hay más de una tarjeta en la foto.", "Deje una sola tarjeta en la foto."),
    ("of_a_screen", "La foto muestra una pantalla.", "Tome la foto de la tarjeta misma."),
    ("bad_bar", "La barra de la tarjeta no mide lo que debe.", "Imprima la tarjeta otra vez al 100 %, sin ajustar a la página."),
    (
        "bar_off",
        "La tarjeta no se imprimió al 100 %: las medidas se corrigieron por su barra.",
        "Imprima una nueva al 100 %, sin ajustar a la página.",
    ),
    ("blurred", "La foto salió movida o fuera de foco.", "Sostenga firme el teléfono, toque la tarjeta para enfocar."),
    ("too_dark", "La foto está muy oscura.", "Busque más luz, sin su propia sombra encima."),
    ("overexposed", "La foto tiene demasiada luz.", "Tómela a la sombra o con menos exposición."),
    (
        "unclear",
        "No se distinguen bien los granos de lo que tienen al lado.",
        "Haga sombra a la tarjeta, enjuague la película y el lodo, y tome otra foto.",
    ),
    (
        "paper_hidden",
        "Una sombra o lodo tapa el papel de la ventana.",
        "Que la sombra de la mano y del teléfono caiga fuera, o cubra toda la tarjeta con su cuerpo; limpie el lodo.",
    ),
    (
        "may_be_lump",
        "Un grano grande puede ser un grumo.",
        "Apriételo con el guante puesto: el grumo se deshace, la piedra no. Si se deshace, el nivel es grumos: póngalo a ojo.",
    ),
    ("hard_shadow", "El sol bajo da sombras duras.", "Haga sombra a la tarjeta con su cuerpo y tome otra foto."),
    (
        "heaped",
        "Los granos están amontonados: se midió un solo tamaño medio.",
        "Extienda la cuarta parte, en una sola capa, y tome otra foto.",
    ),
    ("glare", "Hay reflejo sobre la tarjeta.", "Incline un poco el teléfono o tape el sol."),
    ("too_small", "La tarjeta se ve muy pequeña.", "Acérquese hasta que la tarjeta llene la foto."),
    (
        "too_crowded",
        "Los granos están amontonados: esto ya dice que hay arena.",
        "Extienda la cuarta parte, en una sola capa, y tome otra foto.",
    ),
    (
        "bad_ruler",
        "Los dos puntos están muy juntos, o falta la medida.",
        "Ponga los puntos lejos uno del otro en la regla y diga cuánto miden.",
    ),
    ("bad_scale", "La escala no sirve.", "Marque otra vez los dos puntos en la regla."),
    ("bad_window", "El recuadro no cabe en la foto.", "Márquelo dentro de la foto."),
    // Wear surfaces.
    (
        "no_face",
        "En la foto no resalta ninguna superficie de color.",
        "Llene media foto con la pieza, o dibuje su contorno: el metal siempre lo pide.",
    ),
    ("which_face", "Hay dos superficies de color casi iguales en la foto.", "Dibuje el contorno de la que se mide, o saque la otra."),
    ("face_too_small", "La pieza se ve muy pequeña.", "Acérquese hasta que la pieza llene media foto, con la tarjeta al lado."),
    ("face_hidden", "El brillo tapa demasiado de la superficie.", "Hágale sombra con el cuerpo, sin flash, o tómela de otro lado."),
    (
        "no_white",
        "No se ve la tarjeta ni se mostró un blanco.",
        "Ponga la tarjeta junto a la pieza, o muestre en la foto algo blanco o gris.",
    ),
    ("bad_white", "El blanco mostrado no sirve.", "Muestre una mancha lisa, blanca o gris, dentro de la foto."),
    ("two_whites", "Se mostró un blanco y también un gris.", "Muestre uno solo."),
    ("bad_outline", "El contorno no encierra nada.", "Toque al menos tres puntos alrededor de la superficie."),
    ("outline_outside", "El contorno sale de la foto.", "Déjelo dentro de la foto."),
    ("outline_crosses", "El contorno se cruza a sí mismo.", "Dé la vuelta a la superficie una sola vez, punto por punto."),
    ("reading_of_other_photo", "La lectura es de otra foto.", "Lea la foto que se guarda con la revisión."),
    ("photo_damaged", "La foto guardada se dañó en el teléfono.", "Tome otra; el registro dice que esta se dañó."),
    ("photo_missing", "La foto ya no está en el teléfono.", "Tome otra si todavía se puede."),
    ("no_such_photo", "Esta foto no está en este teléfono.", "Puede estar en el depósito: mírela en su página."),
    // Figures and words.
    (
        "bad_level_limit",
        "Un límite del nivel está fuera de lo posible.",
        "Medidas de 0 a 1000 mm, partes de 0 a 100 %; la de arena no menor que la de algo de arena.",
    ),
    ("not_a_number", "Eso no es un número.", "Use cifras con un solo punto o coma decimal, sin separar los miles."),
    ("out_of_range", "La cifra está fuera de lo posible.", "Revise la cifra y su unidad."),
    ("bad_name", "El nombre no sirve.", "Dé un nombre corto, de 1 a 80 letras, que empiece con letra o número."),
    ("bad_pump_figure", "Una medida de la bomba está fuera de lo posible.", "Revísela en la placa de la bomba."),
    ("bad_grade", "Ese estado no existe.", "Use de 0 (sana) a 4 (acabada)."),
    ("bad_measure", "El nombre de la medida no sirve.", "Use minúsculas, números y _, con la unidad al final."),
    ("bad_points", "Las lecturas no alcanzan o una no puede ser.", "Revise las lecturas; mida en más lugares."),
    ("bad_setting", "Esa medida está fuera de lo posible.", "Revise la cifra y su unidad."),
    ("not_this_bore", "Ese diámetro no puede ser de este cilindro.", "Revise la cifra y su unidad."),
    ("bad_thread", "Esa rosca no está en las tablas.", "Escríbala como 3/8-24 o M12."),
    ("bad_grade_of_bolt", "Ese grado no es de esa clase de rosca.", "Pulgadas: 2, 5 u 8. Métrica: 8.8, 10.9 o 12.9."),
    ("bad_document", "El documento no se puede leer.", "Hágalo otra vez y anote lo que salga."),
    ("note_too_long", "El texto es demasiado largo.", "Acórtelo."),
    ("bad_costs", "Un costo no sirve.", "Revise los costos: mayores que cero, y la falla más cara que el cambio."),
    ("bad_ask", "El total es menor que el último registrado.", "Dé el total como se lee ahora, o déjelo vacío."),
    ("bad_id", "El nombre interno no se reconoce.", "Vuelva al inicio e inténtelo otra vez."),
    // The book.
    ("no_such_pump", "Esa bomba no está en el libro.", "Búsquela en la lista, o agréguela."),
    ("pump_exists", "Ya hay una bomba con ese nombre.", "Cambie sus datos, o use otro nombre."),
    ("two_pumps", "Dos bombas tienen ese nombre.", "Cambie el nombre de una."),
    ("empty_check", "La revisión no dice nada.", "Agregue foto, nivel, líquido o nota."),
    ("no_grades", "No se dio estado a ninguna pieza.", "Dé primero el estado de una pieza."),
    ("nothing_poured", "No hay volumen.", "Dé el colado o el total en m³."),
    ("no_reason", "Falta el motivo.", "Dígalo en pocas palabras."),
    ("nothing_seen", "Aún no se ha visto la caja de esta bomba con estas copas.", "Drene la caja y registre lo que muestra."),
    ("no_lives", "Todavía no hay vidas de esta pieza en el libro.", "Registre cuándo se monta una pieza y cuánto se cuela."),
    ("nothing_to_repair", "La historia se lee tal como está.", "Úsela así."),
    ("no_such_entry", "Esa anotación no está en el libro.", "Búsquela en la lista."),
    ("no_such_item", "Eso ya no está en la salida.", "Vea la lista de nuevo."),
    ("storage_full", "El teléfono no tiene espacio.", "Libere espacio y guarde otra vez; nada se perdió."),
    ("file_failed", "No se pudo leer o escribir un archivo.", "Inténtelo otra vez."),
    ("book_busy", "El libro está ocupado.", "Espere un momento e inténtelo otra vez."),
    ("book_damaged", "El libro se dañó.", "Se apartó una copia; avise a quien lleva el depósito."),
    ("newer_schema", "El libro lo escribió una versión más nueva.", "Actualice la aplicación; el libro no se tocó."),
    // Sending.
    ("offline", "No se llega al depósito.", "No haga nada: se envía solo cuando haya señal."),
    ("cut", "La conexión se cortó.", "No haga nada: sigue donde se cortó."),
    (
        "wrong_key",
        "La clave del depósito no es la que se inscribió: no se envió nada y todo queda guardado.",
        "Pregunte en la oficina si el depósito tiene otra clave; si es así, inscriba el teléfono otra vez.",
    ),
    (
        "depot_not_trusted",
        "No se puede confiar en el certificado del depósito: no se envió nada y todo queda guardado.",
        "Inscriba el teléfono otra vez, con un código que lleve la clave del depósito.",
    ),
    ("depot_refused_token", "El depósito no deja entrar a este teléfono.", "Inscríbalo otra vez."),
    (
        "code_used",
        "Otro equipo ya usó este código: todo queda guardado.",
        "Pida a la oficina que deje fuera a ese equipo y muestre un código nuevo.",
    ),
    ("token_revoked", "El depósito dejó fuera a este teléfono: todo queda guardado.", "Pida a la oficina un código nuevo."),
    ("unknown_token", "El depósito no conoce a este teléfono: todo queda guardado.", "Pida a la oficina un código nuevo."),
    ("code_too_late", "El código ya no sirve: no se usó a tiempo.", "Pida a la oficina un código nuevo."),
    ("code_revoked", "La oficina dejó fuera al equipo de este código.", "Pida a la oficina un código nuevo."),
    ("unknown_code", "El depósito no conoce este código.", "Pida a la oficina un código nuevo."),
    ("code_refused", "El depósito no acepta el código de este teléfono.", "Pida a la oficina un código nuevo."),
    ("depot_busy", "El depósito no puede recibir ahora.", "No haga nada: se envía solo más tarde."),
    ("not_a_depot", "Contestó algo que no es el depósito.", "Revise la conexión: puede haber una página de acceso en medio."),
    ("too_large_for_depot", "El depósito no recibe algo tan grande.", "Que el depósito suba su límite, o tome fotos más pequeñas."),
    ("depot_refused", "El depósito no lo quiso recibir.", "Vea el motivo; luego reinténtelo o no lo envíe."),
    // Change-out and enrolment.
    ("no_cups", "No se dijo qué copas se cambian.", "Diga A, B o las dos."),
    ("not_this_step", "Ese no es el paso que toca.", "Vea el paso en la pantalla."),
    ("steps_open", "Quedan pasos sin marcar.", "Hágalos, o sáltelos con un motivo."),
    ("no_reason_for_cup", "Falta decir por qué salió una copa.", "Diga por qué salió cada una."),
    ("other_edition", "Los pasos cambiaron desde que empezó.", "Anote lo hecho y empiece de nuevo."),
    ("no_code", "No se puede leer un código en la foto.", "Llene la foto con el código, firme y sin reflejo."),
    ("not_an_enrolment", "Ese código no es de un depósito.", "Tome foto del código que muestra el depósito."),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_stands_once_and_ends_its_sentences() {
        for (at, (code, reason, advice)) in TABLE.iter().enumerate() {
            assert!(TABLE[..at].iter().all(|(other, ..)| other != code), "{code} twice");
            assert!(reason.ends_with('.') && advice.ends_with('.') && !reason.contains('!') && !advice.contains('!'), "{code}");
        }
        assert_eq!(spanish("no_card").unwrap().reason, "No se ve la tarjeta en la foto.");
        assert!(spanish("csv_failed").is_none());
    }

    /// A code that is gone from the sources is gone from the table.
    #[test]
    fn every_code_of_the_table_is_one_that_the_core_gives() {
        fn sources(folder: &std::path::Path, all: &mut String) {
            for file in std::fs::read_dir(folder).unwrap() {
                let path = file.unwrap().path();
                if path.is_dir() {
                    sources(&path, all);
                } else if path.file_name().is_some_and(|name| name != "error_words.rs") {
                    all.push_str(&std::fs::read_to_string(&path).unwrap());
                }
            }
        }
        let mut all = String::new();
        sources(&std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), &mut all);
        let unknown: Vec<_> = TABLE.iter().map(|(code, ..)| *code).filter(|code| !all.contains(&format!("\"{code}\""))).collect();
        assert_eq!(unknown, [""; 0]);
    }
}
