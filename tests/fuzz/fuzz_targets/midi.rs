//! Imports any bytes as MIDI: they give a groove or an error, and its export imports as the same groove.
#![no_main]

use teeter::analysis::Report;
use teeter::export::{self, ExportInput};
use teeter::import::midi;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let Ok(imported) = midi::import(bytes) else { return };
    assert!(imported.groove.length().is_some());
    let report = Report::default();
    let piece = ExportInput { groove: &imported.groove, report: &report, hearings: Vec::new(), section: None };
    let written = export::midi::export(&piece, export::midi::Tracks::Layers).expect("a groove can be written");
    let again = midi::import(&written).expect("our own file is read");
    assert_eq!(again.groove.layers().len(), imported.groove.layers().len());
    let own = |g: &teeter::rhythm::Groove| g.layers().iter().map(|l| (l.sound.clone(), l.depth)).collect::<Vec<_>>();
    assert_eq!(own(&again.groove), own(&imported.groove));
    assert_eq!(again.groove.sections(), imported.groove.sections());
});
