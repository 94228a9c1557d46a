//! A rule on keeping photos: what goes, what stays, and what pages say of it.

use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use gritbook_core::ids::{DeviceId, PumpId, Sha256Hex};
use gritbook_depot::server::Settings;
use gritbook_depot::server::archive::people::Role;
use gritbook_system_tests::browser::{Browser, add};
use gritbook_system_tests::depot::{TestDepot, batch, box_check, metadata, now, photo_like};

const DAY: u64 = 24 * 3600;

async fn send_photo(depot: &TestDepot, seed: u64) -> Sha256Hex {
    let photo = photo_like(5_000, seed);
    let location = depot.create(photo.len(), &metadata(&photo, &format!("photo-{seed}"))).await;
    assert_eq!(depot.patch(&location, 0, photo.clone()).await.status, 204);
    Sha256Hex::of(&photo)
}

fn on_the_shelf(depot: &TestDepot) -> usize {
    std::fs::read_dir(depot.folder.path().join("photos")).unwrap().count()
}

async fn status(depot: &TestDepot, photo: Sha256Hex) -> u16 {
    depot.get(&format!("/v1/photos/{photo}")).await.status
}

/// 61 checks of one pump with a photo each, the first too old for its 60 newest entries; two of another pump; one photo of no entry.
async fn filled(clock: fn() -> DateTime<Utc>, keep_days: Option<u64>) -> (TestDepot, PumpId, Vec<Sha256Hex>) {
    let keep_photos = keep_days.map(|days| Duration::from_secs(days * DAY));
    let depot = TestDepot::with(Settings { now: clock, keep_photos, ..Settings::default() }).await;
    let (device, pump, other) = (DeviceId::new(now()), PumpId::named("busy"), PumpId::named("quiet"));
    let mut photos = Vec::new();
    for seed in 0..64 {
        photos.push(send_photo(&depot, seed).await);
    }
    let of = |seq: usize, pump| box_check(device, seq as u64 + 1, pump, &[photos[seq]]);
    let entries: Vec<_> = (0..61).map(|seq| of(seq, pump)).chain((61..63).map(|seq| of(seq, other))).collect();
    assert_eq!(depot.put(batch(&entries)).await.status, 200);
    (depot, pump, photos)
}

#[tokio::test]
async fn photos_past_their_time_go_a_day_later_and_those_of_the_newest_entries_stay() {
    static LATER: AtomicI64 = AtomicI64::new(0);
    let clock: fn() -> DateTime<Utc> = || now() + TimeDelta::hours(LATER.load(Ordering::SeqCst));
    let (depot, pump, photos) = filled(clock, Some(90)).await;
    let (old, of_none) = (photos[0], photos[63]);
    LATER.store(90 * 24 - 1, Ordering::SeqCst);
    depot.depot.sweep().await.unwrap();
    assert_eq!((status(&depot, old).await, status(&depot, of_none).await), (200, 200));

    LATER.store(90 * 24 + 1, Ordering::SeqCst);
    depot.depot.sweep().await.unwrap();
    for gone in [old, of_none] {
        let reply = depot.get(&format!("/v1/photos/{gone}")).await;
        assert_eq!((reply.status, reply.problem().as_str()), (410, "photo_put_away"));
    }
    for (at, photo) in photos.iter().enumerate().filter(|(at, _)| ![0, 63].contains(at)) {
        assert_eq!(status(&depot, *photo).await, 200, "{at} is of a newest entry");
    }
    assert_eq!(on_the_shelf(&depot), 64, "files stay for a day");

    add(&depot, "Rosa", Role::Owner, Vec::new()).await;
    let mut rosa = Browser::signed_in(&depot, "Rosa").await;
    rosa.get(&format!("/pumps/{pump}?page=3")).await;
    assert!(rosa.page.contains("was put away: kept for a set time") && !rosa.page.contains("still on the phone"), "{}", rosa.page);
    rosa.get("/audit").await;
    assert!(rosa.page.contains("put photos away by rule:"), "{}", rosa.page);
    assert_eq!(depot.get(&format!("/v1/pumps/{pump}/report.pdf")).await.status, 200);

    LATER.store(91 * 24 + 2, Ordering::SeqCst);
    depot.depot.sweep().await.unwrap();
    depot.depot.sweep().await.unwrap();
    assert_eq!((on_the_shelf(&depot), status(&depot, old).await), (62, 410));
    // The record is whole: the entry still names the photo.
    assert!(depot.get("/v1/entries?limit=500").await.text().contains(&old.to_string()));

    // A phone that sends it anew as before is told that it came.
    let again = photo_like(5_000, 0);
    let location = depot.create(again.len(), &metadata(&again, "sent-anew")).await;
    assert_eq!(depot.head(&location).await.header("upload-offset"), "5000");
    assert_eq!(on_the_shelf(&depot), 62);
}

#[tokio::test]
async fn rule_taken_back_within_a_day_takes_back_what_it_did() {
    static LATER: AtomicI64 = AtomicI64::new(0);
    let clock: fn() -> DateTime<Utc> = || now() + TimeDelta::days(LATER.load(Ordering::SeqCst));
    let (depot, _, photos) = filled(clock, Some(90)).await;
    LATER.store(91, Ordering::SeqCst);
    depot.depot.sweep().await.unwrap();
    assert_eq!(status(&depot, photos[0]).await, 410);
    let kept = Settings { now: clock, ..Settings::default() };
    let other = gritbook_depot::server::Depot::open(depot.folder.path(), kept).unwrap();
    LATER.store(95, Ordering::SeqCst);
    other.sweep().await.unwrap();
    assert_eq!((status(&depot, photos[0]).await, on_the_shelf(&depot)), (200, 64));
}

#[tokio::test]
async fn depot_without_a_rule_keeps_photos_for_good() {
    static LATER: AtomicI64 = AtomicI64::new(0);
    let clock: fn() -> DateTime<Utc> = || now() + TimeDelta::days(LATER.load(Ordering::SeqCst));
    let (depot, _, photos) = filled(clock, None).await;
    LATER.store(300, Ordering::SeqCst);
    depot.depot.sweep().await.unwrap();
    assert_eq!((status(&depot, photos[0]).await, on_the_shelf(&depot)), (200, 64));
}
