//! The user's state folder: small files that outlive a session, and the journals.

use super::SaveError;
use super::atomic_file::Access;
use super::error::reason;
use super::save::write_atomically;
use std::path::{Path, PathBuf};
use std::{env, fs};

#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct StateFolder(pub(super) PathBuf);

impl StateFolder {
    /// `teeter` in `XDG_STATE_HOME` if that is an absolute path, otherwise in `~/.local/state` (XDG Base Directory Specification
    /// 0.8); `None` without a home. The folder is created on the first write.
    pub(crate) fn of_user() -> Option<Self> {
        let absolute = |name| env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute());
        let state = absolute("XDG_STATE_HOME").or_else(|| Some(absolute("HOME")?.join(".local/state")))?;
        Some(Self::at(&state.join("teeter")))
    }

    pub(crate) fn at(folder: &Path) -> Self {
        Self(folder.to_owned())
    }

    pub(crate) fn path(&self) -> &Path {
        &self.0
    }

    /// Creates the folder, which only the user can read.
    pub(super) fn create(&self) -> Result<(), SaveError> {
        let mut builder = fs::DirBuilder::new();
        builder.recursive(true);
        std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
        builder.create(&self.0).map_err(|e| SaveError::Folder(self.0.clone(), reason(&e)))
    }

    pub(super) fn write(&self, name: &str, text: &str) -> Result<(), SaveError> {
        self.create()?;
        write_atomically(&self.0.join(name), text, Access::Private)
    }

    pub(super) fn read(&self, name: &str) -> Option<String> {
        String::from_utf8(super::read_bytes(&self.0.join(name)).ok()?).ok()
    }

    pub(super) fn remove(&self, name: &str) {
        drop(fs::remove_file(self.0.join(name)));
    }

    /// The names of its files.
    pub(super) fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(&self.0).into_iter().flatten().flatten();
        entries.filter_map(|e| e.file_name().into_string().ok()).collect()
    }
}
