//! What an answer changes. Each answer is one transaction.

use chrono::{DateTime, FixedOffset};
use rusqlite::Transaction;
use uuid::Uuid;

use super::policy::{self, Outcome, REDOS_BEFORE_PAUSE, Step};
use super::{Answer, Outbox, OutboxEvent, Sent, Ticket, TransportFault, Work, tus};
use crate::error::CoreError;
use crate::failpoint::failpoint;
use crate::fieldbook::FieldBook;
use crate::ids::{PhotoId, Sha256Hex};
use crate::model::entry::SealedEntry;
use crate::model::outgoing::Trouble;
use crate::store::aside::{AsideProblem, SetAside};
use crate::store::{aside, device, entries, queue};
use crate::wire::v1::{CODE_REVOKED, CODE_TOO_LATE, CODE_USED, EntriesPage, LET_IN_SCHEMA, LetIn, UNKNOWN_CODE, VerdictOutcome, Verdicts};

/// What an accepted answer led to.
enum Read {
    Done(Vec<OutboxEvent>),
    /// The status was right, the content was not.
    Otherwise(Outcome),
}

impl Outbox {
    /// Takes what came of a request. Tells what changed.
    ///
    /// # Errors
    /// What writing the book gives; then nothing is changed, and the request is made again in time.
    pub fn answer(
        &mut self,
        book: &FieldBook,
        ticket: Ticket,
        result: &Result<Answer, TransportFault>,
        now: DateTime<FixedOffset>,
    ) -> Result<Vec<OutboxEvent>, CoreError> {
        failpoint!("outbox_answered");
        let draw = self.draw();
        if let Ok(answer) = result {
            self.heed(answer);
        }
        let mut store = book.store()?;
        let step = match &ticket.0 {
            Work::LetIn => Step::LetIn,
            Work::Create { .. } => Step::CreatePhoto,
            Work::Ask { .. } => Step::AskOffset,
            Work::Chunk { .. } => Step::SendChunk,
            Work::Entries(batch) => Step::SendEntries(batch.len()),
            Work::Pull { .. } => Step::Pull,
        };
        let mut outcome = policy::judge(step, result, now);
        let now_ms = now.timestamp_millis();
        match (&ticket.0, &outcome) {
            (Work::Chunk { .. }, Outcome::Accepted) => self.fit_chunk(Some(now_ms - self.began_ms)),
            (Work::Chunk { .. }, Outcome::Network(_)) => self.fit_chunk(None),
            _ => {}
        }
        let events = store.write("storing what the depot answered", |transaction| {
            if let (Outcome::Accepted, Ok(answer)) = (&outcome, result) {
                match self.read(transaction, &ticket.0, answer, now)? {
                    Read::Done(events) => {
                        queue::set_pause(transaction, None)?;
                        failpoint!("outbox_answer_before_commit");
                        return Ok(events);
                    }
                    Read::Otherwise(otherwise) => outcome = otherwise,
                }
            }
            let mut events = Vec::new();
            if let Some(held) = self.otherwise(transaction, &ticket.0, &outcome, now, &mut events)? {
                outcome = held;
            }
            if let (Work::LetIn, Outcome::Later { trouble, .. }) = (&ticket.0, &outcome)
                && [CODE_USED, CODE_TOO_LATE, CODE_REVOKED, UNKNOWN_CODE].contains(&trouble.code.as_str())
            {
                events.push(OutboxEvent::TurnedAway);
            }
            let before = queue::pause(transaction)?;
            if let Some(pause) = policy::pause_after(before.as_ref(), &outcome, &self.settings.backoff, draw, now_ms) {
                queue::set_pause(transaction, Some(&pause))?;
                if let Outcome::Network(trouble) | Outcome::Later { trouble, .. } = outcome {
                    let until = DateTime::from_timestamp_millis(pause.until_ms).unwrap_or_default();
                    events.push(OutboxEvent::Paused { until, trouble });
                }
            }
            failpoint!("outbox_answer_before_commit");
            Ok(events)
        })?;
        failpoint!("outbox_answer_stored");
        Ok(events)
    }

    /// Reads an answer with the status of success.
    fn read(&mut self, transaction: &Transaction<'_>, work: &Work, answer: &Answer, now: DateTime<FixedOffset>) -> Result<Read, CoreError> {
        let now_ms = now.timestamp_millis();
        match work {
            Work::LetIn => {
                // A page that stands in the way answers with 200 too: a code thrown away for it would be lost.
                if !serde_json::from_slice::<LetIn>(&answer.body).is_ok_and(|told| told.schema == LET_IN_SCHEMA) {
                    return Ok(Read::Otherwise(odd("the answer does not say that this device was let in")));
                }
                self.code = None;
                Ok(Read::Done(vec![OutboxEvent::LetIn]))
            }
            Work::Create { item, photo, length } => {
                let offset = tus::offset(answer);
                if offset == Some(*length) {
                    return photo_sent(transaction, *item, *photo, now_ms);
                }
                let Some(path) = tus::location(answer) else { return Ok(Read::Otherwise(odd("the answer names no place for the upload"))) };
                let offset = offset.filter(|offset| offset < length);
                // Only bytes that arrived count as moving on: a depot that creates and never keeps anything must not spin.
                progress(transaction, *item, *photo, &path, offset, *length, offset.is_some_and(|offset| offset > 0))
            }
            Work::Ask { item, photo, length, path } => match tus::offset(answer) {
                Some(offset) if offset == *length => photo_sent(transaction, *item, *photo, now_ms),
                Some(offset) if offset < *length => progress(transaction, *item, *photo, path, Some(offset), *length, false),
                Some(_) => Ok(Read::Otherwise(Outcome::CreateAnew)),
                None => Ok(Read::Otherwise(odd("the answer does not say how much of the photo is there"))),
            },
            Work::Chunk { item, photo, length, path, offset, count } => match tus::offset(answer) {
                Some(reached) if reached == *length => photo_sent(transaction, *item, *photo, now_ms),
                Some(reached) if reached > *offset && reached <= offset + count => {
                    progress(transaction, *item, *photo, path, Some(reached), *length, true)
                }
                _ => Ok(Read::Otherwise(Outcome::AskOffset)),
            },
            Work::Entries(batch) => self.read_verdicts(transaction, batch, answer, now_ms),
            Work::Pull { cursor } => self.read_page(transaction, cursor, answer, now),
        }
    }

    fn read_verdicts(&mut self, transaction: &Transaction<'_>, batch: &[Sent], answer: &Answer, now_ms: i64) -> Result<Read, CoreError> {
        let Ok(verdicts) = serde_json::from_slice::<Verdicts>(&answer.body) else {
            return Ok(Read::Otherwise(odd("the answer holds no verdicts")));
        };
        let fits = verdicts.verdicts.len() == batch.len()
            && batch
                .iter()
                .zip(&verdicts.verdicts)
                .all(|(sent, verdict)| verdict.hash == sent.hash && verdict.id.is_none_or(|id| id == sent.id));
        if !fits {
            return Ok(Read::Otherwise(odd("the verdicts do not match the entries that were sent")));
        }
        let mut events = Vec::new();
        for (sent, verdict) in batch.iter().zip(verdicts.verdicts) {
            match verdict.outcome {
                VerdictOutcome::Stored | VerdictOutcome::AlreadyThere => {
                    queue::acknowledge(transaction, sent.item, now_ms)?;
                    events.push(OutboxEvent::EntrySent(sent.id));
                }
                VerdictOutcome::Refused { code, reason, advice } => {
                    let trouble = Trouble { code, reason, advice };
                    queue::park(transaction, sent.item, &trouble)?;
                    events.push(OutboxEvent::Parked { item: sent.item, trouble });
                }
            }
        }
        self.batch_cap = (self.batch_cap * 2).min(self.most_entries());
        Ok(Read::Done(events))
    }

    fn read_page(
        &mut self,
        transaction: &Transaction<'_>,
        cursor: &str,
        answer: &Answer,
        now: DateTime<FixedOffset>,
    ) -> Result<Read, CoreError> {
        let Ok(page) = serde_json::from_slice::<EntriesPage>(&answer.body) else {
            return Ok(Read::Otherwise(odd("the answer holds no page of entries")));
        };
        if page.more && page.cursor == cursor {
            return Ok(Read::Otherwise(odd("the page says that there is more, but does not go on")));
        }
        // Another run may have read this page meanwhile: then its cursor stands, and only duplicates were found.
        if aside::cursor(transaction)? != cursor {
            return Ok(Read::Done(Vec::new()));
        }
        let (mut new_entries, mut set_aside, mut clocks_ahead) = (0, 0, 0);
        for raw in &page.entries {
            match take_in(transaction, raw.get(), now)? {
                TakenIn::New { clock_ahead } => {
                    new_entries += 1;
                    clocks_ahead += u32::from(clock_ahead);
                }
                TakenIn::Known => {}
                TakenIn::Aside => set_aside += 1,
            }
        }
        aside::set_cursor(transaction, &page.cursor)?;
        self.pull = page.more;
        Ok(Read::Done(vec![OutboxEvent::Pulled { new_entries, set_aside, clocks_ahead }]))
    }

    /// What follows where the step did not succeed. A redo that brought nothing too often becomes a "later".
    fn otherwise(
        &mut self,
        transaction: &Transaction<'_>,
        work: &Work,
        outcome: &Outcome,
        now: DateTime<FixedOffset>,
        events: &mut Vec<OutboxEvent>,
    ) -> Result<Option<Outcome>, CoreError> {
        match (work, outcome) {
            (Work::Entries(batch), Outcome::Split) => self.batch_cap = (batch.len() / 2).max(1),
            (Work::Entries(batch), Outcome::Permanent(trouble)) => {
                for sent in batch {
                    queue::park(transaction, sent.item, trouble)?;
                    events.push(OutboxEvent::Parked { item: sent.item, trouble: trouble.clone() });
                }
            }
            (Work::Create { item, .. } | Work::Ask { item, .. } | Work::Chunk { item, .. }, outcome) => match outcome {
                Outcome::Permanent(trouble) => {
                    queue::park(transaction, *item, trouble)?;
                    events.push(OutboxEvent::Parked { item: *item, trouble: trouble.clone() });
                }
                Outcome::Network(_) => queue::forget_offset(transaction, *item)?,
                Outcome::AskOffset | Outcome::CreateAnew | Outcome::Resend => return redo(transaction, *item, outcome, now),
                Outcome::Accepted | Outcome::Split | Outcome::Later { .. } | Outcome::Cancelled => {}
            },
            _ => {}
        }
        Ok(None)
    }
}

fn odd(reason: &str) -> Outcome {
    let advice = "nothing to do: it goes by itself later; report it if it stays".to_owned();
    Outcome::Later {
        at_least_ms: 0,
        trouble: Trouble { code: "odd_answer".into(), reason: format!("the depot's answer is odd: {reason}"), advice },
    }
}

fn photo_sent(transaction: &Transaction<'_>, item: i64, photo: PhotoId, now_ms: i64) -> Result<Read, CoreError> {
    queue::acknowledge(transaction, item, now_ms)?;
    Ok(Read::Done(vec![OutboxEvent::PhotoSent(photo)]))
}

fn progress(
    transaction: &Transaction<'_>,
    item: i64,
    photo: PhotoId,
    path: &str,
    offset: Option<u64>,
    length_bytes: u64,
    moved: bool,
) -> Result<Read, CoreError> {
    queue::set_upload(transaction, item, Some(path), offset, moved)?;
    let redos = queue::photo(transaction, item)?.map_or(0, |waiting| waiting.redos);
    if redos > 0 && redos % REDOS_BEFORE_PAUSE == 0 {
        // Answers that say yes and never bring a byte further must not spin either.
        return Ok(Read::Otherwise(odd("the photo's upload does not move on")));
    }
    Ok(Read::Done(offset.map(|sent_bytes| OutboxEvent::PhotoProgress { photo, sent_bytes, length_bytes }).into_iter().collect()))
}

fn redo(transaction: &Transaction<'_>, item: i64, outcome: &Outcome, now: DateTime<FixedOffset>) -> Result<Option<Outcome>, CoreError> {
    let Some(waiting) = queue::photo(transaction, item)? else { return Ok(None) };
    match outcome {
        Outcome::AskOffset => queue::set_upload(transaction, item, waiting.upload_path.as_deref(), None, false)?,
        // Without a place yet, the same create is simply made again.
        Outcome::Resend => queue::set_upload(transaction, item, waiting.upload_path.as_deref(), waiting.sent_bytes, false)?,
        _ => queue::new_upload(transaction, item, upload_id(now))?,
    }
    let held = (waiting.redos + 1) % REDOS_BEFORE_PAUSE == 0;
    Ok(held.then(|| odd("the photo's upload does not move on")))
}

/// A name for an upload, made here.
pub(crate) fn upload_id(now: DateTime<FixedOffset>) -> Uuid {
    let seconds = u64::try_from(now.timestamp()).unwrap_or(0);
    Uuid::new_v7(uuid::Timestamp::from_unix(uuid::NoContext, seconds, now.timestamp_subsec_nanos()))
}

enum TakenIn {
    New { clock_ahead: bool },
    Known,
    Aside,
}

/// Takes an entry in as it came, or keeps it aside.
fn take_in(transaction: &Transaction<'_>, doc: &str, now: DateTime<FixedOffset>) -> Result<TakenIn, CoreError> {
    let now_ms = now.timestamp_millis();
    let keep = |problem, id| {
        let aside = SetAside { problem, id, hash: Sha256Hex::of(doc.as_bytes()), doc: doc.to_owned() };
        aside::keep(transaction, &aside, now_ms).map(|new| if new { TakenIn::Aside } else { TakenIn::Known })
    };
    let Ok(sealed) = SealedEntry::from_text(doc.to_owned()) else { return keep(AsideProblem::Unreadable, None) };
    let head = &sealed.entry.head;
    match entries::hash_of(transaction, head.id)? {
        Some(hash) if hash == sealed.hash => return Ok(TakenIn::Known),
        Some(_) => return keep(AsideProblem::SameIdOtherText, Some(head.id)),
        None => {}
    }
    entries::append(transaction, &sealed)?;
    let clock_ahead = device::merge(transaction, head.hlc, now_ms)?;
    // Our own entry, from before this book was restored from an older copy: the chain goes on after it.
    if let Some(own) = device::load(transaction)?
        && own.id == head.device
        && head.seq > own.last_seq
    {
        device::set_tip(transaction, head.seq, sealed.hash)?;
    }
    Ok(TakenIn::New { clock_ahead })
}
