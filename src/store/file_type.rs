//! Recognises files of other types by their first bytes.

use super::error::Problem;

/// Bytes that are examined.
pub(super) const MAX_EXAMINED: usize = 1024;

const IMPORT_HINT: &str = " (`teeter import` converts it)";
const SOUND_HINT: &str = " (a layer can play it: sound = \"FILE\")";

/// Bytes at an offset.
type Mark = (usize, &'static [u8]);

/// File types by the bytes that must stand at given offsets, from the specifications of the formats. The first match counts. Each
/// has a name and a hint for the user.
const TYPES: &[(&str, &str, &[Mark])] = &[
    ("a Standard MIDI File", IMPORT_HINT, &[(0, b"MThd")]),
    ("a Standard MIDI File", IMPORT_HINT, &[(0, b"RIFF"), (8, b"RMID")]),
    ("a zip archive", " (`teeter import` converts compressed MusicXML)", &[(0, b"PK\x03\x04")]),
    ("a sound file (WAV)", SOUND_HINT, &[(0, b"RIFF"), (8, b"WAVE")]),
    ("a sound file (WAV)", SOUND_HINT, &[(0, b"RF64"), (8, b"WAVE")]),
    ("a sound file (AIFF)", SOUND_HINT, &[(0, b"FORM"), (8, b"AIF")]),
    ("a sound file (FLAC)", SOUND_HINT, &[(0, b"fLaC")]),
    ("a sound file (Ogg)", SOUND_HINT, &[(0, b"OggS")]),
    ("a sound file (MP3)", SOUND_HINT, &[(0, b"ID3")]),
    ("a sound file (MP3)", SOUND_HINT, &[(0, b"\xff\xfb")]),
    ("a sound file (MP3)", SOUND_HINT, &[(0, b"\xff\xfa")]),
    ("a sound file (MP3)", SOUND_HINT, &[(0, b"\xff\xf3")]),
    ("a sound file (MP3)", SOUND_HINT, &[(0, b"\xff\xf2")]),
    ("an MP4 file", "", &[(4, b"ftyp")]),
    ("a PNG image", "", &[(0, b"\x89PNG")]),
    ("a JPEG image", "", &[(0, b"\xff\xd8\xff")]),
    ("a PDF", "", &[(0, b"%PDF")]),
    ("text in UTF-16", " (save it as UTF-8)", &[(0, b"\xff\xfe")]),
    ("text in UTF-16", " (save it as UTF-8)", &[(0, b"\xfe\xff")]),
];

/// The problem if `head` is the start of a file of another type.
pub(super) fn other_type(head: &[u8]) -> Option<Problem> {
    let has = |(at, mark): &Mark| head.get(*at..).is_some_and(|rest| rest.starts_with(mark));
    let found = TYPES.iter().find(|(_, _, marks)| marks.iter().all(has)).map(|(name, hint, _)| (*name, *hint));
    found.or_else(|| markup_type(head)).map(|(name, hint)| Problem::OtherType(name, hint))
}

/// The type of a text that begins with a tag, which no groove does.
fn markup_type(head: &[u8]) -> Option<(&'static str, &'static str)> {
    let text = String::from_utf8_lossy(&head[..head.len().min(MAX_EXAMINED)]).to_lowercase();
    let text = text.trim_start_matches('\u{feff}').trim_start();
    let begins = |words: &[&str]| words.iter().any(|w| text.starts_with(w));
    if !begins(&["<?xml", "<!doctype", "<!--", "<score-", "<html", "<svg"]) {
        return None;
    }
    let holds = |words: &[&str]| words.iter().any(|w| text.contains(w));
    Some(match () {
        () if holds(&["score-partwise", "score-timewise"]) => ("MusicXML", IMPORT_HINT),
        () if holds(&["<html", "doctype html"]) => ("an HTML file", ""),
        () if holds(&["<svg"]) => ("an SVG image", ""),
        () => ("an XML file", " (`teeter import` converts MusicXML)"),
    })
}
