//! tus 1.0.0 for photos: creation, creation-with-upload, checksum, expiration, termination.
//!
//! `Upload-Metadata` keys that the depot reads, all optional: `sha256` (64 hex digits; the whole is checked against it),
//! `upload-id` (the client's own name for the upload, which makes creation safe to repeat), `filename` (kept, not used).
//! Any enrolled device may continue any upload: names are random, and a photo counts only if its hash fits.

use std::fmt::Write as _;
use std::time::{Duration, Instant, SystemTime};

use axum::extract::Request;
use axum::http::{HeaderMap, HeaderName, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use gritbook_core::ids::Sha256Hex;
use gritbook_core::wire::v1::{UPLOAD_META_ID, UPLOAD_META_SHA256};

use super::super::archive::{Creation, NewUpload, Upload, UploadState};
use super::super::auth::Enrolled;
use super::super::busy::Hold;
use super::super::{Depot, Problem};
use super::receive::{Checksum, finish, receive};

/// The one version that is spoken.
pub(in crate::server) const VERSION: &str = "1.0.0";
pub(in crate::server) const EXTENSIONS: &str = "creation,creation-with-upload,checksum,expiration,termination";
const PATCH_TYPE: &str = "application/offset+octet-stream";
const LONGEST_METADATA: usize = 4096;

pub(super) fn options(depot: &Depot) -> Response {
    let headers = [
        ("tus-version", VERSION.to_owned()),
        ("tus-extension", EXTENSIONS.to_owned()),
        ("tus-max-size", depot.settings().max_photo_bytes.to_string()),
        ("tus-checksum-algorithm", "sha1,sha256".to_owned()),
    ];
    (StatusCode::NO_CONTENT, headers).into_response()
}

fn check_version(headers: &HeaderMap) -> Result<(), Problem> {
    if headers.get("tus-resumable").is_some_and(|version| version == VERSION) {
        return Ok(());
    }
    Err(Problem::new(412, "wrong_tus_version", format!("this address speaks tus {VERSION} only"), format!("send Tus-Resumable: {VERSION}"))
        .header(HeaderName::from_static("tus-version"), VERSION))
}

fn bad_header(name: &str, rule: &str) -> Problem {
    Problem::new(400, "bad_header", format!("the header {name} is missing or cannot be read"), format!("send {rule}"))
}

/// A number of bytes: plain digits, no sign.
fn number(headers: &HeaderMap, name: &'static str) -> Result<u64, Problem> {
    headers
        .get(name)
        .and_then(|value| value.to_str().ok())
        .filter(|text| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit()))
        .and_then(|text| text.parse().ok())
        .ok_or_else(|| bad_header(name, "a whole number of bytes"))
}

fn is_patch_body(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    kind.split(';').next().unwrap_or_default().trim().eq_ignore_ascii_case(PATCH_TYPE)
}

fn checksum(headers: &HeaderMap) -> Result<Option<Checksum>, Problem> {
    let Some(value) = headers.get("upload-checksum") else { return Ok(None) };
    let bad = || {
        Problem::new(
            400,
            "bad_checksum",
            "the header Upload-Checksum cannot be read",
            "send `sha1` or `sha256`, a space and the digest in base64",
        )
    };
    let (algorithm, digest) = value.to_str().map_err(|_| bad())?.split_once(' ').ok_or_else(bad)?;
    let digest = STANDARD.decode(digest.trim()).map_err(|_| bad())?;
    match algorithm {
        "sha1" => digest.try_into().map(Checksum::Sha1).map_err(|_| bad()).map(Some),
        "sha256" => digest.try_into().map(Checksum::Sha256).map_err(|_| bad()).map(Some),
        _ => Err(bad()),
    }
}

#[derive(Debug, Default, PartialEq, Eq)]
struct Metadata {
    sha256: Option<Sha256Hex>,
    upload_id: Option<String>,
}

/// Comma-separated pairs of a key and a base64 value; unknown keys are allowed, a repeated one is not.
fn metadata(text: &str) -> Result<Metadata, Problem> {
    let bad = |reason: String| Problem::new(400, "bad_metadata", reason, "send Upload-Metadata as tus 1.0.0 describes it");
    let mut read = Metadata::default();
    let mut seen = Vec::new();
    for pair in text.split(',').map(str::trim).filter(|pair| !pair.is_empty()) {
        let (key, value) = pair.split_once(' ').unwrap_or((pair, ""));
        if seen.contains(&key) {
            return Err(bad(format!("the key `{key}` stands twice")));
        }
        seen.push(key);
        let value = STANDARD.decode(value.trim()).map_err(|_| bad(format!("the value of `{key}` is not base64")))?;
        let plain = || String::from_utf8(value).map_err(|_| bad(format!("the value of `{key}` is not UTF-8")));
        match key {
            UPLOAD_META_SHA256 => read.sha256 = Some(plain()?.parse().map_err(|_| bad("`sha256` is not 64 hexadecimal digits".into()))?),
            UPLOAD_META_ID => {
                let id = plain()?;
                if !is_upload_id(&id) {
                    return Err(bad("`upload-id` is not 1 to 64 letters, digits, `-` or `_`".into()));
                }
                read.upload_id = Some(id);
            }
            _ => {}
        }
    }
    Ok(read)
}

/// Ids become file names: plain ones only.
fn is_upload_id(id: &str) -> bool {
    (1..=64).contains(&id.len()) && id.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-' || byte == b'_')
}

fn fresh_id() -> Result<String, Problem> {
    let mut bits = [0_u8; 16];
    getrandom::fill(&mut bits).map_err(|_| Problem::new(500, "no_randomness", "the system gives no random bits", "try again"))?;
    Ok(bits.iter().fold(String::new(), |mut text, byte| {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    }))
}

fn busy() -> Problem {
    Problem::new(423, "upload_busy", "another request is writing this upload", "try again in a second").header(header::RETRY_AFTER, "1")
}

fn hold(depot: &Depot, id: &str) -> Result<Hold, Problem> {
    depot.busy().hold(id).ok_or_else(busy)
}

/// How long a question waits for a writer to save what came and let go.
const SETTLES_IN: Duration = Duration::from_secs(2);

/// Asks whoever writes this upload to save what came and let go, and waits for it. Who asks where an upload stands has lost its
/// connection, or never had its answer; told of bytes that are not saved yet it would send them again. So a question interrupts a writer
/// that is well, too: it is told 423, loses nothing and goes on (DEVELOPERS.md, decisions).
async fn settled(depot: &Depot, id: &str) {
    let begun = Instant::now();
    while depot.busy().hold(id).is_none() && begun.elapsed() < SETTLES_IN {
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
}

/// The upload, if it can still be used.
async fn find(depot: &Depot, id: &str) -> Result<Upload, Problem> {
    let found = if is_upload_id(id) { depot.archive().upload(id.to_owned()).await? } else { None };
    let Some(upload) = found else {
        return Err(Problem::new(404, "no_such_upload", "the depot does not know this upload", "make it anew"));
    };
    let expired = upload.state == UploadState::Open && upload.expires <= depot.now();
    if expired || upload.state == UploadState::Gone {
        return Err(Problem::new(410, "upload_gone", "this upload was ended or has expired", "make it anew"));
    }
    Ok(upload)
}

/// Headers that say where an upload stands.
fn standing(upload: &Upload) -> Vec<(&'static str, String)> {
    let mut headers = vec![("upload-offset", upload.offset.to_string())];
    if upload.state == UploadState::Open {
        headers.push(("upload-expires", httpdate::fmt_http_date(SystemTime::from(upload.expires))));
    }
    headers
}

fn answer(status: StatusCode, headers: Vec<(&'static str, String)>) -> Response {
    let mut response = status.into_response();
    for (name, value) in headers {
        if let Ok(value) = value.parse() {
            response.headers_mut().insert(name, value);
        }
    }
    response.headers_mut().insert(header::CACHE_CONTROL, header::HeaderValue::from_static("no-store"));
    response
}

pub(super) async fn create(depot: &Depot, Enrolled(device): &Enrolled, request: Request) -> Result<Response, Problem> {
    let headers = request.headers();
    check_version(headers)?;
    if headers.contains_key("upload-defer-length") || headers.contains_key("upload-concat") {
        return Err(Problem::new(400, "not_offered", "this depot takes whole photos of a known length", "send Upload-Length"));
    }
    let length = number(headers, "upload-length")?;
    let max = depot.settings().max_photo_bytes;
    if length > max {
        return Err(Problem::new(413, "too_large", format!("the photo has {length} bytes, the limit is {max}"), "send a smaller photo")
            .with("limit_bytes", max));
    }
    let text = match headers.get("upload-metadata") {
        None => "",
        Some(value) => value
            .to_str()
            .ok()
            .filter(|text| text.len() <= LONGEST_METADATA)
            .ok_or_else(|| bad_header("upload-metadata", "at most 4096 plain characters"))?,
    };
    let Metadata { sha256, upload_id } = metadata(text)?;
    let with_body = is_patch_body(headers);
    let checksum = if with_body { checksum(headers)? } else { None };
    if let Some(quota) = depot.settings().photo_quota_bytes
        && depot.archive().photo_bytes().await?.saturating_add(length) > quota
    {
        let known = match &upload_id {
            Some(id) => depot.archive().upload(id.clone()).await?.is_some_and(|upload| upload.state != UploadState::Gone),
            None => false,
        };
        if !known {
            return Err(super::super::archive::storage_full("making room for a photo").into());
        }
    }
    let now = depot.now();
    let new = NewUpload {
        id: upload_id.map_or_else(fresh_id, Ok)?,
        sha256,
        metadata: text.to_owned(),
        length,
        device: device.number,
        now,
        expires: now + depot.settings().upload_lifetime,
    };
    let (mut upload, fresh) = match depot.archive().create_upload(new).await? {
        Creation::Created(upload) => (upload, true),
        Creation::Same(upload) => {
            settled(depot, &upload.id).await;
            (depot.archive().upload(upload.id.clone()).await?.unwrap_or(upload), false)
        }
        Creation::Different => {
            return Err(Problem::new(
                409,
                "upload_id_taken",
                "an upload with this id and another photo is here already",
                "give the new photo an id of its own",
            ));
        }
    };
    let location = format!("/v1/photos/{}", upload.id);
    if upload.state == UploadState::Open && upload.offset == upload.length {
        let hold = hold(depot, &upload.id)?;
        upload = finish(depot, upload).await?;
        drop(hold);
    } else if fresh && with_body && upload.state == UploadState::Open {
        let hold = hold(depot, &upload.id)?;
        upload = receive(depot.clone(), hold, upload, request.into_body(), checksum).await?;
    }
    let mut headers = standing(&upload);
    headers.push(("location", location));
    Ok(answer(StatusCode::CREATED, headers))
}

pub(super) async fn head(depot: &Depot, id: &str, headers: &HeaderMap) -> Result<Response, Problem> {
    check_version(headers)?;
    find(depot, id).await?;
    settled(depot, id).await;
    // Asked again now that what came is saved.
    let mut upload = find(depot, id).await?;
    if upload.state == UploadState::Open && upload.offset == upload.length {
        // All bytes are here, but a crash or a full disk came before the photo was on the shelf: the whole length must
        // not be told before it is.
        let _hold = hold(depot, id)?;
        upload = finish(depot, upload).await?;
    }
    let mut headers = standing(&upload);
    headers.push(("upload-length", upload.length.to_string()));
    if !upload.metadata.is_empty() {
        headers.push(("upload-metadata", upload.metadata.clone()));
    }
    Ok(answer(StatusCode::OK, headers))
}

pub(super) async fn patch(depot: &Depot, id: &str, request: Request) -> Result<Response, Problem> {
    let headers = request.headers();
    check_version(headers)?;
    if !is_patch_body(headers) {
        return Err(Problem::new(415, "wrong_type", "the body has the wrong content type", format!("send Content-Type: {PATCH_TYPE}")));
    }
    let offset = number(headers, "upload-offset")?;
    let checksum = checksum(headers)?;
    find(depot, id).await?;
    let hold = hold(depot, id)?;
    // Asked again now that nobody else writes.
    let upload = find(depot, id).await?;
    if offset != upload.offset {
        return Err(Problem::new(
            409,
            "wrong_offset",
            format!("the body begins at byte {offset}, the upload stands at byte {}", upload.offset),
            "go on from the offset that a HEAD request tells",
        )
        .header(HeaderName::from_static("upload-offset"), upload.offset.to_string())
        .with("upload_offset", upload.offset));
    }
    let declared = headers.get(header::CONTENT_LENGTH).and_then(|value| value.to_str().ok()?.parse::<u64>().ok());
    if declared.is_some_and(|bytes| bytes > upload.length - upload.offset) {
        return Err(Problem::new(
            413,
            "longer_than_declared",
            format!("the body goes beyond the {} bytes that were declared", upload.length),
            "declare the whole length when the upload is made",
        ));
    }
    let upload = if upload.state == UploadState::Stored {
        upload
    } else {
        receive(depot.clone(), hold, upload, request.into_body(), checksum).await?
    };
    Ok(answer(StatusCode::NO_CONTENT, standing(&upload)))
}

pub(super) async fn delete(depot: &Depot, id: &str, headers: &HeaderMap) -> Result<Response, Problem> {
    check_version(headers)?;
    find(depot, id).await?;
    let _hold = hold(depot, id)?;
    // The bytes first: on a disk without a byte left the row cannot be written before they are gone, and a device that gives its
    // upload up must be able to make room. A row that outlives its bytes is found out (`staging_lost`) when it is continued.
    // A photo that is on the shelf already is part of the record and stays there.
    let (shelf, name) = (depot.shelf().clone(), id.to_owned());
    super::super::on_disk(move || shelf.forget(&name)).await?;
    depot.archive().drop_upload(id.to_owned()).await?;
    Ok(answer(StatusCode::NO_CONTENT, Vec::new()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn metadata_of_the_protocol_text_is_read() {
        // READ: tus-resumable-upload-protocol, protocol.md at 30698e17: "filename d29ybGRfZG9taW5hdGlvbl9wbGFuLnBkZg==,is_confidential".
        assert_eq!(metadata("filename d29ybGRfZG9taW5hdGlvbl9wbGFuLnBkZg==,is_confidential").unwrap(), Metadata::default());
        assert_eq!(STANDARD.decode("d29ybGRfZG9taW5hdGlvbl9wbGFuLnBkZg==").unwrap(), b"world_domination_plan.pdf");
    }

    #[test]
    fn metadata_that_breaks_the_rules_is_refused() {
        for text in ["sha256 !!", "a YQ==,a YQ==", "sha256 YQ==", "upload_id Li4vLi4=", "upload_id /w=="] {
            assert_eq!(metadata(text).unwrap_err().code(), "bad_metadata", "{text}");
        }
    }

    #[test]
    fn checksum_of_the_protocol_text_is_read() {
        // READ: the same document; the digest is SHA-1 of "hello world".
        let mut headers = HeaderMap::new();
        headers.insert("upload-checksum", "sha1 Kq5sNclPz7QV2+lfQIuc6R7oRu0=".parse().unwrap());
        let expected: [u8; 20] = {
            use sha1::Digest as _;
            sha1::Sha1::digest(b"hello world").into()
        };
        assert_eq!(checksum(&headers).unwrap(), Some(Checksum::Sha1(expected)));
        for bad in ["md5 YQ==", "sha1", "sha1 YQ==", "sha256 Kq5sNclPz7QV2+lfQIuc6R7oRu0="] {
            headers.insert("upload-checksum", bad.parse().unwrap());
            assert_eq!(checksum(&headers).unwrap_err().code(), "bad_checksum", "{bad}");
        }
    }
}
