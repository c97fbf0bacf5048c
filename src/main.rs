//! Runs the command line.
fn main() -> std::process::ExitCode {
    teeter::cli::run(std::env::args_os())
}
