//! The cookie of a session, and who it belongs to.
//!
//! The cookie holds 256 random bits, is kept from scripts (`HttpOnly`), is sent to no other site's requests
//! (`SameSite=Strict`), and where the depot is reached by TLS it is sent by TLS alone (`Secure`, prefix `__Host-`:
//! RFC 6265bis, 4.1.3). A second cookie ties the sign-in form to its page.

use axum::http::header::{COOKIE, HeaderMap, HeaderValue};
use chrono::{DateTime, TimeDelta, Utc};
use gritbook_core::ids::Sha256Hex;

use super::super::archive::people::{Language, Person};
use super::super::{Depot, Problem, token_hash};

/// Cookies of the depot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Cookie {
    /// A session.
    Session,
    /// A page with a form that nobody is signed in for.
    Form,
    /// The language last chosen in this browser.
    Language,
}

impl Cookie {
    /// What the browser keeps it under.
    pub(crate) fn name(self, secure: bool) -> &'static str {
        match (self, secure) {
            (Self::Session, true) => "__Host-gritbook",
            (Self::Session, false) => "gritbook",
            (Self::Form, true) => "__Host-gritbook-form",
            (Self::Form, false) => "gritbook-form",
            (Self::Language, _) => "gritbook-language",
        }
    }

    /// The value that came, where it is one.
    pub(crate) fn read(self, headers: &HeaderMap, depot: &Depot) -> Option<String> {
        let name = self.name(depot.settings().cookies_secure);
        let pairs = headers.get_all(COOKIE).iter().filter_map(|header| header.to_str().ok()).flat_map(|text| text.split(';'));
        pairs.filter_map(|pair| pair.trim().split_once('=')).find(|(known, _)| *known == name).map(|(_, value)| value.to_owned())
    }

    /// The header that sets it; without a value it is taken away.
    pub(crate) fn write(self, value: Option<&str>, depot: &Depot) -> Option<HeaderValue> {
        let secure = depot.settings().cookies_secure;
        let age = match (self, value) {
            (_, None) => "; Max-Age=0",
            (Self::Language, Some(_)) => "; Max-Age=31536000",
            // Gone with the browser; the depot ends it earlier.
            (Self::Session | Self::Form, Some(_)) => "",
        };
        let secure_word = if secure { "; Secure" } else { "" };
        let text = format!("{}={}; Path=/; HttpOnly; SameSite=Strict{secure_word}{age}", self.name(secure), value.unwrap_or_default());
        HeaderValue::from_str(&text).ok()
    }
}

/// A person who is signed in.
#[derive(Debug, Clone)]
pub(crate) struct Signed {
    pub(crate) person: Person,
    /// The cookie's value.
    token: String,
}

impl Signed {
    /// Who the request's cookie belongs to; the session goes on for it.
    pub(crate) async fn find(headers: &HeaderMap, depot: &Depot) -> Result<Option<Self>, Problem> {
        Self::look_up(headers, depot, Some(depot.now())).await
    }

    /// The same for what a page asks by itself: nobody is there for it, so the session ends no later.
    pub(crate) async fn glance(headers: &HeaderMap, depot: &Depot) -> Result<Option<Self>, Problem> {
        Self::look_up(headers, depot, None).await
    }

    async fn look_up(headers: &HeaderMap, depot: &Depot, seen_at: Option<DateTime<Utc>>) -> Result<Option<Self>, Problem> {
        let Some(token) = Cookie::Session.read(headers, depot) else { return Ok(None) };
        let (begun_from, seen_from) = lifetimes(depot);
        let person = depot.archive().session(token_hash(&token), seen_at, begun_from, seen_from).await?;
        Ok(person.map(|person| Self { person, token }))
    }

    /// What the depot knows the session by.
    pub(crate) fn session(&self) -> Sha256Hex {
        token_hash(&self.token)
    }

    /// What each form on this person's pages carries.
    pub(crate) fn form_token(&self) -> String {
        super::forms::token(&self.token)
    }
}

/// Sessions begun before the first or silent since the second are over.
pub(crate) fn lifetimes(depot: &Depot) -> (DateTime<Utc>, DateTime<Utc>) {
    let before = |span| depot.now() - TimeDelta::from_std(span).unwrap_or(TimeDelta::zero());
    (before(depot.settings().session_longest), before(depot.settings().session_idle))
}

/// The language of a page that nobody is signed in for: as last chosen here, else as the browser asks.
pub(crate) fn language(headers: &HeaderMap, depot: &Depot) -> Language {
    match Cookie::Language.read(headers, depot).as_deref() {
        Some("es") => return Language::Es,
        Some("en") => return Language::En,
        _ => {}
    }
    let wish = headers.get("accept-language").and_then(|wish| wish.to_str().ok()).unwrap_or_default();
    // Browsers write the dearest first; what weighs less is not weighed again here.
    let first = wish.split(',').map(|one| one.trim().get(..2).unwrap_or_default().to_ascii_lowercase());
    first
        .into_iter()
        .find_map(|word| match word.as_str() {
            "en" => Some(Language::En),
            "es" => Some(Language::Es),
            _ => None,
        })
        .unwrap_or_default()
}
