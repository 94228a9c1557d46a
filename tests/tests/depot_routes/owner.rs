//! What an owner looks after: devices, people, and who saw and changed what.

use std::sync::atomic::{AtomicI64, Ordering};

use axum::body::Body;
use axum::http::Request;
use chrono::{DateTime, TimeDelta, Utc};
use gritbook_core::ids::{DeviceId, PumpId};
use gritbook_core::outbox::{Admission, Enrolment};
use gritbook_depot::server::Settings;
use gritbook_depot::server::archive::people::Role;
use gritbook_system_tests::browser::{Browser, PASSWORD, add};
use gritbook_system_tests::depot::{TestDepot, batch, box_check, now};

async fn with_an_owner() -> TestDepot {
    let depot = TestDepot::new().await;
    add(&depot, "Rosa", Role::Owner, Vec::new()).await;
    depot
}

/// The text of the code that a page shows, read off its modules as a camera would.
fn code_on(page: &str) -> String {
    const SIDE: usize = 4;
    let svg = page.split("<div class=\"code\">").nth(1).unwrap();
    let modules: usize = svg.split("viewBox=\"0 0 ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
    let mut dark = vec![false; modules * modules];
    for module in svg.split("<path d=\"").nth(1).unwrap().split('"').next().unwrap().split('M').skip(1) {
        let (x, y) = module.split('h').next().unwrap().split_once(' ').unwrap();
        dark[y.parse::<usize>().unwrap() * modules + x.parse::<usize>().unwrap()] = true;
    }
    let mut picture = rqrr::PreparedImage::prepare_from_greyscale(modules * SIDE, modules * SIDE, |x, y| {
        if dark[y / SIDE * modules + x / SIDE] { 0 } else { 255 }
    });
    picture.detect_grids().first().expect("a code that can be read").decode().unwrap().1
}

/// The phone shows its code, as its outbox does.
async fn show(depot: &TestDepot, kept: &Admission) -> u16 {
    let body = format!(r#"{{"schema":"gritbook.code/1","code":"{}"}}"#, kept.code.as_ref().unwrap());
    let request = Request::post("/v1/enrolment").header("authorization", format!("Bearer {}", kept.token));
    depot.send(request.body(body.into()).unwrap()).await.status
}

async fn status_with(depot: &TestDepot, token: &str) -> u16 {
    let request = Request::get("/v1/entries").header("authorization", format!("Bearer {token}"));
    depot.send(request.body(Body::empty()).unwrap()).await.status
}

#[tokio::test]
async fn only_an_owner_opens_what_is_the_owners() {
    let depot = with_an_owner().await;
    add(&depot, "Olga", Role::Office, Vec::new()).await;
    add(&depot, "Luis", Role::Mechanic, Vec::new()).await;
    let (mut rosa, mut olga) = (Browser::signed_in(&depot, "Rosa").await, Browser::signed_in(&depot, "Olga").await);
    let (mut luis, mut nobody) = (Browser::signed_in(&depot, "Luis").await, Browser::new(&depot));
    for path in ["/devices", "/people", "/audit"] {
        let statuses =
            [rosa.get(path).await.status, olga.get(path).await.status, luis.get(path).await.status, nobody.get(path).await.status];
        assert_eq!(statuses, [200, 403, 403, 401], "{path}");
        assert_eq!(depot.get(path).await.status, 403, "{path}: a device is no owner");
    }
    // Who was refused saw nothing, and the audit does not say so.
    rosa.get("/audit").await;
    let saw = |name: &str| rosa.page.split("<li").any(|row| row.contains(name) && row.contains("saw"));
    assert!(saw("Rosa") && !saw("Olga") && !saw("Luis"), "{}", rosa.page);
    assert!(rosa.page.contains("href=\"/people\"") && !olga.page.contains("href=\"/people\""));
    olga.get("/me").await;
    for (path, fields) in [
        ("/devices/enrol", &[("name", "x"), ("address", "https://depot.example")][..]),
        ("/devices/revoke", &[("name", "test phone"), ("sure", "yes")]),
        ("/people/add", &[("name", "x"), ("role", "owner")]),
        ("/people/role", &[("person", "2"), ("role", "owner")]),
        ("/people/password", &[("person", "1"), ("sure", "yes")]),
        ("/people/remove", &[("person", "1"), ("sure", "yes")]),
    ] {
        olga.get("/me").await;
        assert_eq!(olga.post(path, fields).await.status, 403, "{path}");
        rosa.get("/me").await;
        assert_eq!(rosa.post_with(path, fields).await.status, 403, "{path} without the page's token");
    }
    assert_eq!(depot.get("/v1/entries").await.status, 200, "the phone is still in");
}

#[tokio::test]
async fn code_on_the_page_lets_a_device_in_once_and_dies_unused_and_by_the_owners_hand() {
    static LATER: AtomicI64 = AtomicI64::new(0);
    let clock: fn() -> DateTime<Utc> = || now() + TimeDelta::minutes(LATER.load(Ordering::SeqCst));
    let depot = TestDepot::with(Settings { now: clock, ..Settings::default() }).await;
    add(&depot, "Rosa", Role::Owner, Vec::new()).await;
    let mut rosa = Browser::signed_in(&depot, "Rosa").await;
    let enrol = async |rosa: &mut Browser<'_>, name: &str| {
        rosa.get("/devices").await;
        let reply = rosa.post("/devices/enrol", &[("name", name), ("address", "https://depot.example:8470/")]).await;
        assert_eq!((reply.status, reply.header("cache-control")), (200, "no-store"), "{}", rosa.page);
        let enrolment = Enrolment::of_payload(&code_on(&rosa.page)).unwrap();
        assert_eq!((enrolment.depot.as_deref(), enrolment.name.as_str()), (Some("https://depot.example:8470"), name));
        enrolment.kept_by(&[7; 32]).unwrap()
    };
    let (used, unused) = (enrol(&mut rosa, "north").await, enrol(&mut rosa, "south").await);
    rosa.get("/devices").await;
    let refused = rosa.post("/devices/enrol", &[("name", "north"), ("address", "https://depot.example")]).await;
    assert_eq!(refused.status, 409);
    assert!(rosa.page.contains("A device called `north` is enrolled already."), "{}", rosa.page);
    assert!(!rosa.page.contains(used.code.as_ref().unwrap()) && rosa.page.contains("its code is good until"));

    assert_eq!((show(&depot, &used).await, status_with(&depot, &used.token).await), (200, 200));
    LATER.store(61, Ordering::SeqCst);
    assert_eq!((show(&depot, &used).await, show(&depot, &unused).await), (200, 410));
    assert_eq!((status_with(&depot, &used.token).await, status_with(&depot, &unused.token).await), (200, 401));
    assert_ne!(enrol(&mut rosa, "south").await, unused, "the name is free again");

    rosa.get("/devices").await;
    assert_eq!(rosa.post("/devices/revoke", &[("name", "north")]).await.status, 200);
    assert!(rosa.page.contains("Shut out north?"));
    assert_eq!(status_with(&depot, &used.token).await, 200, "asked first");
    assert_eq!(rosa.post("/devices/revoke", &[("name", "north"), ("sure", "yes")]).await.status, 303);
    assert_eq!(status_with(&depot, &used.token).await, 401);
}

#[tokio::test]
async fn devices_page_tells_when_each_was_heard_and_what_it_still_holds() {
    let depot = with_an_owner().await;
    let (device, pump) = (DeviceId::new(now()), PumpId::new(now()));
    // Written in September; numbers 2 and 3 have not come.
    depot.put(batch(&[box_check(device, 1, pump, &[]), box_check(device, 4, pump, &[])])).await;
    let photo = vec![7; 3_000_000];
    depot.create(photo.len(), &gritbook_system_tests::depot::metadata(&photo, "p")).await;
    let mut rosa = Browser::signed_in(&depot, "Rosa").await;
    rosa.get("/devices").await;
    for text in
        ["test phone", "last heard under a minute ago", "2 entries", "2 entries still on the phone", "1 photo on the way, 3 MB to come"]
    {
        assert!(rosa.page.contains(text), "{text}: {}", rosa.page);
    }
    rosa.get("/me").await;
    rosa.post("/me/choice", &[("language", "es")]).await;
    rosa.get("/devices").await;
    assert!(rosa.page.contains("todavía en el teléfono: 2 registros"), "{}", rosa.page);
}

#[tokio::test]
async fn owner_adds_changes_and_takes_away_people_from_the_page() {
    let depot = with_an_owner().await;
    let pump = PumpId::named("mine");
    depot.put(batch(&[box_check(DeviceId::new(now()), 1, pump, &[])])).await;
    let mut rosa = Browser::signed_in(&depot, "Rosa").await;
    rosa.get("/people").await;
    let reply = rosa.post("/people/add", &[("name", "Luis"), ("role", "mechanic"), ("pump", &pump.to_string()), ("language", "es")]).await;
    assert_eq!((reply.status, reply.header("cache-control")), (200, "no-store"));
    let password = rosa.page.split("<code>").nth(1).unwrap().split('<').next().unwrap().to_owned();
    let mut luis = Browser::new(&depot);
    assert_eq!(luis.sign_in("Luis", &password).await.status, 303);
    luis.get("/").await;
    assert!(luis.page.contains(&pump.to_string()) && luis.page.contains("lang=\"es\""));

    rosa.get("/people").await;
    assert_eq!(rosa.post("/people/add", &[("name", "luis"), ("role", "office")]).await.status, 409);
    let number =
        rosa.page.split("<h2>Luis").nth(1).unwrap().split("name=\"person\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    assert_eq!(rosa.post("/people/role", &[("person", &number), ("role", "mechanic")]).await.status, 303);
    luis.get("/").await;
    assert!(!luis.page.contains(&pump.to_string()), "the pump is taken away at once");
    rosa.get("/people").await;
    assert_eq!(rosa.post("/people/password", &[("person", &number), ("sure", "yes")]).await.status, 200);
    assert_eq!(luis.get("/").await.status, 401);
    rosa.get("/people").await;
    assert_eq!(rosa.post("/people/remove", &[("person", &number), ("sure", "yes")]).await.status, 303);
    rosa.get("/people").await;
    assert!(!rosa.page.contains("Luis"));
    assert_eq!(rosa.post("/people/remove", &[("person", "1"), ("sure", "yes")]).await.status, 409, "no owner would be left");
}

#[tokio::test]
async fn audit_tells_who_saw_and_changed_what_and_from_no_address() {
    let depot = with_an_owner().await;
    let pump = PumpId::named("mine");
    depot.put(batch(&[box_check(DeviceId::new(now()), 1, pump, &[])])).await;
    let mut rosa = Browser::signed_in(&depot, "Rosa").await;
    assert_eq!(Browser::new(&depot).sign_in("Rosa", "not the right one").await.status, 401);
    rosa.get("/").await;
    rosa.get(&format!("/pumps/{pump}/export.csv")).await;
    depot.get(&format!("/v1/pumps/{pump}/export.json")).await;
    rosa.get("/devices").await;
    rosa.post("/devices/revoke", &[("name", "test phone"), ("sure", "yes")]).await;
    let olga = add(&depot, "Olga", Role::Office, Vec::new()).await;
    rosa.get("/people").await;
    rosa.post("/people/role", &[("person", &olga.to_string()), ("role", "owner")]).await;
    rosa.get("/audit").await;
    let text: String = rosa.page.split('<').filter_map(|part| part.split_once('>')).map(|(_, text)| text).collect();
    let lines: String = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for line in [
        "command on the depot's machine added Rosa",
        "command on the depot's machine enrolled test phone",
        "somebody tried to sign in",
        "Rosa signed in",
        "Rosa saw all pumps",
        "Rosa exported Pump",
        "test phone (device) exported Pump",
        "Rosa saw the devices",
        "Rosa shut out test phone",
        "Rosa gave the role of owner to Olga",
        "Kept for 400 days.",
    ] {
        assert!(lines.replace("&#39;", "'").contains(line), "{line}: {lines}");
    }
    assert!(!lines.contains("127.0.0.1") && !lines.contains(PASSWORD));
}
