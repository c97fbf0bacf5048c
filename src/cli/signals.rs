//! The end by a signal of a command that writes. It must not know which command.

use crate::store;
use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::iterator::Signals;
use std::sync::Arc;
use std::thread;

/// From now on an interrupt takes away what is half written. A hang-up is left alone: where it is ignored, as under `nohup`, it stays so.
pub(super) fn end_clean() {
    // Where signals cannot be had the program ends by them as any other.
    if let Ok(mut signals) = Signals::new([SIGINT, SIGTERM]) {
        let wait = move || {
            if let Some(signal) = signals.forever().next() {
                store::abandon(128 + signal);
            }
        };
        drop(thread::Builder::new().name("signals".into()).spawn(wait));
    }
}

/// Keeps an interrupt from ending this process.
pub(super) fn ignore_interrupt() {
    drop(signal_hook::flag::register(SIGINT, Arc::default()));
}
