//! Tests of the loop region: its marks, and how edits move them.

use super::*;
use crate::session::{LoopRegion, Mark};

/// Sections S0, S1 and S2 with 4, 2 and 3 bars of 2/4.
fn session() -> Session {
    let sections: Vec<Section> =
        [4, 2, 3].iter().enumerate().map(|(i, b)| section(&format!("S{i}"), "2/4", *b)).collect();
    let parts = sections.iter().map(|s| {
        let bars = vec![BLANK; usize::from(s.bars)].join(" | ");
        cell_notation::parse_bars(&bars, &s.meter, usize::from(s.bars), 4).expect("drawing")
    });
    let layer = Layer::new("riff", Voice::Pluck, 4, parts.collect());
    Session::new(Groove::new("t", "", sections.clone(), vec![layer]).expect("groove"))
}

fn at(section: usize, cell: usize) -> Command {
    Move(Motion::To(Place { layer: 0, section, cell }))
}

/// A session whose loop region begins at one cell and ends before another one.
fn marked(from: (usize, usize), to: (usize, usize)) -> Session {
    let mut session = session();
    for command in [at(from.0, from.1), Command::LoopStart, at(to.0, to.1 - 1), Command::LoopEnd] {
        assert_eq!(session.apply(command), Outcome::Unchanged);
    }
    session
}

/// Section and sixteenth of both marks.
fn marks(session: &Session) -> Option<((usize, usize), (usize, usize))> {
    let sixteenths = |m: Mark| (m.section, (m.at.numer() * 16 / m.at.denom()) as usize);
    session.loop_region().map(|LoopRegion { start, end }| (sixteenths(start), sixteenths(end)))
}

#[test]
fn the_marks_are_set_at_the_cursor_or_from_the_selection() {
    let mut session = session();
    assert_eq!(marks(&session), None);
    assert!(matches!(session.apply(Command::ClearLoopRegion), Outcome::Error(_)));
    session.apply(at(1, 5));
    session.apply(Command::LoopStart);
    assert_eq!(marks(&session), Some(((1, 5), (1, 16))), "to the end of the section");
    session.apply(at(2, 3));
    session.apply(Command::LoopEnd);
    assert_eq!(marks(&session), Some(((1, 5), (2, 4))), "after the cell");
    session.apply(at(0, 30));
    session.apply(Command::LoopEnd);
    assert_eq!(marks(&session), Some(((0, 0), (0, 31))), "a start behind it would be none");
    session.apply(at(2, 23));
    session.apply(Command::LoopStart);
    assert_eq!(marks(&session), Some(((2, 23), (2, 24))));
    session.apply(Command::LoopRegion);
    assert_eq!(marks(&session), Some(((2, 16), (2, 24))), "the bar");
    for command in [at(0, 2), Extend(Right), Extend(Right), Command::LoopRegion, Move(Motion::GrooveEnd)] {
        session.apply(command);
    }
    assert_eq!(marks(&session), Some(((0, 2), (0, 5))), "the selection, whatever the cursor does");
    session.apply(Command::ClearLoopRegion);
    assert_eq!(marks(&session), None);
    session.apply(Command::RemoveLayer);
    assert_eq!(session.apply(Command::LoopStart), Outcome::NoLayer);
}

#[test]
fn the_region_extends_to_the_bar_or_the_selection() {
    let mut session = session();
    let extended = |session: &mut Session, section, cell| {
        session.apply(at(section, cell));
        session.apply(Command::ExtendLoopRegion);
        marks(session)
    };
    assert_eq!(extended(&mut session, 1, 5), Some(((1, 0), (1, 8))), "the bar, without a region");
    assert_eq!(extended(&mut session, 1, 9), Some(((1, 0), (1, 16))));
    assert_eq!(extended(&mut session, 0, 30), Some(((0, 24), (1, 16))), "a section before it");
    assert_eq!(extended(&mut session, 1, 0), Some(((0, 24), (1, 16))), "a bar of it");
    for command in [at(2, 2), Extend(Right), Command::ExtendLoopRegion] {
        session.apply(command);
    }
    assert_eq!(marks(&session), Some(((0, 24), (2, 4))), "the selection");
}

#[test]
fn edits_move_the_marks_and_undo_moves_them_back() {
    let (whole_bars, within) = (((0, 8), (0, 24)), ((0, 12), (1, 4)));
    // The region, the cursor, an edit there, and the region after it.
    let rows = [
        // Bars before the region shift it, bars in it change its length, bars after it change nothing.
        (whole_bars, (0, 0), Command::InsertBar, Some(((0, 16), (0, 32)))),
        (whole_bars, (0, 8), Command::InsertBar, Some(((0, 16), (0, 32)))),
        (whole_bars, (0, 16), Command::InsertBar, Some(((0, 8), (0, 32)))),
        (whole_bars, (0, 24), Command::InsertBar, Some(whole_bars)),
        (whole_bars, (0, 0), Command::DeleteBars, Some(((0, 0), (0, 16)))),
        (whole_bars, (0, 16), Command::DeleteBars, Some(((0, 8), (0, 16)))),
        (whole_bars, (0, 24), Command::DeleteBars, Some(whole_bars)),
        (((0, 8), (0, 16)), (0, 8), Command::DeleteBars, None),
        (within, (0, 8), Command::DeleteBars, Some(((0, 8), (1, 4)))),
        (within, (0, 0), Command::Bars(1), Some(((1, 0), (1, 4)))),
        (((0, 28), (0, 32)), (0, 0), Command::Bars(3), None),
        (within, (1, 0), Command::Bars(9), Some(within)),
        // Sections before it shift it; without its own it is gone; those between belong to it.
        (within, (0, 0), Command::CopySection, Some(((0, 12), (2, 4)))),
        (within, (1, 0), Command::AddSection(None, None), Some(within)),
        (((1, 2), (2, 4)), (0, 0), Command::RemoveSection, Some(((0, 2), (1, 4)))),
        (((0, 2), (2, 4)), (1, 0), Command::RemoveSection, Some(((0, 2), (1, 4)))),
        (within, (0, 0), Command::RemoveSection, None),
        (within, (1, 0), Command::RemoveSection, None),
        (whole_bars, (0, 0), Command::MoveSection(2), Some(((2, 8), (2, 24)))),
        (((1, 2), (1, 4)), (0, 0), Command::MoveSection(2), Some(((0, 2), (0, 4)))),
        (((1, 2), (1, 4)), (2, 0), Command::MoveSection(-2), Some(((2, 2), (2, 4)))),
        (within, (0, 0), Command::MoveSection(1), None),
        (within, (0, 8), Command::SplitSection, Some(((1, 4), (2, 4)))),
        (whole_bars, (0, 24), Command::SplitSection, Some(whole_bars)),
        (whole_bars, (0, 8), Command::SplitSection, Some(((1, 0), (1, 16)))),
        (within, (0, 0), Command::JoinSections, Some(((0, 12), (0, 36)))),
        (((2, 1), (2, 9)), (1, 0), Command::JoinSections, Some(((1, 17), (1, 25)))),
        // Cells, tempo and layers leave it alone, and so do moves.
        (within, (0, 13), Toggle, Some(within)),
        (within, (0, 13), Command::RemoveLayer, Some(within)),
        (within, (2, 0), Repeat(Repeats::ToSectionEnd), Some(within)),
    ];
    for (before, cursor, edit, after) in rows {
        let mut session = marked(before.0, before.1);
        assert_eq!(marks(&session), Some(before));
        session.apply(at(cursor.0, cursor.1));
        let outcome = session.apply(edit.clone());
        assert!(!matches!(outcome, Outcome::Error(_)), "{edit:?}: {outcome:?}");
        assert_eq!(marks(&session), after, "{before:?} {cursor:?} {edit:?}");
        let is_cut = matches!(edit, Command::DeleteBars | Command::Bars(_));
        if after.is_some() && !is_cut && session.revision() > 1 {
            session.apply(Command::Undo);
            assert_eq!(marks(&session), Some(before), "undo of {edit:?} at {cursor:?}");
            session.apply(Command::Redo);
            assert_eq!(marks(&session), after, "redo of {edit:?} at {cursor:?}");
        }
    }
}

#[test]
fn another_document_has_no_loop_region() {
    let mut session = marked((0, 0), (0, 8));
    session.replace(groove("x... x... / x... x..."), "import".into());
    assert_eq!(marks(&session), None);
    session.apply(Command::LoopRegion);
    assert!(marks(&session).is_some());
    session.apply(Command::Undo);
    assert_eq!(marks(&session), None);
}
