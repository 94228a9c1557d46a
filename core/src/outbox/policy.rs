//! What an answer means and what follows from it. Pure: no clock, no disk, no chance but what is passed in.

use chrono::{DateTime, FixedOffset, NaiveDateTime};

use super::transport::{Answer, TransportFault, TransportFaultKind};
use crate::model::outgoing::{QueuePause, Trouble};
use crate::wire::v1::Problem;

/// What was asked of the depot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Step {
    /// Show the enrolment code with the token that the device made.
    LetIn,
    /// Create a photo's upload, with its first bytes.
    CreatePhoto,
    /// Ask how much of a photo the depot has.
    AskOffset,
    /// Send the next bytes of a photo.
    SendChunk,
    /// Send a batch of entries; how many.
    SendEntries(usize),
    /// Ask for what others wrote.
    Pull,
}

/// What the answer means.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// The status of success for this step; what the answer holds is still to be read.
    Accepted,
    /// The offsets differ: ask which is right.
    AskOffset,
    /// The upload is gone or cannot be used: begin anew.
    CreateAnew,
    /// The bytes were damaged on the way and not kept: send them again.
    Resend,
    /// The batch is too much in one: send it in parts.
    Split,
    /// No answer: the whole queue pauses.
    Network(Trouble),
    /// Not now: the whole queue pauses, at least for so long.
    Later {
        /// From `Retry-After`, ms.
        at_least_ms: i64,
        /// Why.
        trouble: Trouble,
    },
    /// Sending this again changes nothing: it is parked, the next goes on.
    Permanent(Trouble),
    /// A person or the system stopped the run: nothing changes.
    Cancelled,
}

/// Longest `Retry-After` that is believed, ms: a day. A depot's clock gone wrong must not silence a phone for years.
pub const LONGEST_RETRY_AFTER_MS: i64 = 24 * 3600 * 1000;

/// Answers in a row without progress before the queue pauses instead of asking again at once.
pub const REDOS_BEFORE_PAUSE: u32 = 5;

/// Judges an answer.
///
/// | status | let in | create | ask offset | chunk | entries | pull |
/// |---|---|---|---|---|---|---|
/// | success | 200 | 200, 201 | 200, 204 | 200, 204 | 200 | 200 |
/// | other 2xx, 1xx, 3xx | later | later | later | later | later | later |
/// | 401, 403, 407, 511 | later | later | later | later | later | later |
/// | 408, 421, 423, 425, 429, 5xx | later | later | later | later | later | later |
/// | 404, 405 | later | later | anew | anew | later | later |
/// | 410 | later | later | anew | anew | later | later |
/// | 409 | later | anew | anew | ask | split, single: permanent | later |
/// | 413 | later | permanent | permanent | permanent | split, single: permanent | later |
/// | 460 | later | resend | later | resend | split, single: permanent | later |
/// | other 4xx | later | permanent | anew | permanent | split, single: permanent | later |
///
/// A code that the depot does not take (used by another, too late, not known) keeps everything waiting: nothing may go under a
/// token that is not the depot's.
///
/// Not the item's fault, so the queue waits and nothing is parked: a token that was taken away, a login page or proxy in
/// the way (3xx, 511), an address where no depot is (404 on a collection). A batch refused whole is split until the one
/// entry that the depot cannot take stands alone.
pub fn judge(step: Step, result: &Result<Answer, TransportFault>, now: DateTime<FixedOffset>) -> Outcome {
    let answer = match result {
        Ok(answer) => answer,
        Err(fault) => return no_answer(fault),
    };
    let later = |trouble| Outcome::Later { at_least_ms: retry_after_ms(answer, now), trouble };
    match (answer.status, step) {
        (200 | 201, Step::CreatePhoto)
        | (200 | 204, Step::AskOffset | Step::SendChunk)
        | (200, Step::LetIn | Step::SendEntries(_) | Step::Pull) => Outcome::Accepted,
        // A batch that was cut off on its way came back as the depot's word on it, not on what it held.
        (400, _) if problem(answer).is_some_and(|problem| problem.kind == "urn:gritbook:problem:cut_off") => {
            later(trouble(answer, "cut_off", "it was cut off on its way", "nothing to do: it goes by itself later"))
        }
        (401 | 403, _) => later(trouble(answer, "depot_refused_token", "the depot does not let this device in", "enroll the device anew")),
        (408 | 421 | 423 | 425 | 429 | 500..=510, _) => {
            later(trouble(answer, "depot_busy", "the depot cannot take it now", "nothing to do: it goes by itself later"))
        }
        (..400 | 407 | 511.., _) => later(trouble(
            answer,
            "not_a_depot",
            "something answered that is not the depot",
            "check the connection: a login page may be in the way",
        )),
        (400..=499, Step::LetIn) if problem(answer).is_some() => later(trouble(
            answer,
            "code_refused",
            "the depot does not take this device's code",
            "everything is kept: ask the office to shut this device out and to show a new code",
        )),
        (409 | 410 | 404 | 405, Step::AskOffset) | (404 | 405 | 410, Step::SendChunk) | (409, Step::CreatePhoto) => Outcome::CreateAnew,
        (404 | 405 | 410, _) | (_, Step::LetIn | Step::Pull) => {
            later(trouble(answer, "not_a_depot", "there is no depot at this address", "check the depot's address"))
        }
        (409, Step::SendChunk) => Outcome::AskOffset,
        (460, Step::CreatePhoto | Step::SendChunk) => Outcome::Resend,
        (460, Step::AskOffset) => {
            later(trouble(answer, "depot_busy", "the depot gave an odd answer", "nothing to do: it goes by itself later"))
        }
        (413, Step::CreatePhoto | Step::AskOffset | Step::SendChunk) => Outcome::Permanent(trouble(
            answer,
            "too_large_for_depot",
            "the depot does not take photos of this size",
            "set the camera to a smaller picture, or raise the depot's limit",
        )),
        (_, Step::AskOffset) => Outcome::CreateAnew,
        (_, Step::SendEntries(2..)) => Outcome::Split,
        (413, Step::SendEntries(_)) => Outcome::Permanent(trouble(
            answer,
            "too_large_for_depot",
            "the depot does not take an entry of this size",
            "raise the depot's limit, then retry",
        )),
        (400..=499, _) => {
            Outcome::Permanent(trouble(answer, "depot_refused", "the depot refused it", "look at the reason, then retry or drop it"))
        }
    }
}

fn no_answer(fault: &TransportFault) -> Outcome {
    let (code, advice) = match fault.kind {
        TransportFaultKind::Offline => ("offline", "nothing to do: it goes when there is signal"),
        TransportFaultKind::Cut => ("cut", "nothing to do: it goes on where it was cut"),
        TransportFaultKind::WrongKey => (
            "wrong_key",
            "nothing was sent and everything is kept: ask the office whether the depot has a new key; if it has, enroll this device anew",
        ),
        TransportFaultKind::NotTrusted => (
            "depot_not_trusted",
            "nothing was sent and everything is kept: enroll this device anew, with a code that holds the depot's key",
        ),
        TransportFaultKind::Cancelled => return Outcome::Cancelled,
    };
    Outcome::Network(Trouble { code: code.into(), reason: fault.reason.clone(), advice: advice.into() })
}

fn problem(answer: &Answer) -> Option<Problem> {
    let is_problem = answer.header("content-type").is_some_and(|kind| kind.trim_start().starts_with("application/problem+json"));
    is_problem.then(|| serde_json::from_slice(&answer.body).ok()).flatten()
}

/// The trouble in the depot's own words where it gave any (RFC 9457), else in ours.
fn trouble(answer: &Answer, code: &str, reason: &str, advice: &str) -> Trouble {
    let ours = || Trouble { code: code.into(), reason: format!("{reason} (HTTP {})", answer.status), advice: advice.into() };
    let Some(problem) = problem(answer) else { return ours() };
    let theirs = if problem.detail.is_empty() { problem.title } else { problem.detail };
    let code = problem.kind.strip_prefix("urn:gritbook:problem:").unwrap_or(code).to_owned();
    Trouble { code, reason: if theirs.is_empty() { ours().reason } else { theirs }, advice: advice.into() }
}

/// `Retry-After` in ms from now, 0 where there is none: seconds or an HTTP date (RFC 9110, 10.2.3).
pub fn retry_after_ms(answer: &Answer, now: DateTime<FixedOffset>) -> i64 {
    let Some(text) = answer.header("retry-after").map(str::trim) else { return 0 };
    let wait = if let Ok(seconds) = text.parse::<u64>() {
        i64::try_from(seconds).unwrap_or(i64::MAX).saturating_mul(1000)
    } else if let Ok(date) = NaiveDateTime::parse_from_str(text, "%a, %d %b %Y %H:%M:%S GMT") {
        // Against the depot's own clock where it says what it has: a phone may be hours off.
        let here = answer
            .header("date")
            .and_then(|text| NaiveDateTime::parse_from_str(text.trim(), "%a, %d %b %Y %H:%M:%S GMT").ok())
            .map_or(now.timestamp_millis(), |date| date.and_utc().timestamp_millis());
        date.and_utc().timestamp_millis().saturating_sub(here)
    } else {
        0
    };
    wait.clamp(0, LONGEST_RETRY_AFTER_MS)
}

/// How long the queue waits after failures in a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Backoff {
    /// Ceiling after the first failure, ms.
    pub base_ms: i64,
    /// Highest ceiling, ms.
    pub cap_ms: i64,
}

impl Default for Backoff {
    /// 2 s, at most 15 min: our choice for phones that come and go from signal.
    fn default() -> Self {
        Self { base_ms: 2_000, cap_ms: 15 * 60 * 1000 }
    }
}

impl Backoff {
    /// The ceiling before attempt `attempt` (from 0), ms: min(cap, base 2^attempt).
    pub fn ceiling_ms(&self, attempt: u32) -> i64 {
        let factor = 1_i64.checked_shl(attempt.min(40)).unwrap_or(i64::MAX);
        self.base_ms.saturating_mul(factor).min(self.cap_ms)
    }

    /// Full jitter: anywhere from 0 to the ceiling, by a draw from 0 to 1.
    ///
    /// Source: the AWS architecture blog, "Exponential backoff and jitter".
    pub fn wait_ms(&self, attempt: u32, draw: f64) -> i64 {
        // A draw is within 0..1 and the ceiling within minutes: no precision is lost.
        #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)]
        let wait = (self.ceiling_ms(attempt) as f64 * draw.clamp(0.0, 1.0)) as i64;
        wait
    }
}

/// The queue's pause after an outcome: `None` where it goes on at once. `before` is the pause that was in force last.
pub fn pause_after(before: Option<&QueuePause>, outcome: &Outcome, backoff: &Backoff, draw: f64, now_ms: i64) -> Option<QueuePause> {
    let (at_least_ms, trouble) = match outcome {
        Outcome::Network(trouble) => (0, trouble),
        Outcome::Later { at_least_ms, trouble } => (*at_least_ms, trouble),
        _ => return None,
    };
    let failures = before.map_or(0, |pause| pause.failures);
    let wait = backoff.wait_ms(failures, draw).max(at_least_ms);
    Some(QueuePause {
        failures: failures.saturating_add(1),
        since_ms: now_ms,
        until_ms: now_ms.saturating_add(wait),
        code: trouble.code.clone(),
        reason: trouble.reason.clone(),
    })
}

/// Until when the queue waits, ms since 1970; `None` where it need not. A pause from the future no longer counts: the
/// clock was set back since.
pub fn waits_until_ms(pause: Option<&QueuePause>, now_ms: i64) -> Option<i64> {
    pause.filter(|pause| pause.since_ms <= now_ms && now_ms < pause.until_ms).map(|pause| pause.until_ms)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn now() -> DateTime<FixedOffset> {
        DateTime::parse_from_rfc3339("2026-03-02T07:15:00-06:00").unwrap()
    }

    fn answer(status: u16, headers: &[(&str, &str)], body: &str) -> Answer {
        Answer {
            status,
            headers: headers.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect(),
            body: body.as_bytes().to_vec(),
        }
    }

    fn name(outcome: &Outcome) -> &'static str {
        match outcome {
            Outcome::Accepted => "accepted",
            Outcome::AskOffset => "ask",
            Outcome::CreateAnew => "anew",
            Outcome::Resend => "resend",
            Outcome::Split => "split",
            Outcome::Network(_) => "network",
            Outcome::Later { .. } => "later",
            Outcome::Permanent(_) => "permanent",
            Outcome::Cancelled => "cancelled",
        }
    }

    #[test]
    fn every_status_at_every_step_is_judged_as_the_table_says() {
        let steps =
            [Step::CreatePhoto, Step::AskOffset, Step::SendChunk, Step::SendEntries(2), Step::SendEntries(1), Step::Pull, Step::LetIn];
        // Statuses of tus 1.0.0 (protocol.md) and of RFC 9110; columns as `steps`.
        let table: &[(u16, [&str; 7])] = &[
            (200, ["accepted", "accepted", "accepted", "accepted", "accepted", "accepted", "accepted"]),
            (201, ["accepted", "later", "later", "later", "later", "later", "later"]),
            (204, ["later", "accepted", "accepted", "later", "later", "later", "later"]),
            (301, ["later"; 7]),
            (302, ["later"; 7]),
            (400, ["permanent", "anew", "permanent", "split", "permanent", "later", "later"]),
            (401, ["later"; 7]),
            (403, ["later"; 7]),
            (404, ["later", "anew", "anew", "later", "later", "later", "later"]),
            (405, ["later", "anew", "anew", "later", "later", "later", "later"]),
            (407, ["later"; 7]),
            (408, ["later"; 7]),
            (409, ["anew", "anew", "ask", "split", "permanent", "later", "later"]),
            (410, ["later", "anew", "anew", "later", "later", "later", "later"]),
            (412, ["permanent", "anew", "permanent", "split", "permanent", "later", "later"]),
            (413, ["permanent", "permanent", "permanent", "split", "permanent", "later", "later"]),
            (415, ["permanent", "anew", "permanent", "split", "permanent", "later", "later"]),
            (422, ["permanent", "anew", "permanent", "split", "permanent", "later", "later"]),
            (423, ["later"; 7]),
            (425, ["later"; 7]),
            (429, ["later"; 7]),
            (460, ["resend", "later", "resend", "split", "permanent", "later", "later"]),
            (500, ["later"; 7]),
            (503, ["later"; 7]),
            (507, ["later"; 7]),
            (511, ["later"; 7]),
            (599, ["later"; 7]),
        ];
        for (status, expected) in table {
            for (step, expected) in steps.iter().zip(expected) {
                let outcome = judge(*step, &Ok(answer(*status, &[], "")), now());
                assert_eq!(name(&outcome), *expected, "{status} at {step:?}");
            }
        }
    }

    #[test]
    fn no_answer_pauses_whatever_was_asked_and_a_stopped_run_changes_nothing() {
        for (kind, expected) in [
            (TransportFaultKind::Offline, "network"),
            (TransportFaultKind::Cut, "network"),
            (TransportFaultKind::WrongKey, "network"),
            (TransportFaultKind::NotTrusted, "network"),
            (TransportFaultKind::Cancelled, "cancelled"),
        ] {
            let fault = TransportFault { kind, reason: "x".into() };
            assert_eq!(name(&judge(Step::Pull, &Err(fault), now())), expected);
        }
    }

    #[test]
    fn problem_of_the_depot_is_told_in_its_own_words() {
        let body = r#"{"type":"urn:gritbook:problem:bad_entry","title":"Bad entry","status":422,"detail":"field pump is missing"}"#;
        let told = judge(Step::SendEntries(1), &Ok(answer(422, &[("content-type", "application/problem+json")], body)), now());
        let Outcome::Permanent(trouble) = told else { panic!("{told:?}") };
        assert_eq!((trouble.code.as_str(), trouble.reason.as_str()), ("bad_entry", "field pump is missing"));
    }

    #[test]
    fn code_that_is_refused_is_told_in_the_depots_words_and_a_page_in_the_way_is_not_taken_for_it() {
        let body = r#"{"type":"urn:gritbook:problem:code_used","title":"Code used","status":409,"detail":"another device used it"}"#;
        let judged = |status, headers: &[(&str, &str)], body| match judge(Step::LetIn, &Ok(answer(status, headers, body)), now()) {
            Outcome::Later { trouble, .. } => (trouble.code, trouble.reason),
            other => panic!("{other:?}"),
        };
        let problem = [("content-type", "application/problem+json")];
        assert_eq!(judged(409, &problem, body), ("code_used".into(), "another device used it".into()));
        assert_eq!(judged(404, &[("content-type", "text/html")], "<p>no").0, "not_a_depot");
    }

    #[test]
    fn retry_after_is_read_as_seconds_and_as_date_and_never_believed_for_long() {
        let wait = |headers: &[(&str, &str)]| retry_after_ms(&answer(503, headers, ""), now());
        assert_eq!(wait(&[("retry-after", "120")]), 120_000);
        // 07:15 at -06:00 is 13:15 GMT. The form is RFC 9110's own example.
        assert_eq!(wait(&[("retry-after", "Mon, 02 Mar 2026 13:16:30 GMT")]), 90_000);
        assert_eq!(wait(&[("retry-after", "Mon, 02 Mar 2026 13:00:00 GMT")]), 0);
        let theirs = [("retry-after", "Mon, 02 Mar 2026 20:00:10 GMT"), ("date", "Mon, 02 Mar 2026 20:00:00 GMT")];
        assert_eq!(wait(&theirs), 10_000, "against the depot's own clock");
        assert_eq!(wait(&[("retry-after", "99999999999999999999")]), 0);
        assert_eq!(wait(&[("retry-after", "999999999")]), LONGEST_RETRY_AFTER_MS);
        assert_eq!(wait(&[("retry-after", "soon")]), 0);
        assert_eq!(wait(&[]), 0);
    }

    #[test]
    fn backoff_ceilings_are_the_published_ones() {
        // Full jitter with base 0.2 s and cap 5 s (AWS architecture blog), and base 1 s, cap 60 s.
        let ceilings =
            |base_ms, cap_ms, count| (0..count).map(|attempt| Backoff { base_ms, cap_ms }.ceiling_ms(attempt)).collect::<Vec<_>>();
        assert_eq!(ceilings(200, 5_000, 6), [200, 400, 800, 1_600, 3_200, 5_000]);
        assert_eq!(ceilings(1_000, 60_000, 8), [1_000, 2_000, 4_000, 8_000, 16_000, 32_000, 60_000, 60_000]);
        assert_eq!(Backoff::default().ceiling_ms(u32::MAX), 900_000);
        let backoff = Backoff { base_ms: 200, cap_ms: 5_000 };
        assert_eq!((backoff.wait_ms(2, 0.0), backoff.wait_ms(2, 0.5), backoff.wait_ms(2, 1.0)), (0, 400, 800));
    }

    #[test]
    fn pause_grows_with_failures_in_a_row_and_heeds_retry_after() {
        let backoff = Backoff::default();
        let trouble = Trouble { code: "offline".into(), reason: "no network".into(), advice: String::new() };
        let first = pause_after(None, &Outcome::Network(trouble.clone()), &backoff, 1.0, 1_000).unwrap();
        assert_eq!((first.failures, first.until_ms), (1, 3_000));
        let second = pause_after(Some(&first), &Outcome::Network(trouble.clone()), &backoff, 1.0, 3_000).unwrap();
        assert_eq!((second.failures, second.until_ms), (2, 7_000));
        let asked = pause_after(Some(&second), &Outcome::Later { at_least_ms: 60_000, trouble }, &backoff, 1.0, 7_000).unwrap();
        assert_eq!((asked.failures, asked.until_ms), (3, 67_000));
        assert_eq!(pause_after(Some(&asked), &Outcome::Accepted, &backoff, 1.0, 70_000), None);
        assert_eq!(waits_until_ms(Some(&asked), 50_000), Some(67_000));
        assert_eq!(waits_until_ms(Some(&asked), 67_000), None);
        assert_eq!(waits_until_ms(Some(&asked), 6_999), None, "the clock was set back: the pause no longer counts");
    }
}
