//! Any bytes are a score or a refusal, plain or packed. It must not know what either says.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Ok(imported) = teeter::import::musicxml::read(bytes) {
        assert!(imported.groove.length().is_some());
    }
});
