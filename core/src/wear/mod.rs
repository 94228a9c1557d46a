//! Wear: grades by eye with their criteria, what the liquid in the box says, and measured wear.

pub mod bolt;
pub mod bore;
pub mod flatness;
pub mod grade;
pub mod line;
pub mod liquid;
mod verdict;

pub use verdict::Verdict;
