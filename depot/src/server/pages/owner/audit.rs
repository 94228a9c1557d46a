//! Who saw and changed what.

use std::collections::HashMap;

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use gritbook_core::ids::PumpId;
use gritbook_core::model::words::Words;

use super::super::super::Problem;
use super::super::super::archive::people::{AUDIT_DAYS, AuditRow};
use super::super::frame::{Frame, html};
use super::super::shown::Shown;
use super::super::view;
use super::super::visit::Visit;
use super::moment;

/// Rows on a page.
const ROWS: u32 = 100;

#[derive(Template)]
#[template(path = "owner/audit.html")]
struct Page {
    frame: Frame,
    rows: Vec<Line>,
    /// The number to ask for older ones with; none where there are none.
    older: Option<i64>,
    kept: String,
}

struct Line {
    at: String,
    who: String,
    did: &'static str,
    about: String,
    /// Where the thing itself stands; empty where it has no page.
    link: String,
    reached: &'static str,
    /// How often in a row it was done; the newest of them stands here.
    times: u32,
}

impl Line {
    fn same_as(&self, other: &Self) -> bool {
        (&self.who, self.did, &self.about, &self.link, self.reached) == (&other.who, other.did, &other.about, &other.link, other.reached)
    }
}

/// What was done again and again stands once.
fn folded(lines: impl Iterator<Item = Line>) -> Vec<Line> {
    let mut folded: Vec<Line> = Vec::new();
    for line in lines {
        match folded.last_mut() {
            Some(last) if last.same_as(&line) => last.times += 1,
            _ => folded.push(line),
        }
    }
    folded
}

pub(super) async fn page(visit: Visit) -> Result<Response, Problem> {
    visit.reader.owner()?;
    let before = visit.query.number("before", 1..=i64::MAX)?;
    let rows = visit.depot.archive().audit(before, ROWS).await?;
    let frame = visit.frame();
    let shown = frame.shown;
    let pumps = visit.depot.archive().pumps(0).await?;
    let names = pumps.iter().map(|page| (page.pump, view::name(page, shown))).collect();
    let older = rows.last().map(|row| row.number).filter(|number| *number > 1 && rows.len() == ROWS as usize);
    let kept = shown.pick(
        format!("Kept for {AUDIT_DAYS} days. Addresses are not written down, only their kind."),
        format!("Se guarda {AUDIT_DAYS} días. Las direcciones no se anotan, sólo de qué clase son."),
    );
    let rows = folded(rows.into_iter().map(|row| line(row, &names, shown)));
    visit.seen("audit_seen", None).await;
    html(StatusCode::OK, &Page { frame, rows, older, kept })
}

fn line(row: AuditRow, pumps: &HashMap<PumpId, String>, shown: Shown) -> Line {
    let who = match row.by.as_str() {
        "command" => shown.pick("command on the depot's machine", "comando en la máquina del depósito").to_owned(),
        "nobody" => shown.pick("somebody", "alguien").to_owned(),
        "device" => format!("{} ({})", row.name.unwrap_or_default(), shown.pick("device", "equipo")),
        _ => row.name.unwrap_or_default(),
    };
    let pump = row.about.as_deref().and_then(|about| about.parse::<PumpId>().ok()).filter(|pump| pumps.contains_key(pump));
    let name = pump.and_then(|pump| pumps.get(&pump).cloned());
    let about = row.about.unwrap_or_default();
    Line {
        at: moment(row.at, shown),
        who,
        did: shown.say(did(&row.what)),
        link: pump.map(|pump| format!("/pumps/{pump}")).unwrap_or_default(),
        about: name.or(row.about_name).unwrap_or_else(|| about.chars().take(12).collect()),
        reached: shown.say(reached(&row.reached)),
        times: 1,
    }
}

fn did(what: &str) -> Words {
    let (en, es) = match what {
        "person_added" => ("added", "agregó a"),
        "person_removed" => ("took away", "quitó a"),
        "made_mechanic" => ("gave the role of mechanic to", "dio el papel de mecánico a"),
        "made_office" => ("gave the role of office to", "dio el papel de oficina a"),
        "made_owner" => ("gave the role of owner to", "dio el papel de dueño a"),
        "password_changed" => ("changed the password of", "cambió la contraseña de"),
        "signed_in" => ("signed in", "entró"),
        "sign_in_refused" => ("tried to sign in", "intentó entrar"),
        "signed_out" => ("signed out", "salió"),
        "device_enrolled" => ("enrolled", "inscribió"),
        "device_let_in" => ("used the code of", "usó el código de"),
        "code_tried_again" => ("showed the spent code of", "mostró el código ya usado de"),
        "put_back" => ("put the depot back from a backup of", "repuso el depósito con una copia del"),
        "photos_put_away" => ("put photos away by rule:", "retiró fotos según la regla:"),
        "device_revoked" => ("shut out", "dejó fuera a"),
        "fleet_seen" => ("saw all pumps", "vio todas las bombas"),
        "pump_seen" => ("saw", "vio"),
        "entry_seen" => ("saw an entry of", "vio un registro de"),
        "photo_seen" => ("opened the photo", "abrió la foto"),
        "search_made" => ("searched", "buscó"),
        "report_made" => ("took the report of", "sacó el informe de"),
        "record_exported" => ("exported", "exportó"),
        "devices_seen" => ("saw the devices", "vio los equipos"),
        "people_seen" => ("saw the people", "vio las personas"),
        "audit_seen" => ("saw this list", "vio esta lista"),
        _ => ("did something newer", "hizo algo más nuevo"),
    };
    Words { en, es }
}

fn reached(word: &str) -> Words {
    let (en, es) = match word {
        "this_machine" => ("this machine", "esta máquina"),
        "private" => ("own network", "red propia"),
        "public" => ("internet", "internet"),
        _ => ("unknown", "no se sabe"),
    };
    Words { en, es }
}

#[cfg(test)]
mod tests {
    use super::super::super::super::people::DEEDS;
    use super::*;

    #[test]
    fn every_deed_has_words_of_its_own() {
        let unknown = did("");
        for deed in DEEDS {
            assert_ne!(did(deed), unknown, "{deed}");
        }
    }
}
