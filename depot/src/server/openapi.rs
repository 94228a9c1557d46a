//! The OpenAPI 3.1 document of every request. Shapes of documents come from the types that write them.
//!
//! Every status that an operation may answer with is named: there is no `default`, under which any other would pass. That
//! the operations are those that are answered, no more and no fewer, a test holds against [`super::addresses()`].

mod pages;
mod photos;
mod programs;

use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse as _, Response};
use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, SchemaGenerator};
use serde_json::{Map, Value, json};

use super::Depot;
use super::people::session::Cookie;

/// RFC 9457 as this depot writes it; `super::problem` writes it.
#[derive(JsonSchema)]
#[allow(dead_code, reason = "only its schema is used")]
struct ProblemDocument {
    /// `urn:gritbook:problem:<code>`.
    r#type: String,
    /// The code in words.
    title: String,
    /// The HTTP status.
    status: u16,
    /// What was wrong and what to do.
    detail: String,
    /// Stable code.
    code: String,
    /// What was wrong.
    reason: String,
    /// What to do.
    advice: String,
}

/// `GET /openapi.json`.
pub(super) async fn page(State(depot): State<Depot>) -> Response {
    let kind = [(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "max-age=3600")];
    (kind, document(depot.settings().cookies_secure).to_string()).into_response()
}

/// The document of a depot whose pages are reached by TLS, or not: its session's cookie is called differently.
pub fn document(cookies_secure: bool) -> Value {
    let settings = SchemaSettings::draft2020_12().with(|settings| settings.definitions_path = "/components/schemas".into());
    let mut shapes = settings.into_generator();
    let mut paths = Map::new();
    for part in [programs::paths(&mut shapes), photos::paths(), pages::paths()] {
        if let Value::Object(part) = part {
            paths.extend(part);
        }
    }
    let problem = json!({ "schema": shape::<ProblemDocument>(&mut shapes) });
    let html = json!({ "schema": { "type": "string" } });
    let to_a_program = json!({ "application/problem+json": problem });
    let to_a_browser = json!({ "application/problem+json": problem, "text/html": html });
    let wait = json!({ "Retry-After": { "description": "Seconds until the next request is answered", "required": true, "schema": { "type": "integer", "minimum": 1 } } });
    let (wrong, slower) =
        ("What was wrong and what to do", "Too many requests with this token or from this address, or too many wrong passwords");
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "Gritbook depot",
            "version": env!("CARGO_PKG_VERSION"),
            "description": "Takes entries and photos from enrolled devices and gives an office what it needs. Photos are sent by tus 1.0.0. \
                            Whatever answers GET answers HEAD with the same head and no body.",
            "license": { "name": "MIT OR Apache-2.0", "identifier": "MIT OR Apache-2.0" },
        },
        "security": [{ "device": [] }],
        "paths": paths,
        "components": {
            "securitySchemes": {
                "device": { "type": "http", "scheme": "bearer", "description": "The token of an enrolled device" },
                "session": { "type": "apiKey", "in": "cookie", "name": Cookie::Session.name(cookies_secure), "description": "A person who is signed in" },
            },
            "responses": {
                "problem": { "description": wrong, "content": to_a_program },
                "wait": { "description": slower, "headers": wait, "content": to_a_program },
                "told": { "description": wrong, "content": to_a_browser },
                "told_to_wait": { "description": slower, "headers": wait, "content": to_a_browser },
            },
            "schemas": shapes.take_definitions(true),
        },
    })
}

fn shape<T: JsonSchema>(shapes: &mut SchemaGenerator) -> Value {
    shapes.subschema_for::<T>().to_value()
}

/// An answer with a body.
fn answer(description: &str, kind: &str, schema: &Value) -> Value {
    json!({ "description": description, "content": { kind: { "schema": schema } } })
}

/// Who reads a problem: a program its document, a browser a page with the same words.
#[derive(Debug, Clone, Copy)]
enum Told {
    Program,
    Browser,
}

/// What may come whatever was asked: too slow, a fault, shutting down or busy, a full disk.
const ALWAYS: [&str; 4] = ["408", "500", "503", "507"];

/// The answers of an operation: those given, and problems.
fn answers(told: Told, given: &[(&str, Value)], problems: &[&str]) -> Value {
    let (problem, wait) = match told {
        Told::Program => ("#/components/responses/problem", "#/components/responses/wait"),
        Told::Browser => ("#/components/responses/told", "#/components/responses/told_to_wait"),
    };
    let mut all = Map::new();
    all.extend(problems.iter().chain(&ALWAYS).map(|status| ((*status).to_owned(), json!({ "$ref": problem }))));
    all.insert("429".to_owned(), json!({ "$ref": wait }));
    // An answer that says more of a status than that it is a problem.
    all.extend(given.iter().map(|(status, answer)| ((*status).to_owned(), answer.clone())));
    Value::Object(all)
}

fn header_of(name: &str, required: bool, schema: &Value) -> Value {
    json!({ "name": name, "in": "header", "required": required, "schema": schema })
}

fn in_path(name: &str, description: &str) -> Value {
    json!({ "name": name, "in": "path", "required": true, "description": description, "schema": { "type": "string", "minLength": 1 } })
}

fn in_query(name: &str, description: &str, schema: &Value) -> Value {
    json!({ "name": name, "in": "query", "description": description, "schema": schema })
}

/// What a report may be asked for.
fn of_report() -> Value {
    json!([
        in_query("paper", "The sheet; a4", &json!({ "enum": ["a4", "letter"] })),
        in_query("language", "The language; the reader's, else en", &json!({ "enum": ["en", "es"] })),
        in_query("units", "The units; the reader's, else metric", &json!({ "enum": ["metric", "inch"] })),
    ])
}
