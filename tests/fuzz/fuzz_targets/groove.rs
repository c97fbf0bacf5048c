//! Any text is a groove or a refusal, and what is printed of a groove is read back as the same. It must not know what it says.
#![no_main]

use teeter::store::{parse, print};

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let Ok(loaded) = parse(text, "fuzz") else { return };
    let again = parse(&print(&loaded.groove), "printed").expect("what is printed is read");
    assert_eq!(again.groove, loaded.groove);
});
