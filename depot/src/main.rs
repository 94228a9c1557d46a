//! The command line `gritbook`.

fn main() -> std::process::ExitCode {
    gritbook_depot::commands::main()
}
