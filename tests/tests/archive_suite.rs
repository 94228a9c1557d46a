//! What every archive must do, whatever database is behind it: one suite, run on each.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail loudly, as the tests do")]

use chrono::{DateTime, TimeDelta, Utc};
use gritbook_core::ids::{DeviceId, PumpId, Sha256Hex};
use gritbook_core::wire::v1::VerdictOutcome;
use gritbook_depot::server::Places;
use gritbook_depot::server::archive::{Archive, Creation, NewUpload, PhotoKind, PhotoRow, SqliteArchive, UploadState};
use gritbook_system_tests::depot::{box_check, now};

type Part = &'static str;

#[tokio::test]
async fn sqlite_in_the_data_folder_does_what_an_archive_must() {
    let folder = tempfile::tempdir().unwrap();
    suite(|part| SqliteArchive::open(&folder.path().join(part)).unwrap(), |part| std::fs::create_dir(folder.path().join(part)).unwrap())
        .await;
}

#[tokio::test]
async fn sqlite_elsewhere_does_what_an_archive_must() {
    let folder = tempfile::tempdir().unwrap();
    let prepare = |part: Part| {
        let database = format!("sqlite:{}", folder.path().join(format!("elsewhere/{part}.sqlite")).display());
        Places::choose(&folder.path().join(part), Some(&database), None).unwrap();
    };
    suite(|part| SqliteArchive::open(&folder.path().join(part)).unwrap(), prepare).await;
    assert!(folder.path().join("elsewhere/entries.sqlite").exists() && !folder.path().join("entries/depot.sqlite").exists());
}

/// `open` gives the archive of that name, the same one again when asked again; `prepare` makes room for it.
async fn suite<A: Archive>(open: impl Fn(Part) -> A, prepare: impl Fn(Part)) {
    prepare("devices");
    devices(&open("devices"), &open("devices")).await;
    prepare("entries");
    entries(&open("entries"), || open("entries")).await;
    prepare("uploads");
    uploads(&open("uploads"), || open("uploads")).await;
    prepare("keeping");
    keeping(&open("keeping"), || open("keeping")).await;
    prepare("facts");
    open("facts").remember("address", "http://127.0.0.1:1".into()).await.unwrap();
    open("facts").remember("address", "http://127.0.0.1:2".into()).await.unwrap();
    assert_eq!(open("facts").recall("address").await.unwrap().as_deref(), Some("http://127.0.0.1:2"));
    assert_eq!(open("facts").recall("key_sha256").await.unwrap(), None);
}

/// A device is found by its token, a name is held once, and a second process sees the same at once.
async fn devices(archive: &dyn Archive, beside: &dyn Archive) {
    let (token, other) = (Sha256Hex::of(b"token"), Sha256Hex::of(b"other"));
    archive.enroll("north".into(), token, now()).await.unwrap();
    let found = beside.device(token).await.unwrap().unwrap();
    assert_eq!((found.name.as_str(), found.token_hash, found.revoked), ("north", token, false));
    assert_eq!(archive.device(other).await.unwrap(), None);
    assert_eq!(archive.enroll("north".into(), other, now()).await.unwrap_err().code(), "name_taken");
    beside.revoke("north".into(), now()).await.unwrap();
    assert!(archive.device(token).await.unwrap().unwrap().revoked);
    assert_eq!(archive.revoke("north".into(), now()).await.unwrap_err().code(), "no_such_device");
    // The name is free again, the old token stays dead.
    archive.enroll("north".into(), other, now()).await.unwrap();
    assert!(archive.device(token).await.unwrap().unwrap().revoked && !archive.device(other).await.unwrap().unwrap().revoked);
}

/// Entries are there once and word for word, in one order that never changes, after opening anew too.
async fn entries<A: Archive>(archive: &A, again: impl Fn() -> A) {
    let token = Sha256Hex::of(b"token");
    archive.enroll("north".into(), token, now()).await.unwrap();
    let by = archive.device(token).await.unwrap().unwrap().number;
    let (device, pump, photo) = (DeviceId::new(now()), PumpId::new(now()), Sha256Hex::of(b"photo"));
    let texts: Vec<String> = (1..=7).map(|seq| box_check(device, seq, pump, &[photo])).collect();
    let store = |texts: &[String]| archive.store_entries(texts.to_vec(), by, now());
    let outcomes = |verdicts: Vec<gritbook_core::wire::v1::Verdict>| verdicts.into_iter().map(|one| one.outcome).collect::<Vec<_>>();
    assert_eq!(outcomes(store(&texts[..3]).await.unwrap()), vec![VerdictOutcome::Stored; 3]);
    assert_eq!(archive.entry_count(None).await.unwrap(), 3);
    assert_eq!(archive.entry_count(Some(vec![pump, PumpId::new(now())])).await.unwrap(), 3);
    assert_eq!(archive.entry_count(Some(Vec::new())).await.unwrap(), 0);
    // What is there already and what is no entry keep the others of the batch from nothing.
    let mixed = [texts[2].clone(), "{}".to_owned(), texts[3].clone()];
    let mixed = outcomes(store(&mixed).await.unwrap());
    assert!(matches!(&mixed[..], [VerdictOutcome::AlreadyThere, VerdictOutcome::Refused { .. }, VerdictOutcome::Stored]), "{mixed:?}");
    // The same id with another text is neither stored nor written over.
    let twisted = texts[0].replace("Rosa", "Luis");
    assert!(matches!(&outcomes(store(&[twisted]).await.unwrap())[..], [VerdictOutcome::Refused { .. }]));
    store(&texts[4..]).await.unwrap();

    let archive = again();
    let (mut after, mut seen) = (0, Vec::new());
    loop {
        let page = archive.entries_after(after, 2, usize::MAX).await.unwrap();
        assert!(page.docs.len() <= 2 && (page.last > after || page.docs.is_empty()));
        seen.extend(page.docs);
        after = page.last;
        if !page.more {
            break;
        }
    }
    assert_eq!(seen, texts);
    // A page is bounded by its bytes, but never empty while there is more.
    let page = archive.entries_after(0, 100, 1).await.unwrap();
    assert_eq!((page.docs.len(), page.more), (1, true));
    let found = archive.pump(pump, 2).await.unwrap().unwrap();
    assert_eq!((found.total, found.newest), (7, vec![texts[6].clone(), texts[5].clone()]));
    assert_eq!(archive.pump_part(pump, 5, 5).await.unwrap().unwrap().newest, vec![texts[1].clone(), texts[0].clone()]);
    assert_eq!(archive.entries_of(pump).await.unwrap(), texts);
    assert_eq!(archive.pump(PumpId::named("nobody's"), 2).await.unwrap(), None);
    assert!(archive.photo_is_of(photo, vec![pump]).await.unwrap());
    assert!(!archive.photo_is_of(photo, vec![PumpId::named("nobody's")]).await.unwrap());
    assert_eq!((archive.holdings().await.unwrap().entries, archive.entries_missing().await.unwrap()), (7, 0));
    let gap = box_check(device, 10, pump, &[]);
    archive.store_entries(vec![gap], by, now()).await.unwrap();
    assert_eq!(archive.entries_missing().await.unwrap(), 2, "8 and 9 are known to exist");
}

fn later(days: i64) -> DateTime<Utc> {
    now() + TimeDelta::days(days)
}

/// An upload is one by its name; what was promised counts; one that is over can be begun again; a stored photo stays.
async fn uploads<A: Archive>(archive: &A, again: impl Fn() -> A) {
    let token = Sha256Hex::of(b"token");
    archive.enroll("north".into(), token, now()).await.unwrap();
    let device = archive.device(token).await.unwrap().unwrap().number;
    let (one, other) = (Sha256Hex::of(b"one"), Sha256Hex::of(b"other"));
    let new = |id: &str, sha256, length| NewUpload {
        id: id.into(),
        sha256: Some(sha256),
        metadata: "filename YQ==".into(),
        length,
        device,
        now: now(),
        expires: later(14),
    };
    assert!(matches!(archive.create_upload(new("a", one, 100)).await.unwrap(), Creation::Created(upload) if upload.offset == 0));
    archive.set_offset("a".into(), 60, later(20)).await.unwrap();
    let archive = again();
    let Creation::Same(found) = archive.create_upload(new("a", one, 100)).await.unwrap() else { panic!("not the same") };
    assert_eq!((found.offset, found.state, found.expires), (60, UploadState::Open, later(20)));
    assert_eq!(archive.create_upload(new("a", other, 100)).await.unwrap(), Creation::Different);
    assert_eq!(archive.create_upload(new("a", one, 99)).await.unwrap(), Creation::Different);
    assert_eq!(archive.photo_bytes().await.unwrap(), 100, "what an open upload may grow to counts");

    assert!(archive.expired_uploads(later(19)).await.unwrap().is_empty());
    assert!(!archive.expire_upload("a".into(), later(19)).await.unwrap());
    assert_eq!(archive.expired_uploads(later(21)).await.unwrap(), ["a"]);
    assert!(archive.expire_upload("a".into(), later(21)).await.unwrap());
    assert_eq!(archive.upload("a".into()).await.unwrap().unwrap().state, UploadState::Gone);
    assert_eq!(archive.photo_bytes().await.unwrap(), 0);
    assert!(matches!(archive.create_upload(new("a", one, 100)).await.unwrap(), Creation::Created(upload) if upload.offset == 0));

    let photo = PhotoRow { sha256: one, bytes: 100, kind: PhotoKind::Jpeg };
    archive.finish_upload("a".into(), photo.clone(), now()).await.unwrap();
    assert_eq!(archive.photo(one).await.unwrap(), Some(photo));
    assert_eq!(archive.upload("a".into()).await.unwrap().unwrap().state, UploadState::Stored);
    assert_eq!(archive.photos_known(vec![other, one]).await.unwrap().here, [one]);
    // Sent by another phone too it is there at once, and counts once.
    let Creation::Created(found) = archive.create_upload(new("b", one, 100)).await.unwrap() else { panic!("not made") };
    assert_eq!((found.state, archive.photo_bytes().await.unwrap()), (UploadState::Stored, 100));
    archive.drop_upload("b".into()).await.unwrap();
    archive.forget_closed_uploads(later(4000)).await.unwrap();
    assert_eq!(archive.upload("b".into()).await.unwrap(), None);
    assert!(archive.photo(one).await.unwrap().is_some());
}

/// A photo that is put away stays known, is taken back while its file is there, and is here again once it is sent anew.
async fn keeping<A: Archive>(archive: &dyn Archive, again: impl Fn() -> A) {
    let names = [Sha256Hex::of(b"old"), Sha256Hex::of(b"old and spared"), Sha256Hex::of(b"new")];
    let [old, spared, new] = names;
    for (sha256, day) in names.into_iter().zip([0, 0, 40]) {
        let photo = PhotoRow { sha256, bytes: 100, kind: PhotoKind::Jpeg };
        archive.finish_upload("-".into(), photo, later(day)).await.unwrap();
    }
    assert!(archive.photos_going().await.unwrap().is_empty());
    assert_eq!(archive.put_photos_away(later(30), vec![spared], later(50)).await.unwrap(), 1);
    assert_eq!(archive.put_photos_away(later(30), vec![spared], later(51)).await.unwrap(), 0, "once");
    let archive = again();
    let known = archive.photos_known(vec![old, spared, new, Sha256Hex::of(b"never")]).await.unwrap();
    assert_eq!((known.here, known.put_away), (vec![spared, new], vec![old]));
    assert_eq!((archive.photo(old).await.unwrap(), archive.holdings().await.unwrap().photos), (None, 2));
    let going = archive.photos_going().await.unwrap();
    assert_eq!((going.len(), going[0].photo.sha256, going[0].stored, going[0].put_away), (1, old, now(), later(50)));
    archive.take_photo_back(old).await.unwrap();
    assert!(archive.photo(old).await.unwrap().is_some());

    archive.put_photos_away(later(30), vec![spared], later(60)).await.unwrap();
    assert_eq!(archive.photo_bytes().await.unwrap(), 300, "its file is still there");
    archive.photo_gone(old, later(61)).await.unwrap();
    assert_eq!((archive.photo_bytes().await.unwrap(), archive.photos_going().await.unwrap().len()), (200, 0));
    archive.take_photo_back(old).await.unwrap();
    assert_eq!(archive.photo(old).await.unwrap(), None, "what is gone cannot be taken back");
    archive.photo_gone(new, later(61)).await.unwrap();
    assert!(archive.photo(new).await.unwrap().is_some(), "only what was put away goes");
    archive.finish_upload("-".into(), PhotoRow { sha256: old, bytes: 100, kind: PhotoKind::Jpeg }, later(62)).await.unwrap();
    assert_eq!(archive.photos_known(vec![old]).await.unwrap().here, [old], "sent anew");
    let audit = archive.audit(None, 10).await.unwrap();
    assert_eq!(
        audit.iter().filter(|row| row.what == "photos_put_away").map(|row| row.about.as_deref()).collect::<Vec<_>>(),
        [Some("1"); 2]
    );
}
