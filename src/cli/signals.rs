//! Ends a command on a signal without leaving temporary files.

use crate::store;
use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::iterator::Signals;
use std::path::PathBuf;
use std::sync::Arc;
use std::thread;

/// Makes SIGINT and SIGTERM remove incomplete files, report complete ones and end the process. SIGHUP stays as it is for `nohup`.
pub(super) fn clean_up_on_signal() {
    // Without the thread, a signal ends the program as usual.
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
    let _ = super::output::warn(format_args!("interrupted; written: {names}"));
}

/// Makes SIGINT no longer end this process.
pub(super) fn ignore_interrupt() {
    drop(signal_hook::flag::register(SIGINT, Arc::default()));
}
