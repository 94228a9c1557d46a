//! Photo to reading: the card, the window, the grains, the gradation, the level. Pure.

pub mod card;
pub mod reading;
pub mod window;
