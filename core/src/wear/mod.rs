//! Wear: grades by eye with their criteria, what the liquid in the box says, and measured wear.

pub mod bolt;
pub mod bore;
pub mod document;
pub mod grade;
pub mod line;
pub mod liquid;
pub mod oring;
pub mod plate;
mod rate;
pub mod thickness;
mod verdict;

pub use verdict::Verdict;
