//! Reads any bytes as a journal: its texts are never empty, and damage stays damage whatever follows it.
#![no_main]

use teeter::store::read_journal;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let contents = read_journal(bytes);
    assert!(contents.text.is_none_or(|text| !text.is_empty()));
    let start = read_journal(&bytes[..bytes.len() / 2]);
    assert!(contents.is_damaged || !start.is_damaged);
});
