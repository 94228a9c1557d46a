//! What stands around every page: its language, who reads it, the way to the others.

use askama::Template;
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse as _, Response};

use super::super::archive::people::{Language, Role};
use super::super::auth::Reader;
use super::super::people::session;
use super::super::{Depot, Problem};
use super::shown::Shown;
use super::signs;
use super::words::{PageWords, words};

/// Nothing from elsewhere, no script, no style in the page itself, no frame around it. Forms go to the depot alone.
const POLICY: &str =
    "default-src 'none'; style-src 'self'; img-src 'self'; font-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";
/// The same for a page with the one script there is, a file of the depot that asks the depot alone.
const POLICY_WITH_NEWS: &str = "default-src 'none'; script-src 'self'; connect-src 'self'; style-src 'self'; img-src 'self'; \
     font-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";

/// See the module.
pub(in crate::server) struct Frame {
    pub(in crate::server) w: &'static PageWords,
    pub(in crate::server) shown: Shown,
    pub(in crate::server) lang: &'static str,
    pub(in crate::server) mark: String,
    /// Who is signed in.
    pub(in crate::server) name: Option<String>,
    pub(in crate::server) owner: bool,
    /// What each form of this page carries; empty where nobody is signed in.
    pub(in crate::server) form: String,
}

impl Frame {
    /// Around a page for this reader.
    pub(in crate::server) fn of(reader: &Reader, headers: &HeaderMap, depot: &Depot) -> Self {
        match reader {
            Reader::Person(signed) => {
                let person = &signed.person;
                Self {
                    name: Some(person.name.clone()),
                    owner: person.role == Role::Owner,
                    form: signed.form_token(),
                    ..Self::plain(Shown { language: person.language, units: person.units })
                }
            }
            Reader::Anyone | Reader::Device(_) => Self::plain(Shown { language: session::language(headers, depot), ..Shown::default() }),
        }
    }

    /// Around a page for nobody who is known.
    pub(in crate::server) fn plain(shown: Shown) -> Self {
        Self {
            w: words(shown.language),
            shown,
            lang: shown.language.word(),
            mark: signs::mark(),
            name: None,
            owner: false,
            form: String::new(),
        }
    }

    /// The language that a link offers instead.
    pub(in crate::server) fn other_language(&self) -> &'static str {
        match self.shown.language {
            Language::En => "es",
            Language::Es => "en",
        }
    }
}

/// Headers of everything that a browser shows. The origin goes with forms to the depot itself and nowhere else.
pub(in crate::server) fn policy() -> [(HeaderName, &'static str); 3] {
    [(header::CONTENT_SECURITY_POLICY, POLICY), (header::REFERRER_POLICY, "same-origin"), (header::X_FRAME_OPTIONS, "DENY")]
}

/// A page that is told what is new while it is open, ready to send.
pub(in crate::server) fn with_news(page: &impl Template) -> Result<Response, Problem> {
    let mut response = html(StatusCode::OK, page)?;
    response.headers_mut().insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY_WITH_NEWS));
    Ok(response)
}

/// A page, ready to send.
pub(in crate::server) fn html(status: StatusCode, page: &impl Template) -> Result<Response, Problem> {
    let text = page.render().map_err(|_| Problem::new(500, "fault", "the page could not be made", "report this"))?;
    let kind = [(header::CONTENT_TYPE, "text/html; charset=utf-8"), (header::CACHE_CONTROL, "no-store")];
    Ok((status, policy(), kind, text).into_response())
}
