//! Recordings in the editor: a typed path, anchors with undo and save, a new groove from a recording.

use crate::support::editor::Editor;
use crate::support::{copy_winch, in_package};
use std::fs;
use std::path::Path;

#[test]
fn a_recording_is_named_anchored_undone_and_saved() {
    let home = tempfile::tempdir().expect("a folder");
    let path = copy_winch(home.path(), "winch.toml");
    fs::copy(in_package("tests/sounds/burst.flac"), home.path().join("haul.flac")).expect("copied");
    let mut editor = Editor::open(home.path(), Some(Path::new("winch.toml")));
    editor.shows("Half-Tide Winch");
    // A file that does not exist, and a folder.
    for (name, why) in
        [("none.flac", "no such file or directory"), (".local", "expected a regular file, found a folder")]
    {
        editor.types("Rf");
        editor.shows("Recording");
        editor.types("\x15");
        editor.types(name);
        editor.types("\r");
        editor.shows(why);
    }
    editor.types("Rf");
    editor.shows("Recording");
    editor.types("\x15haul.flac\r");
    editor.shows("recording read");
    let lane = editor.text();
    assert!(lane.lines().nth(1).is_some_and(|line| line.starts_with("recording")), "{lane}");
    let cache = home.path().join(".cache/teeter");
    assert_eq!(fs::read_dir(&cache).expect("the cache folder").count(), 0, "its file has no name");
    editor.types("Ra0.25\r");
    editor.shows("anchor: bar 1 beat 1 is at 0:00.250");
    editor.types("\x1b[1;5CRa0.75\r");
    editor.shows("is at 0:00.750");
    editor.types("\x1a");
    editor.shows("undo: set anchor");
    editor.types("\x19");
    editor.shows("redo: set anchor");
    editor.types("Rl");
    editor.shows("Anchors of haul.flac: 2");
    editor.types("\x1b");
    editor.until("no list", |text| !text.contains("Anchors of"));
    editor.types("\x13");
    editor.shows("(saved)");
    let text = fs::read_to_string(path).expect("text");
    assert!(text.contains("[recording]\nfile = \"haul.flac\"\n"), "{text}");
    assert!(text.contains("{ bar = 1, at = 0.25 },"), "{text}");
    assert_eq!(text.matches("at = 0.75").count(), 1, "{text}");
    editor.types("\x11");
    editor.assert_ends();
}

#[test]
fn a_recording_opens_as_a_new_groove_and_overwrites_nothing() {
    let home = tempfile::tempdir().expect("a folder");
    let songs = home.path().join("songs");
    fs::create_dir(&songs).expect("a folder");
    fs::copy(in_package("tests/sounds/burst.flac"), songs.join("haul.flac")).expect("copied");
    for (new, lines) in [("haul.toml", 1), ("haul-2.toml", 2)] {
        let mut editor = Editor::open(home.path(), Some(Path::new("songs/haul.flac")));
        let screen = editor.shows("recording read");
        assert!(screen.starts_with("haul"), "{screen}");
        assert!(!songs.join(new).exists());
        editor.types("\x13");
        editor.shows("(saved)");
        editor.types("\x11");
        editor.assert_ends();
        let text = fs::read_to_string(songs.join(new)).expect("text");
        assert!(text.contains("title = \"haul\"") && text.contains("file = \"haul.flac\""), "{text}");
        assert_eq!(fs::read_dir(&songs).expect("a folder").count(), 1 + lines);
    }
    let burst = fs::read(in_package("tests/sounds/burst.flac")).expect("read");
    assert!(fs::read(songs.join("haul.flac")).expect("read") == burst);
}

#[test]
fn a_recording_is_written_down_from_its_onsets() {
    let home = tempfile::tempdir().expect("a folder");
    fs::copy(in_package("tests/sounds/burst.flac"), home.path().join("haul.flac")).expect("copied");
    let mut editor = Editor::open(home.path(), Some(Path::new("haul.flac")));
    // Found in the background and marked in the lane.
    let is_marked = |text: &str| text.lines().nth(1).is_some_and(|lane| lane.contains(['▾', '▪', '▴', '▿', '▫', '▵']));
    editor.until("the onsets", is_marked);
    editor.types("\x0e");
    editor.shows("onset at 0:0");
    editor.types("Ra\r");
    editor.shows("anchor: bar 1 beat 1 is at 0:0");
    editor.shows("on time");
    editor.types("\x0f");
    editor.shows("1.1: attack");
    editor.types("\x1b[1;5HGl");
    editor.shows("0 attacks without an onset");
    editor.types("\x1b");
    editor.until("no list", |text| !text.contains("without an onset"));
    editor.types("\x1a");
    editor.shows("undo: accept the onset");
    editor.types("\x13");
    editor.shows("saved: haul.toml");
    editor.types("\x11");
    editor.assert_ends();
    let text = fs::read_to_string(home.path().join("haul.toml")).expect("text");
    assert!(text.contains("anchors = ["), "{text}");
}
