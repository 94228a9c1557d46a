//! What the demo's book knows before its day begins: cups that were fitted, that lasted and that failed. All invented.

use chrono::{DateTime, FixedOffset, TimeDelta};
use gritbook_core::CoreError;
use gritbook_core::fieldbook::FieldBook;
use gritbook_core::ids::PumpId;
use gritbook_core::model::entry::{Fitted, Poured, RemovalReason, Removed};
use gritbook_core::model::{Cup, Part, PumpSpec};

/// A pump's earlier pairs of cups: m3 each lasted, and how the pair ended; then what the pair that is in has done.
pub(super) struct Past {
    pub(super) pump: &'static str,
    began_m3: f64,
    pairs: &'static [(f64, End)],
    running_m3: f64,
}

#[derive(Clone, Copy)]
enum End {
    /// Cup A gave up mid-pour.
    Failed,
    /// Sand in the box: both came out in time.
    Worn,
}

pub(super) const PASTS: [Past; 3] = [
    Past {
        pump: "Heron",
        began_m3: 3_390.0,
        pairs: &[(4_800.0, End::Failed), (3_900.0, End::Worn), (5_250.0, End::Failed)],
        running_m3: 900.0,
    },
    Past {
        pump: "Badger",
        began_m3: 5_710.0,
        pairs: &[(4_300.0, End::Failed), (4_600.0, End::Worn), (4_400.0, End::Failed)],
        running_m3: 3_800.0,
    },
    Past { pump: "Otter", began_m3: 1_860.0, pairs: &[(3_600.0, End::Failed)], running_m3: 4_000.0 },
];

impl Past {
    /// Running total on the morning of the demo, m3.
    pub(super) fn total_m3(&self) -> f64 {
        self.began_m3 + self.pairs.iter().map(|(lasted, _)| lasted).sum::<f64>() + self.running_m3
    }

    /// Adds the pump and records its past, ending some days before `now`.
    pub(super) fn record(&self, book: &FieldBook, now: DateTime<FixedOffset>) -> Result<PumpId, CoreError> {
        let changes = self.pairs.len() as i32;
        let at = |change: i32| now - TimeDelta::days(i64::from(100 * (changes - change) + 40));
        let pump = book.add_pump(PumpSpec::assumed(self.pump), at(-1))?;
        let mut total = self.began_m3;
        fit(book, pump, total, at(-1))?;
        for (change, (lasted, end)) in (0..).zip(self.pairs) {
            total += lasted;
            for cup in [Cup::A, Cup::B] {
                let reason = match (end, cup) {
                    (End::Failed, Cup::A) => RemovalReason::Failed,
                    (End::Failed, Cup::B) => RemovalReason::OtherCup,
                    (End::Worn, _) => RemovalReason::Worn,
                };
                book.removed(pump, Removed { part: Part::Cup, cup: Some(cup), reason, pump_m3: Some(total) }, at(change))?;
            }
            fit(book, pump, total, at(change))?;
        }
        let total = self.total_m3();
        book.poured(
            pump,
            Poured { pour_m3: None, pump_m3: Some(total), concrete_bar: Some(68.0), mix_factor: None },
            now - TimeDelta::days(1),
        )?;
        Ok(pump)
    }
}

fn fit(book: &FieldBook, pump: PumpId, total: f64, at: DateTime<FixedOffset>) -> Result<(), CoreError> {
    for cup in [Cup::A, Cup::B] {
        book.fitted(pump, Fitted { part: Part::Cup, cup: Some(cup), pump_m3: Some(total), already_in: false, age_m3: None }, at)?;
    }
    Ok(())
}
