//! Wear: grades by eye with their criteria, and what the liquid in the box says.

pub mod grade;
pub mod liquid;
