//! Our file and the disk: reading with errors by line and column, printing, edits that keep the writer's own words, atomic
//! saves, the journal. It must not know analysis, sound or screen; it is told what to do and when.

mod atomic_file;
mod calibration;
mod cells_field;
mod error;
mod fields;
mod file_type;
mod journal;
mod print;
mod progress;
mod read;
mod save;
mod sound_levels;
#[cfg(test)]
mod tests;
mod update;

pub(crate) use atomic_file::Overwrite;
pub(crate) use atomic_file::{AtomicFile, CommitError, commit_all, remove_pending_and_exit};
pub(crate) use calibration::Calibration;
pub use error::{LoadError, Problem};
pub(crate) use error::{Position, reason};
pub(crate) use journal::{Journal, Recovered};
pub use print::print;
pub(crate) use progress::{Practice, load_progress, save_progress};
pub(crate) use save::{SaveError, Stamp, save};
pub(crate) use sound_levels::SoundLevels;
pub use update::update;

use crate::rhythm::Groove;
use crate::rhythm::bounds::NAME;
#[cfg(test)]
pub(crate) use progress::progress_path;
use std::fs::{self, File};
use std::io::{ErrorKind, Read};
use std::path::Path;

/// The newest version of the file's form that this program reads; the one it writes.
pub const FORMAT: i64 = 1;
/// Most bytes of a groove's file: 4 MiB.
pub const LIMIT: u64 = 4 * 1024 * 1024;

/// A groove with the text it was read from, which [`update`] edits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Loaded {
    /// The groove.
    pub groove: Groove,
    /// The file's text, byte for byte.
    pub text: String,
    /// What the file was when it was read.
    pub stamp: Stamp,
}

/// The title of a groove that is begun under this name: the name without its ending, control characters left out, of as many
/// characters as a name may have; `untitled` where nothing is left.
pub fn title_of(path: &Path) -> String {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let plain: String = stem.chars().filter(|c| !c.is_control()).take(NAME.greatest as usize).collect();
    let plain = plain.trim();
    if plain.is_empty() { "untitled".to_owned() } else { plain.to_owned() }
}

/// Reads a groove's file.
///
/// The size is looked at first: of a file that is too long the start is read only, which tells what else it may be, and no more
/// than [`LIMIT`] bytes are read in any case. Only plain files
/// are opened, so a pipe or a device cannot make the program wait.
///
/// # Errors
/// [`LoadError`] for whatever cannot be read or is not a groove.
pub fn load(path: &Path) -> Result<Loaded, LoadError> {
    let name = path.display().to_string();
    let refuse = |problem| LoadError { file: name.clone(), place: None, problem };
    let unreadable = |error: &std::io::Error| {
        refuse(match error.kind() {
            ErrorKind::NotFound => Problem::Missing,
            _ => Problem::Unreadable(error::reason(error)),
        })
    };
    let about = fs::metadata(path).map_err(|e| unreadable(&e))?;
    if about.is_dir() {
        return Err(refuse(Problem::Directory));
    }
    if !about.is_file() {
        return Err(refuse(Problem::NotPlain));
    }
    let file = File::open(path).map_err(|e| unreadable(&e))?;
    if about.len() > LIMIT {
        let mut head = Vec::new();
        file.take(file_type::HEAD as u64).read_to_end(&mut head).map_err(|e| unreadable(&e))?;
        return Err(refuse(file_type::foreign(&head).unwrap_or(Problem::TooLarge(about.len()))));
    }
    let mut bytes = Vec::with_capacity(about.len() as usize);
    // A file of the kernel's says that it is empty and may never end.
    file.take(LIMIT + 1).read_to_end(&mut bytes).map_err(|e| unreadable(&e))?;
    if bytes.len() as u64 > LIMIT {
        return Err(refuse(Problem::TooLarge(bytes.len() as u64)));
    }
    parse_bytes(bytes, &name)
}

/// Reads a groove from a file's bytes; `name` stands in messages for the file.
///
/// # Errors
/// [`LoadError`] with line and column if the bytes are no text or no groove, and which kind of file they are if that can be told.
pub fn parse_bytes(bytes: Vec<u8>, name: &str) -> Result<Loaded, LoadError> {
    if let Some(problem) = file_type::foreign(&bytes) {
        return Err(LoadError { file: name.to_owned(), place: None, problem });
    }
    match String::from_utf8(bytes) {
        Ok(text) => parse(&text, name),
        Err(error) => {
            let good = error.utf8_error().valid_up_to();
            let bytes = error.as_bytes();
            let before = String::from_utf8_lossy(&bytes[..good]);
            let place = Some(Position::of(&before, before.len()));
            Err(LoadError { file: name.to_owned(), place, problem: Problem::NotUtf8(bytes[good]) })
        }
    }
}

/// Reads a groove from text; `name` stands in messages for the file.
///
/// # Errors
/// [`LoadError`] with line and column if the text is not a groove.
pub fn parse(text: &str, name: &str) -> Result<Loaded, LoadError> {
    let at = |at: Option<usize>| at.map(|at| Position::of(text, at));
    match read::groove(text) {
        Ok(groove) => Ok(Loaded { groove, text: text.to_owned(), stamp: Stamp::of(text) }),
        Err(fault) => Err(LoadError { file: name.to_owned(), place: at(fault.at), problem: fault.problem }),
    }
}
