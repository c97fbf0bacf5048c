//! Any bytes are a sound or a refusal, and every sample of a sound is a number within bounds. It must not know any form.
#![no_main]

use std::collections::BTreeSet;
use std::io::Cursor;
use std::sync::Mutex;
use teeter::recording::decode;
use teeter::sound::SampleRate;

static PLACES: Mutex<BTreeSet<String>> = Mutex::new(BTreeSet::new());

/// What a decoding library panics at is caught by `decode` and makes a refusal, so it must not end the run; each place is told once.
/// A panic that comes through to here still ends it.
fn told_once() {
    std::panic::set_hook(Box::new(|info| {
        let place = info.location().map(ToString::to_string).unwrap_or_default();
        if PLACES.lock().is_ok_and(|mut places| places.insert(place)) {
            eprintln!("panic: {info}");
        }
    }));
}

libfuzzer_sys::fuzz_target!(init: told_once(), |bytes: &[u8]| {
    if let Ok(sound) = decode(Cursor::new(bytes.to_vec()), None, SampleRate::STUDIO) {
        assert!(sound.samples.iter().all(|s| s.is_finite() && s.abs() <= 1.0));
    }
});
