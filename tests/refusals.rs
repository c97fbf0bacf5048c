//! One small invalid file per message. Its first line, a comment, is the expected message without the file's path;
//! `TEETER_WRITE=1` rewrites these lines.

use crate::support::{in_package, name, toml_files};
use std::collections::HashSet;
use std::fs;
use std::mem::discriminant;
use teeter::store::{self, LoadError, Problem};

#[test]
fn every_invalid_file_gets_its_exact_message() {
    let rewrite = std::env::var_os("TEETER_WRITE").is_some();
    let mut wrong = Vec::new();
    for path in toml_files("tests/refusals") {
        let bytes = fs::read(&path).expect("a readable file");
        let end = bytes.iter().position(|b| *b == b'\n').expect("a first line");
        let expected =
            format!("{}:{}", path.display(), String::from_utf8_lossy(&bytes[..end]).trim_start_matches("# "));
        let found = match store::load(&path) {
            Ok(_) => "no error".to_owned(),
            Err(error) => error.to_string(),
        };
        if found == expected {
            continue;
        }
        // Without its path the message starts with the line number.
        let message = found.strip_prefix(&format!("{}:", path.display()));
        match message.filter(|_| rewrite) {
            Some(message) => {
                let first = format!("# {message}");
                fs::write(&path, [first.as_bytes(), &bytes[end..]].concat()).expect("a writable file");
            }
            None => wrong.push(format!("{}\n  expected {expected}\n  found    {found}", name(&path))),
        }
    }
    assert!(wrong.is_empty(), "{}\nTEETER_WRITE=1 rewrites the first lines.", wrong.join("\n"));
}

#[test]
fn every_problem_of_a_text_has_a_file() {
    let problems = |e: LoadError| discriminant(&e.problem);
    let kinds: HashSet<_> =
        toml_files("tests/refusals").iter().filter_map(|path| store::load(path).err().map(problems)).collect();
    // The problems of the disk and of other file types are tested below and in the module. No file causes `Problem::Invalid`.
    let samples = [
        Problem::Nul,
        Problem::NotUtf8(0),
        Problem::Syntax(String::new()),
        Problem::Format(0),
        Problem::NeedsFormat("", 0),
        Problem::UnknownKey(String::new(), &[]),
        Problem::MissingKey("", ""),
        Problem::WrongType("", "", ""),
        Problem::Form("", String::new(), String::new()),
        Problem::Tempo(String::new()),
        Problem::UnknownVoice(String::new()),
        Problem::NameTaken("", String::new()),
        Problem::UnknownSection(String::new(), Vec::new()),
        Problem::DuplicatePart(String::new()),
        Problem::Notation(String::new()),
        Problem::Conflict("", ""),
        Problem::Requires("", ""),
        Problem::CellsOutsidePart(""),
        Problem::GroupSum(0, 0),
        Problem::CycleTooLong(0, 0),
        Problem::PitchCount(0, 0),
        Problem::ControlCharacter(""),
    ];
    let missing: Vec<&Problem> = samples.iter().filter(|p| !kinds.contains(&discriminant(*p))).collect();
    assert!(missing.is_empty(), "{missing:?}");
    assert_eq!(kinds.len(), samples.len() + 1, "the samples and Problem::Bound");
}

#[test]
fn paths_that_are_not_files_are_refused() {
    let refused = |path: &str| store::load(&in_package(path)).expect_err("refused").to_string();
    let at = |path: &str| in_package(path).display().to_string();
    assert_eq!(refused("patterns"), format!("{}: expected a file, found a folder", at("patterns")));
    let none = "patterns/none.toml";
    assert_eq!(refused(none), format!("{}: no such file", at(none)));
    let within = "Cargo.toml/none.toml";
    let words = "cannot read the file: not a directory";
    assert_eq!(refused(within), format!("{}: {words}", at(within)));
}

#[test]
fn files_of_other_types_are_named() {
    let (imported, sounded) = ("(`teeter import` converts it)", "(a layer can play it: sound = \"FILE\")");
    let rows: [(&[u8], &str, &str); 16] = [
        (b"MThd\0\0\0\x06\0\x01\0\x01\x01\xe0", "a Standard MIDI File", imported),
        (b"RIFF\x10\0\0\0RMIDdata", "a Standard MIDI File", imported),
        (b"<?xml version=\"1.0\"?>\n<!DOCTYPE score-partwise>\n<score-partwise/>", "MusicXML", imported),
        (b"\xef\xbb\xbf\n<score-timewise version=\"4.0\">", "MusicXML", imported),
        (b"<?xml version=\"1.0\"?><list/>", "an XML file", "(`teeter import` converts MusicXML)"),
        (b"PK\x03\x04\x14\0", "a zip archive", "(`teeter import` converts compressed MusicXML)"),
        (b"RIFF\x24\0\0\0WAVEfmt ", "a sound file (WAV)", sounded),
        (b"FORM\0\0\0\x10AIFCFVER", "a sound file (AIFF)", sounded),
        (b"fLaC\0\0\0\x22", "a sound file (FLAC)", sounded),
        (b"OggS\0\x02", "a sound file (Ogg)", sounded),
        (b"ID3\x04\0", "a sound file (MP3)", sounded),
        (b"\xff\xfb\x90\x64", "a sound file (MP3)", sounded),
        (b"\0\0\0\x20ftypM4A ", "an MP4 file", ""),
        (b"\x89PNG\r\n\x1a\n", "a PNG image", ""),
        (b"%PDF-1.7\n", "a PDF", ""),
        (b"<!DOCTYPE html>\n<html>", "an HTML file", ""),
    ];
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("riff.toml");
    for (bytes, found, hint) in rows {
        fs::write(&path, bytes).expect("written");
        let message = store::load(&path).expect_err(found).to_string();
        let hint = if hint.is_empty() { String::new() } else { format!(" {hint}") };
        assert_eq!(message, format!("{}: expected a groove, found {found}{hint}", path.display()));
        assert_eq!(
            store::parse_bytes(bytes.to_vec(), &path.display().to_string()).expect_err(found).to_string(),
            message
        );
    }
    // A file that is too large is named by its start, or refused for its size.
    let long = |head: &[u8]| {
        let mut bytes = head.to_vec();
        bytes.resize(store::MAX_BYTES as usize + 1, 0);
        fs::write(&path, bytes).expect("written");
        store::load(&path).expect_err("too long").problem
    };
    assert!(matches!(long(b"RIFF\x24\0\0\0WAVE"), Problem::OtherType("a sound file (WAV)", _)));
    assert_eq!(long(b"format = 1\n"), Problem::TooLarge(store::MAX_BYTES + 1));
    // Bytes of no known type are refused at the first that is not UTF-8.
    fs::write(&path, b"RIFF\xe0").expect("written");
    assert_eq!(store::load(&path).expect_err("no text").problem, Problem::NotUtf8(0xe0));
}
