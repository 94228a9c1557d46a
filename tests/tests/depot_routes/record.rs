//! The record's own addresses: pump, entry, grades, search.

use std::path::Path;

use gritbook_core::debris::read::read_photo;
use gritbook_core::ids::{DeviceId, PumpId, Sha256Hex};
use gritbook_depot::server::Settings;
use gritbook_depot::server::archive::people::Role;
use gritbook_system_tests::browser::{Browser, add};
use gritbook_system_tests::depot::{TestDepot, batch, box_check, entry, metadata, now};
use serde_json::{Value, json};

fn id_of(text: &str) -> String {
    serde_json::from_str::<Value>(text).unwrap()["id"].as_str().unwrap().to_owned()
}

fn graded(device: DeviceId, seq: u64, pump: PumpId, cup: &str, grade: u8, total: f64) -> String {
    let body =
        json!({ "part": "cup", "cup": cup, "grade": grade, "source": "eye", "criteria": "1", "pump_m3": total, "photos": [], "note": "" });
    entry(device, seq, pump, "graded", &body)
}

async fn with_two_pumps() -> (TestDepot, PumpId, PumpId) {
    let depot = TestDepot::with(Settings { page_open: true, ..Settings::default() }).await;
    let (device, otter, heron) = (DeviceId::new(now()), PumpId::named("otter"), PumpId::named("heron"));
    let spec = |name: &str| {
        json!({ "name": name, "bore_mm": 200.0, "stroke_mm": 1600.0, "drive_bore_mm": 130.0, "drive_rod_mm": 80.0,
        "drive_side": "rod", "seal": "guide_band", "fluid": "water" })
    };
    let texts = vec![
        entry(device, 1, otter, "pump_set", &spec("Otter & son")),
        entry(device, 2, heron, "pump_set", &spec("Heron")),
        graded(device, 3, otter, "A", 1, 1000.0),
        graded(device, 4, otter, "A", 2, 2500.0),
        graded(device, 5, otter, "B", 3, 2500.0),
        box_check(device, 6, heron, &[]),
    ];
    assert_eq!(depot.put(batch(&texts)).await.status, 200);
    (depot, otter, heron)
}

#[tokio::test]
async fn pump_has_a_page_of_its_own_with_older_entries_behind_it() {
    let (depot, otter, _) = with_two_pumps().await;
    let device = DeviceId::new(now());
    let many: Vec<String> = (1..=40).map(|seq| box_check(device, seq + 100, otter, &[])).collect();
    depot.put(batch(&many)).await;
    let mut browser = Browser::new(&depot);
    assert_eq!(browser.get(&format!("/pumps/{otter}")).await.status, 200);
    assert!(browser.page.contains("Otter &#38; son") && !browser.page.contains("Heron"));
    assert_eq!(browser.page.matches("<article").count(), 30);
    assert!(browser.page.contains("?page=2"));
    browser.get(&format!("/pumps/{otter}?page=2")).await;
    assert_eq!(browser.page.matches("<article").count(), 14);
    assert!(browser.page.contains("Cup A</b> worn"), "how it stands is by the newest, whichever page is shown");
    assert!(browser.page.contains("?page=1") && !browser.page.contains("?page=3"));
    for missing in [format!("/pumps/{}", PumpId::named("nobody's")), "/pumps/x".into(), "/pumps/%ff".into()] {
        assert_eq!(browser.get(&missing).await.status, 404, "{missing}");
    }
}

#[tokio::test]
async fn entry_with_a_read_photo_shows_its_grains_its_curve_and_its_reasons() {
    let (depot, otter, _) = with_two_pumps().await;
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/photos/demo_sand.jpg");
    let photo = std::fs::read(file).unwrap();
    let mut reading = serde_json::to_value(read_photo(&photo, &Default::default()).unwrap()).unwrap();
    for grain in reading["grains"].as_array_mut().unwrap() {
        grain.as_object_mut().unwrap().remove("outline_mm");
    }
    let grains = reading["grains"].as_array().unwrap().len();
    let lumps = reading["grains"].as_array().unwrap().iter().filter(|grain| grain["kind"] == "lump").count();
    let body = json!({ "pump_m3": 2600.0, "photos": [Sha256Hex::of(&photo)], "reading": reading, "level": "sand", "level_source": "measured",
        "liquid": "grey", "liquid_low": false, "settled_ml": null });
    let text = entry(DeviceId::new(now()), 7, otter, "box_check", &body);
    let id = id_of(&text);
    assert!(depot.put(batch(std::slice::from_ref(&text))).await.text().contains("stored"));
    let mut browser = Browser::new(&depot);
    assert_eq!(browser.get(&format!("/entries/{id}")).await.status, 200);
    assert!(!browser.page.contains("class=\"over\""), "the photo has not come");
    assert_eq!(browser.get(&format!("/entries/{id}/window.jpg")).await.status, 404);

    let at = depot.create(photo.len(), &metadata(&photo, "p")).await;
    depot.patch(&at, 0, photo.clone()).await;
    browser.get(&format!("/entries/{id}")).await;
    let over = browser.page.split("<svg class=\"over\"").nth(1).unwrap().split("</svg>").next().unwrap().to_owned();
    // Each once in its own line and once in the light line under it; lumps have two rings.
    assert_eq!(over.matches("<circle").count(), 2 * (grains + lumps));
    assert!(over.contains(&format!("/entries/{id}/window.jpg")));
    assert!(browser.page.contains("class=\"chart\"") && browser.page.contains("D50") && browser.page.contains("Grains cover"));
    assert!(browser.page.contains(&Sha256Hex::of(text.as_bytes()).to_string()), "the hash that the chain goes on from");
    for forbidden in ["<script", " style=", "http://", "https://"] {
        let found = browser.page.replace("xmlns=\"http://www.w3.org/2000/svg\"", "").contains(forbidden);
        assert!(!found, "{forbidden}");
    }
    let window = browser.get(&format!("/entries/{id}/window.jpg")).await;
    assert_eq!((window.status, window.header("content-type")), (200, "image/jpeg"));
    let [_, _, width, height] = over.split("viewBox=\"").nth(1).unwrap().split('"').next().unwrap().split(' ').collect::<Vec<_>>()[..]
    else {
        panic!("{over}")
    };
    let picture = image::load_from_memory(&window.body).unwrap();
    let asked = width.parse::<f64>().unwrap() / height.parse::<f64>().unwrap();
    let made = f64::from(picture.width()) / f64::from(picture.height());
    assert!((asked / made - 1.0).abs() < 0.01, "the drawing lies on the picture: {asked} and {made}");
}

#[tokio::test]
async fn history_of_grades_is_a_chart_and_a_list_in_the_readers_units() {
    let (depot, otter, heron) = with_two_pumps().await;
    let mut browser = Browser::new(&depot);
    browser.get(&format!("/pumps/{otter}/grades")).await;
    assert!(browser.page.contains("class=\"chart\"") && browser.page.contains("pumped, m³"));
    assert!(browser.page.find("Cup B").unwrap() < browser.page.rfind("<h2>Cup A").unwrap(), "the newest graded part first");
    assert_eq!(browser.page.matches("class=\"graded\"").count(), 3);
    assert!(browser.page.contains("2\u{202f}500\u{a0}m³"));
    browser.get(&format!("/pumps/{heron}/grades")).await;
    assert!(browser.page.contains("Nothing was graded yet.") && !browser.page.contains("class=\"chart\""));
}

#[tokio::test]
async fn search_finds_by_name_kind_and_day_and_only_what_may_be_read() {
    let (depot, otter, _) = with_two_pumps().await;
    let mut browser = Browser::new(&depot);
    let mut count = async |query: &str| {
        let reply = browser.get(&format!("/search?{query}")).await;
        (reply.status, browser.page.matches("<li>").count())
    };
    assert_eq!(count("").await, (200, 0));
    for (query, found) in [
        ("pump=otter&kind=&from=&to=", 4),
        ("pump=&kind=graded&from=&to=", 3),
        ("pump=HERON&kind=box_check&from=2026-09-21&to=2026-09-21", 1),
        ("pump=%26+son&kind=&from=&to=", 4),
        ("pump=&kind=&from=2026-09-22&to=", 0),
        ("pump=&kind=&from=&to=2026-09-20", 0),
        ("pump=&kind=nonsense&from=2026-09-21&to=", 6),
        ("pump=%25&kind=&from=&to=", 0),
    ] {
        assert_eq!(count(query).await, (200, found), "{query}");
    }
    assert_eq!(count("from=yesterday").await.0, 422);
    assert_eq!(count("pump=%3Cscript%3E&from=&to=").await, (200, 0));
    assert!(!browser.page.contains("<script"));
    add(&depot, "Luis", Role::Mechanic, vec![otter]).await;
    let mut luis = Browser::signed_in(&depot, "Luis").await;
    luis.get("/search?pump=&kind=&from=&to=").await;
    assert_eq!(luis.page.matches("<li>").count(), 4);
    assert!(!luis.page.contains("Heron"));
}

#[tokio::test]
async fn entry_of_another_pump_looks_to_a_mechanic_like_one_that_is_not_there() {
    let (depot, otter, heron) = with_two_pumps().await;
    let (mine, other) = (box_check(DeviceId::new(now()), 1, otter, &[]), box_check(DeviceId::new(now()), 1, heron, &[]));
    depot.put(batch(&[mine.clone(), other.clone()])).await;
    add(&depot, "Luis", Role::Mechanic, vec![otter]).await;
    let mut luis = Browser::signed_in(&depot, "Luis").await;
    for (path, status) in [
        (format!("/entries/{}", id_of(&mine)), 200),
        (format!("/entries/{}", id_of(&other)), 404),
        (format!("/entries/{}/window.jpg", id_of(&other)), 404),
        (format!("/pumps/{otter}"), 200),
        (format!("/pumps/{heron}"), 404),
        (format!("/pumps/{heron}/grades"), 404),
        ("/entries/x".into(), 404),
    ] {
        assert_eq!(luis.get(&path).await.status, status, "{path}");
    }
}
