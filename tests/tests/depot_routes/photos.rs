//! `GET /v1/photos/{sha256}`.

use axum::body::Body;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use gritbook_core::ids::Sha256Hex;
use gritbook_system_tests::depot::{Reply, TestDepot, metadata, photo_like};

async fn stored(depot: &TestDepot, bytes: &[u8]) -> String {
    let at = depot.create(bytes.len(), &metadata(bytes, &Sha256Hex::of(bytes).to_string()[..20])).await;
    if !bytes.is_empty() {
        assert_eq!(depot.patch(&at, 0, bytes.to_vec()).await.status, 204);
    }
    format!("/v1/photos/{}", Sha256Hex::of(bytes))
}

async fn with(depot: &TestDepot, path: &str, name: &str, value: &str) -> Reply {
    depot.send(depot.ask("GET", path).header(name, value).body(Body::empty()).unwrap()).await
}

#[tokio::test]
async fn content_digest_is_that_of_rfc_9530() {
    // READ: RFC 9530 appendix B, {"hello": "world"} with and without a final line feed, the empty body, and the part
    // "world"} of the first; all four recomputed with an independent library.
    let depot = TestDepot::new().await;
    let with_feed = b"{\"hello\": \"world\"}\n";
    for (body, digest) in [
        (&with_feed[..], "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:"),
        (&with_feed[..18], "sha-256=:X48E9qOokqqrvdts8nOJRJN3OWDUoyWxBf7kbu9DBPE=:"),
        (b"", "sha-256=:47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=:"),
    ] {
        let path = stored(&depot, body).await;
        let reply = depot.get(&path).await;
        assert_eq!((reply.status, reply.header("content-digest"), reply.header("repr-digest")), (200, digest, digest));
        assert_eq!(reply.body, body);
    }
    let path = format!("/v1/photos/{}", Sha256Hex::of(with_feed));
    let reply = with(&depot, &path, "range", "bytes=10-").await;
    assert_eq!(reply.body, b"\"world\"}\n");
    assert_eq!(reply.header("content-digest"), "sha-256=:jjcgBDWNAtbYUXI37CVG3gRuGOAjaaDRGpIUFsdyepQ=:");
    assert_eq!(reply.header("repr-digest"), "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:");
}

#[tokio::test]
async fn single_ranges_are_served_and_others_ignored_or_refused() {
    let depot = TestDepot::new().await;
    let photo = photo_like(300_000, 1);
    let path = stored(&depot, &photo).await;
    for (range, first, last) in [
        ("bytes=0-0", 0, 0),
        ("bytes=100-250000", 100, 250_000),
        ("bytes=-1000", 299_000, 299_999),
        ("bytes=299999-400000", 299_999, 299_999),
    ] {
        let reply = with(&depot, &path, "range", range).await;
        assert_eq!(reply.status, 206, "{range}");
        assert_eq!(reply.header("content-range"), format!("bytes {first}-{last}/300000"));
        assert_eq!(reply.body, photo[first..=last]);
        assert_eq!(reply.header("content-length"), reply.body.len().to_string());
    }
    for range in ["bytes=0-1,5-6", "bytes=9-1", "grains=1-2", "bytes"] {
        let reply = with(&depot, &path, "range", range).await;
        assert_eq!((reply.status, reply.body.len()), (200, 300_000), "{range}");
    }
    let reply = with(&depot, &path, "range", "bytes=300000-").await;
    assert_eq!((reply.status, reply.header("content-range")), (416, "bytes */300000"));
    assert_eq!(reply.problem(), "outside_photo");
}

#[tokio::test]
async fn tag_answers_304_and_guards_ranges() {
    let depot = TestDepot::new().await;
    let photo = photo_like(1000, 2);
    let path = stored(&depot, &photo).await;
    let tag = format!("\"{}\"", Sha256Hex::of(&photo));
    assert_eq!(depot.get(&path).await.header("etag"), tag);
    for known in [tag.clone(), format!("\"x\", W/{tag}"), "*".into()] {
        let reply = with(&depot, &path, "if-none-match", &known).await;
        assert_eq!((reply.status, reply.body.len()), (304, 0), "{known}");
    }
    assert_eq!(with(&depot, &path, "if-none-match", "\"x\"").await.status, 200);
    let ranged = |tag: &str| depot.ask("GET", &path).header("range", "bytes=0-9").header("if-range", tag).body(Body::empty()).unwrap();
    assert_eq!(depot.send(ranged(&tag)).await.status, 206);
    assert_eq!(depot.send(ranged("\"x\"")).await.status, 200);
}

#[tokio::test]
async fn only_64_hexadecimal_digits_name_a_photo() {
    let depot = TestDepot::new().await;
    let photo = photo_like(1000, 3);
    let path = stored(&depot, &photo).await;
    std::fs::write(depot.folder.path().join("photos/secret"), "secret").unwrap();
    for name in ["secret", "..%2fdepot.sqlite", "%2e%2e", "%00", "%ff", &"0".repeat(64), &format!("{}.jpg", &path[11..])] {
        let reply = depot.get(&format!("/v1/photos/{name}")).await;
        assert_eq!((reply.status, reply.problem().as_str()), (404, "no_such_photo"), "{name}");
    }
    // Upper-case digits name the same photo.
    let upper = format!("/v1/photos/{}", path[11..].to_uppercase());
    assert_eq!(depot.get(&upper).await.body, photo);
    let head = depot.send(depot.ask("HEAD", &path).body(Body::empty()).unwrap()).await;
    assert_eq!((head.status, head.header("content-length")), (200, "1000"));
}

#[tokio::test]
async fn kind_follows_the_first_bytes_not_the_name() {
    let depot = TestDepot::new().await;
    let png = b"\x89PNG\r\n\x1a\n and more";
    let page = b"<script>alert(1)</script>";
    for (bytes, kind, ending) in
        [(&photo_like(99, 4)[..], "image/jpeg", "jpg"), (png, "image/png", "png"), (page, "application/octet-stream", "bin")]
    {
        let path = stored(&depot, bytes).await;
        let reply = depot.get(&path).await;
        assert_eq!((reply.header("content-type"), reply.header("x-content-type-options")), (kind, "nosniff"));
        assert!(depot.folder.path().join("photos").join(format!("{}.{ending}", Sha256Hex::of(bytes))).exists());
        assert_eq!(reply.header("content-digest"), format!("sha-256=:{}:", STANDARD.encode(Sha256Hex::of(bytes).as_bytes())));
    }
}
