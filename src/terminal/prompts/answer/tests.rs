//! Tests of reading answers.

use super::*;
use crate::rhythm::Time;
use crate::session::Keep;
use crate::terminal::commands::{self, Action};
use crate::terminal::prompts::current_value;
use crate::terminal::{Background, Colours, Keymap, State, Theme};
use proptest::prelude::*;

/// Every question there is: those of the table, and those that follow a choice.
fn all() -> Vec<Question> {
    let asked =
        commands::all().filter_map(|r| if let Action::Ask(question) = r.action { Some(question) } else { None });
    asked.chain([Question::ExportAs, Question::HandoutInto]).collect()
}

fn groove() -> Groove {
    let tempo = Tempo::new(Fraction::whole(150), Time::new(1, 4).expect("quarter")).expect("tempo");
    Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 2).expect("groove")
}

fn session() -> Session {
    Session::new(groove())
}

#[test]
fn answers() {
    let s = session();
    let quarter = s.groove().sections()[0].tempo.unit();
    let tempo = |n, d, unit| Command::Tempo(Tempo::new(Fraction::new(n, d).expect("n"), unit).expect("tempo"));
    let rows = [
        (Question::Groups, "3+3+2", Command::EnterGroups(vec![3, 3, 2], Overflow::Ask)),
        (Question::Groups, "2(4+3)+12", Command::EnterGroups(vec![4, 3, 4, 3, 12], Overflow::Ask)),
        (Question::Repeat, "3", Command::Repeat(Repeats::More(3))),
        (Question::Repeat, "end", Command::Repeat(Repeats::ToSectionEnd)),
        (Question::Pitch, "E2", Command::Pitch(Pitch::parse("E2"))),
        (Question::Pitch, " ", Command::Pitch(None)),
        (Question::Tuplet, "5", Command::Tuplet { cells: 5, beats: 1 }),
        (Question::Tuplet, "7/2", Command::Tuplet { cells: 7, beats: 2 }),
        (Question::Division(Keep::Cells), "4", Command::Division(4, Sections::Current, Keep::Cells)),
        (Question::Division(Keep::Cells), "12 all", Command::Division(12, Sections::All, Keep::Cells)),
        (Question::AddLayer, "kick", Command::AddLayer("kick".into(), Voice::Kick)),
        (Question::AddLayer, "low end kick", Command::AddLayer("low end".into(), Voice::Kick)),
        (Question::AddLayer, "riff bass", Command::AddLayer("riff 2".into(), Voice::Bass)),
        (Question::Tempo, "132.5", tempo(265, 2, quarter)),
        (Question::Tempo, "1/4.=90", tempo(90, 1, Time::new(3, 8).expect("dotted"))),
        (Question::SoundFile, " knock.wav", Command::SoundFile(Some("knock.wav".into()))),
        (Question::SoundFile, "", Command::SoundFile(None)),
        (Question::AccentDepth, "9", Command::AccentDepth(Some(9))),
        (Question::AccentDepth, "", Command::AccentDepth(None)),
        (Question::Bar, "2", Command::Move(Motion::To(Place { layer: 0, section: 0, cell: 16 }))),
    ];
    for (question, text, command) in rows {
        assert_eq!(question.parse(text, &s), Ok(Answer::Run(command)), "{text}");
    }
    assert_eq!(Question::Speed.parse("80%", &s), Ok(Answer::Speed(80)));
}

#[test]
fn refusals_tell_what_is_allowed() {
    let s = session();
    let rows = [
        (Question::Pitch, "H9", "E2"),
        (Question::Tuplet, "0", "1 to 64"),
        (Question::Tempo, "-5", "5 to 1000"),
        (Question::Tempo, "fast", "132.5"),
        (Question::Meter(Keep::NoteValues), "4/3", "1, 2, 4"),
        (Question::AddSection, "4/3", "1, 2, 4"),
        (Question::AddSection, "fast 3+/8", "meter"),
        (Question::Bars, "9999999", "1 to 1024"),
        (Question::Bar, "3", "1 to 2"),
        (Question::AddLayer, "drum", "low kick"),
        (Question::Speed, "10", "20 to 200"),
        (Question::Division(Keep::NoteValues), "99", "1 to 32"),
        (Question::Division(Keep::NoteValues), "33 all", "1 to 32"),
        (Question::Division(Keep::NoteValues), "all", "4 all"),
        (Question::Swing, "much", "2:1"),
        (Question::Groups, "3+a", "1 to 65536"),
        (Question::Cycle, "x", "a whole number"),
        (Question::RenameLayer, "", "1 to 64 characters"),
        (Question::AccentDepth, "19", "0 to 18 dB"),
        (Question::AccentDepth, "deep", "0 to 18 dB"),
    ];
    for (question, text, allowed) in rows {
        let words = question.parse(text, &s).expect_err(text);
        assert!(words.contains("expected ") && words.contains(allowed), "{text}: {words}");
        // It is seen whole in the narrowest window, in at most three lines.
        assert!(words.chars().count() <= 180, "{text}: {words}");
    }
}

#[test]
fn a_new_section_is_answered_with_a_name_a_meter_or_both() {
    let read = |text: &str| Question::AddSection.parse(text, &session());
    let section = |name: Option<&str>, meter: Option<&str>| {
        let meter = meter.map(|m| Meter::parse(m).expect("a meter"));
        Ok(Answer::Run(Command::AddSection(name.map(str::to_owned), meter)))
    };
    assert_eq!(read(""), section(None, None));
    assert_eq!(read("4/4"), section(None, Some("4/4")));
    assert_eq!(read("last pull 3+2+2/8"), section(Some("last pull"), Some("3+2+2/8")));
    assert_eq!(read("last pull"), section(Some("last pull"), None));
    assert_eq!(read("and/or"), section(Some("and/or"), None));
}

#[test]
fn what_a_line_begins_with_is_allowed() {
    let theme = Theme { colours: Colours::None, background: Background::Dark, ascii: true };
    let state = State::new(groove(), Some("riff.toml".into()), Keymap::default(), theme, (80, 24));
    let lines = all().into_iter().map(|q| (q, current_value(&state, q))).filter(|(_, text)| !text.is_empty());
    let read = lines.map(|(q, text)| assert!(q.parse(&text, &state.session).is_ok(), "{q:?} {text}"));
    assert!(read.count() > 10);
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(256))]

    #[test]
    fn any_text_is_read_or_refused(text in "\\PC{0,20}", n in 0_usize..100) {
        let (mut s, all) = (session(), all());
        if let Ok(Answer::Run(command)) = all[n % all.len()].parse(&text, &s) {
            s.apply(command);
        }
    }
}
