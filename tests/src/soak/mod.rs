//! The soak: mixed work in a process that is killed again and again, and what must hold after each kill.
//!
//! A killed process keeps what the kernel has: this shows the order of steps. What a power cut takes is played in
//! `power`.

pub mod depot_process;
pub mod kills;
pub mod load;
pub mod look;
pub mod other_server;
pub mod phones;
pub mod power;
pub mod thin_link;
pub mod work;
