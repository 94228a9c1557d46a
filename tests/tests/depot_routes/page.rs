//! The page.

use axum::body::Body;
use axum::http::Request;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use gritbook_core::ids::{DeviceId, PumpId, Sha256Hex};
use gritbook_depot::server::Settings;
use gritbook_system_tests::depot::{Reply, TestDepot, batch, box_check, entry, metadata, now};
use serde_json::json;

async fn open() -> TestDepot {
    TestDepot::with(Settings { page_open: true, ..Settings::default() }).await
}

async fn browse(depot: &TestDepot, path: &str) -> Reply {
    depot.send(Request::get(path).header("host", "127.0.0.1:8470").body(Body::empty()).unwrap()).await
}

#[tokio::test]
async fn open_page_needs_no_token_and_answers_under_loopback_names_only() {
    let depot = open().await;
    let reply = browse(&depot, "/").await;
    assert_eq!((reply.status, reply.header("content-type")), (200, "text/html; charset=utf-8"));
    assert!(reply.text().contains("Nothing has come in yet"));
    // A web site that points its own name at this machine.
    let reply = depot.send(Request::get("/").header("host", "evil.example").body(Body::empty()).unwrap()).await;
    assert_eq!((reply.status, reply.problem().as_str()), (421, "other_host"));
    // The rest still asks for a token.
    assert_eq!(browse(&depot, "/v1/entries").await.status, 401);
}

#[tokio::test]
async fn page_that_others_can_reach_asks_for_a_token() {
    let depot = TestDepot::new().await;
    let reply = browse(&depot, "/").await;
    assert_eq!(reply.status, 401);
    assert!(reply.header("www-authenticate").starts_with("Basic "));
    assert_eq!(depot.get("/").await.status, 200);
    for (password, status) in [(depot.token.as_str(), 200), ("wrong", 401)] {
        let basic = format!("Basic {}", STANDARD.encode(format!("anyone:{password}")));
        let reply = depot.send(Request::get("/").header("authorization", basic).body(Body::empty()).unwrap()).await;
        assert_eq!(reply.status, status);
    }
    for path in ["/photos/x", "/thumbs/x"] {
        assert_eq!(browse(&depot, path).await.status, 401);
    }
}

#[tokio::test]
async fn page_loads_nothing_from_elsewhere_and_runs_nothing() {
    let depot = open().await;
    let reply = browse(&depot, "/").await;
    assert!(reply.header("content-security-policy").starts_with("default-src 'none';"));
    assert!(!reply.header("content-security-policy").contains("unsafe"));
    // One script, a file of the depot's own; the page that needs none is not allowed any.
    let one_script = "<script src=\"/news.js\" defer></script>";
    assert_eq!(reply.text().matches(one_script).count(), 1);
    let rest = reply.text().replace(one_script, "");
    for forbidden in ["<script", " style=", "onclick", "http://", "https://"] {
        assert!(!rest.contains(forbidden), "{forbidden}");
    }
    assert!(reply.text().contains("<link rel=\"icon\" href=\"/icon.svg\">"));
    let search = browse(&depot, "/search").await;
    assert!(!search.header("content-security-policy").contains("script") && !search.text().contains("<script"));
    for (path, kind) in [
        ("/look.css", "text/css; charset=utf-8"),
        ("/icon.svg", "image/svg+xml"),
        ("/news.js", "text/javascript; charset=utf-8"),
        ("/font/regular.ttf", "font/ttf"),
        ("/font/bold.ttf", "font/ttf"),
    ] {
        let part = browse(&depot, path).await;
        assert_eq!((part.status, part.header("content-type")), (200, kind));
        assert!(part.body.len() > 1000);
    }
    for path in ["/look.css", "/news.js"] {
        assert!(!browse(&depot, path).await.text().contains("http"));
    }
}

#[tokio::test]
async fn page_tells_what_came_and_what_is_missing() {
    let depot = open().await;
    let (device, pump) = (DeviceId::new(now()), PumpId::new(now()));
    let mut picture = std::io::Cursor::new(Vec::new());
    image::RgbImage::from_pixel(900, 600, image::Rgb([180, 170, 160])).write_to(&mut picture, image::ImageFormat::Png).unwrap();
    let picture = picture.into_inner();
    let (here, away) = (Sha256Hex::of(&picture), Sha256Hex::of(b"on the phone"));
    let spec = json!({ "name": "Yard & <b>bold</b>", "bore_mm": 200.0, "stroke_mm": 1600.0, "drive_bore_mm": 130.0, "drive_rod_mm": 80.0,
        "drive_side": "rod", "seal": "guide_band", "fluid": "water" });
    let graded = |cup: &str, grade: u8, source: &str| json!({ "part": "cup", "cup": cup, "grade": grade, "source": source, "criteria": "1", "pump_m3": null, "photos": [] });
    let texts = [
        entry(device, 1, pump, "pump_set", &spec),
        box_check(device, 2, pump, &[here, away]),
        entry(device, 3, pump, "graded", &graded("A", 2, "eye")),
        entry(device, 4, pump, "graded", &graded("B", 4, "measured")),
        entry(device, 7, pump, "weighed_in", &json!({})),
    ];
    assert_eq!(depot.put(batch(&texts)).await.status, 200);
    let at = depot.create(picture.len(), &metadata(&picture, "p")).await;
    depot.patch(&at, 0, picture.clone()).await;

    let reply = browse(&depot, "/").await;
    let page = reply.text();
    assert!(page.contains("Yard &#38; &#60;b&#62;bold&#60;/b&#62;"), "names are escaped");
    for words in [
        "Some sand.",
        "Level judged by eye",
        "Liquid grey",
        "at\u{a0}120\u{a0}m³",
        "Grade 2, worn, by eye",
        "Grade 4, spent, measured",
        "This entry comes from a newer program.",
        "1 photo is not here yet",
        "2 entries are not here yet",
    ] {
        assert!(page.contains(words), "{words}");
    }
    assert!(page.contains(&format!("/thumbs/{here}")) && !page.contains(&format!("/thumbs/{away}")));
    // Newest first.
    assert!(page.find("newer program").unwrap() < page.find("Cup B: spent").unwrap());
    assert!(page.find("Cup B: spent").unwrap() < page.find("Some sand.").unwrap());

    let small = browse(&depot, &format!("/thumbs/{here}")).await;
    assert_eq!((small.status, small.header("content-type")), (200, "image/jpeg"));
    assert_eq!(image::load_from_memory(&small.body).unwrap().width(), 640);
    assert_eq!(browse(&depot, &format!("/photos/{here}")).await.body, picture);
    for missing in [format!("/thumbs/{away}"), format!("/photos/{away}"), "/photos/%ff".into(), "/thumbs/..%2f".into()] {
        assert_eq!(browse(&depot, &missing).await.problem(), "no_such_photo", "{missing}");
    }
}

#[tokio::test]
async fn what_is_no_picture_is_kept_but_never_opened_in_the_browser() {
    let depot = open().await;
    let bytes = b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>";
    let at = depot.create(bytes.len(), &metadata(bytes, "p")).await;
    depot.patch(&at, 0, bytes.to_vec()).await;
    let name = Sha256Hex::of(bytes);
    let reply = browse(&depot, &format!("/photos/{name}")).await;
    assert_eq!((reply.header("content-type"), reply.header("content-disposition")), ("application/octet-stream", "attachment"));
    assert_eq!(browse(&depot, &format!("/thumbs/{name}")).await.problem(), "not_drawn");
}

#[tokio::test]
async fn amended_entry_is_marked_and_stays() {
    let depot = open().await;
    let (device, pump) = (DeviceId::new(now()), PumpId::new(now()));
    let wrong = box_check(device, 1, pump, &[]);
    let id = serde_json::from_str::<serde_json::Value>(&wrong).unwrap()["id"].clone();
    let amendment = entry(device, 2, pump, "amended", &json!({ "amends": id, "reason": "wrong pump", "instead": null }));
    depot.put(batch(&[wrong, amendment])).await;
    let reply = browse(&depot, "/").await;
    assert!(reply.text().contains("Put right by a later entry."));
    assert!(reply.text().contains("Why: wrong pump"));
    assert!(reply.text().contains("Some sand."));
}
