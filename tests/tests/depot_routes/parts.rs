//! What the whole record says of parts, on the pages: against the same asked of a book that holds it.

use chrono::{DateTime, FixedOffset, TimeDelta};
use gritbook_core::call::{CallCode, Costs};
use gritbook_core::fieldbook::{CallQuestion, FieldBook, OpenOptions};
use gritbook_core::ids::PumpId;
use gritbook_core::model::entry::{Called, Fitted, Poured, RemovalReason, Removed};
use gritbook_core::model::{Cup, Part, PumpSpec};
use gritbook_core::shelf::{ShelfSettings, shelf};
use gritbook_depot::server::archive::people::Role;
use gritbook_system_tests::browser::{Browser, add};
use gritbook_system_tests::depot::{TestDepot, batch};

fn morning() -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339("2026-03-02T06:00:00-06:00").unwrap()
}

struct Shop {
    book: FieldBook,
    _folder: tempfile::TempDir,
    now: DateTime<FixedOffset>,
}

impl Shop {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let book = FieldBook::open(folder.path(), &OpenOptions { person: "Rosa".into(), device_name: "desk".into() }, morning()).unwrap();
        Self { book, _folder: folder, now: morning() }
    }

    fn next(&mut self) -> DateTime<FixedOffset> {
        self.now += TimeDelta::hours(20);
        self.now
    }

    fn fit(&mut self, pump: PumpId, total: f64) {
        for cup in [Cup::A, Cup::B] {
            let at = self.next();
            let fitted = Fitted { part: Part::Cup, cup: Some(cup), pump_m3: Some(total), already_in: false, age_m3: None };
            self.book.fitted(pump, fitted, at).unwrap();
        }
    }

    /// Asks for the call, records it, pours, and ends the cups' lives where they fail.
    fn pour(&mut self, pump: PumpId, total: &mut f64, m3: f64, fails: bool) {
        let question = CallQuestion { next_pour_m3: m3, pump_m3: Some(*total), concrete_bar: None, mix_factor: None };
        let at = self.next();
        let call = self.book.call(pump, &question, &Costs::default(), at).unwrap();
        let called = Called::of_document(&serde_json::to_string(&call).unwrap(), None::<CallCode>, None).unwrap();
        self.book.record_call(pump, called, at).unwrap();
        let at = self.next();
        self.book.poured(pump, Poured { pour_m3: Some(m3), pump_m3: None, concrete_bar: None, mix_factor: None }, at).unwrap();
        *total += m3;
        if fails {
            for (cup, reason) in [(Cup::A, RemovalReason::Failed), (Cup::B, RemovalReason::OtherCup)] {
                let at = self.next();
                self.book.removed(pump, Removed { part: Part::Cup, cup: Some(cup), reason, pump_m3: Some(*total) }, at).unwrap();
            }
            self.fit(pump, *total);
        }
    }

    /// Three pumps, five pairs of cups each.
    fn filled(&mut self) -> Vec<PumpId> {
        let mut pumps = Vec::new();
        for (number, name) in (0_u32..).zip(["Otter", "Heron", "Badger"]) {
            let at = self.next();
            let pump = self.book.add_pump(PumpSpec::assumed(name), at).unwrap();
            let mut total = 1_000.0 * f64::from(number + 1);
            self.fit(pump, total);
            for pour in 0..20 {
                self.pour(pump, &mut total, 900.0 + 50.0 * f64::from(number), pour % 4 == 3);
            }
            pumps.push(pump);
        }
        pumps
    }

    async fn send(&self, depot: &TestDepot) {
        let docs: Vec<String> = self.book.entries().unwrap().into_iter().map(|sealed| sealed.doc).collect();
        for some in docs.chunks(100) {
            let reply = depot.put(batch(some)).await;
            assert!(reply.status == 200 && !reply.text().contains("refused"), "{}", reply.text());
        }
    }
}

#[tokio::test]
async fn page_says_of_parts_what_a_book_with_the_same_entries_says() {
    let depot = TestDepot::new().await;
    add(&depot, "Rosa", Role::Owner, Vec::new()).await;
    let mut rosa = Browser::signed_in(&depot, "Rosa").await;
    assert_eq!(rosa.get("/parts").await.status, 200);
    assert!(rosa.page.contains("No life of a part is on record yet.") && !rosa.page.contains("On the shelf"), "{}", rosa.page);

    let mut shop = Shop::new();
    let pumps = shop.filled();
    shop.send(&depot).await;
    assert_eq!(rosa.get("/parts").await.status, 200);
    let life = shop.book.life(Part::Cup).unwrap();
    assert!(life.lives.all_failures() >= 15 && !life.prior_used);
    let counts = format!("{} failed, {} sound when last seen.", life.lives.all_failures(), life.lives.right_censored);
    assert!(rosa.page.contains(&counts), "{}", rosa.page);
    let b10 = life.with_signs.as_ref().unwrap().law.b10_m3.value;
    // 4 321 with a thin space between.
    let shown = format!("{:.0}", b10);
    let shown = format!("One in ten has failed by {}\u{202f}{}", &shown[..shown.len() - 3], &shown[shown.len() - 3..]);
    assert!(rosa.page.contains(&shown), "{shown}\n{}", rosa.page);
    let track = shop.book.track_record().unwrap();
    assert!(track.forecasts >= 50 && track.failed == 15);
    assert!(rosa.page.contains(&format!("{} calls whose pour is over: 15 failed", track.forecasts)), "{}", rosa.page);
    let usual = shelf(&shop.book.history().unwrap(), &ShelfSettings::default()).unwrap();
    assert!(rosa.page.contains(&format!("Order when {} cups are left.", usual.reorder_point_cups)), "{}", rosa.page);
    assert_eq!(rosa.page.matches("class=\"chart\"").count(), 2);
    for (pump, name) in pumps.iter().zip(["Otter", "Heron", "Badger"]) {
        assert!(rosa.page.contains(&format!("<a href=\"/pumps/{pump}\">{name}</a>")));
    }

    // Another shelf is asked for, and what came since counts.
    rosa.get("/parts?days=90&service=99").await;
    let settings = ShelfSettings { lead_time_days: 90.0, service: 0.99, ..ShelfSettings::default() };
    let longer = shelf(&shop.book.history().unwrap(), &settings).unwrap();
    assert!(longer.reorder_point_cups > usual.reorder_point_cups);
    assert!(rosa.page.contains(&format!("Order when {} cups are left.", longer.reorder_point_cups)), "{}", rosa.page);
    assert!(rosa.page.contains("name=\"days\" inputmode=\"numeric\" value=\"90\"") && rosa.page.contains("value=\"99\" selected"));
    let mut total = 50_000.0;
    shop.pour(pumps[0], &mut total, 900.0, true);
    shop.send(&depot).await;
    rosa.get("/parts").await;
    assert!(rosa.page.contains(&format!("{} failed", life.lives.all_failures() + 1)), "{}", rosa.page);

    rosa.get("/me").await;
    rosa.post("/me/choice", &[("language", "es"), ("units", "inch")]).await;
    rosa.get("/parts").await;
    for words in ["Cuánto duran las piezas", "yd³", "Pida cuando queden", "Lo que se dijo y lo que pasó", "concreto por la pieza, yd3"] {
        assert!(rosa.page.contains(words), "{words}\n{}", rosa.page);
    }
    for bad in ["days=0", "days=366", "days=x", "service=49", "service=100", "service=-1"] {
        assert_eq!(rosa.get(&format!("/parts?{bad}")).await.status, 400, "{bad}");
    }
}

#[tokio::test]
async fn mechanic_is_told_of_own_pumps_alone() {
    let depot = TestDepot::new().await;
    let mut shop = Shop::new();
    let pumps = shop.filled();
    shop.send(&depot).await;
    add(&depot, "Rosa", Role::Office, Vec::new()).await;
    add(&depot, "Luis", Role::Mechanic, vec![pumps[1]]).await;
    let mut rosa = Browser::signed_in(&depot, "Rosa").await;
    rosa.get("/parts").await;
    assert!(rosa.page.contains("15 failed") && rosa.page.contains("Otter"), "{}", rosa.page);
    let mut luis = Browser::signed_in(&depot, "Luis").await;
    luis.get("/parts").await;
    assert!(luis.page.contains("5 failed") && luis.page.contains("Heron"), "{}", luis.page);
    assert!(!luis.page.contains("Otter") && !luis.page.contains("Badger"), "{}", luis.page);
    // Whoever asked last, each is told their own.
    rosa.get("/parts").await;
    assert!(rosa.page.contains("15 failed"), "{}", rosa.page);
    assert_eq!(Browser::new(&depot).get("/parts").await.status, 401);
}
