//! Tests of edits that are written into a text by hand: values change, comments, order and spacing stay.

use super::*;

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
    let ghost = Cell::Attack(Attack { accent: Accent::Ghost, ..Attack::default() });
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
fn a_file_of_windows_lines_keeps_them_and_its_places() {
    let text = hand_made().replace('\n', "\r\n");
    assert_eq!(read(&text), read(&hand_made()));
    assert_eq!(update(&text, &read(&text)), text);
    let wrong = text.replace("x..x x....", "x..x xq...");
    let place = parse(&wrong, "t").expect_err("a wrong mark").position;
    assert_eq!(place, Some(TextPosition { line: 16, column: 9 }));
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
