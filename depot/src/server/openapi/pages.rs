//! The requests of people: pages and forms.

use serde_json::{Value, json};

use super::{answer, answers, in_path, in_query};

/// A page that a person or a device's token reads.
pub(super) fn page(summary: &str, id: &str, problems: &[&str]) -> Value {
    let html = answer("The page", "text/html", &json!({ "type": "string" }));
    json!({
        "summary": summary, "operationId": id, "security": [{ "session": [] }, { "device": [] }],
        "responses": answers(&[("200", html)], &[&["401"], problems].concat()),
    })
}

/// A form of a person who is signed in. `fields` beside `form`, the token that the page holds.
pub(super) fn form(summary: &str, id: &str, fields: &[&str], given: &[(&str, Value)], problems: &[&str]) -> Value {
    let properties: serde_json::Map<String, Value> =
        fields.iter().chain(&["form"]).map(|name| ((*name).to_owned(), json!({ "type": "string" }))).collect();
    let schema = json!({ "type": "object", "required": ["form"], "properties": properties });
    json!({
        "summary": summary, "operationId": id, "security": [{ "session": [] }],
        "requestBody": { "required": true, "content": { "application/x-www-form-urlencoded": { "schema": schema } } },
        "responses": answers(given, &[&["401", "403", "413", "415"], problems].concat()),
    })
}

/// Goes on to another page.
pub(super) fn onward() -> Value {
    json!({ "description": "Done; go on to `Location`", "headers": { "Location": { "required": true, "schema": { "type": "string" } } } })
}

pub(super) fn paths() -> Value {
    let html = || answer("The page", "text/html", &json!({ "type": "string" }));
    let picture = |kinds: &[&str]| {
        let content: serde_json::Map<String, Value> =
            kinds.iter().map(|kind| ((*kind).to_owned(), json!({ "schema": { "type": "string", "contentMediaType": kind } }))).collect();
        json!({ "description": "The picture", "content": content })
    };
    let of_photo = |summary: &str, id: &str, kinds: &[&str]| {
        let mut asked = page(summary, id, &["403", "404"]);
        asked["responses"]["200"] = picture(kinds);
        json!({ "parameters": [in_path("sha256", "A photo's SHA-256")], "get": asked })
    };
    let mut sign_in =
        form("Sign in. The page holds `form`; a cookie comes with it", "sign_in", &["name", "password", "next"], &[("303", onward())], &[]);
    sign_in["security"] = json!([]);
    let mut door = page("The sign-in page", "door", &[]);
    door["security"] = json!([]);
    door["parameters"] = json!([
        in_query("language", "Language of the page, kept in this browser", &json!({ "enum": ["en", "es"] })),
        in_query("next", "Where to go on to", &json!({ "type": "string" })),
    ]);
    let mut audit = page("Who saw and changed what, newest first (owner)", "audit", &["403"]);
    audit["parameters"] = json!([in_query("before", "Rows before this number", &json!({ "type": "integer", "minimum": 1 }))]);
    let mut window = page("The part of the photo that was read, upright", "window", &["404"]);
    window["responses"]["200"] = picture(&["image/jpeg"]);
    let mut search = page("Entries by pump, kind and days, newest first", "search", &["422"]);
    let day = json!({ "type": "string", "format": "date" });
    search["parameters"] = json!([
        in_query("pump", "Part of a pump's name", &json!({ "type": "string" })),
        in_query("kind", "The record's word for a kind of entry, for example box_check", &json!({ "type": "string" })),
        in_query("from", "First day, by the writer's clock", &day),
        in_query("to", "Last day", &day),
    ]);
    let of_pump = |summary: &str, id: &str, kind: &str, problems: &[&str]| {
        let mut asked = page(summary, id, problems);
        asked["responses"]["200"] = answer(summary, kind, &json!({ "type": "string" }));
        json!({ "parameters": [in_path("id", "A pump's id")], "get": asked })
    };
    json!({
        "/": { "get": page("Every pump with its newest entries", "fleet", &["421"]) },
        "/thumbs/{sha256}": of_photo("A photo, small", "thumb", &["image/jpeg"]),
        "/photos/{sha256}": of_photo("A photo, whole", "whole_photo", &["image/jpeg", "image/png", "application/octet-stream"]),
        "/sign-in": { "get": door, "post": sign_in },
        "/sign-out": { "post": form("Sign out", "sign_out", &[], &[("303", onward())], &[]) },
        "/me": { "get": page("What a person may set for themselves", "me", &["403"]) },
        "/me/choice": { "post": form("Language and units", "choose", &["language", "units"], &[("200", html())], &[]) },
        "/devices": { "get": page("Devices, and how far behind each is (owner)", "devices", &["403"]) },
        "/devices/enrol": { "post": form("Let a device in: its code, shown once", "enrol_device", &["name", "address"], &[("200", html())], &["422"]) },
        "/devices/revoke": { "post": form("Shut a device out; asks first unless `sure` is yes", "revoke_device", &["name", "sure"], &[("200", html()), ("303", onward())], &["404"]) },
        "/people": { "get": page("Who may sign in (owner)", "people", &["403"]) },
        "/people/add": { "post": form("Add a person: the password, shown once", "add_person", &["name", "role", "pump", "language", "units"], &[("200", html())], &["400", "422"]) },
        "/people/role": { "post": form("Another role or other pumps", "change_role", &["person", "role", "pump"], &[("303", onward())], &["400", "404", "422"]) },
        "/people/password": { "post": form("A new password; asks first unless `sure` is yes", "make_password", &["person", "sure"], &[("200", html())], &["404"]) },
        "/people/remove": { "post": form("Take a person away; asks first unless `sure` is yes", "remove_person", &["person", "sure"], &[("200", html()), ("303", onward())], &["404", "422"]) },
        "/audit": { "get": audit },
        "/pumps/{id}": of_pump("One pump, its entries page by page", "pump_page", "text/html", &["404"]),
        "/pumps/{id}/grades": of_pump("The history of a pump's grades", "grades_page", "text/html", &["404"]),
        "/pumps/{id}/report.pdf": of_pump("A pump's report to print", "report_for_readers", "application/pdf", &["400", "404"]),
        "/pumps/{id}/export.csv": of_pump("A pump's history, one event a row (not for mechanics)", "history_for_readers", "text/csv", &["403", "404"]),
        "/pumps/{id}/export.json": of_pump("A pump's entries as they were sealed (not for mechanics)", "sealed_for_readers", "application/json", &["403", "404"]),
        "/entries/{id}": { "parameters": [in_path("id", "An entry's id")], "get": page("One entry: photo as read, curve, reasons", "entry_page", &["404"]) },
        "/entries/{id}/window.jpg": { "parameters": [in_path("id", "An entry's id")], "get": window },
        "/search": { "get": search },
        "/me/password": { "post": form("A new password; signs out everywhere else", "own_password", &["password", "fresh", "again"], &[("200", html())], &["422"]) },
    })
}
