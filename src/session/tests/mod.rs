//! Tests of entering, selecting and moving, and the helpers of the other tests.

mod clipboard;
mod documents;
mod loop_region;
mod meaning;
mod messages;
mod random;

use super::{
    Choice, Command, DocumentId, Keep, Motion, Outcome, Overflow, PasteContent, PasteInCycle, Repeats, Sections,
    Session,
};
use crate::rhythm::{
    Accent, Fraction, Groove, Layer, LengthScale, Meter, PartContext, Pitch, Place, Section, Swing, Tempo, Time, Voice,
    cell_notation,
};

fn section(name: &str, meter: &str, bars: u16) -> Section {
    let tempo = Tempo::new(Fraction::whole(150), Time::new(1, 4).expect("quarter")).expect("tempo");
    Section { name: name.into(), meter: Meter::parse(meter).expect("meter"), tempo, bars, times: 1, swing: None }
}

/// One layer at four cells per beat; ` / ` separates sections of one bar of 2/4.
fn groove(cells: &str) -> Groove {
    let drawn: Vec<&str> = cells.split(" / ").map(str::trim).collect();
    let sections: Vec<Section> = drawn.iter().enumerate().map(|(i, _)| section(&format!("S{i}"), "2/4", 1)).collect();
    let parts =
        drawn.iter().zip(&sections).map(|(d, s)| cell_notation::parse_bars(d, &s.meter, 1, 4).expect("drawing"));
    let layer = Layer::new("riff", Voice::Pluck, 4, parts.collect());
    Groove::new("t", "", sections, vec![layer]).expect("groove")
}

fn drawn(groove: &Groove) -> String {
    let layer = &groove.layers()[0];
    let parts = groove
        .sections()
        .iter()
        .zip(&layer.parts)
        .zip(&layer.divisions)
        .map(|((s, p), d)| cell_notation::print_part(p, &s.meter, *d));
    parts.collect::<Vec<_>>().join(" / ")
}

fn check(before: &str, commands: impl AsRef<[Command]>, after: &str) {
    let commands = commands.as_ref();
    let mut session = Session::new(groove(before));
    for command in commands {
        session.apply(command.clone());
    }
    assert_eq!(drawn(session.groove()), after, "{before} {commands:?}");
    let changed = session.groove().clone();
    while !matches!(session.clone().apply(Command::Undo), Outcome::Error(_)) {
        session.apply(Command::Undo);
    }
    assert_eq!(**session.groove(), groove(before), "undone: {commands:?}");
    while !matches!(session.clone().apply(Command::Redo), Outcome::Error(_)) {
        session.apply(Command::Redo);
    }
    assert_eq!(*session.groove(), changed, "redone: {commands:?}");
}

use Command::{
    AccentBy, Attack, Copy, Cut, CycleAccent, DeletePrevious, EnterGroup, EnterGroups, Erase, Extend, Hold, Move,
    Repeat, Rest, Rotate, SelectBar, Shift, Toggle, ToggleFlam, Tuplet,
};
use Motion::{BeatRight, Left, NextAttack, PreviousAttack, Right, SectionEnd};

const PASTE: Command = Command::Paste(PasteContent::All, PasteInCycle::Ask);
const BLANK: &str = ".... ....";

#[test]
fn entering() {
    check(BLANK, [EnterGroup(3), EnterGroup(3), EnterGroup(2)], "x--x --x-");
    check(BLANK, [EnterGroups(vec![3, 3, 2], Overflow::Ask)], "x--x --x-");
    // A group is cut at the end of the groove, and no further group is entered.
    check(BLANK, [EnterGroup(5), EnterGroup(5), EnterGroup(1)], "x--- -x--");
    // A group continues in the next section.
    check(".... .... / .... ....", [EnterGroup(5), EnterGroup(5), EnterGroup(2)], "x--- -x-- / --x- ....");
    check("x.x. x.x.", [EnterGroup(2), EnterGroup(1)], "x-x. x.x.");
    check("x--- x...", [Move(Right), Attack(Accent::Ghost), Attack(Accent::Accent), Hold, Rest], "xoX- ....");
    check("x--- ....", [Move(Right), Move(Right), Rest], "x-.. ....");
    check(BLANK, [Toggle, Move(Right), Move(Right), Toggle, Toggle], "x... ....");
    check(BLANK, [EnterGroup(3), EnterGroup(3), DeletePrevious], "x--. ....");
    check(BLANK, [EnterGroup(4), EnterGroup(4), DeletePrevious, DeletePrevious], BLANK);
}

#[test]
fn the_message_at_the_end_of_the_groove_names_the_next_command() {
    let mut session = Session::new(groove(BLANK));
    session.apply(EnterGroup(8));
    assert!(session.cursor().past_end);
    let Outcome::Error(words) = session.apply(EnterGroup(3)) else { panic!("refused") };
    assert!(words.contains("add a bar"), "{words}");
    session.apply(Command::BarsBy(1));
    session.apply(EnterGroup(3));
    assert_eq!(drawn(session.groove()), "x--- ---- | x--. ....");
}

#[test]
fn selecting() {
    check("x.xx x...", [Extend(Right), Extend(Right), Erase], "...x x...");
    check("x.xx x...", [Extend(Right), CycleAccent, Extend(Right), CycleAccent], "o.ox x...");
    check("xo.. ....", [AccentBy(1)], "So.. ....");
    check("xo.. S...", [Extend(BeatRight), AccentBy(1), AccentBy(1)], "Xx.. X...");
    check("xo.. ....", [AccentBy(-1), AccentBy(-1), AccentBy(-1)], "oo.. ....");
    check("xo.. ....", [ToggleFlam], "/xo.. ....");
    check("x/o.. ....", [Extend(Right), ToggleFlam, AccentBy(1)], "/S/s.. ....");
    check("/xo.. ....", [Extend(Right), ToggleFlam], "xo.. ....");
    check(".... ....", [ToggleFlam, AccentBy(1)], ".... ....");
    check("x.xo ....", [Extend(Right), Copy, Move(BeatRight), PASTE, PASTE], "x.xo x.x.");
    check("x.xo ....", [Extend(BeatRight), Extend(Left), Cut, Move(BeatRight), PASTE], ".... x.xo");
    check("xo.. ....", [Extend(Right), Repeat(Repeats::More(2))], "xoxo xo..");
    check("xo.. ....", [Extend(Right), Repeat(Repeats::More(9))], "xoxo xoxo");
    check("xo.. ...X", [Rotate(1)], "Xxo. ....");
    check("xo.. ...X", [Shift(1)], ".xo. ....");
    check("xo.. ...X", [Shift(-1)], "o... ..X.");
    check("xo.. ...X", [SelectBar, Rotate(-1)], "o... ..Xx");
    // A selection stays within its section.
    check("xo.. .... / x... ....", [Extend(SectionEnd), Extend(Right), Erase], ".... .... / x... ....");
}

#[test]
fn tuplets_and_motions() {
    check("x... ....", [Tuplet { cells: 5, beats: 1 }, Move(Right), Attack(Accent::Plain)], "{5: xx...} ....");
    check("x... ....", [Tuplet { cells: 7, beats: 2 }, Command::EvenBeat], "x... ....");
    check("x..x ....", [Move(NextAttack), Toggle, Move(PreviousAttack), EnterGroup(2)], "x-.. ....");
    check(".... .... / .... ....", [Move(BeatRight), Move(BeatRight), Toggle], ".... .... / x... ....");
    check(".... .... / .... ....", [Move(Motion::NextSection), Move(Left), Toggle], ".... ...x / .... ....");
    check(
        ".... .... / .... ....",
        vec![Move(Motion::GrooveEnd), Move(Motion::BarLeft), Toggle],
        ".... .... / x... ....",
    );
}

#[test]
fn motions_between_layers_keep_the_time() {
    let mut session = Session::new(groove(".... ...."));
    session.apply(Command::AddLayer("low".into(), Voice::Kick));
    session.apply(Command::Division(3, Sections::Current, Keep::NoteValues));
    session.apply(Move(Motion::Up));
    for _ in 0..6 {
        session.apply(Move(Right));
    }
    // The seventh sixteenth (1.5 beats) falls in the fifth triplet (from 1.33 beats on); moving back returns to it.
    session.apply(Move(Motion::Down));
    assert_eq!(session.cursor().place, Place { layer: 1, section: 0, cell: 4 });
    session.apply(Move(Motion::Up));
    assert_eq!(session.cursor().place, Place { layer: 0, section: 0, cell: 6 });
}

#[test]
fn layers_and_sections() {
    let mut session = Session::new(groove("x... ...."));
    session.apply(Command::CopyLayer);
    assert_eq!(session.groove().layers()[1].name, "riff 2");
    assert_eq!(session.groove().layers()[1].parts, session.groove().layers()[0].parts);
    session.apply(Command::RemoveLayer);
    session.apply(Command::RemoveLayer);
    assert!(session.groove().layers().is_empty());
    assert!(matches!(session.apply(EnterGroup(3)), Outcome::NoLayer));
    assert!(matches!(session.apply(Copy), Outcome::Error(_)));
    session.apply(Command::AddLayer("low".into(), Voice::Kick));
    session.apply(EnterGroup(2));
    session.apply(Command::AddSection(None, None));
    assert_eq!(session.groove().sections()[1].name, "A");
    assert_eq!(session.cursor().place.section, 1);
    session.apply(Command::MoveSection(-1));
    assert_eq!(session.groove().sections()[0].name, "A");
    assert!(matches!(session.apply(Command::RenameSection("S0".into())), Outcome::Error(_)));
}

#[test]
fn pitches_are_inherited_and_transposed() {
    let mut session = Session::new(groove(BLANK));
    session.apply(EnterGroup(3));
    session.apply(Move(Left));
    assert!(matches!(session.apply(Command::Pitch(Pitch::parse("E2"))), Outcome::Changed(_)));
    session.apply(Move(Right));
    session.apply(EnterGroup(2));
    session.apply(Command::SelectSection);
    session.apply(Command::Transpose(-12));
    let pitches: Vec<String> =
        session.groove().events(0).iter().map(|e| e.attack.pitch.expect("pitched").to_string()).collect();
    assert_eq!(pitches, ["E1", "E1"]);
}

#[test]
fn pitches_are_entered_in_a_row() {
    let mut session = Session::new(groove("x-x. .x.."));
    for name in ["E2", "F2", "G2"] {
        session.apply(Command::Pitch(Pitch::parse(name)));
    }
    let pitches: Vec<String> =
        session.groove().events(0).iter().map(|e| e.attack.pitch.expect("pitched").to_string()).collect();
    assert_eq!((pitches.join(" ").as_str(), session.cursor().place.cell), ("E2 F2 G2", 5));
    // With a selection the cursor stays.
    session.apply(Move(Motion::SectionStart));
    session.apply(Extend(Right));
    session.apply(Command::Pitch(Pitch::parse("A2")));
    assert_eq!(session.cursor().place.cell, 1);
}

/// Undoes all steps; returns their number.
fn undo_all(session: &mut Session) -> usize {
    let mut count = 0;
    while matches!(session.apply(Command::Undo), Outcome::Changed(_)) {
        count += 1;
    }
    count
}

#[test]
fn undo_keeps_64_mb_and_says_once_when_the_oldest_steps_go() {
    const MAX_BYTES: usize = 64 << 20;
    // The longest layer: every edit of a cell is a new copy of all of its cells and beats.
    let long = section("A", "4/4", 1024);
    let context = PartContext { meter: &long.meter, bars: 1024, division: 16, swing: None };
    let layers = vec![Layer::new("riff", Voice::Pluck, 16, vec![crate::rhythm::Part::rests(context)])];
    let mut session = Session::new(Groove::new("t", "", vec![long.clone()], layers).expect("groove"));
    let fit = MAX_BYTES / (65_536 * size_of::<crate::rhythm::Cell>() + 4096 * size_of::<crate::rhythm::Span>());
    let mut notices = Vec::new();
    for n in 0..fit + 30 {
        let outcome = session.apply(Toggle);
        let Outcome::Changed(message) = outcome else { panic!("{outcome:?}") };
        notices.extend(message.filter(|m| m.contains("oldest steps are dropped")).map(|_| n));
        assert!(session.history().past_bytes() <= MAX_BYTES);
    }
    assert!(matches!(notices[..], [n] if (fit - 5..=fit).contains(&n)), "{notices:?} of {fit}");
    let undone = undo_all(&mut session);
    assert!((fit - 5..=fit).contains(&undone), "{undone} of {fit}");
    assert_eq!(session.history().past_bytes(), 0);
    // What is undone can be redone, and counts again.
    for _ in 0..undone {
        session.apply(Command::Redo);
    }
    assert!((MAX_BYTES - (2 << 20)..=MAX_BYTES).contains(&session.history().past_bytes()));
    // Steps that share their cells cost little: all of them are kept.
    let mut session = Session::new(groove(BLANK));
    let count = 2000;
    (0..count).for_each(|n| drop(session.apply(Command::Gain((n % 50) as i8 - 60))));
    assert!(session.history().past_bytes() < 4 << 20, "{}", session.history().past_bytes());
    assert_eq!(undo_all(&mut session), count);
}
