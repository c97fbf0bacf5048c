//! Tests of copying, pasting and repeating, and of edits within cycles.

use super::*;

fn run(session: &mut Session, commands: &[Command]) -> Outcome {
    commands.iter().fold(Outcome::Unchanged, |_, command| session.apply(command.clone()))
}

#[test]
fn a_tuplet_is_pasted_as_a_tuplet_or_refused() {
    let quintuplet = "{5: x.x.x} x... / .... ....";
    let next = Move(Motion::NextSection);
    check(quintuplet, [SelectBar, Copy, next.clone(), PASTE], "{5: x.x.x} x... / {5: x.x.x} x...");
    // From the second beat on, the bar of two beats is cut at the end of the section.
    let second = [SelectBar, Copy, next.clone(), Move(BeatRight), PASTE];
    check(quintuplet, second, "{5: x.x.x} x... / .... {5: x.x.x}");
    // Off the beat there is no place for it.
    let mut session = Session::new(groove(quintuplet));
    let off_beat = [SelectBar, Copy, next, Move(Right), PASTE];
    let words = "a tuplet would not fill whole beats there";
    assert_eq!(run(&mut session, &off_beat), Outcome::Error(words.into()));
    // A half of it fits where the rest of the beat is free.
    let half = [Extend(Right), Copy, Move(Motion::NextSection), PASTE];
    check("{5: xx..x} .... / .... ....", half.clone(), "{5: xx..x} .... / {5: xx...} ....");
    let mut session = Session::new(groove("{5: xx..x} .... / ...x ...."));
    let words = "attacks would fall between the cells of bar 1, beat 1";
    assert_eq!(run(&mut session, &half), Outcome::Error(words.into()));
}

#[test]
fn cells_of_another_division_are_pasted_at_their_times() {
    let mut session = Session::new(groove("x.xx .x.. / .... ...."));
    session.apply(Command::AddLayer("low".into(), Voice::Kick));
    session.apply(Command::Division(3, Sections::Current, Keep::NoteValues));
    let to_low = [Move(Motion::Up), SelectBar, Copy, Move(Motion::Down), Move(Motion::SectionStart), PASTE];
    run(&mut session, &to_low);
    let low = &session.groove().layers()[1];
    let meter = &session.groove().sections()[0].meter;
    assert_eq!(cell_notation::print_part(&low.parts[0], meter, 3), "{4: x.xx} {4: .x..}");
}

#[test]
fn only_the_rhythm_is_pasted() {
    let mut session = Session::new(groove("Xo-. .... / .... ...."));
    run(&mut session, &[Command::Pitch(Pitch::parse("E2")), SelectBar, Copy, Move(Motion::NextSection)]);
    run(&mut session, &[Command::Attack(Accent::Plain), Move(Motion::SectionStart)]);
    run(&mut session, &[Command::Pitch(Pitch::parse("A2"))]);
    session.apply(Command::Paste(PasteContent::Rhythm, PasteInCycle::Ask));
    assert_eq!(drawn(session.groove()), "Xo-. .... / xx-. ....");
    let pitches = session.groove().events(0)[2..].iter().map(|e| e.attack.pitch).collect::<Vec<_>>();
    assert_eq!(pitches, [Pitch::parse("A2"); 2]);
}

#[test]
fn a_paste_into_a_cycle_asks_and_empties_no_bar() {
    let mut session = Session::new(groove("x..x .... / x... ...."));
    run(&mut session, &[SelectBar, Copy, Move(Motion::NextSection), Command::Cycle(Some(3)), Move(Right)]);
    assert_eq!(drawn(session.groove()), "x..x .... / x..");
    let Outcome::Choice(Choice { question, answers }) = session.apply(PASTE) else { panic!("a choice") };
    assert_eq!(question, "riff repeats a cycle here");
    assert_eq!(drawn(session.groove()), "x..x .... / x..");
    let after = |answer: usize| {
        let mut session = session.clone();
        let outcome = session.apply(answers[answer].1.clone());
        (drawn(session.groove()), outcome)
    };
    let written = Outcome::Changed(Some("riff: cycle written out".into()));
    assert_eq!(after(0), ("x..x .... / xx.. x...".into(), written));
    let replaced = Outcome::Changed(Some("riff: cycle replaced".into()));
    // The cycle of eight cells begins at the cursor.
    assert_eq!(after(1), ("x..x .... / x..x....".into(), replaced));
    let mut session = session.clone();
    session.apply(answers[1].1.clone());
    assert_eq!(
        session.groove().events(0).iter().map(|e| (e.section, e.cell)).collect::<Vec<_>>()[2..],
        [(1, 1), (1, 4)]
    );
}

#[test]
fn a_group_longer_than_its_cycle_keeps_its_attack() {
    let commands = [Command::Cycle(Some(3)), EnterGroup(7)];
    let mut session = Session::new(groove("x... ...."));
    run(&mut session, &commands);
    assert_eq!(drawn(session.groove()), "x--");
}

#[test]
fn edits_that_a_cycle_cannot_hold_are_refused() {
    let mut session = Session::new(groove("x... .... / .... ...."));
    session.apply(Command::Cycle(Some(3)));
    for commands in [[Command::SelectCells(3), Repeat(Repeats::More(1))], [Command::Deselect, Shift(1)]] {
        let Outcome::Error(words) = run(&mut session, &commands) else { panic!("refused") };
        assert!(words.contains("write it out"), "{words}");
    }
    session.apply(Rotate(1));
    assert_eq!(drawn(session.groove()), ".x. / .... ....");
    let erased = "riff: erased in every repeat of the cycle";
    session.apply(SelectBar);
    assert_eq!(session.apply(Cut), Outcome::Changed(Some(erased.into())));
    let mut session = Session::new(groove("x... {3: xxx}"));
    assert!(matches!(session.apply(Command::Cycle(Some(5))), Outcome::Error(_)));
    assert!(matches!(session.apply(Command::Cycle(Some(4))), Outcome::Changed(_)));
}
