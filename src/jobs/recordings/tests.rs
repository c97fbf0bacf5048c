//! Tests of opening recordings: good, bad, moved and changed ones.

use super::super::sound_access::OutsideSounds;
use super::*;
use crate::rhythm::{Edit, Recording};
use std::cell::RefCell;

fn groove(file: &str) -> Groove {
    let edit = Edit::Recording(Some(Recording::new(file, None)));
    Groove::in_four(120, 1).edited(&edit).expect("a recording")
}

/// The events of opening the recording, in words.
fn opened(recordings: &Recordings, groove: &Groove, access: &SoundAccess) -> Vec<String> {
    let words = RefCell::new(Vec::new());
    recordings.open(groove, access, &|event| {
        words.borrow_mut().push(match event {
            RecordingEvent::Decoding(percent) => format!("{percent}"),
            RecordingEvent::Loaded(l, warnings) => format!("{} {} {} {warnings:?}", l.file, l.rate, l.frames),
            RecordingEvent::Onsets(onsets) => {
                assert!(onsets.iter().all(|onset| onset.timbre.is_known()));
                format!("{} onsets", onsets.len())
            }
            RecordingEvent::Identified(fingerprint) => fingerprint,
            RecordingEvent::Failed(why) => why,
            RecordingEvent::Closed => "closed".to_owned(),
        });
    });
    words.into_inner()
}

#[test]
fn a_recording_is_decoded_once_and_what_cannot_be_read_is_reported() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    let burst = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sounds/burst.flac");
    fs::copy(burst, at("winch.flac")).expect("copied");
    fs::write(at("bad.wav"), "no sound").expect("written");
    fs::write(at("empty.wav"), "").expect("written");
    fs::create_dir(at("hold")).expect("a folder");
    let access = SoundAccess { file: Some(at("g.toml")), ..SoundAccess::default() };
    let recordings = Recordings::default();
    let winch = groove("winch.flac");
    let words = opened(&recordings, &winch, &access);
    let [.., loaded, onsets, fingerprint] = &words[..] else { panic!("{words:?}") };
    assert!(words[0] == "0" && loaded.starts_with("winch.flac ") && onsets.ends_with(" onsets"), "{words:?}");
    assert_eq!(fingerprint.len(), 64, "{words:?}");
    let id = recordings.source(&winch, &access).expect("a source").id();
    assert_eq!(opened(&recordings, &winch, &access), words[words.len() - 3..], "decoded once");
    assert_eq!(recordings.source(&winch, &access).expect("a source").id(), id);
    assert!(recordings.source(&groove("bad.wav"), &access).is_none());
    let failed = |name: &str, words: &str| {
        let found = opened(&recordings, &groove(name), &access);
        let found = found.last().expect("an event");
        assert!(found.starts_with(&format!("{}: {words}", at(name).display())), "{found}");
        assert!(recordings.source(&winch, &access).is_none(), "another one was wanted");
    };
    failed("none.wav", "cannot read the file: no such file or directory");
    failed("hold", "expected a regular file, found a folder");
    failed("bad.wav", "expected a recording in WAV, ");
    failed("empty.wav", "expected a recording in WAV, ");
    assert_eq!(opened(&recordings, &Groove::in_four(120, 1), &access), ["closed"]);
}

#[test]
fn a_recording_that_was_moved_is_found_by_its_fingerprint() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    let burst = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sounds/burst.flac");
    fs::copy(&burst, at("haul.flac")).expect("copied");
    fs::write(at("another.wav"), "no sound").expect("written");
    let access = SoundAccess { file: Some(at("g.toml")), ..SoundAccess::default() };
    let known = fingerprint(File::open(burst).expect("a file"), &|| true).expect("read").expect("not cancelled");
    let named = |fingerprint: &str| {
        let edit = Edit::Recording(Some(Recording::new("winch.flac", Some(fingerprint.to_owned()))));
        Groove::in_four(120, 1).edited(&edit).expect("a recording")
    };
    let recordings = Recordings::default();
    let words = opened(&recordings, &named(&known), &access);
    let missing = format!("{}: not found; haul.flac has the same content", at("winch.flac").display());
    assert!(words.iter().any(|w| w.starts_with("winch.flac ") && w.contains(&missing)), "{words:?}");
    assert_eq!(words.last(), Some(&known));
    assert!(recordings.source(&named(&known), &access).is_some());
    let other = opened(&recordings, &named(&"0".repeat(64)), &access);
    assert!(other[0].ends_with("winch.flac: cannot read the file: no such file or directory"), "{other:?}");
}

#[test]
fn a_file_that_changes_is_decoded_again_and_what_was_decoded_stays_when_it_is_removed() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    let sounds = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sounds");
    fs::copy(sounds.join("burst.flac"), at("winch.flac")).expect("copied");
    let access = SoundAccess { file: Some(at("g.toml")), ..SoundAccess::default() };
    let (recordings, winch) = (Recordings::default(), groove("winch.flac"));
    let words = opened(&recordings, &winch, &access);
    let source = recordings.source(&winch, &access).expect("a source");
    fs::remove_file(at("winch.flac")).expect("removed");
    let listening = crate::sound::Listening {
        from: 0,
        speed: crate::rhythm::Fraction::ONE,
        rate: crate::sound::SampleRate::STUDIO,
        tone: crate::sound::RecordingTone::default(),
    };
    let mut heard = vec![0.0; 38_400];
    source.open(&listening).read(0, &mut heard);
    assert!(heard.iter().any(|x| x.abs() > 0.01), "it is heard to its end");
    fs::copy(sounds.join("burst.ogg"), at("winch.flac")).expect("copied");
    let other = opened(&recordings, &winch, &access);
    assert!(other.len() > 2 && other.last() != words.last(), "{other:?}");
}

#[test]
fn a_recording_outside_the_folder_is_read_only_if_it_is_allowed() {
    let burst = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sounds/burst.flac");
    let (groove, recordings) = (groove(burst.to_str().expect("text")), Recordings::default());
    let mut access = SoundAccess::default();
    assert_eq!(opened(&recordings, &groove, &access), ["closed"]);
    access.outside = OutsideSounds::Only(vec![burst]);
    assert!(opened(&recordings, &groove, &access).len() > 1);
    assert!(recordings.source(&groove, &access).is_some());
}
