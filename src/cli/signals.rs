//! Ends a command on a signal without leaving temporary files.

use crate::store;
use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::iterator::Signals;
use std::io::{self, Write};
use std::path::PathBuf;
use std::sync::Arc;
use std::thread;

/// From now on SIGINT and SIGTERM remove what is incomplete, say what was written and end the process. SIGHUP keeps its meaning,
/// so that `nohup` works.
pub(super) fn clean_up_on_signal() {
    // Where the thread cannot be started, a signal ends the program as any other.
    if let Ok(mut signals) = Signals::new([SIGINT, SIGTERM]) {
        let wait = move || {
            if let Some(signal) = signals.forever().next() {
                store::remove_pending_and_exit(128 + signal, report);
            }
        };
        drop(thread::Builder::new().name("signals".into()).spawn(wait));
    }
}

fn report(written: &[PathBuf]) {
    let names: Vec<String> = written.iter().map(|path| path.display().to_string()).collect();
    let names = if names.is_empty() { "nothing".to_owned() } else { names.join(", ") };
    // Standard error may be gone.
    let _ = writeln!(io::stderr(), "teeter: interrupted; written: {names}");
}

/// Keeps an interrupt from ending this process.
pub(super) fn ignore_interrupt() {
    drop(signal_hook::flag::register(SIGINT, Arc::default()));
}
