//! `book DIR sync`.

use std::time::Duration;

use clap::Args;
use gritbook_core::ids::Sha256Hex;
use gritbook_core::outbox::{Ended, OutboxEvent, OutboxSettings, RunOptions, RunReport, run_outbox};
use gritbook_core::{CoreError, ErrorKind};
use indicatif::{ProgressBar, ProgressStyle};

use super::documents;
use super::{Desk, Failure};
use crate::client::HttpTransport;

/// Send what waits and read what others wrote.
#[derive(Debug, Args)]
#[command(after_help = "\
Example: gritbook book yard sync --depot https://depot.example:8470 --token TOKEN --depot-key SHA256

With --depot-key nothing is sent to a depot that does not hold that key, whatever its certificate says; without it the
depot's certificate must be of a public authority. `gritbook depot` and `gritbook enroll` show the key.
Exit status 3 where the depot cannot be reached or refuses: everything is kept and goes next time.")]
pub(super) struct Sync {
    /// The depot's address.
    #[arg(long, value_name = "URL", env = "GRITBOOK_DEPOT")]
    depot: String,
    /// This device's token; one in 64 begins with a hyphen.
    #[arg(long, env = "GRITBOOK_TOKEN", hide_env_values = true, allow_hyphen_values = true)]
    token: String,
    /// SHA-256 of the depot's public key, 64 hexadecimal digits, as the enrolment gives it.
    #[arg(long, value_name = "SHA256", env = "GRITBOOK_DEPOT_KEY")]
    depot_key: Option<Sha256Hex>,
    /// Only send, do not read what others wrote.
    #[arg(long)]
    no_pull: bool,
    /// Photo bytes in one request; smaller loses less to a bad link.
    #[arg(long, value_name = "BYTES", default_value_t = OutboxSettings::default().chunk_bytes)]
    chunk_bytes: u64,
}

impl Sync {
    pub(super) fn run(self, desk: &Desk) -> Result<(), Failure> {
        let book = desk.open(false)?;
        let transport = HttpTransport::new(&self.depot, &self.token, self.depot_key)?;
        let mut seed = [0_u8; 8];
        getrandom::fill(&mut seed).map_err(|cause| anyhow::anyhow!("the system gives no random numbers: {cause}"))?;
        let options = RunOptions {
            settings: OutboxSettings { chunk_bytes: self.chunk_bytes, ..OutboxSettings::default() },
            seed: u64::from_le_bytes(seed),
            pull: !self.no_pull,
            now_please: true,
            code: None,
        };
        // Hidden by itself where standard error is no terminal.
        let bar = ProgressBar::new_spinner();
        if let Ok(style) = ProgressStyle::with_template("{spinner} {msg}") {
            bar.set_style(style);
        }
        bar.enable_steady_tick(Duration::from_millis(120));
        let mut photos = 0_u32;
        let mut observer = |event: &OutboxEvent| match event {
            OutboxEvent::PhotoProgress { sent_bytes, length_bytes, .. } => {
                bar.set_message(format!("photo {}: {} of {} kB", photos + 1, sent_bytes / 1000, length_bytes / 1000));
            }
            OutboxEvent::PhotoSent(_) => photos += 1,
            OutboxEvent::EntrySent(_) => bar.set_message("sending entries"),
            OutboxEvent::Pulled { .. } => bar.set_message("reading what others wrote"),
            OutboxEvent::LetIn | OutboxEvent::TurnedAway | OutboxEvent::Parked { .. } | OutboxEvent::Paused { .. } => {}
        };
        let report = run_outbox(&book, &transport, &options, &super::now, &mut observer);
        bar.finish_and_clear();
        let report = report?;
        let waiting = book.outbox()?.iter().filter(|item| item.state == gritbook_core::model::QueueState::Waiting).count();
        let failure = failure(&report, waiting);
        if failure.is_none() || !desk.json {
            desk.tell(&document(&report, waiting), lines(&report, waiting));
        }
        failure.map_or(Ok(()), |mut failure| {
            // Plain strings and numbers always serialise.
            failure.beside.insert("sync".to_owned(), serde_json::to_value(document(&report, waiting)).unwrap_or_default());
            Err(failure)
        })
    }
}

fn document(report: &RunReport, waiting: usize) -> documents::Sync {
    documents::Sync {
        schema: "gritbook.sync/1",
        entries_sent: report.entries_sent,
        photos_sent: report.photos_sent,
        parked: report.parked,
        entries_pulled: report.entries_pulled,
        set_aside: report.set_aside,
        requests: report.requests,
        waiting,
        finished: report.ended == Ended::Finished,
    }
}

fn lines(report: &RunReport, waiting: usize) -> Vec<String> {
    let mut lines = vec![format!(
        "sent {} entries and {} photos; {} new from others; {waiting} waiting",
        report.entries_sent, report.photos_sent, report.entries_pulled
    )];
    lines.extend((report.set_aside > 0).then(|| format!("{} entries from the depot stand aside: run verify", report.set_aside)));
    lines
}

/// Exit status 3 where the run did not finish, or the depot refused something in it.
fn failure(report: &RunReport, waiting: usize) -> Option<Failure> {
    let error = match &report.ended {
        // Nobody's network is to blame, and waiting does not help.
        Ended::Paused { trouble: Some(trouble), .. } if ["wrong_key", "depot_not_trusted"].contains(&trouble.code.as_str()) => {
            CoreError::new(
                ErrorKind::Depot,
                if trouble.code == "wrong_key" { "wrong_key" } else { "depot_not_trusted" },
                trouble.reason.clone(),
                format!("{}; {waiting} items wait", trouble.advice),
            )
        }
        Ended::Paused { trouble: Some(trouble), .. } => CoreError::new(
            ErrorKind::Depot,
            "depot_unavailable",
            format!("the depot was not reached, or could not take it: {}", trouble.reason),
            format!("everything is kept, {waiting} items wait; {}", trouble.advice),
        ),
        Ended::Paused { trouble: None, until } => CoreError::new(
            ErrorKind::Depot,
            "depot_unavailable",
            format!("the queue waits until {until}"),
            format!("everything is kept, {waiting} items wait"),
        ),
        Ended::Cancelled => CoreError::new(ErrorKind::Depot, "stopped", "the run was stopped", "everything is kept; run it again"),
        Ended::Finished if report.parked > 0 => CoreError::new(
            ErrorKind::Depot,
            "depot_refused",
            format!("the depot refused {} items", report.parked),
            "they are kept and parked: see `outbox` for the reasons, then retry or drop them",
        ),
        Ended::Finished => return None,
    };
    Some(error.into())
}
