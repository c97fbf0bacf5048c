//! Tests of commands with two meanings, of selections, and of what messages count.

use super::*;

fn run(session: &mut Session, commands: &[Command]) -> Outcome {
    commands.iter().fold(Outcome::Unchanged, |_, command| session.apply(command.clone()))
}

/// One section of bars of 2/4, separated by `|`.
fn bars(cells: &str) -> Groove {
    let section = section("S0", "2/4", cells.matches('|').count() as u16 + 1);
    let part = cell_notation::parse_bars(cells, &section.meter, usize::from(section.bars), 4).expect("drawing");
    Groove::new("t", "", vec![section], vec![Layer::new("riff", Voice::Pluck, 4, vec![part])]).expect("groove")
}

fn changed(words: &str) -> Outcome {
    Outcome::Changed(Some(words.into()))
}

#[test]
fn undo_gives_the_selection_back() {
    let mut session = Session::new(groove("x.xo .... / .... ...."));
    run(&mut session, &[Extend(Right), Extend(Right), Rotate(1)]);
    let selected = session.selection().expect("a selection");
    run(&mut session, &[Command::Deselect, Move(Motion::NextSection), Toggle, Command::Undo]);
    assert_eq!(session.selection(), None);
    session.apply(Command::Undo);
    assert_eq!(session.selection(), Some(selected.clone()));
    run(&mut session, &[Command::Redo, Command::Redo]);
    assert_eq!(session.selection(), None);
    // A repeat drops the selection; its undo gives it back.
    let mut session = Session::new(groove("x.xo .... / .... ...."));
    run(&mut session, &[Extend(Right), Extend(Right), Repeat(Repeats::More(1)), Command::Undo]);
    assert_eq!(session.selection(), Some(selected));
}

#[test]
fn cells_are_selected_by_number() {
    check("xxxx x...", [Move(Right), Command::SelectCells(3), Erase], "x... x...");
    let mut session = Session::new(groove("xxxx x..."));
    session.apply(Move(Right));
    let words = "expected 1 to 7 cells, up to the end of the section, found 8";
    assert_eq!(session.apply(Command::SelectCells(8)), Outcome::Error(words.into()));
}

#[test]
fn a_repeat_counts_all_times_and_goes_to_the_end() {
    let repeat = |repeats| {
        let mut session = Session::new(groove("x.o. .... / .... ...."));
        let outcome = run(&mut session, &[Command::SelectCells(3), Repeat(repeats)]);
        (drawn(session.groove()), outcome)
    };
    assert_eq!(repeat(Repeats::More(1)), ("x.ox .o.. / .... ....".into(), changed("2 times in total")));
    let to_end = changed("3 times in total, to the end of the section");
    assert_eq!(repeat(Repeats::ToSectionEnd), ("x.ox .ox. / .... ....".into(), to_end));
    let mut session = Session::new(groove("x.o. ...."));
    assert!(matches!(session.apply(Repeat(Repeats::More(1))), Outcome::Error(_)));
}

#[test]
fn a_line_that_is_too_long_offers_the_bars_it_needs() {
    let mut session = Session::new(groove("x... .... / .... ...."));
    let Outcome::Choice(choice) = session.apply(EnterGroups(vec![7; 4], Overflow::Ask)) else { panic!("a choice") };
    assert_eq!(choice.question, "12 cells too many for the groove");
    assert_eq!(choice.answers[0].0, "add 2 bars");
    let mut longer = session.clone();
    assert_eq!(longer.apply(choice.answers[0].1.clone()), changed("2 bars added"));
    assert_eq!(drawn(longer.groove()), "x--- ---x / ---- --x- | ---- -x-- | ---- ....");
    longer.apply(Command::Undo);
    assert_eq!(longer.groove(), session.groove());
    session.apply(choice.answers[1].1.clone());
    assert_eq!(drawn(session.groove()), "x--- ---x / ---- --x-");
    // Behind the end of the groove too.
    let Outcome::Choice(choice) = session.apply(EnterGroups(vec![4], Overflow::Ask)) else { panic!("a choice") };
    session.apply(choice.answers[0].1.clone());
    assert_eq!(drawn(session.groove()), "x--- ---x / ---- --x- | x--- ....");
}

#[test]
fn losses_count_what_was_written_and_not_what_a_cycle_repeats() {
    let mut session = Session::new(groove("x.x. .... / .... ...."));
    session.apply(Command::Bars(9));
    session.apply(Command::Cycle(Some(3)));
    assert_eq!(session.apply(Command::Bars(2)), changed("section 'S0': 2 bars"));
    assert_eq!(session.apply(Command::RemoveLayer), changed("layer 'riff' deleted; 2 attacks lost"));
}

#[test]
fn two_sections_of_different_beats_share_the_sixteenths() {
    let mut session = Session::new(bars("x..x ..x. | x..x ..x."));
    let four = Meter::parse("4/4").expect("meter");
    run(&mut session, &[Command::Meter(four, Keep::NoteValues), Command::CopySection]);
    let meter = |text| Command::Meter(Meter::parse(text).expect("meter"), Keep::NoteValues);
    let words = "7/8: beat = 1/8, cell of riff = 1/16";
    assert_eq!(session.apply(meter("7/8")), changed(words));
    assert_eq!(drawn(session.groove()), "x..x ..x. x..x ..x. / x. .x .. x. x. .x .. | x. .. .. .. .. .. ..");
    assert_eq!(session.groove().layers()[0].divisions, [4, 2]);
    // A digit counts sixteenths in both, and a division changes one.
    run(&mut session, &[Command::Move(Motion::GrooveStart), Command::EnterGroups(vec![3, 5, 8, 3, 5], Overflow::Cut)]);
    assert_eq!(drawn(session.groove()), "x--x ---- x--- ---- / x- -x -- -- x. .x .. | x. .. .. .. .. .. ..");
    let words = "riff: 4 cells per beat in section 'A', cell = 1/32; no attack moved";
    let back = session.groove().clone();
    assert_eq!(session.apply(Command::Division(4, Sections::Current, Keep::NoteValues)), changed(words));
    assert_eq!(session.groove().layers()[0].divisions, [4, 4]);
    session.apply(Command::Undo);
    assert_eq!(*session.groove(), back);
    // A new layer has the divisions of the cursor's layer.
    session.apply(Command::AddLayer("low".into(), Voice::Kick));
    assert_eq!(session.groove().layers()[1].divisions, [4, 2]);
}

#[test]
fn a_meter_keeps_note_values() {
    let mut session = Session::new(bars("x..x ..x. | x... x..."));
    let meter = |text, keep| Command::Meter(Meter::parse(text).expect("meter"), keep);
    let words = "3/8: beat = 1/8, cell of riff = 1/16";
    assert_eq!(session.apply(meter("3/8", Keep::NoteValues)), changed(words));
    assert_eq!(drawn(session.groove()), "x. .x .. | x. x. .. | x. .. ..");
    session.apply(Command::Undo);
    let words = "3/8: beat = 1/8, cell of riff = 1/32";
    assert_eq!(session.apply(meter("3/8", Keep::Cells)), changed(words));
}

#[test]
fn bars_and_sections_are_edited_at_the_cursor() {
    let mut session = Session::new(bars("x..x ..x. | x... x..."));
    session.apply(Move(Motion::BarRight));
    assert_eq!(session.apply(Command::InsertBar), changed("bar 2 inserted"));
    assert_eq!(
        (drawn(session.groove()).as_str(), session.cursor().place.cell),
        ("x..x ..x. | .... .... | x... x...", 8)
    );
    run(&mut session, &[Extend(Motion::BarRight)]);
    assert_eq!(session.apply(Command::DeleteBars), changed("bars 2 to 3 deleted; 2 attacks lost"));
    session.apply(Command::Undo);
    run(&mut session, &[Command::Deselect, Move(Motion::SectionStart), Move(Motion::BarRight)]);
    assert_eq!(session.apply(Command::SplitSection), changed("section 'A' begins at this bar"));
    assert_eq!(drawn(session.groove()), "x..x ..x. / .... .... | x... x...");
    assert_eq!(session.cursor().place, Place { layer: 0, section: 1, cell: 0 });
    session.apply(Move(Motion::PreviousSection));
    assert_eq!(session.apply(Command::JoinSections), changed("section 'S0': 3 bars"));
    assert_eq!(drawn(session.groove()), "x..x ..x. | .... .... | x... x...");
}

#[test]
fn a_new_layer_has_the_division_of_the_cursors_layer() {
    let mut session = Session::new(groove(BLANK));
    run(
        &mut session,
        &[Command::Division(3, Sections::Current, Keep::NoteValues), Command::AddLayer("low".into(), Voice::Kick)],
    );
    assert_eq!(session.groove().layers()[1].divisions[0], 3);
}
