//! Reads any text as a groove: it is one or an error, and a printed groove reads back as the same groove.
#![no_main]

use teeter::store::{parse, print};

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let Ok(loaded) = parse(text, "fuzz") else { return };
    let again = parse(&print(&loaded.groove), "printed").expect("what is printed is read");
    assert_eq!(again.groove, loaded.groove);
});
