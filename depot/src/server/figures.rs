//! What the whole record says of parts: how long they last, how honest the calls were, what to have on the shelf.
//!
//! The record only grows, so what was read of it is kept, without what is heavy in it: a view reads what came since the last one, and
//! an answer stands until something comes.

use std::sync::Arc;

use gritbook_core::CoreError;
use gritbook_core::call::TrackRecord;
use gritbook_core::fieldbook::WholeRecord;
use gritbook_core::ids::PumpId;
use gritbook_core::life::{LifeSummary, summary};
use gritbook_core::model::Part;
use gritbook_core::shelf::{Shelf, ShelfSettings, shelf};
use tokio::sync::{Mutex, OwnedMutexGuard};

use super::{Depot, on_disk};

/// Entries read at a time, and bytes of them.
const ROWS: u32 = 500;
const BYTES: usize = 4 * 1024 * 1024;
/// Answers that are kept: of readers who see different pumps, or ask of another shelf.
const KEPT: usize = 8;
const PARTS: [Part; 7] = [Part::Cup, Part::GuideBand, Part::ORing, Part::Plate, Part::Bore, Part::Coupler, Part::Bolts];

/// What is kept between views.
#[derive(Default)]
pub(super) struct Figures(Arc<Mutex<Kept>>);

#[derive(Default)]
struct Kept {
    record: WholeRecord,
    /// Number of the last entry in it.
    last: i64,
    answers: Vec<(Question, Arc<Told>)>,
}

#[derive(Clone, PartialEq)]
struct Question {
    /// Asked when the record ended here.
    last: i64,
    pumps: Option<Vec<PumpId>>,
    settings: ShelfSettings,
}

/// The answer.
#[derive(Debug)]
pub(super) struct Told {
    /// Of each kind of part of which any life is on record.
    pub(super) lives: Vec<LifeSummary>,
    pub(super) track: TrackRecord,
    /// None while the record has no row.
    pub(super) shelf: Option<Shelf>,
}

impl Depot {
    /// What the record of these pumps says, or of all.
    ///
    /// # Errors
    /// As the archive gives them; `bad_setting` for a shelf that is asked for out of range.
    pub(super) async fn told_of_parts(&self, pumps: Option<Vec<PumpId>>, settings: ShelfSettings) -> Result<Arc<Told>, CoreError> {
        let mut kept = Arc::clone(&self.figures().0).lock_owned().await;
        loop {
            let page = self.archive().entries_after(kept.last, ROWS, BYTES).await?;
            // Work that was begun is done and kept even where the reader has gone meanwhile.
            kept = on_disk(move || {
                page.docs.into_iter().for_each(|doc| kept.record.take_in(doc));
                kept.last = page.last;
                Ok(kept)
            })
            .await?;
            if !page.more {
                break;
            }
        }
        let question = Question { last: kept.last, pumps, settings };
        on_disk(move || answered(kept, question)).await
    }
}

fn answered(mut kept: OwnedMutexGuard<Kept>, question: Question) -> Result<Arc<Told>, CoreError> {
    if let Some((_, told)) = kept.answers.iter().find(|(known, _)| *known == question) {
        return Ok(Arc::clone(told));
    }
    let history = kept.record.history(question.pumps.as_deref())?;
    let found = match shelf(&history, &question.settings) {
        Ok(found) => Some(found),
        Err(error) if error.code() == "no_history" => None,
        Err(error) => return Err(error),
    };
    let told = Arc::new(Told {
        // A kind of part without any life has nothing to tell.
        lives: PARTS.iter().filter_map(|part| summary(&history, *part).ok()).collect(),
        track: kept.record.track_record(question.pumps.as_deref())?,
        shelf: found,
    });
    kept.answers.retain(|(known, _)| known.last == question.last);
    kept.answers.truncate(KEPT - 1);
    kept.answers.insert(0, (question, Arc::clone(&told)));
    Ok(told)
}
