//! One run of the outbox over a carrier: until all is sent, or the queue has to wait.

use chrono::{DateTime, FixedOffset, Utc};

use super::{Next, Outbox, OutboxEvent, OutboxSettings, Transport, TransportFaultKind};
use crate::error::CoreError;
use crate::failpoint::failpoint;
use crate::fieldbook::FieldBook;
use crate::model::outgoing::Trouble;

/// How to run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunOptions {
    /// Chunk and batch sizes, back-off.
    pub settings: OutboxSettings,
    /// Makes the back-off's draws; take it from the system's randomness, so that phones do not come back all at once.
    pub seed: u64,
    /// Ask for others' entries when all is sent.
    pub pull: bool,
    /// A person asked for it now: do not wait for a pause to end.
    pub now_please: bool,
    /// The device's enrolment code while the depot has not taken its token.
    pub code: Option<String>,
}

/// How a run ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ended {
    /// All that can be sent is sent.
    Finished,
    /// The queue waits.
    Paused {
        /// Until then.
        until: DateTime<Utc>,
        /// Why, where it happened in this run.
        trouble: Option<Trouble>,
    },
    /// The carrier was told to stop.
    Cancelled,
}

/// What a run did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunReport {
    /// Entries that the depot acknowledged.
    pub entries_sent: u32,
    /// Photos that the depot acknowledged.
    pub photos_sent: u32,
    /// Items parked.
    pub parked: u32,
    /// Entries of others that are new here.
    pub entries_pulled: u32,
    /// Entries kept aside.
    pub set_aside: u32,
    /// Requests made.
    pub requests: u32,
    /// How it ended.
    pub ended: Ended,
}

/// Runs the outbox: one request at a time on the calling thread. The book is free for others while a request is carried.
/// Never sleeps: where the queue has to wait it ends, and the caller runs it again.
///
/// # Errors
/// What reading or writing the book gives. Everything acknowledged up to then is stored.
pub fn run_outbox(
    book: &FieldBook,
    transport: &dyn Transport,
    options: &RunOptions,
    now: &dyn Fn() -> DateTime<FixedOffset>,
    observer: &mut dyn FnMut(&OutboxEvent),
) -> Result<RunReport, CoreError> {
    let mut outbox = Outbox::new(options.settings.clone(), options.seed, options.pull).showing(options.code.clone());
    if options.now_please {
        book.end_pause(now())?;
    }
    let mut report =
        RunReport { entries_sent: 0, photos_sent: 0, parked: 0, entries_pulled: 0, set_aside: 0, requests: 0, ended: Ended::Finished };
    let mut last_trouble = None;
    loop {
        let (ticket, request) = match outbox.next(book, now())? {
            Next::Send { ticket, request } => (ticket, request),
            Next::WaitUntil(until) => {
                report.ended = Ended::Paused { until, trouble: last_trouble };
                return Ok(report);
            }
            Next::Nothing => return Ok(report),
        };
        report.requests += 1;
        let result = transport.carry(&request);
        failpoint!("outbox_carried");
        let cancelled = matches!(&result, Err(fault) if fault.kind == TransportFaultKind::Cancelled);
        let events = outbox.answer(book, ticket, &result, now())?;
        let mut paused = None;
        for event in &events {
            match event {
                OutboxEvent::EntrySent(_) => report.entries_sent += 1,
                OutboxEvent::PhotoSent(_) => report.photos_sent += 1,
                OutboxEvent::Parked { .. } => report.parked += 1,
                OutboxEvent::Pulled { new_entries, set_aside, .. } => {
                    report.entries_pulled += new_entries;
                    report.set_aside += set_aside;
                }
                OutboxEvent::Paused { until, trouble } => {
                    last_trouble = Some(trouble.clone());
                    paused = Some(*until);
                }
                OutboxEvent::LetIn | OutboxEvent::TurnedAway | OutboxEvent::PhotoProgress { .. } => {}
            }
            observer(event);
        }
        if cancelled {
            report.ended = Ended::Cancelled;
            return Ok(report);
        }
        // A draw near zero may end the pause at once; the caller is to hear of the trouble all the same.
        if let Some(until) = paused {
            report.ended = Ended::Paused { until, trouble: last_trouble };
            return Ok(report);
        }
    }
}
