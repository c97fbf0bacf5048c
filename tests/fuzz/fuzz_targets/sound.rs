//! Decodes any bytes as a sound file: they give finite samples from -1 to 1, or an error.
#![no_main]

use std::collections::BTreeSet;
use std::io::Cursor;
use std::sync::Mutex;
use teeter::recording::decode;
use teeter::sound::SampleRate;

static PLACES: Mutex<BTreeSet<String>> = Mutex::new(BTreeSet::new());

/// `decode` catches panics of the decoding library and returns an error, so they must not end the run: each place is printed once.
/// A panic that `decode` does not catch still ends it.
fn print_each_panic_once() {
    std::panic::set_hook(Box::new(|info| {
        let place = info.location().map(ToString::to_string).unwrap_or_default();
        if PLACES.lock().is_ok_and(|mut places| places.insert(place)) {
            eprintln!("panic: {info}");
        }
    }));
}

libfuzzer_sys::fuzz_target!(init: print_each_panic_once(), |bytes: &[u8]| {
    if let Ok(sound) = decode(Cursor::new(bytes.to_vec()), None, SampleRate::STUDIO) {
        assert!(sound.samples.iter().all(|s| s.is_finite() && s.abs() <= 1.0));
    }
});
