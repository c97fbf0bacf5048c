//! Tests of the messages of edits.

use super::*;

fn message(before: &str, command: Command) -> String {
    match Session::new(groove(before)).apply(command) {
        Outcome::Changed(Some(message)) => message,
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_division_reports_moved_and_lost_attacks() {
    let says = |before, cells| message(before, Command::Division(cells, Sections::Current, Keep::NoteValues));
    assert_eq!(says("x.x. x.x.", 2), "riff: 2 cells per beat, cell = 1/8; no attack moved");
    assert_eq!(says("x.x. ...x", 8), "riff: 8 cells per beat, cell = 1/32; no attack moved");
    // One cell per beat holds one of four attacks.
    let in_all = Command::Division(1, Sections::All, Keep::NoteValues);
    assert_eq!(
        message("xxxx .... / ...x ....", in_all),
        "riff: 1 cell per beat in all sections, cell = 1/4; 1 attack moved, 3 lost"
    );
    assert_eq!(says("xxxx .... / ...x ....", 1), "riff: 1 cell per beat in section 'S0', cell = 1/4; 3 attacks lost");
    assert_eq!(says("x..x ....", 2), "riff: 2 cells per beat, cell = 1/8; 1 attack moved");
    assert_eq!(says("xx.. ....", 1), "riff: 1 cell per beat, cell = 1/4; 1 attack lost");
    assert_eq!(
        Session::new(groove("x... ....")).apply(Command::Division(4, Sections::Current, Keep::NoteValues)),
        Outcome::Unchanged
    );
}

#[test]
fn a_cycle_reports_replaced_attacks() {
    let cycle = |cells| Command::Cycle(Some(cells));
    // The cycle of three cells is x..x..x. in this section.
    assert_eq!(message("x..x .xx.", cycle(3)), "riff: cycle of 3 cells; 1 attack replaced");
    assert_eq!(message("x..x .xxx", cycle(3)), "riff: cycle of 3 cells; 2 attacks replaced");
    assert_eq!(message("x... ....", cycle(4)), "riff: cycle of 4 cells");
    let mut session = Session::new(groove("x... ...."));
    session.apply(cycle(3));
    let off = session.apply(Command::Cycle(None));
    assert_eq!(off, Outcome::Changed(Some("riff: cycle written out".into())));
}

#[test]
fn shortening_edits_report_lost_attacks() {
    let meter = |text| Command::Meter(Meter::parse(text).expect("meter"), Keep::Cells);
    assert_eq!(message("x.x. x.xx", meter("1/4")), "1/4: beat = 1/4, cell of riff = 1/16; 3 attacks lost");
    assert_eq!(message("x.x. ....", meter("1/4")), "1/4: beat = 1/4, cell of riff = 1/16");
    assert_eq!(message("x.x. ...x", meter("3/8")), "3/8: beat = 1/8, cell of riff = 1/32");
    assert_eq!(message("x.x. ...x / x...  ...x", Command::RemoveSection), "section 'S0' deleted; 3 attacks lost");
    assert_eq!(message(".... .... / x...  ...x", Command::RemoveSection), "section 'S0' deleted");
    assert_eq!(message("x.x. ...x", Command::RemoveLayer), "layer 'riff' deleted; 3 attacks lost");
    assert_eq!(message("x.x. ...x", Command::Bars(3)), "section 'S0': 3 bars");
    let mut session = Session::new(groove("x.x. ...x"));
    session.apply(Command::Bars(2));
    session.apply(Move(Motion::BarRight));
    session.apply(EnterGroup(3));
    let words = "section 'S0': 1 bar; 1 attack lost";
    assert_eq!(session.apply(Command::BarsBy(-1)), Outcome::Changed(Some(words.into())));
}

#[test]
fn cells_without_attacks_stay_sixteenths() {
    let mut session = Session::new(groove(".... ...."));
    let mut meter = |text| {
        let outcome = session.apply(Command::Meter(Meter::parse(text).expect("meter"), Keep::Cells));
        let Outcome::Changed(Some(words)) = outcome else { panic!("{outcome:?}") };
        assert!(words.contains(", cell of riff = 1/16"), "{words}");
        session.groove().layers()[0].divisions[0]
    };
    assert_eq!([meter("2+2+3/8"), meter("6/8"), meter("2/2"), meter("4/4")], [2, 6, 8, 4]);
    // The division stays if the beat is no whole number of sixteenths, or if the cells were no sixteenths.
    let division = |before: &str, first, text| {
        let mut session = Session::new(groove(before));
        session.apply(Command::Division(first, Sections::Current, Keep::NoteValues));
        session.apply(Command::Meter(Meter::parse(text).expect("meter"), Keep::Cells));
        session.groove().layers()[0].divisions[0]
    };
    assert_eq!(division(".... ....", 4, "5/32"), 4);
    assert_eq!(division(".... ....", 3, "3/8"), 3);
    // It also stays with attacks in the section.
    assert_eq!(division("x... ....", 4, "3/8"), 4);
    assert_eq!(division(".... .... / x... ....", 4, "3/8"), 2);
}

#[test]
fn a_new_section_may_have_a_meter_of_its_own() {
    let mut session = Session::new(groove("x... ...."));
    let meter = Meter::parse("3/8").expect("meter");
    let words = "3/8: beat = 1/8, cell of riff = 1/16";
    assert_eq!(session.apply(Command::AddSection(None, Some(meter.clone()))), Outcome::Changed(Some(words.into())));
    assert_eq!(session.groove().layers()[0].divisions, [4, 2]);
    assert_eq!((&session.groove().sections()[1].meter, session.cursor().place.section), (&meter, 1));
    assert_eq!(session.apply(Command::AddSection(Some("end".into()), None)), Outcome::Changed(None));
    assert_eq!(session.groove().sections()[2].meter, meter);
}

#[test]
fn a_paste_that_lacks_layers_says_so() {
    let mut session = Session::new(groove("x... ...."));
    session.apply(Command::AddLayer("deck".into(), crate::rhythm::Voice::Kick));
    session.apply(Command::SelectAllLayers);
    session.apply(Command::Copy);
    session.apply(Command::Move(Motion::Down));
    let message = match session.apply(Command::Paste(PasteContent::All, PasteInCycle::Ask)) {
        Outcome::Changed(Some(message)) => message,
        other => panic!("{other:?}"),
    };
    assert_eq!(message, "pasted 1 of 2 copied layers: there is no layer below for the others");
}

#[test]
fn a_setting_of_a_layer_is_confirmed() {
    let rows = [
        (Command::Gain(-3), "layer 'riff': gain -3 dB"),
        (Command::GainBy(1), "layer 'riff': gain +1 dB"),
        (Command::Pan(-40), "layer 'riff': pan 40 left"),
        (Command::Pan(7), "layer 'riff': pan 7 right"),
        (Command::AccentDepth(Some(9)), "layer 'riff': accent depth 9 dB"),
        (Command::Voice(Voice::Kick), "layer 'riff': voice kick: "),
        (Command::RenameLayer("bell rope".into()), "layer 'riff': renamed to 'bell rope'"),
        (Command::SoundFile(Some("knock.wav".into())), "layer 'riff': sound: the file 'knock.wav'"),
        (Command::Mute, "layer 'riff': muted"),
        (Command::Solo, "layer 'riff': solo"),
    ];
    for (command, text) in rows {
        let found = message("x..x ....", command.clone());
        assert!(found.starts_with(text), "{command:?}: {found}");
    }
    // Also the value that it had.
    let same = Session::new(groove("x..x ....")).apply(Command::Pan(0));
    assert_eq!(same, Outcome::Info("layer 'riff': pan center".into()));
}
