//! The journal: unsaved work kept beside the files, to be found again after a crash.

use super::LIMIT;
use super::atomic_file::Access;
use super::save::{SaveError, hash, write_atomically};
use std::env;
use std::fs::{self, File};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// The folder with one text per groove that has unsaved work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Journal {
    folder: PathBuf,
}

/// Unsaved work that was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Recovered {
    /// The whole text.
    pub text: String,
    /// When it was written.
    pub written: SystemTime,
    /// Whether the groove's own file is there.
    pub file_exists: bool,
    /// Where it is kept.
    pub kept: PathBuf,
}

impl Journal {
    /// The user's journal: `teeter` in `XDG_STATE_HOME` if that is an absolute path (XDG Base Directory Specification
    /// 0.8), else in `~/.local/state`; `None` if there is no home either. The folder is made when something is written.
    pub(crate) fn of_user() -> Option<Self> {
        let absolute = |name| env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute());
        let state = absolute("XDG_STATE_HOME").or_else(|| Some(absolute("HOME")?.join(".local/state")))?;
        Some(Self::at(&state.join("teeter")))
    }

    /// The journal in this folder.
    pub(crate) fn at(folder: &Path) -> Self {
        Self { folder: folder.to_owned() }
    }

    /// Keeps the text of the groove at `path`; `None` is the groove of this process that has no file yet. Only the user
    /// can read what is kept.
    ///
    /// # Errors
    /// [`SaveError`] as for any file; what was kept before is then still there.
    pub(crate) fn write(&self, path: Option<&Path>, text: &str) -> Result<(), SaveError> {
        self.write_to(&self.place(path), text)
    }

    /// Writes another small text into the folder.
    pub(super) fn write_beside(&self, name: &str, text: &str) -> Result<(), SaveError> {
        self.write_to(&self.folder.join(name), text)
    }

    /// Such a text, if it is there.
    pub(super) fn beside(&self, name: &str) -> Option<String> {
        bounded(&self.folder.join(name))
    }

    fn write_to(&self, target: &Path, text: &str) -> Result<(), SaveError> {
        // More could not be read back.
        if text.len() as u64 > LIMIT {
            return Err(SaveError::TooLarge(target.to_owned(), text.len() as u64));
        }
        let mut builder = fs::DirBuilder::new();
        builder.recursive(true);
        #[cfg(unix)]
        std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
        builder.create(&self.folder).map_err(|e| SaveError::Folder(self.folder.clone(), super::error::reason(&e)))?;
        write_atomically(target, text, Access::Private)
    }

    /// Work on the groove at `path` that is newer than its file and differs from it, also when the file has vanished. For
    /// `None`, the newest work without a file that no running process is still at.
    pub(crate) fn recover(&self, path: Option<&Path>) -> Option<Recovered> {
        let Some(path) = path else {
            let left = self.untitled().into_iter().filter(|(pid, _)| !runs(*pid));
            return left.filter_map(|(_, kept)| found(kept, false)).max_by_key(|r| r.written);
        };
        let about = fs::metadata(path).ok();
        let work = found(self.place(Some(path)), about.is_some())?;
        let newer = about.and_then(|a| a.modified().ok()).is_none_or(|saved| work.written >= saved);
        let same = bounded(path).is_some_and(|text| text == work.text);
        (newer && !same).then_some(work)
    }

    /// Forgets the work kept for `path`, or this process's work without a file. Nothing kept is no error.
    pub(crate) fn discard(&self, path: Option<&Path>) {
        drop(fs::remove_file(self.place(path)));
    }

    fn place(&self, path: Option<&Path>) -> PathBuf {
        let Some(path) = path else {
            return self.folder.join(format!("untitled-{}.toml", std::process::id()));
        };
        let real = real(path);
        let stem: String = real
            .file_stem()
            .map(|s| s.to_string_lossy().chars().filter(|c| c.is_alphanumeric() || *c == '-').take(40).collect())
            .unwrap_or_default();
        self.folder.join(format!("{stem}-{:016x}.toml", hash(real.as_os_str().as_encoded_bytes())))
    }

    fn untitled(&self) -> Vec<(u32, PathBuf)> {
        let pid = |path: &Path| path.file_stem()?.to_str()?.strip_prefix("untitled-")?.parse().ok();
        let entries = fs::read_dir(&self.folder).into_iter().flatten().flatten();
        entries.filter_map(|e| Some((pid(&e.path())?, e.path()))).collect()
    }
}

impl Recovered {
    /// Forgets this work.
    pub(crate) fn discard(self) {
        drop(fs::remove_file(self.kept));
    }
}

/// The path without links, whether or not the file is there, so that a vanished file has the name it had.
fn real(path: &Path) -> PathBuf {
    fs::canonicalize(path).unwrap_or_else(|_| {
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let folder = fs::canonicalize(folder).or_else(|_| std::path::absolute(folder));
        let name = path.file_name().unwrap_or_default();
        folder.map_or_else(|_| path.to_owned(), |f| f.join(name))
    })
}

/// Whether another process of this number runs, as far as the system shows it.
fn runs(pid: u32) -> bool {
    pid != std::process::id() && Path::new("/proc").join(pid.to_string()).exists()
}

fn bounded(path: &Path) -> Option<String> {
    if !fs::metadata(path).ok()?.is_file() {
        return None;
    }
    let mut text = String::new();
    File::open(path).ok()?.take(LIMIT).read_to_string(&mut text).ok()?;
    Some(text)
}

fn found(kept: PathBuf, file_exists: bool) -> Option<Recovered> {
    let written = fs::metadata(&kept).ok()?.modified().ok()?;
    Some(Recovered { text: bounded(&kept)?, written, file_exists, kept })
}
