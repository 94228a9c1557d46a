//! Helpers that the whole-tool tests share.

pub mod browser;
pub mod depot;
pub mod fault_proxy;
