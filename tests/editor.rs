//! The editor in a pseudo-terminal: keys typed, files saved, the journal recovered.

mod files;
mod input;
mod jobs;
mod recordings;
mod recovery;
mod variants;

use crate::support::editor::{Editor, journal};
use std::fs;
use std::path::Path;

#[test]
fn a_typed_groove_is_saved_and_shows_the_numbers_of_explain() {
    let home = tempfile::tempdir().expect("a folder");
    let file = Path::new("riff.toml");
    let mut editor = Editor::open(home.path(), Some(file));
    editor.shows("(new)");
    editor.types("T150\r");
    editor.shows("= 150");
    // Four bars of sixteenths, 16 cells each, as digits.
    editor.types("445445445445444");
    editor.shows("4(4+4+5)+3(4)");
    editor.types("nkick\r");
    editor.shows("kick");
    editor.types("8888\r");
    editor.until("playing, or why there is no sound", |s| s.contains("no sound") || s.contains("playing"));
    editor.types("\x13");
    editor.shows("(saved)");
    editor.types("\x11");
    editor.assert_ends();

    let mut explain = std::process::Command::new(env!("CARGO_BIN_EXE_teeter"));
    let explained = explain.args(["explain", "--json"]).arg(file).current_dir(home.path()).env("HOME", home.path());
    let explained = explained.output().expect("explain");
    let value: serde_json::Value = serde_json::from_slice(&explained.stdout).expect("JSON");
    assert_eq!(value["title"], "riff", "the title of a new groove is that of its file");
    assert_eq!(value["layers"][1]["name"], "kick");
    let first = &value["hearings"][0];
    let bpm = format!("{:.1}", first["bpm"].as_f64().expect("a tempo"));
    let likely = format!("{:.0}%", first["shown"].as_f64().expect("a share") * 100.0);
    let share = format!("{:.0}%", first["share"].as_f64().expect("a share") * 100.0);
    let mut editor = Editor::open(home.path(), Some(file));
    let landings = value["layers"][0]["landings"].as_array().expect("landings");
    let landings: Vec<(&str, String)> =
        landings.iter().map(|row| (row["depth"].as_str().expect("a depth"), row["count"].to_string())).collect();
    let has_row =
        |s: &str, (depth, count): &(&str, String)| s.lines().any(|l| l.contains(depth) && l.contains(count.as_str()));
    // A frame may arrive in pieces.
    let screen =
        editor.until("the tempo and the landings", |s| s.contains(&bpm) && landings.iter().all(|row| has_row(s, row)));
    let line = screen.lines().find(|l| l.contains(&bpm) && l.contains(&likely)).expect("the first hearing's line");
    for figure in [likely.as_str(), &share] {
        assert!(line.contains(figure), "{figure} in {line}");
    }
    editor.types("\x11");
    editor.assert_ends();
}

#[test]
fn every_window_size_works() {
    let home = tempfile::tempdir().expect("a folder");
    let demo = crate::support::in_package("patterns/half-tide-winch.toml");
    let mut editor = Editor::open(home.path(), Some(&demo));
    editor.shows("Half-Tide Winch");
    for (columns, lines) in [(1, 1), (20, 5), (200, 60), (60, 18), (3, 50), (80, 24)] {
        editor.resize(columns, lines);
        editor.settles();
        editor.types("?");
        editor.settles();
        editor.types("\x1b");
        editor.settles();
    }
    editor.shows("Half-Tide Winch");
    editor.types("\x11");
    editor.assert_ends();
}

#[test]
fn an_invalid_file_is_reported_on_the_normal_screen() {
    let home = tempfile::tempdir().expect("a folder");
    fs::write(home.path().join("wrong.toml"), "format = 1\ntitle = 3\n").expect("written");
    let end = Editor::open(home.path(), Some(Path::new("wrong.toml"))).wait();
    assert_eq!(end.code, 1);
    let text = end.text;
    assert!(text.contains("wrong.toml:2:9: 'title': expected a string"), "{text}");
}

#[test]
fn a_typed_riff_is_saved_and_opened_again() {
    let home = tempfile::tempdir().expect("a folder");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("no attacks in this section");
    editor.types("332333");
    editor.shows("3+3+2+3+3, then 50 to the end");
    editor.types("nkick\r44448");
    editor.shows("kick 2.3");
    editor.types("\x13ropes.toml\r");
    editor.shows("saved: ropes.toml");
    editor.types("\x11");
    editor.assert_ends();
    let text = fs::read_to_string(home.path().join("ropes.toml")).expect("saved");
    assert!(text.contains("x--x --x- x--x --x-"), "{text}");
    assert!(text.contains("x--- x--- x--- x--- | x--- ----"), "{text}");
    assert!(journal(home.path()).is_empty());
    let mut editor = Editor::open(home.path(), Some(&home.path().join("ropes.toml")));
    editor.shows("(saved)");
    editor.types("\x11");
    editor.assert_ends();
}

#[test]
fn a_file_changed_removed_or_made_read_only_by_others_is_reported_and_nothing_is_lost() {
    let home = tempfile::tempdir().expect("a folder");
    let path = crate::support::copy_winch(home.path(), "ropes.toml");
    let mut editor = Editor::open(home.path(), Some(Path::new("ropes.toml")));
    editor.shows("(saved)");
    editor.types("+");
    editor.shows("(not saved)");
    // Changed: "no" keeps the other text, "yes" overwrites it.
    fs::write(&path, "format = 1 # another's").expect("written");
    editor.types("\x13");
    editor.shows("was changed by another program. Overwrite it?");
    editor.types("n");
    editor.shows("not saved; the file is unchanged");
    assert_eq!(fs::read_to_string(&path).expect("text"), "format = 1 # another's");
    editor.types("\x13");
    editor.shows("Overwrite it?");
    editor.types("y");
    editor.shows("saved: ropes.toml");
    assert!(fs::read_to_string(&path).expect("text").contains("Half-Tide Winch"));
    // Removed: it is written again.
    fs::remove_file(&path).expect("removed");
    editor.types("+");
    editor.shows("(not saved)");
    editor.types("\x13");
    editor.shows("(saved)");
    assert!(path.exists());
    // A folder in its place, and a read-only file.
    fs::remove_file(&path).expect("removed");
    fs::create_dir(&path).expect("a folder");
    editor.types("+\x13");
    editor.shows("not saved: not a regular file");
    fs::remove_dir(&path).expect("removed");
    fs::write(&path, "").expect("written");
    let mut mode = fs::metadata(&path).expect("a file").permissions();
    mode.set_readonly(true);
    fs::set_permissions(&path, mode).expect("read-only");
    editor.types("\x13");
    editor.shows("not saved: the file is read-only");
    // Another name that is taken causes a question; a name that is too long is an error.
    fs::write(home.path().join("other.toml"), "keep").expect("written");
    editor.types("\x17\x15other.toml\r");
    editor.shows("other.toml already exists. Overwrite it?");
    editor.types("\x1b");
    editor.shows("not saved; the file is unchanged");
    assert_eq!(fs::read_to_string(home.path().join("other.toml")).expect("text"), "keep");
    editor.types(&format!("\x17\x15{}\r", "n".repeat(300)));
    editor.shows("not saved: the file could not be written");
    editor.types("\x17\x15other.toml\r");
    editor.shows("Overwrite it?");
    editor.types("y");
    editor.shows("saved: other.toml");
    assert!(fs::read_to_string(home.path().join("other.toml")).expect("text").contains("Half-Tide Winch"));
    editor.types("\x11");
    editor.assert_ends();
}

#[test]
fn long_text_and_control_characters_can_be_pasted() {
    let home = tempfile::tempdir().expect("a folder");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("no attacks in this section");
    let pasted = |text: &str| format!("\x1b[200~{text}\x1b[201~");
    editor.types("g");
    editor.shows("Groups:");
    editor.types(&pasted(&"3+".repeat(50_000)));
    editor.shows("only the first 2000 characters");
    editor.types("\x15\x03Lr");
    editor.shows("Name of the layer");
    editor.types(&pasted("wi\0nch\r\n"));
    editor.shows("winch");
    editor.types("\r332");
    editor.shows("Groups of winch");
    editor.shows("3+3, then 58 to the end");
    editor.types("\x11y");
    editor.assert_ends();
}

#[test]
fn the_users_keys_work_and_errors_in_them_are_shown() {
    let home = tempfile::tempdir().expect("a folder");
    let config = home.path().join(".config/teeter");
    fs::create_dir_all(&config).expect("a folder");
    fs::write(config.join("config.toml"), "[keys]\nquit = \"ctrl-e\"\n").expect("written");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("no attacks in this section");
    editor.types("\x05");
    editor.assert_ends();
    fs::write(config.join("config.toml"), "[keys]\nquit = \"hyper-e\"\n").expect("written");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("line 2, column 8");
    editor.shows(".config/teeter/config.toml");
    editor.types("\x1b");
    editor.until("the grid", |s| !s.contains("Errors in the config file"));
    editor.types("\x11");
    editor.assert_ends();
    fs::write(config.join("config.toml"), "[hearing]\ncell-limit = 5\n").expect("written");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("line 2, column 14: expected a number from 20 to 1000");
    editor.types("\x11");
    editor.assert_ends();
}

#[test]
fn tapping_along_counts_taps_or_says_that_nothing_plays() {
    let home = tempfile::tempdir().expect("a folder");
    let demo = crate::support::in_package("patterns/half-tide-winch.toml");
    let mut editor = Editor::open(home.path(), Some(&demo));
    editor.shows("changing pulse");
    editor.types("\x14");
    editor.shows("Tap along: 0 taps");
    let silent =
        editor.until("a device, or why there is none", |s| s.contains("nothing is playing") || s.contains("playing"));
    editor.settles();
    // Taps are counted with a device only.
    editor.types("x");
    if !silent.contains("nothing is playing") && !editor.text().contains("nothing is playing") {
        editor.until("a tap that counts", |s| s.contains("Tap along: 1 tap") || s.contains("nothing is playing"));
    }
    editor.types("\x1b");
    editor.until("the report or the pane", |s| s.contains("too few taps") || s.contains("Why it is hard"));
    editor.settles();
    editor.types("\x1b");
    editor.shows("Why it is hard");
    // Esc directly before a key is Alt with that key.
    editor.settles();
    editor.types("\x11");
    editor.assert_ends();
    assert!(journal(home.path()).is_empty());
}

#[test]
fn takes_and_the_ladder_without_a_device_leave_no_file() {
    let home = tempfile::tempdir().expect("a folder");
    crate::support::copy_winch(home.path(), "winch.toml");
    fs::write(home.path().join("winch.progress"), "what is this").expect("written");
    let mut editor = Editor::open(home.path(), Some(Path::new("winch.toml")));
    // The take with the hearing needs the analysis.
    editor.shows("changing pulse");
    // Function keys as terminals send them.
    editor.types("\x1b[19~");
    editor.until("the take, or why there is no sound", |s| s.contains("beat + hearing only") || s.contains("no sound"));
    editor.types("=");
    editor.shows("Ladder: 50-100/10 x4");
    editor.types("80-100/10 x2 key\r");
    editor.until("the ladder, or why there is no sound", |s| s.contains("no sound") || s.contains("Ladder 80-100/10"));
    editor.types("\x1bOS");
    editor.settles();
    editor.types("&2 count\r");
    editor.settles();
    editor.types("ftake\r");
    editor.settles();
    editor.types("\x11");
    editor.assert_ends();
    assert_eq!(fs::read_to_string(home.path().join("winch.progress")).expect("text"), "what is this");
    let names = |e: fs::DirEntry| e.file_name().to_string_lossy().into_owned();
    let files: Vec<String> = fs::read_dir(home.path()).expect("a folder").flatten().map(names).collect();
    assert!(files.iter().all(|f| f.starts_with('.') || f.starts_with("winch.")), "{files:?}");
}
