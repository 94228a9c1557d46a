//! What an office takes away.

use axum::body::Body;
use axum::http::Request;
use gritbook_core::history::parse;
use gritbook_core::ids::{DeviceId, PumpId, Sha256Hex};
use gritbook_system_tests::depot::{TestDepot, batch, box_check, entry, metadata, now};
use serde_json::json;

async fn with_a_pump() -> (TestDepot, PumpId, Vec<String>) {
    let depot = TestDepot::new().await;
    let (device, pump) = (DeviceId::new(now()), PumpId::new(now()));
    let photo = std::fs::read(concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/photos/demo_sand.jpg")).unwrap();
    let spec = json!({ "name": "=Yard, \"north\"", "bore_mm": 200.0, "stroke_mm": 1600.0, "drive_bore_mm": 130.0, "drive_rod_mm": 80.0,
        "drive_side": "rod", "seal": "guide_band", "fluid": "water" });
    let graded =
        json!({ "part": "cup", "cup": "A", "grade": 2, "source": "eye", "criteria": "1", "pump_m3": 120.5, "photos": [], "note": "=1+1" });
    let texts = vec![
        entry(device, 1, pump, "pump_set", &spec),
        box_check(device, 2, pump, &[Sha256Hex::of(&photo), Sha256Hex::of(b"on the phone")]),
        entry(device, 3, pump, "graded", &graded),
        entry(device, 4, pump, "weighed_in", &json!({})),
    ];
    assert_eq!(depot.put(batch(&texts)).await.status, 200);
    let at = depot.create(photo.len(), &metadata(&photo, "p")).await;
    depot.patch(&at, 0, photo).await;
    (depot, pump, texts)
}

#[tokio::test]
async fn pumps_are_listed_with_what_is_known_of_each() {
    let (depot, pump, _) = with_a_pump().await;
    let reply = depot.get("/v1/pumps").await;
    assert_eq!((reply.status, reply.header("content-type")), (200, "application/json"));
    let list = reply.json();
    assert_eq!(list["schema"], "gritbook.depot_pumps/1");
    let one = &list["pumps"][0];
    assert_eq!((&one["id"], &one["entries"]), (&json!(pump), &json!(4)));
    assert_eq!((&one["name"], &one["level"], &one["pump_m3"]), (&json!("=Yard, \"north\""), &json!("some_sand"), &json!(120.5)));
}

#[tokio::test]
async fn exports_hold_every_entry_as_sealed_and_every_event_as_a_row() {
    let (depot, pump, texts) = with_a_pump().await;
    let reply = depot.get(&format!("/v1/pumps/{pump}/export.json")).await;
    assert_eq!(reply.header("content-disposition"), "attachment; filename=\"Yard---north.json\"");
    assert_eq!(reply.json()["schema"], "gritbook.entries/1");
    assert!(texts.iter().all(|text| reply.text().contains(text.as_str())), "as sealed, to the byte");
    let reply = depot.get(&format!("/v1/pumps/{pump}/export.csv")).await;
    assert!(reply.header("content-type").starts_with("text/csv"));
    let history = parse(&reply.body).unwrap();
    assert_eq!(history.rows.len(), 2);
    assert!(reply.text().contains(",'=1+1"), "a note is no formula");
    assert!(reply.text().contains(",\"'=Yard, \"\"north\"\"\""), "nor is a pump's name, however it came: {}", reply.text());
}

#[tokio::test]
async fn report_is_a_pdf_with_its_photo_on_either_paper() {
    let (depot, pump, _) = with_a_pump().await;
    for (query, width) in [("", "595"), ("?paper=a4", "595"), ("?paper=letter", "612")] {
        let reply = depot.get(&format!("/v1/pumps/{pump}/report.pdf{query}")).await;
        assert_eq!((reply.status, reply.header("content-type")), (200, "application/pdf"));
        let text = String::from_utf8_lossy(&reply.body);
        assert!(text.starts_with("%PDF-") && text.contains(&format!("[0 0 {width}")), "{query}");
        assert!(text.contains("DCTDecode"), "the photo stands in it as a JPEG");
        assert!(reply.body.len() < 400_000, "{}", reply.body.len());
    }
    for (query, code) in
        [("paper=a5", "bad_paper"), ("language=fr", "bad_language"), ("units=stone", "bad_units"), ("colour=blue", "bad_query")]
    {
        let reply = depot.get(&format!("/v1/pumps/{pump}/report.pdf?{query}")).await;
        assert_eq!((reply.status, reply.problem().as_str()), (400, code));
    }
    let spanish = depot.get(&format!("/v1/pumps/{pump}/report.pdf?language=es&units=inch&paper=letter")).await;
    assert_eq!(spanish.status, 200);
}

#[tokio::test]
async fn pumps_that_are_not_there_and_who_has_no_token_are_refused() {
    let (depot, pump, _) = with_a_pump().await;
    for ending in ["report.pdf", "export.csv", "export.json"] {
        for id in [PumpId::named("nobody's").to_string(), "..%2f".to_owned(), "x".to_owned(), "%ff".to_owned()] {
            let reply = depot.get(&format!("/v1/pumps/{id}/{ending}")).await;
            assert_eq!((reply.status, reply.problem().as_str()), (404, "no_such_pump"), "{id}/{ending}");
        }
        let nobody = Request::get(format!("/v1/pumps/{pump}/{ending}")).body(Body::empty()).unwrap();
        assert_eq!(depot.send(nobody).await.status, 401);
    }
    assert_eq!(depot.send(Request::get("/v1/pumps").body(Body::empty()).unwrap()).await.status, 401);
}

#[tokio::test]
async fn metrics_count_what_is_held_and_asked_and_name_nobody() {
    let (depot, pump, _) = with_a_pump().await;
    assert_eq!(depot.get(&format!("/v1/pumps/{pump}/export.csv")).await.status, 200);
    assert_eq!(depot.get("/nowhere").await.status, 404);
    let reply = depot.get("/metrics").await;
    assert_eq!(reply.status, 200);
    for line in [
        "gritbook_entries 4",
        "gritbook_pumps 1",
        "gritbook_devices 1",
        "gritbook_photos 1",
        "gritbook_uploads_open 0",
        "gritbook_requests_total{route=\"/v1/entries\",method=\"PUT\",status=\"200\"} 1",
        "gritbook_requests_total{route=\"/v1/pumps/{id}/export.csv\",method=\"GET\",status=\"200\"} 1",
        "gritbook_requests_total{route=\"none\",method=\"GET\",status=\"404\"} 1",
    ] {
        assert!(reply.text().lines().any(|one| one == line), "{line}: {}", reply.text());
    }
    for name in ["test phone", "Rosa", "Yard", &pump.to_string()] {
        assert!(!reply.text().contains(name), "{name}");
    }
    assert_eq!(depot.send(Request::get("/metrics").body(Body::empty()).unwrap()).await.status, 401);
}
