//! The OpenAPI 3.1 document of every request. Shapes of documents come from the types that write them.

mod pages;

use axum::http::header;
use axum::response::{IntoResponse as _, Response};
use gritbook_core::model::Entry;
use gritbook_core::wire::v1::Verdicts;
use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, SchemaGenerator};
use serde_json::{Value, json};

use super::office::DepotPumps;

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
pub(super) async fn page() -> Response {
    ([(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "max-age=3600")], document().to_string()).into_response()
}

/// The document.
pub fn document() -> Value {
    let settings = SchemaSettings::draft2020_12().with(|settings| settings.definitions_path = "/components/schemas".into());
    let mut shapes = settings.into_generator();
    let mut paths = paths(&mut shapes);
    if let (Some(all), Value::Object(of_people)) = (paths.as_object_mut(), pages::paths()) {
        all.extend(of_people);
    }
    let problem = shape::<ProblemDocument>(&mut shapes);
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "Gritbook depot",
            "version": env!("CARGO_PKG_VERSION"),
            "description": "Takes entries and photos from enrolled devices and gives an office what it needs. Photos are sent by tus 1.0.0.",
            "license": { "name": "MIT OR Apache-2.0", "identifier": "MIT OR Apache-2.0" },
        },
        "security": [{ "device": [] }],
        "paths": paths,
        "components": {
            "securitySchemes": {
                "device": { "type": "http", "scheme": "bearer", "description": "The token of an enrolled device" },
                "session": { "type": "apiKey", "in": "cookie", "name": "__Host-gritbook", "description": "A person who is signed in; `gritbook` where the depot speaks plain HTTP" },
            },
            "responses": {
                "problem": { "description": "What was wrong and what to do", "content": { "application/problem+json": { "schema": problem } } },
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

/// The answers of an operation; whatever else comes is a problem. Every one but the watcher's may be told to wait.
fn answers(given: &[(&str, Value)], problems: &[&str]) -> Value {
    let mut all = serde_json::Map::new();
    all.extend(given.iter().map(|(status, answer)| ((*status).to_owned(), answer.clone())));
    all.extend(problems.iter().map(|status| ((*status).to_owned(), json!({ "$ref": "#/components/responses/problem" }))));
    if !problems.is_empty() {
        let wait = json!({ "description": "Seconds until the next request is answered", "schema": { "type": "integer", "minimum": 1 } });
        let shape = json!({ "schema": { "$ref": "#/components/schemas/ProblemDocument" } });
        let told = json!({
            "description": "Too many requests with this token or from this address",
            "headers": { "Retry-After": wait },
            "content": { "application/problem+json": shape },
        });
        all.insert("429".to_owned(), told);
    }
    all.insert("default".to_owned(), json!({ "$ref": "#/components/responses/problem" }));
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

fn paths(shapes: &mut SchemaGenerator) -> Value {
    let entry = shape::<Entry>(shapes);
    let entries = json!({
        "type": "object",
        "required": ["schema", "entries"],
        "properties": { "schema": { "const": "gritbook.entries/1" }, "entries": { "type": "array", "items": entry } },
    });
    let mut page = entries.clone();
    page["required"] = json!(["schema", "entries", "cursor", "more"]);
    page["properties"]["cursor"] = json!({ "type": "string", "description": "Give it as `after` to go on" });
    page["properties"]["more"] = json!({ "type": "boolean" });
    let (verdicts, pumps) = (shape::<Verdicts>(shapes), shape::<DepotPumps>(shapes));
    let file = json!({ "type": "string", "contentMediaType": "application/octet-stream" });
    let text = json!({ "type": "string" });
    let pump = || in_path("id", "A pump's id, from /v1/pumps");
    let paper = in_query("paper", "The sheet", &json!({ "enum": ["a4", "letter"] }));
    let language = in_query("language", "The language; en", &json!({ "enum": ["en", "es"] }));
    let units = in_query("units", "The units; metric", &json!({ "enum": ["metric", "inch"] }));
    json!({
        "/healthz": { "get": {
            "summary": "Alive", "operationId": "alive", "security": [],
            "responses": answers(&[("200", answer("Alive", "application/json", &json!({ "type": "object", "required": ["status"], "properties": { "status": { "const": "ok" } } })))], &[]),
        } },
        "/openapi.json": { "get": {
            "summary": "This document", "operationId": "openapi", "security": [],
            "responses": answers(&[("200", answer("OpenAPI 3.1", "application/json", &json!({ "type": "object" })))], &[]),
        } },
        "/metrics": { "get": {
            "summary": "Figures for whoever watches the depot", "operationId": "metrics",
            "responses": answers(&[("200", answer("Text format of Prometheus", "application/openmetrics-text", &text))], &["401"]),
        } },
        "/v1/entries": {
            "put": {
                "summary": "Deliver a batch of sealed entries; one verdict for each. Sent again it changes nothing", "operationId": "store_entries",
                "requestBody": { "required": true, "content": { "application/json": { "schema": entries } } },
                "responses": answers(&[("200", answer("One verdict an entry, in the order of the batch", "application/json", &verdicts))], &["400", "401", "408", "413", "507"]),
            },
            "get": {
                "summary": "Entries in the depot's own order, after a cursor", "operationId": "entries_after",
                "parameters": [
                    in_query("after", "A cursor that an earlier page gave; left out: from the first", &json!({ "type": "string", "pattern": "^[0-9]{0,18}$" })),
                    in_query("limit", "Most entries", &json!({ "type": "integer", "minimum": 1, "maximum": 500, "default": 100 })),
                ],
                "responses": answers(&[("200", answer("A page", "application/json", &page))], &["400", "401"]),
            },
        },
        "/v1/photos": { "post": {
            "summary": "Begin a photo's upload (tus 1.0.0: creation, creation-with-upload)", "operationId": "create_upload",
            "parameters": [
                header_of("Tus-Resumable", true, &json!({ "const": "1.0.0" })),
                header_of("Upload-Length", true, &json!({ "type": "integer", "minimum": 0 })),
                header_of("Upload-Metadata", false, &text),
                header_of("Upload-Checksum", false, &text),
            ],
            "requestBody": { "content": { "application/offset+octet-stream": { "schema": file } } },
            "responses": answers(
                &[("201", json!({
                    "description": "Made, or the same one again",
                    "headers": {
                        "Location": { "required": true, "schema": text },
                        "Upload-Offset": { "schema": { "type": "integer", "minimum": 0 } },
                        "Upload-Expires": { "schema": text },
                    },
                }))],
                &["400", "401", "409", "412", "413", "415", "460", "507"],
            ),
        } },
        "/v1/photos/{id}": {
            "parameters": [in_path("id", "An upload's name; for GET a photo's SHA-256")],
            "get": {
                "summary": "A stored photo, whole or in part", "operationId": "photo",
                "parameters": [header_of("Range", false, &text), header_of("If-None-Match", false, &text)],
                "responses": answers(
                    &[
                        ("200", json!({ "description": "The photo, with ETag, Content-Digest and Repr-Digest", "content": {
                            "image/jpeg": { "schema": file }, "image/png": { "schema": file }, "application/octet-stream": { "schema": file } } })),
                        ("206", json!({ "description": "A part of it", "content": { "image/jpeg": { "schema": file }, "image/png": { "schema": file }, "application/octet-stream": { "schema": file } } })),
                        ("304", json!({ "description": "As the client has it" })),
                    ],
                    &["401", "404", "416"],
                ),
            },
            "head": {
                "summary": "How far an upload has come", "operationId": "upload_offset",
                "parameters": [header_of("Tus-Resumable", true, &json!({ "const": "1.0.0" }))],
                "responses": json!({
                    "200": { "description": "Its offset", "headers": { "Upload-Offset": { "required": true, "schema": { "type": "integer", "minimum": 0 } }, "Upload-Length": { "schema": { "type": "integer" } } } },
                    "401": { "description": "No token, or one that is not known" },
                    "404": { "description": "No such upload" },
                    "410": { "description": "Given up" },
                    "412": { "description": "Another version of tus" },
                    "default": { "description": "What was wrong stands in the status alone: HEAD has no body" },
                }),
            },
            "patch": {
                "summary": "Send the next bytes of an upload", "operationId": "continue_upload",
                "parameters": [
                    header_of("Tus-Resumable", true, &json!({ "const": "1.0.0" })),
                    header_of("Upload-Offset", true, &json!({ "type": "integer", "minimum": 0 })),
                    header_of("Upload-Checksum", false, &text),
                ],
                "requestBody": { "required": true, "content": { "application/offset+octet-stream": { "schema": file } } },
                "responses": answers(
                    &[("204", json!({ "description": "Durable up to the new offset", "headers": { "Upload-Offset": { "required": true, "schema": { "type": "integer", "minimum": 0 } } } }))],
                    &["400", "401", "404", "409", "410", "412", "413", "415", "423", "460", "507"],
                ),
            },
            "delete": {
                "summary": "Give an upload up", "operationId": "end_upload",
                "parameters": [header_of("Tus-Resumable", true, &json!({ "const": "1.0.0" }))],
                "responses": answers(&[("204", json!({ "description": "Given up" }))], &["401", "404", "410", "412", "423"]),
            },
        },
        "/v1/pumps": { "get": {
            "summary": "The pumps with what is known of each", "operationId": "pumps",
            "responses": answers(&[("200", answer("The list", "application/json", &pumps))], &["401"]),
        } },
        "/v1/pumps/{id}/report.pdf": { "parameters": [pump()], "get": {
            "summary": "A pump's report to print", "operationId": "report", "parameters": [paper, language, units],
            "responses": answers(&[("200", answer("PDF", "application/pdf", &file))], &["400", "401", "404"]),
        } },
        "/v1/pumps/{id}/export.csv": { "parameters": [pump()], "get": {
            "summary": "A pump's history, one event a row", "operationId": "history",
            "responses": answers(&[("200", answer("CSV", "text/csv", &text))], &["401", "404"]),
        } },
        "/v1/pumps/{id}/export.json": { "parameters": [pump()], "get": {
            "summary": "A pump's entries as they were sealed", "operationId": "sealed",
            "responses": answers(&[("200", answer("Entries", "application/json", &entries))], &["401", "404"]),
        } },
    })
}
