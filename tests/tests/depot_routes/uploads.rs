//! tus 1.0.0. READ: GitHub tus/tus-resumable-upload-protocol, protocol.md at commit 30698e17; a test that follows an
//! example of that text says so.

use std::time::Duration;

use axum::body::{Body, Bytes};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use chrono::{DateTime, TimeDelta, Utc};
use gritbook_core::ids::Sha256Hex;
use gritbook_depot::server::Settings;
use gritbook_system_tests::depot::{Reply, TestDepot, metadata, now, photo_like};
use sha2::Digest as _;

const PATCH_TYPE: &str = "application/offset+octet-stream";

fn photo_file(depot: &TestDepot, bytes: &[u8], ending: &str) -> std::path::PathBuf {
    depot.folder.path().join("photos").join(format!("{}.{ending}", Sha256Hex::of(bytes)))
}

fn nothing_staged(depot: &TestDepot) -> bool {
    std::fs::read_dir(depot.folder.path().join("incoming")).unwrap().next().is_none()
}

#[tokio::test]
async fn options_tell_version_extensions_limit_and_checksums() {
    let depot = TestDepot::new().await;
    // No Tus-Resumable is needed here.
    let reply = depot.send(depot.ask("OPTIONS", "/v1/photos").body(Body::empty()).unwrap()).await;
    assert_eq!((reply.status, reply.header("tus-version")), (204, "1.0.0"));
    assert_eq!(reply.header("tus-extension"), "creation,creation-with-upload,checksum,expiration,termination");
    assert_eq!(reply.header("tus-max-size"), "67108864");
    assert_eq!(reply.header("tus-checksum-algorithm"), "sha1,sha256");
    assert_eq!(reply.header("tus-resumable"), "1.0.0");
}

#[tokio::test]
async fn example_of_the_text_from_70_of_100_to_the_end() {
    let depot = TestDepot::new().await;
    let photo = photo_like(100, 1);
    let at = depot.create(100, &metadata(&photo, "a")).await;
    let reply = depot.patch(&at, 0, photo[..70].to_vec()).await;
    assert_eq!((reply.status, reply.header("upload-offset")), (204, "70"));
    let reply = depot.head(&at).await;
    assert_eq!((reply.status, reply.header("upload-offset"), reply.header("upload-length")), (200, "70", "100"));
    assert_eq!((reply.header("cache-control"), reply.header("tus-resumable")), ("no-store", "1.0.0"));
    assert_eq!(reply.header("upload-metadata"), metadata(&photo, "a"));
    assert!(!photo_file(&depot, &photo, "jpg").exists());
    let reply = depot.patch(&at, 70, photo[70..].to_vec()).await;
    assert_eq!((reply.status, reply.header("upload-offset")), (204, "100"));
    assert_eq!(std::fs::read(photo_file(&depot, &photo, "jpg")).unwrap(), photo);
    assert!(nothing_staged(&depot));
    assert_eq!(depot.head(&at).await.header("upload-offset"), "100");
}

#[tokio::test]
async fn wrong_offset_is_409_and_changes_nothing() {
    let depot = TestDepot::new().await;
    let photo = photo_like(100, 2);
    let at = depot.create(100, &metadata(&photo, "a")).await;
    depot.patch(&at, 0, photo[..70].to_vec()).await;
    for offset in [0, 69, 71, 100] {
        let reply = depot.patch(&at, offset, vec![0; 10]).await;
        assert_eq!((reply.status, reply.problem().as_str(), reply.header("upload-offset")), (409, "wrong_offset", "70"));
    }
    assert_eq!(depot.head(&at).await.header("upload-offset"), "70");
}

#[tokio::test]
async fn wrong_type_415_wrong_version_412_bad_numbers_400() {
    let depot = TestDepot::new().await;
    let at = depot.create(10, &metadata(b"0123456789", "a")).await;
    let reply =
        depot.send(depot.tus("PATCH", &at).header("upload-offset", 0).header("content-type", "image/jpeg").body("0".into()).unwrap()).await;
    assert_eq!((reply.status, reply.problem().as_str()), (415, "wrong_type"));
    let reply = depot.send(depot.tus("PATCH", &at).header("upload-offset", 0).body("0".into()).unwrap()).await;
    assert_eq!(reply.status, 415);
    for version in ["0.2.2", "1.0.1", ""] {
        for (method, path) in [("PATCH", at.as_str()), ("HEAD", &at), ("DELETE", &at), ("POST", "/v1/photos")] {
            let request = depot.ask(method, path).header("tus-resumable", version).header("content-type", PATCH_TYPE);
            let reply = depot.send(request.header("upload-offset", 0).header("upload-length", 1).body(Body::empty()).unwrap()).await;
            assert_eq!((reply.status, reply.header("tus-version")), (412, "1.0.0"), "{method}");
        }
    }
    for offset in ["", "-1", "+0", "x", "1.0", "99999999999999999999999"] {
        let request = depot.tus("PATCH", &at).header("upload-offset", offset).header("content-type", PATCH_TYPE);
        assert_eq!(depot.send(request.body("0".into()).unwrap()).await.problem(), "bad_header", "{offset}");
    }
    for length in ["", "-1", "x"] {
        let reply = depot.send(depot.tus("POST", "/v1/photos").header("upload-length", length).body(Body::empty()).unwrap()).await;
        assert_eq!((reply.status, reply.problem().as_str()), (400, "bad_header"), "{length}");
    }
    let reply = depot.send(depot.tus("POST", "/v1/photos").header("upload-defer-length", 1).body(Body::empty()).unwrap()).await;
    assert_eq!((reply.status, reply.problem().as_str()), (400, "not_offered"));
    let reply = depot
        .send(
            depot
                .tus("POST", "/v1/photos")
                .header("upload-length", 1)
                .header("upload-metadata", "sha256 YQ==")
                .body(Body::empty())
                .unwrap(),
        )
        .await;
    assert_eq!((reply.status, reply.problem().as_str()), (400, "bad_metadata"));
}

#[tokio::test]
async fn photo_above_64_mb_is_413_before_a_byte_is_sent() {
    let depot = TestDepot::new().await;
    let create = |length: u64| depot.tus("POST", "/v1/photos").header("upload-length", length).body(Body::empty()).unwrap();
    assert_eq!(depot.send(create(64 * 1024 * 1024)).await.status, 201);
    let reply = depot.send(create(64 * 1024 * 1024 + 1)).await;
    assert_eq!((reply.status, reply.problem().as_str()), (413, "too_large"));
    assert_eq!(reply.json()["limit_bytes"], 64 * 1024 * 1024);
}

#[tokio::test]
async fn body_beyond_the_declared_length_is_413_and_does_not_count() {
    let depot = TestDepot::new().await;
    let photo = photo_like(100, 3);
    let at = depot.create(100, &metadata(&photo, "a")).await;
    depot.patch(&at, 0, photo[..40].to_vec()).await;
    let mut longer = photo[40..].to_vec();
    longer.extend([0; 30]);
    for sized in [true, false] {
        let mut request = depot.tus("PATCH", &at).header("upload-offset", 40).header("content-type", PATCH_TYPE);
        if sized {
            request = request.header("content-length", longer.len());
        }
        let reply = depot.send(request.body(longer.clone().into()).unwrap()).await;
        assert_eq!((reply.status, reply.problem().as_str()), (413, "longer_than_declared"));
        assert_eq!(depot.head(&at).await.header("upload-offset"), "40");
    }
    assert_eq!(depot.patch(&at, 40, photo[40..].to_vec()).await.status, 204);
}

#[tokio::test]
async fn checksum_of_the_text_fits_hello_world_and_a_changed_chunk_is_discarded() {
    let depot = TestDepot::new().await;
    let at = depot.create(22, "").await;
    let patch = |offset: u64, checksum: &str, body: &'static str| {
        let request = depot.tus("PATCH", &at).header("upload-offset", offset).header("content-type", PATCH_TYPE);
        request.header("upload-checksum", checksum).body(body.into()).unwrap()
    };
    // READ: protocol.md, "Upload-Checksum: sha1 Kq5sNclPz7QV2+lfQIuc6R7oRu0=", the digest of "hello world".
    let sha1 = "sha1 Kq5sNclPz7QV2+lfQIuc6R7oRu0=";
    let reply = depot.send(patch(0, sha1, "hello w0rld")).await;
    assert_eq!((reply.status, reply.problem().as_str()), (460, "checksum_mismatch"));
    assert!(!String::from_utf8_lossy(&reply.body).contains(&STANDARD.encode(sha2::Sha256::digest(b"hello w0rld"))));
    assert_eq!(depot.head(&at).await.header("upload-offset"), "0");
    assert_eq!(depot.send(patch(0, sha1, "hello world")).await.status, 204);
    let sha256 = format!("sha256 {}", STANDARD.encode(sha2::Sha256::digest(b"HELLO WORLD")));
    assert_eq!(depot.send(patch(11, &sha256, "HELLO W0RLD")).await.status, 460);
    assert_eq!(depot.head(&at).await.header("upload-offset"), "11");
    for bad in ["md5 XrY7u+Ae7tCTyyK7j1rNww==", "sha1", "sha1 !", "sha256 Kq5sNclPz7QV2+lfQIuc6R7oRu0="] {
        let reply = depot.send(patch(11, bad, "HELLO WORLD")).await;
        assert_eq!((reply.status, reply.problem().as_str()), (400, "bad_checksum"), "{bad}");
    }
    assert_eq!(depot.send(patch(11, &sha256, "HELLO WORLD")).await.status, 204);
    // No hash was declared: the photo is found under its own.
    let name = Sha256Hex::of(b"hello worldHELLO WORLD");
    assert_eq!(depot.get(&format!("/v1/photos/{name}")).await.text(), "hello worldHELLO WORLD");
}

#[tokio::test]
async fn changed_chunk_larger_than_a_settling_step_is_discarded_whole() {
    let depot = TestDepot::new().await;
    let photo = photo_like(3_000_000, 4);
    let at = depot.create(photo.len(), &metadata(&photo, "a")).await;
    depot.patch(&at, 0, photo[..1000].to_vec()).await;
    let mut changed = photo[1000..].to_vec();
    changed[2_000_000] ^= 1;
    let sha1 = format!("sha256 {}", STANDARD.encode(sha2::Sha256::digest(&photo[1000..])));
    let patch = |body: Vec<u8>| {
        let request = depot.tus("PATCH", &at).header("upload-offset", 1000).header("content-type", PATCH_TYPE);
        request.header("upload-checksum", &sha1).body(body.into()).unwrap()
    };
    assert_eq!(depot.send(patch(changed)).await.status, 460);
    assert_eq!(depot.head(&at).await.header("upload-offset"), "1000");
    assert_eq!(depot.send(patch(photo[1000..].to_vec())).await.status, 204);
    assert_eq!(std::fs::read(photo_file(&depot, &photo, "jpg")).unwrap(), photo);
}

#[tokio::test]
async fn photo_that_is_not_the_declared_one_is_refused_and_deleted() {
    let depot = TestDepot::new().await;
    let photo = photo_like(5000, 5);
    let mut changed = photo.clone();
    changed[3000] ^= 1;
    let at = depot.create(5000, &metadata(&photo, "a")).await;
    let reply = depot.patch(&at, 0, changed.clone()).await;
    assert_eq!((reply.status, reply.problem().as_str()), (460, "photo_mismatch"));
    assert_eq!(depot.head(&at).await.status, 410);
    assert!(nothing_staged(&depot));
    assert!(!photo_file(&depot, &photo, "jpg").exists() && !photo_file(&depot, &changed, "jpg").exists());
    // The same upload can be started again.
    assert_eq!(depot.create(5000, &metadata(&photo, "a")).await, at);
    assert_eq!(depot.patch(&at, 0, photo.clone()).await.status, 204);
}

#[tokio::test]
async fn creation_repeated_is_the_same_upload_and_a_different_one_is_409() {
    let depot = TestDepot::new().await;
    let photo = photo_like(100, 6);
    let at = depot.create(100, &metadata(&photo, "mine")).await;
    depot.patch(&at, 0, photo[..30].to_vec()).await;
    let create = |length: usize, text: String| {
        depot.tus("POST", "/v1/photos").header("upload-length", length).header("upload-metadata", text).body(Body::empty()).unwrap()
    };
    let reply = depot.send(create(100, metadata(&photo, "mine"))).await;
    assert_eq!((reply.status, reply.header("location"), reply.header("upload-offset")), (201, at.as_str(), "30"));
    for (length, bytes) in [(101, photo.clone()), (100, photo_like(100, 7))] {
        let reply = depot.send(create(length, metadata(&bytes, "mine"))).await;
        assert_eq!((reply.status, reply.problem().as_str()), (409, "upload_id_taken"));
    }
    assert_eq!(depot.head(&at).await.header("upload-offset"), "30");
}

#[tokio::test]
async fn photo_that_is_here_already_is_complete_at_once() {
    let depot = TestDepot::new().await;
    let photo = photo_like(2000, 8);
    let at = depot.create(2000, &metadata(&photo, "first")).await;
    depot.patch(&at, 0, photo.clone()).await;
    let request = depot.tus("POST", "/v1/photos").header("upload-length", 2000).header("upload-metadata", metadata(&photo, "second"));
    let reply = depot.send(request.body(Body::empty()).unwrap()).await;
    assert_eq!((reply.status, reply.header("upload-offset")), (201, "2000"));
    assert_ne!(reply.header("location"), at);
    assert_eq!(depot.head(reply.header("location")).await.header("upload-offset"), "2000");
    // A client that sends from the start all the same learns where it stands, and an empty rest is fine.
    assert_eq!(depot.patch(reply.header("location"), 0, photo.clone()).await.status, 409);
    assert_eq!(depot.patch(reply.header("location"), 2000, Body::empty()).await.status, 204);
    assert!(nothing_staged(&depot));
}

#[tokio::test]
async fn creation_with_the_whole_or_a_part_of_the_photo() {
    let depot = TestDepot::new().await;
    let photo = photo_like(100, 9);
    let create = |id: &str, body: Vec<u8>| {
        let request = depot.tus("POST", "/v1/photos").header("upload-length", 100).header("upload-metadata", metadata(&photo, id));
        request.header("content-type", PATCH_TYPE).body(body.into()).unwrap()
    };
    let reply = depot.send(create("part", photo[..60].to_vec())).await;
    assert_eq!((reply.status, reply.header("upload-offset")), (201, "60"));
    assert!(!reply.header("upload-expires").is_empty());
    // Sent again: the bytes are not taken twice.
    let again = depot.send(create("part", photo[..60].to_vec())).await;
    assert_eq!((again.status, again.header("upload-offset")), (201, "60"));
    assert_eq!(depot.patch(reply.header("location"), 60, photo[60..].to_vec()).await.status, 204);
    let other = photo_like(100, 10);
    let request = depot.tus("POST", "/v1/photos").header("upload-length", 100).header("upload-metadata", metadata(&other, "whole"));
    let reply = depot.send(request.header("content-type", PATCH_TYPE).body(other.clone().into()).unwrap()).await;
    assert_eq!((reply.status, reply.header("upload-offset"), reply.header("upload-expires")), (201, "100", ""));
    assert_eq!(std::fs::read(photo_file(&depot, &other, "jpg")).unwrap(), other);
}

#[tokio::test]
async fn cut_body_keeps_what_came() {
    let depot = TestDepot::new().await;
    let photo = photo_like(600_000, 11);
    let at = depot.create(photo.len(), &metadata(&photo, "a")).await;
    let mut kept = 0;
    for cut_after in [1, 70_000, 300_000] {
        let reply = depot.patch(&at, kept, broken(&photo[kept as usize..kept as usize + cut_after])).await;
        assert_eq!((reply.status, reply.problem().as_str()), (408, "cut_off"));
        kept += cut_after as u64;
        assert_eq!(depot.head(&at).await.header("upload-offset"), kept.to_string());
    }
    assert_eq!(depot.patch(&at, kept, photo[kept as usize..].to_vec()).await.status, 204);
    assert_eq!(std::fs::read(photo_file(&depot, &photo, "jpg")).unwrap(), photo);
}

/// A body that breaks off with an error after these bytes.
fn broken(bytes: &[u8]) -> Body {
    let (sender, body) = channel_body();
    sender.try_send(Ok(Bytes::copy_from_slice(bytes))).unwrap();
    sender.try_send(Err(std::io::Error::other("cut"))).unwrap();
    body
}

type Sender = tokio::sync::mpsc::Sender<std::io::Result<Bytes>>;

/// A body that a test feeds as it likes.
fn channel_body() -> (Sender, Body) {
    struct Fed(tokio::sync::mpsc::Receiver<std::io::Result<Bytes>>);
    impl axum::body::HttpBody for Fed {
        type Data = Bytes;
        type Error = std::io::Error;
        fn poll_frame(
            mut self: std::pin::Pin<&mut Self>,
            context: &mut std::task::Context<'_>,
        ) -> std::task::Poll<Option<std::io::Result<http_body::Frame<Bytes>>>> {
            self.0.poll_recv(context).map(|next| next.map(|bytes| bytes.map(http_body::Frame::data)))
        }
    }
    let (sender, receiver) = tokio::sync::mpsc::channel(8);
    (sender, Body::new(Fed(receiver)))
}

#[tokio::test]
async fn second_writer_is_423_and_the_first_lets_go_with_its_bytes_kept() {
    let depot = std::sync::Arc::new(TestDepot::new().await);
    let photo = photo_like(100, 12);
    let at = depot.create(100, &metadata(&photo, "a")).await;
    let (sender, body) = channel_body();
    sender.send(Ok(Bytes::copy_from_slice(&photo[..10]))).await.unwrap();
    let first = tokio::spawn({
        let (depot, at) = (std::sync::Arc::clone(&depot), at.clone());
        async move { depot.patch(&at, 0, body).await }
    });
    // The first body is silent, as over a dead connection; wait until its request has the upload.
    while !depot.folder.path().join("incoming").join("a.part").exists() {
        tokio::task::yield_now().await;
    }
    let reply = depot.patch(&at, 0, photo.clone()).await;
    assert_eq!((reply.status, reply.problem().as_str(), reply.header("retry-after")), (423, "upload_busy", "1"));
    let first: Reply = first.await.unwrap();
    assert_eq!((first.status, first.problem().as_str()), (423, "upload_busy"));
    let offset: u64 = depot.head(&at).await.header("upload-offset").parse().unwrap();
    assert!(offset == 0 || offset == 10);
    assert_eq!(depot.patch(&at, offset, photo[offset as usize..].to_vec()).await.status, 204);
}

#[tokio::test]
async fn question_where_an_upload_stands_counts_what_came_over_a_connection_that_is_dead() {
    for again in ["head", "create"] {
        let depot = std::sync::Arc::new(TestDepot::new().await);
        let photo = photo_like(100, 14);
        let named = metadata(&photo, "a");
        let at = depot.create(100, &named).await;
        let (sender, body) = channel_body();
        sender.send(Ok(Bytes::copy_from_slice(&photo[..10]))).await.unwrap();
        let first = tokio::spawn({
            let (depot, at) = (std::sync::Arc::clone(&depot), at.clone());
            async move {
                // With a checksum nothing is noted half-way.
                let request = depot.tus("PATCH", &at).header("upload-offset", 0).header("content-type", "application/offset+octet-stream");
                depot.send(request.header("upload-checksum", "sha1 Kq5sNclPz7QV2+lfQIuc6R7oRu0=").body(body).unwrap()).await
            }
        });
        while !depot.folder.path().join("incoming").join("a.part").exists() {
            tokio::task::yield_now().await;
        }
        // The bytes are taken up before the question comes, which is what this is about.
        tokio::time::sleep(Duration::from_millis(50)).await;
        let reply = if again == "head" {
            depot.head(&at).await
        } else {
            let request = depot.tus("POST", "/v1/photos").header("upload-length", 100).header("upload-metadata", &named);
            depot.send(request.body(Body::empty()).unwrap()).await
        };
        assert_eq!(reply.header("upload-offset"), "10", "{again}");
        assert_eq!(depot.patch(&at, 10, photo[10..].to_vec()).await.status, 204, "{again}");
        assert_eq!(first.await.unwrap().status, 423, "{again}");
    }
}

#[tokio::test]
async fn silent_body_is_408_and_keeps_what_came() {
    let depot = TestDepot::with(Settings { body_idle: Duration::from_millis(50), ..Settings::default() }).await;
    let photo = photo_like(100, 13);
    let at = depot.create(100, &metadata(&photo, "a")).await;
    let (sender, body) = channel_body();
    sender.send(Ok(Bytes::copy_from_slice(&photo[..10]))).await.unwrap();
    let reply = depot.patch(&at, 0, body).await;
    assert_eq!((reply.status, reply.problem().as_str()), (408, "silent"));
    assert_eq!(depot.head(&at).await.header("upload-offset"), "10");
}

#[tokio::test]
async fn stopping_depot_saves_what_came() {
    let depot = TestDepot::new().await;
    let photo = photo_like(100, 14);
    let at = depot.create(100, &metadata(&photo, "a")).await;
    let (sender, body) = channel_body();
    sender.send(Ok(Bytes::copy_from_slice(&photo[..10]))).await.unwrap();
    let patch = depot.patch(&at, 0, body);
    let stop = async {
        tokio::time::sleep(Duration::from_millis(100)).await;
        depot.depot.stop();
    };
    let (reply, ()) = tokio::join!(patch, stop);
    assert_eq!((reply.status, reply.problem().as_str()), (503, "stopping"));
    assert_eq!(depot.head(&at).await.header("upload-offset"), "10");
}

#[tokio::test]
async fn method_override_stands_for_patch_delete_and_head() {
    let depot = TestDepot::new().await;
    let photo = photo_like(100, 15);
    let at = depot.create(100, &metadata(&photo, "a")).await;
    let post = |method: &str| depot.tus("POST", &at).header("x-http-method-override", method);
    let request = post("PATCH").header("upload-offset", 0).header("content-type", PATCH_TYPE).body(photo[..50].to_vec().into()).unwrap();
    assert_eq!(depot.send(request).await.header("upload-offset"), "50");
    assert_eq!(depot.send(post("HEAD").body(Body::empty()).unwrap()).await.header("upload-offset"), "50");
    let reply = depot.send(post("BREW").body(Body::empty()).unwrap()).await;
    assert_eq!((reply.status, reply.problem().as_str()), (400, "bad_header"));
    assert_eq!(depot.send(post("DELETE").body(Body::empty()).unwrap()).await.status, 204);
    assert_eq!(depot.head(&at).await.status, 410);
}

#[tokio::test]
async fn ended_upload_is_410_an_unknown_one_404_and_a_stored_photo_outlives_its_upload() {
    let depot = TestDepot::new().await;
    let photo = photo_like(100, 16);
    let delete = |at: &str| depot.tus("DELETE", at).body(Body::empty()).unwrap();
    let at = depot.create(100, &metadata(&photo, "a")).await;
    depot.patch(&at, 0, photo[..50].to_vec()).await;
    assert_eq!(depot.send(delete(&at)).await.status, 204);
    assert!(nothing_staged(&depot));
    assert_eq!(depot.send(delete(&at)).await.problem(), "upload_gone");
    assert_eq!(depot.patch(&at, 50, photo[50..].to_vec()).await.status, 410);
    for unknown in ["/v1/photos/nobody", "/v1/photos/..%2f..%2fdepot.sqlite", "/v1/photos/%ff", "/v1/photos/%00"] {
        assert_eq!(depot.patch(unknown, 0, "a").await.status, 404, "{unknown}");
        assert_eq!(depot.head(unknown).await.status, 404, "{unknown}");
    }
    let at = depot.create(100, &metadata(&photo, "b")).await;
    depot.patch(&at, 0, photo.clone()).await;
    assert_eq!(depot.send(delete(&at)).await.status, 204);
    assert_eq!(depot.get(&format!("/v1/photos/{}", Sha256Hex::of(&photo))).await.body, photo);
}

#[tokio::test]
async fn upload_that_nobody_continues_expires_and_can_be_started_again() {
    use std::sync::atomic::{AtomicI64, Ordering};
    static DAYS: AtomicI64 = AtomicI64::new(0);
    fn clock() -> DateTime<Utc> {
        now() + TimeDelta::days(DAYS.load(Ordering::SeqCst))
    }
    let depot = TestDepot::with(Settings { now: clock, ..Settings::default() }).await;
    let photo = photo_like(100, 17);
    let at = depot.create(100, &metadata(&photo, "a")).await;
    let reply = depot.patch(&at, 0, photo[..50].to_vec()).await;
    // 2026-09-21T14:13:20Z and 14 days; the form is RFC 9110's.
    assert_eq!(reply.header("upload-expires"), "Mon, 05 Oct 2026 14:13:20 GMT");
    DAYS.store(10, Ordering::SeqCst);
    assert_eq!(depot.patch(&at, 50, photo[50..60].to_vec()).await.header("upload-expires"), "Thu, 15 Oct 2026 14:13:20 GMT");
    DAYS.store(25, Ordering::SeqCst);
    assert_eq!(depot.head(&at).await.status, 410);
    depot.depot.sweep().await.unwrap();
    assert!(nothing_staged(&depot));
    assert_eq!(depot.create(100, &metadata(&photo, "a")).await, at);
    assert_eq!(depot.head(&at).await.header("upload-offset"), "0");
    assert_eq!(depot.patch(&at, 0, photo).await.status, 204);
}

#[tokio::test]
async fn upload_whose_bytes_cannot_be_removed_is_found_again_and_keeps_no_other() {
    use std::sync::atomic::{AtomicI64, Ordering};
    static DAYS: AtomicI64 = AtomicI64::new(0);
    fn clock() -> DateTime<Utc> {
        now() + TimeDelta::days(DAYS.load(Ordering::SeqCst))
    }
    let depot = TestDepot::with(Settings { now: clock, ..Settings::default() }).await;
    for name in ["a", "b"] {
        let photo = photo_like(100, 21);
        let at = depot.create(100, &metadata(&photo, name)).await;
        depot.patch(&at, 0, photo[..50].to_vec()).await;
    }
    // A folder in the place of the file cannot be removed as one.
    let stuck = depot.folder.path().join("incoming/a.part");
    std::fs::remove_file(&stuck).unwrap();
    std::fs::create_dir(&stuck).unwrap();
    DAYS.store(20, Ordering::SeqCst);
    assert!(depot.depot.sweep().await.is_err());
    assert!(!depot.folder.path().join("incoming/b.part").exists());
    std::fs::remove_dir(&stuck).unwrap();
    std::fs::write(&stuck, b"left over").unwrap();
    depot.depot.sweep().await.unwrap();
    assert!(nothing_staged(&depot), "bytes whose upload was noted as gone before they were removed would lie there for good");
}

#[tokio::test]
async fn crash_between_the_last_byte_and_the_shelf_is_made_good_when_asked() {
    let depot = TestDepot::new().await;
    let photo = photo_like(5000, 18);
    let at = depot.create(5000, &metadata(&photo, "a")).await;
    depot.patch(&at, 0, photo[..4000].to_vec()).await;
    // As a crash leaves it: all bytes synced and the offset noted, nothing checked yet.
    std::fs::write(depot.folder.path().join("incoming/a.part"), &photo).unwrap();
    depot.depot.archive().set_offset("a".into(), 5000, later()).await.unwrap();
    let reply = depot.head(&at).await;
    assert_eq!((reply.status, reply.header("upload-offset")), (200, "5000"));
    assert_eq!(std::fs::read(photo_file(&depot, &photo, "jpg")).unwrap(), photo);
    // As a crash one step later leaves it: renamed, but the row is not written.
    let other = photo_like(5000, 19);
    let at = depot.create(5000, &metadata(&other, "b")).await;
    std::fs::write(photo_file(&depot, &other, "jpg"), &other).unwrap();
    depot.depot.archive().set_offset("b".into(), 5000, later()).await.unwrap();
    assert_eq!(depot.head(&at).await.header("upload-offset"), "5000");
    assert_eq!(depot.get(&format!("/v1/photos/{}", Sha256Hex::of(&other))).await.body, other);
}

/// Far enough ahead that nothing expires.
fn later() -> DateTime<Utc> {
    DateTime::from_timestamp(4_000_000_000, 0).unwrap()
}

#[tokio::test]
async fn staged_bytes_that_vanished_are_told_and_the_upload_starts_again() {
    let depot = TestDepot::new().await;
    let photo = photo_like(100, 20);
    let at = depot.create(100, &metadata(&photo, "a")).await;
    depot.patch(&at, 0, photo[..60].to_vec()).await;
    std::fs::remove_file(depot.folder.path().join("incoming/a.part")).unwrap();
    let reply = depot.patch(&at, 60, photo[60..].to_vec()).await;
    assert_eq!((reply.status, reply.problem().as_str()), (410, "staging_lost"));
    assert_eq!(depot.create(100, &metadata(&photo, "a")).await, at);
    assert_eq!(depot.patch(&at, 0, photo).await.status, 204);
}

#[tokio::test]
async fn photo_room_used_up_is_507_and_nothing_is_half_stored() {
    let depot = TestDepot::with(Settings { photo_quota_bytes: Some(250), ..Settings::default() }).await;
    let photos = [21, 22, 23].map(|seed| photo_like(100, seed));
    let first = depot.create(100, &metadata(&photos[0], "a")).await;
    depot.patch(&first, 0, photos[0].clone()).await;
    let second = depot.create(100, &metadata(&photos[1], "b")).await;
    let request = depot.tus("POST", "/v1/photos").header("upload-length", 100).header("upload-metadata", metadata(&photos[2], "c"));
    let reply = depot.send(request.body(Body::empty()).unwrap()).await;
    assert_eq!((reply.status, reply.problem().as_str()), (507, "storage_full"));
    assert!(!reply.header("retry-after").is_empty());
    assert_eq!(depot.head("/v1/photos/c").await.status, 404);
    // What was promised still fits, and asking for it again is not refused.
    assert_eq!(depot.create(100, &metadata(&photos[1], "b")).await, second);
    assert_eq!(depot.patch(&second, 0, photos[1].clone()).await.status, 204);
}

#[tokio::test]
async fn empty_photo_is_stored_under_the_hash_of_nothing() {
    let depot = TestDepot::new().await;
    let at = depot.create(0, &metadata(b"", "a")).await;
    assert_eq!(depot.head(&at).await.header("upload-offset"), "0");
    let name = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855";
    assert_eq!(depot.get(&format!("/v1/photos/{name}")).await.status, 200);
}
