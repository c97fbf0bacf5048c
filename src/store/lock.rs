//! Advisory locks between editors, which the system releases when their process ends.

use rustix::fs::{FlockOperation, flock};
use rustix::io::Errno;
use std::fs::File;
use std::path::Path;

/// Waits for the lock of a folder and holds it until the file is dropped; `None` if the file system has no locks.
pub(super) fn lock_folder(folder: &Path) -> Option<File> {
    let file = File::open(folder).ok()?;
    flock(&file, FlockOperation::LockExclusive).is_ok().then_some(file)
}

/// Takes the lock of a file unless another open file holds it; true also if the file system has no locks.
pub(super) fn try_lock(file: &File) -> bool {
    flock(file, FlockOperation::NonBlockingLockExclusive) != Err(Errno::WOULDBLOCK)
}
