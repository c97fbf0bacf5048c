//! Grooves out and in again through MIDI and `MusicXML`.

use crate::analysis::Report;
use crate::export::annotations::NotationOptions;
use crate::export::{ExportInput, midi, musicxml};
use crate::import::{Imported, midi as midi_in, musicxml as musicxml_in};
use crate::notation::{TimedNote, passes, timed_notes};
use crate::rhythm::{Edit, Groove, Section, Swing};
use midly::{MetaMessage, Smf, TrackEventKind};

fn input<'a>(groove: &'a Groove, report: &'a Report) -> ExportInput<'a> {
    ExportInput { groove, report, hearings: Vec::new(), section: None }
}

fn notes(groove: &Groove) -> Vec<Vec<TimedNote>> {
    let passes = passes(groove, None).expect("bounded");
    (0..groove.layers().len()).map(|l| timed_notes(groove, l, &passes).expect("bounded")).collect()
}

/// A file as another program would write it: without the text events in which ours keeps what MIDI cannot hold.
fn without_texts(bytes: &[u8]) -> Vec<u8> {
    let mut file = Smf::parse(bytes).expect("a file");
    for track in &mut file.tracks {
        track.retain(|e| e.delta.as_int() > 0 || !matches!(e.kind, TrackEventKind::Meta(MetaMessage::Text(_))));
    }
    let mut bytes = Vec::new();
    file.write_std(&mut bytes).expect("a file");
    bytes
}

fn check(name: &str, groove: &Groove) {
    let report = Report::default();
    let file = midi::export(&input(groove, &report), midi::Tracks::Layers).expect("a file");
    let mut score = Vec::new();
    let remarks = musicxml::write(&input(groove, &report), &NotationOptions::default(), &mut score).expect("a score");
    assert_eq!(remarks, Vec::<String>::new(), "{name}");
    let back = |imported: Imported| {
        let warnings = &imported.warnings;
        assert!(warnings.is_empty(), "{name}: {warnings:?}");
        imported.groove
    };
    let from_midi = back(midi_in::import(&file).expect("a groove"));
    let from_score = back(musicxml_in::read(&score).expect("a groove"));
    for again in [&from_midi, &from_score] {
        assert_eq!(again.sections(), groove.sections(), "{name}");
        assert_eq!(again.layers(), groove.layers(), "{name}");
    }
    let from_others = back(midi_in::import(&without_texts(&file)).expect("a groove"));
    assert_eq!(notes(&from_others), notes(groove), "{name}");
    let plain = |s: &Section| (s.meter.clone(), s.tempo, s.bars);
    assert_eq!(
        from_others.sections().iter().map(plain).collect::<Vec<_>>(),
        groove.sections().iter().map(plain).collect::<Vec<_>>()
    );
}

#[test]
fn swung_long_and_odd_beats_are_equal_after_midi_and_musicxml() {
    let groove = crate::notation::tests::groove;
    let swung = groove("6/8", 6, "x-xx.x xx-xxx | X.oxx- x-----");
    check("swung 6/8", &swung.edited(&Edit::Swing(0, Swing::parse("2:1"))).expect("a swing"));
    let beat = "xxxxxxxx x-xxxxxx xx..xxxx ".replace(' ', "");
    check("6/4 with thirty-seconds", &groove("6/4", 24, &format!("{beat} {beat}")));
    check("quintuplets", &groove("4/4", 5, "xxxxx X-x-x .xx.x o---- | x.x.x xxxxx xx-xx x----"));
}
