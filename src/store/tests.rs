//! Tests of the file format: round trips, edits of hand-written text, saves, the journal.

use super::*;
use crate::rhythm::random::grooves as plain_grooves;
use crate::rhythm::{Accent, Attack, Cell, Edit, Fraction, Layer, Place, Section, Tempo, Time, Voice, is_hidden};
use proptest::prelude::*;

fn read(text: &str) -> Groove {
    parse(text, "t").unwrap_or_else(|e| panic!("{e}\n{text}")).groove
}

/// Random grooves, some with a sound file and an accent depth.
fn grooves() -> impl Strategy<Value = Groove> {
    let own = (prop::option::of("[a-z ü./]{1,12}"), prop::option::of(0_u8..=18));
    (plain_grooves(), prop::collection::vec(own, 4)).prop_map(|(groove, own)| {
        let given = own.into_iter().take(groove.layers().len()).enumerate();
        given.fold(groove, |g, (l, (sound, depth))| {
            let g = g.edited(&Edit::SoundFile(l, sound)).unwrap_or(g);
            g.edited(&Edit::AccentDepth(l, depth)).unwrap_or(g)
        })
    })
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(160))]

    #[test]
    fn a_printed_groove_is_read_back(g in grooves()) {
        let text = print(&g);
        let back = parse(&text, "t").map_err(|e| TestCaseError::fail(format!("{e}\n{text}")))?;
        prop_assert_eq!(back.groove, g);
    }

    #[test]
    fn a_printer_prints_every_state_as_a_new_one_would(a in grooves(), b in grooves()) {
        let mut printer = Printer::default();
        let of_layer = a.edited(&Edit::SoundFile(0, Some("a.wav".into()))).unwrap_or_else(|_| a.clone());
        let of_section = a.edited(&Edit::Bars(0, 1)).unwrap_or_else(|_| a.clone());
        for groove in [&a, &of_layer, &a, &of_section, &b] {
            prop_assert_eq!(printer.print(groove), print(groove));
        }
    }

    #[test]
    fn any_groove_is_written_into_any_text(before in grooves(), after in grooves()) {
        let text = print(&before);
        // Without the new print that `update` falls back to.
        let edited = update::edited_text(&text, &after).expect("a groove's text");
        let back = parse(&edited, "t").map_err(|e| TestCaseError::fail(format!("{e}\n{text}\n---\n{edited}")))?;
        prop_assert_eq!(&back.groove, &after, "{}\n---\n{}", text, edited);
        prop_assert_eq!(update(&text, &before), text);
    }

    #[test]
    fn comments_and_an_unusual_order_survive_edits(g in grooves(), cell in any::<prop::sample::Index>(), gain in -60_i8..=12) {
        let text = disordered(&print(&g));
        prop_assert_eq!(&read(&text), &g, "{}", text);
        let mut after = g.edited(&Edit::Title("new".into())).expect("a title");
        for section in 0..g.sections().len() {
            after = after.edited(&Edit::Times(section, 7)).expect("times");
        }
        for layer in 0..g.layers().len() {
            let at = Place { layer, section: 0, cell: cell.index(g.cells(layer, 0)) };
            after = after.edited(&Edit::Gain(layer, gain)).expect("a gain");
            after = after.edited(&Edit::Set(at, Cell::ATTACK)).expect("a cell");
        }
        let edited = update::edited_text(&text, &after).expect("a groove's text");
        prop_assert_eq!(&read(&edited), &after, "{}\n---\n{}", text, edited);
        let comments = |t: &str| t.lines().filter_map(|l| l.split_once("# mine ")).map(|c| c.1.to_owned()).collect::<Vec<_>>();
        prop_assert_eq!(comments(&edited), comments(&text), "{}\n---\n{}", text, edited);
    }

    #[test]
    fn any_text_is_read_or_refused(text in "\\PC{0,200}", cut in any::<prop::sample::Index>(), g in grooves()) {
        let _ = parse(&text, "t").map_err(|e| e.to_string());
        let printed = print(&g);
        let at = printed.char_indices().map(|(i, _)| i).nth(cut.index(printed.chars().count())).expect("in the text");
        let torn = format!("{}{}{}", &printed[..at], text, &printed[at..]);
        let _ = parse(&torn, "t").map_err(|e| e.to_string());
    }
}

/// The text with its last layer before its sections, a comment above every table and one behind every bar count and voice.
/// Names that a file may have, of characters that a terminal acts on and those that TOML escapes.
fn hidden_names() -> impl Strategy<Value = String> {
    let characters =
        vec!['\u{202e}', '\u{2066}', '\u{2028}', '\u{200f}', '\u{feff}', '\u{e0041}', '"', '\\', '\'', '#', 'ü'];
    prop::collection::vec(prop::sample::select(characters), 1..20).prop_map(String::from_iter)
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(64))]

    #[test]
    fn hidden_characters_are_escaped_in_the_file_and_read_back(
        names in prop::collection::vec(hidden_names(), 5),
        note in prop::collection::vec(prop::sample::select(vec!["\n", "\t", "\r", "\"\"\"\"", "\u{2029}", "a"]), 0..9),
        lines in "[\n]{0,2}",
    ) {
        let old = read(&hand_made());
        let sections = vec![Section { name: names[0].clone(), ..old.sections()[0].clone() }];
        let layer = |(k, l): (usize, &std::sync::Arc<Layer>)| {
            let (name, sound) = (format!("{k}{}", names[1]), Some(names[2].clone()));
            Layer { name, sound, ..(**l).clone() }
        };
        let layers = old.layers().iter().enumerate().map(layer).collect();
        let g = Groove::new(&names[3], &(note.concat() + &lines + &names[4]), sections, layers).expect("a groove");
        let several = g.edited(&Edit::CopySection(0, names[2].clone() + "2")).expect("edited");
        for groove in [&g, &several] {
            for text in [print(groove), update(&hand_made(), groove)] {
                prop_assert!(!text.contains(|c| is_hidden(c) && !matches!(c, '\n' | '\t')), "{}", text);
                prop_assert_eq!(&read(&text), groove);
            }
        }
    }
}

fn disordered(text: &str) -> String {
    let mut blocks: Vec<String> = text.split_inclusive("\n\n").map(str::to_owned).collect();
    if let Some(last) = blocks.last_mut() {
        last.push('\n');
    }
    let layer = blocks.iter().rposition(|b| b.starts_with("[[layer]]"));
    let section = blocks.iter().position(|b| b.starts_with("[[section]]"));
    if let (Some(layer), Some(section)) = (layer, section)
        && blocks.iter().filter(|b| b.starts_with("[[layer]]")).count() == 1
    {
        let tail = blocks.split_off(layer);
        blocks.splice(section..section, tail);
    }
    let mut out = String::new();
    for (i, block) in blocks.iter().enumerate() {
        if block.starts_with("[[") {
            out.extend(["# mine ", &i.to_string(), "\n"]);
        }
        for line in block.split_inclusive('\n') {
            let marked = ["bars = ", "voice = ", "section = "].iter().any(|k| line.starts_with(k));
            out += &if marked { line.replace('\n', &format!(" # mine too {i}\n")) } else { line.to_owned() };
        }
    }
    out
}

const HAND_MADE: &str = "\
# The winch of the lower landing.
format = 1
title = \"Winch\"   # as the crew calls it

[[section]]
tempo = 132.50 # slower at slack water
meter = \"4/4\"
bars = 2

# The line.
[[layer]]
voice = \"pluck\"
name = \"rope\"
cells = \"\"\"
  x.x.   x.x.  x.x. x.x. |   # not a comment: text
\"\"\"
";

fn hand_made() -> String {
    HAND_MADE
        .replace("   # not a comment: text", "")
        .replace("\n\"\"\"\n", "\n  x..x x.... ...  o...\n\"\"\" # by hand\n")
        + "pitches = \"Bb2 D3 . F3 G3 G3 G3 G3 E2 E2 E2 Bb2\"\n"
        + "\n[[layer]] # the drum\nname = \"drum\"\nvoice = \"kick\"\ngroups = \"2(4 + 4 + 8)\" # heavy\n"
}

fn check(edit: &Edit, changes: &[(&str, &str)]) {
    let text = hand_made();
    let after = read(&text).edited(edit).expect("edit");
    let mut want = text.clone();
    for (from, to) in changes {
        assert!(want.contains(from), "{from}");
        want = want.replacen(from, to, 1);
    }
    assert_eq!(update(&text, &after), want, "{edit:?}");
}

fn at(layer: usize, cell: usize) -> Place {
    Place { layer, section: 0, cell }
}

#[test]
fn edits_leave_the_writers_own_text_alone() {
    check(&Edit::Set(at(0, 1), Cell::Hold), &[("  x.x.   x", "  x-x.   x")]);
    check(&Edit::Set(at(0, 16), Cell::Rest), &[("  x..x x....", "  ...x x...."), ("G3 E2 E2 E2", "G3 E2 E2")]);
    check(&Edit::Title("Capstan".into()), &[("\"Winch\"   #", "\"Capstan\"   #")]);
    let tempo = Tempo::new(Fraction::new(281, 2).expect("valid"), Time::new(1, 4).expect("valid")).expect("tempo");
    check(&Edit::Tempo(0, tempo), &[("132.50 # slower", "140.5 # slower")]);
    check(&Edit::Gain(1, -6), &[("\"kick\"\n", "\"kick\"\ngain = -6\n")]);
    check(&Edit::SoundFile(1, Some("knock.wav".into())), &[("\"kick\"\n", "\"kick\"\nsound = \"knock.wav\"\n")]);
    check(&Edit::AccentDepth(1, Some(0)), &[("\"kick\"\n", "\"kick\"\naccent-depth = 0\n")]);
    check(&Edit::Voice(0, Voice::Bass), &[("\"pluck\"", "\"bass\"")]);
    check(&Edit::RenameLayer(1, "heart".into()), &[("\"drum\"", "\"heart\"")]);
    check(&Edit::Times(0, 3), &[("bars = 2\n", "bars = 2\ntimes = 3\n")]);
    check(&Edit::Set(at(1, 30), Cell::ATTACK), &[("\"2(4 + 4 + 8)\" # heavy", "\"4+4+8+4+4+6+2\" # heavy")]);
    let ghost = Cell::Attack(Attack { accent: Accent::Ghost, pitch: None });
    check(
        &Edit::Set(at(1, 31), ghost),
        &[("groups = \"2(4 + 4 + 8)\" # heavy", "cells = \"x... x... x... .... | x... x... x... ...o\" # heavy")],
    );
    check(
        &Edit::Cycle { layer: 1, section: 0, cells: Some(5) },
        &[("groups = \"2(4 + 4 + 8)\" # heavy", "cycle = \"x...x\" # heavy")],
    );
    let after = read(&hand_made()).edited(&Edit::MoveLayer(1, 0)).expect("edit");
    let moved = update(&hand_made(), &after);
    let (drum, rope) = (moved.find("[[layer]] # the drum"), moved.find("# The line.\n[[layer]]"));
    assert!(drum.is_some() && drum < rope, "{moved}");
    assert!(moved.contains("\"\"\" # by hand\n"));
    assert_eq!(read(&moved), after);
}

#[test]
fn a_second_section_makes_parts_of_a_layers_cells() {
    let after = read(&hand_made()).edited(&Edit::CopySection(0, "again".into())).expect("edit");
    let text = update(&hand_made(), &after);
    assert_eq!(read(&text), after);
    for kept in ["# by hand", "# heavy", "2(4 + 4 + 8)", "# the drum", "132.50 # slower", "  x.x.   x.x."] {
        assert!(text.contains(kept), "{kept}: {text}");
    }
    let one = after.edited(&Edit::RemoveSection(0)).expect("edit");
    let back = update(&text, &one);
    assert_eq!(read(&back), one);
}

#[test]
fn a_text_that_is_no_groove_is_written_anew() {
    let g = read(&hand_made());
    assert_eq!(update("not = a groove", &g), print(&g));
}

#[test]
fn numbers_are_read_as_they_are_written() {
    let rows = [
        ("150", (150, 1)),
        ("132.5", (265, 2)),
        ("\"400/3\"", (400, 3)),
        ("1_20", (120, 1)),
        ("99.999999", (99_999_999, 1_000_000)),
    ];
    for (text, (n, d)) in rows {
        let g = read(&hand_made().replace("132.50", text));
        assert_eq!(g.sections()[0].tempo.bpm(), Fraction::new(n, d).expect("valid"), "{text}");
    }
    let start = |n: usize| {
        let text = hand_made().replace("groups = \"2(4 + 4 + 8)\"", &format!("cycle = \"x.o..\"\nstart = {n}"));
        parse(&text, "t").map(|l| l.groove.cell(at(1, 0)).attack().is_some())
    };
    assert_eq!((start(1), start(2), start(3)), (Ok(true), Ok(false), Ok(true)));
    assert!(start(0).is_err() && start(6).is_err());
}

#[test]
fn a_file_of_windows_lines_keeps_them_and_its_places() {
    let text = hand_made().replace('\n', "\r\n");
    assert_eq!(read(&text), read(&hand_made()));
    assert_eq!(update(&text, &read(&text)), text);
    let wrong = text.replace("x..x x....", "x..x xq...");
    let place = parse(&wrong, "t").expect_err("a wrong mark").position;
    assert_eq!(place, Some(Position { line: 16, column: 9 }));
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder for the test")
}

fn names_in(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).expect("folder");
    let mut names: Vec<_> = entries.map(|e| e.expect("entry").file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[test]
fn a_save_replaces_the_text_and_nothing_else() {
    let folder = folder();
    let path = folder.path().join("winch.toml");
    let first = save(&path, &hand_made(), Some(Stamp::ABSENT)).expect("a new file");
    assert_eq!(load(&path).expect("saved").stamp, first);
    let second = save(&path, HAND_MADE, Some(first)).expect("saved again");
    assert_eq!(fs::read_to_string(&path).expect("file"), HAND_MADE);
    assert_eq!(save(&path, "x", Some(first)), Err(SaveError::ChangedOnDisk(path.clone())));
    assert_eq!(save(&path, "x", Some(Stamp::ABSENT)), Err(SaveError::ChangedOnDisk(path.clone())));
    assert_eq!(fs::read_to_string(&path).expect("file"), HAND_MADE);
    assert!(save(&path, "x", None).is_ok());
    fs::remove_file(&path).expect("removed");
    assert!(save(&path, "y", Some(second)).is_ok(), "a vanished file is written again");
    assert_eq!(names_in(folder.path()), ["winch.toml"]);
    let refused = save(&folder.path().join("none/winch.toml"), "x", None);
    assert!(matches!(refused, Err(SaveError::Folder(..))), "{refused:?}");
    assert_eq!(save(folder.path(), "x", None), Err(SaveError::NotRegular(folder.path().to_owned())));
    let long = " ".repeat(MAX_BYTES as usize + 1);
    assert!(matches!(save(&path, &long, None), Err(SaveError::TooLarge(..))));
}

#[test]
fn a_save_keeps_mode_and_links_and_respects_read_only() {
    use std::os::unix::fs::{MetadataExt, PermissionsExt, symlink};
    let folder = folder();
    let (file, link, open) =
        (folder.path().join("file.toml"), folder.path().join("link.toml"), folder.path().join("open.toml"));
    let mode = |path: &Path| fs::metadata(path).expect("file").permissions().mode() & 0o777;
    fs::write(&file, "old").expect("written");
    fs::set_permissions(&file, fs::Permissions::from_mode(0o640)).expect("mode");
    symlink("file.toml", &link).expect("link");
    symlink("new.toml", &open).expect("link");
    let owner = fs::metadata(&file).expect("file").uid();
    save(&link, "new", None).expect("saved through the link");
    assert!(fs::symlink_metadata(&link).expect("link").is_symlink());
    assert_eq!((fs::read_to_string(&file).expect("file").as_str(), mode(&file)), ("new", 0o640));
    assert_eq!(fs::metadata(&file).expect("file").uid(), owner);
    save(&open, "new", None).expect("saved through a link to nothing");
    assert!(fs::symlink_metadata(&open).expect("link").is_symlink());
    assert_eq!(names_in(folder.path()), ["file.toml", "link.toml", "new.toml", "open.toml"]);
    // A new file has the mode any program of the user's would give it.
    fs::write(folder.path().join("plain"), "").expect("written");
    assert_eq!(mode(&open), mode(&folder.path().join("plain")));

    fs::set_permissions(&file, fs::Permissions::from_mode(0o444)).expect("mode");
    assert_eq!(save(&link, "newer", None), Err(SaveError::ReadOnly(link.clone())));
    assert_eq!(fs::read_to_string(&file).expect("file"), "new");

    fs::set_permissions(&file, fs::Permissions::from_mode(0o644)).expect("mode");
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o555)).expect("mode");
    // Root may write in any folder, so there the system's own read-only one has to serve.
    if fs::write(folder.path().join("probe"), "").is_err() {
        let refused = save(&file, "newer", None);
        assert!(matches!(refused, Err(SaveError::Folder(..))), "{refused:?}");
        assert_eq!(fs::read_to_string(&file).expect("file"), "new");
    }
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o755)).expect("mode");
    #[cfg(target_os = "linux")]
    assert!(matches!(save(Path::new("/proc/winch.toml"), "x", None), Err(SaveError::Folder(..))));
}

#[test]
fn a_save_keeps_hard_links_and_an_interrupted_one_is_completed() {
    use super::save::finish_interrupted_save;
    use std::os::unix::fs::MetadataExt;
    let folder = folder();
    let at = |name: &str| folder.path().join(name);
    let text = |name: &str| fs::read_to_string(at(name)).expect("text");
    let (old, new) = (hand_made(), hand_made().replace("Winch", "Capstan"));
    let backup = ".riff.toml.teeter-save";
    fs::write(at("riff.toml"), &old).expect("written");
    fs::create_dir(at("other")).expect("a folder");
    fs::hard_link(at("riff.toml"), at("other/riff.toml")).expect("linked");
    for next in [&new, "shorter", &new] {
        save(&at("riff.toml"), next, None).expect("saved");
        assert_eq!((text("riff.toml").as_str(), text("other/riff.toml").as_str()), (next, next));
        assert_eq!(fs::metadata(at("riff.toml")).expect("file").nlink(), 2);
        assert_eq!(names_in(folder.path()), ["other", "riff.toml"], "no backup is left");
    }
    assert_eq!(save(&at("riff.toml"), &old, Some(Stamp::of("x"))), Err(SaveError::ChangedOnDisk(at("riff.toml"))));
    // What a kill leaves: the backup, and a file that is old, new or neither.
    let interrupted = |current: &str| {
        fs::write(at("riff.toml"), current).expect("written");
        fs::write(at(backup), &new).expect("written");
        finish_interrupted_save(&at("riff.toml"))
    };
    for current in [&new, "", &new[..40], &format!("{}{}", &new[..90], &old[40..])] {
        assert_eq!(interrupted(current), None, "{current}");
        assert_eq!((text("other/riff.toml").as_str(), names_in(folder.path()).len()), (new.as_str(), 2), "{current}");
    }
    let message = interrupted(&old).expect("a message");
    assert!(message.contains(backup), "{message}");
    assert_eq!((text("riff.toml"), text(backup)), (old, new));
    fs::remove_file(at(backup)).expect("removed");
    assert_eq!(finish_interrupted_save(&at("riff.toml")), None);
    assert_eq!(finish_interrupted_save(&at("missing.toml")), None);
}

#[test]
fn files_that_are_none_are_refused_at_once() {
    let folder = folder();
    let problem = |path: &Path| load(path).expect_err("refused").problem;
    assert_eq!(problem(folder.path()), Problem::Directory);
    assert_eq!(problem(&folder.path().join("none.toml")), Problem::Missing);
    let long = folder.path().join("long.toml");
    File::create(&long).and_then(|f| f.set_len(200 << 20)).expect("a file with a hole of 200 MiB");
    assert_eq!(problem(&long), Problem::TooLarge(200 << 20));
    let bytes = folder.path().join("bytes.toml");
    fs::write(&bytes, b"format = 1\ntitle = \"\xC3\xA9\xFF\"\n").expect("written");
    let error = load(&bytes).expect_err("refused");
    let shown = format!("{}:2:11: expected UTF-8 text, found byte 0xFF", bytes.display());
    assert_eq!(error.to_string(), shown);
    #[cfg(target_os = "linux")]
    {
        assert_eq!(problem(Path::new("/dev/zero")), Problem::NotRegular);
        assert!(load(Path::new("/proc/self/mem")).is_err());
        assert!(load(Path::new("/proc/self/pagemap")).is_err());
    }
}

#[test]
fn a_groove_that_asks_for_too_much_is_refused_before_it_is_made() {
    let section = |s| format!("[[section]]\nname = \"{s}\"\nmeter = \"64/4\"\ntempo = 100\nbars = 1024\ntimes = 64\n");
    let layer = |l| format!("[[layer]]\nname = \"{l}\"\nvoice = \"kick\"\ndivision = 32\n");
    let head = "format = 1\ntitle = \"\"\n".to_owned();
    let text: String = [head].into_iter().chain((0..128).map(section)).chain((0..64).map(layer)).collect();
    assert!(matches!(parse(&text, "t").expect_err("too much").problem, Problem::Bound(_)));
    let deep = format!("format = 1\ntitle = {}1{}", "[".repeat(100_000), "]".repeat(100_000));
    assert!(matches!(parse(&deep, "t").expect_err("too deep").problem, Problem::Syntax(..)));
}

#[test]
fn a_groove_has_its_title_from_its_files_name() {
    let long = "x".repeat(300);
    let rows = [
        ("riff.toml", "riff"),
        ("songs/my riff.2.toml", "my riff.2"),
        (" a\u{7}b\n.toml", "ab"),
        (".toml", ".toml"),
        ("/", "untitled"),
        ("\u{1b}", "untitled"),
    ];
    for (path, title) in rows {
        assert_eq!(title_of(Path::new(path)), title, "{path:?}");
    }
    assert_eq!(title_of(Path::new(&long)).chars().count(), 64);
    let text = print(&read(&hand_made()).titled(&title_of(Path::new("\u{0}\\\"'é.toml")), ""));
    assert_eq!(read(&text).title(), "\\\"'é");
}

#[test]
fn names_of_kept_work_are_the_same_on_every_machine() {
    // Test vectors of FNV-1a, 64 bits (Fowler, Noll and Vo), from memory.
    for (bytes, hash) in
        [(&b""[..], 0xcbf2_9ce4_8422_2325), (b"a", 0xaf63_dc4c_8601_ec8c), (b"foobar", 0x8594_4171_f739_67e8)]
    {
        assert_eq!(super::save::hash(bytes), hash);
    }
}

/// Two sections, the second of which has a division of its own in a file of format 2.
const TWO_DIVISIONS: &str = r#"format = 2 # for the sixteenths of b
title = "Ferry"

[[section]]
name = "a"
meter = "4/4"
tempo = 90
bars = 1

[[section]]
name = "b"
meter = "7/8"
tempo = 90
bars = 1

[[layer]]
name = "rope"
voice = "pluck"

[[layer.part]]
section = "a"
cells = "x..x ..x. x... x..." # hauled

[[layer.part]]
section = "b"
division = 2 # sixteenths too
cells = "x. .x .. x. x. .x .."
"#;

#[test]
fn a_part_has_a_division_of_its_own() {
    let g = read(TWO_DIVISIONS);
    assert_eq!(g.layers()[0].divisions, [4, 2]);
    assert_eq!((g.cells(0, 0), g.cells(0, 1)), (16, 14));
    assert_eq!(update(TWO_DIVISIONS, &g), TWO_DIVISIONS);
    assert_eq!(read(&print(&g)), g);
    assert!(print(&g).starts_with("format = 2\n"));
}

#[test]
fn the_format_is_the_lowest_that_holds_the_groove() {
    let edited = |text: &str, edits: &[Edit]| {
        let g = edits.iter().fold(read(text), |g, edit| g.edited(edit).expect("an edit"));
        let written = update::edited_text(text, &g).expect("a groove's text");
        assert_eq!(read(&written), g, "{written}");
        written
    };
    let divided = |section, division| Edit::Division(0, Some(section), division);
    // Back to one division, the file is format 1 again.
    let even = TWO_DIVISIONS.replace("format = 2", "format = 1").replace("division = 2 # sixteenths too\n", "");
    let even = even.replace("x. .x .. x. x. .x ..", "x... ..x. .... x... x... ..x. ....");
    let written = edited(TWO_DIVISIONS, &[divided(1, 4)]);
    assert_eq!(written.replace("x.-", "x.."), even.replace("x.-", "x.."));
    // The first part of another division makes it format 2; the comment stays.
    let again = edited(&written, &[divided(1, 2)]);
    assert_eq!(again, TWO_DIVISIONS.replace("division = 2 # sixteenths too", "division = 2"));
    // The layer's own division stays as long as a section has it.
    let other = edited(TWO_DIVISIONS, &[divided(1, 8)]);
    assert!(other.contains("\"pluck\"\n\n") && other.contains("\ndivision = 8 # sixteenths too\n"), "{other}");
    let other = edited(TWO_DIVISIONS, &[divided(0, 8)]);
    assert!(
        other.contains("\"pluck\"\ndivision = 8\n\n") && other.contains("\ndivision = 2 # sixteenths too\n"),
        "{other}"
    );
    let other = edited(TWO_DIVISIONS, &[Edit::RemoveSection(0)]);
    assert!(other.starts_with("format = 1 # for") && other.contains("division = 2\n"), "{other}");
    // A part of rests is written for its division.
    let new = Section { name: "c".into(), ..read(&even).sections()[0].clone() };
    let rests = edited(&even, &[Edit::AddSection(2, new), divided(2, 3)]);
    assert!(rests.ends_with("[[layer.part]]\nsection = \"c\"\ndivision = 3\n"), "{rests}");
    // A division that is written again but is the layer's stays.
    let same = TWO_DIVISIONS.replace("division = 2 # sixteenths too", "division = 4 # as the layer");
    let same = same.replace("x. .x .. x. x. .x ..", "x... ..x. .... x... x... ..x. ....");
    assert_eq!(edited(&same, &[Edit::Title("Barge".into())]), same.replace("Ferry", "Barge"));
}
