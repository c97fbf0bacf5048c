//! The list of variants in a terminal: its figures come from the worker thread, and what is only looked at leaves no trace.

use crate::support::copy_winch;
use crate::support::editor::{Editor, journal};
use std::fs;
use std::path::Path;

#[test]
fn variants_are_looked_through_taken_undone_and_kept() {
    let home = tempfile::tempdir().expect("a folder");
    let path = copy_winch(home.path(), "winch.toml");
    let written = fs::read_to_string(&path).expect("text");
    let mut editor = Editor::open(home.path(), Some(Path::new("winch.toml")));
    editor.shows("changing pulse");
    let journals = || -> Vec<Vec<u8>> { journal(home.path()).iter().flat_map(fs::read).collect() };
    let before = journals();
    editor.types("b\x12");
    editor.shows("variants of cells 1 to 16 of winch, nearest first");
    // The figures of the original and of the rows below it.
    editor.until("figures", |s| s.lines().filter(|l| l.contains('%')).count() > 2);
    editor.types("\x1b[B\x1b[B");
    editor.shows("2 of ");
    editor.types("\t");
    editor.until("the hardest first", |s| s.contains("hardest first") && !s.contains("sorting"));
    editor.shows("(saved)");
    assert_eq!(journals(), before, "nothing of it is in the journal");
    editor.types("\x1b");
    editor.shows("the groove is unchanged");
    editor.settles();
    editor.types("\x12");
    editor.shows("hardest first");
    editor.types("\x1b[B\r");
    editor.shows("variant taken: ");
    editor.types("\x1a");
    editor.shows("undo: variant: ");
    editor.types("\x12");
    editor.shows("hardest first");
    editor.types("\x1b[Bn");
    editor.shows("kept as section B");
    editor.types("\x1b");
    editor.until("no list", |s| !s.contains("hardest first"));
    editor.settles();
    editor.types("\x13");
    editor.shows("saved: winch.toml");
    editor.types("\x11");
    editor.assert_ends();
    let text = fs::read_to_string(&path).expect("text");
    assert!(text.contains("name = \"B\"") && text != written, "{text}");
}
