//! Which request now.

use chrono::{DateTime, FixedOffset};

use super::{Body, Method, Next, Outbox, Request, Sent, Ticket, Work, policy, tus};
use crate::error::{CoreError, ErrorKind};
use crate::failpoint::failpoint;
use crate::fieldbook::FieldBook;
use crate::model::outgoing::Trouble;
use crate::store::queue::{self, WaitingEntry, WaitingPhoto};
use crate::store::{Store, aside};
use crate::wire::v1::{CODE_SCHEMA, CodeShown, ENTRIES_PATH, ENTRIES_SCHEMA, LET_IN_PATH};

impl Outbox {
    /// What to do now. Changes nothing but attempts, and parks what can never be sent (a photo whose file is gone).
    ///
    /// # Errors
    /// What reading or writing the book gives.
    pub fn next(&mut self, book: &FieldBook, now: DateTime<FixedOffset>) -> Result<Next, CoreError> {
        failpoint!("outbox_next");
        self.began_ms = now.timestamp_millis();
        let mut store = book.store()?;
        let pause = store.read(queue::pause)?;
        if let Some(until_ms) = policy::waits_until_ms(pause.as_ref(), now.timestamp_millis()) {
            return Ok(Next::WaitUntil(DateTime::from_timestamp_millis(until_ms).unwrap_or_default()));
        }
        if let Some(code) = &self.code {
            return Ok(Next::Send { ticket: Ticket(Work::LetIn), request: showing(code) });
        }
        loop {
            let waiting = store.read(|connection| queue::waiting_entries(connection, self.batch_cap.min(self.most_entries())))?;
            let ready = waiting.split(|entry| entry.behind_photo).next().unwrap_or(&[]);
            if !ready.is_empty() {
                match self.batch(ready) {
                    Ok((ticket, request)) => return sent(&mut store, ticket, request),
                    Err(item) => {
                        let trouble = Trouble {
                            code: "too_large_for_depot".into(),
                            reason: format!("the entry is larger than a whole batch may be ({} bytes)", self.most_bytes()),
                            advice: "it stays in the record and in the export; report this".into(),
                        };
                        store.write("parking an entry", |transaction| queue::park(transaction, item, &trouble))?;
                        continue;
                    }
                }
            }
            let Some(photo) = store.read(queue::first_photo)? else { break };
            match self.photo(&store, &photo) {
                Ok((ticket, request)) => return sent(&mut store, ticket, request),
                Err(error) if error.kind() == ErrorKind::Refused || error.kind() == ErrorKind::NotFound => {
                    let trouble = Trouble { code: error.code().into(), reason: error.to_string(), advice: error.advice().into() };
                    store.write("parking a photo", |transaction| queue::park(transaction, photo.item, &trouble))?;
                }
                Err(error) => return Err(error),
            }
        }
        if !self.pull {
            return Ok(Next::Nothing);
        }
        let cursor = store.read(aside::cursor)?;
        let path = format!("{ENTRIES_PATH}?after={}&limit={}", percent_encoded(&cursor), self.settings.page_entries);
        let request = Request { method: Method::Get, path, headers: Vec::new(), body: Body::Empty };
        Ok(Next::Send { ticket: Ticket(Work::Pull { cursor }), request })
    }

    /// A batch of the first entries that fit; the item where the first alone does not.
    fn batch(&self, ready: &[WaitingEntry]) -> Result<(Ticket, Request), i64> {
        let mut body = format!("{{\"schema\":\"{ENTRIES_SCHEMA}\",\"entries\":[").into_bytes();
        let mut batch = Vec::new();
        for entry in ready {
            // One comma or bracket before it, "]}" at the end.
            if body.len() + entry.doc.len() + 3 > self.most_bytes() {
                break;
            }
            if !batch.is_empty() {
                body.push(b',');
            }
            body.extend_from_slice(entry.doc.as_bytes());
            batch.push(Sent { item: entry.item, id: entry.id, hash: entry.hash });
        }
        if batch.is_empty() {
            return Err(ready.first().map_or(0, |entry| entry.item));
        }
        body.extend_from_slice(b"]}");
        let headers = vec![("Content-Type".to_owned(), "application/json".to_owned())];
        let request = Request { method: Method::Put, path: ENTRIES_PATH.to_owned(), headers, body: Body::Bytes(body) };
        Ok((Ticket(Work::Entries(batch)), request))
    }

    /// The next step of a photo's upload.
    fn photo(&self, store: &Store, waiting: &WaitingPhoto) -> Result<(Ticket, Request), CoreError> {
        let (item, photo, length) = (waiting.item, waiting.photo.id, waiting.photo.bytes);
        let path = store.photos.path(&photo, waiting.photo.format);
        let Some(upload) = waiting.upload_path.clone() else {
            match store.photos.rehash(&photo, waiting.photo.format)? {
                Some(hash) if hash == photo => {}
                Some(_) => {
                    return Err(CoreError::refused(
                        "photo_damaged",
                        "the photo's file is not what it was when it was saved",
                        "put the right file back and retry, or drop it",
                    ));
                }
                None => {
                    return Err(CoreError::refused("photo_missing", "the photo's file is gone", "put the file back and retry, or drop it"));
                }
            }
            // An answer that was lost took the upload's place with it. The depot may have some of the photo by now: only its place is
            // asked for, since bytes sent along again would count for nothing.
            let count = if waiting.attempts == 0 { self.chunk_bytes.min(length) } else { 0 };
            let request = tus::create(waiting, &path, count, self.settings.checksum_chunks)?;
            return Ok((Ticket(Work::Create { item, photo, length }), request));
        };
        match waiting.sent_bytes {
            Some(offset) if offset < length => {
                let count = self.chunk_bytes.min(length - offset);
                let request = tus::chunk(&upload, &path, offset, count, self.settings.checksum_chunks)?;
                Ok((Ticket(Work::Chunk { item, photo, length, path: upload, offset, count }), request))
            }
            _ => {
                let request = tus::ask(&upload);
                Ok((Ticket(Work::Ask { item, photo, length, path: upload }), request))
            }
        }
    }
}

/// The enrolment code; the token goes along as with every request.
fn showing(code: &str) -> Request {
    let shown = CodeShown { schema: CODE_SCHEMA.to_owned(), code: code.to_owned() };
    // Two strings always serialise.
    let body = Body::Bytes(serde_json::to_vec(&shown).unwrap_or_default());
    let headers = vec![("Content-Type".to_owned(), "application/json".to_owned())];
    Request { method: Method::Post, path: LET_IN_PATH.to_owned(), headers, body }
}

/// Counts the attempt and hands the request out.
fn sent(store: &mut Store, ticket: Ticket, request: Request) -> Result<Next, CoreError> {
    store.write("counting an attempt", |transaction| match &ticket.0 {
        Work::Create { item, .. } | Work::Ask { item, .. } | Work::Chunk { item, .. } => queue::count_attempt(transaction, *item),
        Work::Entries(batch) => batch.iter().try_for_each(|sent| queue::count_attempt(transaction, sent.item)),
        Work::LetIn | Work::Pull { .. } => Ok(()),
    })?;
    failpoint!("outbox_handed_out");
    Ok(Next::Send { ticket, request })
}

/// The unreserved characters of RFC 3986 as they are, every other byte as %XX.
fn percent_encoded(text: &str) -> String {
    use std::fmt::Write as _;
    let mut encoded = String::with_capacity(text.len());
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            encoded.push(char::from(byte));
        } else {
            // Writing to a String cannot fail.
            let _ = write!(encoded, "%{byte:02X}");
        }
    }
    encoded
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cursor_is_percent_encoded() {
        assert_eq!(percent_encoded("a-1_~.&=/ é"), "a-1_~.%26%3D%2F%20%C3%A9");
    }
}
