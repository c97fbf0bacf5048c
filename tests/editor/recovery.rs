//! Unsaved work: kept at any moment, offered when the groove is opened again, never lost to another editor.

use crate::support::editor::{Editor, journal};
use std::fs;
use std::path::Path;
use std::thread::sleep;
use std::time::Duration;

#[test]
fn a_signal_restores_the_terminal_and_keeps_unsaved_changes() {
    let home = tempfile::tempdir().expect("a folder");
    for signal in ["TERM", "HUP", "INT", "QUIT", "USR1", "USR2", "ALRM"] {
        let mut editor = Editor::open(home.path(), None);
        editor.shows("no attacks in this section");
        editor.types("345");
        editor.shows("3+4, then 57 to the end");
        editor.signal(signal);
        assert!(editor.wait().restored, "{signal}");
        assert_eq!(journal(home.path()).len(), 1, "{signal}");
        let mut editor = Editor::open(home.path(), None);
        let screen = editor.shows("D discard");
        for line in
            ["Unsaved changes, less than a minute ago", "- riff, section A: no attacks", "+ riff, section A: 3+4+57"]
        {
            assert!(screen.contains(line), "{line} in\n{screen}");
        }
        editor.types("v");
        editor.shows("cells = \"x--x ---x ----");
        editor.types("r");
        editor.shows("recovered unsaved changes");
        editor.shows("3+4, then 57 to the end");
        editor.types("\x1a");
        editor.shows("undo: recovery of unsaved changes");
        editor.types("\x19\x11");
        editor.shows("Not saved.");
        editor.types("y");
        editor.assert_ends();
        assert!(journal(home.path()).is_empty());
    }
}

/// Numbers that are the same in every run (Knuth's constants for a linear congruential generator).
struct Numbers(u64);

impl Numbers {
    fn below(&mut self, n: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % n
    }
}

/// Cells of a new groove: four bars of sixteenths.
const CELLS: usize = 64;

/// The row of cells after each key.
fn rows(keys: &str) -> Vec<String> {
    let mut row = String::new();
    let mut rows = vec![".".repeat(CELLS)];
    for key in keys.chars() {
        match key.to_digit(10) {
            Some(n) => row.extend(["x", &"-".repeat(n as usize - 1)]),
            None => row.push(key),
        }
        rows.push(row.clone() + &".".repeat(CELLS - row.len()));
    }
    rows
}

/// The number of keys whose effect the screen shows, by the position of the cursor.
fn drawn(screen: &str, keys: &str) -> Option<usize> {
    let at = screen.split("riff ").find_map(|text| {
        let (position, _) = text.split_once(": ")?;
        let (bar, beat) = position.split_once('.')?;
        let (beat, syllable) = beat.split_once(' ').unwrap_or((beat, ""));
        let sixteenth = ["", "e", "&", "a"].iter().position(|s| *s == syllable)?;
        let (bar, beat): (usize, usize) = (bar.parse().ok()?, beat.parse().ok()?);
        Some(((bar - 1) * 4 + beat - 1) * 4 + sixteenth)
    })?;
    let length = |key: char| key.to_digit(10).unwrap_or(1) as usize;
    let ends = keys.chars().scan(0, |end, key| {
        *end += length(key);
        Some(*end)
    });
    [0].into_iter().chain(ends).position(|end| end == at)
}

/// The row of the only layer in the file.
fn saved_row(file: &Path) -> String {
    let text = fs::read_to_string(file).expect("a file");
    let cells = text.split("cells = \"").nth(1).and_then(|t| t.split('"').next());
    match cells {
        Some(cells) => cells.chars().filter(|c| !c.is_whitespace() && *c != '|').collect(),
        None => ".".repeat(CELLS),
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Typing {
    KeyByKey,
    Bursts,
    Groups,
    /// Key by key, with a save at some moment.
    Saving,
}

/// Types, kills the editor at some moment and opens the groove again.
fn kill(typing: Typing, seed: u64) {
    let home = tempfile::tempdir().expect("a folder");
    let file = home.path().join("rope.toml");
    let mut numbers = Numbers(seed);
    let all = if typing == Typing::Groups { "1232" } else { "xXo." };
    let mut keys: String = all[..1].to_owned();
    for _ in 0..11 + numbers.below(8) {
        keys.push(all.as_bytes()[numbers.below(4) as usize] as char);
    }
    let mut editor = Editor::open(home.path(), Some(&file));
    editor.shows("(new)");
    let save_at = numbers.below(keys.len() as u64) as usize;
    let stop_at = 1 + numbers.below(keys.len() as u64) as usize;
    editor.types(&keys[..1]);
    editor.until("the first key", |s| drawn(s, &keys).is_some_and(|n| n > 0));
    let mut sent = 1;
    while sent < stop_at {
        let count = if typing == Typing::Bursts { 8 } else { 1 };
        let next = (sent + count).min(stop_at);
        if typing == Typing::Saving && sent == save_at.max(1) {
            editor.types("\x13");
        }
        editor.types(&keys[sent..next]);
        sent = next;
        sleep(Duration::from_micros(numbers.below(3000)));
    }
    let screen = editor.kill();
    let seen = drawn(&screen, &keys).unwrap_or_else(|| panic!("no position on\n{screen}"));

    let mut editor = Editor::open(home.path(), Some(&file));
    let screen = editor.until("the question or the grid", |s| s.contains("D discard") || s.contains("? help"));
    if screen.contains("D discard") {
        editor.types("r");
        editor.shows("recovered unsaved changes");
        editor.types("\x13");
        // Killed between the save and the note of it in the journal.
        if editor.until("the save", |s| s.contains("saved: ") || s.contains("Overwrite it?")).contains("Overwrite") {
            assert!(typing == Typing::Saving);
            editor.types("y");
            editor.shows("saved: ");
        }
    } else {
        assert!(typing == Typing::Saving, "nothing is offered, {seen} keys were drawn");
    }
    editor.types("\x11");
    editor.assert_ends();
    let row = saved_row(&file);
    let states = rows(&keys);
    assert!(states[seen..=sent].contains(&row), "{seen} keys drawn, {sent} sent of {keys}, recovered {row}");
    assert!(journal(home.path()).is_empty());
    let left = fs::read_dir(home.path()).expect("a folder").flatten().map(|e| e.file_name());
    let left: Vec<_> = left.filter(|n| n.to_string_lossy().starts_with(".teeter-")).collect();
    assert!(left.is_empty(), "{left:?}");
}

/// Rounds of each way of typing; `TEETER_KILL_ROUNDS` gives another number.
const ROUNDS: u64 = 8;

fn kills(typing: Typing) {
    let rounds = std::env::var("TEETER_KILL_ROUNDS").ok().and_then(|n| n.parse().ok()).unwrap_or(ROUNDS);
    for round in 0..rounds {
        kill(typing, round * 4 + typing as u64);
    }
}

#[test]
fn no_drawn_key_is_lost_in_a_kill_while_keys_are_typed_one_by_one() {
    kills(Typing::KeyByKey);
}

#[test]
fn no_drawn_key_is_lost_in_a_kill_while_keys_come_in_bursts() {
    kills(Typing::Bursts);
}

#[test]
fn no_drawn_key_is_lost_in_a_kill_while_groups_are_typed() {
    kills(Typing::Groups);
}

#[test]
fn no_drawn_key_is_lost_and_no_file_is_torn_in_a_kill_around_a_save() {
    kills(Typing::Saving);
}

#[test]
fn two_editors_of_one_file_keep_their_own_work_and_ask_before_they_overwrite() {
    let home = tempfile::tempdir().expect("a folder");
    let path = crate::support::copy_winch(home.path(), "winch.toml");
    let mut first = Editor::open(home.path(), Some(Path::new("winch.toml")));
    first.shows("(saved)");
    let pid = first.child.process_id().expect("runs");
    let mut second = Editor::open(home.path(), Some(&path));
    second.shows(&format!("also open in process {pid}"));
    first.types("X");
    first.shows("(not saved)");
    second.types("Lr\x15cable\r");
    second.shows("cable");
    second.types("\x13");
    second.shows("saved: ");
    // The first one would overwrite that: it asks, and shows what differs.
    first.types("\x13");
    let screen = first.shows("Overwrite it?");
    assert!(screen.contains("- layer cable: ") && screen.contains("+ layer "), "{screen}");
    first.types("n");
    first.shows("not saved; the file is unchanged");
    second.types("\x11");
    second.assert_ends();
    assert!(fs::read_to_string(&path).expect("text").contains("cable"));
    first.kill();
    let mut again = Editor::open(home.path(), Some(&path));
    let screen = again.shows("D discard");
    assert!(screen.contains("The file was modified on disk after these changes began."), "{screen}");
    // Kept for later, then recovered; a save asks again.
    again.types("\x1b");
    again.shows("they will be offered when the groove is opened again");
    again.types("\x11");
    again.assert_ends();
    let mut again = Editor::open(home.path(), Some(&path));
    again.shows("D discard");
    again.types("r");
    again.shows("recovered unsaved changes");
    again.types("\x13");
    again.shows("Overwrite it?");
    again.types("y");
    again.shows("saved: ");
    again.types("\x11");
    again.assert_ends();
    assert!(!fs::read_to_string(&path).expect("text").contains("cable"));
    assert!(journal(home.path()).is_empty());
}

/// One of two editors: its name of the layer, and the version of the file that it started from.
struct Side {
    editor: Editor,
    name: String,
    base: usize,
    is_saved: bool,
}

/// Waits for the next offer, of so many, or for the grid.
fn next_offer(editor: &mut Editor, left: usize) {
    editor.until("the next offer", |s| match left {
        0 => !s.contains("Unsaved changes"),
        1 => s.contains("D discard") && !s.contains("(1 of "),
        _ => s.contains(&format!("(1 of {left})")),
    });
}

/// Lets two editors edit, save, be quit and be killed in some order, and checks that no name of the layer is lost unasked.
fn interleave(seed: u64) {
    let home = tempfile::tempdir().expect("a folder");
    let path = crate::support::copy_winch(home.path(), "winch.toml");
    let mut numbers = Numbers(seed);
    let mut sides: [Option<Side>; 2] = [None, None];
    let (mut version, mut in_file) = (0, "winch".to_owned());
    // Unsaved names of editors that were killed, with the version that they started from.
    let mut kept: Vec<(String, usize)> = Vec::new();
    for step in 0..16 {
        let side = &mut sides[numbers.below(2) as usize];
        let Some(Side { editor, name, base, is_saved }) = side else {
            let mut editor = Editor::open(home.path(), Some(&path));
            let (mut name, mut base, mut is_saved) = (in_file.clone(), version, true);
            let mut left = kept.len();
            while left > 0 {
                let screen = editor.shows("D discard");
                let offered = kept.iter().position(|(name, _)| screen.contains(&format!("+ layer {name}:")));
                let offered = offered.unwrap_or_else(|| panic!("none of {kept:?} on\n{screen}"));
                if numbers.below(2) == 0 {
                    editor.types("r");
                    editor.shows("recovered unsaved changes");
                    ((name, base), is_saved) = (kept.remove(offered), false);
                    break;
                }
                editor.types("\x1b");
                left -= 1;
                next_offer(&mut editor, left);
            }
            editor.shows(&name);
            *side = Some(Side { editor, name, base, is_saved });
            continue;
        };
        match numbers.below(5) {
            0 | 1 => {
                *name = format!("rope{step}");
                *is_saved = false;
                editor.types(&format!("Lr\x15{name}\r"));
                editor.shows(&format!("Groups of {name}"));
            }
            2 => {
                *name = format!("line{step}");
                editor.types(&format!("Lr\x15{name}\r"));
                editor.shows(&format!("Groups of {name}"));
                editor.types("\x13");
                let screen =
                    editor.until("saved, or a question", |s| s.contains("saved: ") || s.contains("Overwrite it?"));
                let asked = screen.contains("Overwrite it?");
                assert_eq!(asked, *base != version, "{screen}");
                let answer = numbers.below(2);
                if asked {
                    editor.types(if answer == 0 { "y" } else { "n" });
                    editor.shows(if answer == 0 { "saved: " } else { "not saved; the file is unchanged" });
                }
                *is_saved = !asked || answer == 0;
                if *is_saved {
                    version += 1;
                    (*base, in_file) = (version, name.clone());
                }
            }
            3 => {
                editor.types("\x11");
                if !*is_saved {
                    editor.shows("Not saved.");
                    editor.types("y");
                }
                side.take().expect("open").editor.assert_ends();
            }
            _ => {
                let Side { editor, name, base, is_saved } = side.take().expect("open");
                editor.kill();
                if !is_saved {
                    kept.push((name, base));
                }
            }
        }
        let text = fs::read_to_string(&path).expect("a file");
        assert!(text.contains(&format!("name = \"{in_file}\"")), "{in_file} in\n{text}");
    }
    for Side { editor, name, base, is_saved } in sides.into_iter().flatten() {
        editor.kill();
        kept.extend((!is_saved).then_some((name, base)));
    }
    // Every one is offered, and nothing else.
    let mut editor = Editor::open(home.path(), Some(&path));
    while !kept.is_empty() {
        let screen = editor.shows("D discard");
        let offered = kept.iter().position(|(name, _)| screen.contains(&format!("+ layer {name}:")));
        kept.remove(offered.unwrap_or_else(|| panic!("none of {kept:?} on\n{screen}")));
        editor.types("D");
        next_offer(&mut editor, kept.len());
    }
    editor.shows(&in_file);
    editor.types("\x11");
    editor.assert_ends();
    assert!(journal(home.path()).is_empty());
}

#[test]
fn two_editors_lose_nothing_unasked_in_any_order_of_edits_saves_ends_and_kills() {
    let rounds = std::env::var("TEETER_KILL_ROUNDS").ok().and_then(|n| n.parse().ok()).unwrap_or(6);
    (0..rounds).for_each(interleave);
}

#[test]
fn work_is_offered_whatever_the_times_of_the_files_and_discarded_only_on_demand() {
    let home = tempfile::tempdir().expect("a folder");
    let path = crate::support::copy_winch(home.path(), "winch.toml");
    let demo = fs::read_to_string(&path).expect("a copy");
    let mut editor = Editor::open(home.path(), Some(&path));
    editor.shows("(saved)");
    editor.types("Lr\x15cable\r");
    editor.shows("cable");
    editor.kill();
    // Written again, as by a checkout.
    fs::write(&path, &demo).expect("written");
    let mut editor = Editor::open(home.path(), Some(&path));
    editor.shows("D discard");
    editor.types("D");
    editor.shows("discarded");
    editor.types("\x11");
    editor.assert_ends();
    assert!(journal(home.path()).is_empty());
    assert_eq!(fs::read_to_string(&path).expect("text"), demo);
}

#[test]
fn the_screen_says_that_nothing_can_be_kept_as_long_as_that_is_so() {
    let home = tempfile::tempdir().expect("a folder");
    // A file in the place of the state folder.
    fs::write(home.path().join(".local"), "").expect("written");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("autosave failed, unsaved changes are not protected: not a directory");
    editor.types("3");
    editor.shows("autosave off: not a directory");
    fs::remove_file(home.path().join(".local")).expect("removed");
    editor.types("3");
    editor.until("no warning", |s| !s.contains("autosave off"));
    editor.types("x");
    editor.shows("3+3");
    editor.kill();
    let mut editor = Editor::open(home.path(), None);
    editor.shows("D discard");
    editor.types("r");
    editor.shows("3+3");
    editor.types("\x11y");
    editor.assert_ends();
}
