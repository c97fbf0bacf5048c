//! Tests of the room: commands typed in a row, and what undo gives back.

use super::{Command, Motion, Outcome, Session};
use crate::rhythm::{Accent, Groove, Layer, Meter, Pitch, Place, Section, Swing, Tempo, Time, Voice, cell_notation};
use crate::rhythm::{Fraction, PartContext};
use crate::session::DocumentId;
use proptest::prelude::*;

fn section(name: &str, meter: &str, bars: u16) -> Section {
    let tempo = Tempo::new(Fraction::whole(150), Time::new(1, 4).expect("quarter")).expect("tempo");
    Section { name: name.into(), meter: Meter::parse(meter).expect("meter"), tempo, bars, times: 1, swing: None }
}

/// One layer of quarters of the beat; sections of one bar of 2/4 told apart by `/`.
fn groove(pictures: &str) -> Groove {
    let drawn: Vec<&str> = pictures.split('/').map(str::trim).collect();
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
        .map(|(s, p)| cell_notation::print_part(p, &s.meter, layer.division, true));
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
    Attack, Copy, Cut, CycleAccent, Erase, Extend, Hold, Lay, LayLine, Move, Paste, Repeat, Rest, Rotate, SelectBar,
    Shift, TakeBack, Toggle, Tuplet,
};
use Motion::{BeatRight, Left, NextAttack, PreviousAttack, Right, SectionEnd};

const BLANK: &str = ".... ....";

#[test]
fn laying() {
    check(BLANK, [Lay(3), Lay(3), Lay(2)], "x--x --x-");
    check(BLANK, [LayLine(vec![3, 3, 2])], "x--x --x-");
    // What is too long is cut at the end of the groove; a further lay is refused.
    check(BLANK, [Lay(5), Lay(5), Lay(1)], "x--- -x--");
    // A group goes on sounding in the next section.
    check(".... .... / .... ....", [Lay(5), Lay(5), Lay(2)], "x--- -x-- / --x- ....");
    check("x.x. x.x.", [Lay(2), Lay(1)], "x-x. x.x.");
    check("x--- x...", [Move(Right), Attack(Accent::Ghost), Attack(Accent::Accent), Hold, Rest], "xoX- ....");
    check("x--- ....", [Move(Right), Move(Right), Rest], "x-.. ....");
    check(BLANK, [Toggle, Move(Right), Move(Right), Toggle, Toggle], "x... ....");
    check(BLANK, [Lay(3), Lay(3), TakeBack], "x--. ....");
    check(BLANK, [Lay(4), Lay(4), TakeBack, TakeBack], BLANK);
}

#[test]
fn a_full_groove_says_how_to_go_on() {
    let mut session = Session::new(groove(BLANK));
    session.apply(Lay(8));
    assert!(session.cursor().past_end);
    let Outcome::Error(words) = session.apply(Lay(3)) else { panic!("refused") };
    assert!(words.contains("add a bar"), "{words}");
    session.apply(Command::BarsBy(1));
    session.apply(Lay(3));
    assert_eq!(drawn(session.groove()), "x--- ---- | x--. ....");
}

#[test]
fn selecting() {
    check("x.xx x...", [Extend(Right), Extend(Right), Erase], "...x x...");
    check("x.xx x...", [Extend(Right), CycleAccent, Extend(Right), CycleAccent], "o.ox x...");
    check("x.xo ....", [Extend(Right), Copy, Move(BeatRight), Paste, Paste], "x.xo x.x.");
    check("x.xo ....", [Extend(BeatRight), Extend(Left), Cut, Move(BeatRight), Paste], ".... x.xo");
    check("xo.. ....", [Extend(Right), Repeat(2)], "xoxo xo..");
    check("xo.. ....", [Extend(Right), Repeat(9)], "xoxo xoxo");
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
    check("x..x ....", [Move(NextAttack), Toggle, Move(PreviousAttack), Lay(2)], "x-.. ....");
    check(".... .... / .... ....", [Move(BeatRight), Move(BeatRight), Toggle], ".... .... / x... ....");
    check(".... .... / .... ....", [Move(Motion::NextSection), Move(Left), Toggle], ".... ...x / .... ....");
    check(
        ".... .... / .... ....",
        vec![Move(Motion::GrooveEnd), Move(Motion::BarLeft), Toggle],
        ".... .... / x... ....",
    );
}

#[test]
fn going_between_layers_keeps_the_time() {
    let mut session = Session::new(groove(".... ...."));
    session.apply(Command::AddLayer("low".into(), Voice::Kick));
    session.apply(Command::Division(3));
    session.apply(Move(Motion::Up));
    for _ in 0..6 {
        session.apply(Move(Right));
    }
    // The seventh sixteenth (1.5 beats) falls in the fifth triplet (from 1.33 beats on), and is come back to.
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
    assert!(matches!(session.apply(Lay(3)), Outcome::NoLayer));
    assert!(matches!(session.apply(Copy), Outcome::Error(_)));
    session.apply(Command::AddLayer("low".into(), Voice::Kick));
    session.apply(Lay(2));
    session.apply(Command::AddSection(None, None));
    assert_eq!(session.groove().sections()[1].name, "A");
    assert_eq!(session.cursor().place.section, 1);
    session.apply(Command::MoveSection(-1));
    assert_eq!(session.groove().sections()[0].name, "A");
    assert!(matches!(session.apply(Command::RenameSection("S0".into())), Outcome::Error(_)));
}

#[test]
fn pitches_go_on_and_move() {
    let mut session = Session::new(groove(BLANK));
    session.apply(Lay(3));
    session.apply(Move(Left));
    assert!(matches!(session.apply(Command::Pitch(Pitch::parse("E2"))), Outcome::Changed(_)));
    session.apply(Move(Right));
    session.apply(Lay(2));
    session.apply(Command::SelectSection);
    session.apply(Command::Transpose(-12));
    let pitches: Vec<String> =
        session.groove().events(0).iter().map(|e| e.attack.pitch.expect("pitched").to_string()).collect();
    assert_eq!(pitches, ["E1", "E1"]);
}

#[test]
fn pitches_are_given_in_a_row() {
    let mut session = Session::new(groove("x-x. .x.."));
    for name in ["E2", "F2", "G2"] {
        session.apply(Command::Pitch(Pitch::parse(name)));
    }
    let pitches: Vec<String> =
        session.groove().events(0).iter().map(|e| e.attack.pitch.expect("pitched").to_string()).collect();
    assert_eq!((pitches.join(" ").as_str(), session.cursor().place.cell), ("E2 F2 G2", 5));
    // A selection is given one pitch, and the cursor stays.
    session.apply(Move(Motion::SectionStart));
    session.apply(Extend(Right));
    session.apply(Command::Pitch(Pitch::parse("A2")));
    assert_eq!(session.cursor().place.cell, 1);
}

#[test]
fn a_new_division_tells_what_it_did() {
    let says = |before: &str, cells| match Session::new(groove(before)).apply(Command::Division(cells)) {
        Outcome::Changed(Some(words)) => words,
        other => panic!("{other:?}"),
    };
    assert_eq!(says("x.x. x.x.", 2), "riff: 2 cells per beat, cell = 1/8; no attack moved");
    assert_eq!(says("x.x. ...x", 8), "riff: 8 cells per beat, cell = 1/32; no attack moved");
    // Of four quarters of a beat, one cell holds one attack; the fourth quarter goes back to the beat's half.
    assert_eq!(
        says("xxxx .... / ...x ....", 1),
        "riff: 1 cell per beat in all sections, cell = 1/4; 1 attack moved, 3 lost"
    );
    assert_eq!(says("x..x ....", 2), "riff: 2 cells per beat, cell = 1/8; 1 attack moved");
    assert_eq!(says("xx.. ....", 1), "riff: 1 cell per beat, cell = 1/4; 1 attack lost");
    assert_eq!(Session::new(groove("x... ....")).apply(Command::Division(4)), Outcome::Unchanged);
}

#[test]
fn a_cycle_tells_what_it_replaced() {
    let says = |before: &str, command| match Session::new(groove(before)).apply(command) {
        Outcome::Changed(Some(words)) => words,
        other => panic!("{other:?}"),
    };
    let cycle = |cells| Command::Cycle(Some(cells));
    // Three cells go round as x..x..x. : an attack on the fifth or the last cell is gone, that on the seventh is the cycle's own again.
    assert_eq!(says("x..x .xx.", cycle(3)), "riff: cycle of 3 cells; 1 attack replaced");
    assert_eq!(says("x..x .xxx", cycle(3)), "riff: cycle of 3 cells; 2 attacks replaced");
    assert_eq!(says("x... ....", cycle(4)), "riff: cycle of 4 cells");
    let mut session = Session::new(groove("x... ...."));
    session.apply(cycle(3));
    let off = session.apply(Command::Cycle(None));
    assert_eq!(off, Outcome::Changed(Some("riff: cycle written out".into())));
}

#[test]
fn what_makes_a_groove_shorter_tells_how_many_attacks_went() {
    let says = |before: &str, command| match Session::new(groove(before)).apply(command) {
        Outcome::Changed(Some(words)) => words,
        other => panic!("{other:?}"),
    };
    let meter = |text| Command::Meter(Meter::parse(text).expect("meter"));
    assert_eq!(says("x.x. x.xx", meter("1/4")), "1/4: beat = 1/4, cell of riff = 1/16; 3 attacks lost");
    assert_eq!(says("x.x. ....", meter("1/4")), "1/4: beat = 1/4, cell of riff = 1/16");
    assert_eq!(says("x.x. ...x", meter("3/8")), "3/8: beat = 1/8, cell of riff = 1/32");
    assert_eq!(says("x.x. ...x / x...  ...x", Command::RemoveSection), "section 'S0' removed; 3 attacks lost");
    assert_eq!(says(".... .... / x...  ...x", Command::RemoveSection), "section 'S0' removed");
    assert_eq!(says("x.x. ...x", Command::RemoveLayer), "layer 'riff' removed; 3 attacks lost");
    assert_eq!(says("x.x. ...x", Command::Bars(3)), "section 'S0': 3 bars");
    let mut session = Session::new(groove("x.x. ...x"));
    session.apply(Command::Bars(2));
    session.apply(Move(Motion::BarRight));
    session.apply(Lay(3));
    let words = "section 'S0': 1 bar; 1 attack lost";
    assert_eq!(session.apply(Command::BarsBy(-1)), Outcome::Changed(Some(words.into())));
}

#[test]
fn cells_without_attacks_stay_sixteenths_under_another_beat() {
    let mut session = Session::new(groove(".... ...."));
    let mut meter = |text| {
        let outcome = session.apply(Command::Meter(Meter::parse(text).expect("meter")));
        let Outcome::Changed(Some(words)) = outcome else { panic!("{outcome:?}") };
        assert!(words.contains(", cell of riff = 1/16"), "{words}");
        session.groove().layers()[0].division
    };
    assert_eq!([meter("2+2+3/8"), meter("6/8"), meter("2/2"), meter("4/4")], [2, 6, 8, 4]);
    // Where the beat has no whole number of them, or another length was chosen, the division stays.
    let division = |before: &str, first, text| {
        let mut session = Session::new(groove(before));
        session.apply(Command::Division(first));
        session.apply(Command::Meter(Meter::parse(text).expect("meter")));
        session.groove().layers()[0].division
    };
    assert_eq!(division(".... ....", 4, "5/32"), 4);
    assert_eq!(division(".... ....", 3, "3/8"), 3);
    // Attacks anywhere, or another section with another beat, need it as it is.
    assert_eq!(division("x... ....", 4, "3/8"), 4);
    assert_eq!(division(".... .... / .... ....", 4, "3/8"), 4);
}

#[test]
fn a_new_section_may_have_a_meter_of_its_own() {
    let mut session = Session::new(groove("x... ...."));
    let meter = Meter::parse("3/8").expect("meter");
    let words = "3/8: beat = 1/8, cell of riff = 1/32";
    assert_eq!(session.apply(Command::AddSection(None, Some(meter.clone()))), Outcome::Changed(Some(words.into())));
    assert_eq!((&session.groove().sections()[1].meter, session.cursor().place.section), (&meter, 1));
    assert_eq!(session.apply(Command::AddSection(Some("end".into()), None)), Outcome::Changed(None));
    assert_eq!(session.groove().sections()[2].meter, meter);
}

#[test]
fn pasting_tells_where_cells_have_another_length() {
    let pasted = |before: &str, commands: &[Command]| {
        let mut session = Session::new(groove(before));
        session.apply(SelectBar);
        session.apply(Copy);
        session.apply(Command::Deselect);
        for command in commands {
            session.apply(command.clone());
        }
        match session.apply(Paste) {
            Outcome::Changed(words) => words.unwrap_or_default(),
            other => panic!("{other:?}"),
        }
    };
    let drawing = "x..x ..x. / .... ....";
    let next = Move(Motion::NextSection);
    assert_eq!(pasted(drawing, std::slice::from_ref(&next)), "");
    let shorter = pasted(drawing, &[next.clone(), Command::Meter(Meter::parse("2/8").expect("meter"))]);
    assert_eq!(shorter, "pasted cell by cell; cells are shorter here");
    let longer = pasted(drawing, &[next.clone(), Command::Division(3)]);
    assert_eq!(longer, "pasted cell by cell; cells are longer here; cut at the end of the section");
    let some = pasted(drawing, &[next, Tuplet { cells: 3, beats: 1 }]);
    assert_eq!(some, "pasted cell by cell; some cells differ in length here; cut at the end of the section");
}

#[test]
fn saved_is_known_by_content() {
    let mut session = Session::new(groove(BLANK));
    assert!(!session.is_changed());
    session.apply(Toggle);
    assert!(session.is_changed());
    session.apply(Toggle);
    assert!(!session.is_changed());
    session.apply(Toggle);
    session.set_saved(DocumentId(0), session.groove().clone());
    assert!(!session.is_changed());
    session.apply(Command::Undo);
    assert!(session.is_changed());
}

#[test]
fn a_replacing_groove_is_a_document_of_its_own() {
    let mut session = Session::new(groove(BLANK));
    session.apply(Toggle);
    session.replace(groove("x... x..."), "import".into());
    assert_eq!((session.document().0, session.is_changed()), (1, true));
    session.set_saved(DocumentId(1), session.groove().clone());
    assert!(!session.is_changed());
    // Each document is compared with what was saved of it.
    session.apply(Command::Undo);
    assert_eq!((session.document().0, session.is_changed()), (0, true));
    session.apply(Command::Undo);
    assert_eq!((session.document().0, session.is_changed()), (0, false));
    session.apply(Command::Redo);
    session.apply(Command::Redo);
    assert_eq!((session.document().0, session.is_changed()), (1, false));
    // The number of one that was undone and forgotten is not given again; the same groove is no new document.
    session.apply(Command::Undo);
    session.apply(Command::Lay(2));
    session.replace(groove("x... x..."), "import".into());
    assert_eq!((session.document().0, session.is_changed()), (2, true));
    session.replace(groove("x... x..."), "import".into());
    assert_eq!(session.document().0, 2);
}

fn motion() -> impl Strategy<Value = Motion> {
    use Motion as M;
    prop_oneof![
        prop::sample::select(vec![
            M::Left,
            M::Right,
            M::Up,
            M::Down,
            M::BeatLeft,
            M::BeatRight,
            M::BarLeft,
            M::BarRight,
            M::NextAttack,
            M::PreviousAttack,
            M::SectionStart,
            M::SectionEnd,
            M::GrooveStart,
            M::GrooveEnd,
            M::NextSection,
            M::PreviousSection,
        ]),
        (0_usize..5, 0_usize..5, 0_usize..200).prop_map(|(layer, section, cell)| M::To(Place { layer, section, cell })),
    ]
}

/// Any command at all, sensible or not.
pub(crate) fn command() -> impl Strategy<Value = Command> {
    use Command as C;
    let plain = prop::sample::select(vec![
        C::SelectBar,
        C::SelectSection,
        C::SelectAllLayers,
        C::Deselect,
        C::Toggle,
        C::Hold,
        C::Rest,
        C::Erase,
        C::TakeBack,
        C::CycleAccent,
        C::EvenBeat,
        C::Copy,
        C::Cut,
        C::Paste,
        C::RemoveLayer,
        C::CopyLayer,
        C::Mute,
        C::Solo,
        C::CopySection,
        C::RemoveSection,
        C::AddSection(None, None),
        C::Undo,
        C::Redo,
        C::Attack(Accent::Ghost),
        C::Attack(Accent::Accent),
        C::Pitch(None),
        C::Cycle(None),
    ]);
    let numbers = (0_usize..13, -13_i32..14).prop_flat_map(|(n, by)| {
        prop::sample::select(vec![
            C::Lay(n * 3),
            C::LayLine(vec![n as u32, 3, 2]),
            C::Tuplet { cells: n, beats: (by.unsigned_abs() as usize) % 4 },
            C::Repeat(n),
            C::Rotate(by),
            C::Shift(by),
            C::Transpose(by),
            C::MoveLayer(by),
            C::MoveSection(by),
            C::NextVoice(by),
            C::Division(n as u16),
            C::Cycle(Some(n * 2)),
            C::GainBy(by as i8),
            C::SoundFile(Some("k.wav".repeat(n * 6))),
            C::AccentDepth(Some(n as u8 * 2)),
            C::Pan(by as i8 * 9),
            C::TempoBy(by * 20),
            C::Bars(n as u16),
            C::BarsBy(by),
            C::Times(n as u16),
            C::Pitch(Pitch::new(n as u8 * 11)),
            C::Swing(Swing::new(n as u8, 2).ok()),
            C::LayerSwing(Swing::new(2, n as u8).ok()),
        ])
    });
    let texts =
        (prop::sample::select(vec!["", "low", "A", "riff", "a name"]), 0_usize..12).prop_flat_map(|(name, v)| {
            prop::sample::select(vec![
                C::AddLayer(name.into(), Voice::ALL[v]),
                C::RenameLayer(name.into()),
                C::RenameSection(name.into()),
                C::AddSection(Some(name.into()), None),
                C::Title(name.into()),
                C::Note(name.into()),
                C::Voice(Voice::ALL[v]),
                C::Meter(Meter::parse(["4/4", "6/8", "3+2+2/8", "13/16"][v % 4]).expect("meter")),
            ])
        });
    prop_oneof![
        3 => plain,
        3 => numbers,
        1 => texts,
        2 => motion().prop_map(C::Move),
        2 => motion().prop_map(C::Extend),
    ]
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(256))]

    #[test]
    fn undo_and_redo_are_exact(commands in prop::collection::vec(command(), 1..60)) {
        let first = groove("x..x ..x. / X-.. o...");
        let mut session = Session::new(first.clone());
        let mut revision = session.revision();
        for command in commands {
            let before = session.groove().clone();
            let outcome = session.apply(command.clone());
            // The cursor is on a cell that is there.
            let (g, at) = (session.groove(), session.cursor().place);
            prop_assert!(at.section < g.sections().len());
            if !g.layers().is_empty() {
                prop_assert!(at.layer < g.layers().len());
                prop_assert!(at.cell < g.cells(at.layer, at.section));
            }
            // A new groove has a new revision, a refusal changes nothing.
            prop_assert_eq!(session.revision() > revision, !std::sync::Arc::ptr_eq(&before, g), "{:?}", &command);
            if matches!(outcome, Outcome::Error(_)) {
                prop_assert_eq!(&before, g);
            }
            revision = session.revision();
        }
        // What was redone last is the end; from there everything is undone and redone.
        while !session.history().is_empty() {
            session.apply(Command::Undo);
        }
        prop_assert_eq!(&**session.groove(), &first);
        let mut seen = vec![session.groove().clone()];
        while session.history().redo_label().is_some() {
            session.apply(Command::Redo);
            seen.push(session.groove().clone());
        }
        for groove in seen.iter().rev() {
            prop_assert_eq!(session.groove(), groove);
            session.apply(Command::Undo);
        }
    }

    #[test]
    fn what_is_laid_stands_there(groups in prop::collection::vec(1_u32..9, 1..12)) {
        let sum: u32 = groups.iter().sum();
        let meter = Meter::parse("4/4").expect("meter");
        let tempo = section("A", "4/4", 1).tempo;
        let mut session = Session::new(Groove::blank(meter, tempo, (sum / 16 + 1) as u16).expect("groove"));
        for n in &groups {
            session.apply(Command::Lay(*n as usize));
        }
        // One by one against the definition: each attack stands where the groups before it end, with holds after it.
        let want: String = groups.iter().flat_map(|n| std::iter::once('x').chain((1..*n).map(|_| '-'))).collect();
        let g = session.groove();
        let context: PartContext<'_> = g.context(0, 0);
        let cells: String = (0..g.part(0, 0).len(context)).map(|c| cell_notation::mark(g.part(0, 0).cell(c))).collect();
        prop_assert_eq!(cells.trim_end_matches('.'), want);
        prop_assert_eq!(session.cursor().place.cell, sum as usize);
    }
}
