//! Calls the command line and exits.
fn main() -> std::process::ExitCode {
    teeter::cli::run(std::env::args_os())
}
