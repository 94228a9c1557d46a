//! The depot's routes, called without a socket.

mod entries;
mod page;
mod photos;
mod random;
mod uploads;
