//! A file that is being made under no name: it has its name only once it is whole. It must not know what is written into it.

use super::save;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use tempfile::NamedTempFile;

/// The files that are under way in this process, by the names they have meanwhile.
static UNDER_WAY: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

fn under_way() -> MutexGuard<'static, Vec<PathBuf>> {
    UNDER_WAY.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A file under way, in the folder of the one it is to become. Dropped, it leaves nothing behind.
#[derive(Debug)]
pub struct Making {
    out: BufWriter<NamedTempFile>,
    target: PathBuf,
    noted: Noted,
}

/// A name among those under way.
#[derive(Debug)]
struct Noted(PathBuf);

impl Noted {
    fn new(path: &Path) -> Self {
        under_way().push(path.to_owned());
        Self(path.to_owned())
    }
}

impl Drop for Noted {
    fn drop(&mut self) {
        under_way().retain(|p| *p != self.0);
    }
}

/// Takes away every file that is under way, and ends the process: nothing is begun any more meanwhile.
pub fn abandon(code: i32) -> ! {
    let under_way = under_way();
    for path in &*under_way {
        // There is nobody left to tell.
        drop(std::fs::remove_file(path));
    }
    std::process::exit(code)
}

impl Making {
    /// Begins a file that is to stand at `target`, or where that leads to as a link, readable as the user's mask says.
    ///
    /// # Errors
    /// The system's, where the folder is missing or takes no file.
    pub fn new(target: &Path) -> io::Result<Self> {
        let target = &save::target(target);
        let folder = target.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let mut builder = tempfile::Builder::new();
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let file = builder.prefix(".teeter-").tempfile_in(folder).map_err(|e| match e.kind() {
            io::ErrorKind::NotFound => io::Error::new(e.kind(), format!("there is no folder {}", folder.display())),
            _ => plain(e),
        })?;
        let noted = Noted::new(file.path());
        Ok(Self { out: BufWriter::new(file), target: target.clone(), noted })
    }

    /// Writes what is still held back, so that putting the file in its place has no reason left to fail on a full disk.
    ///
    /// # Errors
    /// The system's.
    pub fn settle(&mut self) -> io::Result<()> {
        self.out.flush().map_err(plain)
    }

    /// Gives the file its name, in the place of what stands there if `over`.
    ///
    /// # Errors
    /// The system's, [`io::ErrorKind::AlreadyExists`] where something has that name and `over` is not set, and
    /// [`io::ErrorKind::PermissionDenied`] where what has it may not be written.
    pub fn put(self, over: bool) -> io::Result<()> {
        // A rename would go past a file's own mode.
        if over && std::fs::metadata(&self.target).is_ok_and(|about| about.permissions().readonly()) {
            return Err(io::Error::new(io::ErrorKind::PermissionDenied, "the file is read-only"));
        }
        let file = self.out.into_inner().map_err(|e| plain(e.into_error()))?;
        let put = if over { file.persist(&self.target) } else { file.persist_noclobber(&self.target) };
        let put = put.map(drop).map_err(|e| plain(e.error));
        drop(self.noted);
        put
    }
}

impl Write for Making {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.out.write(bytes).map_err(plain)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush().map_err(plain)
    }
}

/// The system's reason without the name that the file has only while it is made: nobody asked for that one.
fn plain(error: io::Error) -> io::Error {
    let words = error.to_string();
    match words.split_once(" at path ") {
        Some((before, _)) => io::Error::new(error.kind(), before.split(" (os error").next().unwrap_or(before)),
        None => error,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    #[cfg(unix)]
    #[test]
    fn a_link_stays_one_and_what_is_read_only_stays() {
        let folder = tempfile::tempdir().expect("a folder");
        let (real, link) = (folder.path().join("real.wav"), folder.path().join("link.wav"));
        fs::write(&real, "old").expect("written");
        std::os::unix::fs::symlink("real.wav", &link).expect("linked");
        let put = |text: &str| {
            let mut making = Making::new(&link).expect("begun");
            making.write_all(text.as_bytes()).expect("written");
            making.put(true)
        };
        put("new").expect("put");
        assert!(fs::symlink_metadata(&link).expect("there").is_symlink());
        assert_eq!(fs::read_to_string(&real).expect("text"), "new");
        let mut mode = fs::metadata(&real).expect("there").permissions();
        mode.set_readonly(true);
        fs::set_permissions(&real, mode).expect("set");
        assert_eq!(put("newer").expect_err("read-only").kind(), io::ErrorKind::PermissionDenied);
        assert_eq!(fs::read_to_string(&real).expect("text"), "new");
        assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 2);
    }

    #[test]
    fn a_file_has_its_name_only_when_it_is_whole_and_takes_no_other_ones_place_unasked() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.wav");
        let begun = |text: &str| {
            let mut making = Making::new(&path).expect("begun");
            making.write_all(text.as_bytes()).expect("written");
            making
        };
        drop(begun("half"));
        assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 0, "nothing is left of it");
        begun("one").put(false).expect("put");
        let refused = begun("two").put(false).expect_err("taken");
        assert_eq!(refused.kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(fs::read_to_string(&path).expect("text"), "one");
        begun("three").put(true).expect("put");
        assert_eq!(fs::read_to_string(&path).expect("text"), "three");
        assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 1);
        assert!(!under_way().iter().any(|p| p.starts_with(folder.path())));
        let no = folder.path().join("no");
        let missing = Making::new(&no.join("a.wav")).expect_err("no folder");
        assert_eq!(missing.to_string(), format!("there is no folder {}", no.display()));
        assert_eq!(missing.kind(), io::ErrorKind::NotFound);
        // A file is no folder; the name of the file under way is not told.
        let within = Making::new(&path.join("b.wav")).expect_err("no folder");
        assert_eq!(within.to_string(), "Not a directory");
    }
}
