//! One file per command. Each has its arguments and a [`Run`]; this file has what they share: exit statuses and errors.

use std::io::Write as _;
use std::process::ExitCode;

use clap::{Parser, Subcommand};
use gritbook_core::{CoreError, ErrorKind};

mod backup;
mod bolt;
mod book;
mod bore;
mod call;
mod card;
mod demo;
mod depot;
mod diagnose;
mod enroll;
mod face;
mod life;
mod line;
mod measured;
mod oring;
mod people;
mod plate;
mod read;
mod repair;
mod schema;
mod shelf;
mod thickness;

/// The field book for mechanics who keep piston concrete pumps fit to pump.
#[derive(Debug, Parser)]
#[command(name = "gritbook", version, about, disable_help_subcommand = true)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

macro_rules! commands {
    ($($(#[$meta:meta])* $variant:ident($module:ident),)*) => {
        /// The commands.
        #[derive(Debug, Subcommand)]
        pub enum Command {
            $($(#[$meta])* $variant($module::Args),)*
        }

        impl Run for Command {
            fn json(&self) -> bool {
                match self {
                    $(Self::$variant(args) => args.json(),)*
                }
            }

            fn run(self) -> Result<(), Failure> {
                match self {
                    $(Self::$variant(args) => args.run(),)*
                }
            }
        }
    };
}

commands! {
    /// Show the whole job on a small fleet: photo, reading, grades, call, outbox, depot.
    Demo(demo),
    /// Make the debris card, ready to print.
    Card(card),
    /// Read a photo of drained material: grain sizes and the passing level.
    Read(read),
    /// Measure a photo of a wear surface: share under grit, scores, chipped chrome, beside the last photo.
    Face(face),
    /// Measure a piston plate's flatness, by dial or by straightedge and feelers.
    Plate(plate),
    /// Measure a bore from diameters at stations along it.
    Bore(bore),
    /// Hold a lip, wall or guide band against what may be left of it.
    Thickness(thickness),
    /// Hold an O-ring's squeeze against its limits.
    Oring(oring),
    /// Torque, clamp load and tap of a bolt.
    Bolt(bolt),
    /// Hold a delivery pipe's wall against the pressure it must hold.
    Line(line),
    /// How many cups to have before the next delivery comes.
    Shelf(shelf),
    /// Fit how long parts last, from a history.
    Life(life),
    /// Write a copy of a history with what is offered for its bad rows.
    Repair(repair),
    /// Make the call at each asked moment: pour, pour and watch, or change first.
    Call(call),
    /// Which cause fits what a pump showed last: worn cups, worn bore, a bad fit, a rod seal, damage.
    Diagnose(diagnose),
    /// A field book in a folder.
    Book(book),
    /// Run the receiving side.
    Depot(depot),
    /// Let a device in, or shut it out.
    Enroll(enroll),
    /// Who may sign in at a depot's pages.
    People(people),
    /// Print the JSON Schema of a document.
    Schema(schema),
}

/// What a command's arguments can do.
pub trait Run {
    /// Whether errors go to standard output as JSON.
    fn json(&self) -> bool {
        false
    }

    /// Does it.
    ///
    /// # Errors
    /// A [`Failure`], which carries the exit status.
    fn run(self) -> Result<(), Failure>;
}

/// Why a command ended early, and with which exit status.
#[derive(Debug)]
pub struct Failure {
    /// What was wrong and what to do.
    pub error: CoreError,
    /// 1, 2 or 3 (README, exit status).
    pub exit: u8,
    /// Stands beside `error` in the JSON document, for example `quality` of a refused photo.
    pub beside: serde_json::Map<String, serde_json::Value>,
    /// True where the command has printed all there is to say.
    pub already_said: bool,
}

impl From<CoreError> for Failure {
    fn from(error: CoreError) -> Self {
        let exit = match error.kind() {
            ErrorKind::Refused | ErrorKind::NotFound | ErrorKind::NewerSchema => 2,
            ErrorKind::Depot => 3,
            ErrorKind::StorageFull | ErrorKind::Corrupt | ErrorKind::Storage | ErrorKind::Internal => 1,
        };
        Self { error, exit, beside: serde_json::Map::new(), already_said: false }
    }
}

impl From<anyhow::Error> for Failure {
    fn from(error: anyhow::Error) -> Self {
        CoreError::new(ErrorKind::Internal, "failed", format!("{error:#}"), "try again; if it stays, report it with this message").into()
    }
}

/// The whole program: what is asked for on the command line, done, and its exit status.
pub fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(usage) => return report_usage(&usage),
    };
    let json = cli.command.json();
    match cli.command.run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => report_failure(&failure, json),
    }
}

/// Help and version are answers; anything else is a refusal, as a document where one was asked for.
fn report_usage(usage: &clap::Error) -> ExitCode {
    if usage.use_stderr() && std::env::args_os().any(|argument| argument == "--json") {
        let text = usage.to_string();
        let reason = text.lines().next().unwrap_or_default().trim_start_matches("error: ").to_owned();
        let error = CoreError::refused("bad_usage", reason, "run the command with --help: it has an example");
        return report_failure(&error.into(), true);
    }
    // A closed pipe changes nothing about the answer.
    let _ = usage.print();
    ExitCode::from(if usage.use_stderr() { 2 } else { 0 })
}

/// The error document `gritbook.error/1`.
pub fn error_document(failure: &Failure) -> serde_json::Value {
    let mut document = serde_json::json!({
        "schema": "gritbook.error/1",
        "error": { "code": failure.error.code(), "reason": failure.error.to_string(), "advice": failure.error.advice() },
    });
    if let Some(map) = document.as_object_mut() {
        map.extend(failure.beside.clone());
    }
    document
}

/// Prints a failure as the contracts say and returns its exit status.
pub fn report_failure(failure: &Failure, json: bool) -> ExitCode {
    if !failure.already_said {
        // A closed pipe must not turn an error into a panic.
        let _ = if json {
            writeln!(std::io::stdout(), "{}", error_document(failure))
        } else {
            writeln!(std::io::stderr(), "gritbook: {}\n  {}", failure.error, failure.error.advice())
        };
    }
    ExitCode::from(failure.exit)
}

/// Prints a document as one line of JSON.
pub(crate) fn say_document(document: &impl serde::Serialize) -> Result<(), Failure> {
    say(serde_json::to_string(document).map_err(anyhow::Error::from)?);
    Ok(())
}

/// Prints a line on standard output; a closed pipe ends the command quietly.
pub(crate) fn say(line: impl std::fmt::Display) {
    if writeln!(std::io::stdout(), "{line}").is_err() {
        std::process::exit(0);
    }
}
