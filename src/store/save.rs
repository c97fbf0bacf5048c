//! Saves text to a file, all of it or nothing.

use super::MAX_BYTES;
use super::atomic_file::{Access, AtomicFile, folder_of};
use super::error::reason;
use super::lock::lock_folder;
use crate::rhythm::expected;
use std::fmt;
use std::fs::{self, File, OpenOptions};
use std::hash::Hasher;
use std::io::{self, ErrorKind, Read, Write};
use std::path::{Path, PathBuf};

/// The state of a file: its length and the hash of its bytes, or its absence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stamp(Option<(u64, u64)>);

impl Stamp {
    pub(crate) const ABSENT: Stamp = Stamp(None);

    pub(crate) fn of(text: &str) -> Self {
        Self::of_bytes(text.as_bytes())
    }

    fn of_bytes(bytes: &[u8]) -> Self {
        Self(Some((bytes.len() as u64, hash(bytes))))
    }

    /// The state of an existing file. One that is too large or cannot be read equals no file that was loaded.
    fn of_file(path: &Path, size: u64) -> Self {
        let mut bytes = Vec::new();
        match File::open(path).and_then(|f| f.take(MAX_BYTES + 1).read_to_end(&mut bytes)) {
            Ok(_) => Self::of_bytes(&bytes),
            Err(_) => Self(Some((size, 0))),
        }
    }
}

/// The 64-bit FNV-1a hash (Fowler, Noll and Vo 1991), the same on every machine.
pub(super) fn hash(bytes: &[u8]) -> u64 {
    let mut hasher = fnv::FnvHasher::default();
    hasher.write(bytes);
    hasher.finish()
}

/// Why a file could not be written; the old file is unchanged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum SaveError {
    /// The file has changed since it was loaded.
    ChangedOnDisk(PathBuf),
    /// The path is a directory, a pipe or a device.
    NotRegular(PathBuf),
    ReadOnly(PathBuf),
    /// The folder is missing or accepts no new file; the reason.
    Folder(PathBuf, String),
    /// The write failed; the system's reason.
    Write(PathBuf, String),
    /// The text has this many bytes.
    TooLarge(PathBuf, u64),
}

impl SaveError {
    pub(crate) fn path(&self) -> &Path {
        match self {
            Self::ChangedOnDisk(p)
            | Self::NotRegular(p)
            | Self::ReadOnly(p)
            | Self::Folder(p, _)
            | Self::Write(p, _)
            | Self::TooLarge(p, _) => p,
        }
    }

    /// The message without the path.
    pub(crate) fn message(&self) -> String {
        match self {
            Self::ChangedOnDisk(_) => "not saved: the file was changed by another program".into(),
            Self::NotRegular(_) => "not saved: not a regular file".into(),
            Self::ReadOnly(_) => "not saved: the file is read-only".into(),
            Self::Folder(_, why) => format!("not saved: cannot create a file in the folder ({why})"),
            Self::Write(_, why) => format!("not saved: the file could not be written ({why})"),
            Self::TooLarge(_, bytes) => format!("not saved: {}", expected(format!("at most {MAX_BYTES} bytes"), bytes)),
        }
    }

    /// The system's reason alone, as far as there is one.
    pub(crate) fn cause(&self) -> String {
        match self {
            Self::Folder(_, why) | Self::Write(_, why) => why.clone(),
            other => other.message(),
        }
    }
}

impl fmt::Display for SaveError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.path().display(), self.message())
    }
}

impl std::error::Error for SaveError {}

/// Saves a groove's text: writes a new file in the same folder, flushes it to the disk and renames it. Returns the new state.
///
/// A symbolic link is followed. The mode and, where the system allows, the owner are kept. `loaded` is the state of the file when
/// it was read; `None` overwrites any file.
pub(crate) fn save(path: &Path, text: &str, loaded: Option<Stamp>) -> Result<Stamp, SaveError> {
    if text.len() as u64 > MAX_BYTES {
        return Err(SaveError::TooLarge(path.to_owned(), text.len() as u64));
    }
    let target = resolve_links(path);
    if let Ok(metadata) = fs::metadata(&target) {
        if !metadata.is_file() {
            return Err(SaveError::NotRegular(path.to_owned()));
        }
        // Checked because a rename ignores the file's mode. Root's writes ignore it too.
        let denied = |e: io::Error| matches!(e.kind(), ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem);
        let is_denied = OpenOptions::new().write(true).open(&target).is_err_and(denied);
        if metadata.permissions().readonly() || is_denied {
            return Err(SaveError::ReadOnly(path.to_owned()));
        }
    }
    let file = prepare(&target, text, Access::Shared)?;
    // From here to the end no other editor saves in this folder.
    let _lock = lock_folder(folder_of(&target));
    let metadata = fs::metadata(&target).ok();
    if let (Some(loaded), Some(metadata)) = (loaded, metadata)
        && loaded != Stamp::of_file(&target, metadata.len())
    {
        return Err(SaveError::ChangedOnDisk(path.to_owned()));
    }
    replace(file, &target)?;
    Ok(Stamp::of(text))
}

pub(super) fn write_atomically(target: &Path, text: &str, access: Access) -> Result<(), SaveError> {
    replace(prepare(target, text, access)?, target)
}

fn write_error(target: &Path) -> impl Fn(io::Error) -> SaveError {
    move |e| SaveError::Write(target.to_owned(), reason(&e))
}

/// Writes the text to a temporary file on the disk.
fn prepare(target: &Path, text: &str, access: Access) -> Result<AtomicFile, SaveError> {
    let no_file = |e| SaveError::Folder(folder_of(target).to_owned(), reason(&e));
    let mut file = AtomicFile::with_access(target, access).map_err(no_file)?;
    file.write_all(text.as_bytes()).and_then(|()| file.sync()).map_err(write_error(target))?;
    Ok(file)
}

fn replace(file: AtomicFile, target: &Path) -> Result<(), SaveError> {
    file.replace_target().map_err(write_error(target))
}

/// Follows links to a file that need not exist.
pub(super) fn resolve_links(path: &Path) -> PathBuf {
    let mut path = path.to_owned();
    // As many links as Linux follows.
    for _ in 0..40 {
        if let Ok(real) = fs::canonicalize(&path) {
            return real;
        }
        match fs::read_link(&path) {
            Ok(to) => path = path.parent().unwrap_or(Path::new("")).join(to),
            Err(_) => break,
        }
    }
    path
}
