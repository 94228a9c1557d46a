//! Signing in, sessions, forms, and who may see what.

use std::time::{Duration, Instant};

use gritbook_core::ids::{DeviceId, PumpId, Sha256Hex};
use gritbook_depot::server::Settings;
use gritbook_depot::server::archive::people::Role;
use gritbook_system_tests::browser::{Browser, PASSWORD, add};
use gritbook_system_tests::depot::{TestDepot, batch, box_check, entry, metadata, now};
use serde_json::json;

async fn open() -> TestDepot {
    TestDepot::with(Settings { page_open: true, ..Settings::default() }).await
}

#[tokio::test]
async fn first_person_closes_the_open_page_and_signing_in_opens_it() {
    let depot = open().await;
    let mut browser = Browser::new(&depot);
    assert_eq!(browser.get("/").await.status, 200);
    add(&depot, "Rosa", Role::Owner, Vec::new()).await;
    let reply = browser.get("/").await;
    assert_eq!((reply.status, reply.header("content-type")), (401, "text/html; charset=utf-8"));
    assert!(!reply.header("www-authenticate").starts_with("Basic"), "a browser must show the page, not a box of its own");
    assert!(reply.header("content-security-policy").starts_with("default-src 'none';"));
    assert!(browser.page.contains("name=\"password\"") && !browser.page.contains("<script"));
    let reply = browser.post("/sign-in", &[("name", " rosa"), ("password", PASSWORD), ("next", "/?x=1")]).await;
    assert_eq!((reply.status, reply.header("location")), (303, "/?x=1"));
    let cookie =
        reply.headers.get_all("set-cookie").iter().map(|one| one.to_str().unwrap()).find(|one| one.starts_with("gritbook=")).unwrap();
    assert!(cookie.contains("; HttpOnly") && cookie.contains("; SameSite=Strict") && cookie.contains("; Path=/"), "{cookie}");
    assert_eq!(cookie.split(['=', ';']).nth(1).unwrap().len(), 43, "256 bits");
    assert_eq!(browser.get("/").await.status, 200);
    assert!(browser.page.contains("Rosa"));
    // Programs go on with their token, and without one get the document they got before.
    assert_eq!(depot.get("/").await.status, 200);
    browser.headers.remove("accept");
    browser.cookies.clear();
    let reply = browser.get("/").await;
    assert_eq!((reply.status, reply.problem().as_str()), (401, "no_token"));
    assert!(reply.header("www-authenticate").starts_with("Basic "));
}

#[tokio::test]
async fn cookies_go_by_tls_alone_where_the_depot_is_reached_by_it() {
    let depot = TestDepot::with(Settings { cookies_secure: true, ..Settings::default() }).await;
    add(&depot, "Rosa", Role::Owner, Vec::new()).await;
    let mut browser = Browser::new(&depot);
    let reply = browser.sign_in("Rosa", PASSWORD).await;
    assert_eq!(reply.status, 303);
    for cookie in reply.headers.get_all("set-cookie") {
        assert!(cookie.to_str().unwrap().contains("; Secure"), "{cookie:?}");
    }
    assert!(browser.cookies.contains_key("__Host-gritbook"));
    assert_eq!(browser.get("/").await.status, 200);
}

#[tokio::test]
async fn unknown_name_and_wrong_password_are_told_in_the_same_words_after_the_same_work() {
    let depot = TestDepot::with(Settings { behind_proxy: true, ..Settings::default() }).await;
    add(&depot, "Rosa", Role::Owner, Vec::new()).await;
    let mut told = Vec::new();
    let mut took = [Duration::MAX; 2];
    for round in 0..5 {
        for (at, name) in ["Rosa", "Nobody"].into_iter().enumerate() {
            let mut browser = Browser::new(&depot);
            // From another address each time, as the proxy tells it: none of them has to wait.
            browser.headers.insert("x-forwarded-for", format!("10.9.9.9, 10.0.{at}.{round}"));
            assert_eq!(browser.get("/sign-in").await.status, 200);
            let token = browser.token();
            let begun = Instant::now();
            let reply = browser.post("/sign-in", &[("name", name), ("password", "not the password"), ("next", "/")]).await;
            took[at] = took[at].min(begun.elapsed());
            assert_eq!(reply.status, 401);
            assert!(browser.page.contains("Name or password is wrong."), "{round}");
            told.push(browser.page.replace(&token, "").replace(name, ""));
        }
    }
    assert!(told.windows(2).all(|two| two[0] == two[1]));
    let (known, unknown) = (took[0].as_secs_f64(), took[1].as_secs_f64());
    assert!((0.4..2.5).contains(&(unknown / known)), "{known} s for a name that is there, {unknown} s for one that is not");
}

#[tokio::test]
async fn guessing_is_slowed_for_the_name_and_the_address_and_says_how_long() {
    let depot = open().await;
    add(&depot, "Rosa", Role::Owner, Vec::new()).await;
    let mut browser = Browser::new(&depot);
    for _ in 0..5 {
        assert_eq!(browser.sign_in("Rosa", "a wrong password").await.status, 401);
    }
    let reply = browser.sign_in("rosa", PASSWORD).await;
    assert_eq!(reply.status, 429, "the right one waits too");
    let wait: u64 = reply.header("retry-after").parse().unwrap();
    assert!((1..=5).contains(&wait));
    assert!(browser.page.contains("Too many wrong tries."), "{}", browser.page);
    assert_eq!(browser.sign_in("someone else", PASSWORD).await.status, 429, "the address guesses on");
    browser.headers.remove("accept");
    browser.page = String::new();
    let form = depot.get("/sign-in").await;
    assert_eq!(form.status, 200);
}

#[tokio::test]
async fn session_ends_when_idle_when_old_when_signed_out_and_with_a_new_password() {
    use std::sync::atomic::{AtomicI64, Ordering};
    static LATER: AtomicI64 = AtomicI64::new(0);
    let clock = || now() + chrono::TimeDelta::minutes(LATER.load(Ordering::SeqCst));
    let depot = TestDepot::with(Settings { now: clock, ..Settings::default() }).await;
    add(&depot, "Rosa", Role::Owner, Vec::new()).await;
    let mut idle = Browser::signed_in(&depot, "Rosa").await;
    LATER.fetch_add(119, Ordering::SeqCst);
    assert_eq!(idle.get("/").await.status, 200);
    LATER.fetch_add(121, Ordering::SeqCst);
    assert_eq!(idle.get("/").await.status, 401);

    let mut old = Browser::signed_in(&depot, "Rosa").await;
    for _ in 0..7 {
        LATER.fetch_add(100, Ordering::SeqCst);
        assert_eq!(old.get("/").await.status, 200);
    }
    LATER.fetch_add(100, Ordering::SeqCst);
    assert_eq!(old.get("/").await.status, 401, "twelve hours are the most");

    let mut one = Browser::signed_in(&depot, "Rosa").await;
    let mut other = Browser::signed_in(&depot, "Rosa").await;
    one.get("/me").await;
    let kept = one.cookies.clone();
    let fresh = [("password", PASSWORD), ("fresh", "a longer and newer one"), ("again", "a longer and newer one")];
    let reply = one.post("/me/password", &fresh).await;
    assert_eq!(reply.status, 200, "{}", one.page);
    assert!(one.page.contains("The password is changed."));
    assert_eq!((one.get("/").await.status, other.get("/").await.status), (200, 401));
    one.get("/me").await;
    assert_eq!(one.post("/sign-out", &[]).await.status, 303);
    one.cookies = kept;
    assert_eq!(one.get("/").await.status, 401, "the depot ended it, not only the browser");
    assert_eq!(Browser::new(&depot).sign_in("Rosa", PASSWORD).await.status, 401);
}

#[tokio::test]
async fn whoever_signs_in_at_a_browser_signs_the_one_before_out() {
    let depot = open().await;
    add(&depot, "Rosa", Role::Owner, Vec::new()).await;
    add(&depot, "Olga", Role::Office, Vec::new()).await;
    let mut browser = Browser::signed_in(&depot, "Rosa").await;
    let rosas = browser.cookies.clone();
    assert_eq!(browser.sign_in("Olga", PASSWORD).await.status, 303);
    browser.get("/me").await;
    assert!(browser.page.contains("<h1>Olga</h1>"));
    browser.cookies = rosas;
    assert_eq!(browser.get("/").await.status, 401);
}

#[tokio::test]
async fn form_from_elsewhere_or_without_its_token_changes_nothing() {
    let depot = open().await;
    add(&depot, "Rosa", Role::Owner, Vec::new()).await;
    let mut browser = Browser::signed_in(&depot, "Rosa").await;
    browser.get("/me").await;
    let (token, choice) = (browser.token(), [("language", "es"), ("units", "inch")]);
    let with_token = [&choice[..], &[("form", &token)]].concat();
    assert_eq!(browser.post_with("/me/choice", &choice).await.status, 403);
    assert_eq!(browser.post_with("/me/choice", &[&choice[..], &[("form", "0")]].concat()).await.status, 403);
    for (name, value) in
        [("sec-fetch-site", "cross-site"), ("sec-fetch-site", "same-site"), ("origin", "http://evil.example"), ("origin", "null")]
    {
        browser.headers.insert(name, value.into());
        let reply = browser.post_with("/me/choice", &with_token).await;
        assert_eq!(reply.status, 403, "{name}: {value}");
        browser.headers.remove(name);
    }
    // Another session's token is worth nothing here.
    let mut other = Browser::signed_in(&depot, "Rosa").await;
    assert_eq!(other.post_with("/me/choice", &with_token).await.status, 403);
    // A sign-in form that another site filled in.
    let mut lured = Browser::new(&depot);
    let forged = [("name", "Rosa"), ("password", PASSWORD), ("form", &token)];
    assert_eq!(lured.post_with("/sign-in", &forged).await.status, 403);
    browser.get("/me").await;
    assert!(browser.page.contains("<html lang=\"en\">"));
    browser.headers.insert("origin", "http://127.0.0.1:8470".into());
    assert_eq!(browser.post_with("/me/choice", &with_token).await.status, 200);
    assert!(browser.page.contains("<html lang=\"es\">") && browser.page.contains("Guardado."));
}

#[tokio::test]
async fn pages_follow_the_persons_language_and_units() {
    let depot = open().await;
    let (device, pump) = (DeviceId::new(now()), PumpId::new(now()));
    let spec = json!({ "name": "Otter", "bore_mm": 200.0, "stroke_mm": 1600.0, "drive_bore_mm": 130.0, "drive_rod_mm": 80.0,
        "drive_side": "rod", "seal": "guide_band", "fluid": "water" });
    let poured = json!({ "pour_m3": 100.0, "pump_m3": 220.5, "concrete_bar": 50.0, "mix_factor": null });
    depot
        .put(batch(&[
            entry(device, 1, pump, "pump_set", &spec),
            box_check(device, 2, pump, &[]),
            entry(device, 3, pump, "poured", &poured),
        ]))
        .await;
    add(&depot, "Rosa", Role::Office, Vec::new()).await;
    let mut browser = Browser::signed_in(&depot, "Rosa").await;
    browser.get("/").await;
    for text in ["Bore 200 mm", "Some sand.", "at\u{a0}120\u{a0}m³", "100\u{a0}m³ pumped.", "21 Sep 2026"] {
        assert!(browser.page.contains(text), "{text}: {}", browser.page);
    }
    browser.get("/me").await;
    browser.post("/me/choice", &[("language", "es"), ("units", "inch")]).await;
    browser.get("/").await;
    for text in [
        "Cilindro 7.874 in",
        "Algo de arena.",
        "a los\u{a0}158\u{a0}yd³",
        "131\u{a0}yd³ bombeados.",
        "21 sep 2026",
        "Informe para imprimir",
    ] {
        assert!(browser.page.contains(text), "{text}: {}", browser.page);
    }
    // The door speaks the language last chosen in this browser, or the one the browser asks for.
    browser.cookies.remove("gritbook");
    browser.get("/").await;
    assert!(browser.page.contains("Contraseña"));
    let mut stranger = Browser::new(&depot);
    stranger.headers.insert("accept-language", "es-MX,es;q=0.9,en;q=0.8".into());
    stranger.get("/").await;
    assert!(stranger.page.contains("Contraseña"));
    stranger.get("/sign-in?language=en").await;
    stranger.get("/").await;
    assert!(stranger.page.contains("Password"));
}

#[tokio::test]
async fn mechanic_reads_the_pages_of_own_pumps_only_and_does_not_export() {
    let depot = open().await;
    let (device, mine, other) = (DeviceId::new(now()), PumpId::named("mine"), PumpId::named("other"));
    let mut pictures = Vec::new();
    for (at, pump) in [mine, other].into_iter().enumerate() {
        let mut picture = std::io::Cursor::new(Vec::new());
        image::RgbImage::from_pixel(64, 64, image::Rgb([at as u8, 0, 0])).write_to(&mut picture, image::ImageFormat::Png).unwrap();
        let picture = picture.into_inner();
        depot.put(batch(&[box_check(device, at as u64 + 1, pump, &[Sha256Hex::of(&picture)])])).await;
        let upload = depot.create(picture.len(), &metadata(&picture, &format!("p{at}"))).await;
        depot.patch(&upload, 0, picture.clone()).await;
        pictures.push(Sha256Hex::of(&picture));
    }
    add(&depot, "Luis", Role::Mechanic, vec![mine]).await;
    add(&depot, "Olga", Role::Office, Vec::new()).await;
    let mut luis = Browser::signed_in(&depot, "Luis").await;
    luis.get("/").await;
    assert!(luis.page.contains(&mine.to_string()) && !luis.page.contains(&other.to_string()));
    let mut olga = Browser::signed_in(&depot, "Olga").await;
    for (path, for_luis, for_olga) in [
        (format!("/photos/{}", pictures[0]), 200, 200),
        (format!("/photos/{}", pictures[1]), 404, 200),
        (format!("/thumbs/{}", pictures[1]), 404, 200),
        (format!("/pumps/{mine}/report.pdf"), 200, 200),
        (format!("/pumps/{other}/report.pdf"), 404, 200),
        (format!("/pumps/{mine}/export.csv"), 403, 200),
        (format!("/pumps/{other}/export.json"), 404, 200),
    ] {
        assert_eq!((luis.get(&path).await.status, olga.get(&path).await.status), (for_luis, for_olga), "{path}");
    }
    // A session reads pages and writes nothing of a device, and no address of programs takes it.
    for path in ["/v1/entries", "/v1/pumps", "/metrics"] {
        assert_eq!(olga.get(path).await.status, 401, "{path}");
    }
}
