//! People: who may sign in and as what.

use askama::Template;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use gritbook_core::ids::PumpId;

use super::super::super::Problem;
use super::super::super::archive::people::{Coded as _, NewPerson, Person, Role, no_such_person};
use super::super::super::people::forms::{Fields, bad_field};
use super::super::super::people::session::Signed;
use super::super::super::people::{checked_name, generate, made, seal};
use super::super::door::in_turn;
use super::super::frame::{Frame, html};
use super::super::shown::Shown;
use super::super::visit::{Sent, Visit};
use super::super::{view, words};
use super::Sure;

#[derive(Template)]
#[template(path = "owner/people.html")]
struct Page {
    frame: Frame,
    people: Vec<Line>,
    roles: Vec<(&'static str, &'static str)>,
    pumps: Vec<Choice>,
    wrong: String,
}

struct Line {
    number: i64,
    name: String,
    role: &'static str,
    role_word: &'static str,
    pumps: Vec<Choice>,
}

/// A pump to tick.
#[derive(Clone)]
struct Choice {
    id: String,
    name: String,
    ticked: bool,
}

#[derive(Template)]
#[template(path = "owner/password.html")]
struct Password {
    frame: Frame,
    name: String,
    password: String,
    means: &'static str,
}

pub(super) async fn page(visit: Visit) -> Result<Response, Problem> {
    let page = list(&visit, StatusCode::OK, String::new()).await?;
    visit.seen("people_seen", None).await;
    Ok(page)
}

async fn list(visit: &Visit, status: StatusCode, wrong: String) -> Result<Response, Problem> {
    visit.reader.owner()?;
    let frame = visit.frame();
    let shown = frame.shown;
    let pumps = visit.depot.archive().pumps(0).await?;
    let named: Vec<(PumpId, String)> = pumps.iter().map(|page| (page.pump, view::name(page, shown))).collect();
    let choices = |mine: &[PumpId]| {
        let choice = |(id, name): &(PumpId, String)| Choice { id: id.to_string(), name: name.clone(), ticked: mine.contains(id) };
        named.iter().map(choice).collect::<Vec<_>>()
    };
    let line = |person: Person| Line {
        number: person.number,
        role: person.role.word(),
        role_word: shown.say(words::role(person.role)),
        pumps: choices(&person.pumps),
        name: person.name,
    };
    let people = visit.depot.archive().people().await?.into_iter().map(line).collect();
    let roles = Role::ALL.iter().map(|(role, word)| (*word, shown.say(words::role(*role)))).collect();
    html(status, &Page { frame, people, roles, pumps: choices(&[]), wrong })
}

fn back_to_people() -> Response {
    (StatusCode::SEE_OTHER, [(header::LOCATION, "/people")]).into_response()
}

/// The same page with what was wrong, for what a person can put right on it.
async fn again(visit: &Visit, signed: &Signed, problem: Problem) -> Result<Response, Problem> {
    if !["bad_name", "name_taken", "last_owner", "no_such_person"].contains(&problem.code()) {
        return Err(problem);
    }
    list(visit, words::status_beside_a_form(&problem), words::problem_line(&problem, signed.person.language)).await
}

fn role_and_pumps(fields: &Fields) -> Result<(Role, Vec<PumpId>), Problem> {
    let role = fields.chosen("role")?.ok_or_else(|| bad_field("role"))?;
    let pumps = fields.all("pump").map(|pump| pump.parse().map_err(|_| bad_field("pump"))).collect::<Result<_, _>>()?;
    Ok((role, pumps))
}

async fn who(sent: &Sent) -> Result<Person, Problem> {
    let number: Option<i64> = sent.fields.get("person").parse().ok();
    let person = sent.visit.depot.archive().people().await?.into_iter().find(|person| Some(person.number) == number);
    person.ok_or_else(|| no_such_person().into())
}

/// A new password, and its seal.
async fn fresh_password() -> Result<(String, String), Problem> {
    let password = generate()?;
    let to_seal = password.clone();
    Ok((password, in_turn(move || seal(&to_seal)).await?))
}

fn shown_once(frame: Frame, name: String, password: String) -> Result<Response, Problem> {
    let means = frame.shown.pick(
        "Shown this once: write it down and hand it over. The person can set another under their name.",
        "Se muestra sólo esta vez: anótela y entréguela. La persona puede poner otra en su nombre.",
    );
    html(StatusCode::OK, &Password { frame, name, password, means })
}

pub(super) async fn add(sent: Sent) -> Result<Response, Problem> {
    let signed = sent.by_owner()?;
    let Sent { visit, fields } = &sent;
    let name = match checked_name(fields.get("name")) {
        Ok(name) => name,
        Err(error) => return again(visit, signed, error.into()).await,
    };
    let (role, pumps) = role_and_pumps(fields)?;
    let (language, units) = (fields.chosen("language")?, fields.chosen("units")?);
    let (password, sealed) = fresh_password().await?;
    let new = NewPerson {
        name: name.clone(),
        role,
        password: sealed,
        language: language.unwrap_or(signed.person.language),
        units: units.unwrap_or(signed.person.units),
        pumps,
    };
    match visit.depot.archive().add_person(new, visit.deed("person_added")).await {
        Ok(_) => shown_once(visit.frame(), name, password),
        Err(error) => again(visit, signed, error.into()).await,
    }
}

pub(super) async fn role(sent: Sent) -> Result<Response, Problem> {
    let signed = sent.by_owner()?;
    let person = who(&sent).await?;
    let (role, pumps) = role_and_pumps(&sent.fields)?;
    let visit = &sent.visit;
    match visit.depot.archive().set_role(person.number, role, pumps, visit.deed(made(role))).await {
        Ok(()) => Ok(back_to_people()),
        Err(error) => again(visit, signed, error.into()).await,
    }
}

pub(super) async fn password(sent: Sent) -> Result<Response, Problem> {
    let signed = sent.by_owner()?;
    let person = who(&sent).await?;
    let frame = sent.visit.frame();
    if !sent.is_sure() {
        let name = &person.name;
        let (title, means) = frame.shown.pick(
            (format!("A new password for {name}?"), "The one of now stops working, and the person is signed out everywhere."),
            (format!("¿Contraseña nueva para {name}?"), "La de ahora deja de servir y la persona sale de todos lados."),
        );
        let (value, does) = (person.number.to_string(), frame.w.make_password.to_owned());
        let sure =
            Sure { frame, title, means: means.to_owned(), action: "/people/password", field: "person", value, does, back: "/people" };
        return html(StatusCode::OK, &sure);
    }
    let (password, sealed) = fresh_password().await?;
    let keep = (person.number == signed.person.number).then(|| signed.session());
    sent.visit.depot.archive().set_password(person.number, sealed, keep, sent.visit.deed("password_changed")).await?;
    shown_once(frame, person.name, password)
}

pub(super) async fn remove(sent: Sent) -> Result<Response, Problem> {
    let signed = sent.by_owner()?;
    let person = who(&sent).await?;
    let visit = &sent.visit;
    if !sent.is_sure() {
        let frame = visit.frame();
        let name = &person.name;
        let shown: Shown = frame.shown;
        let (title, means) = shown.pick(
            (
                format!("Take {name} away?"),
                "The person is signed out at once and cannot sign in any more. What this list of deeds says stays.",
            ),
            (format!("¿Quitar a {name}?"), "La persona sale ahora mismo y ya no puede entrar. Lo que dice la lista de lo hecho se queda."),
        );
        let (value, does) = (person.number.to_string(), frame.w.take_away.to_owned());
        let sure = Sure { frame, title, means: means.to_owned(), action: "/people/remove", field: "person", value, does, back: "/people" };
        return html(StatusCode::OK, &sure);
    }
    match visit.depot.archive().remove_person(person.number, visit.deed("person_removed")).await {
        Ok(()) => Ok(back_to_people()),
        Err(error) => again(visit, signed, error.into()).await,
    }
}
