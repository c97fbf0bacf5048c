//! Any bytes are a sound or a refusal, and every sample of a sound is a number within bounds. It must not know any form.
#![no_main]

use std::io::Cursor;
use teeter::recording::decode;
use teeter::sound::SampleRate;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Ok(sound) = decode(Cursor::new(bytes.to_vec()), None, SampleRate::STUDIO) {
        assert!(sound.samples.iter().all(|s| s.is_finite() && s.abs() <= 1.0));
    }
});
