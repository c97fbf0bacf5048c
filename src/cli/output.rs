//! Where results and messages go: files, standard output, standard error.

use super::{CliError, Exit, input};
use crate::describe::{visible, visible_lines};
use crate::jobs::{self, CancelToken, Job, JobControl, JobReport, Target, check_wav_name};
use crate::rhythm::expected;
use crate::store;
use std::collections::HashMap;
use std::fmt::Display;
use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU8, AtomicUsize, Ordering};

/// The target of a command that renders sound.
pub(super) fn sound_target(path: &Path) -> Result<Target, CliError> {
    let target = Target::from_arg(path);
    check_wav_name(&target)?;
    check_not_terminal(&target)?;
    Ok(target)
}

/// Checks that binary data do not go to a terminal.
pub(super) fn check_not_terminal(target: &Target) -> Result<(), CliError> {
    if *target == Target::Stdout && io::stdout().is_terminal() {
        return Err(CliError::usage("standard output is a terminal; redirect it, or name a file with -o"));
    }
    Ok(())
}

/// Prints a line on standard error, with hidden characters escaped: it may name files and quote what is in them.
pub(super) fn print_to_stderr(line: impl Display) -> io::Result<()> {
    writeln!(io::stderr().lock(), "{}", visible(&line.to_string()))
}

/// [`print_to_stderr`] after the program's name.
pub(super) fn warn(message: impl Display) -> io::Result<()> {
    print_to_stderr(format_args!("teeter: {message}"))
}

/// Prints the result of a job; `source` is the input if there may be several.
pub(super) fn print(report: &JobReport, source: Option<&Path>) -> io::Result<()> {
    for note in &report.notes {
        match source {
            Some(path) => print_to_stderr(format_args!("{}: {note}", path.display()))?,
            None => warn(note)?,
        }
    }
    io::stdout().lock().write_all(&report.stdout)?;
    write!(io::stderr().lock(), "{}", visible_lines(report.cues.as_deref().unwrap_or_default()))?;
    if !report.files.is_empty() {
        print_to_stderr(report.summary())?;
    }
    Ok(())
}

/// Prints the result of a job per input, goes on after errors, and returns the gravest exit code.
pub(super) fn print_results<'a>(
    results: impl IntoIterator<Item = (&'a PathBuf, Result<JobReport, CliError>)>,
    mut exit: Exit,
) -> Result<Exit, CliError> {
    for (path, result) in results {
        match result {
            Err(error) => exit = report_error(&error, exit)?,
            Ok(report) => print(&report, Some(path))?,
        }
    }
    Ok(exit)
}

/// A percentage on standard error if that is a terminal; erased when dropped.
pub(super) struct Progress {
    is_shown: bool,
    percent: AtomicU8,
}

impl Progress {
    pub(super) fn new(is_wanted: bool) -> Self {
        Self { is_shown: is_wanted && io::stderr().is_terminal(), percent: AtomicU8::new(u8::MAX) }
    }

    pub(super) fn set(&self, percent: u8) {
        if self.is_shown && self.percent.swap(percent, Ordering::Relaxed) != percent {
            let _ = write!(io::stderr(), "\r{percent:3}%");
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if self.is_shown {
            let _ = write!(io::stderr(), "\r    \r");
        }
    }
}

/// The control of a job that shows its progress.
pub(super) fn progress_control() -> JobControl {
    let progress = Progress::new(true);
    JobControl::new(CancelToken::default(), move |percent| progress.set(percent))
}

/// Runs a job that renders sound, shows its progress and prints its result.
pub(super) fn run_sound_job(job: &Job) -> Result<Exit, CliError> {
    print(&jobs::run(job, &progress_control())?, None)?;
    Ok(Exit::Success)
}

/// Works on every item on all cores and returns the results in the items' order. Shows the progress if there are many.
pub(super) fn map_parallel<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let cores = std::thread::available_parallelism().map_or(1, usize::from).min(items.len());
    let progress = Progress::new(items.len() > 8);
    let (next, done) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let worker = || {
        let mut results = Vec::new();
        while let Some((i, item)) = Some(next.fetch_add(1, Ordering::Relaxed)).and_then(|i| Some((i, items.get(i)?))) {
            results.push((i, work(item)));
            progress.set(((done.fetch_add(1, Ordering::Relaxed) + 1) * 100 / items.len()) as u8);
        }
        results
    };
    let mut results: Vec<(usize, R)> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..cores).map(|_| scope.spawn(worker)).collect();
        workers.into_iter().flat_map(|w| w.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))).collect()
    });
    results.sort_by_key(|r| r.0);
    results.into_iter().map(|r| r.1).collect()
}

/// Prints an error that does not end the command, and returns the graver of the two exit codes.
pub(super) fn report_error(error: &CliError, so_far: Exit) -> io::Result<Exit> {
    if let Some(message) = &error.message {
        print_to_stderr(message)?;
    }
    Ok(error.exit.max(so_far))
}

pub(super) fn create_folder(folder: &Path) -> Result<(), CliError> {
    std::fs::create_dir_all(folder).map_err(|e| {
        let reason = if folder.is_file() {
            expected("a folder", "a file")
        } else {
            format!("cannot create the folder: {}", store::reason(&e))
        };
        CliError::new(Exit::Output, format!("{}: {reason}", folder.display()))
    })
}

/// The paths of the results of several inputs: the one of `-o`, or those in the folder of `--into` under the inputs' names with
/// another extension, or the `default` of each. No two may be the same.
pub(super) fn targets(
    inputs: &[PathBuf],
    output: Option<&PathBuf>,
    into: Option<&PathBuf>,
    default: impl Fn(&Path) -> PathBuf,
    extension: &str,
) -> Result<Vec<PathBuf>, CliError> {
    if let Some(output) = output {
        if inputs.len() > 1 {
            let message = format!("-o names one file, but there are {} inputs; use --into FOLDER", inputs.len());
            return Err(CliError::usage(message));
        }
        return Ok(vec![output.clone(); inputs.len()]);
    }
    let target = |path: &PathBuf| match into {
        Some(folder) if input::is_stdin(path) => folder.join("groove").with_extension(extension),
        Some(folder) => folder.join(path.file_name().unwrap_or_default()).with_extension(extension),
        None => default(path),
    };
    let targets: Vec<PathBuf> = inputs.iter().map(target).collect();
    check_distinct(inputs, &targets)?;
    into.map_or(Ok(()), |folder| create_folder(folder))?;
    Ok(targets)
}

/// Checks that no two results have the same path.
pub(super) fn check_distinct(inputs: &[PathBuf], targets: &[PathBuf]) -> Result<(), CliError> {
    let mut sources = HashMap::new();
    for (target, input) in targets.iter().zip(inputs).filter(|t| t.0.as_os_str() != "-") {
        if let Some(before) = sources.insert(target, input) {
            let (a, b, target) = (before.display(), input.display(), target.display());
            return Err(CliError::usage(format!("{a} and {b} would both be written to {target}; rename one of them")));
        }
    }
    Ok(())
}
