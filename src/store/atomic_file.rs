//! Files that are written under a temporary name and renamed when they are complete.

use super::lock::{lock_folder, try_lock};
use super::save::resolve_links;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use tempfile::TempPath;

/// Start and end of the names of temporary files.
const PREFIX: &str = ".teeter-";
const SUFFIX: &str = ".tmp";

/// This process's temporary files, and the targets it has completed.
#[derive(Debug)]
struct Registry {
    pending: Vec<PathBuf>,
    completed: Vec<PathBuf>,
}

static REGISTRY: Mutex<Registry> = Mutex::new(Registry { pending: Vec::new(), completed: Vec::new() });

fn registry() -> MutexGuard<'static, Registry> {
    REGISTRY.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Whether an existing file may be replaced.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Overwrite {
    #[default]
    Never,
    Always,
}

/// Who may read a new file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Access {
    /// Everyone the user's mask allows.
    Shared,
    /// Only the user.
    Private,
}

/// A temporary file in the folder of its target. It is removed when dropped.
#[derive(Debug)]
pub(crate) struct AtomicFile {
    out: BufWriter<File>,
    temporary: TempPath,
    target: PathBuf,
    pending: PendingEntry,
}

/// A temporary file's entry in the registry.
#[derive(Debug)]
struct PendingEntry(PathBuf);

impl Drop for PendingEntry {
    fn drop(&mut self) {
        registry().pending.retain(|p| *p != self.0);
    }
}

/// Removes all temporary files and exits the process. `report` receives the targets completed before.
pub(crate) fn remove_pending_and_exit(code: i32, report: impl FnOnce(&[PathBuf])) -> ! {
    // Locked until the end, so that nothing is completed after the report.
    let registry = registry();
    for path in &registry.pending {
        drop(fs::remove_file(path));
    }
    report(&registry.completed);
    std::process::exit(code)
}

impl AtomicFile {
    /// Creates a file that will replace `path`, or the target of a link. It takes the mode and, where the system allows, the owner
    /// of the file it replaces.
    ///
    /// # Errors
    /// [`io::ErrorKind::NotFound`] for a missing folder, [`io::ErrorKind::PermissionDenied`] for a read-only target, and others.
    pub(crate) fn create(path: &Path) -> io::Result<Self> {
        Self::with_access(path, Access::Shared)
    }

    pub(super) fn with_access(path: &Path, access: Access) -> io::Result<Self> {
        let target = resolve_links(path);
        let replaced = fs::metadata(&target).ok();
        // Checked because a rename ignores the mode.
        if replaced.as_ref().is_some_and(|old| old.permissions().readonly()) {
            return Err(io::Error::new(io::ErrorKind::PermissionDenied, "the file is read-only"));
        }
        let mut builder = tempfile::Builder::new();
        builder.prefix(PREFIX).suffix(SUFFIX);
        // A replacement stays private until it has the mode of the old file.
        if access == Access::Shared && replaced.is_none() {
            builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        }
        // Until the file is locked nobody may take it for one whose process was killed.
        let lock = lock_folder(folder_of(&target));
        // The message leaves out the temporary name, which means nothing to the user.
        let created = builder.tempfile_in(folder_of(&target)).map_err(|e| match e.kind() {
            kind @ io::ErrorKind::NotFound => {
                io::Error::new(kind, format!("there is no folder {}", folder_of(&target).display()))
            }
            kind => kind.into(),
        })?;
        let (file, temporary) = created.into_parts();
        try_lock(&file);
        drop(lock);
        registry().pending.push(temporary.to_path_buf());
        let pending = PendingEntry(temporary.to_path_buf());
        if let Some(old) = replaced {
            // Only root may keep another owner.
            drop(std::os::unix::fs::fchown(&file, Some(old.uid()), Some(old.gid())));
            file.set_permissions(old.permissions())?;
        }
        Ok(Self { out: BufWriter::new(file), temporary, target, pending })
    }

    /// Flushes the file to the disk.
    pub(super) fn sync(&mut self) -> io::Result<()> {
        self.out.flush()?;
        self.out.get_ref().sync_all()
    }

    /// Renames the file over its target. On an error the target is unchanged.
    pub(super) fn replace_target(self) -> io::Result<()> {
        let target = self.target.clone();
        self.rename(&target).map(drop)
    }

    /// Gives the file a name in the folder of its target, and returns it, still locked.
    pub(super) fn rename(self, path: &Path) -> io::Result<File> {
        self.temporary.persist(path).map_err(|e| e.error)?;
        // The rename is on the disk when the folder is. Not every system can flush a folder.
        if let Ok(folder) = File::open(folder_of(path)) {
            drop(folder.sync_all());
        }
        Ok(self.out.into_parts().0)
    }
}

/// Removes the temporary files that killed processes left in a folder.
pub(crate) fn remove_orphans(folder: &Path) {
    let _lock = lock_folder(folder);
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let is_temporary = entry.file_name().to_str().is_some_and(|n| n.starts_with(PREFIX) && n.ends_with(SUFFIX));
        if is_temporary
            && entry.file_type().is_ok_and(|t| t.is_file())
            && File::open(entry.path()).is_ok_and(|file| try_lock(&file))
        {
            drop(fs::remove_file(entry.path()));
        }
    }
}

/// A target that could not be given its file.
#[derive(Debug)]
pub(crate) struct CommitError {
    pub(crate) path: PathBuf,
    /// The system's error, or [`io::ErrorKind::AlreadyExists`] for a file that exists and may not be replaced.
    pub(crate) error: io::Error,
    /// The files that were replaced before the error: their old content is lost.
    pub(crate) replaced: Vec<PathBuf>,
}

/// Gives every file its name. An interrupt comes before the first or after the last; when one fails, those that did not exist
/// before are removed again.
pub(crate) fn commit_all(files: Vec<AtomicFile>, overwrite: Overwrite) -> Result<(), CommitError> {
    // Declared first, so that they are dropped after the lock below is released.
    let mut entries = Vec::with_capacity(files.len());
    let mut ready = Vec::with_capacity(files.len());
    for AtomicFile { mut out, temporary, target, pending } in files {
        entries.push(pending);
        match out.flush() {
            Ok(()) => ready.push((temporary, target)),
            Err(error) => return Err(CommitError { path: target, error, replaced: Vec::new() }),
        }
    }
    let mut registry = registry();
    let (mut created, mut replaced) = (Vec::new(), Vec::new());
    for (temporary, path) in ready {
        let is_new = !path.exists();
        let renamed = match overwrite {
            Overwrite::Never => temporary.persist_noclobber(&path),
            Overwrite::Always => temporary.persist(&path),
        };
        if let Err(error) = renamed {
            for path in created {
                drop(fs::remove_file(path));
            }
            registry.completed.extend_from_slice(&replaced);
            return Err(CommitError { path, error: error.error, replaced });
        }
        if is_new { created.push(path) } else { replaced.push(path) }
    }
    registry.completed.extend(created.into_iter().chain(replaced));
    Ok(())
}

pub(super) fn folder_of(target: &Path) -> &Path {
    target.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

impl Write for AtomicFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.out.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(path: &Path, text: &str) -> AtomicFile {
        let mut file = AtomicFile::create(path).expect("created");
        file.write_all(text.as_bytes()).expect("written");
        file
    }

    fn count(folder: &Path) -> usize {
        fs::read_dir(folder).expect("a folder").count()
    }

    #[test]
    fn links_and_modes_are_kept_and_a_read_only_file_is_not_replaced() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().expect("a folder");
        let (real, link) = (folder.path().join("real.wav"), folder.path().join("link.wav"));
        fs::write(&real, "old").expect("written");
        fs::set_permissions(&real, fs::Permissions::from_mode(0o640)).expect("set");
        std::os::unix::fs::symlink("real.wav", &link).expect("linked");
        commit_all(vec![file(&link, "new")], Overwrite::Always).expect("committed");
        assert!(fs::symlink_metadata(&link).expect("there").is_symlink());
        assert_eq!(fs::read_to_string(&real).expect("text"), "new");
        assert_eq!(fs::metadata(&real).expect("there").permissions().mode() & 0o777, 0o640);
        fs::set_permissions(&real, fs::Permissions::from_mode(0o440)).expect("set");
        assert_eq!(AtomicFile::create(&link).expect_err("read-only").kind(), io::ErrorKind::PermissionDenied);
        assert_eq!(fs::read_to_string(&real).expect("text"), "new");
        assert_eq!(count(folder.path()), 2);
    }

    #[test]
    fn all_files_are_completed_or_none() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = |name: &str| folder.path().join(name);
        drop(file(&path("a.wav"), "half"));
        assert_eq!(count(folder.path()), 0, "no temporary file is left");
        commit_all(vec![file(&path("a.wav"), "one")], Overwrite::Never).expect("committed");
        let both = || vec![file(&path("b.wav"), "two"), file(&path("a.wav"), "two")];
        let failed = commit_all(both(), Overwrite::Never).expect_err("a.wav exists");
        assert_eq!((failed.path, failed.error.kind()), (path("a.wav"), io::ErrorKind::AlreadyExists));
        assert_eq!(fs::read_to_string(path("a.wav")).expect("text"), "one");
        assert_eq!(count(folder.path()), 1);
        commit_all(both(), Overwrite::Always).expect("committed");
        assert_eq!(fs::read_to_string(path("a.wav")).expect("text"), "two");
        assert_eq!(count(folder.path()), 2);
        assert!(!registry().pending.iter().any(|p| p.starts_with(folder.path())));
    }

    #[test]
    fn only_temporary_files_without_a_process_are_removed() {
        let folder = tempfile::tempdir().expect("a folder");
        let used = file(&folder.path().join("a.wav"), "half");
        fs::write(folder.path().join(".teeter-killed.tmp"), "half").expect("written");
        fs::write(folder.path().join(".teeter-notes"), "kept").expect("written");
        remove_orphans(folder.path());
        assert_eq!(count(folder.path()), 2);
        assert!(!folder.path().join(".teeter-killed.tmp").exists());
        commit_all(vec![used], Overwrite::Never).expect("committed");
    }

    #[test]
    fn files_replaced_before_a_failure_are_named() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = |name: &str| folder.path().join(name);
        fs::write(path("old.wav"), "old").expect("written");
        let files = ["new.wav", "old.wav", "folder"].map(|name| file(&path(name), "text"));
        // A file cannot take the name of a folder.
        fs::create_dir(path("folder")).expect("a folder");
        let failed = commit_all(files.into(), Overwrite::Always).expect_err("a folder");
        assert_eq!((failed.path, failed.replaced), (path("folder"), vec![path("old.wav")]));
        assert!(!path("new.wav").exists());
        let completed = registry().completed.clone();
        assert!(completed.contains(&path("old.wav")) && !completed.contains(&path("new.wav")));
    }

    #[test]
    fn errors_name_the_folder_and_not_the_temporary_file() {
        let folder = tempfile::tempdir().expect("a folder");
        let missing = folder.path().join("missing");
        let error = AtomicFile::create(&missing.join("a.wav")).expect_err("no folder");
        assert_eq!(error.to_string(), format!("there is no folder {}", missing.display()));
        assert_eq!(error.kind(), io::ErrorKind::NotFound);
        fs::write(folder.path().join("file"), "").expect("written");
        let error = AtomicFile::create(&folder.path().join("file/b.wav")).expect_err("no folder");
        assert_eq!(error.to_string(), "not a directory");
    }
}
