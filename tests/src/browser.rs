//! A browser as far as the depot can tell: keeps cookies, sends forms with what their page holds, asks for pages.

// Helpers of tests may fail loudly like the tests themselves.
#![allow(clippy::unwrap_used, clippy::missing_panics_doc)]

use std::collections::BTreeMap;

use axum::body::Body;
use axum::http::{HeaderMap, Request};
use chrono::{DateTime, Utc};
use gritbook_core::ids::PumpId;
use gritbook_core::units::shown::UnitSystem;
use gritbook_depot::server::archive::people::{Actor, Deed, Language, NewPerson, Reached, Role};
use gritbook_depot::server::people::seal;

use crate::depot::{Reply, TestDepot};

/// The password of everyone that [`add`] adds.
pub const PASSWORD: &str = "gravel under the boots";

/// Adds a person to a depot.
pub async fn add(depot: &TestDepot, name: &str, role: Role, pumps: Vec<PumpId>) -> i64 {
    let new =
        NewPerson { name: name.into(), role, password: seal(PASSWORD).unwrap(), language: Language::En, units: UnitSystem::Metric, pumps };
    let at: DateTime<Utc> = std::time::SystemTime::now().into();
    let deed = Deed { at, by: Actor::Command, what: "person_added", about: None, reached: Reached::ThisMachine };
    depot.depot.archive().add_person(new, deed).await.unwrap()
}

/// See the module.
pub struct Browser<'a> {
    depot: &'a TestDepot,
    /// What it sends along with every request.
    pub headers: BTreeMap<&'static str, String>,
    /// Its cookies.
    pub cookies: BTreeMap<String, String>,
    /// The page it shows.
    pub page: String,
}

impl<'a> Browser<'a> {
    /// One that was never here.
    pub fn new(depot: &'a TestDepot) -> Self {
        let headers = [("host", "127.0.0.1:8470"), ("accept", "text/html,application/xhtml+xml,*/*;q=0.8")];
        let headers = headers.map(|(name, value)| (name, value.to_owned())).into();
        Self { depot, headers, cookies: BTreeMap::new(), page: String::new() }
    }

    /// One in which this person has signed in.
    pub async fn signed_in(depot: &'a TestDepot, name: &str) -> Self {
        let mut browser = Self::new(depot);
        let reply = browser.sign_in(name, PASSWORD).await;
        assert_eq!((reply.status, reply.header("location")), (303, "/"));
        browser
    }

    /// Opens the door and tries a name and a password.
    pub async fn sign_in(&mut self, name: &str, password: &str) -> Reply {
        assert_eq!(self.get("/sign-in").await.status, 200);
        self.post("/sign-in", &[("name", name), ("password", password), ("next", "/")]).await
    }

    async fn send(&mut self, mut request: Request<Body>) -> Reply {
        for (name, value) in &self.headers {
            request.headers_mut().insert(*name, value.parse().unwrap());
        }
        let cookies: Vec<String> = self.cookies.iter().map(|(name, value)| format!("{name}={value}")).collect();
        if !cookies.is_empty() {
            request.headers_mut().insert("cookie", cookies.join("; ").parse().unwrap());
        }
        let reply = self.depot.send(request).await;
        self.keep(&reply.headers);
        if reply.header("content-type").starts_with("text/html") {
            self.page = reply.text().to_owned();
        }
        reply
    }

    fn keep(&mut self, headers: &HeaderMap) {
        for cookie in headers.get_all("set-cookie") {
            let cookie = cookie.to_str().unwrap();
            let (name, value) = cookie.split(';').next().unwrap().split_once('=').unwrap();
            if cookie.contains("Max-Age=0") {
                self.cookies.remove(name);
            } else {
                self.cookies.insert(name.to_owned(), value.to_owned());
            }
        }
    }

    /// Opens an address.
    pub async fn get(&mut self, path: &str) -> Reply {
        self.send(Request::get(path).body(Body::empty()).unwrap()).await
    }

    /// Sends a form with the token of the page that it shows.
    pub async fn post(&mut self, path: &str, fields: &[(&str, &str)]) -> Reply {
        let token = self.token();
        self.post_with(path, &[fields, &[("form", &token)]].concat()).await
    }

    /// Sends a form exactly so.
    pub async fn post_with(&mut self, path: &str, fields: &[(&str, &str)]) -> Reply {
        let body: Vec<String> = fields.iter().map(|(name, value)| format!("{name}={}", escaped(value))).collect();
        let request = Request::post(path).header("content-type", "application/x-www-form-urlencoded");
        self.send(request.body(Body::from(body.join("&"))).unwrap()).await
    }

    /// The form token of the page that it shows; empty where it has no form.
    pub fn token(&self) -> String {
        let field = self.page.split_once("name=\"form\" value=\"").map(|(_, rest)| rest.split('"').next().unwrap());
        field.unwrap_or_default().to_owned()
    }
}

fn escaped(text: &str) -> String {
    text.bytes().map(|byte| if byte.is_ascii_alphanumeric() { char::from(byte).to_string() } else { format!("%{byte:02X}") }).collect()
}
