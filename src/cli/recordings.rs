//! Reads the recordings that the arguments name.

use super::output::{self, Progress};
use super::{CliError, Exit, input};
use crate::recording::detect::{DetectedOnsets, detect, detect_with_timbres};
use crate::rhythm::expected;
use crate::store::reason;
use std::fs::{self, File};
use std::io;
use std::ops::ControlFlow;
use std::path::Path;

/// Finds the onsets of a recording, with their timbres if wanted, shows the progress, and prints a warning for whatever is wrong with the file.
pub(super) fn detect_onsets(path: &Path, threshold: f32, with_timbres: bool) -> Result<DetectedOnsets, CliError> {
    let invalid = |message: String| CliError::new(Exit::BadGroove, message).in_file(path);
    let file = open(path).map_err(invalid)?;
    let progress = Progress::new(true);
    let extension = path.extension().and_then(|e| e.to_str());
    let mut report = |share| {
        progress.set((share * 100.0) as u8);
        ControlFlow::Continue(())
    };
    let found = if with_timbres {
        detect_with_timbres(file, extension, threshold, &mut report)
    } else {
        detect(file, extension, threshold, &mut report)
    };
    drop(progress);
    let found = found.map_err(|error| invalid(error.to_string()))?;
    found.warnings.iter().try_for_each(|w| output::warn(format_args!("{}: {w}", path.display())))?;
    Ok(found)
}

fn open(path: &Path) -> Result<File, String> {
    if input::is_stdin(path) {
        return Err(expected("the name of a recording", "'-'; a recording cannot be read from standard input"));
    }
    let unreadable = |e: io::Error| format!("cannot read: {}", reason(&e));
    // A pipe or a device could block for ever.
    let metadata = fs::metadata(path).map_err(unreadable)?;
    if !metadata.is_file() {
        let found = if metadata.is_dir() { "a folder" } else { "a device or a pipe" };
        return Err(expected("a regular file", found));
    }
    File::open(path).map_err(unreadable)
}
