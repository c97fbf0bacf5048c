//! Writes the files of a job: never over an input, and over another file only if the job allows it.

use super::control::JobControl;
use super::request::{JobError, JobReport};
use crate::store::{self, AtomicFile, CommitError, Overwrite, reason};
use std::fs;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

/// Where a result goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Target {
    File(PathBuf),
    /// A device or a pipe, which is written in place.
    Device(PathBuf),
    Stdout,
}

impl Target {
    /// The target of a command-line argument; `-` is standard output.
    pub(crate) fn from_arg(path: &Path) -> Self {
        if path.as_os_str() == "-" {
            Self::Stdout
        } else if path.exists() && !path.is_file() && !path.is_dir() {
            Self::Device(path.to_owned())
        } else {
            Self::File(path.to_owned())
        }
    }

    pub(super) fn file(&self) -> Option<&Path> {
        match self {
            Self::File(path) => Some(path),
            Self::Device(_) | Self::Stdout => None,
        }
    }

    /// `-` for standard output.
    pub(crate) fn path(&self) -> &Path {
        match self {
            Self::File(path) | Self::Device(path) => path,
            Self::Stdout => Path::new("-"),
        }
    }
}

/// A file of a job, in memory.
#[derive(Debug)]
pub(crate) struct OutputFile {
    pub(crate) path: PathBuf,
    pub(crate) bytes: Vec<u8>,
}

impl OutputFile {
    /// Writes the file under a temporary name, for [`commit`].
    pub(super) fn prepare(self) -> Result<AtomicFile, JobError> {
        let written = AtomicFile::create(&self.path).and_then(|mut file| file.write_all(&self.bytes).map(|()| file));
        written.map_err(|e| JobError::write(&self.path, &e))
    }
}

/// Checks that every path may be written, so that a job can fail before its work is done.
///
/// # Errors
/// [`JobError::IsInput`], [`JobError::Exists`], and [`JobError::Write`] for a path that is not a regular file.
pub(super) fn check_targets<'a>(
    paths: impl IntoIterator<Item = &'a Path>,
    inputs: &[PathBuf],
    overwrite: Overwrite,
) -> Result<(), JobError> {
    for path in paths {
        let invalid = |reason: &str| {
            let reason = reason.to_owned();
            Err(JobError::Write { path: path.to_owned(), kind: io::ErrorKind::InvalidInput, reason })
        };
        match fs::metadata(path) {
            Ok(_) if inputs.iter().any(|input| is_same_file(path, input)) => {
                return Err(JobError::IsInput(path.to_owned()));
            }
            Ok(about) if about.is_dir() => return invalid("expected a file, found a folder"),
            Ok(about) if !about.is_file() => return invalid("expected a regular file, found a device or a pipe"),
            Ok(_) if overwrite == Overwrite::Never => return Err(JobError::Exists(path.to_owned())),
            _ => {}
        }
    }
    Ok(())
}

/// Whether two paths lead to the same file, through links too.
fn is_same_file(a: &Path, b: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let id = |path| fs::metadata(path).map(|about| (about.dev(), about.ino()));
    matches!((id(a), id(b)), (Ok(a), Ok(b)) if a == b)
}

/// Writes files: all of them, or none unless the error is [`JobError::Incomplete`].
pub(crate) fn write_files(
    files: Vec<OutputFile>,
    inputs: &[PathBuf],
    overwrite: Overwrite,
    control: &JobControl,
) -> Result<(), JobError> {
    check_targets(files.iter().map(|f| f.path.as_path()), inputs, overwrite)?;
    let pending = files.into_iter().map(OutputFile::prepare).collect::<Result<_, _>>()?;
    commit(pending, overwrite, control)
}

/// Writes one result; for standard output the report holds the bytes.
pub(crate) fn deliver(
    target: &Target,
    bytes: Vec<u8>,
    inputs: &[PathBuf],
    overwrite: Overwrite,
    control: &JobControl,
) -> Result<JobReport, JobError> {
    let mut report = JobReport::default();
    match target {
        Target::Stdout => report.stdout = bytes,
        Target::File(path) => {
            write_files(vec![OutputFile { path: path.clone(), bytes }], inputs, overwrite, control)?;
            report.files.push(path.clone());
        }
        Target::Device(path) => fs::write(path, bytes).map_err(|e| JobError::write(path, &e))?,
    }
    Ok(report)
}

/// Gives complete files their names, unless the job was cancelled.
pub(super) fn commit(files: Vec<AtomicFile>, overwrite: Overwrite, control: &JobControl) -> Result<(), JobError> {
    if control.is_cancelled() {
        return Err(JobError::Cancelled);
    }
    store::commit_all(files, overwrite).map_err(|CommitError { path, error, replaced }| match &replaced[..] {
        [] => JobError::write(&path, &error),
        _ => JobError::Incomplete { path, reason: reason(&error), replaced },
    })
}

/// Streams to the target; the file that it returns takes its name by [`commit`].
pub(super) fn stream<T>(
    target: &Target,
    work: impl FnOnce(&mut dyn Write) -> io::Result<T>,
) -> io::Result<(T, Option<AtomicFile>)> {
    let mut out: Box<dyn Write> = match target {
        Target::File(path) => {
            let mut file = AtomicFile::create(path)?;
            return Ok((work(&mut file)?, Some(file)));
        }
        Target::Device(path) => Box::new(BufWriter::new(fs::OpenOptions::new().write(true).open(path)?)),
        Target::Stdout => Box::new(BufWriter::new(io::stdout().lock())),
    };
    let done = work(&mut *out)?;
    out.flush()?;
    Ok((done, None))
}
