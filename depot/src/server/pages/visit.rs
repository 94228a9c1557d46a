//! Who asks for a page, and who sends a form from one.

use axum::extract::{FromRequest, FromRequestParts, Request};
use axum::http::HeaderMap;
use axum::http::request::Parts;

use super::super::archive::people::Deed;
use super::super::auth::Reader;
use super::super::peer::Caller;
use super::super::people::forms::Fields;
use super::super::people::session::Signed;
use super::super::{Depot, Problem};
use super::frame::Frame;

/// A reader who asks for a page.
pub(super) struct Visit {
    pub(super) depot: Depot,
    pub(super) reader: Reader,
    pub(super) caller: Caller,
    pub(super) headers: HeaderMap,
    /// What follows the question mark in the address.
    pub(super) query: Fields,
}

impl FromRequestParts<Depot> for Visit {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, depot: &Depot) -> Result<Self, Problem> {
        Ok(Self {
            reader: Reader::from_request_parts(parts, depot).await?,
            caller: Caller::of(parts, depot),
            headers: parts.headers.clone(),
            query: Fields::of_query(parts.uri.query().unwrap_or_default()),
            depot: depot.clone(),
        })
    }
}

impl Visit {
    /// What stands around the page.
    pub(super) fn frame(&self) -> Frame {
        Frame::of(&self.reader, &self.headers, &self.depot)
    }

    /// A deed of this reader, now.
    pub(super) fn deed(&self, what: &'static str) -> Deed {
        Deed { at: self.depot.now(), by: self.reader.actor(), what, about: None, reached: self.caller.reached() }
    }

    /// Notes in the audit that this reader saw something.
    pub(super) async fn seen(&self, what: &'static str, about: Option<String>) {
        seen(&self.depot, &self.reader, self.caller, what, about).await;
    }
}

/// Notes in the audit that a known reader saw something. A full disk must not keep the record from its readers.
pub(in crate::server) async fn seen(depot: &Depot, reader: &Reader, caller: Caller, what: &'static str, about: Option<String>) {
    if matches!(reader, Reader::Anyone) {
        return;
    }
    let deed = Deed { at: depot.now(), by: reader.actor(), what, about, reached: caller.reached() };
    if let Err(error) = depot.archive().note(deed).await {
        tracing::warn!(code = error.code(), "the audit could not be written");
    }
}

/// A form that came from a page of this depot; whose it is, [`Sent::by_person`] and [`Sent::by_owner`] check.
pub(super) struct Sent {
    pub(super) visit: Visit,
    pub(super) fields: Fields,
}

impl FromRequest<Depot> for Sent {
    type Rejection = Problem;

    async fn from_request(request: Request, depot: &Depot) -> Result<Self, Problem> {
        let (mut parts, body) = request.into_parts();
        let visit = Visit::from_request_parts(&mut parts, depot).await?;
        Ok(Self { visit, fields: Fields::from_request(Request::from_parts(parts, body), depot).await? })
    }
}

impl Sent {
    /// The person who is signed in, from whose own page the form comes.
    ///
    /// # Errors
    /// `not_allowed`, `form_stale`.
    pub(super) fn by_person(&self) -> Result<&Signed, Problem> {
        self.sealed(self.visit.reader.person()?)
    }

    /// The same of an owner.
    ///
    /// # Errors
    /// `not_allowed`, `form_stale`.
    pub(super) fn by_owner(&self) -> Result<&Signed, Problem> {
        self.sealed(self.visit.reader.owner()?)
    }

    fn sealed<'a>(&self, signed: &'a Signed) -> Result<&'a Signed, Problem> {
        self.fields.sealed_by(&signed.form_token())?;
        Ok(signed)
    }

    /// Whether it was asked once more, and yes.
    pub(super) fn is_sure(&self) -> bool {
        self.fields.get("sure") == "yes"
    }
}
