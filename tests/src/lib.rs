//! Helpers that the whole-tool tests share.

pub mod depot;
pub mod fault_proxy;
