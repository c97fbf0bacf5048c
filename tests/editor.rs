//! The editor in a terminal of its own: typed, saved, ended, opened again. It must not know the rooms' insides.

use crate::support::editor::{Editor, journal};
use std::fs;
use std::path::Path;

#[test]
fn from_an_empty_groove_to_a_saved_one_whose_figures_are_those_of_explain() {
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
    assert_eq!(editor.ends(), (true, true));

    let mut explain = std::process::Command::new(env!("CARGO_BIN_EXE_teeter"));
    let explained = explain.args(["explain", "--json"]).arg(file).current_dir(home.path()).env("HOME", home.path());
    let explained = explained.output().expect("explain");
    let value: serde_json::Value = serde_json::from_slice(&explained.stdout).expect("JSON");
    assert_eq!(value["title"], "riff", "a new groove is called as its file");
    assert_eq!(value["layers"][1]["name"], "kick");
    let first = &value["hearings"][0];
    let bpm = format!("{:.1}", first["bpm"].as_f64().expect("a tempo"));
    let score = format!("{:.0}", first["score"].as_f64().expect("a score"));
    let share = format!("{:.0}%", first["share"].as_f64().expect("a share") * 100.0);
    let mut editor = Editor::open(home.path(), Some(file));
    let screen = editor.shows(&bpm);
    let line = screen.lines().find(|l| l.contains(&bpm) && l.contains("ms")).expect("the first hearing's line");
    for figure in [score.as_str(), &share, first["kind"].as_str().expect("a kind")] {
        assert!(line.contains(figure), "{figure} in {line}");
    }
    for row in value["layers"][0]["landings"].as_array().expect("landings") {
        let (depth, count) = (row["depth"].as_str().expect("a depth"), row["count"].to_string());
        assert!(screen.lines().any(|l| l.contains(depth) && l.contains(&count)), "{depth} {count} in\n{screen}");
    }
    editor.types("\x11");
    assert_eq!(editor.ends(), (true, true));
}

#[test]
fn any_window_size_is_taken() {
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
    assert_eq!(editor.ends(), (true, true));
}

#[test]
fn a_wrong_file_is_reported_on_the_plain_terminal() {
    let home = tempfile::tempdir().expect("a folder");
    fs::write(home.path().join("wrong.toml"), "format = 1\ntitle = 3\n").expect("written");
    let (code, _, text) = Editor::open(home.path(), Some(Path::new("wrong.toml"))).ended();
    assert_eq!(code, 1);
    assert!(text.contains("wrong.toml:2:9: 'title': expected a string"), "{text}");
}

#[test]
fn a_riff_is_typed_saved_and_opened_again() {
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
    assert_eq!(editor.ends(), (true, true));
    let text = fs::read_to_string(home.path().join("ropes.toml")).expect("saved");
    assert!(text.contains("x--x --x- x--x --x-"), "{text}");
    assert!(text.contains("x--- x--- x--- x--- | x--- ----"), "{text}");
    assert!(journal(home.path()).is_empty());
    let mut editor = Editor::open(home.path(), Some(&home.path().join("ropes.toml")));
    editor.shows("(saved)");
    editor.types("\x11");
    assert_eq!(editor.ends(), (true, true));
}

#[test]
fn a_signal_gives_the_terminal_back_and_keeps_the_work() {
    let home = tempfile::tempdir().expect("a folder");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("no attacks in this section");
    editor.types("345");
    editor.shows("3+4, then 57 to the end");
    let pid = editor.child.process_id().expect("runs");
    // The shell's own kill: a bare system has no program of that name.
    let killed = std::process::Command::new("sh").args(["-c", &format!("kill -TERM {pid}")]).status().expect("a shell");
    assert!(killed.success());
    assert!(editor.ends().1);
    let kept = journal(home.path());
    assert!(kept.len() == 1 && kept[0].contains("x--x ---x ----"), "{kept:?}");
    // The next start has the work again, and says so.
    let mut editor = Editor::open(home.path(), None);
    editor.shows("recovered unsaved changes");
    editor.shows("3+4, then 57 to the end");
    editor.types("\x11");
    editor.shows("Not saved.");
    editor.types("y");
    assert_eq!(editor.ends(), (true, true));
    assert!(journal(home.path()).is_empty());
}

#[test]
fn a_file_that_others_change_take_away_or_close_is_told_about_and_nothing_is_lost() {
    let home = tempfile::tempdir().expect("a folder");
    let path = home.path().join("ropes.toml");
    let demo = fs::read_to_string(crate::support::in_package("patterns/half-tide-winch.toml")).expect("a pattern");
    fs::write(&path, &demo).expect("written");
    let mut editor = Editor::open(home.path(), Some(Path::new("ropes.toml")));
    editor.shows("(saved)");
    editor.types("+");
    editor.shows("(not saved)");
    // Changed: no keeps the other's text, yes writes over it.
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
    // Taken away: it is written again.
    fs::remove_file(&path).expect("removed");
    editor.types("+");
    editor.shows("(not saved)");
    editor.types("\x13");
    editor.shows("(saved)");
    assert!(path.exists());
    // A folder in its place, and a file that may not be written.
    fs::remove_file(&path).expect("removed");
    fs::create_dir(&path).expect("a folder");
    editor.types("+\x13");
    editor.shows("not saved, this is not a plain file");
    fs::remove_dir(&path).expect("removed");
    fs::write(&path, "").expect("written");
    let mut mode = fs::metadata(&path).expect("a file").permissions();
    mode.set_readonly(true);
    fs::set_permissions(&path, mode).expect("read-only");
    editor.types("\x13");
    editor.shows("not saved, the file is read-only");
    // Under another name that is taken: asked too. A name no folder takes is refused.
    fs::write(home.path().join("other.toml"), "keep").expect("written");
    editor.types("\x17\x15other.toml\r");
    editor.shows("other.toml already exists. Overwrite it?");
    editor.types("\x1b");
    editor.shows("not saved; the file is unchanged");
    assert_eq!(fs::read_to_string(home.path().join("other.toml")).expect("text"), "keep");
    editor.types(&format!("\x17\x15{}\r", "n".repeat(300)));
    editor.shows("not saved, the file could not be written");
    editor.types("\x17\x15other.toml\r");
    editor.shows("Overwrite it?");
    editor.types("y");
    editor.shows("saved: other.toml");
    assert!(fs::read_to_string(home.path().join("other.toml")).expect("text").contains("Half-Tide Winch"));
    editor.types("\x11");
    assert_eq!(editor.ends(), (true, true));
}

#[test]
fn much_and_strange_text_pasted_is_borne() {
    let home = tempfile::tempdir().expect("a folder");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("no attacks in this section");
    let pasted = |text: &str| format!("\x1b[200~{text}\x1b[201~");
    editor.types("g");
    editor.shows("Groups:");
    editor.types(&pasted(&"3+".repeat(50_000)));
    editor.shows("only the first 2000 characters");
    editor.types("\x15\x03R");
    editor.shows("Name of the layer");
    editor.types(&pasted("wi\0nch\r\n"));
    editor.shows("winch");
    editor.types("\r332");
    editor.shows("Groups of winch");
    editor.shows("3+3, then 58 to the end");
    editor.types("\x11y");
    assert_eq!(editor.ends(), (true, true));
}

#[test]
fn keys_of_the_users_own_and_a_mistake_in_them() {
    let home = tempfile::tempdir().expect("a folder");
    let config = home.path().join(".config/teeter");
    fs::create_dir_all(&config).expect("a folder");
    fs::write(config.join("config.toml"), "[keys]\nquit = \"ctrl-e\"\n").expect("written");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("no attacks in this section");
    editor.types("\x05");
    assert_eq!(editor.ends(), (true, true));
    fs::write(config.join("config.toml"), "[keys]\nquit = \"hyper-e\"\n").expect("written");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("line 2, column 8");
    editor.shows(".config/teeter/config.toml");
    editor.types("\x1b");
    editor.until("the grid", |s| !s.contains("Errors in the config file"));
    editor.types("\x11");
    assert_eq!(editor.ends(), (true, true));
    fs::write(config.join("config.toml"), "[hearing]\ncell-limit = 5\n").expect("written");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("line 2, column 14: expected a number from 20 to 1000");
    editor.types("\x11");
    assert_eq!(editor.ends(), (true, true));
}

#[test]
fn tapping_along_says_what_it_hears_or_that_nothing_sounds() {
    let home = tempfile::tempdir().expect("a folder");
    let demo = crate::support::in_package("patterns/half-tide-winch.toml");
    let mut editor = Editor::open(home.path(), Some(&demo));
    editor.shows("changing pulse");
    editor.types("\x14");
    editor.shows("Tap along: 0 taps");
    let silent =
        editor.until("a device, or why there is none", |s| s.contains("nothing is playing") || s.contains("playing"));
    editor.settles();
    // With a device taps are counted; without one it is said that there is nothing to tap to.
    editor.types("x");
    if !silent.contains("nothing is playing") && !editor.text().contains("nothing is playing") {
        editor.until("a tap that counts", |s| s.contains("Tap along: 1 tap") || s.contains("nothing is playing"));
    }
    editor.types("\x1b");
    editor.until("the report or the pane", |s| s.contains("too few taps") || s.contains("Why it is hard"));
    editor.settles();
    editor.types("\x1b");
    editor.shows("Why it is hard");
    // An Esc with a key right behind it is that key with Alt.
    editor.settles();
    editor.types("\x11");
    assert_eq!(editor.ends(), (true, true));
    assert!(journal(home.path()).is_empty());
}

#[test]
fn takes_and_the_ladder_without_a_device_say_why_and_leave_no_file() {
    let home = tempfile::tempdir().expect("a folder");
    let demo = fs::read_to_string(crate::support::in_package("patterns/half-tide-winch.toml")).expect("a pattern");
    fs::write(home.path().join("winch.toml"), demo).expect("written");
    fs::write(home.path().join("winch.progress"), "what is this").expect("written");
    let mut editor = Editor::open(home.path(), Some(Path::new("winch.toml")));
    // The takes under a hearing wait for the hearings.
    editor.shows("changing pulse");
    // Function keys as terminals send them.
    editor.types("\x1b[19~");
    editor.until("the take, or why there is no sound", |s| s.contains("both alone") || s.contains("no sound"));
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
    assert_eq!(editor.ends(), (true, true));
    assert_eq!(fs::read_to_string(home.path().join("winch.progress")).expect("text"), "what is this");
    let names = |e: fs::DirEntry| e.file_name().to_string_lossy().into_owned();
    let files: Vec<String> = fs::read_dir(home.path()).expect("a folder").flatten().map(names).collect();
    assert!(files.iter().all(|f| f.starts_with('.') || f.starts_with("winch.")), "{files:?}");
}

/// What the program writes for these words, run without a screen in a folder.
fn without_screen(folder: &Path, words: &[&str]) {
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_teeter"));
    command.args(words).current_dir(folder).env("HOME", folder).env_remove("XDG_CONFIG_HOME");
    let ended = command.output().expect("the program");
    assert!(ended.status.success(), "{words:?}: {}", String::from_utf8_lossy(&ended.stderr));
}

/// A home with a groove in it, its name, and the number in `explain` of the hearing that the editor has in its strip.
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
fn what_the_editor_exports_and_renders_is_what_the_command_line_does() {
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
        without_screen(home.path(), &[&words, drawn].concat());
        let read = |stem: &str| fs::read(home.path().join(format!("{stem}.{ending}"))).expect("a file");
        assert!(read("mine") == read("own"), "{format}");
    }
    // There already: no keeps it.
    fs::write(home.path().join("mine.mid"), "keep").expect("written");
    editor.types("fexport\rmidi\rmine.mid\r");
    editor.shows("mine.mid already exists. Overwrite it?");
    editor.types("n");
    editor.shows("not written; the file is unchanged");
    assert_eq!(fs::read(home.path().join("mine.mid")).expect("a file"), b"keep");
    editor.types("fexport\rmidi\rno/mine.mid\r");
    editor.shows("there is no folder no");
    // Sound: what is heard, the takes, a handout.
    editor.types("k");
    editor.types("frender-wav\rmine.wav x2 8000hz\r");
    editor.shows("written: mine.wav");
    without_screen(
        home.path(),
        &["render", "winch.toml", "--click", "--loops", "2", "--rate", "8000", "-o", "own.wav"],
    );
    editor.types("ftakes-wav\rminetakes.wav x1 count 8000hz\r");
    editor.shows("written: minetakes.wav");
    let takes = ["takes", "winch.toml", "--times", "1", "--count-in", "--rate", "8000", "-o", "owntakes.wav"];
    without_screen(home.path(), &takes);
    editor.types("k=80-100/10 x2\r");
    editor.until("the ladder, or why there is no sound", |s| s.contains("adder 80-100") || s.contains("no sound"));
    editor.types("E");
    editor.types("fladder-wav\rmineladder.wav 8000hz\r");
    editor.shows("written: mineladder.wav");
    let ladder =
        ["render", "winch.toml", "--ladder", "80-100/10", "--loops", "2", "--rate", "8000", "-o", "ownladder.wav"];
    without_screen(home.path(), &ladder);
    for name in [".wav", "takes.wav", "takes.tsv", "ladder.wav", "ladder.tsv"] {
        let read = |stem: &str| fs::read(home.path().join(format!("{stem}{name}"))).expect("a file");
        assert!(read("mine") == read("own"), "{name}");
    }
    editor.types("fhandout\rpage-silent\rminepages\r");
    editor.shows("written: minepages/winch.html");
    let handout = ["handout", "winch.toml", "--sound", "none", "--hearing", &rival, "--into", "ownpages"];
    without_screen(home.path(), &handout);
    let page = |folder: &str| fs::read(home.path().join(folder).join("winch.html")).expect("a page");
    assert!(page("minepages") == page("ownpages"));
    editor.types("\x11");
    assert_eq!(editor.ends(), (true, true));
    assert!(names(home.path()).iter().all(|n| !n.starts_with(".teeter-")), "{:?}", names(home.path()));
}

#[test]
fn a_score_is_imported_as_the_unsaved_groove_and_undone() {
    let (home, _) = home_with_winch();
    without_screen(home.path(), &["export", "winch.toml", "--as", "musicxml", "-o", "score.musicxml"]);
    without_screen(home.path(), &["import", "score.musicxml", "-o", "own.toml"]);
    let before = fs::read(home.path().join("winch.toml")).expect("a groove");
    let mut editor = Editor::open(home.path(), Some(Path::new("winch.toml")));
    editor.shows("(saved)");
    editor.types("+");
    editor.shows("(not saved)");
    editor.types("fimport\rscore.musicxml\r");
    editor.shows("Not saved. s: save, then import, y: import, Esc: cancel");
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
    // The old groove is a step back.
    editor.types("\x1a");
    editor.shows("undo: import of score.musicxml");
    editor.types("fimport\rnothing.mid\r");
    editor.shows("not imported, ");
    editor.types("\x11y");
    assert_eq!(editor.ends(), (true, true));
    assert!(journal(home.path()).is_empty());
}

#[test]
fn a_long_render_is_cancelled_and_nothing_is_left_of_it() {
    let (home, _) = home_with_winch();
    let mut editor = Editor::open(home.path(), Some(Path::new("winch.toml")));
    editor.shows("(saved)");
    for leaving in [false, true] {
        editor.types("frender-wav\rlong.wav 12000s\r");
        editor.until("how far it is", |s| s.contains("making ") && s.contains('%'));
        let begun = || names(home.path()).iter().any(|n| n.starts_with(".teeter-"));
        (0..200).take_while(|_| !begun()).for_each(|_| std::thread::sleep(std::time::Duration::from_millis(20)));
        assert!(begun(), "{:?}", names(home.path()));
        // The editor goes on meanwhile.
        editor.types("?");
        editor.shows("Entering attacks");
        editor.types("\x1b");
        // The screen does not settle before the file is made: it counts.
        editor.until("the grid again", |s| !s.contains("Entering attacks"));
        if leaving {
            editor.types("\x11");
        } else {
            editor.types("\x1b");
            editor.shows("cancelled; nothing was written");
            assert_eq!(names(home.path()), ["winch.toml"]);
        }
    }
    assert_eq!(editor.ends(), (true, true));
    assert_eq!(names(home.path()), ["winch.toml"]);
}
