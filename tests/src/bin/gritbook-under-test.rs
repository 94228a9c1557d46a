//! The command `gritbook`, built beside the tests so that they can start it, kill it and start it again.

use std::process::ExitCode;

use clap::Parser as _;
use gritbook_depot::commands::{Cli, Run as _, report_failure};

fn main() -> ExitCode {
    let cli = Cli::parse();
    let json = cli.command.json();
    match cli.command.run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => report_failure(&failure, json),
    }
}
