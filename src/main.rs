//! Calls the command line and exits. It must not know anything else.
fn main() -> std::process::ExitCode {
    teeter::cli::run(std::env::args_os())
}
