//! What an open page is told of entries that came since.

use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use gritbook_core::ids::{DeviceId, PumpId};
use gritbook_depot::server::Settings;
use gritbook_depot::server::archive::people::Role;
use gritbook_system_tests::browser::{Browser, add};
use gritbook_system_tests::depot::{TestDepot, batch, box_check, now};

/// Where the page that the browser shows asks.
fn asks_at(browser: &Browser<'_>) -> String {
    browser.page.split_once("data-news=\"").unwrap().1.split_once('"').unwrap().0.replace("&#38;", "&").replace("&amp;", "&")
}

async fn come(depot: &TestDepot, device: DeviceId, pump: PumpId, seqs: std::ops::RangeInclusive<u64>) {
    let entries: Vec<_> = seqs.map(|seq| box_check(device, seq, pump, &[])).collect();
    assert_eq!(depot.put(batch(&entries)).await.status, 200);
}

#[tokio::test]
async fn open_page_is_told_of_entries_that_came_since() {
    let depot = TestDepot::new().await;
    let (device, pump, other) = (DeviceId::new(now()), PumpId::named("first"), PumpId::named("second"));
    come(&depot, device, pump, 1..=2).await;
    add(&depot, "Rosa", Role::Owner, Vec::new()).await;
    let mut rosa = Browser::signed_in(&depot, "Rosa").await;
    rosa.get("/").await;
    let fleet = asks_at(&rosa);
    rosa.get(&format!("/pumps/{pump}")).await;
    let of_pump = asks_at(&rosa);
    assert_ne!(fleet, of_pump);
    for address in [&fleet, &of_pump] {
        let reply = rosa.get(address).await;
        assert_eq!((reply.status, reply.body.len(), reply.header("cache-control")), (204, 0, "no-store"));
    }

    come(&depot, device, other, 3..=3).await;
    assert_eq!(rosa.get(&fleet).await.text(), "Show 1 new entry");
    assert_eq!(rosa.get(&of_pump).await.status, 204, "it is of another pump");
    come(&depot, device, pump, 4..=5).await;
    assert_eq!(rosa.get(&fleet).await.text(), "Show 3 new entries");
    assert_eq!(rosa.get(&of_pump).await.text(), "Show 2 new entries");
    rosa.get("/me").await;
    rosa.post("/me/choice", &[("language", "es")]).await;
    assert_eq!(rosa.get(&fleet).await.text(), "Mostrar 3 registros nuevos");
    // The page that is loaded anew has them all.
    rosa.get("/").await;
    assert_eq!(rosa.get(&asks_at(&rosa)).await.status, 204);
}

#[tokio::test]
async fn mechanic_is_told_of_own_pumps_alone_and_whoever_is_signed_out_of_none() {
    let depot = TestDepot::new().await;
    let (device, own, other) = (DeviceId::new(now()), PumpId::named("own"), PumpId::named("other"));
    come(&depot, device, own, 1..=1).await;
    add(&depot, "Luis", Role::Mechanic, vec![own]).await;
    let mut luis = Browser::signed_in(&depot, "Luis").await;
    luis.get("/").await;
    let fleet = asks_at(&luis);
    come(&depot, device, other, 2..=4).await;
    assert_eq!(luis.get(&fleet).await.status, 204);
    assert_eq!(luis.get(&format!("/news?had=0&pump={other}")).await.status, 204);
    come(&depot, device, own, 5..=5).await;
    assert_eq!(luis.get(&fleet).await.text(), "Show 1 new entry");

    let mut nobody = Browser::new(&depot);
    let reply = nobody.get("/news?had=0").await;
    let challenge = reply.header("www-authenticate");
    assert!(reply.status == 401 && challenge.starts_with("Bearer"), "no window of the browser's own comes up for it: {challenge}");
    for bad in ["/news", "/news?had=", "/news?had=-1", "/news?had=x", "/news?had=1&pump=first", "/news?had=1&had=2"] {
        assert_eq!(luis.get(bad).await.status, 400, "{bad}");
    }
}

#[tokio::test]
async fn page_that_is_left_open_keeps_nobody_signed_in() {
    static LATER: AtomicI64 = AtomicI64::new(0);
    let clock: fn() -> DateTime<Utc> = || now() + TimeDelta::minutes(LATER.load(Ordering::SeqCst));
    let depot = TestDepot::with(Settings { now: clock, session_idle: Duration::from_secs(3600), ..Settings::default() }).await;
    add(&depot, "Rosa", Role::Owner, Vec::new()).await;
    let mut rosa = Browser::signed_in(&depot, "Rosa").await;
    for minutes in (5..60).step_by(5) {
        LATER.store(minutes, Ordering::SeqCst);
        assert_eq!(rosa.get("/news?had=0").await.status, 204, "after {minutes} minutes");
    }
    LATER.store(61, Ordering::SeqCst);
    assert_eq!(rosa.get("/news?had=0").await.status, 401);
    assert_eq!(rosa.get("/").await.status, 401);
}
