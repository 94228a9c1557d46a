//! The requests of tus 1.0.0 and what is read from their answers.

use std::fs::File;
use std::io::{Read as _, Seek as _, SeekFrom};
use std::path::Path;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest as _, Sha256};

use super::transport::{Answer, Body, Method, Request};
use crate::error::CoreError;
use crate::store::fault::Tried as _;
use crate::store::queue::WaitingPhoto;
use crate::wire::v1::{PHOTOS_PATH, UPLOAD_META_ID, UPLOAD_META_SHA256, UPLOAD_META_TYPE};

fn header(name: &str, value: impl Into<String>) -> (String, String) {
    (name.to_owned(), value.into())
}

fn resumable() -> (String, String) {
    header("Tus-Resumable", "1.0.0")
}

/// `POST`: creation-with-upload of the first `count` bytes; of none, creation alone.
pub(super) fn create(waiting: &WaitingPhoto, path: &Path, count: u64, checksum: bool) -> Result<Request, CoreError> {
    let pair = |name: &str, value: &str| format!("{name} {}", STANDARD.encode(value));
    let metadata = [
        pair(UPLOAD_META_SHA256, &waiting.photo.id.to_string()),
        pair(UPLOAD_META_ID, &waiting.upload_id),
        pair(UPLOAD_META_TYPE, waiting.photo.format.media_type()),
    ]
    .join(",");
    let mut headers = vec![resumable(), header("Upload-Length", waiting.photo.bytes.to_string()), header("Upload-Metadata", metadata)];
    let body = if count == 0 {
        Body::Empty
    } else {
        headers.extend(chunk_headers(path, 0, count, checksum)?);
        file_part(path, 0, count)
    };
    Ok(Request { method: Method::Post, path: PHOTOS_PATH.to_owned(), headers, body })
}

/// `HEAD`: how much is there?
pub(super) fn ask(upload: &str) -> Request {
    Request { method: Method::Head, path: upload.to_owned(), headers: vec![resumable()], body: Body::Empty }
}

/// `PATCH`: `count` bytes from `offset`.
pub(super) fn chunk(upload: &str, path: &Path, offset: u64, count: u64, checksum: bool) -> Result<Request, CoreError> {
    let mut headers = vec![resumable(), header("Upload-Offset", offset.to_string())];
    headers.extend(chunk_headers(path, offset, count, checksum)?);
    Ok(Request { method: Method::Patch, path: upload.to_owned(), headers, body: file_part(path, offset, count) })
}

fn file_part(path: &Path, offset: u64, length: u64) -> Body {
    Body::File { path: path.to_owned(), offset, length }
}

fn chunk_headers(path: &Path, offset: u64, count: u64, checksum: bool) -> Result<Vec<(String, String)>, CoreError> {
    let mut headers = vec![header("Content-Type", "application/offset+octet-stream")];
    if checksum {
        let tried = "reading a photo";
        let mut file = File::open(path).tried(tried)?;
        file.seek(SeekFrom::Start(offset)).tried(tried)?;
        let mut bytes = Vec::new();
        file.take(count).read_to_end(&mut bytes).tried(tried)?;
        headers.push(header("Upload-Checksum", format!("sha256 {}", STANDARD.encode(Sha256::digest(&bytes)))));
    }
    Ok(headers)
}

/// `Upload-Offset` of an answer.
pub(super) fn offset(answer: &Answer) -> Option<u64> {
    answer.header("upload-offset").and_then(|text| text.trim().parse().ok())
}

/// `Location` of an answer as a path at the depot. Another host's is taken as a path all the same: the carrier sends
/// the token to the enrolled depot only.
pub(super) fn location(answer: &Answer) -> Option<String> {
    let text = answer.header("location")?.trim();
    let path = match text.split_once("://") {
        Some((_, rest)) => rest.find('/').and_then(|slash| rest.get(slash..))?,
        None => text,
    };
    let plain = path.starts_with('/') && !path.starts_with("//") && path.len() < 1024 && path.bytes().all(|byte| byte.is_ascii_graphic());
    plain.then(|| path.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn located(value: &str) -> Option<String> {
        location(&Answer { status: 201, headers: vec![("location".into(), value.into())], body: Vec::new() })
    }

    #[test]
    fn location_is_taken_as_a_path_whatever_its_host() {
        assert_eq!(located("/v1/photos/7").as_deref(), Some("/v1/photos/7"));
        assert_eq!(located("https://depot.example:8443/v1/photos/7?x=1").as_deref(), Some("/v1/photos/7?x=1"));
        assert_eq!(located("//evil.example/v1"), None);
        assert_eq!(located("photos/7"), None);
        assert_eq!(located("/v1/photos/7\r\nX: y"), None);
        assert_eq!(located("https://depot.example"), None);
    }
}
