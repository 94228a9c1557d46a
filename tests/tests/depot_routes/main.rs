//! The depot's routes, called without a socket.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail loudly, as the tests do")]

mod door;
mod entries;
mod keeping;
mod let_in;
mod news;
mod office;
mod openapi;
mod owner;
mod page;
mod parts;
mod photos;
mod random;
mod record;
mod uploads;
