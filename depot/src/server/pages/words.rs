//! The fixed words of the pages, in both languages.

use axum::http::StatusCode;
use gritbook_core::model::words::Words;

use super::super::archive::people::{Language, Role};
use super::super::problem::{Problem, Told};

macro_rules! words {
    ($($name:ident: $en:literal, $es:literal;)*) => {
        /// The fixed words of the pages in one language.
        pub(in crate::server) struct PageWords {
            $(pub(in crate::server) $name: &'static str,)*
        }

        static EN: PageWords = PageWords { $($name: $en,)* };
        static ES: PageWords = PageWords { $($name: $es,)* };

        #[cfg(test)]
        const ALL: &[(&str, &str, &str)] = &[$((stringify!($name), $en, $es),)*];
    };
}

words! {
    title: "Gritbook: what the pumps say", "Gritbook: lo que dicen las bombas";
    fleet: "Pumps", "Bombas";
    skip: "Skip to content", "Ir al contenido";
    sign_in: "Sign in", "Entrar";
    sign_out: "Sign out", "Salir";
    name: "Name", "Nombre";
    password: "Password", "Contraseña";
    other_language: "Español", "English";
    nothing_yet: "Nothing has come in yet.", "Todavía no ha llegado nada.";
    nothing_yet_do: "Let a phone in with gritbook enroll, check a box, and sync. Its entries stand here as soon as they arrive.",
        "Inscriba un teléfono con gritbook enroll, revise una caja y envíe. Sus registros aparecen aquí en cuanto lleguen.";
    none_of_yours: "No pump of yours is here. The owner names the pumps that you read about.",
        "Aquí no hay ninguna bomba suya. El dueño indica de qué bombas puede leer.";
    report: "Report to print", "Informe para imprimir";
    by: "by", "por";
    put_right: "Put right by a later entry.", "Corregido por un registro posterior.";
    photo: "Photo", "Foto";
    open_in_full: "open it in full", "ábrala entera";
    not_here: "is not here yet", "no ha llegado";
    put_away: "was put away: kept for a set time", "se retiró: se guarda un tiempo fijo";
    foot: "Levels and grades say what a mechanic saw. The maker's manual and the site's rules come first.",
        "Los niveles y grados dicen lo que vio un mecánico. El manual del fabricante y las reglas de la obra van primero.";
    wrong: "Name or password is wrong.", "El nombre o la contraseña no es correcto.";
    nobody_yet: "Nobody may sign in yet. On the depot's machine: gritbook people add --data DIR --name NAME --role owner",
        "Todavía nadie puede entrar. En la máquina del depósito: gritbook people add --data DIR --name NAME --role owner";
    forgot: "Forgotten? An owner gives you a new one.", "¿La olvidó? Un dueño le da una nueva.";
    language: "Language", "Idioma";
    units: "Units", "Unidades";
    metric: "mm, m³, bar", "mm, m³, bar";
    inch: "in, yd³, psi", "in, yd³, psi";
    save: "Save", "Guardar";
    saved: "Saved.", "Guardado.";
    new_password: "A new password", "Una contraseña nueva";
    password_now: "The password now", "La contraseña de ahora";
    password_new: "The new one: 12 characters or more", "La nueva: 12 caracteres o más";
    password_again: "The new one again", "La nueva otra vez";
    change_it: "Change it", "Cambiarla";
    password_changed: "The password is changed. You are signed out everywhere else.", "La contraseña cambió. En los demás lugares ya salió.";
    not_the_same: "The two new passwords differ.", "Las dos contraseñas nuevas no son iguales.";
    back: "Back", "Volver";
    devices: "Devices", "Equipos";
    people: "People", "Personas";
    audit: "Who saw and changed what", "Quién vio y cambió qué";
    deeds: "Deeds", "Lo hecho";
    newer: "Newer", "Más nuevos";
    as_read: "As it was read", "Como se leyó";
    as_read_means: "Each counted grain is the circle of its area; a double line is a lump, a broken one is cut by the border and does not count.",
        "Cada grano contado es el círculo de su área; doble línea es un grumo, línea cortada toca el borde y no cuenta.";
    sizes: "Sizes", "Tamaños";
    why: "Why", "Por qué";
    would_change: "What would change it", "Qué lo cambiaría";
    checked_by: "What the record is checked by", "Con qué se comprueba el registro";
    grades: "Grades over time", "Grados en el tiempo";
    no_grade: "Nothing was graded yet.", "Todavía no hay grados.";
    parts: "How long parts last", "Cuánto duran las piezas";
    parts_door: "Parts", "Piezas";
    no_life: "No life of a part is on record yet.", "Todavía no hay ninguna vida de pieza registrada.";
    no_life_do: "A life begins when a part is fitted, or noted as in use, with the pump's running total.",
        "Una vida empieza cuando se pone una pieza, o se anota en uso, con el total de la bomba.";
    hatched: "Steps: as counted. Hatched: no failure seen there yet.", "Escalones: lo contado. Rayado: ahí todavía no se vio ninguna falla.";
    how_calls: "How the calls turned out", "Cómo salieron las decisiones";
    on_shelf: "On the shelf", "En el estante";
    lead_days: "Days from order to delivery", "Días del pedido a la entrega";
    lasts_in: "Times in 100 that it must last", "Veces de 100 que debe alcanzar";
    show: "Show", "Mostrar";
    search: "Search", "Buscar";
    pump_named: "Pump, or part of its name", "Bomba, o parte de su nombre";
    kind: "Kind of entry", "Clase de registro";
    any: "any", "cualquiera";
    from_day: "From", "Desde";
    to_day: "To", "Hasta";
    older: "Older", "Más antiguos";
    no_device: "No device is in yet.", "Todavía no hay ningún equipo.";
    shut_out: "Shut out", "Dejar fuera";
    let_in: "Let a device in", "Inscribir un equipo";
    device_name: "What to call it", "Cómo llamarlo";
    address: "Address at which it reaches the depot", "Dirección con la que llega al depósito";
    show_code: "Show its code", "Mostrar su código";
    role: "Role", "Papel";
    own_pumps: "A mechanic reads about these pumps", "Un mecánico lee de estas bombas";
    make_password: "New password", "Contraseña nueva";
    take_away: "Take away", "Quitar";
    add_person: "Add a person", "Agregar una persona";
}

/// The words in a language.
pub(in crate::server) fn words(language: Language) -> &'static PageWords {
    match language {
        Language::En => &EN,
        Language::Es => &ES,
    }
}

/// What a role is called.
pub(in crate::server) fn role(role: Role) -> Words {
    match role {
        Role::Mechanic => Words { en: "mechanic", es: "mecánico" },
        Role::Office => Words { en: "office", es: "oficina" },
        Role::Owner => Words { en: "owner", es: "dueño" },
    }
}

/// What a reader of pages can meet, in Spanish: code, what was wrong, what to do.
const PROBLEMS: &[(&str, &str, &str)] = &[
    ("no_such_address", "No hay nada en esta dirección.", "Revise la dirección."),
    ("no_such_pump", "El depósito no tiene ningún registro de esta bomba.", "Elija una bomba de la lista."),
    ("no_such_entry", "El depósito no tiene este registro.", "Puede que siga en el teléfono que lo escribió."),
    (
        "photo_put_away",
        "Esta foto se retiró: el depósito las guarda un tiempo fijo.",
        "El registro la sigue nombrando; puede estar en una copia anterior.",
    ),
    ("no_such_photo", "El depósito no tiene esta foto.", "Puede que siga en el teléfono que la tomó."),
    ("no_such_person", "Nadie con ese nombre puede entrar.", "Elija un nombre de la lista."),
    ("no_such_device", "No hay ningún equipo con ese nombre.", "Elija un nombre de la lista."),
    ("not_drawn", "De esta foto no se puede hacer una imagen pequeña.", "Abra la foto misma."),
    ("not_allowed", "Esta página no es para usted.", "Pídala a un dueño, o entre con otro nombre."),
    ("form_stale", "Este formulario no viene de una página abierta aquí.", "Abra la página otra vez y envíelo desde ahí."),
    ("too_many_tries", "Demasiados intentos fallidos.", "Espere un poco e intente otra vez."),
    ("too_many_requests", "Demasiadas peticiones.", "Espere un poco e intente otra vez."),
    ("bad_name", "El nombre no sirve.", "Use de 1 a 60 caracteres."),
    ("bad_password", "La contraseña es demasiado corta o demasiado larga.", "Use de 12 a 200 caracteres; sirven varias palabras."),
    ("name_taken", "Ese nombre ya está en uso.", "Elija otro."),
    ("last_owner", "No quedaría ningún dueño.", "Primero haga dueño a otra persona."),
    ("other_host", "Este depósito muestra sus páginas sólo en esta máquina.", "Ábralas como http://127.0.0.1 o http://localhost."),
    ("storage_full", "El depósito no tiene espacio.", "Libere espacio en el depósito."),
    ("bad_field", "Un campo tiene algo que no puede estar ahí.", "Abra la página otra vez y envíela desde ahí."),
    ("bad_query", "El informe sólo acepta hoja, idioma y unidades.", "Quite lo demás de la dirección."),
    ("bad_paper", "El informe se hace en a4 o letter.", "Pida una de las dos."),
    ("bad_language", "El informe se hace en inglés o español.", "Pida uno de los dos."),
    ("bad_units", "El informe se hace en métrico o pulgadas.", "Pida uno de los dos."),
    ("not_a_form", "Lo enviado no es un formulario.", "Envíelo desde la página."),
    ("too_large", "El formulario es demasiado grande o llegó cortado.", "Envíelo otra vez desde la página."),
    ("busy", "Demasiada gente entra en este momento.", "Intente otra vez en un momento."),
    ("stopping", "El depósito se está apagando.", "Intente otra vez en un momento."),
    ("archive_busy", "El depósito está ocupado.", "Intente otra vez en un momento."),
    ("too_slow", "La petición tardó demasiado.", "Intente otra vez."),
    ("fault", "El depósito tiene una falla propia.", "Intente otra vez; si sigue, avise."),
];

/// What was wrong and what to do, as sentences in the page's language.
pub(in crate::server) fn problem(told: &Told, language: Language) -> (String, String) {
    let spanish = PROBLEMS.iter().find(|(code, ..)| *code == told.code && language == Language::Es);
    match spanish {
        Some((_, reason, advice)) => ((*reason).to_owned(), (*advice).to_owned()),
        None => (sentence(&told.reason), sentence(&told.advice)),
    }
}

/// The status of a form's page that comes again with what was wrong: what it held cannot be taken (422), or how things are stands
/// against it.
pub(in crate::server) fn status_beside_a_form(problem: &Problem) -> StatusCode {
    match StatusCode::from_u16(problem.status()) {
        Ok(status) if status != StatusCode::BAD_REQUEST => status,
        _ => StatusCode::UNPROCESSABLE_ENTITY,
    }
}

/// The same in one line, for beside a form.
pub(in crate::server) fn problem_line(problem: &Problem, language: Language) -> String {
    let (reason, advice) = self::problem(&problem.told(), language);
    format!("{reason} {advice}")
}

/// As a sentence: a capital, a full stop.
pub(in crate::server) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first: String = letters.next().map(|letter| letter.to_uppercase().collect()).unwrap_or_default();
    let stop = if text.ends_with('.') { "" } else { "." };
    format!("{first}{}{stop}", letters.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_stands_in_both_languages_and_shouts_in_neither() {
        for (name, en, es) in ALL {
            let same = ["metric", "inch"].contains(name);
            assert!(same || en != es, "{name}");
            assert!(![*en, *es].iter().any(|text| text.is_empty() || text.contains('!') || text.contains('¡')), "{name}");
            assert_eq!(en.ends_with('.'), es.ends_with('.'), "{name}");
        }
    }

    #[test]
    fn problem_is_said_in_sentences() {
        let told = Told { code: "not_allowed", reason: "this page is the owner's".into(), advice: "sign in as an owner".into() };
        assert_eq!(problem(&told, Language::En), ("This page is the owner's.".into(), "Sign in as an owner.".into()));
        assert!(problem(&told, Language::Es).0.starts_with("Esta página"));
        let told = Told { code: "not_in_the_list", ..told };
        assert_eq!(problem(&told, Language::Es).0, "This page is the owner's.");
    }
}
