//! Photo to reading: the card, the window, the grains, the gradation, the level. Pure.

pub mod bodies;
pub mod card;
pub mod crowd;
mod detect;
pub mod even_stone;
pub mod find;
mod fit;
pub mod gradation;
pub mod grains;
pub mod ground;
pub mod hard_shadow;
pub mod level;
pub mod light;
pub mod look;
pub mod lump;
mod mark;
pub mod measure;
pub mod network;
pub mod over_photo;
pub mod planes;
pub mod pose;
pub mod read;
pub mod reading;
pub mod rectify;
pub mod rim;
pub mod segment;
pub mod settings;
pub mod shade;
pub mod sight;
pub mod split;
mod spread;
#[cfg(test)]
pub(crate) mod test_scene;
pub mod texture;
mod weights;
pub mod window;
