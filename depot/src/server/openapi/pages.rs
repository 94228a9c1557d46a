//! The requests of people: pages and forms.

use serde_json::{Map, Value, json};

use super::{Told, answer, answers, in_path, in_query, of_report};

fn text() -> Value {
    json!({ "type": "string" })
}

fn html() -> Value {
    answer("The page", "text/html", &text())
}

/// The page again, with what was wrong in words.
fn again() -> Value {
    answer("The page again, with what was wrong", "text/html", &text())
}

/// What a person or a device's token reads.
fn read(summary: &str, id: &str, given: &[(&str, Value)], problems: &[&str]) -> Value {
    json!({
        "summary": summary, "operationId": id, "security": [{ "session": [] }, { "device": [] }],
        "responses": answers(Told::Browser, given, &[&["401", "421"], problems].concat()),
    })
}

fn page(summary: &str, id: &str, problems: &[&str]) -> Value {
    read(summary, id, &[("200", html())], problems)
}

/// A form of a person who is signed in: its fields (which must be there, name, schema) beside `form`, the token that the page holds.
fn form(summary: &str, id: &str, fields: &[(bool, &str, Value)], given: &[(&str, Value)], problems: &[&str]) -> Value {
    let mut properties: Map<String, Value> = fields.iter().map(|(_, name, schema)| ((*name).to_owned(), schema.clone())).collect();
    properties.insert("form".to_owned(), json!({ "type": "string", "description": "The token that the page of this form holds" }));
    let required: Vec<&str> = fields.iter().filter(|(required, ..)| *required).map(|(_, name, _)| *name).chain(["form"]).collect();
    let schema = json!({ "type": "object", "required": required, "properties": properties });
    json!({
        "summary": summary, "operationId": id, "security": [{ "session": [] }],
        "requestBody": { "required": true, "content": { "application/x-www-form-urlencoded": { "schema": schema } } },
        "responses": answers(Told::Browser, given, &[&["401", "403", "413", "415", "421"], problems].concat()),
    })
}

/// Goes on to another page.
fn onward() -> Value {
    json!({ "description": "Done; go on to `Location`", "headers": { "Location": { "required": true, "schema": { "type": "string" } } } })
}

fn at(parameter: &Value, operation: &Value) -> Value {
    json!({ "parameters": [parameter], "get": operation })
}

/// A fixed part of the pages, open to all.
fn part(summary: &str, id: &str, kind: &str) -> Value {
    json!({ "get": {
        "summary": summary, "operationId": id, "security": [],
        "responses": answers(Told::Browser, &[("200", answer("The file", kind, &text()))], &[]),
    } })
}

/// A picture of one of these kinds, or nothing where the browser has it.
fn picture(kinds: &[&str]) -> Value {
    let content: Map<String, Value> =
        kinds.iter().map(|kind| ((*kind).to_owned(), json!({ "schema": { "type": "string", "contentMediaType": kind } }))).collect();
    json!({ "description": "The picture", "content": content })
}

pub(super) fn paths() -> Value {
    let mut all = door();
    for part in [record(), owner()] {
        all.extend(part);
    }
    Value::Object(all)
}

fn object(value: Value) -> Map<String, Value> {
    if let Value::Object(map) = value { map } else { Map::new() }
}

fn language() -> Value {
    json!({ "enum": ["en", "es"] })
}

fn units() -> Value {
    json!({ "enum": ["metric", "inch"] })
}

fn door() -> Map<String, Value> {
    // 401 is the page again: a name or a password was wrong.
    let fields = [(true, "name", text()), (true, "password", text()), (false, "next", text())];
    let mut sign_in = form("Sign in. The page holds `form`; a cookie comes with it", "sign_in", &fields, &[("303", onward())], &[]);
    sign_in["security"] = json!([]);
    let mut door = page("The sign-in page", "door", &[]);
    door["security"] = json!([]);
    door["parameters"] = json!([
        in_query("language", "Language of the page, kept in this browser: en or es; another changes nothing", &text()),
        in_query("next", "Where to go on to", &text()),
    ]);
    let fresh = json!({ "type": "string", "minLength": 12, "maxLength": 200 });
    let password = [(true, "password", text()), (true, "fresh", fresh.clone()), (true, "again", fresh)];
    object(json!({
        "/look.css": part("The look of the pages", "look", "text/css"),
        "/icon.svg": part("Their mark", "icon", "image/svg+xml"),
        "/news.js": part("The script by which an open page asks what is new", "news_script", "text/javascript"),
        "/font/regular.ttf": part("Their font", "font_regular", "font/ttf"),
        "/font/bold.ttf": part("Their font, bold", "font_bold", "font/ttf"),
        "/sign-in": { "get": door, "post": sign_in },
        "/sign-out": { "post": form("Sign out", "sign_out", &[], &[("303", onward())], &[]) },
        "/me": { "get": page("What a person may set for themselves", "me", &["403"]) },
        "/me/choice": { "post": form("Language and units; what is left out stays", "choose", &[(false, "language", language()), (false, "units", units())], &[("200", html())], &["400"]) },
        "/me/password": { "post": form("A new password; signs out everywhere else", "own_password", &password, &[("200", html()), ("422", again())], &[]) },
    }))
}

fn record() -> Map<String, Value> {
    // A form sends an empty day as an empty field.
    let day = json!({ "type": "string", "anyOf": [{ "format": "date" }, { "const": "" }] });
    let mut search = read("Entries by pump, kind and days, newest first", "search", &[("200", html()), ("422", again())], &[]);
    search["parameters"] = json!([
        in_query("pump", "Part of a pump's name", &text()),
        in_query("kind", "The record's word for a kind of entry, for example box_check; another word: of any kind", &text()),
        in_query("from", "First day, by the writer's clock", &day),
        in_query("to", "Last day", &day),
    ]);
    let offered = answer("The words of a link to what is new", "text/plain", &text());
    let nothing = json!({ "description": "Nothing new" });
    let mut news = json!({
        "summary": "How many entries came since a page was made; no session lasts longer for it", "operationId": "news",
        "security": [{ "session": [] }, { "device": [] }],
        "responses": answers(Told::Browser, &[("200", offered), ("204", nothing)], &["400", "401", "421"]),
    });
    let count = json!({ "type": "integer", "minimum": 0, "maximum": u64::MAX });
    let mut had = in_query("had", "Entries that the page has counted", &count);
    had["required"] = json!(true);
    news["parameters"] = json!([had, in_query("pump", "Of this pump alone", &json!({ "type": "string", "format": "uuid" }))]);
    let mut parts = page("How long parts last, how the calls turned out, what to have on the shelf", "parts", &["400"]);
    let whole = |least: u32, most: u32| json!({ "type": "integer", "minimum": least, "maximum": most });
    parts["parameters"] = json!([
        in_query("days", "Days from order to delivery; 14", &whole(1, 365)),
        in_query("service", "Of 100 lead times, in how many the shelf must last; 95", &whole(50, 99)),
    ]);
    let photo = in_path("sha256", "A photo's SHA-256");
    let whole = [
        ("200", picture(&["image/jpeg", "image/png", "application/octet-stream"])),
        ("206", picture(&["image/jpeg", "image/png", "application/octet-stream"])),
        ("304", json!({ "description": "As the browser has it" })),
    ];
    let (small, window) = ([("200", picture(&["image/jpeg"]))], [("200", picture(&["image/jpeg"]))]);
    let of_pump = |summary: &str, id: &str, kind: &str, problems: &[&str]| {
        let given = [("200", answer(summary, kind, &text()))];
        at(&in_path("id", "A pump's id"), &read(summary, id, &given, problems))
    };
    let mut pump = of_pump("One pump, its entries page by page", "pump_page", "text/html", &["404"]);
    let pages = json!({ "type": "integer", "minimum": 1, "maximum": 100_000 });
    pump["get"]["parameters"] = json!([in_query("page", "Which page; 1 holds the newest", &pages)]);
    pump["get"]["responses"]["400"] = json!({ "$ref": "#/components/responses/told" });
    let mut report = of_pump("A pump's report to print", "report_for_readers", "application/pdf", &["400", "404"]);
    report["get"]["parameters"] = of_report();
    let json_kind = answer("A pump's entries as they were sealed", "application/json", &json!({ "type": "object" }));
    let sealed =
        read("A pump's entries as they were sealed (not for mechanics)", "sealed_for_readers", &[("200", json_kind)], &["403", "404"]);
    let entry = in_path("id", "An entry's id");
    object(json!({
        "/": { "get": page("Every pump with its newest entries", "fleet", &[]) },
        "/news": { "get": news },
        "/thumbs/{sha256}": at(&photo, &read("A photo, small", "thumb", &small, &["404", "410"])),
        "/photos/{sha256}": at(&photo, &read("A photo, whole or in part", "whole_photo", &whole, &["404", "410", "416"])),
        "/pumps/{id}": pump,
        "/pumps/{id}/grades": of_pump("The history of a pump's grades", "grades_page", "text/html", &["404"]),
        "/pumps/{id}/report.pdf": report,
        "/pumps/{id}/export.csv": of_pump("A pump's history, one event a row (not for mechanics)", "history_for_readers", "text/csv", &["403", "404"]),
        "/pumps/{id}/export.json": at(&in_path("id", "A pump's id"), &sealed),
        "/entries/{id}": at(&entry, &page("One entry: photo as read, curve, reasons", "entry_page", &["404"])),
        "/entries/{id}/window.jpg": at(&entry, &read("The part of the photo that was read, upright", "window", &window, &["404", "410"])),
        "/parts": { "get": parts },
        "/search": { "get": search },
    }))
}

fn owner() -> Map<String, Value> {
    let mut audit = page("Who saw and changed what, newest first (owner)", "audit", &["400", "403"]);
    audit["parameters"] =
        json!([in_query("before", "Rows before this number", &json!({ "type": "integer", "minimum": 1, "maximum": i64::MAX }))]);
    // What `checked_name` takes: 1 to 60 signs that can be printed, once the blanks at both ends are off.
    let name = json!({ "type": "string", "pattern": "^[!-~]([ -~]{0,58}[!-~])?$", "description": "1 to 60 signs that can be printed" });
    let address = json!({ "type": "string", "pattern": "^https?://[A-Za-z0-9\\[][A-Za-z0-9._~:/\\[\\]%-]{0,199}$", "description": "Where the device reaches the depot" });
    let sure = || (false, "sure", json!({ "type": "string", "description": "yes: done; else the page asks first" }));
    let person = || (true, "person", json!({ "type": "integer", "minimum": 1, "maximum": i64::MAX, "description": "A person's number" }));
    let role = || (true, "role", json!({ "enum": ["mechanic", "office", "owner"] }));
    let pump = || {
        (
            false,
            "pump",
            json!({ "type": "array", "items": { "type": "string", "format": "uuid" }, "description": "Pumps that a mechanic sees" }),
        )
    };
    let adding = [(true, "name", name.clone()), role(), pump(), (false, "language", language()), (false, "units", units())];
    object(json!({
        "/devices": { "get": page("Devices, and how far behind each is (owner)", "devices", &["403"]) },
        "/devices/enrol": { "post": form("Let a device in: its code, shown once", "enrol_device", &[(true, "name", name), (true, "address", address)], &[("200", html()), ("409", again()), ("422", again())], &["400"]) },
        "/devices/revoke": { "post": form("Shut a device out", "revoke_device", &[(true, "name", text()), sure()], &[("200", html()), ("303", onward())], &["404"]) },
        "/people": { "get": page("Who may sign in (owner)", "people", &["403"]) },
        "/people/add": { "post": form("Add a person: the password, shown once", "add_person", &adding, &[("200", html()), ("409", again()), ("422", again())], &["400"]) },
        "/people/role": { "post": form("Another role or other pumps", "change_role", &[person(), role(), pump()], &[("303", onward()), ("409", again())], &["400", "404"]) },
        "/people/password": { "post": form("A new password", "make_password", &[person(), sure()], &[("200", html())], &["404"]) },
        "/people/remove": { "post": form("Take a person away", "remove_person", &[person(), sure()], &[("200", html()), ("303", onward()), ("409", again())], &["404"]) },
        "/audit": { "get": audit },
    }))
}
