//! Entries and tokens.

use axum::body::{Body, Bytes};
use axum::http::Request;
use gritbook_core::ids::{DeviceId, PumpId, Sha256Hex};
use gritbook_core::wire::v1::{EntriesPage, VerdictOutcome, Verdicts};
use gritbook_depot::server::Settings;
use gritbook_system_tests::depot::{Reply, TestDepot, batch, box_check, entry, now};
use serde_json::json;

fn ids() -> (DeviceId, PumpId) {
    (DeviceId::new(now()), PumpId::new(now()))
}

fn verdicts(reply: &Reply) -> Vec<VerdictOutcome> {
    assert_eq!(reply.status, 200, "{}", reply.text());
    let verdicts: Verdicts = serde_json::from_slice(&reply.body).unwrap();
    assert_eq!(verdicts.schema, "gritbook.verdicts/1");
    verdicts.verdicts.into_iter().map(|verdict| verdict.outcome).collect()
}

fn codes(reply: &Reply) -> Vec<String> {
    let word = |outcome| match outcome {
        VerdictOutcome::Stored => "stored".to_owned(),
        VerdictOutcome::AlreadyThere => "already_there".to_owned(),
        VerdictOutcome::Refused { code, reason, advice } => {
            assert!(!reason.is_empty() && !advice.is_empty());
            code
        }
    };
    verdicts(reply).into_iter().map(word).collect()
}

async fn page(depot: &TestDepot, query: &str) -> EntriesPage {
    let reply = depot.get(&format!("/v1/entries{query}")).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    serde_json::from_slice(&reply.body).unwrap()
}

#[tokio::test]
async fn health_is_open_and_all_else_asks_for_a_token() {
    let depot = TestDepot::new().await;
    let plain = |method: &str, path: &str| Request::builder().method(method).uri(path).body(Body::empty()).unwrap();
    assert_eq!(depot.send(plain("GET", "/healthz")).await.status, 200);
    for (method, path) in [
        ("GET", "/v1/entries"),
        ("PUT", "/v1/entries"),
        ("OPTIONS", "/v1/photos"),
        ("POST", "/v1/photos"),
        ("HEAD", "/v1/photos/a"),
        ("PATCH", "/v1/photos/a"),
        ("DELETE", "/v1/photos/a"),
        ("GET", "/v1/photos/a"),
    ] {
        let reply = depot.send(plain(method, path)).await;
        assert_eq!(reply.status, 401, "{method} {path}");
        assert_eq!(reply.header("www-authenticate"), "Bearer realm=\"gritbook\"");
        if method != "HEAD" {
            assert_eq!(reply.problem(), "no_token");
        }
    }
}

#[tokio::test]
async fn unknown_and_revoked_tokens_have_codes_of_their_own() {
    let depot = TestDepot::new().await;
    let with = |token: &str| Request::get("/v1/entries").header("authorization", token).body(Body::empty()).unwrap();
    for token in ["Bearer nonsense", "Bearer "] {
        let reply = depot.send(with(token)).await;
        assert_eq!((reply.status, reply.problem().as_str()), (401, "unknown_token"));
        assert!(reply.header("www-authenticate").contains("invalid_token"));
    }
    assert_eq!(depot.send(with("Basic eDp5")).await.problem(), "no_token");
    assert_eq!(depot.send(with(&format!("bearer {}", depot.token))).await.status, 200);
    depot.depot.archive().revoke("test phone".into(), now()).await.unwrap();
    let reply = depot.get("/v1/entries").await;
    assert_eq!((reply.status, reply.problem().as_str()), (401, "token_revoked"));
}

#[tokio::test]
async fn batch_is_stored_verbatim_and_sent_again_is_already_there() {
    let depot = TestDepot::new().await;
    let (device, pump) = ids();
    let texts = [1, 2, 3].map(|seq| box_check(device, seq, pump, &[]));
    let reply = depot.put(batch(&texts)).await;
    assert_eq!(codes(&reply), ["stored", "stored", "stored"]);
    let found: Verdicts = serde_json::from_slice(&reply.body).unwrap();
    assert_eq!(found.verdicts[1].hash, Sha256Hex::of(texts[1].as_bytes()));
    assert!(found.verdicts[1].id.is_some());
    assert_eq!(codes(&depot.put(batch(&texts)).await), ["already_there"; 3]);
    assert_eq!(codes(&depot.put(batch(&[texts[0].clone(), texts[0].clone()])).await), ["already_there"; 2]);
    let page = page(&depot, "").await;
    assert_eq!(page.entries.iter().map(|text| text.get().to_owned()).collect::<Vec<_>>(), texts);
    assert!(!page.more);
}

#[tokio::test]
async fn refused_entries_do_not_hold_the_others_up() {
    let depot = TestDepot::new().await;
    let (device, pump) = ids();
    let good = box_check(device, 1, pump, &[]);
    let other_text = good.replace("120.5", "120.6");
    let newer = box_check(device, 2, pump, &[]).replace("gritbook.entry/1", "gritbook.entry/2");
    let no_device = box_check(device, 3, pump, &[]).replace("\"device\"", "\"devise\"");
    let surrogate = box_check(device, 4, pump, &[]).replace("Rosa", "\\ud800");
    let texts = [good, other_text, newer, no_device, "5".into(), "[]".into(), surrogate, box_check(device, 5, pump, &[])];
    let reply = depot.put(batch(&texts)).await;
    let expected = ["stored", "id_taken", "wrong_schema", "unreadable", "unreadable", "unreadable", "unreadable", "stored"];
    assert_eq!(codes(&reply), expected);
    let found: Verdicts = serde_json::from_slice(&reply.body).unwrap();
    assert!(found.verdicts[2].id.is_some() && found.verdicts[4].id.is_none());
    assert_eq!(page(&depot, "").await.entries.len(), 2);
}

#[tokio::test]
async fn entry_of_a_kind_that_the_depot_does_not_know_is_kept() {
    let depot = TestDepot::new().await;
    let (device, pump) = ids();
    let text = entry(device, 1, pump, "weighed_in", &json!({ "kg": 3 }));
    assert_eq!(codes(&depot.put(batch(std::slice::from_ref(&text))).await), ["stored"]);
    assert_eq!(page(&depot, "").await.entries[0].get(), text);
}

#[tokio::test]
async fn relayed_entry_is_taken_from_any_enrolled_device() {
    let depot = TestDepot::new().await;
    let pump = PumpId::new(now());
    let texts = [ids().0, ids().0].map(|device| box_check(device, 1, pump, &[]));
    assert_eq!(codes(&depot.put(batch(&texts)).await), ["stored", "stored"]);
}

#[tokio::test]
async fn what_is_no_batch_is_refused_as_a_whole() {
    let depot = TestDepot::new().await;
    for (body, code) in [
        (&b""[..], "not_json"),
        (b"{", "not_json"),
        (b"\xff\xfe", "not_json"),
        (b"{\"schema\":\"gritbook.entries/1\",\"entries\":[1,]}", "not_json"),
        (b"[]", "wrong_shape"),
        (b"{\"schema\":\"gritbook.entries/1\"}", "wrong_shape"),
        (b"{\"schema\":\"gritbook.entries/2\",\"entries\":[]}", "wrong_schema"),
    ] {
        let reply = depot.put(body).await;
        assert_eq!((reply.status, reply.problem().as_str()), (400, code), "{}", String::from_utf8_lossy(body));
    }
    assert_eq!(codes(&depot.put("{\"schema\":\"gritbook.entries/1\",\"entries\":[]}").await), [""; 0]);
}

#[tokio::test]
async fn batch_above_the_limits_is_413_and_tells_them() {
    let depot = TestDepot::with(Settings { max_batch_bytes: 4000, max_batch_entries: 3, ..Settings::default() }).await;
    let (device, pump) = ids();
    let texts: Vec<_> = (1..=4).map(|seq| box_check(device, seq, pump, &[])).collect();
    let reply = depot.put(batch(&texts)).await;
    assert_eq!((reply.status, reply.problem().as_str()), (413, "too_large"));
    assert_eq!(reply.json()["limit_entries"], 3);
    let padded = |length| format!("{}{}", batch(&texts[..1]), " ".repeat(length));
    // The length is declared.
    let reply = depot.send(depot.ask("PUT", "/v1/entries").header("content-length", 5000).body(padded(5000).into()).unwrap()).await;
    assert_eq!((reply.status, reply.header("gritbook-max-batch-bytes")), (413, "4000"));
    // The length shows only while it streams.
    let chunks = futures_like(padded(5000));
    assert_eq!(depot.put(chunks).await.status, 413);
    assert_eq!(page(&depot, "").await.entries.len(), 0);
    let reply = depot.put(batch(&texts[..3])).await;
    assert_eq!(codes(&reply), ["stored"; 3]);
    assert_eq!(reply.header("gritbook-max-batch-entries"), "3");
}

/// A body of unknown length.
fn futures_like(text: String) -> Body {
    let body = http_body_util::Full::new(Bytes::from(text));
    Body::new(http_body_util::combinators::UnsyncBoxBody::new(Unsized(body)))
}

/// Hides the length of a body.
struct Unsized(http_body_util::Full<Bytes>);

impl axum::body::HttpBody for Unsized {
    type Data = Bytes;
    type Error = std::convert::Infallible;

    fn poll_frame(
        mut self: std::pin::Pin<&mut Self>,
        context: &mut std::task::Context<'_>,
    ) -> std::task::Poll<Option<Result<http_body::Frame<Bytes>, Self::Error>>> {
        std::pin::Pin::new(&mut self.0).poll_frame(context)
    }
}

#[tokio::test]
async fn pages_walk_the_whole_order_without_a_gap() {
    let depot = TestDepot::new().await;
    let (device, pump) = ids();
    let texts: Vec<_> = (1..=25).map(|seq| box_check(device, seq, pump, &[])).collect();
    depot.put(batch(&texts)).await;
    let (mut cursor, mut seen) = (String::new(), Vec::new());
    loop {
        let page = page(&depot, &format!("?after={cursor}&limit=10")).await;
        seen.extend(page.entries.iter().map(|text| text.get().to_owned()));
        cursor = page.cursor;
        if !page.more {
            break;
        }
    }
    assert_eq!(seen, texts);
    let last = page(&depot, &format!("?after={cursor}")).await;
    assert_eq!((last.entries.len(), last.more, &last.cursor), (0, false, &cursor));
    for query in ["?after=x", "?after=-1", "?after=99999999999999999999"] {
        assert_eq!(depot.get(&format!("/v1/entries{query}")).await.problem(), "bad_cursor");
    }
    for query in ["?limit=0", "?limit=501", "?limit=x", "?limit="] {
        assert_eq!(depot.get(&format!("/v1/entries{query}")).await.problem(), "bad_limit");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn reader_beside_many_writers_misses_nothing() {
    let depot = std::sync::Arc::new(TestDepot::new().await);
    let pump = PumpId::new(now());
    let writers: Vec<_> = (0..8)
        .map(|_| {
            let depot = std::sync::Arc::clone(&depot);
            tokio::spawn(async move {
                let device = ids().0;
                for seq in 1..=10 {
                    assert_eq!(codes(&depot.put(batch(&[box_check(device, seq, pump, &[])])).await), ["stored"]);
                }
            })
        })
        .collect();
    let (mut cursor, mut seen) = (String::from("0"), Vec::new());
    while seen.len() < 80 {
        let page = page(&depot, &format!("?after={cursor}&limit=7")).await;
        seen.extend(page.entries.iter().map(|text| text.get().to_owned()));
        cursor = page.cursor;
    }
    for writer in writers {
        writer.await.unwrap();
    }
    let whole = page(&depot, "?limit=500").await;
    assert_eq!(seen, whole.entries.iter().map(|text| text.get().to_owned()).collect::<Vec<_>>());
}

#[tokio::test]
async fn unknown_addresses_and_methods_are_problems_too() {
    let depot = TestDepot::new().await;
    let reply = depot.get("/v2/entries").await;
    assert_eq!((reply.status, reply.problem().as_str()), (404, "no_such_address"));
    for (method, path) in
        [("DELETE", "/v1/entries"), ("PUT", "/v1/photos"), ("PUT", "/v1/photos/a"), ("POST", "/v1/photos/a"), ("POST", "/healthz")]
    {
        let reply = depot.send(depot.ask(method, path).body(Body::empty()).unwrap()).await;
        assert_eq!((reply.status, reply.problem().as_str()), (405, "method_not_allowed"), "{method} {path}");
        assert!(!reply.header("allow").is_empty(), "{method} {path}");
    }
}
