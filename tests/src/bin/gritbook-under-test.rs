//! The command `gritbook`, built beside the tests so that they can start it, kill it and start it again.

fn main() -> std::process::ExitCode {
    gritbook_depot::commands::main()
}
