//! Files for what can be made again.

use std::env;
use std::fs::{self, File};
use std::io;
use std::os::unix::fs::DirBuilderExt;
use std::path::PathBuf;

/// A file without a name in `teeter` in `XDG_CACHE_HOME` if that is an absolute path, otherwise in `~/.cache` (XDG Base Directory
/// Specification 0.8), or in the system's folder for temporary files without a home. The system removes it when it is closed,
/// also after a crash.
///
/// # Errors
/// The system's, if the folder or the file cannot be created.
pub(crate) fn cache_file() -> io::Result<File> {
    let absolute = |name| env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute());
    let Some(cache) = absolute("XDG_CACHE_HOME").or_else(|| Some(absolute("HOME")?.join(".cache"))) else {
        return tempfile::tempfile();
    };
    let folder = cache.join("teeter");
    fs::DirBuilder::new().recursive(true).mode(0o700).create(&folder)?;
    tempfile::tempfile_in(folder)
}
