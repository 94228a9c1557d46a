//! A router that knows what it answers. axum's own cannot be asked, and the document of the requests
//! (`super::openapi`) must name every one: a test holds this list against the document, both ways.

use axum::Router;
use axum::handler::Handler;
use axum::http::Method;
use axum::routing::{MethodFilter, any, on};

use super::Depot;

/// One request that is answered. `HEAD` of what answers `GET` is answered too and not listed on its own (RFC 9110, 9.3.2).
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Address {
    /// With `{name}` for what differs.
    pub path: String,
    /// In capitals.
    pub method: String,
}

/// See the module.
pub(super) struct Addresses {
    router: Router<Depot>,
    list: Vec<Address>,
}

impl Addresses {
    pub(super) fn new() -> Self {
        Self { router: Router::new(), list: Vec::new() }
    }

    fn note(&mut self, path: &str, method: &str) {
        self.list.push(Address { path: path.to_owned(), method: method.to_owned() });
    }

    fn on<H: Handler<T, Depot>, T: 'static>(mut self, filter: MethodFilter, method: &str, path: &str, handler: H) -> Self {
        self.note(path, method);
        Self { router: self.router.route(path, on(filter, handler)), list: self.list }
    }

    pub(super) fn get<H: Handler<T, Depot>, T: 'static>(self, path: &str, handler: H) -> Self {
        self.on(MethodFilter::GET, "GET", path, handler)
    }

    pub(super) fn post<H: Handler<T, Depot>, T: 'static>(self, path: &str, handler: H) -> Self {
        self.on(MethodFilter::POST, "POST", path, handler)
    }

    pub(super) fn put<H: Handler<T, Depot>, T: 'static>(self, path: &str, handler: H) -> Self {
        self.on(MethodFilter::PUT, "PUT", path, handler)
    }

    /// For a handler that looks at the method itself; it takes these and no others.
    pub(super) fn each<H: Handler<T, Depot>, T: 'static>(mut self, methods: &[Method], path: &str, handler: H) -> Self {
        methods.iter().for_each(|method| self.note(path, method.as_str()));
        Self { router: self.router.route(path, any(handler)), list: self.list }
    }

    pub(super) fn and(mut self, other: Self) -> Self {
        self.list.extend(other.list);
        Self { router: self.router.merge(other.router), list: self.list }
    }

    /// Everything here under a path.
    pub(super) fn below(self, path: &str) -> Self {
        let list = self.list.into_iter().map(|one| Address { path: format!("{path}{}", one.path), ..one }).collect();
        Self { router: Router::new().nest(path, self.router), list }
    }

    /// With layers around what is here; adds no address.
    pub(super) fn within(self, layers: impl FnOnce(Router<Depot>) -> Router<Depot>) -> Self {
        Self { router: layers(self.router), list: self.list }
    }

    pub(super) fn into_parts(self) -> (Router<Depot>, Vec<Address>) {
        (self.router, self.list)
    }
}
