//! Tests of the difference of two grooves, which are read from their files' text.

use super::*;
use crate::store::parse;

const WINCH: &str = "format = 1\ntitle = \"Winch\"\n[[section]]\nname = \"A\"\nmeter = \"4/4\"\ntempo = 90\nbars = 1\n\
    [[layer]]\nname = \"rope\"\nvoice = \"pluck\"\n[[layer.part]]\nsection = \"A\"\ncells = \"x--x --x- x--x --x-\"\n";

fn differences(from: &str, to: &str) -> Vec<String> {
    let groove = |text: &str| parse(text, "test").expect("a groove").groove;
    difference(&groove(WINCH), &groove(&WINCH.replace(from, to)))
}

#[test]
fn groups_settings_and_accents_are_compared() {
    assert!(differences("", "").is_empty());
    let rows: [(&str, &str, &[&str]); 5] = [
        (
            "x--x --x- x--x --x-",
            "x--x --x- x--- x---",
            &["- rope, section A: 2(3+3+2)", "+ rope, section A: 3+3+2+4+4"],
        ),
        (
            "x--x --x- x--x",
            "X--x --x- x--x",
            &["- rope, section A: x--x --x- x--x --x-", "+ rope, section A: X--x --x- x--x --x-"],
        ),
        ("tempo = 90", "tempo = 91", &["- section A: 4/4, 1/4 = 90, 1 bar", "+ section A: 4/4, 1/4 = 91, 1 bar"]),
        (
            "voice = \"pluck\"",
            "voice = \"bass\"\npan = 9",
            &["- layer rope: pluck, division 4", "+ layer rope: bass, division 4, pan 9"],
        ),
        (
            "name = \"rope\"",
            "name = \"line\"",
            &[
                "+ layer line: pluck, division 4",
                "+ line, section A: 2(3+3+2)",
                "- layer rope: pluck, division 4",
                "- rope, section A: 2(3+3+2)",
            ],
        ),
    ];
    for (from, to, lines) in rows {
        assert_eq!(differences(from, to), lines, "{to}");
    }
}

#[test]
fn divisions_that_differ_name_their_sections() {
    let two = WINCH.replace("[[layer]]", "[[section]]\nname = \"B\"\nmeter = \"7/8\"\ntempo = 90\nbars = 1\n[[layer]]");
    let divided = two.replace("format = 1", "format = 2") + "[[layer.part]]\nsection = \"B\"\ndivision = 2\n";
    let groove = |text: &str| parse(text, "test").expect("a groove").groove;
    assert_eq!(
        difference(&groove(&two), &groove(&divided)),
        [
            "- layer rope: pluck, division 4",
            "+ layer rope: pluck, division 4 in A and 2 in B",
            "- rope, section B: .... .... .... .... .... .... ....",
            "+ rope, section B: .. .. .. .. .. .. ..",
        ]
    );
}
