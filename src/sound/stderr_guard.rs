//! Redirects standard error while sound libraries run, so that their output does not damage the screen.

use std::fs::OpenOptions;
use std::os::fd::OwnedFd;
use std::sync::{Mutex, PoisonError};

/// The real standard error, while it is put aside, and how many guards want it so.
static ASIDE: Mutex<(Option<OwnedFd>, usize)> = Mutex::new((None, 0));

/// While one of these lives, standard error goes to the null device: libraries write there without being asked, and a
/// line of theirs would break the screen. The last one dropped, also by a panic, gives standard error back.
#[derive(Debug)]
pub(crate) struct StderrGuard(());

impl StderrGuard {
    /// Puts standard error aside. Where that fails, it stays as it is.
    pub(crate) fn new() -> Self {
        let mut aside = ASIDE.lock().unwrap_or_else(PoisonError::into_inner);
        aside.1 += 1;
        if aside.0.is_none()
            && let Ok(null) = OpenOptions::new().write(true).open("/dev/null")
            && let Ok(kept) = rustix::io::fcntl_dupfd_cloexec(rustix::stdio::stderr(), 3)
            && rustix::stdio::dup2_stderr(&null).is_ok()
        {
            aside.0 = Some(kept);
        }
        Self(())
    }
}

impl Default for StderrGuard {
    fn default() -> Self {
        Self::new()
    }
}

impl Drop for StderrGuard {
    fn drop(&mut self) {
        let last = {
            let mut aside = ASIDE.lock().unwrap_or_else(PoisonError::into_inner);
            aside.1 = aside.1.saturating_sub(1);
            aside.1 == 0
        };
        if last {
            restore();
        }
    }
}

/// Gives standard error back at once, whatever guards live: for a panic hook that wants to be read.
pub(crate) fn restore() {
    let mut aside = ASIDE.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(kept) = aside.0.take() {
        let _ = rustix::stdio::dup2_stderr(&kept);
    }
}

/// Held by tests that look at or move standard error, which the whole test program shares.
#[cfg(test)]
pub(crate) static STDERR_LOCK: Mutex<()> = Mutex::new(());

#[cfg(all(test, target_os = "linux"))]
mod tests {
    use super::*;
    use std::path::PathBuf;

    fn target() -> PathBuf {
        std::fs::read_link("/proc/self/fd/2").expect("standard error is open")
    }

    #[test]
    fn standard_error_is_put_aside_and_given_back() {
        let _alone = STDERR_LOCK.lock().unwrap_or_else(PoisonError::into_inner);
        let before = target();
        let outer = StderrGuard::new();
        let inner = StderrGuard::new();
        assert_eq!(target(), PathBuf::from("/dev/null"));
        drop(outer);
        assert_eq!(target(), PathBuf::from("/dev/null"), "a guard still lives");
        drop(inner);
        assert_eq!(target(), before);
        let guard = StderrGuard::new();
        restore();
        assert_eq!(target(), before, "a panic hook is read");
        drop(guard);
        assert_eq!(target(), before);
        let caught = std::panic::catch_unwind(|| {
            let _guard = StderrGuard::new();
            std::panic::resume_unwind(Box::new(()));
        });
        assert!(caught.is_err());
        assert_eq!(target(), before, "given back by a panic");
    }
}
