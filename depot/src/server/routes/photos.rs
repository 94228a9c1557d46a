//! `GET /v1/photos/{sha256}`: the photo, with its digest (RFC 9530), its tag, and single ranges (RFC 9110).

use std::ops::Range;

use axum::body::Body;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use gritbook_core::ids::Sha256Hex;
use sha2::{Digest as _, Sha256};

use super::super::archive::PhotoRow;
use super::super::shelf::{Shelf, file_error};
use super::super::{Depot, Problem};

/// Why a photo is not here: it was put away, or it never came.
pub(in super::super) async fn absent(depot: &Depot, sha256: Sha256Hex) -> Problem {
    match depot.archive().photos_known(vec![sha256]).await {
        Ok(known) if !known.put_away.is_empty() => {
            let advice = "the record goes on naming it; a backup from before may hold it";
            Problem::new(410, "photo_put_away", "this photo was put away: the depot keeps photos for a set time", advice)
        }
        Ok(_) => no_such_photo(),
        Err(error) => error.into(),
    }
}

fn no_such_photo() -> Problem {
    Problem::new(404, "no_such_photo", "the depot does not have this photo", "it may still be on its way from the device that took it")
}

/// One range of a photo: first byte and how many.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Part {
    first: u64,
    count: u64,
}

impl Part {
    fn range(self) -> Range<u64> {
        self.first..self.first + self.count
    }
}

#[derive(Debug, PartialEq, Eq)]
enum Asked {
    Whole,
    Part(Part),
    Outside,
}

/// Reads a `Range` header. What is not one range of bytes is ignored, as RFC 9110 section 14.2 allows.
fn asked(range: Option<&str>, length: u64) -> Asked {
    let Some((from, to)) = range.and_then(|range| range.strip_prefix("bytes=")).and_then(|range| range.trim().split_once('-')) else {
        return Asked::Whole;
    };
    let digits = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit()).then(|| text.parse::<u64>().unwrap_or(u64::MAX));
    let (Some(from_number), Some(to_number)) =
        (digits(if from.is_empty() { "0" } else { from }), digits(if to.is_empty() { "0" } else { to }))
    else {
        return Asked::Whole;
    };
    let (first, last) = match (from.is_empty(), to.is_empty()) {
        (true, true) => return Asked::Whole,
        (true, false) if to_number == 0 => return Asked::Outside,
        (true, false) => (length.saturating_sub(to_number), length.saturating_sub(1)),
        (false, true) => (from_number, length.saturating_sub(1)),
        (false, false) if to_number < from_number => return Asked::Whole,
        (false, false) => (from_number, to_number.min(length.saturating_sub(1))),
    };
    if first >= length { Asked::Outside } else { Asked::Part(Part { first, count: last - first + 1 }) }
}

fn digest_header(digest: &[u8]) -> String {
    format!("sha-256=:{}:", STANDARD.encode(digest))
}

pub(super) async fn get(depot: &Depot, id: &str, headers: &HeaderMap) -> Result<Response, Problem> {
    let sha256: Sha256Hex = id.parse().map_err(|_| no_such_photo())?;
    let Some(photo) = depot.archive().photo(sha256).await? else { return Err(absent(depot, sha256).await) };
    answer(depot.shelf(), &photo, headers).await
}

/// The answer with a stored photo, whole or in part.
pub(in super::super) async fn answer(shelf: &Shelf, photo: &PhotoRow, headers: &HeaderMap) -> Result<Response, Problem> {
    let tag = format!("\"{}\"", photo.sha256);
    let text = |name| headers.get(name).and_then(|value: &HeaderValue| value.to_str().ok());
    let common = [
        (header::ETAG, tag.clone()),
        (header::CACHE_CONTROL, "private, max-age=31536000, immutable".to_owned()),
        (header::ACCEPT_RANGES, "bytes".to_owned()),
        (header::HeaderName::from_static("repr-digest"), digest_header(photo.sha256.as_bytes())),
    ];
    let known = |list: &str| list.split(',').map(str::trim).any(|one| one == "*" || one.strip_prefix("W/").unwrap_or(one) == tag);
    if text(header::IF_NONE_MATCH).is_some_and(known) {
        return Ok((StatusCode::NOT_MODIFIED, common).into_response());
    }
    let range = text(header::RANGE).filter(|_| text(header::IF_RANGE).is_none_or(|one| one == tag));
    let (status, part) = match asked(range, photo.bytes) {
        Asked::Whole => (StatusCode::OK, Part { first: 0, count: photo.bytes }),
        Asked::Part(part) => (StatusCode::PARTIAL_CONTENT, part),
        Asked::Outside => {
            return Err(Problem::new(416, "outside_photo", format!("the photo has {} bytes", photo.bytes), "ask for a range inside it")
                .header(header::CONTENT_RANGE, format!("bytes */{}", photo.bytes)));
        }
    };
    let digest = if status == StatusCode::OK {
        digest_header(photo.sha256.as_bytes())
    } else {
        digest_header(&digest_of(shelf, photo, part).await?)
    };
    let mut response = (
        status,
        common,
        [
            (header::CONTENT_TYPE, photo.kind.media_type().to_owned()),
            (header::CONTENT_LENGTH, part.count.to_string()),
            (header::HeaderName::from_static("content-digest"), digest),
        ],
        Body::from_stream(shelf.photos().read(photo.clone(), part.range()).await?),
    )
        .into_response();
    if status == StatusCode::PARTIAL_CONTENT {
        let range = format!("bytes {}-{}/{}", part.first, part.first + part.count - 1, photo.bytes);
        if let Ok(range) = range.parse() {
            response.headers_mut().insert(header::CONTENT_RANGE, range);
        }
    }
    Ok(response)
}

async fn digest_of(shelf: &Shelf, photo: &PhotoRow, part: Part) -> Result<Vec<u8>, Problem> {
    let mut hasher = Sha256::new();
    let mut bytes = shelf.photos().read(photo.clone(), part.range()).await?;
    while let Some(some) = bytes.next().await {
        hasher.update(some.map_err(|cause| file_error("reading a photo", cause))?);
    }
    Ok(hasher.finalize().to_vec())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_are_read_as_rfc_9110_describes_them() {
        // RFC 9110 section 14.1.2 gives these for a representation of 10000 bytes.
        let part = |first, count| Asked::Part(Part { first, count });
        assert_eq!(asked(Some("bytes=0-499"), 10_000), part(0, 500));
        assert_eq!(asked(Some("bytes=500-999"), 10_000), part(500, 500));
        assert_eq!(asked(Some("bytes=-500"), 10_000), part(9_500, 500));
        assert_eq!(asked(Some("bytes=9500-"), 10_000), part(9_500, 500));
        assert_eq!(asked(Some("bytes=0-99999999999999999999"), 10_000), part(0, 10_000));
        assert_eq!(asked(Some("bytes=-99999"), 10_000), part(0, 10_000));
    }

    #[test]
    fn what_is_no_single_range_is_ignored_and_what_lies_outside_is_told() {
        for range in ["bytes=0-0,-1", "lines=1-2", "bytes=5-2", "bytes=-", "bytes=a-b", "bytes=+1-2", ""] {
            assert_eq!(asked(Some(range), 10_000), Asked::Whole, "{range}");
        }
        for range in ["bytes=10000-", "bytes=-0", "bytes=99999999999999999999-"] {
            assert_eq!(asked(Some(range), 10_000), Asked::Outside, "{range}");
        }
        assert_eq!(asked(Some("bytes=0-"), 0), Asked::Outside);
    }
}
