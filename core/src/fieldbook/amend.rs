//! Amendments: a wrong entry stays, and what holds instead stands beside it.

use std::collections::HashMap;

use chrono::{DateTime, FixedOffset};

use super::{FieldBook, drafts};
use crate::error::{CoreError, ErrorKind};
use crate::ids::EntryId;
use crate::model::entry::{Amended, EntryBody, SealedEntry};
use crate::store::entries;

/// An entry with what holds of it now.
#[derive(Debug, Clone, PartialEq)]
pub struct Effective {
    /// The entry as it was sealed.
    pub sealed: SealedEntry,
    /// What holds now; `None` where it was withdrawn. For an entry that was never amended, its own body.
    pub holds: Option<EntryBody>,
    /// The amendments, in the record's order; the last holds.
    pub amended_by: Vec<EntryId>,
    /// Two devices amended it to different things: the later by hybrid time holds, and a person should look.
    pub clash: bool,
}

/// Resolves amendments: `entries` in the record's order; amendments of entries that are not among them are ignored.
pub(crate) fn effective(entries: Vec<SealedEntry>) -> Vec<Effective> {
    // An amendment of an amendment speaks of what that one spoke of.
    let mut root: HashMap<EntryId, EntryId> = HashMap::new();
    for sealed in &entries {
        if let EntryBody::Amended(amended) = &sealed.entry.body {
            let target = root.get(&amended.amends).copied().unwrap_or(amended.amends);
            root.insert(sealed.entry.head.id, target);
        }
    }
    let mut amendments: HashMap<EntryId, Vec<(SealedEntry, Amended)>> = HashMap::new();
    let mut rest = Vec::new();
    for sealed in entries {
        match sealed.entry.body.clone() {
            EntryBody::Amended(amended) => {
                let target = root.get(&sealed.entry.head.id).copied().unwrap_or(amended.amends);
                amendments.entry(target).or_default().push((sealed, amended));
            }
            _ => rest.push(sealed),
        }
    }
    rest.into_iter()
        .map(|sealed| {
            let of_this = amendments.remove(&sealed.entry.head.id).unwrap_or_default();
            let clash = of_this.iter().any(|(one, first)| {
                of_this.iter().any(|(other, second)| one.entry.head.device != other.entry.head.device && first.instead != second.instead)
            });
            let holds = match of_this.last() {
                Some((_, last)) => last.instead.as_deref().cloned(),
                None => Some(sealed.entry.body.clone()),
            };
            Effective { holds, amended_by: of_this.iter().map(|(amending, _)| amending.entry.head.id).collect(), clash, sealed }
        })
        .collect()
}

impl FieldBook {
    /// Says that an entry was wrong: why, and what holds instead (`None`: it should not be there at all). The entry stays in the
    /// record. An amendment of an amendment speaks of the entry that was amended first.
    ///
    /// # Errors
    /// `no_such_entry`; `no_reason`; `other_kind` where `instead` is of another kind; figures out of range.
    pub fn amend(
        &self,
        entry: EntryId,
        reason: &str,
        instead: Option<EntryBody>,
        now: DateTime<FixedOffset>,
    ) -> Result<EntryId, CoreError> {
        let mut store = self.store()?;
        store.write("amending the entry", |transaction| {
            let mut target = entries::by_id(transaction, entry)?.ok_or_else(no_such_entry)?;
            while let EntryBody::Amended(amended) = &target.entry.body {
                target = entries::by_id(transaction, amended.amends)?.ok_or_else(no_such_entry)?;
            }
            if let Some(instead) = &instead
                && instead.kind() != target.entry.body.kind()
            {
                return Err(CoreError::refused(
                    "other_kind",
                    format!("a `{}` cannot stand instead of a `{}`", instead.kind(), target.entry.body.kind()),
                    "withdraw the entry and make a new one",
                ));
            }
            let pump = target.entry.head.pump;
            let amended = Amended { amends: target.entry.head.id, reason: reason.trim().to_owned(), instead: instead.map(Box::new) };
            let body = EntryBody::Amended(amended);
            drafts::check_body(&body)?;
            Ok(self.append(transaction, pump, body, now)?.entry.head.id)
        })
    }
}

pub(super) fn no_such_entry() -> CoreError {
    CoreError::new(ErrorKind::NotFound, "no_such_entry", "no such entry is in the book", "use an id as the log prints it")
}
