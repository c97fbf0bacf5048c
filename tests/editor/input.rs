//! Input that terminals send at once, in parts or broken, and job control.

use crate::support::editor::Editor;

fn open() -> (tempfile::TempDir, Editor) {
    let home = tempfile::tempdir().expect("a folder");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("no attacks in this section");
    (home, editor)
}

fn quit(mut editor: Editor) {
    editor.types("\x11y");
    editor.assert_ends();
}

#[test]
fn thousands_of_characters_at_once_leave_nothing_for_later_keys() {
    let (_home, mut editor) = open();
    // A paste without brackets is keys: attacks, then as many taken back.
    editor.types(&"x".repeat(60));
    editor.shows("59(1)+5");
    editor.types(&"x\x7f".repeat(2000));
    editor.types("Lr");
    editor.shows("Name of the layer");
    editor.types("\x15cable\r");
    // The report may be one of an earlier state for a while.
    editor.until("the name and the groups", |s| s.contains("Groups of cable") && s.contains("59(1)+5"));
    // With brackets it is one text, however long.
    editor.types(&format!("Lr\x1b[200~{}\x1b[201~\x15rope\r", "y".repeat(4000)));
    editor.shows("Groups of rope");
    quit(editor);
}

#[test]
fn a_resize_at_the_moment_of_a_key_is_noticed() {
    let (_home, mut editor) = open();
    for (columns, lines) in [(100, 30), (60, 18), (90, 40), (80, 24)] {
        editor.types("x");
        editor.resize(columns, lines);
        editor.types("\x7f?");
        // The last line is that of the hints.
        editor.until("the help as high as the window", |s| {
            let shown: Vec<&str> = s.lines().collect();
            shown.len() == usize::from(lines) && shown[shown.len() - 1].contains("manual")
        });
        editor.types("h");
        editor.shows("Groups of riff");
    }
    quit(editor);
}

#[test]
fn broken_input_swallows_no_key() {
    for broken in [&b"\xc3"[..], b"\xff\xfe", b"\xe6\xbc", b"\x1b[<0;10", b"\x1b[<0;10;5;", b"\x1b[38;5"] {
        let (_home, mut editor) = open();
        // A sequence that ends with a letter takes the first one, the next key is a key.
        let is_sequence = broken == b"\x1b[38;5";
        editor.sends(&[broken, if is_sequence { b"LLr" } else { b"Lr" }].concat());
        editor.shows("Name of the layer");
        editor.types("\x15cable\r");
        editor.shows("cable");
        quit(editor);
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_stopped_editor_gives_the_terminal_back_and_goes_on_when_continued() {
    let (_home, mut editor) = open();
    editor.types("345");
    editor.shows("3+4, then 57 to the end");
    for signal in ["TSTP", "STOP"] {
        editor.signal(signal);
        if signal == "TSTP" {
            editor.until_restored();
        }
        editor.until_stopped();
        editor.signal("CONT");
        editor.shows("3+4, then 57 to the end");
        editor.types("Lr");
        editor.shows("Name of the layer");
        editor.types("\x03");
    }
    quit(editor);
}
