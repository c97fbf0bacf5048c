//! Files beside the groove: sound files outside its folder, links, and what a killed process left.

use crate::support::editor::Editor;
use crate::support::{copy_winch, in_package};
use std::fs;
use std::path::Path;
use std::process::Command;

#[test]
fn a_sound_file_outside_the_folder_is_asked_about_until_it_is_allowed() {
    let home = tempfile::tempdir().expect("a folder");
    fs::create_dir(home.path().join("songs")).expect("a folder");
    fs::copy(in_package("tests/sounds/burst.flac"), home.path().join("knock.flac")).expect("copied");
    let file = Path::new("songs/riff.toml");
    let text = "format = 1\ntitle = \"riff\"\n[[section]]\nmeter = \"4/4\"\ntempo = 100\nbars = 1\n[[layer]]\nname = \"l\"\n\
                voice = \"wood\"\nsound = \"../knock.flac\"\ncells = \"x... .... x... ....\"\n";
    fs::write(home.path().join(file), text).expect("written");
    let warnings = || {
        let mut check = Command::new(env!("CARGO_BIN_EXE_teeter"));
        let checked =
            check.arg("check").arg(file).current_dir(home.path()).env_clear().env("HOME", home.path()).output();
        String::from_utf8(checked.expect("checked").stderr).expect("text")
    };
    for answer in ["n", "\x1b", "y"] {
        assert!(warnings().contains("songs/../knock.flac"), "{}", warnings());
        let mut editor = Editor::open(home.path(), Some(file));
        let screen = editor.shows("Read these files?");
        assert!(screen.contains("songs/../knock.flac"), "{screen}");
        editor.types(answer);
        editor.until("no question", |text| !text.contains("Read these files?"));
        editor.types("\x11");
        editor.assert_ends();
    }
    assert_eq!(warnings(), "");
    let mut editor = Editor::open(home.path(), Some(file));
    let screen = editor.shows("stopped");
    assert!(!screen.contains("Read these files?"), "{screen}");
    editor.types("\x11");
    editor.assert_ends();
}

#[test]
fn what_killed_saves_left_is_completed_or_removed_at_the_next_start() {
    let home = tempfile::tempdir().expect("a folder");
    let (folder, state) = (home.path().join("songs"), home.path().join(".local/state/teeter"));
    fs::create_dir_all(&state).expect("a folder");
    fs::create_dir(&folder).expect("a folder");
    copy_winch(&folder, "whole.toml");
    let text = fs::read(folder.join("whole.toml")).expect("text");
    // A file with two names whose new text is half written, and temporary files of other saves.
    fs::write(folder.join("winch.toml"), &text[..200]).expect("written");
    fs::hard_link(folder.join("winch.toml"), home.path().join("link.toml")).expect("linked");
    fs::write(folder.join(".winch.toml.teeter-save"), &text).expect("written");
    let temporary = [folder.join(".teeter-a1.tmp"), state.join(".teeter-b2.tmp")];
    for path in &temporary {
        fs::write(path, "half").expect("written");
    }
    let mut editor = Editor::open(home.path(), Some(Path::new("songs/winch.toml")));
    editor.shows("Half-Tide Winch");
    editor.types("\x11");
    editor.assert_ends();
    assert!(temporary.iter().all(|path| !path.exists()));
    assert!(fs::read(home.path().join("link.toml")).expect("text") == text, "the save is completed");
    assert_eq!(fs::read_dir(&folder).expect("a folder").count(), 2, "no backup is left");
}

#[test]
fn a_file_opened_in_the_editor_is_saved_and_recovered_under_its_own_name() {
    let home = tempfile::tempdir().expect("a folder");
    copy_winch(home.path(), "winch.toml");
    let read = |name: &str| fs::read_to_string(home.path().join(name)).expect("text");
    let winch = read("winch.toml");
    let text = "# of the deck\nformat = 1\ntitle = \"Deck\"\n[[section]]\nmeter = \"4/4\"\ntempo = 100\nbars = 1\n[[layer]]\n\
                name = \"l\"\nvoice = \"cowbell\"\ncells = \"x... .... x... ....\"\n";
    fs::write(home.path().join("deck.toml"), text).expect("written");
    let mut editor = Editor::open(home.path(), Some(Path::new("winch.toml")));
    editor.shows("Half-Tide Winch");
    for (name, shown) in [("gull.toml", "not opened: gull.toml"), ("deck.toml", "opened deck.toml")] {
        editor.types("f");
        editor.shows("Find a command:");
        editor.types("another groove file\r");
        editor.shows("Open:");
        editor.types(&format!("{name}\r"));
        editor.shows(shown);
    }
    editor.types("X\x13");
    editor.shows("saved: deck.toml");
    assert!(read("deck.toml").starts_with("# of the deck\n") && read("deck.toml").contains("X... .... x... ...."));
    editor.types("X");
    editor.shows("(not saved)");
    editor.signal("TERM");
    editor.wait();
    let mut editor = Editor::open(home.path(), Some(Path::new("deck.toml")));
    editor.shows("Unsaved changes");
    editor.types("r");
    editor.shows("recovered unsaved changes");
    // From another file the editor says that there is something to recover.
    editor.signal("TERM");
    editor.wait();
    let mut editor = Editor::open(home.path(), Some(Path::new("winch.toml")));
    editor.shows("Half-Tide Winch");
    editor.types("f");
    editor.shows("Find a command:");
    editor.types("another groove file\r");
    editor.shows("Open:");
    editor.types("deck.toml\r");
    editor.shows("unsaved changes of an earlier session");
    editor.types("\x11");
    editor.assert_ends();
    assert_eq!(read("winch.toml"), winch);
}
