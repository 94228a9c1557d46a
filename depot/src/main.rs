//! The command line `gritbook`.

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
