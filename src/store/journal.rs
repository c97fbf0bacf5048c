//! The journal: texts of unsaved grooves in the state folder, to be recovered after a crash.

use super::MAX_BYTES;
use super::atomic_file::{Access, folder_of};
use super::save::{SaveError, hash, write_atomically};
use std::env;
use std::fs::{self, File};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// The folder with one text per unsaved groove.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Journal {
    folder: PathBuf,
}

/// An unsaved groove found in the journal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Recovered {
    pub text: String,
    pub modified: SystemTime,
    /// Whether the groove's own file exists.
    pub file_exists: bool,
    /// The file in the journal.
    pub path: PathBuf,
}

impl Journal {
    /// The user's journal: `teeter` in `XDG_STATE_HOME` if that is an absolute path, otherwise in `~/.local/state` (XDG Base
    /// Directory Specification 0.8); `None` without a home. The folder is created on the first write.
    pub(crate) fn of_user() -> Option<Self> {
        let absolute = |name| env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute());
        let state = absolute("XDG_STATE_HOME").or_else(|| Some(absolute("HOME")?.join(".local/state")))?;
        Some(Self::at(&state.join("teeter")))
    }

    pub(crate) fn at(folder: &Path) -> Self {
        Self { folder: folder.to_owned() }
    }

    /// Writes the text of the groove at `path`, or of this process's groove without a file. Only the user can read it. On an error
    /// the previous text stays.
    pub(crate) fn write(&self, path: Option<&Path>, text: &str) -> Result<(), SaveError> {
        self.write_file(&self.file_for(path), text)
    }

    /// Writes a file that is not a groove.
    pub(super) fn write_state(&self, name: &str, text: &str) -> Result<(), SaveError> {
        self.write_file(&self.folder.join(name), text)
    }

    pub(super) fn read_state(&self, name: &str) -> Option<String> {
        read_bounded(&self.folder.join(name))
    }

    pub(super) fn remove_state(&self, name: &str) {
        drop(fs::remove_file(self.folder.join(name)));
    }

    /// The names of all files of the state folder.
    pub(super) fn state_names(&self) -> Vec<String> {
        let entries = fs::read_dir(&self.folder).into_iter().flatten().flatten();
        entries.filter_map(|e| e.file_name().into_string().ok()).collect()
    }

    fn write_file(&self, target: &Path, text: &str) -> Result<(), SaveError> {
        // A longer text could not be recovered.
        if text.len() as u64 > MAX_BYTES {
            return Err(SaveError::TooLarge(target.to_owned(), text.len() as u64));
        }
        let mut builder = fs::DirBuilder::new();
        builder.recursive(true);
        #[cfg(unix)]
        std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
        builder.create(&self.folder).map_err(|e| SaveError::Folder(self.folder.clone(), super::error::reason(&e)))?;
        write_atomically(target, text, Access::Private)
    }

    /// The journal's text of the groove at `path` if it is newer than the file and differs from it, or if the file no longer exists.
    /// Without a path, the newest text of a groove without a file whose process no longer runs.
    pub(crate) fn recover(&self, path: Option<&Path>) -> Option<Recovered> {
        let Some(path) = path else {
            let left = self.untitled().into_iter().filter(|(pid, _)| !is_running(*pid));
            return left.filter_map(|(_, file)| recovered(file, false)).max_by_key(|r| r.modified);
        };
        let metadata = fs::metadata(path).ok();
        let found = recovered(self.file_for(Some(path)), metadata.is_some())?;
        let is_newer = metadata.and_then(|m| m.modified().ok()).is_none_or(|saved| found.modified >= saved);
        let is_same = read_bounded(path).is_some_and(|text| text == found.text);
        (is_newer && !is_same).then_some(found)
    }

    /// Removes the text for `path`, or for this process's groove without a file.
    pub(crate) fn discard(&self, path: Option<&Path>) {
        drop(fs::remove_file(self.file_for(path)));
    }

    fn file_for(&self, path: Option<&Path>) -> PathBuf {
        let Some(path) = path else {
            return self.folder.join(format!("untitled-{}.toml", std::process::id()));
        };
        let path = without_links(path);
        let stem = path.file_stem().unwrap_or_default().to_string_lossy();
        let stem: String = stem.chars().filter(|c| c.is_alphanumeric() || *c == '-').take(40).collect();
        self.folder.join(format!("{stem}-{:016x}.toml", hash(path.as_os_str().as_encoded_bytes())))
    }

    /// The files of grooves without a file, with the process of each.
    fn untitled(&self) -> Vec<(u32, PathBuf)> {
        let pid = |path: &Path| path.file_stem()?.to_str()?.strip_prefix("untitled-")?.parse().ok();
        let entries = fs::read_dir(&self.folder).into_iter().flatten().flatten();
        entries.filter_map(|e| Some((pid(&e.path())?, e.path()))).collect()
    }
}

impl Recovered {
    pub(crate) fn discard(self) {
        drop(fs::remove_file(self.path));
    }
}

/// The path without links. A file that no longer exists has the same path as before.
fn without_links(path: &Path) -> PathBuf {
    fs::canonicalize(path).unwrap_or_else(|_| {
        let folder = folder_of(path);
        let folder = fs::canonicalize(folder).or_else(|_| std::path::absolute(folder));
        folder.map_or_else(|_| path.to_owned(), |f| f.join(path.file_name().unwrap_or_default()))
    })
}

/// Whether another process with this id runs, on systems with `/proc`.
pub(super) fn is_running(pid: u32) -> bool {
    pid != std::process::id() && Path::new("/proc").join(pid.to_string()).exists()
}

fn read_bounded(path: &Path) -> Option<String> {
    if !fs::metadata(path).ok()?.is_file() {
        return None;
    }
    let mut text = String::new();
    File::open(path).ok()?.take(MAX_BYTES).read_to_string(&mut text).ok()?;
    Some(text)
}

fn recovered(path: PathBuf, file_exists: bool) -> Option<Recovered> {
    let modified = fs::metadata(&path).ok()?.modified().ok()?;
    Some(Recovered { text: read_bounded(&path)?, modified, file_exists, path })
}
