//! Devices: how far behind each is, letting one in by a code on the screen, shutting one out.

use askama::Template;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use chrono::TimeDelta;
use gritbook_core::ids::Sha256Hex;
use gritbook_core::model::words::Words;
use gritbook_core::outbox::{Enrolment, Right};
use qrcode::{EcLevel, QrCode};

use super::super::super::archive::devices::{DeviceStanding, NewDevice, no_such_device};
use super::super::super::people::checked_name;
use super::super::super::{Problem, make_token};
use super::super::frame::{Frame, html};
use super::super::shown::Shown;
use super::super::visit::{Sent, Visit};
use super::super::words;
use super::{Sure, ago, moment, span};
use crate::report::code::code_svg;

/// A code from the page must be used within this time.
const FIRST_USE_WITHIN: TimeDelta = TimeDelta::hours(1);

#[derive(Template)]
#[template(path = "owner/devices.html")]
struct Page {
    frame: Frame,
    devices: Vec<Line>,
    /// Where devices reach this depot, as far as this page knows.
    address: String,
    wrong: String,
}

struct Line {
    name: String,
    heard: String,
    /// What it is behind with, gravest first; empty where it is not.
    behind: Vec<String>,
    entries: String,
}

#[derive(Template)]
#[template(path = "owner/code.html")]
struct Code {
    frame: Frame,
    name: String,
    code: String,
    address: String,
    means: String,
}

pub(super) async fn page(visit: Visit) -> Result<Response, Problem> {
    let page = list(&visit, StatusCode::OK, String::new()).await?;
    visit.seen("devices_seen", None).await;
    Ok(page)
}

async fn list(visit: &Visit, status: StatusCode, wrong: String) -> Result<Response, Problem> {
    visit.reader.owner()?;
    let frame = visit.frame();
    let (shown, now) = (frame.shown, visit.depot.now());
    let devices = visit.depot.archive().standings().await?;
    let devices = devices.into_iter().map(|device| line(device, now, shown)).collect();
    html(status, &Page { frame, devices, address: address(visit), wrong })
}

/// The address that this page was opened at.
fn address(Visit { depot, headers, .. }: &Visit) -> String {
    let scheme = if depot.settings().cookies_secure { "https" } else { "http" };
    let forwarded = headers.get("x-forwarded-host").filter(|_| depot.settings().behind_proxy);
    let host = forwarded.or_else(|| headers.get(header::HOST)).and_then(|host| host.to_str().ok()).unwrap_or_default();
    format!("{scheme}://{host}")
}

fn line(device: DeviceStanding, now: chrono::DateTime<chrono::Utc>, shown: Shown) -> Line {
    let heard = match (device.heard, device.first_use_by) {
        (Some(heard), _) => {
            shown.pick(format!("last heard {} ago", ago(heard, now, shown)), format!("se comunicó hace {}", ago(heard, now, shown)))
        }
        (None, Some(by)) if by < now => shown.pick("its code was not used in time".into(), "su código no se usó a tiempo".into()),
        (None, Some(by)) => shown.pick(
            format!("not heard yet; its code is good until {}", moment(by, shown)),
            format!("sin comunicarse; su código sirve hasta {}", moment(by, shown)),
        ),
        (None, None) => shown.pick("not heard yet".into(), "sin comunicarse".into()),
    };
    let mut behind = Vec::new();
    if let Some(tried) = device.code_tried {
        let at = moment(tried, shown);
        behind.push(shown.pick(
            format!("another device showed its code too, {at}: see that the right phone is in"),
            format!("otro equipo también mostró su código, {at}: vea que sea el teléfono correcto"),
        ));
    }
    if device.entries_missing > 0 {
        let entries = shown.count(device.entries_missing, super::super::ENTRY.0, super::super::ENTRY.1);
        behind.push(shown.pick(format!("{entries} still on the phone"), format!("todavía en el teléfono: {entries}")));
    }
    if device.uploads_open > 0 {
        let photos = shown.count(device.uploads_open, Words { en: "photo", es: "foto" }, Words { en: "photos", es: "fotos" });
        let mb = device.bytes_missing.div_ceil(1_000_000);
        behind.push(shown.pick(format!("{photos} on the way, {mb} MB to come"), format!("{photos} en camino, faltan {mb} MB")));
    }
    if let Some(lag) = device.lag_ms.filter(|lag| *lag >= 60_000) {
        let lag = span(lag, shown);
        behind.push(shown.pick(format!("its newest entry took {lag} to come"), format!("su registro más nuevo tardó {lag} en llegar")));
    }
    let entries = shown.count(device.entries, super::super::ENTRY.0, super::super::ENTRY.1);
    Line { name: device.name, heard, behind, entries }
}

/// An address that a device can be told: a name or number of a machine, a port, a path. The document of the requests has the same rule.
fn usable(address: &str) -> bool {
    let rest = address.strip_prefix("https://").or_else(|| address.strip_prefix("http://"));
    rest.is_some_and(|rest| {
        rest.len() <= 200
            && rest.starts_with(|first: char| first.is_ascii_alphanumeric() || first == '[')
            && rest.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"._~:/[]%-".contains(&byte))
    })
}

pub(super) async fn enrol(sent: Sent) -> Result<Response, Problem> {
    let signed = sent.by_owner()?;
    let language = signed.person.language;
    let Sent { visit, fields } = &sent;
    let address = fields.get("address").trim().trim_end_matches('/').to_owned();
    let name = match checked_name(fields.get("name")) {
        Ok(name) if usable(&address) => name,
        Ok(_) => {
            let wrong = Shown { language, ..Shown::default() }
                .pick("The address must begin with https:// or http://.", "La dirección debe empezar con https:// o http://.");
            return list(visit, StatusCode::UNPROCESSABLE_ENTITY, wrong.to_owned()).await;
        }
        Err(error) => {
            let problem = error.into();
            return list(visit, words::status_beside_a_form(&problem), words::problem_line(&problem, language)).await;
        }
    };
    let key =
        visit.depot.archive().recall("key_sha256").await?.filter(|_| address.starts_with("https://")).and_then(|key| key.parse().ok());
    let once = make_token()?;
    let code_hash = Some(Sha256Hex::of(once.as_bytes()));
    let enrolment = Enrolment { depot: Some(address.clone()), name: name.clone(), right: Right::Once(once), key_sha256: key };
    let payload = enrolment.payload();
    let Ok(code) = QrCode::with_error_correction_level(&payload, EcLevel::M) else {
        return Err(Problem::new(400, "too_long", "name and address are too long for a code", "use a shorter name or address"));
    };
    let deed = visit.deed("device_enrolled");
    let by = deed.at + FIRST_USE_WITHIN;
    let device = NewDevice { name: name.clone(), token_hash: None, code_hash, first_use_by: Some(by) };
    if let Err(error) = visit.depot.archive().let_in(device, deed).await {
        let problem = Problem::from(error);
        if problem.code() != "name_taken" {
            return Err(problem);
        }
        return list(visit, words::status_beside_a_form(&problem), words::problem_line(&problem, language)).await;
    }
    let frame = visit.frame();
    let until = moment(by, frame.shown);
    let means = frame.shown.pick(
        format!("Shown this once, good for one phone. Photograph it with that phone before {until}; after that it is dead."),
        format!("Se muestra sólo esta vez y sirve para un teléfono. Fotografíelo con él antes de {until}; después no sirve."),
    );
    html(StatusCode::OK, &Code { frame, name, code: code_svg(&code), address, means })
}

pub(super) async fn revoke(sent: Sent) -> Result<Response, Problem> {
    sent.by_owner()?;
    let name = sent.fields.get("name").to_owned();
    if !sent.visit.depot.archive().standings().await?.iter().any(|device| device.name == name) {
        return Err(no_such_device(&name).into());
    }
    if !sent.is_sure() {
        let frame = sent.visit.frame();
        let (title, means) = frame.shown.pick(
            (
                format!("Shut out {name}?"),
                "Its token dies at once. What it sent stays in the record; what it still holds waits until it is enrolled again.",
            ),
            (
                format!("¿Dejar fuera a {name}?"),
                "Su acceso termina ahora mismo. Lo que envió queda en el registro; lo que aún guarda espera a que se inscriba otra vez.",
            ),
        );
        let does = frame.w.shut_out.to_owned();
        return html(
            StatusCode::OK,
            &Sure { frame, title, means: means.to_owned(), action: "/devices/revoke", field: "name", value: name, does, back: "/devices" },
        );
    }
    sent.visit.depot.archive().shut_out(name, sent.visit.deed("device_revoked")).await?;
    Ok((StatusCode::SEE_OTHER, [(header::LOCATION, "/devices")]).into_response())
}
