//! The soak command: the long runs of what `cargo test` does a little of. See tests/README.md.

#![allow(clippy::print_stdout, clippy::print_stderr, reason = "a command speaks")]

use std::path::PathBuf;
use std::time::{Duration, Instant};

use clap::{Parser, Subcommand};
use gritbook_depot::client::Patience;
use gritbook_system_tests::soak::kills::{Plan, run};
use gritbook_system_tests::soak::thin_link::{self, Thin};
use gritbook_system_tests::soak::work::{Orders, work};
use gritbook_system_tests::soak::{load, other_server, phones, power};

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
        #[arg(long)]
        turns: Option<u32>,
        #[arg(long)]
        go_on: bool,
    },
    /// Phones and one depot in one thread, with messages lost, doubled, late and torn, and clocks off.
    Phones {
        /// How many runs.
        #[arg(long, default_value_t = 1000)]
        runs: u32,
        /// Makes the choices, and nothing else does: the same seed gives the same runs.
        #[arg(long, default_value_t = 1)]
        seed: u64,
    },
    /// Photos over a link as thin as 2G that is cut, stands still and loses answers: how many bytes it takes.
    ThinLink {
        /// Bytes a second.
        #[arg(long, default_value_t = 6_000)]
        rate: u32,
        /// Seconds from a connection's beginning to its cut, on average.
        #[arg(long, default_value_t = 20)]
        cut_after: u64,
        /// How late each piece is, ms.
        #[arg(long, default_value_t = 10)]
        delay: u64,
        /// Photos.
        #[arg(long, default_value_t = 3)]
        photos: u32,
        /// Bytes of each.
        #[arg(long, default_value_t = 600_000)]
        photo_bytes: usize,
        /// Makes the choices.
        #[arg(long, default_value_t = 1)]
        seed: u64,
    },
    /// A day of many phones sent to one depot at once, beside what the disk takes. Needs room for all photos twice.
    Load {
        /// The depot's folder goes in here.
        #[arg(long, default_value = ".")]
        dir: PathBuf,
        /// Phones.
        #[arg(long, default_value_t = 200)]
        phones: u32,
        /// Entries of each.
        #[arg(long, default_value_t = 20)]
        entries: u32,
        /// Of them with a photo.
        #[arg(long, default_value_t = 10)]
        photos: u32,
        /// Bytes of a photo.
        #[arg(long, default_value_t = 3_000_000)]
        photo_bytes: usize,
    },
    /// How long a depot's pages take with many entries.
    Pages {
        /// The depot's folder goes in here.
        #[arg(long, default_value = ".")]
        dir: PathBuf,
        /// Entries.
        #[arg(long, default_value_t = 100_000)]
        entries: u32,
        /// How often each page is asked for.
        #[arg(long, default_value_t = 60)]
        asks: u32,
    },
    /// Our client against @tus/server under Node, over a link that is cut.
    OtherServer {
        /// Where its packages are installed (tests/peers/tus_server.mjs).
        home: PathBuf,
        /// The script.
        #[arg(long, default_value = "tests/peers/tus_server.mjs")]
        script: PathBuf,
        /// Photos of 1.5 MB.
        #[arg(long, default_value_t = 8)]
        photos: u32,
        /// Makes the choices.
        #[arg(long, default_value_t = 1)]
        seed: u64,
    },
    /// The same work on a disk that loses what was not synced, cut off at random moments; then on one that fails, fills and reads short.
    Power {
        /// How many power cuts; a tenth as many for the depot, and as many failing calls.
        #[arg(long, default_value_t = 1000)]
        cuts: u32,
        /// Makes the choices.
        #[arg(long, default_value_t = 1)]
        seed: u64,
    },
    /// As the one below.
    #[command(hide = true)]
    Enroll {
        #[arg(trailing_var_arg = true, allow_hyphen_values = true)]
        rest: Vec<String>,
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
        What::Work { folder, seed, depot, token, turns, go_on } => work(&Orders { folder, seed, depot: depot.zip(token), turns, go_on }),
        // It reads the same arguments: `gritbook-soak depot ...` is `gritbook depot ...`.
        What::Depot { .. } | What::Enroll { .. } => return gritbook_depot::commands::main(),
        What::Kills { kills, seed } => {
            let begun = Instant::now();
            let plan = Plan { soak: own.clone(), gritbook: own, seed, kills };
            let tally = run(&plan, |tally| println!("{:>7.1} s {tally:?}", begun.elapsed().as_secs_f64()));
            println!("all held: seed {seed}, {tally:?}, {:.0} s", begun.elapsed().as_secs_f64());
        }
        What::Phones { runs, seed } => {
            let begun = Instant::now();
            println!("all held: seed {seed}, {:?}, {:.0} s", phones::run(seed, runs), begun.elapsed().as_secs_f64());
        }
        What::ThinLink { rate, cut_after, delay, photos, photo_bytes, seed } => {
            let (delay, cut_after) = (Duration::from_millis(delay), Duration::from_secs(cut_after));
            let took = thin_link::run(Thin { rate, delay, cut_after, photos, photo_bytes, patience: Patience::default() }, seed);
            let more = took.up_bytes as f64 / took.photo_bytes as f64 - 1.0;
            println!("{took:?}: {:.1} % more bytes went up than the photos hold", 100.0 * more);
        }
        What::Load { dir, phones, entries, photos, photo_bytes } => {
            let day = load::Day { gritbook: own, dir, phones, entries, photos, photo_bytes };
            println!("{:#?}", load::day(&day, true));
        }
        What::Pages { dir, entries, asks } => {
            for page in load::pages(&own, &dir, entries, asks) {
                println!("{:<24} half {:>7.1} ms, p95 {:>7.1} ms, most {:>7.1} ms", page.page, page.p50_ms, page.p95_ms, page.most_ms);
            }
        }
        What::OtherServer { home, script, photos, seed } => {
            let (requests, connections) = other_server::run(&script, &home, photos, seed);
            println!("{photos} photos are there, whole, after {requests} requests over {connections} connections");
        }
        What::Power { cuts, seed } => {
            let begun = Instant::now();
            let plan = power::Plan { soak: own.clone(), gritbook: own, seed };
            println!("book: {:?}", power::book_cut_off(&plan, cuts));
            println!("depot: {:?}", power::depot_cut_off(&plan, cuts.div_ceil(10)));
            println!("failing: {:?}", power::book_on_a_failing_disk(&plan, cuts.div_ceil(10)));
            println!("all held: seed {seed}, {:.0} s", begun.elapsed().as_secs_f64());
        }
    }
    std::process::ExitCode::SUCCESS
}
