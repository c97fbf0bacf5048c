//! Files that are no grooves but something else that can be told by how they begin. It must not know what such files hold.

use super::error::Problem;

/// Bytes of a file's start that are looked at.
pub(super) const HEAD: usize = 1024;

const IMPORTED: &str = "a groove; `teeter import` makes one of it";
const SOUNDED: &str = "a groove; a layer of one can sound it, as sound = \"FILE\"";
const GROOVE: &str = "a groove";

/// What a kind of file is called, what is allowed in its stead, and its marks: bytes that stand at an offset, all of them.
type Row = (&'static str, &'static str, &'static [(usize, &'static [u8])]);

/// By the formats' own specifications; the first that fits is meant.
const ROWS: &[Row] = &[
    ("a Standard MIDI File", IMPORTED, &[(0, b"MThd")]),
    ("a Standard MIDI File", IMPORTED, &[(0, b"RIFF"), (8, b"RMID")]),
    ("a zip archive", "a groove; `teeter import` makes one of compressed MusicXML (.mxl)", &[(0, b"PK\x03\x04")]),
    ("a sound file (WAV)", SOUNDED, &[(0, b"RIFF"), (8, b"WAVE")]),
    ("a sound file (WAV)", SOUNDED, &[(0, b"RF64"), (8, b"WAVE")]),
    ("a sound file (AIFF)", SOUNDED, &[(0, b"FORM"), (8, b"AIF")]),
    ("a sound file (FLAC)", SOUNDED, &[(0, b"fLaC")]),
    ("a sound file (Ogg)", SOUNDED, &[(0, b"OggS")]),
    ("a sound file (MP3)", SOUNDED, &[(0, b"ID3")]),
    ("a sound file (MP3)", SOUNDED, &[(0, b"\xff\xfb")]),
    ("a sound file (MP3)", SOUNDED, &[(0, b"\xff\xfa")]),
    ("a sound file (MP3)", SOUNDED, &[(0, b"\xff\xf3")]),
    ("a sound file (MP3)", SOUNDED, &[(0, b"\xff\xf2")]),
    ("a sound or film (MP4)", GROOVE, &[(4, b"ftyp")]),
    ("a picture (PNG)", GROOVE, &[(0, b"\x89PNG")]),
    ("a picture (JPEG)", GROOVE, &[(0, b"\xff\xd8\xff")]),
    ("a PDF", GROOVE, &[(0, b"%PDF")]),
    ("text in UTF-16", "UTF-8 text", &[(0, b"\xff\xfe")]),
    ("text in UTF-16", "UTF-8 text", &[(0, b"\xfe\xff")]),
];

/// What a file is that begins so, if it can be told.
pub(super) fn told(head: &[u8]) -> Option<Problem> {
    let has = |(at, mark): &(usize, &[u8])| head.get(*at..).is_some_and(|rest| rest.starts_with(mark));
    let row = ROWS.iter().find(|row| row.2.iter().all(has));
    row.map(|row| (row.0, row.1)).or_else(|| marked_up(head)).map(|(found, allowed)| Problem::Foreign(found, allowed))
}

/// Text in angle brackets: `MusicXML` by its root, or else a page, a picture or another XML file. No groove begins with one.
fn marked_up(head: &[u8]) -> Option<(&'static str, &'static str)> {
    let text = String::from_utf8_lossy(&head[..head.len().min(HEAD)]).to_lowercase();
    let text = text.trim_start_matches('\u{feff}').trim_start();
    let begins = |words: &[&str]| words.iter().any(|w| text.starts_with(w));
    if !begins(&["<?xml", "<!doctype", "<!--", "<score-", "<html", "<svg"]) {
        return None;
    }
    let holds = |words: &[&str]| words.iter().any(|w| text.contains(w));
    Some(match () {
        () if holds(&["score-partwise", "score-timewise"]) => ("MusicXML", IMPORTED),
        () if holds(&["<html", "doctype html"]) => ("a page of HTML", GROOVE),
        () if holds(&["<svg"]) => ("a picture (SVG)", GROOVE),
        () => ("an XML file", "a groove; `teeter import` makes one of MusicXML"),
    })
}
