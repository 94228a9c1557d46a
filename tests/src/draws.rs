//! Seeded draws: the same seed, the same choices.

use std::time::Duration;

/// splitmix64 (Steele, Lea, Flood 2014). Nothing here needs better.
#[derive(Debug, Clone)]
pub struct Draws(u64);

impl Draws {
    /// Draws of this seed.
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut bits = self.0;
        bits = (bits ^ (bits >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        bits = (bits ^ (bits >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        bits ^ (bits >> 31)
    }

    /// From 0 to `end`, without `end`; 0 where `end` is 0.
    pub fn below(&mut self, end: u64) -> u64 {
        // The bias of a remainder is below 2^-40 for every `end` used here.
        self.bits().checked_rem(end).unwrap_or(0)
    }

    /// The same as an index.
    pub fn index(&mut self, end: usize) -> usize {
        usize::try_from(self.below(end as u64)).unwrap_or(0)
    }

    /// True in one of `of` draws.
    pub fn one_in(&mut self, of: u64) -> bool {
        self.below(of) == 0
    }

    /// Up to `most`, to the microsecond.
    pub fn wait(&mut self, most: Duration) -> Duration {
        Duration::from_micros(self.below(u64::try_from(most.as_micros()).unwrap_or(u64::MAX).saturating_add(1)))
    }
}
