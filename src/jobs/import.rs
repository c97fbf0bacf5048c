//! Imports a groove from a file in another format.

use super::control::JobControl;
use super::request::{ImportedGroove, JobError};
use crate::import::formats;
use crate::rhythm::{Fraction, expected};
use crate::store::{self, reason};
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::Path;

/// Reads a groove from a file, `-` for standard input. Inexact times may move by `tolerance` in ms.
///
/// # Errors
/// [`JobError::Input`] with the path, or [`JobError::Cancelled`].
pub(crate) fn import(path: &Path, tolerance: Fraction, control: &JobControl) -> Result<ImportedGroove, JobError> {
    let bytes = read_input(path, formats::max_bytes())?;
    let invalid = |reason: String| JobError::Input(format!("{}: {reason}", input_name(path)));
    let ending = path.extension().and_then(|e| e.to_str());
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let imported = formats::import(&bytes, ending, &stem, tolerance).map_err(|e| invalid(e.to_string()))?;
    let size = store::print(&imported.groove).len() as u64;
    if size > store::MAX_BYTES {
        return Err(invalid(expected(
            format_args!("a groove file of at most {} bytes", store::MAX_BYTES),
            format_args!("one of {size} bytes"),
        )));
    }
    if control.is_cancelled() {
        return Err(JobError::Cancelled);
    }
    Ok(ImportedGroove { groove: imported.groove, from: path.to_owned(), warnings: imported.warnings })
}

fn input_name(path: &Path) -> String {
    if path.as_os_str() == "-" { "standard input".into() } else { path.display().to_string() }
}

/// Reads at most `limit` + 1 bytes of a regular file, `-` for standard input.
///
/// # Errors
/// [`JobError::Input`] with the path.
pub(crate) fn read_input(path: &Path, limit: u64) -> Result<Vec<u8>, JobError> {
    let failed = |e: io::Error| JobError::Input(format!("{}: cannot read: {}", input_name(path), reason(&e)));
    let mut bytes = Vec::new();
    if path.as_os_str() == "-" {
        io::stdin().lock().take(limit + 1).read_to_end(&mut bytes).map_err(failed)?;
        return Ok(bytes);
    }
    // A pipe or a device could block for ever.
    if !fs::metadata(path).map_err(failed)?.is_file() {
        let kind = if path.is_dir() { "a folder" } else { "a device or a pipe" };
        return Err(JobError::Input(format!("{}: {}", path.display(), expected("a regular file", kind))));
    }
    File::open(path).and_then(|f| f.take(limit + 1).read_to_end(&mut bytes)).map_err(failed)?;
    Ok(bytes)
}
