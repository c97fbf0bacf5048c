//! Words to the same rooms without a screen: commands, output, exit codes. It must not know key codes or drawing.

mod args;
mod check;
mod explain;
mod export;
mod handout;
mod import;
mod input;
mod ladder;
mod man;
mod manual;
mod near;
mod output;
mod outputs;
mod pulse;
mod render;
mod signals;
mod speaker;
mod takes;
mod tap;
mod times;

use crate::terminal::{self, shell::EditError};
use args::{Args, Command};
use clap::Parser;
use std::ffi::OsString;
use std::io::{self, Write};
use std::process::ExitCode;

/// How the program ended. Usage errors exit with clap's 2.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// All went well (0).
    Good,
    /// A groove could not be read, or is wrong (1).
    BadGroove,
    /// The command's words do not fit together or name something that is not there (2).
    Usage,
    /// The result could not be written (3).
    Output,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        ExitCode::from(match exit {
            Exit::Good => 0,
            Exit::BadGroove => 1,
            Exit::Usage => 2,
            Exit::Output => 3,
        })
    }
}

/// A command that failed: what is said on standard error with its causes, and the exit code.
#[derive(Debug)]
struct Failure {
    exit: Exit,
    error: Option<anyhow::Error>,
}

impl Failure {
    fn new(exit: Exit, words: impl std::fmt::Display) -> Self {
        Self { exit, error: Some(anyhow::anyhow!("{words}")) }
    }
}

/// A reader that has gone away (a closed pipe) is no failure of ours.
impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::BrokenPipe {
            Self { exit: Exit::Good, error: None }
        } else {
            Self { exit: Exit::Output, error: Some(anyhow::Error::new(error).context("cannot write")) }
        }
    }
}

/// Runs the program with these words, the first being its own name.
pub fn run(words: impl IntoIterator<Item = OsString>) -> ExitCode {
    let words: Vec<OsString> = words.into_iter().collect();
    if let Some(said) = near::more_words(&words) {
        let _ = writeln!(io::stderr(), "teeter: {said}");
        return Exit::Usage.into();
    }
    let args = match Args::try_parse_from(words) {
        Ok(args) => args,
        Err(error) => {
            let _ = error.print();
            return ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(2));
        }
    };
    match run_command(args) {
        Ok(exit) => exit.into(),
        Err(failure) => {
            if let Some(error) = &failure.error {
                let _ = writeln!(io::stderr(), "teeter: {error:#}");
            }
            failure.exit.into()
        }
    }
}

/// Opens the editor.
fn edit(file: Option<&std::path::Path>, port: Option<u16>) -> Result<Exit, Failure> {
    if let Some(words) = file.and_then(near::no_file) {
        return Err(Failure::new(Exit::Usage, words));
    }
    let far = port.map(speaker::connect).transpose()?;
    match terminal::shell::edit(file, far) {
        Ok(()) => Ok(Exit::Good),
        Err(EditError::Groove(error)) => Err(Failure::new(Exit::BadGroove, error)),
        Err(error @ EditError::NoTerminal) => Err(Failure::new(Exit::Usage, error)),
        Err(error @ EditError::Terminal(_)) => Err(Failure::new(Exit::Output, error)),
    }
}

fn run_command(args: Args) -> Result<Exit, Failure> {
    if !matches!(args.command, None | Some(Command::Speaker(_) | Command::Manual { .. })) {
        signals::end_clean();
    }
    match args.command {
        Some(Command::Explain(ask)) => explain::run(&ask),
        Some(Command::Check(ask)) => check::run(&ask),
        Some(Command::Render(ask)) => render::run(&ask),
        Some(Command::Takes(ask)) => takes::run(&ask),
        Some(Command::Speaker(ask)) => speaker::run(&ask),
        Some(Command::Tap(ask)) => tap::run(&ask),
        Some(Command::Outputs) => outputs::run(),
        Some(Command::Export(ask)) => export::run(&ask),
        Some(Command::Handout(ask)) => handout::run(&ask),
        Some(Command::Import(ask)) => import::run(&ask),
        Some(Command::Manual { chapter }) => manual::run(chapter.as_deref()),
        Some(Command::Man(ask)) => man::run(&ask),
        Some(Command::Completions { shell }) => {
            let mut command = <Args as clap::CommandFactory>::command();
            let mut bytes = Vec::new();
            clap_complete::generate(shell, &mut command, "teeter", &mut bytes);
            io::stdout().lock().write_all(&bytes)?;
            Ok(Exit::Good)
        }
        None => edit(args.edit.file.as_deref(), args.edit.speaker),
    }
}
