//! The requests of devices and of an office's programs, but for photos.

use gritbook_core::model::{Entry, EntryHead};
use gritbook_core::wire::v1::{
    CODE_SCHEMA, CodeShown, ENTRIES_SCHEMA, LetIn, MAX_BATCH_BYTES_HEADER, MAX_BATCH_ENTRIES_HEADER, VERDICTS_SCHEMA, Verdicts,
};
use schemars::SchemaGenerator;
use serde_json::{Value, json};

use super::super::office::DepotPumps;
use super::{Told, answer, answers, in_path, in_query, of_report, shape};

fn of_entries(entry: &Value) -> Value {
    json!({
        "type": "object",
        "required": ["schema", "entries"],
        "properties": { "schema": { "const": ENTRIES_SCHEMA }, "entries": { "type": "array", "items": entry } },
    })
}

/// With the limits of a batch, which stand in every answer about entries.
fn with_limits(mut answer: Value) -> Value {
    let bound = |what: &str| json!({ "description": what, "required": true, "schema": { "type": "integer", "minimum": 1 } });
    answer["headers"] = json!({
        MAX_BATCH_BYTES_HEADER: bound("The largest batch that is taken, bytes"),
        MAX_BATCH_ENTRIES_HEADER: bound("The largest batch that is taken, entries"),
    });
    answer
}

pub(super) fn paths(shapes: &mut SchemaGenerator) -> Value {
    let (entry, head) = (shape::<Entry>(shapes), shape::<EntryHead>(shapes));
    let batch = of_entries(&json!({
        "description": "An entry as its device sealed it. One of a newer program is stored too; what is no entry at all gets the verdict `refused`, and the others of the batch are stored all the same",
        "anyOf": [entry, {}],
    }));
    let stored =
        of_entries(&json!({ "description": "An entry as its device sealed it, or one of a newer program", "anyOf": [entry, head] }));
    let mut page = stored.clone();
    page["required"] = json!(["schema", "entries", "cursor", "more"]);
    page["properties"]["cursor"] = json!({ "type": "string", "description": "Give it as `after` to go on" });
    page["properties"]["more"] = json!({ "type": "boolean" });
    let (mut verdicts, pumps) = (shape::<Verdicts>(shapes), shape::<DepotPumps>(shapes));
    verdicts = json!({ "allOf": [verdicts], "properties": { "schema": { "const": VERDICTS_SCHEMA } } });
    let mut shown = shape::<CodeShown>(shapes);
    let let_in = shape::<LetIn>(shapes);
    shown = json!({ "allOf": [shown], "properties": { "schema": { "const": CODE_SCHEMA } } });
    let file = json!({ "type": "string", "contentMediaType": "application/octet-stream" });
    let text = json!({ "type": "string" });
    let pump = || in_path("id", "A pump's id, from /v1/pumps");
    let alive = json!({ "type": "object", "required": ["status"], "properties": { "status": { "const": "ok" } } });
    let of = |given: &[(&str, Value)], problems: &[&str]| answers(Told::Program, given, problems);
    json!({
        "/healthz": { "get": {
            "summary": "Alive; not counted by the limits on requests", "operationId": "alive", "security": [],
            "responses": of(&[("200", answer("Alive", "application/json", &alive))], &[]),
        } },
        "/openapi.json": { "get": {
            "summary": "This document", "operationId": "openapi", "security": [],
            "responses": of(&[("200", answer("OpenAPI 3.1", "application/json", &json!({ "type": "object" })))], &[]),
        } },
        "/metrics": { "get": {
            "summary": "Figures for whoever watches the depot", "operationId": "metrics",
            "responses": of(&[("200", answer("Text format of Prometheus", "application/openmetrics-text", &text))], &["401"]),
        } },
        "/v1/entries": {
            "put": {
                "summary": "Deliver a batch of sealed entries; one verdict for each. Sent again it changes nothing", "operationId": "store_entries",
                "requestBody": { "required": true, "content": { "application/json": { "schema": batch } } },
                "responses": of(&[("200", with_limits(answer("One verdict an entry, in the order of the batch", "application/json", &verdicts)))], &["400", "401", "413"]),
            },
            "get": {
                "summary": "Entries in the depot's own order, after a cursor", "operationId": "entries_after",
                "parameters": [
                    in_query("after", "A cursor that an earlier page gave; left out: from the first", &json!({ "type": "string", "pattern": "^[0-9]{0,18}$" })),
                    in_query("limit", "Most entries", &json!({ "type": "integer", "minimum": 1, "maximum": 500, "default": 100 })),
                ],
                "responses": of(&[("200", with_limits(answer("A page", "application/json", &page)))], &["400", "401"]),
            },
        },
        "/v1/enrolment": { "post": {
            "summary": "Show an enrolment code, once, with the token that the device made as its bearer. Both again change nothing; the code with another token is refused", "operationId": "let_in",
            "requestBody": { "required": true, "content": { "application/json": { "schema": shown } } },
            "responses": of(&[("200", answer("The device is in under this token", "application/json", &let_in))], &["400", "401", "404", "409", "410", "413"]),
        } },
        "/v1/pumps": { "get": {
            "summary": "The pumps with what is known of each", "operationId": "pumps",
            "responses": of(&[("200", answer("The list", "application/json", &pumps))], &["401"]),
        } },
        "/v1/pumps/{id}/report.pdf": { "parameters": [pump()], "get": {
            "summary": "A pump's report to print", "operationId": "report", "parameters": of_report(),
            "responses": of(&[("200", answer("PDF", "application/pdf", &file))], &["400", "401", "404"]),
        } },
        "/v1/pumps/{id}/export.csv": { "parameters": [pump()], "get": {
            "summary": "A pump's history, one event a row", "operationId": "history",
            "responses": of(&[("200", answer("CSV", "text/csv", &text))], &["401", "404"]),
        } },
        "/v1/pumps/{id}/export.json": { "parameters": [pump()], "get": {
            "summary": "A pump's entries as they were sealed", "operationId": "sealed",
            "responses": of(&[("200", answer("Entries", "application/json", &stored))], &["401", "404"]),
        } },
    })
}
