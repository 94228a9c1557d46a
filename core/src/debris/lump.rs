//! Lump or stone: grains bound by paste, against one stone.
//!
//! They are not told apart yet: no rule tried so far held up against scenes with known truth, so every patch is a grain, and
//! the level `lumps` comes from coarse grains alone. The README says so.

use super::measure::Mask;
use super::segment::Departure;

/// No lump is called below this size: there is no room for bound sand grains to show, mm.
pub const LEAST_LUMP_MM: f64 = 1.5;

/// True where the patch looks like grains bound together; never yet.
pub fn is_lump(mask: &Mask, departure: &Departure, px_per_mm: f64) -> bool {
    let _ = (departure, px_per_mm, mask);
    false
}
