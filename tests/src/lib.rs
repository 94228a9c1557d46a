//! Helpers that the whole-tool tests share.

pub mod browser;
pub mod depot;
pub mod direct;
pub mod disk;
pub mod draws;
pub mod fault_proxy;
pub mod soak;
