//! The soak command: the long runs of what `cargo test` does a little of. See tests/README.md.

#![allow(clippy::print_stdout, clippy::print_stderr, reason = "a command speaks")]

use std::path::PathBuf;
use std::time::Instant;

use clap::{Parser, Subcommand};
use gritbook_system_tests::soak::kills::{Plan, run};
use gritbook_system_tests::soak::work::{Orders, work};

/// Long runs against kills, power cuts, bad links and many phones.
#[derive(Debug, Parser)]
struct Arguments {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Mixed work in a process that is killed at random moments, the depot too.
    Kills {
        /// How many kills.
        #[arg(long, default_value_t = 1000)]
        kills: u32,
        /// Makes the choices.
        #[arg(long, default_value_t = 1)]
        seed: u64,
    },
    /// The process that is killed.
    #[command(hide = true)]
    Work {
        folder: PathBuf,
        #[arg(long)]
        seed: u64,
        #[arg(long)]
        depot: Option<String>,
        #[arg(long, allow_hyphen_values = true)]
        token: Option<String>,
    },
    /// The command `gritbook`, so that one program is enough to soak.
    #[command(hide = true)]
    Depot {
        #[arg(trailing_var_arg = true, allow_hyphen_values = true)]
        rest: Vec<String>,
    },
}

fn main() -> std::process::ExitCode {
    let own = std::env::current_exe();
    let Ok(own) = own else { return std::process::ExitCode::FAILURE };
    match Arguments::parse().what {
        What::Work { folder, seed, depot, token } => work(&Orders { folder, seed, depot: depot.zip(token) }),
        // It reads the same arguments: `gritbook-soak depot ...` is `gritbook depot ...`.
        What::Depot { .. } => return gritbook_depot::commands::main(),
        What::Kills { kills, seed } => {
            let begun = Instant::now();
            let plan = Plan { soak: own.clone(), gritbook: own, seed, kills };
            let tally = run(&plan, |tally| println!("{:>7.1} s {tally:?}", begun.elapsed().as_secs_f64()));
            println!("all held: seed {seed}, {tally:?}, {:.0} s", begun.elapsed().as_secs_f64());
        }
    }
    std::process::ExitCode::SUCCESS
}
