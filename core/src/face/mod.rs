//! Wear surfaces in photos: a cup's coloured face, a guide band, a bore, measured so that a thumb grade has something to lean on.
//!
//! It suggests; it never grades. What it cannot tell it says.
//!
//! ```text
//! photo ─► white (card, or a spot shown) ─► surface (outline drawn, or found by colour)
//!       ─► raster in the card's plane ─► ground: the bare surface's light everywhere ─► departure in colour and in light
//!       ─► marks at half level ─► grit, scores, chips, and what is none of them or not told ─► shares with their doubt
//!       ─► beside the last photo: turned and laid over, the change with its doubt
//! ```
//!
//! | step | file |
//! |---|---|
//! | CIELAB, CIEDE2000 | `colour` |
//! | white, and light over it | `white`, `light` |
//! | outline, surface by colour, picture of it | `outline`, `region`, `raster` |
//! | bare surface, departures, marks, sums | `ground`, `departure`, `marks`, `tally` |
//! | beside the last photo | `align`, `beside` |
//! | document, settings, words | `reading`, `settings`, `words` |
//!
//! Pure: same bytes and settings, same document, byte for byte.

mod align;
mod beside;
pub mod colour;
mod departure;
mod ground;
mod light;
mod marks;
mod outline;
mod raster;
mod read;
pub mod reading;
mod region;
pub mod settings;
mod tally;
mod white;
pub mod words;

pub use beside::{FaceOutcome, measure_beside};
pub use read::measure_face;
pub use settings::FaceSettings;
