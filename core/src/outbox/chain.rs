//! The walk along a device's chain: where it is whole and where it is broken.

use serde::Serialize;

use crate::ids::{DeviceId, Sha256Hex};
use crate::model::entry::{HybridTime, SealedEntry};

/// How a chain is broken at one place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum ChainFault {
    /// The text no longer has the hash it was stored with.
    TextChanged,
    /// The text cannot be read as an entry.
    Unreadable,
    /// A number is missing before this entry.
    Missing,
    /// Two entries have this number.
    Forked,
    /// The entry names another predecessor than the one that stands before it.
    PrevDiffers,
    /// The hybrid time does not grow.
    TimeGoesBack,
    /// The last entry that this device knows it wrote is not there.
    TipMissing,
}

/// One broken place.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ChainBreak {
    /// The number of the entry at which it shows.
    pub seq: u64,
    /// The entry's id as stored.
    pub entry: String,
    /// How.
    pub fault: ChainFault,
}

/// One entry as stored.
pub struct Link<'a> {
    /// The id as stored.
    pub id: &'a str,
    /// The number as stored.
    pub seq: u64,
    /// The hash as stored, 64 hex digits.
    pub hash: &'a str,
    /// The text.
    pub doc: &'a str,
}

/// Walks one device's entries, given by number. `tip` is what the device knows to be its last, where it is our own.
pub fn walk(device: DeviceId, links: &[Link<'_>], tip: Option<(u64, Option<Sha256Hex>)>) -> Vec<ChainBreak> {
    let mut breaks = Vec::new();
    let mut before: Option<(u64, Sha256Hex, Option<HybridTime>)> = None;
    for link in links {
        let mut found = |fault| breaks.push(ChainBreak { seq: link.seq, entry: link.id.to_owned(), fault });
        let hash = Sha256Hex::of(link.doc.as_bytes());
        if hash.to_string() != link.hash {
            found(ChainFault::TextChanged);
        }
        let expected = before.map_or(1, |(seq, _, _)| seq + 1);
        if link.seq > expected {
            found(ChainFault::Missing);
        } else if link.seq < expected {
            found(ChainFault::Forked);
        }
        let read = SealedEntry::from_text(link.doc.to_owned()).ok().map(|sealed| sealed.entry.head);
        let mut time = before.and_then(|(_, _, time)| time);
        match &read {
            Some(head) if head.device == device && head.seq == link.seq && head.id.to_string() == link.id => {
                if link.seq == expected && head.prev != before.map(|(_, hash, _)| hash) {
                    found(ChainFault::PrevDiffers);
                }
                if link.seq >= expected && time.is_some_and(|time| head.hlc <= time) {
                    found(ChainFault::TimeGoesBack);
                }
                time = Some(head.hlc);
            }
            _ => found(ChainFault::Unreadable),
        }
        // After a changed text the next entry's `prev` names the hash that was, not the one that is.
        let stood = link.hash.parse().unwrap_or(hash);
        if link.seq >= expected {
            before = Some((link.seq, stood, time));
        }
    }
    if let Some((seq, hash)) = tip
        && seq > 0
        && !links.iter().any(|link| link.seq == seq && hash.is_some_and(|hash| hash.to_string() == link.hash))
    {
        breaks.push(ChainBreak { seq, entry: String::new(), fault: ChainFault::TipMissing });
    }
    breaks
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::{EntryId, PumpId};
    use crate::model::entry::{ENTRY_SCHEMA, Entry, EntryBody, EntryHead, Poured};
    use chrono::DateTime;

    fn chain(length: u64) -> (DeviceId, Vec<SealedEntry>) {
        let at = DateTime::parse_from_rfc3339("2026-03-02T07:15:00Z").unwrap();
        let device = DeviceId::new(at.to_utc());
        let mut entries: Vec<SealedEntry> = Vec::new();
        for seq in 1..=length {
            let head = EntryHead {
                schema: ENTRY_SCHEMA.into(),
                id: EntryId::new(at.to_utc()),
                device,
                seq,
                person: "Ana".into(),
                at,
                hlc: HybridTime { ms: 5, count: u32::try_from(seq).unwrap() },
                prev: entries.last().map(|last| last.hash),
                pump: PumpId::new(at.to_utc()),
            };
            let body = EntryBody::Poured(Poured { pour_m3: Some(30.0), pump_m3: None, concrete_bar: None, mix_factor: None });
            entries.push(SealedEntry::seal(Entry { head, body }).unwrap());
        }
        (device, entries)
    }

    fn walked(device: DeviceId, entries: &[SealedEntry], tip: u64) -> Vec<(u64, ChainFault)> {
        let stored: Vec<_> = entries.iter().map(|sealed| (sealed.entry.head.id.to_string(), sealed.hash.to_string(), sealed)).collect();
        let links: Vec<_> =
            stored.iter().map(|(id, hash, sealed)| Link { id, seq: sealed.entry.head.seq, hash, doc: &sealed.doc }).collect();
        let last = entries.last().map(|sealed| sealed.hash);
        walk(device, &links, Some((tip, last))).into_iter().map(|found| (found.seq, found.fault)).collect()
    }

    #[test]
    fn whole_chain_has_no_break() {
        let (device, entries) = chain(5);
        assert_eq!(walked(device, &entries, 5), []);
    }

    #[test]
    fn missing_entry_shows_at_the_one_after_it() {
        let (device, mut entries) = chain(5);
        entries.remove(2);
        assert_eq!(walked(device, &entries, 5), [(4, ChainFault::Missing)]);
    }

    #[test]
    fn missing_last_entry_shows_by_the_tip() {
        let (device, mut entries) = chain(3);
        entries.pop();
        assert_eq!(walked(device, &entries, 3), [(3, ChainFault::TipMissing)]);
    }

    #[test]
    fn changed_text_shows_where_it_was_changed_and_only_there() {
        let (device, mut entries) = chain(4);
        entries[1].doc = entries[1].doc.replace("30.0", "31.0");
        assert_eq!(walked(device, &entries, 4), [(2, ChainFault::TextChanged)]);
    }

    #[test]
    fn entry_resealed_after_a_change_shows_at_its_successor() {
        let (device, mut entries) = chain(4);
        entries[1] = SealedEntry::from_text(entries[1].doc.replace("30.0", "31.0")).unwrap();
        assert_eq!(walked(device, &entries, 4), [(3, ChainFault::PrevDiffers)]);
    }

    #[test]
    fn second_entry_of_the_same_number_shows_as_a_fork() {
        let (device, mut entries) = chain(3);
        let mut other = entries[1].entry.clone();
        other.head.id = EntryId::new(other.head.at.to_utc());
        entries.insert(2, SealedEntry::seal(other).unwrap());
        assert_eq!(walked(device, &entries, 3), [(2, ChainFault::Forked)]);
    }
}
