//! Where results and messages go: files, standard output, standard error.

use super::{Exit, Failure};
use crate::jobs::{CancelToken, JobControl, JobReport, Target, check_wav_name};
use indicatif::{ProgressBar, ProgressDrawTarget};
use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::PoisonError;
use std::sync::atomic::{AtomicUsize, Ordering};

/// The target of a command that renders sound.
pub(super) fn sound_target(path: &Path) -> Result<Target, Failure> {
    let target = Target::from_arg(path);
    check_wav_name(&target)?;
    not_a_terminal(&target)?;
    Ok(target)
}

/// Refuses to write to a terminal what is not text.
pub(super) fn not_a_terminal(target: &Target) -> Result<(), Failure> {
    if *target == Target::Stdout && io::stdout().is_terminal() {
        return Err(Failure::usage("standard output is a terminal; redirect it, or name a file with -o"));
    }
    Ok(())
}

/// Prints what a job made; `source` names the input where there may be several.
pub(super) fn print(report: &JobReport, source: Option<&Path>) -> io::Result<()> {
    let mut errors = io::stderr().lock();
    for note in &report.notes {
        match source {
            Some(path) => writeln!(errors, "{}: {note}", path.display())?,
            None => writeln!(errors, "teeter: {note}")?,
        }
    }
    io::stdout().lock().write_all(&report.stdout)?;
    write!(errors, "{}", report.cues.as_deref().unwrap_or_default())?;
    if !report.files.is_empty() {
        writeln!(errors, "{}", report.summary())?;
    }
    Ok(())
}

/// A progress bar on standard error, drawn only where that is a terminal.
fn progress_bar(length: u64) -> ProgressBar {
    ProgressBar::with_draw_target(Some(length), ProgressDrawTarget::stderr())
}

/// The control of a job that shows its progress.
pub(super) fn with_progress() -> JobControl {
    let bar = progress_bar(100);
    JobControl::new(CancelToken::default(), move |percent| bar.set_position(u64::from(percent)))
}

/// Works on every item on all cores and gives the results in the items' order; of many items it shows how many are done.
pub(super) fn on_all_cores<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let cores = std::thread::available_parallelism().map_or(1, usize::from).min(items.len());
    let bar = if items.len() > 8 { progress_bar(items.len() as u64) } else { ProgressBar::hidden() };
    let next = AtomicUsize::new(0);
    let done: Mutex<Vec<(usize, R)>> = Mutex::new(Vec::with_capacity(items.len()));
    std::thread::scope(|scope| {
        for _ in 0..cores {
            scope.spawn(|| {
                while let Some((i, item)) =
                    Some(next.fetch_add(1, Ordering::Relaxed)).and_then(|i| Some((i, items.get(i)?)))
                {
                    let result = work(item);
                    bar.inc(1);
                    done.lock().unwrap_or_else(PoisonError::into_inner).push((i, result));
                }
            });
        }
    });
    bar.finish_and_clear();
    let mut done = done.into_inner().unwrap_or_else(PoisonError::into_inner);
    done.sort_by_key(|(i, _)| *i);
    done.into_iter().map(|(_, r)| r).collect()
}

/// Prints a failure that does not end the command, and gives the graver of the two exit codes.
pub(super) fn report_failure(failure: &Failure, so_far: Exit) -> io::Result<Exit> {
    if let Some(message) = &failure.message {
        writeln!(io::stderr().lock(), "{message}")?;
    }
    Ok(failure.exit.max(so_far))
}

/// Creates the folder that results go to.
pub(super) fn create_folder(folder: &Path) -> Result<(), Failure> {
    std::fs::create_dir_all(folder).map_err(|e| {
        let reason = if folder.is_file() {
            crate::rhythm::expected("a folder", "a file")
        } else {
            format!("cannot create the folder: {}", crate::store::reason(&e))
        };
        Failure::new(Exit::Output, format!("{}: {reason}", folder.display()))
    })
}

/// The paths of the results of several inputs: the one named with `-o`, or in a folder under the inputs' names with another extension,
/// or `otherwise`. No two may be the same.
pub(super) fn targets(
    inputs: &[PathBuf],
    output: Option<&PathBuf>,
    into: Option<&PathBuf>,
    otherwise: impl Fn(&Path) -> PathBuf,
    extension: &str,
) -> Result<Vec<PathBuf>, Failure> {
    if let Some(output) = output {
        if inputs.len() > 1 {
            let words = format!("-o names one file, but there are {} inputs; use --into FOLDER", inputs.len());
            return Err(Failure::usage(words));
        }
        return Ok(vec![output.clone(); inputs.len()]);
    }
    let target = |path: &PathBuf| match into {
        Some(folder) if path.as_os_str() == "-" => folder.join("groove").with_extension(extension),
        Some(folder) => folder.join(path.file_name().unwrap_or_default()).with_extension(extension),
        None => otherwise(path),
    };
    let targets: Vec<PathBuf> = inputs.iter().map(target).collect();
    distinct(inputs, &targets)?;
    into.map_or(Ok(()), |folder| create_folder(folder))?;
    Ok(targets)
}

/// Refuses inputs whose results would have the same path.
pub(super) fn distinct(inputs: &[PathBuf], targets: &[PathBuf]) -> Result<(), Failure> {
    let mut taken = std::collections::HashMap::new();
    for (target, input) in targets.iter().zip(inputs).filter(|t| t.0.as_os_str() != "-") {
        if let Some(before) = taken.insert(target, input) {
            let (a, b, target) = (before.display(), input.display(), target.display());
            return Err(Failure::usage(format!("{a} and {b} would both be written to {target}; rename one of them")));
        }
    }
    Ok(())
}
