//! Whatever comes in, the answer is never a fault of the depot's own.

use axum::body::Body;
use axum::http::{HeaderName, HeaderValue, Request};
use gritbook_core::ids::{DeviceId, PumpId};
use gritbook_system_tests::depot::{TestDepot, batch, box_check, now};
use proptest::prelude::*;
use std::sync::LazyLock;

static RUNTIME: LazyLock<tokio::runtime::Runtime> =
    LazyLock::new(|| tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap());
static DEPOT: LazyLock<TestDepot> = LazyLock::new(|| RUNTIME.block_on(TestDepot::new()));

fn status(request: Request<Body>) -> u16 {
    RUNTIME.block_on(DEPOT.send(request)).status
}

/// Header values that a client might send, right ones among them.
fn value() -> impl Strategy<Value = String> {
    prop_oneof![
        "[ -~]{0,40}",
        Just("1.0.0".to_owned()),
        Just("application/offset+octet-stream".to_owned()),
        Just("bytes=0-".to_owned()),
        Just("sha1 Kq5sNclPz7QV2+lfQIuc6R7oRu0=".to_owned()),
        "[0-9]{0,22}",
        "[a-z0-9]{1,8} [A-Za-z0-9+/=]{0,30}(,[a-z0-9_]{1,8} [A-Za-z0-9+/=]{0,30})?",
    ]
}

const NAMES: [&str; 12] = [
    "tus-resumable",
    "upload-offset",
    "upload-length",
    "upload-metadata",
    "upload-checksum",
    "content-type",
    "range",
    "if-none-match",
    "if-range",
    "x-http-method-override",
    "upload-defer-length",
    "host",
];

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn prop_random_bytes_as_a_batch_are_never_a_fault(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let status = status(DEPOT.ask("PUT", "/v1/entries").body(bytes.into()).unwrap());
        prop_assert!(status < 500, "{status}");
    }

    #[test]
    fn prop_damaged_batch_is_never_a_fault(at in 0_usize..700, byte in any::<u8>(), cut in 0_usize..900) {
        let (device, pump) = (DeviceId::new(now()), PumpId::new(now()));
        let mut bytes = batch(&[box_check(device, 1, pump, &[])]).into_bytes();
        if let Some(place) = bytes.get_mut(at) {
            *place = byte;
        }
        bytes.truncate(cut);
        let status = status(DEPOT.ask("PUT", "/v1/entries").body(bytes.into()).unwrap());
        prop_assert!(status == 200 || status == 400, "{status}");
    }

    #[test]
    fn prop_random_headers_are_never_a_fault(
        method in prop::sample::select(vec!["OPTIONS", "GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "BREW"]),
        path in prop_oneof![
            Just("/v1/photos".to_owned()), Just("/v1/photos/a".to_owned()), Just("/".to_owned()),
            "/v1/photos/[0-9a-f]{64}", "/v1/photos/[A-Za-z0-9_.%-]{1,70}".prop_filter("an address", |path| path.parse::<axum::http::Uri>().is_ok()),
            "/(thumbs|photos)/[A-Za-z0-9%]{1,70}", "/v1/entries\\?[a-z=&0-9%-]{0,30}",
        ],
        headers in prop::collection::vec((prop::sample::select(NAMES.to_vec()), value()), 0..8),
        tus in any::<bool>(),
        body in prop::collection::vec(any::<u8>(), 0..60),
    ) {
        let mut request = if tus { DEPOT.tus(method, &path) } else { DEPOT.ask(method, &path) };
        for (name, text) in headers {
            request = request.header(HeaderName::from_static(name), HeaderValue::from_str(&text).unwrap());
        }
        let status = status(request.body(body.into()).unwrap());
        prop_assert!(status < 500, "{method} {path}: {status}");
    }

    #[test]
    fn prop_random_tokens_are_401(token in prop::collection::vec(any::<u8>().prop_filter("a header", |byte| *byte >= 32 && *byte != 127), 0..80)) {
        let request = Request::get("/v1/entries").header("authorization", HeaderValue::from_bytes(&token).unwrap());
        prop_assert_eq!(status(request.body(Body::empty()).unwrap()), 401);
    }
}
