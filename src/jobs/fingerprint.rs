//! Tells files apart by their content, and finds one again that has another name now.

use super::recordings::is_recording;
use sha2::{Digest, Sha256};
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// Most files, and most bytes, that are read to find one again.
const MAX_FILES: usize = 200;
const MAX_BYTES: u64 = 4 << 30;

/// Takes the fingerprint of bytes as they come.
#[derive(Default)]
pub(super) struct Fingerprinter(Sha256);

impl Fingerprinter {
    pub(super) fn add(&mut self, bytes: &[u8]) {
        self.0.update(bytes);
    }

    /// SHA-256 (FIPS 180-4) as 64 hexadecimal digits.
    pub(super) fn finish(self) -> String {
        self.0.finalize().iter().fold(String::new(), |text, byte| text + &format!("{byte:02x}"))
    }
}

/// The fingerprint of all bytes; `None` if `go_on` says so.
pub(super) fn fingerprint(mut bytes: impl Read, go_on: &dyn Fn() -> bool) -> io::Result<Option<String>> {
    let (mut fingerprint, mut block) = (Fingerprinter::default(), vec![0; 1 << 16]);
    while go_on() {
        match bytes.read(&mut block)? {
            0 => return Ok(Some(fingerprint.finish())),
            n => fingerprint.add(&block[..n]),
        }
    }
    Ok(None)
}

/// The fingerprint of a file; `None` if it cannot be read.
pub(crate) fn file_fingerprint(path: &Path) -> Option<String> {
    fingerprint(File::open(path).ok()?, &|| true).ok().flatten()
}

/// The recording in a folder that has this fingerprint.
pub(super) fn find(folder: &Path, wanted: &str) -> Option<PathBuf> {
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let mut left = MAX_BYTES;
    let mut paths: Vec<PathBuf> = fs::read_dir(folder).ok()?.flatten().map(|entry| entry.path()).collect();
    paths.retain(|path| is_recording(path));
    paths.sort();
    paths.into_iter().take(MAX_FILES).find(|path| {
        let Ok(file) = File::open(path) else { return false };
        let Some(rest) = file.metadata().ok().and_then(|metadata| left.checked_sub(metadata.len())) else {
            return false;
        };
        left = rest;
        fingerprint(file, &|| true).is_ok_and(|found| found.as_deref() == Some(wanted))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_found_again_by_its_content() {
        // "abc" is a test vector of FIPS 180-4.
        let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(fingerprint(&b"abc"[..], &|| true).expect("read").as_deref(), Some(abc));
        assert_eq!(fingerprint(&b"abc"[..], &|| false).expect("read"), None);
        let folder = tempfile::tempdir().expect("a folder");
        for (name, bytes) in [("a.wav", "ab"), ("b.txt", "abc"), ("c.flac", "abc")] {
            fs::write(folder.path().join(name), bytes).expect("written");
        }
        assert_eq!(find(folder.path(), abc), Some(folder.path().join("c.flac")), "b.txt is no recording by its name");
        fs::remove_file(folder.path().join("c.flac")).expect("removed");
        assert_eq!(find(folder.path(), abc), None);
    }
}
