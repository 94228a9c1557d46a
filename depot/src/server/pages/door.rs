//! The door: signing in and out, and what a person may set for themselves.

use std::time::Duration;

use askama::Template;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, Uri, header};
use axum::response::{IntoResponse as _, Response};
use gritbook_core::units::shown::UnitSystem;
use tokio::sync::Semaphore;

use super::super::addresses::Addresses;
use super::super::archive::people::{Actor, Coded as _, Deed, Language, Person};
use super::super::auth::Reader;
use super::super::peer::Caller;
use super::super::people::forms::{self, Fields};
use super::super::people::session::{Cookie, Signed, language, lifetimes};
use super::super::people::{matches, nobody, seal};
use super::super::{Depot, Problem, make_token, on_disk, token_hash};
use super::frame::{Frame, html};
use super::shown::Shown;
use super::visit::{Sent, Visit};
use super::words;

/// Passwords looked at or sealed at one time: each takes 19 MiB and a core.
static SEALING: Semaphore = Semaphore::const_new(2);
/// How long a password waits for its turn.
const TURN: Duration = Duration::from_secs(10);

pub(super) fn addresses() -> Addresses {
    Addresses::new()
        .get("/sign-in", form)
        .post("/sign-in", sign_in)
        .post("/sign-out", sign_out)
        .get("/me", me)
        .post("/me/choice", choose)
        .post("/me/password", change_password)
}

#[derive(Template)]
#[template(path = "sign_in.html")]
struct SignIn {
    frame: Frame,
    token: String,
    name: String,
    next: String,
    /// What was wrong with the try before; empty at first.
    wrong: String,
    nobody: bool,
}

#[derive(Template)]
#[template(path = "me.html")]
struct Me {
    frame: Frame,
    role: &'static str,
    inch: bool,
    spanish: bool,
    /// What came of the form that was sent; empty at first.
    said: &'static str,
    wrong: String,
}

/// The page with the form, and the cookie that ties it to this browser.
pub(super) async fn ask(
    depot: &Depot,
    headers: &HeaderMap,
    status: StatusCode,
    name: &str,
    next: &str,
    wrong: String,
) -> Result<Response, Problem> {
    let secret = match Cookie::Form.read(headers, depot).filter(|secret| secret.len() == 43) {
        Some(secret) => secret,
        None => make_token()?,
    };
    let page = SignIn {
        frame: Frame::plain(Shown { language: language(headers, depot), ..Shown::default() }),
        token: forms::token(&secret),
        name: name.to_owned(),
        next: inside(next).to_owned(),
        wrong,
        nobody: !depot.archive().any_person().await?,
    };
    let mut response = html(status, &page)?;
    set(&mut response, Cookie::Form, Some(&secret), depot);
    Ok(response)
}

fn set(response: &mut Response, cookie: Cookie, value: Option<&str>, depot: &Depot) {
    if let Some(value) = cookie.write(value, depot) {
        response.headers_mut().append(header::SET_COOKIE, value);
    }
}

/// An address of the depot itself to go on to; the first page for any other.
fn inside(next: &str) -> &str {
    let own = next.starts_with('/') && !next.starts_with("//") && next.len() <= 500;
    let plain = next.bytes().all(|byte| byte.is_ascii_graphic() && byte != b'\\');
    if own && plain && !next.starts_with("/sign-") { next } else { "/" }
}

fn go_to(next: &str) -> Response {
    (StatusCode::SEE_OTHER, [(header::LOCATION, inside(next)), (header::CACHE_CONTROL, "no-store")]).into_response()
}

async fn form(State(depot): State<Depot>, mut headers: HeaderMap, uri: Uri) -> Result<Response, Problem> {
    let query = Fields::of_query(uri.query().unwrap_or_default());
    let chosen = Language::of(query.get("language"));
    if let Some(chosen) = chosen {
        headers.remove(header::COOKIE);
        headers.insert(header::ACCEPT_LANGUAGE, header::HeaderValue::from_static(chosen.word()));
    }
    let mut response = ask(&depot, &headers, StatusCode::OK, "", query.get("next"), String::new()).await?;
    if let Some(chosen) = chosen {
        set(&mut response, Cookie::Language, Some(chosen.word()), &depot);
    }
    Ok(response)
}

/// Waits for a turn and does a password's sum.
pub(super) async fn in_turn<T: Send + 'static>(
    sum: impl FnOnce() -> Result<T, gritbook_core::CoreError> + Send + 'static,
) -> Result<T, Problem> {
    let busy = || Problem::new(503, "busy", "too many people sign in at this moment", "try again shortly").header(header::RETRY_AFTER, "2");
    let turn = tokio::time::timeout(TURN, SEALING.acquire()).await.map_err(|_| busy())?.map_err(|_| busy())?;
    let done = on_disk(sum).await?;
    drop(turn);
    Ok(done)
}

/// Counts a try at a password.
///
/// # Errors
/// `too_many_tries`, with how long to wait.
fn may_try(depot: &Depot, name: &str, caller: Caller) -> Result<(), Problem> {
    depot.backoff().admit(name, &caller.key(), depot.now()).map_err(|wait| {
        let seconds = wait.as_secs().max(1);
        Problem::new(429, "too_many_tries", "too many wrong tries", format!("wait {seconds} s and try again"))
            .header(header::RETRY_AFTER, seconds.to_string())
    })
}

/// The person whose name and password these are.
async fn known(depot: &Depot, name: &str, password: &str) -> Result<Option<Person>, Problem> {
    let found = depot.archive().person_by_name(name.to_owned()).await?;
    let password = password.to_owned();
    // The same work for a name that nobody has.
    in_turn(move || {
        // Made at the first try of whatever name, not at the first of an unknown one.
        let of_nobody = nobody()?;
        let sealed = found.as_ref().map_or(of_nobody, |(_, sealed)| sealed);
        let right = matches(&password, sealed);
        Ok(found.filter(|_| right).map(|(person, _)| person))
    })
    .await
}

async fn sign_in(State(depot): State<Depot>, caller: Caller, headers: HeaderMap, fields: Fields) -> Result<Response, Problem> {
    let secret = Cookie::Form.read(&headers, &depot).unwrap_or_default();
    fields.sealed_by(&forms::token(&secret))?;
    let (name, next) = (fields.get("name").trim(), fields.get("next"));
    may_try(&depot, name, caller)?;
    let Some(person) = known(&depot, name, fields.get("password")).await? else {
        let deed = Deed { at: depot.now(), by: Actor::Nobody, what: "sign_in_refused", about: None, reached: caller.reached() };
        depot.archive().note(deed).await?;
        let wrong = words::words(language(&headers, &depot)).wrong.to_owned();
        return ask(&depot, &headers, StatusCode::UNAUTHORIZED, name, next, wrong).await.map(challenged);
    };
    depot.backoff().right(name, &caller.key());
    let token = make_token()?;
    let deed = Deed { at: depot.now(), by: Actor::Person(person.number), what: "signed_in", about: None, reached: caller.reached() };
    let (begun_from, seen_from) = lifetimes(&depot);
    // Whoever was signed in at this browser is so no more.
    if let Some(old) = Signed::find(&headers, &depot).await? {
        let deed = Deed { by: Actor::Person(old.person.number), what: "signed_out", ..deed.clone() };
        depot.archive().end_session(old.session(), deed).await?;
    }
    depot.archive().begin_session(token_hash(&token), deed, begun_from, seen_from).await?;
    let mut response = go_to(next);
    set(&mut response, Cookie::Session, Some(&token), &depot);
    set(&mut response, Cookie::Form, None, &depot);
    set(&mut response, Cookie::Language, Some(person.language.word()), &depot);
    Ok(response)
}

/// RFC 9110, 15.5.2: a 401 names a way. Browsers show the page that comes with this one, and programs have their token.
pub(super) fn challenged(mut response: Response) -> Response {
    response.headers_mut().insert(header::WWW_AUTHENTICATE, header::HeaderValue::from_static("Bearer realm=\"gritbook\""));
    response
}

async fn sign_out(sent: Sent) -> Result<Response, Problem> {
    let (signed, depot) = (sent.by_person()?, &sent.visit.depot);
    depot.archive().end_session(signed.session(), sent.visit.deed("signed_out")).await?;
    let mut response = go_to("/");
    // Small pictures are kept by the browser for a day: not for the next one at this desk.
    response.headers_mut().insert("clear-site-data", header::HeaderValue::from_static("\"cache\""));
    set(&mut response, Cookie::Session, None, depot);
    Ok(response)
}

fn me_page(visit: &Visit, said: fn(&words::PageWords) -> &'static str, wrong: String) -> Result<Response, Problem> {
    let person = &visit.reader.person()?.person;
    let frame = visit.frame();
    let status = if wrong.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let page = Me {
        role: frame.shown.say(words::role(person.role)),
        inch: person.units == UnitSystem::Inch,
        spanish: person.language == Language::Es,
        said: said(frame.w),
        frame,
        wrong,
    };
    html(status, &page)
}

async fn me(visit: Visit) -> Result<Response, Problem> {
    me_page(&visit, |_| "", String::new())
}

async fn choose(mut sent: Sent) -> Result<Response, Problem> {
    let (person, fields) = (&sent.by_person()?.person, &sent.fields);
    let chosen = fields.chosen("language")?.unwrap_or(person.language);
    let units = fields.chosen("units")?.unwrap_or(person.units);
    sent.visit.depot.archive().set_choice(person.number, chosen, units).await?;
    if let Reader::Person(signed) = &mut sent.visit.reader {
        (signed.person.language, signed.person.units) = (chosen, units);
    }
    let mut response = me_page(&sent.visit, |w| w.saved, String::new())?;
    set(&mut response, Cookie::Language, Some(chosen.word()), &sent.visit.depot);
    Ok(response)
}

async fn change_password(sent: Sent) -> Result<Response, Problem> {
    let signed = sent.by_person()?;
    let Sent { visit, fields } = &sent;
    let depot = &visit.depot;
    let (person, w) = (&signed.person, words::words(signed.person.language));
    let fresh = fields.get("fresh").to_owned();
    if fresh != fields.get("again") {
        return me_page(visit, |_| "", w.not_the_same.to_owned());
    }
    // Whoever finds a session open must not be able to try passwords at leisure.
    may_try(depot, &person.name, visit.caller)?;
    if known(depot, &person.name, fields.get("password")).await?.is_none() {
        return me_page(visit, |_| "", w.wrong.to_owned());
    }
    depot.backoff().right(&person.name, &visit.caller.key());
    let sealed = match in_turn(move || seal(&fresh)).await {
        Ok(sealed) => sealed,
        Err(problem) if problem.code() == "bad_password" => {
            return me_page(visit, |_| "", words::problem_line(&problem, person.language));
        }
        Err(problem) => return Err(problem),
    };
    depot.archive().set_password(person.number, sealed, Some(signed.session()), visit.deed("password_changed")).await?;
    me_page(visit, |w| w.password_changed, String::new())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_addresses_of_the_depot_itself_are_gone_on_to() {
        for own in ["/", "/pumps/x?page=2", "/#pump-1"] {
            assert_eq!(inside(own), own);
        }
        for other in ["", "//evil.example", "/\\evil.example", "https://evil.example", "pumps", "/a\r\nb", "/sign-in", "/sign-out", "/ñ"] {
            assert_eq!(inside(other), "/", "{other}");
        }
    }
}
