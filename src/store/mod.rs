//! The groove file and the disk: reading with errors by line and column, printing, edits that keep comments and spacing, atomic
//! saves, the journal. It must not know analysis, sound or the screen.

mod atomic_file;
mod cache;
mod cells_field;
mod editors;
mod error;
mod fields;
mod file_type;
mod journal;
mod lock;
mod print;
mod progress;
mod read;
mod recording_table;
mod save;
mod state_folder;
#[cfg(test)]
mod tests;
mod update;

pub(crate) use atomic_file::{AtomicFile, CommitError, Overwrite, commit_all, remove_orphans, remove_pending_and_exit};
pub(crate) use cache::cache_file;
pub(crate) use error::reason;
pub use error::{LoadError, Problem};
use error::{ParseError, TextPosition};
pub(crate) use journal::{Journal, UnsavedJournal, sync};
pub use journal::{JournalContents, read_journal};
pub(crate) use print::Printer;
pub use print::print;
pub(crate) use progress::{Practice, load_progress, save_progress};
pub(crate) use save::{SaveError, Stamp, finish_interrupted_save, save};
pub(crate) use state_folder::{Calibration, SoundSettings, StateFolder};
pub use update::update;

use crate::rhythm::Groove;
use crate::rhythm::bounds::NAME;
#[cfg(test)]
pub(crate) use progress::progress_path;
use std::fs::{self, File};
use std::io::{self, ErrorKind, Read};
use std::path::Path;

/// The newest format version. It is written where a layer has several divisions; other grooves are format 1.
pub(crate) const FORMAT: i64 = 2;
/// Size of a groove's file: 4 MiB.
pub const MAX_BYTES: u64 = 4 * 1024 * 1024;

/// A groove with the text it was read from, which [`update`] edits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LoadedGroove {
    /// The groove.
    pub groove: Groove,
    /// The file's text, byte for byte.
    pub text: String,
    /// The state of the file when it was read.
    pub stamp: Stamp,
}

#[cfg(test)]
impl LoadedGroove {
    /// As if it was read from the text that it is printed as.
    pub(crate) fn printed(groove: Groove) -> Self {
        let text = print(&groove);
        Self { groove, stamp: Stamp::of(&text), text }
    }
}

/// The title of a new groove with this file name: its stem without control characters, cut to the length of a name, or `untitled`.
pub(crate) fn title_of(path: &Path) -> String {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let printable: String = stem.chars().filter(|c| !c.is_control()).take(NAME.greatest as usize).collect();
    let title = printable.trim();
    if title.is_empty() { "untitled".to_owned() } else { title.to_owned() }
}

/// Loads a groove's file.
///
/// At most [`MAX_BYTES`] are read, and only from a regular file, so that a pipe or a device cannot block. Of a larger file only
/// the start is read, to name its type.
///
/// # Errors
/// The file cannot be read or is not a groove.
pub fn load(path: &Path) -> Result<LoadedGroove, LoadError> {
    let name = path.display().to_string();
    let bytes = read_bytes(path).map_err(|problem| LoadError { file: name.clone(), position: None, problem })?;
    parse_bytes(bytes, &name)
}

fn read_bytes(path: &Path) -> Result<Vec<u8>, Problem> {
    let unreadable = |error: io::Error| match error.kind() {
        ErrorKind::NotFound => Problem::Missing,
        _ => Problem::Unreadable(reason(&error)),
    };
    let metadata = fs::metadata(path).map_err(unreadable)?;
    if !metadata.is_file() {
        return Err(if metadata.is_dir() { Problem::Directory } else { Problem::NotRegular });
    }
    let file = File::open(path).map_err(unreadable)?;
    let (size, mut bytes) = (metadata.len(), Vec::new());
    if size > MAX_BYTES {
        file.take(file_type::MAX_EXAMINED as u64).read_to_end(&mut bytes).map_err(unreadable)?;
        return Err(file_type::other_type(&bytes).unwrap_or(Problem::TooLarge(size)));
    }
    // A file of the kernel reports no size and may be endless.
    file.take(MAX_BYTES + 1).read_to_end(&mut bytes).map_err(unreadable)?;
    if bytes.len() as u64 > MAX_BYTES {
        return Err(Problem::TooLarge(bytes.len() as u64));
    }
    Ok(bytes)
}

/// Reads a groove from a file's bytes; messages use `name` for the file.
///
/// # Errors
/// The bytes are a file of another type, not UTF-8 or not a groove.
pub fn parse_bytes(bytes: Vec<u8>, name: &str) -> Result<LoadedGroove, LoadError> {
    let error = |position, problem| LoadError { file: name.to_owned(), position, problem };
    if let Some(problem) = file_type::other_type(&bytes) {
        return Err(error(None, problem));
    }
    let text = String::from_utf8(bytes).map_err(|e| {
        let (valid, rest) = e.as_bytes().split_at(e.utf8_error().valid_up_to());
        let valid = String::from_utf8_lossy(valid);
        error(Some(TextPosition::of(&valid, valid.len())), Problem::NotUtf8(rest[0]))
    })?;
    parse(&text, name)
}

/// Reads a groove from text; messages use `name` for the file.
///
/// # Errors
/// The text is not a groove.
pub fn parse(text: &str, name: &str) -> Result<LoadedGroove, LoadError> {
    match read::groove(text) {
        Ok(groove) => Ok(LoadedGroove { groove, text: text.to_owned(), stamp: Stamp::of(text) }),
        Err(ParseError { at, problem }) => {
            Err(LoadError { file: name.to_owned(), position: at.map(|at| TextPosition::of(text, at)), problem })
        }
    }
}
