//! Photos: tus 1.0.0, and a stored photo.

use serde_json::{Map, Value, json};

use super::super::routes::tus::{EXTENSIONS, VERSION};
use super::{Told, answers, header_of, in_path};

/// base64 of so many bytes less two, and the same ending in one more byte or two: what is left over of the last sign is zero.
const BASE64: &str = "([A-Za-z0-9+/]{4})*([A-Za-z0-9+/][AQgw]==|[A-Za-z0-9+/]{2}[AEIMQUYcgkosw048]=)?";

/// Headers of an answer; the first word says which stand in every one.
fn headers(named: &[(bool, &str, &str, Value)]) -> Value {
    let of = |(required, name, what, schema): &(bool, &str, &str, Value)| {
        ((*name).to_owned(), json!({ "description": what, "required": required, "schema": schema }))
    };
    Value::Object(named.iter().map(of).collect::<Map<_, _>>())
}

pub(super) fn paths() -> Value {
    let text = json!({ "type": "string" });
    let bytes = json!({ "type": "integer", "minimum": 0 });
    let file = json!({ "type": "string", "contentMediaType": "application/octet-stream" });
    let version = || header_of("Tus-Resumable", true, &json!({ "const": VERSION }));
    let checksum = || {
        let form = "^(sha1 [A-Za-z0-9+/]{26}[AEIMQUYcgkosw048]=|sha256 [A-Za-z0-9+/]{42}[AEIMQUYcgkosw048]=)$";
        let mut checksum = header_of("Upload-Checksum", false, &json!({ "type": "string", "pattern": form}));
        checksum["description"] =
            json!("Of this body alone: sha1 or sha256, a space, the digest in base64. Where it does not fit, nothing of the body counts");
        checksum
    };
    let pair = format!("[!-+\\--~]+( {BASE64})?");
    let mut metadata =
        header_of("Upload-Metadata", false, &json!({ "type": "string", "maxLength": 4096, "pattern": format!("^({pair}(,{pair})*)?$") }));
    metadata["description"] = json!(
        "Pairs of a key and a value in base64, no key twice. `sha256`: 64 hexadecimal digits, the whole is held against it. `upload_id`: the device's own name \
         for the upload, 1 to 64 letters, digits, - or _, by which it can be asked for again. Other keys are kept"
    );
    let tus = (true, "Tus-Resumable", "The version that is spoken", json!({ "const": VERSION }));
    let offset = |required| (required, "Upload-Offset", "Bytes that are durable", bytes.clone());
    let expires = (false, "Upload-Expires", "When it is given up unless it is continued (RFC 9110 date)", text.clone());
    let of = |given: &[(&str, Value)], problems: &[&str]| answers(Told::Program, given, problems);
    let can = json!({ "204": {
        "description": "What is spoken here",
        "headers": headers(&[
            tus.clone(),
            (true, "Tus-Version", "Versions", json!({ "const": VERSION })),
            (true, "Tus-Extension", "Extensions", json!({ "const": EXTENSIONS })),
            (true, "Tus-Max-Size", "Largest photo, bytes", bytes.clone()),
            (true, "Tus-Checksum-Algorithm", "Checksums", json!({ "const": "sha1,sha256" })),
        ]),
    } });
    let can = |id: &str| {
        let responses = of(&[("204", can["204"].clone())], &["401"]);
        json!({ "summary": "What is spoken here (tus 1.0.0)", "operationId": id, "responses": responses })
    };
    let create = |id: &str| {
        let made = headers(&[
            tus.clone(),
            (true, "Location", "Where the upload goes on, without the depot's own address", text.clone()),
            offset(true),
            expires.clone(),
        ]);
        json!({
            "summary": "Begin a photo's upload (tus 1.0.0: creation, creation-with-upload)", "operationId": id,
            "parameters": [version(), header_of("Upload-Length", true, &bytes), metadata, checksum()],
            "requestBody": { "content": { "application/offset+octet-stream": {} } },
            "responses": of(&[("201", json!({ "description": "Made, or the same one again", "headers": made }))], &["400", "401", "409", "410", "412", "413", "423", "460"]),
        })
    };
    let picture =
        json!({ "image/jpeg": { "schema": file }, "image/png": { "schema": file }, "application/octet-stream": { "schema": file } });
    let tag = (true, "ETag", "Never changes", text.clone());
    let of_photo = |part: bool| {
        let mut named = vec![
            tag.clone(),
            (true, "Accept-Ranges", "Ranges of bytes", json!({ "const": "bytes" })),
            (true, "Content-Digest", "SHA-256 of what is in this answer (RFC 9530)", text.clone()),
            (true, "Repr-Digest", "SHA-256 of the whole photo (RFC 9530)", text.clone()),
        ];
        if part {
            named.push((true, "Content-Range", "Which bytes these are", text.clone()));
        }
        headers(&named)
    };
    json!({
        "/v1/photos": { "post": create("create_upload"), "options": can("tus") },
        // For clients that are given the address with its slash.
        "/v1/photos/": { "post": create("create_upload_below"), "options": can("tus_below") },
        "/v1/photos/{id}": {
            "parameters": [in_path("id", "An upload's name; for GET a photo's SHA-256")],
            "options": can("tus_of_upload"),
            "get": {
                "summary": "A stored photo, whole or in part", "operationId": "photo",
                "parameters": [header_of("Range", false, &text), header_of("If-Range", false, &text), header_of("If-None-Match", false, &text)],
                "responses": of(
                    &[
                        ("200", json!({ "description": "The photo", "headers": of_photo(false), "content": picture })),
                        ("206", json!({ "description": "A part of it", "headers": of_photo(true), "content": picture })),
                        ("304", json!({ "description": "As the client has it", "headers": headers(std::slice::from_ref(&tag)) })),
                    ],
                    &["401", "404", "410", "416"],
                ),
            },
            "head": {
                "summary": "How far an upload has come. Whoever writes it at this moment is asked to save what came and let go. Without Tus-Resumable, of a photo's SHA-256: as GET without its body",
                "operationId": "upload_offset",
                "parameters": [header_of("Tus-Resumable", false, &json!({ "const": VERSION }))],
                "responses": json!({
                    "200": {
                        "description": "Where it stands",
                        "headers": headers(&[tus.clone(), offset(false), (false, "Upload-Length", "The whole, bytes", bytes.clone()), expires.clone(), (false, "Upload-Metadata", "As it was given", text.clone())]),
                    },
                    "401": { "description": "No token, or one that is not known" },
                    "404": { "description": "No such upload" },
                    "408": { "description": "Too slow" },
                    "410": { "description": "Given up, or expired" },
                    "412": { "description": "Another version of tus" },
                    "423": { "description": "Still being written" },
                    "429": { "description": "Too many requests" },
                    "460": { "description": "All came, and it is another photo than was declared" },
                    "500": { "description": "A fault of the depot" },
                    "503": { "description": "Shutting down, or busy" },
                    "507": { "description": "No room" },
                }),
            },
            "patch": {
                "summary": "Send the next bytes of an upload", "operationId": "continue_upload",
                "parameters": [version(), header_of("Upload-Offset", true, &bytes), checksum()],
                "requestBody": { "required": true, "content": { "application/offset+octet-stream": {} } },
                "responses": of(
                    &[("204", json!({ "description": "Durable up to the new offset", "headers": headers(&[tus.clone(), offset(true), expires]) }))],
                    &["400", "401", "404", "409", "410", "412", "413", "415", "423", "460"],
                ),
            },
            "delete": {
                "summary": "Give an upload up. A photo that is stored already stays", "operationId": "end_upload",
                "parameters": [version()],
                "responses": of(&[("204", json!({ "description": "Given up", "headers": headers(&[tus]) }))], &["401", "404", "410", "412", "423"]),
            },
        },
    })
}
