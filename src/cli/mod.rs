//! The command line: arguments, output and exit codes. It must not know key codes or drawing; only this file names the editor.

mod align;
mod args;
mod check;
mod explain;
mod export;
mod handout;
mod import;
mod input;
mod licenses;
mod man;
mod manual;
mod onsets;
mod output;
mod outputs;
mod propose;
mod pulse;
mod recordings;
mod remote;
mod render;
mod search;
mod signals;
mod suggest;
mod takes;
mod tap;
mod tap_times;
mod transcribe;
mod vary;

use crate::analysis::Limits;
use crate::config::{Config, ConfigPart, Severity};
use crate::describe;
use crate::jobs::{HearingSelection, Job, JobError, JobKind, OutsideSounds, Target};
use crate::rhythm::{Groove, is_hidden};
use crate::sound::SampleRate;
use crate::terminal::{self, shell::EditorError};
use args::{Args, Command, EditArgs, OverwriteArg};
use clap::Parser;
use std::ffi::OsString;
use std::io::{self, Write};
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

/// Exit codes, from success to the gravest. clap's own errors exit with 2 too.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Exit {
    /// Success (0).
    Success,
    /// A groove or a recording could not be read, or is wrong (1).
    BadGroove,
    /// The arguments do not fit together or name something that does not exist (2).
    Usage,
    /// The result could not be written (3).
    Output,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        ExitCode::from(exit as u8)
    }
}

/// Exit code of a shell for a missing command.
const COMMAND_NOT_FOUND: i32 = 127;

/// A command that failed: its exit code and what is printed on standard error.
#[derive(Debug)]
struct CliError {
    exit: Exit,
    message: Option<String>,
}

impl CliError {
    fn new(exit: Exit, message: impl std::fmt::Display) -> Self {
        Self { exit, message: Some(message.to_string()) }
    }

    fn usage(message: impl std::fmt::Display) -> Self {
        Self::new(Exit::Usage, message)
    }

    /// Adds the file to the message.
    fn in_file(self, path: &Path) -> Self {
        Self { message: self.message.map(|m| format!("{}: {m}", path.display())), ..self }
    }

    /// The error of a job on a file.
    fn of_job(error: JobError, path: &Path) -> Self {
        match error {
            JobError::Request(_) | JobError::Input(_) => Self::from(error).in_file(path),
            _ => Self::from(error),
        }
    }
}

impl From<JobError> for CliError {
    fn from(error: JobError) -> Self {
        match &error {
            JobError::Write { kind: io::ErrorKind::BrokenPipe, .. } => Self { exit: Exit::Success, message: None },
            JobError::Exists(_) => Self::new(Exit::Output, format!("{error}; use --overwrite to replace it")),
            JobError::IsInput(_) | JobError::Request(_) => Self::usage(error),
            JobError::Input(_) => Self::new(Exit::BadGroove, error),
            JobError::Write { .. } | JobError::Incomplete { .. } | JobError::Cancelled | JobError::Internal(_) => {
                Self::new(Exit::Output, error)
            }
        }
    }
}

/// A closed pipe is no error.
impl From<io::Error> for CliError {
    fn from(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::BrokenPipe {
            Self { exit: Exit::Success, message: None }
        } else {
            Self::new(Exit::Output, format!("cannot write: {error}"))
        }
    }
}

/// Runs the program with these arguments, the first being its own name.
pub fn run(args: impl IntoIterator<Item = OsString>) -> ExitCode {
    let args: Vec<OsString> = args.into_iter().collect();
    if let Some(error) = suggest::unrecognized_command(&args) {
        let _ = output::warn(error);
        return Exit::Usage.into();
    }
    let has_hidden = args.iter().any(|a| a.to_string_lossy().contains(is_hidden));
    let args = match Args::try_parse_from(args) {
        Ok(args) => args,
        Err(error) => {
            // The message quotes arguments; escapes would destroy its colours too.
            let _ = if has_hidden && error.use_stderr() {
                write!(io::stderr(), "{}", describe::visible_lines(&error.render().to_string()))
            } else {
                error.print()
            };
            return ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(2));
        }
    };
    match run_command(args) {
        Ok(exit) => exit.into(),
        Err(error) => {
            if let Some(message) = &error.message {
                let _ = output::warn(message);
            }
            error.exit.into()
        }
    }
}

/// A job on a groove that was read from a path: with the default hearings, and without sound files outside the groove's folder.
fn job(groove: Groove, path: &Path, target: Target, overwrite: &OverwriteArg, limits: Limits, kind: JobKind) -> Job {
    Job {
        groove: Arc::new(groove),
        file: input::file_of(path),
        outside: OutsideSounds::default(),
        target,
        overwrite: overwrite.policy(),
        limits,
        layers: Vec::new(),
        hearings: HearingSelection::Default,
        rate: SampleRate::STUDIO,
        kind,
    }
}

/// The user's settings. Prints the warnings about the part that the command uses, and fails if it has an error.
fn user_config(part: ConfigPart) -> Result<Config, CliError> {
    let config = Config::load();
    for warning in config.mistakes(part, Severity::Warning) {
        output::warn(warning)?;
    }
    let errors = config.mistakes(part, Severity::Error);
    let Some((last, others)) = errors.split_last() else { return Ok(config) };
    others.iter().try_for_each(output::warn)?;
    Err(CliError::usage(last))
}

/// Opens the editor.
fn edit(args: &EditArgs) -> Result<Exit, CliError> {
    let (file, socket) = (args.file.as_deref(), args.speaker.as_deref());
    if let (Some(pid), Some(socket)) = (args.join, socket) {
        return remote::join(socket, pid);
    }
    file.and_then(suggest::missing_file).map_or(Ok(()), |error| Err(CliError::usage(error)))?;
    match terminal::shell::edit(file, socket) {
        Ok(()) => Ok(Exit::Success),
        Err(EditorError::Groove(error)) => Err(CliError::new(Exit::BadGroove, error)),
        Err(error @ (EditorError::NoTerminal | EditorError::Speaker(_) | EditorError::Recording(_))) => {
            Err(CliError::usage(error))
        }
        Err(error @ EditorError::Terminal(_)) => Err(CliError::new(Exit::Output, error)),
    }
}

fn run_command(args: Args) -> Result<Exit, CliError> {
    if !matches!(args.command, None | Some(Command::Remote(_) | Command::Manual { .. })) {
        signals::clean_up_on_signal();
    }
    match args.command {
        Some(Command::Explain(args)) => explain::run(&args),
        Some(Command::Check(args)) => check::run(&args),
        Some(Command::Render(args)) => render::run(&args),
        Some(Command::Takes(args)) => takes::run(&args),
        Some(Command::Remote(args)) => remote::run(&args),
        Some(Command::Tap(args)) => tap::run(&args),
        Some(Command::Align(args)) => align::run(&args),
        Some(Command::Onsets(args)) => onsets::run(&args),
        Some(Command::Vary(args)) => vary::run(&args),
        Some(Command::Search(args)) => search::run(&args),
        Some(Command::Propose(args)) => propose::run(&args),
        Some(Command::Transcribe(args)) => transcribe::run(&args),
        Some(Command::Outputs) => outputs::run(),
        Some(Command::Export(args)) => export::run(&args),
        Some(Command::Handout(args)) => handout::run(&args),
        Some(Command::Import(args)) => import::run(&args),
        Some(Command::Manual { chapter }) => manual::run(chapter.as_deref()),
        Some(Command::Man(args)) => man::run(&args),
        Some(Command::Licenses) => Ok(licenses::run()?),
        Some(Command::Completions { shell }) => {
            let mut command = <Args as clap::CommandFactory>::command();
            // Into memory, because `generate` panics when its output closes.
            let mut script = Vec::new();
            clap_complete::generate(shell, &mut command, "teeter", &mut script);
            io::stdout().lock().write_all(&script)?;
            Ok(Exit::Success)
        }
        None => edit(&args.edit),
    }
}
