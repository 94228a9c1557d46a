//! What an owner looks after: devices, people, and the record of who saw and changed what.

mod audit;
mod devices;
mod people;

use askama::Template;
use chrono::{DateTime, Utc};

use super::super::addresses::Addresses;
use super::frame::Frame;
use super::shown::Shown;

pub(super) fn addresses() -> Addresses {
    Addresses::new()
        .get("/devices", devices::page)
        .post("/devices/enrol", devices::enrol)
        .post("/devices/revoke", devices::revoke)
        .get("/people", people::page)
        .post("/people/add", people::add)
        .post("/people/role", people::role)
        .post("/people/password", people::password)
        .post("/people/remove", people::remove)
        .get("/audit", audit::page)
}

/// Asks once more before something that cannot be taken back.
#[derive(Template)]
#[template(path = "owner/sure.html")]
struct Sure {
    frame: Frame,
    title: String,
    means: String,
    /// Where the form goes, and the field that names whom it is about.
    action: &'static str,
    field: &'static str,
    value: String,
    does: String,
    back: &'static str,
}

/// 21 Sep 2026, 08:05 UTC.
fn moment(at: DateTime<Utc>, shown: Shown) -> String {
    format!("{}, {} UTC", shown.day(at.fixed_offset()), at.format("%H:%M"))
}

/// How long ago, in the largest unit that is not zero.
fn ago(at: DateTime<Utc>, now: DateTime<Utc>, shown: Shown) -> String {
    span((now - at).num_milliseconds().max(0), shown)
}

fn span(ms: i64, shown: Shown) -> String {
    let minutes = ms / 60_000;
    match minutes {
        0 => shown.pick("under a minute".into(), "menos de un minuto".into()),
        1..=119 => format!("{minutes} min"),
        120..=2879 => format!("{} h", minutes / 60),
        _ => format!("{} {}", minutes / 1440, shown.pick("days", "días")),
    }
}
