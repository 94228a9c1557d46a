//! Photo to reading: the card, the window, the grains, the gradation, the level. Pure.

pub mod card;
mod detect;
pub mod find;
mod fit;
mod mark;
pub mod pose;
pub mod reading;
pub mod rectify;
mod spread;
pub mod window;

#[cfg(test)]
pub(crate) mod test_scene;
