//! Decodes any bytes as a recording and looks for onsets: they are in order and within it, or there is an error.
#![no_main]

use std::collections::BTreeSet;
use std::io::Cursor;
use std::ops::ControlFlow;
use std::sync::Mutex;
use teeter::recording::detect::detect;
use teeter::recording::onsets::DEFAULT_THRESHOLD;

static PLACES: Mutex<BTreeSet<String>> = Mutex::new(BTreeSet::new());

/// `detect` catches panics of the decoding library and returns an error, so they must not end the run: each place is printed once.
/// A panic that `detect` does not catch still ends it.
fn print_each_panic_once() {
    std::panic::set_hook(Box::new(|info| {
        let place = info.location().map(ToString::to_string).unwrap_or_default();
        if PLACES.lock().is_ok_and(|mut places| places.insert(place)) {
            eprintln!("panic: {info}");
        }
    }));
}

libfuzzer_sys::fuzz_target!(init: print_each_panic_once(), |bytes: &[u8]| {
    let go_on = &mut |_| ControlFlow::Continue(());
    if let Ok(found) = detect(Cursor::new(bytes.to_vec()), None, DEFAULT_THRESHOLD, go_on) {
        assert!(found.onsets.is_sorted_by(|a, b| a.seconds < b.seconds));
        assert!(found.onsets.iter().all(|o| (0.0..=found.seconds).contains(&o.seconds) && o.strength_db.is_finite()));
    }
});
