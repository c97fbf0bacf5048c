//! Text to disk, all of it or nothing.

use super::LIMIT;
use super::atomic_file::{Access, AtomicFile, folder_of};
use super::error::reason;
use std::fmt;
use std::fs::{self, File, OpenOptions};
use std::hash::Hasher;
use std::io::{ErrorKind, Read, Write};
use std::path::{Path, PathBuf};

/// What a file was at a certain time: its length and a hash of its bytes, or that there was none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stamp(Option<(u64, u64)>);

impl Stamp {
    /// There is no file.
    pub const ABSENT: Stamp = Stamp(None);

    /// A file with this text.
    pub fn of(text: &str) -> Self {
        Self::of_bytes(text.as_bytes())
    }

    fn of_bytes(bytes: &[u8]) -> Self {
        Self(Some((bytes.len() as u64, hash(bytes))))
    }
}

/// The 64-bit FNV-1a hash (Fowler, Noll and Vo 1991), the same on every machine.
pub(super) fn hash(bytes: &[u8]) -> u64 {
    let mut hasher = fnv::FnvHasher::default();
    hasher.write(bytes);
    hasher.finish()
}

/// Why a file could not be written; the old one is as it was.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum SaveError {
    /// The file is not what it was when it was loaded.
    ChangedOnDisk(PathBuf),
    /// The path is a directory, a pipe or a device.
    NotPlain(PathBuf),
    /// The file may not be written.
    ReadOnly(PathBuf),
    /// The folder is not there or takes no new file: its reason.
    Folder(PathBuf, String),
    /// The system refused the writing: its reason.
    Write(PathBuf, String),
    /// The text is longer than a file may be: its bytes.
    TooLarge(PathBuf, u64),
}

impl SaveError {
    /// The path that could not be written.
    pub(crate) fn path(&self) -> &Path {
        match self {
            Self::ChangedOnDisk(p)
            | Self::NotPlain(p)
            | Self::ReadOnly(p)
            | Self::Folder(p, _)
            | Self::Write(p, _)
            | Self::TooLarge(p, _) => p,
        }
    }

    /// Why, without the path.
    pub(crate) fn words(&self) -> String {
        match self {
            Self::ChangedOnDisk(_) => "not saved, the file was changed by another program".into(),
            Self::NotPlain(_) => "not saved, this is not a plain file".into(),
            Self::ReadOnly(_) => "not saved, the file is read-only".into(),
            Self::Folder(_, why) => format!("not saved, the folder takes no file ({why})"),
            Self::Write(_, why) => format!("not saved, the file could not be written ({why})"),
            Self::TooLarge(_, bytes) => {
                format!("not saved, {bytes} bytes are more than the {LIMIT} a file may have")
            }
        }
    }
}

impl fmt::Display for SaveError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.path().display(), self.words())
    }
}

impl std::error::Error for SaveError {}

/// Writes a groove's text: into a new file in the same folder, to the disk, then in the old one's place.
///
/// A symbolic link stays one and its target is written. Mode and, where the system lets us, owner stay. `loaded` says what
/// the file was when it was read; `None` writes over whatever is there. A file that has vanished since is written again.
/// Gives what the file is now.
///
/// # Errors
/// [`SaveError`]; the old file is then untouched and no other is left behind.
pub(crate) fn save(path: &Path, text: &str, loaded: Option<Stamp>) -> Result<Stamp, SaveError> {
    if text.len() as u64 > LIMIT {
        return Err(SaveError::TooLarge(path.to_owned(), text.len() as u64));
    }
    let target = resolve_links(path);
    if let Ok(about) = fs::metadata(&target) {
        if !about.is_file() {
            return Err(SaveError::NotPlain(path.to_owned()));
        }
        // A rename would ignore the file's own mode, and so do root's writes.
        let open = OpenOptions::new().write(true).open(&target);
        let closed =
            open.is_err_and(|e| matches!(e.kind(), ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem));
        if about.permissions().readonly() || closed {
            return Err(SaveError::ReadOnly(path.to_owned()));
        }
        if loaded.is_some_and(|stamp| stamp != now(&target, about.len())) {
            return Err(SaveError::ChangedOnDisk(path.to_owned()));
        }
    }
    write_atomically(&target, text, Access::Shared)?;
    Ok(Stamp::of(text))
}

/// Writes a file whole or not at all.
pub(super) fn write_atomically(target: &Path, text: &str, access: Access) -> Result<(), SaveError> {
    let refused = |e| SaveError::Folder(folder_of(target).to_owned(), reason(&e));
    let mut file = AtomicFile::with_access(target, access).map_err(refused)?;
    let written = file.write_all(text.as_bytes()).and_then(|()| file.commit_durably());
    written.map_err(|e| SaveError::Write(target.to_owned(), reason(&e)))
}

/// The file a path leads to, through links, whether or not it is there.
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

fn now(target: &Path, bytes: u64) -> Stamp {
    // A file that is too long or cannot be read is not the one that was loaded.
    let unlike = Stamp(Some((bytes, 0)));
    let mut found = Vec::new();
    match File::open(target).and_then(|f| f.take(LIMIT + 1).read_to_end(&mut found)) {
        Ok(_) => Stamp::of_bytes(&found),
        Err(_) => unlike,
    }
}
