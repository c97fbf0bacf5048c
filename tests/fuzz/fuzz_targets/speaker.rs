//! Reads any bytes as a speaker reads what comes from an editor, and builds what it is asked to play.
#![no_main]

use teeter::sound::remote::read_as_speaker;
use teeter::store::parse;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let reason = read_as_speaker(bytes, |text| parse(text, "fuzz").ok().map(|loaded| loaded.groove));
    assert!(!reason.is_empty());
});
