//! Imports any bytes as MusicXML, plain or compressed: they give a groove or an error.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Ok(imported) = teeter::import::musicxml::read(bytes) {
        assert!(imported.groove.length().is_some());
    }
});
