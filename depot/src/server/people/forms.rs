//! What a form must bring besides its fields: it comes from a page of this depot, and from whoever is signed in at it.
//!
//! `Sec-Fetch-Site` decides where the browser sends it, else `Origin` against the host that was asked for. A client that
//! sends neither is no browser that another site could use. The token in the form is a hash of the session's secret, so
//! it is worth nothing for reading, and a page of another site cannot know it.

use axum::extract::{FromRequest, Request};
use axum::http::{HeaderMap, header};
use gritbook_core::ids::Sha256Hex;
use subtle::ConstantTimeEq as _;

use super::super::archive::people::Coded;
use super::super::{Depot, Problem};

/// The name of the field that carries the token.
pub(crate) const FIELD: &str = "form";
/// Largest form, bytes: names, passwords, a list of pumps.
const MOST_BYTES: usize = 32 * 1024;

/// The form token of a session's, or of a sign-in page's, secret.
pub(crate) fn token(secret: &str) -> String {
    Sha256Hex::of(format!("gritbook form {secret}").as_bytes()).to_string()
}

fn stale() -> Problem {
    Problem::new(403, "form_stale", "this form does not come from a page that is open here", "open the page again and send it from there")
}

/// A field holds what its page does not offer.
pub(crate) fn bad_field(name: &str) -> Problem {
    Problem::new(400, "bad_field", format!("`{name}` holds what cannot stand there"), "open the page again and send it from there")
}

/// The host of `https://host:port`.
fn host_of(origin: &str) -> Option<&str> {
    origin.split_once("://").map(|(_, host)| host)
}

fn from_here(headers: &HeaderMap, depot: &Depot) -> bool {
    let text = |name: &str| headers.get(name).and_then(|value| value.to_str().ok());
    if let Some(site) = text("sec-fetch-site") {
        return site == "same-origin";
    }
    let Some(origin) = headers.get(header::ORIGIN) else { return true };
    let forwarded = text("x-forwarded-host").filter(|_| depot.settings().behind_proxy);
    let host = forwarded.or_else(|| text("host"));
    origin.to_str().ok().and_then(host_of).zip(host).is_some_and(|(origin, host)| origin.eq_ignore_ascii_case(host))
}

/// The fields of a form that came from a page of this depot; whose session it is, is checked by [`Fields::sealed_by`].
#[derive(Debug)]
pub(crate) struct Fields(Vec<(String, String)>);

impl Fields {
    /// The fields of an address's query.
    pub(crate) fn of_query(query: &str) -> Self {
        Self(pairs(query.as_bytes()))
    }

    /// Whether there is none at all.
    pub(crate) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The first value of a field.
    fn given(&self, name: &str) -> Option<&str> {
        self.0.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
    }

    /// The first value of a field; empty where there is none.
    pub(crate) fn get(&self, name: &str) -> &str {
        self.given(name).unwrap_or_default()
    }

    /// Every value of a field.
    pub(crate) fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.0.iter().filter(move |(known, _)| known == name).map(|(_, value)| value.as_str())
    }

    /// What a field of few words says; none where it is left out.
    ///
    /// # Errors
    /// `bad_field` for a word that the page did not offer.
    pub(crate) fn chosen<T: Coded>(&self, name: &str) -> Result<Option<T>, Problem> {
        match self.given(name) {
            None => Ok(None),
            Some(word) => T::of(word).map(Some).ok_or_else(|| bad_field(name)),
        }
    }

    /// A whole number within bounds; none where it is left out.
    ///
    /// # Errors
    /// `bad_field`.
    pub(crate) fn number<T: std::str::FromStr + PartialOrd>(
        &self,
        name: &str,
        within: std::ops::RangeInclusive<T>,
    ) -> Result<Option<T>, Problem> {
        match self.given(name) {
            None => Ok(None),
            Some(text) => text.parse().ok().filter(|number| within.contains(number)).map(Some).ok_or_else(|| bad_field(name)),
        }
    }

    /// Whether the form carries this token.
    ///
    /// # Errors
    /// `form_stale`.
    pub(crate) fn sealed_by(&self, token: &str) -> Result<(), Problem> {
        if bool::from(self.get(FIELD).as_bytes().ct_eq(token.as_bytes())) { Ok(()) } else { Err(stale()) }
    }
}

impl FromRequest<Depot> for Fields {
    type Rejection = Problem;

    async fn from_request(request: Request, depot: &Depot) -> Result<Self, Problem> {
        if !from_here(request.headers(), depot) {
            return Err(stale());
        }
        let kind = request.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
        if !kind.starts_with("application/x-www-form-urlencoded") {
            return Err(Problem::new(415, "not_a_form", "the body is not a form", "send it from the page"));
        }
        let bytes = axum::body::to_bytes(request.into_body(), MOST_BYTES)
            .await
            .map_err(|_| Problem::new(413, "too_large", "the form is too large or was cut off", "send it again from the page"))?;
        Ok(Self(pairs(&bytes)))
    }
}

/// `application/x-www-form-urlencoded` (URL Standard, 5.1).
pub(crate) fn pairs(bytes: &[u8]) -> Vec<(String, String)> {
    form_urlencoded::parse(bytes).into_owned().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn forms_are_read_as_browsers_write_them() {
        let fields = Fields(pairs(b"name=Rosa+P%C3%A9rez&pump=a&pump=b&empty=&bare&broken=%zz%4"));
        assert_eq!((fields.get("name"), fields.get("empty"), fields.get("bare"), fields.get("broken")), ("Rosa Pérez", "", "", "%zz%4"));
        assert_eq!(fields.all("pump").collect::<Vec<_>>(), ["a", "b"]);
        assert!(fields.sealed_by("x").is_err());
    }
}
