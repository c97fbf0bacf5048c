//! Saves text to a file, all of it or nothing.

use super::MAX_BYTES;
use super::atomic_file::{Access, AtomicFile, folder_of};
use super::error::reason;
use super::lock::{lock_folder, try_lock};
use crate::rhythm::expected;
use std::ffi::OsString;
use std::fmt;
use std::fs::{self, File, OpenOptions};
use std::hash::Hasher;
use std::io::{self, ErrorKind, Read, Write};
use std::os::unix::fs::MetadataExt;
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
/// A symbolic link is followed. The mode and, where the system allows, the owner are kept. A file with several hard links is written
/// in place, so that all of them show the new text. `loaded` is the state of the file when it was read; `None` overwrites any file.
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
    if let (Some(loaded), Some(metadata)) = (loaded, &metadata)
        && loaded != Stamp::of_file(&target, metadata.len())
    {
        return Err(SaveError::ChangedOnDisk(path.to_owned()));
    }
    match metadata {
        Some(metadata) if metadata.nlink() > 1 => overwrite(file, &target, text),
        _ => replace(file, &target),
    }?;
    Ok(Stamp::of(text))
}

/// Writes a text into an existing file; until all of it is on the disk, it is in a backup too.
fn overwrite(file: AtomicFile, target: &Path, text: &str) -> Result<(), SaveError> {
    let old = super::read_bytes(target);
    let backup = backup_of(target);
    // Locked until the end, so that no other editor takes it for one whose process was killed.
    let _lock = file.rename(&backup).map_err(write_error(target))?;
    if let Err(error) = write_in_place(target, text.as_bytes()) {
        // No more space, for example. The backup stays only if the old text cannot be restored.
        if old.is_ok_and(|old| write_in_place(target, &old).is_ok()) {
            drop(fs::remove_file(backup));
        }
        return Err(write_error(target)(error));
    }
    drop(fs::remove_file(backup));
    Ok(())
}

fn write_in_place(target: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = OpenOptions::new().write(true).open(target)?;
    file.write_all(bytes)?;
    file.set_len(bytes.len() as u64)?;
    file.sync_all()
}

/// The text of a save in place that is not complete.
fn backup_of(target: &Path) -> PathBuf {
    let mut name = OsString::from(".");
    name.push(target.file_name().unwrap_or_default());
    name.push(".teeter-save");
    target.with_file_name(name)
}

/// Completes a save in place whose process was killed. Returns a message about a text that it leaves in its backup, because the
/// file is a groove and may have been changed since.
pub(crate) fn finish_interrupted_save(path: &Path) -> Option<String> {
    let target = resolve_links(path);
    let backup = backup_of(&target);
    let file = File::open(&backup).ok().filter(try_lock)?;
    let text = String::from_utf8(super::read_bytes(&backup).ok()?).ok()?;
    let current = fs::read(&target);
    let is_written = current.as_ref().is_ok_and(|current| current == text.as_bytes());
    let is_groove = current.is_ok_and(|current| super::parse_bytes(current, "").is_ok());
    if is_written || (!is_groove && write_in_place(&target, text.as_bytes()).is_ok()) {
        drop(fs::remove_file(&backup));
        return None;
    }
    drop(file);
    Some(format!("a save was interrupted; its text is in {}: compare that file with the groove", backup.display()))
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
