//! Redirects standard error while sound libraries run, so that their output does not damage the screen.

use std::fs::OpenOptions;
use std::os::fd::OwnedFd;
use std::sync::{Mutex, MutexGuard, PoisonError};

struct State {
    /// The real standard error while it is redirected.
    stderr: Option<OwnedFd>,
    guards: usize,
}

static STATE: Mutex<State> = Mutex::new(State { stderr: None, guards: 0 });

fn state() -> MutexGuard<'static, State> {
    STATE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// While one of these lives, standard error goes to the null device. The last one dropped, also by a panic, restores it.
#[derive(Debug)]
pub(super) struct StderrGuard(());

impl StderrGuard {
    /// Redirects standard error. If that fails, it stays as it is.
    pub(super) fn new() -> Self {
        let mut state = state();
        state.guards += 1;
        if state.stderr.is_none()
            && let Ok(null) = OpenOptions::new().write(true).open("/dev/null")
            && let Ok(saved) = rustix::io::fcntl_dupfd_cloexec(rustix::stdio::stderr(), 3)
            && rustix::stdio::dup2_stderr(&null).is_ok()
        {
            state.stderr = Some(saved);
        }
        Self(())
    }
}

impl Drop for StderrGuard {
    fn drop(&mut self) {
        let mut state = state();
        state.guards = state.guards.saturating_sub(1);
        if state.guards == 0 {
            state.restore();
        }
    }
}

impl State {
    fn restore(&mut self) {
        if let Some(saved) = self.stderr.take() {
            let _ = rustix::stdio::dup2_stderr(&saved);
        }
    }
}

/// Restores standard error at once, whatever guards live: for a panic hook whose output must be seen.
pub(crate) fn restore() {
    state().restore();
}

/// Held by tests that inspect or redirect standard error, which the whole test program shares.
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
    fn standard_error_is_redirected_and_restored() {
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
        assert_eq!(target(), before, "the output of a panic hook is seen");
        drop(guard);
        assert_eq!(target(), before);
        let caught = std::panic::catch_unwind(|| {
            let _guard = StderrGuard::new();
            std::panic::resume_unwind(Box::new(()));
        });
        assert!(caught.is_err());
        assert_eq!(target(), before, "restored by a panic");
    }
}
