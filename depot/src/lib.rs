//! The receiving side of Gritbook, and what the command line `gritbook` does.

pub mod client;
pub mod commands;
pub mod key;
pub mod report;
pub mod server;
