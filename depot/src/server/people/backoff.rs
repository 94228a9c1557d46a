//! Against guessing: after five wrong passwords in a row each further try has to wait, longer each time.
//!
//! Counted for the name that was tried, whether anyone has it or not, and for the address that tried. A name waits a
//! minute at most, so that a stranger cannot shut a person out for long; an address waits a quarter of an hour at most.
//! A try is counted before its password is looked at, so that many at once gain nothing. Kept in memory: a restart of the
//! depot forgets it.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use gritbook_core::ids::Sha256Hex;

/// Wrong tries in a row that cost no wait.
pub(crate) const FREE: u32 = 5;
const FIRST_WAIT_S: i64 = 5;
const NAME_WAITS_S: i64 = 60;
const ADDRESS_WAITS_S: i64 = 15 * 60;
/// After an hour without a try all is forgotten.
const FORGET: TimeDelta = TimeDelta::hours(1);
/// Names and addresses remembered at one time.
const MOST: usize = 20_000;

#[derive(Debug, Clone, PartialEq, Eq, Hash)]
enum Key {
    /// The hash, so that a long made-up name takes no room.
    Name(Sha256Hex),
    Address(String),
}

#[derive(Debug, Clone, Copy)]
struct Tried {
    count: u32,
    last: DateTime<Utc>,
}

impl Tried {
    /// From when on the next try is taken.
    fn free_from(self, longest_s: i64) -> DateTime<Utc> {
        let Some(over) = self.count.checked_sub(FREE) else { return DateTime::<Utc>::MIN_UTC };
        let wait = FIRST_WAIT_S.saturating_mul(1 << over.min(12)).min(longest_s);
        self.last + TimeDelta::seconds(wait)
    }
}

/// See the module.
#[derive(Debug, Default)]
pub(crate) struct Backoff(Mutex<HashMap<Key, Tried>>);

impl Backoff {
    /// Counts a try at `name` from `address` and lets it go on.
    ///
    /// # Errors
    /// How long to wait first; such a try is not counted.
    pub(crate) fn admit(&self, name: &str, address: &str, now: DateTime<Utc>) -> Result<(), Duration> {
        let mut tried = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let keys = keys(name, address);
        let free_from = keys.iter().filter_map(|(key, longest)| Some(live(tried.get(key)?, now)?.free_from(*longest))).max();
        if let Some(wait) = free_from.and_then(|from| (from - now).to_std().ok()).filter(|wait| !wait.is_zero()) {
            return Err(wait);
        }
        if tried.len() + keys.len() > MOST {
            tried.retain(|_, one| live(one, now).is_some());
            // Full of fresh ones: some are let go, which costs the guesser no less than making them did.
            let surplus: Vec<Key> = tried.keys().take((tried.len() + keys.len()).saturating_sub(MOST)).cloned().collect();
            for key in surplus {
                tried.remove(&key);
            }
        }
        for (key, _) in keys {
            let count = tried.get(&key).and_then(|one| live(one, now)).map_or(0, |one| one.count);
            tried.insert(key, Tried { count: count.saturating_add(1), last: now });
        }
        Ok(())
    }

    /// The try was right: the name begins anew, and the address is as if this try had not been.
    pub(crate) fn right(&self, name: &str, address: &str) {
        let mut tried = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let [(name, _), (address, _)] = keys(name, address);
        tried.remove(&name);
        if let Some(one) = tried.get_mut(&address) {
            // Otherwise someone with a password of their own could wash an address clean between guesses.
            one.count = one.count.saturating_sub(1);
        }
    }
}

fn live(tried: &Tried, now: DateTime<Utc>) -> Option<Tried> {
    (now - tried.last < FORGET).then_some(*tried)
}

fn keys(name: &str, address: &str) -> [(Key, i64); 2] {
    let name = Sha256Hex::of(name.trim().to_lowercase().as_bytes());
    [(Key::Name(name), NAME_WAITS_S), (Key::Address(address.to_owned()), ADDRESS_WAITS_S)]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(second: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_790_000_000 + second, 0).unwrap()
    }

    fn wait(backoff: &Backoff, name: &str, address: &str, second: i64) -> u64 {
        backoff.admit(name, address, at(second)).map_or_else(|wait| wait.as_secs(), |()| 0)
    }

    #[test]
    fn five_tries_are_free_then_the_wait_doubles_up_to_a_minute_for_a_name() {
        let backoff = Backoff::default();
        for number in 0..5 {
            assert_eq!(wait(&backoff, "Rosa", &format!("a{number}"), 0), 0);
        }
        let mut second = 0;
        for expected in [5, 10, 20, 40, 60, 60] {
            assert_eq!(wait(&backoff, " rosa ", "elsewhere", second), expected);
            second += expected as i64;
            assert_eq!(wait(&backoff, "ROSA", &format!("b{second}"), second), 0);
        }
        assert_eq!(wait(&backoff, "Luis", "elsewhere too", second), 0);
        assert_eq!(wait(&backoff, "Rosa", "c", second + 3601), 0, "an hour later all is forgotten");
    }

    #[test]
    fn an_address_that_guesses_many_names_waits_up_to_a_quarter_of_an_hour() {
        let backoff = Backoff::default();
        let (mut second, mut longest) = (0, 0);
        for number in 0..40 {
            let name = format!("name {number}");
            let told = wait(&backoff, &name, "10.0.0.7", second);
            longest = longest.max(told);
            second += told as i64;
            if told > 0 {
                assert_eq!(wait(&backoff, &name, "10.0.0.7", second), 0);
            }
        }
        assert_eq!(longest, 900);
    }

    #[test]
    fn a_right_password_frees_the_name_but_washes_no_address_clean() {
        let backoff = Backoff::default();
        for _ in 0..5 {
            assert_eq!(wait(&backoff, "Rosa", "a", 0), 0);
        }
        backoff.right("Rosa", "a");
        assert_eq!(wait(&backoff, "Rosa", "a", 0), 0);
        assert_eq!(wait(&backoff, "Luis", "a", 0), 5);
        assert_eq!(wait(&backoff, "Rosa", "b", 0), 0);
    }

    #[test]
    fn made_up_names_take_bounded_room() {
        let backoff = Backoff::default();
        for number in 0..MOST {
            let _ = backoff.admit(&format!("{number}"), &format!("{number}"), at(0));
        }
        assert!(backoff.0.lock().unwrap().len() <= MOST);
    }
}
