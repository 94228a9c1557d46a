//! What every store of photos must do, whatever keeps their bytes: one suite, run on each; and the depot upon a store of objects.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail loudly, as the tests do")]

use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use gritbook_core::ids::{DeviceId, PumpId, Sha256Hex};
use gritbook_depot::server::Settings;
use gritbook_depot::server::archive::{PhotoKind, PhotoRow};
use gritbook_depot::server::shelf::{PhotoFolder, PhotoObjects, PhotoStore};
use gritbook_system_tests::depot::{TestDepot, batch, box_check, metadata, now, photo_like};
use object_store::local::LocalFileSystem;
use object_store::memory::InMemory;
use object_store::{ObjectStore, ObjectStoreExt as _};

#[tokio::test]
async fn folder_does_what_a_store_of_photos_must() {
    let folder = tempfile::tempdir().unwrap();
    let photos = || PhotoFolder::open(folder.path().join("photos")).unwrap();
    suite(folder.path(), photos).await;
}

#[tokio::test]
async fn objects_in_memory_do_what_a_store_of_photos_must() {
    let (folder, objects) = (tempfile::tempdir().unwrap(), Arc::new(InMemory::new()));
    suite(folder.path(), || PhotoObjects::new(Arc::clone(&objects) as Arc<dyn ObjectStore>)).await;
}

#[tokio::test]
async fn objects_in_files_do_what_a_store_of_photos_must() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("objects");
    std::fs::create_dir(&root).unwrap();
    suite(folder.path(), || PhotoObjects::new(Arc::new(LocalFileSystem::new_with_prefix(&root).unwrap().with_fsync(true)))).await;
}

/// `open` gives the store, the same one again when asked again.
async fn suite<S: PhotoStore>(staging: &Path, open: impl Fn() -> S) {
    comes_back_as_it_went_in(staging, &open).await;
    call_that_was_broken_off_is_completed(staging, &open).await;
    parts(staging, &open()).await;
    removal(staging, &open).await;
    what_is_not_there(staging, &open()).await;
    many_at_once(staging, &open()).await;
}

fn staged(staging: &Path, bytes: &[u8]) -> (PathBuf, PhotoRow) {
    let sha256 = Sha256Hex::of(bytes);
    let path = staging.join(format!("{sha256}.part"));
    std::fs::write(&path, bytes).unwrap();
    (path, PhotoRow { sha256, bytes: bytes.len() as u64, kind: PhotoKind::of(bytes) })
}

async fn all(store: &dyn PhotoStore, photo: &PhotoRow, part: Range<u64>) -> Vec<u8> {
    let (mut bytes, mut parts) = (Vec::new(), store.read(photo.clone(), part).await.unwrap());
    while let Some(part) = parts.next().await {
        bytes.extend_from_slice(&part.unwrap());
    }
    bytes
}

/// Each kind, of no byte, of few, and of more than goes in one piece.
fn photos() -> Vec<Vec<u8>> {
    let jpeg = photo_like(12_000_000, 1);
    let png = [b"\x89PNG\r\n\x1a\n".as_slice(), &jpeg[..300_000]].concat();
    vec![jpeg, png, b"no picture".to_vec(), Vec::new()]
}

async fn comes_back_as_it_went_in<S: PhotoStore>(staging: &Path, open: impl Fn() -> S) {
    for bytes in photos() {
        let (path, photo) = staged(staging, &bytes);
        let store = open();
        assert_eq!(store.find(photo.sha256).await.unwrap(), None);
        assert!(!store.has(photo.clone()).await.unwrap());
        store.put(path.clone(), photo.clone()).await.unwrap();
        assert!(!path.exists(), "its bytes lie in one place");
        // Opened anew: nothing hangs on the one that put it.
        let store = open();
        assert!(store.has(photo.clone()).await.unwrap());
        assert_eq!(store.find(photo.sha256).await.unwrap(), Some(photo.clone()));
        assert!(all(&store, &photo, 0..photo.bytes).await == bytes, "{photo:?}");
    }
}

/// The process may end before the staged file is gone, and after.
async fn call_that_was_broken_off_is_completed<S: PhotoStore>(staging: &Path, open: impl Fn() -> S) {
    let (path, photo) = staged(staging, &photo_like(400_000, 2));
    open().put(path.clone(), photo.clone()).await.unwrap();
    open().put(path.clone(), photo.clone()).await.unwrap();
    let (again, _) = staged(staging, &photo_like(400_000, 2));
    open().put(again.clone(), photo.clone()).await.unwrap();
    assert!(!again.exists());
    assert_eq!(open().find(photo.sha256).await.unwrap(), Some(photo));
}

async fn parts(staging: &Path, store: &dyn PhotoStore) {
    let bytes = photo_like(300_000, 3);
    let (path, photo) = staged(staging, &bytes);
    store.put(path, photo.clone()).await.unwrap();
    for part in [0..1, 0..300_000, 100..250_001, 299_999..300_000, 5..5] {
        let expected = &bytes[usize::try_from(part.start).unwrap()..usize::try_from(part.end).unwrap()];
        assert!(all(store, &photo, part.clone()).await == expected, "{part:?}");
    }
    assert!(all(store, &photo, 299_000..400_000).await == bytes[299_000..], "it ends with the photo");
    // Whoever stops asking takes nothing from the next.
    let mut left = store.read(photo.clone(), 0..photo.bytes).await.unwrap();
    left.next().await.unwrap().unwrap();
    drop(left);
    assert!(all(store, &photo, 0..photo.bytes).await == bytes);
}

async fn removal<S: PhotoStore>(staging: &Path, open: impl Fn() -> S) {
    let (path, photo) = staged(staging, b"\xFF\xD8\xFF goes");
    let (other_path, other) = staged(staging, b"\xFF\xD8\xFF stays");
    open().put(path, photo.clone()).await.unwrap();
    open().put(other_path, other.clone()).await.unwrap();
    open().remove(photo.clone()).await.unwrap();
    open().remove(photo.clone()).await.unwrap();
    assert!(!open().has(photo.clone()).await.unwrap());
    assert_eq!(open().find(photo.sha256).await.unwrap(), None);
    assert_eq!(open().find(other.sha256).await.unwrap(), Some(other));
    // It may come again.
    let (path, photo) = staged(staging, b"\xFF\xD8\xFF goes");
    open().put(path, photo.clone()).await.unwrap();
    assert!(open().has(photo).await.unwrap());
}

async fn what_is_not_there(staging: &Path, store: &dyn PhotoStore) {
    let (path, photo) = staged(staging, b"\xFF\xD8\xFF was lost");
    std::fs::remove_file(&path).unwrap();
    assert_eq!(store.put(path, photo.clone()).await.unwrap_err().code(), "shelf_failed", "nothing to put in, and not in already");
    assert_eq!(store.read(photo.clone(), 0..photo.bytes).await.unwrap_err().code(), "shelf_failed");
}

async fn many_at_once(staging: &Path, store: &dyn PhotoStore) {
    let photos: Vec<_> = (10..30).map(|seed| staged(staging, &photo_like(50_000, seed))).collect();
    let calls: Vec<_> = photos.iter().map(|(path, photo)| tokio::spawn(store.put(path.clone(), photo.clone()))).collect();
    for call in calls {
        call.await.unwrap().unwrap();
    }
    for (_, photo) in photos {
        assert_eq!(store.find(photo.sha256).await.unwrap(), Some(photo));
    }
}

fn picture() -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    image::RgbImage::from_pixel(900, 300, image::Rgb([90, 80, 70])).write_to(&mut bytes, image::ImageFormat::Png).unwrap();
    bytes.into_inner()
}

#[tokio::test]
async fn depot_upon_objects_takes_shows_and_puts_away_photos() {
    static LATER: AtomicI64 = AtomicI64::new(0);
    let clock: fn() -> DateTime<Utc> = || now() + TimeDelta::days(LATER.load(Ordering::SeqCst));
    let objects = Arc::new(InMemory::new());
    let settings = Settings { page_open: true, now: clock, keep_photos: Some(Duration::from_secs(40 * 24 * 3600)), ..Settings::default() };
    let depot = TestDepot::on(Arc::new(PhotoObjects::new(Arc::clone(&objects) as Arc<dyn ObjectStore>)), settings).await;

    let (named, other) = (picture(), photo_like(6_000_000, 1));
    for (id, bytes) in [("named", &named), ("other", &other)] {
        let location = depot.create(bytes.len(), &metadata(bytes, id)).await;
        let half = bytes.len() / 2;
        assert_eq!(depot.patch(&location, 0, bytes[..half].to_vec()).await.header("upload-offset"), half.to_string());
        assert!(objects.head(&format!("{}.jpg", Sha256Hex::of(bytes)).into()).await.is_err(), "half a photo is none");
        assert_eq!(depot.patch(&location, half as u64, bytes[half..].to_vec()).await.status, 204);
    }
    assert_eq!(std::fs::read_dir(depot.folder.path().join("incoming")).unwrap().count(), 0);
    assert!(!depot.folder.path().join("photos").exists());

    let (sha256, gone) = (Sha256Hex::of(&named), Sha256Hex::of(&other));
    assert_eq!(depot.put(batch(&[box_check(DeviceId::new(now()), 1, PumpId::named("P1"), &[sha256])])).await.status, 200);
    let reply = depot.get(&format!("/v1/photos/{gone}")).await;
    assert!(reply.status == 200 && reply.body == other);
    let small = image::load_from_memory(&depot.get(&format!("/thumbs/{sha256}")).await.body).unwrap();
    assert_eq!((small.width(), small.height()), (640, 213));

    LATER.store(41, Ordering::SeqCst);
    depot.depot.sweep().await.unwrap();
    LATER.store(43, Ordering::SeqCst);
    depot.depot.sweep().await.unwrap();
    assert_eq!(depot.get(&format!("/v1/photos/{gone}")).await.status, 410);
    assert!(objects.head(&format!("{gone}.jpg").into()).await.is_err());
    assert_eq!(depot.get(&format!("/v1/photos/{sha256}")).await.body, named, "a newest entry names it");
}
