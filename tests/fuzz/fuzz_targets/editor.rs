//! Reads any bytes as an editor reads what comes from a remote speaker.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| assert!(!teeter::sound::remote::read_as_editor(bytes).is_empty()));
