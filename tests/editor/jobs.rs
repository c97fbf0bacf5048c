//! Exports and imports in the editor, against the same on the command line.

use crate::support::editor::{Editor, journal};
use std::fs;
use std::path::Path;

/// Runs a command in a folder.
fn run_command(folder: &Path, args: &[&str]) {
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_teeter"));
    command.args(args).current_dir(folder).env("HOME", folder).env_remove("XDG_CONFIG_HOME");
    let ended = command.output().expect("the program");
    assert!(ended.status.success(), "{args:?}: {}", String::from_utf8_lossy(&ended.stderr));
}

/// A home with a groove in it, and the number in `explain` of the hearing of the strip.
fn home_with_winch() -> (tempfile::TempDir, String) {
    let home = tempfile::tempdir().expect("a folder");
    fs::copy(crate::support::in_package("patterns/half-tide-winch.toml"), home.path().join("winch.toml"))
        .expect("copied");
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_teeter"));
    command.args(["explain", "--json", "winch.toml"]).current_dir(home.path()).env("HOME", home.path());
    let value: serde_json::Value = serde_json::from_slice(&command.output().expect("explain").stdout).expect("JSON");
    let hearings = value["hearings"].as_array().expect("hearings");
    let rival = hearings.iter().position(|h| h["kind"] != "written beat").expect("a rival");
    (home, (rival + 1).to_string())
}

fn names(folder: &Path) -> Vec<String> {
    let name = |e: fs::DirEntry| e.file_name().to_string_lossy().into_owned();
    let mut names: Vec<String> = fs::read_dir(folder).expect("a folder").flatten().map(name).collect();
    names.retain(|n| !matches!(n.as_str(), ".local" | ".config"));
    names.sort();
    names
}

#[test]
fn exports_and_sound_files_are_those_of_the_command_line() {
    let (home, rival) = home_with_winch();
    let mut editor = Editor::open(home.path(), Some(Path::new("winch.toml")));
    editor.shows("(saved)");
    editor.shows("heard");
    for (format, ending) in [("midi", "mid"), ("musicxml", "musicxml"), ("svg-notation", "svg")] {
        editor.types(&format!("fexport\r{format}\r"));
        editor.shows("Export to: winch");
        editor.types(&format!("mine.{ending}\r"));
        editor.shows(&format!("written: mine.{ending}"));
        let (name, picture) = format.split_once('-').unwrap_or((format, "grid"));
        let own = format!("own.{ending}");
        let words = ["export", "winch.toml", "--as", name, "--hearing", &rival, "-o", &own];
        let drawn: &[&str] = if ending == "svg" { &["--picture", picture] } else { &[] };
        run_command(home.path(), &[&words, drawn].concat());
        let read = |stem: &str| fs::read(home.path().join(format!("{stem}.{ending}"))).expect("a file");
        assert!(read("mine") == read("own"), "{format}");
    }
    // The file exists: "no" keeps it.
    fs::write(home.path().join("mine.mid"), "keep").expect("written");
    editor.types("fexport\rmidi\rmine.mid\r");
    editor.shows("mine.mid already exists. Overwrite it?");
    editor.types("n");
    editor.shows("not written; the file is unchanged");
    assert_eq!(fs::read(home.path().join("mine.mid")).expect("a file"), b"keep");
    editor.types("fexport\rmidi\rno/mine.mid\r");
    editor.shows("there is no folder no");
    // Sound, takes, ladder and handout.
    editor.types("k");
    editor.types("frender-wav\rmine.wav x2 8000hz\r");
    editor.shows("written: mine.wav");
    run_command(home.path(), &["render", "winch.toml", "--click", "--loops", "2", "--rate", "8000", "-o", "own.wav"]);
    editor.types("ftakes-wav\rminetakes.wav x1 count 8000hz\r");
    editor.shows("written: minetakes.wav");
    let takes = ["takes", "winch.toml", "--times", "1", "--count-in", "--rate", "8000", "-o", "owntakes.wav"];
    run_command(home.path(), &takes);
    editor.types("k=80-100/10 x2\r");
    editor.until("the ladder, or why there is no sound", |s| s.contains("adder 80-100") || s.contains("no sound"));
    editor.types("Pp");
    editor.types("fladder-wav\rmineladder.wav 8000hz\r");
    editor.shows("written: mineladder.wav");
    let ladder =
        ["render", "winch.toml", "--ladder", "80-100/10", "--loops", "2", "--rate", "8000", "-o", "ownladder.wav"];
    run_command(home.path(), &ladder);
    for name in [".wav", "takes.wav", "takes.tsv", "ladder.wav", "ladder.tsv"] {
        let read = |stem: &str| fs::read(home.path().join(format!("{stem}{name}"))).expect("a file");
        assert!(read("mine") == read("own"), "{name}");
    }
    editor.types("fhandout\rpage-silent\rminepages\r");
    editor.shows("written: minepages/winch.html");
    let handout = ["handout", "winch.toml", "--sound", "none", "--hearing", &rival, "--into", "ownpages"];
    run_command(home.path(), &handout);
    let page = |folder: &str| fs::read(home.path().join(folder).join("winch.html")).expect("a page");
    assert!(page("minepages") == page("ownpages"));
    editor.types("\x11");
    editor.assert_ends();
    assert!(names(home.path()).iter().all(|n| !n.starts_with(".teeter-")), "{:?}", names(home.path()));
}

#[test]
fn an_imported_score_is_an_unsaved_groove_and_can_be_undone() {
    let (home, _) = home_with_winch();
    run_command(home.path(), &["export", "winch.toml", "--as", "musicxml", "-o", "score.musicxml"]);
    run_command(home.path(), &["import", "score.musicxml", "-o", "own.toml"]);
    let before = fs::read(home.path().join("winch.toml")).expect("a groove");
    let mut editor = Editor::open(home.path(), Some(Path::new("winch.toml")));
    editor.shows("(saved)");
    editor.types("+");
    editor.shows("(not saved)");
    editor.types("fimport\rscore.musicxml\r");
    editor.shows("Not saved. s: save and import, y: only import, Esc: cancel");
    editor.types("y");
    editor.until("the import", |s| s.contains("imported score.musicxml") || s.contains("What the import changed"));
    editor.types("\x1b");
    editor.settles();
    editor.types("\x13");
    editor.shows("Save as:");
    editor.types("mine.toml\r");
    editor.shows("saved: mine.toml");
    let read = |name: &str| fs::read(home.path().join(name)).expect("a groove");
    assert!(read("mine.toml") == read("own.toml"));
    assert_eq!(read("winch.toml"), before);
    // Undo restores the old groove.
    editor.types("\x1a");
    editor.shows("undo: import of score.musicxml");
    editor.types("fimport\rnothing.mid\r");
    editor.shows("not imported: ");
    editor.types("\x11y");
    editor.assert_ends();
    assert!(journal(home.path()).is_empty());
}

#[test]
fn a_cancelled_render_leaves_no_file() {
    let (home, _) = home_with_winch();
    let mut editor = Editor::open(home.path(), Some(Path::new("winch.toml")));
    editor.shows("(saved)");
    for leaving in [false, true] {
        editor.types("frender-wav\rlong.wav 12000s\r");
        editor.until("the progress", |s| s.contains("making ") && s.contains('%'));
        let begun = || names(home.path()).iter().any(|n| n.starts_with(".teeter-"));
        (0..200).take_while(|_| !begun()).for_each(|_| std::thread::sleep(std::time::Duration::from_millis(20)));
        assert!(begun(), "{:?}", names(home.path()));
        // The editor works meanwhile.
        editor.types("?");
        editor.shows("Entering attacks");
        editor.types("\x1b");
        // The screen shows the progress, so it does not settle.
        editor.until("the grid again", |s| !s.contains("Entering attacks"));
        if leaving {
            editor.types("\x11");
        } else {
            editor.types("\x1b");
            editor.shows("cancelled; nothing was written");
            assert_eq!(names(home.path()), ["winch.toml"]);
        }
    }
    editor.assert_ends();
    assert_eq!(names(home.path()), ["winch.toml"]);
}
