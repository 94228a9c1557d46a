//! Things to look at: what is printed, drawn or handed on.

mod beside;
pub mod card_sheet;
pub mod chart;
pub mod code;
pub mod curve;
pub mod face;
pub mod fonts;
pub mod lives;
pub mod overlay;
pub mod paper;
pub mod picture;
pub mod words;
pub mod worn;
