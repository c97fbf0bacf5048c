//! Tests of the file format: round trips, numbers, titles, bounds; edits of hand-written text and saves in files of their own.

mod edits;
mod saves;

use super::*;
use crate::rhythm::random::grooves as plain_grooves;
use crate::rhythm::{
    Accent, Anchor, Attack, Cell, Edit, Fraction, GridPlace, Layer, Micros, Place, Recording, Section, Tempo, Time,
    Voice, is_hidden,
};
use proptest::prelude::*;

fn read(text: &str) -> Groove {
    parse(text, "t").unwrap_or_else(|e| panic!("{e}\n{text}")).groove
}

/// Recordings with anchors at rising places and times.
fn recordings() -> impl Strategy<Value = Recording> {
    let anchor = (0_u32..3, 0_u32..9, (0_i64..12, 1_i64..12), 1_i64..9_000_000);
    let anchors = prop::collection::vec(anchor, 0..6).prop_map(|all| {
        let place = |&(pass, bar, (n, d), _): &(u32, u32, (i64, i64), i64)| GridPlace {
            pass,
            bar,
            beat: Fraction::new(n, d).expect("a number"),
        };
        let mut places: Vec<GridPlace> = all.iter().map(place).collect();
        places.sort_unstable();
        places.dedup();
        let times = all.iter().scan(0, |sum, a| {
            *sum += a.3;
            Some(Micros(*sum))
        });
        places.into_iter().zip(times).map(|(place, at)| Anchor { place, at }).collect()
    });
    ("[a-z ü./\"]{1,12}", prop::option::of("[0-9a-f]{64}"), anchors).prop_map(
        |(file, fingerprint, anchors): (_, _, Vec<Anchor>)| Recording::new(&file, fingerprint).with_anchors(anchors),
    )
}

/// Random grooves, some with a sound file, an accent depth and a recording.
fn grooves() -> impl Strategy<Value = Groove> {
    (voiced_grooves(), prop::option::of(recordings()))
        .prop_map(|(groove, recording)| groove.with_recording(recording).expect("a valid recording"))
}

fn voiced_grooves() -> impl Strategy<Value = Groove> {
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

/// The text with its last layer before its sections, a comment above every table and one behind every bar count and voice.
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

fn at(layer: usize, cell: usize) -> Place {
    Place { layer, section: 0, cell }
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
