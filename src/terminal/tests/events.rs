//! Tests that no events cause a panic: any keys, sizes, pastes and results of jobs, and the largest groove.

use super::*;
use crate::jobs::play_request::TapPosition;
use crate::jobs::{
    HearingSelection, ImportedGroove, Job, JobError, JobKind, JobReport, OutsideSounds, Overwrite, PictureStyle,
    SampleRate, Target,
};
use crate::rhythm::{Accent, Edit};
use crate::session::{Command, DocumentId, Overflow};
use crate::terminal::event::SaveFailed;
use crate::terminal::shell::Screen;
use proptest::prelude::*;

#[derive(Debug, Clone)]
enum Input {
    Key(Key),
    Mouse(MouseEventKind, u16, u16),
    Resize(u16, u16),
    Tick(usize, f64),
    Tap(usize, f64),
    Pasted(String),
    Saved(Result<String, SaveFailed>),
    JobProgress(u8),
    ExportDone(bool),
    ImportDone(usize),
}

fn input() -> impl Strategy<Value = Input> {
    let codes = prop_oneof![
        8 => prop::char::range(' ', '~').prop_map(KeyCode::Char),
        1 => any::<char>().prop_map(KeyCode::Char),
        8 => prop::sample::select(vec![
            KeyCode::Left,
            KeyCode::Right,
            KeyCode::Up,
            KeyCode::Down,
            KeyCode::Home,
            KeyCode::End,
            KeyCode::PageUp,
            KeyCode::PageDown,
            KeyCode::Tab,
            KeyCode::BackTab,
            KeyCode::Enter,
            KeyCode::Enter,
            KeyCode::Esc,
            KeyCode::Backspace,
            KeyCode::Delete,
            KeyCode::Null,
            KeyCode::F(1),
            KeyCode::F(2),
        ]),
    ];
    let mods = prop::sample::select(vec![
        KeyModifiers::NONE,
        KeyModifiers::NONE,
        KeyModifiers::NONE,
        KeyModifiers::SHIFT,
        KeyModifiers::CONTROL,
        KeyModifiers::CONTROL | KeyModifiers::SHIFT,
        KeyModifiers::ALT,
    ]);
    let kinds = prop::sample::select(vec![
        MouseEventKind::Down(MouseButton::Left),
        MouseEventKind::Drag(MouseButton::Left),
        MouseEventKind::Up(MouseButton::Left),
        MouseEventKind::ScrollUp,
        MouseEventKind::ScrollDown,
        MouseEventKind::Moved,
    ]);
    let sizes = prop_oneof![
        prop::sample::select(vec![(0, 0), (1, 1), (60, 18), (59, 17), (80, 24), (110, 18), (200, 60)]),
        (0_u16..230, 0_u16..70),
    ];
    let pasted = prop::sample::select(vec!["\0\u{1b}[2J\r\n\u{202e}a\u{301}".to_owned(), "3+".repeat(50_000)]);
    prop_oneof![
        1 => Just(Input::Key(crate::terminal::input::key::ctrl('t'))),
        20 => (codes, mods).prop_map(|(code, mods)| Input::Key(Key::of(&KeyEvent::new(code, mods)))),
        2 => (kinds, 0_u16..230, 0_u16..70).prop_map(|(kind, x, y)| Input::Mouse(kind, x, y)),
        2 => sizes.prop_map(|(w, h)| Input::Resize(w, h)),
        1 => (0_usize..3, 0.0..9.0).prop_map(|(s, w)| Input::Tick(s, w)),
        4 => (0_usize..3, 0.0..9.0).prop_map(|(s, w)| Input::Tap(s, w)),
        1 => any::<u8>().prop_map(Input::JobProgress),
        1 => any::<bool>().prop_map(Input::ExportDone),
        1 => (0_usize..3).prop_map(Input::ImportDone),
        1 => "\\PC{0,8}".prop_map(Input::Pasted),
        1 => pasted.prop_map(Input::Pasted),
        1 => prop::sample::select(vec![
            Ok("rope.toml".to_owned()),
            Err(SaveFailed::Changed(Vec::new())),
            Err(SaveFailed::Taken("漢".repeat(300))),
            Err(SaveFailed::Failed("full".into())),
        ])
        .prop_map(Input::Saved),
    ]
}

fn job(state: &State) -> Job {
    Job {
        groove: state.groove().clone(),
        file: None,
        outside: OutsideSounds::default(),
        target: Target::File("漢.mid".into()),
        overwrite: Overwrite::Never,
        limits: state.hearings.limits,
        layers: Vec::new(),
        hearings: HearingSelection::Default,
        rate: SampleRate::STUDIO,
        kind: JobKind::Export { format: "midi", picture: None, section: None, style: PictureStyle::default() },
    }
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(96))]
    #[test]
    fn nothing_that_happens_is_a_panic_and_undo_leads_back(inputs in prop::collection::vec(input(), 1..120)) {
        let first = groove("x..x ..x. | X-o. ....");
        let mut state = open(first.clone(), UNICODE, (80, 24));
        let mut screen = Screen::new(Vec::new());
        for (i, input) in inputs.into_iter().enumerate() {
            let event = match input {
                Input::Key(key) => Event::Key(KeyEvent::new(key.code, key.mods), None),
                Input::Mouse(kind, column, row) => {
                    Event::Mouse(MouseEvent { kind, column, row, modifiers: KeyModifiers::NONE })
                }
                Input::Resize(width, height) => Event::Resize(width, height),
                Input::Tick(section, wholes) => Event::Playback(PlaybackEvent::Tick(Some(Position { section, pass: 0, wholes }))),
                Input::Tap(turn, wholes) => {
                    Event::Playback(PlaybackEvent::Tapped(TapPosition { position: Position { section: turn / 2, pass: 0, wholes }, loop_passes: turn as u64, buffer_ms: 20.0 }))
                }
                Input::Pasted(text) => Event::Pasted(text),
                Input::JobProgress(percent) => Event::JobProgress(percent),
                Input::ExportDone(good) => {
                    let result = if good { Ok(JobReport::default()) } else { Err(JobError::Exists("漢.mid".into())) };
                    Event::ExportDone(Box::new(job(&state)), result)
                }
                Input::ImportDone(warnings) => Event::ImportDone(Ok(Box::new(ImportedGroove {
                    groove: groove("x... x..."),
                    from: "漢.mid".into(),
                    warnings: vec!["漢".repeat(200); warnings],
                }))),
                Input::Saved(result) => Event::Saved { document: DocumentId(0), groove: state.groove().clone(), result },
            };
            let effects = update(&mut state, event);
            // The analysis may come late; the screen must bear a report of another groove.
            if i % 3 == 0 {
                answer(&mut state, effects);
            }
            screen.show(&state).expect("writes to memory do not fail");
        }
        while !state.session.history().is_empty() {
            state.session.apply(crate::session::Command::Undo);
        }
        prop_assert_eq!(&**state.groove(), &first);
    }
}

#[test]
fn the_largest_groove_is_edited_and_drawn() {
    let tempo = Tempo::new(Fraction::whole(150), quarter()).expect("tempo");
    let mut groove = Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 1024).expect("groove");
    for layer in 1..64 {
        let name = format!("{layer} {}", "n".repeat(61));
        groove = groove.edited(&Edit::AddLayer(layer, name, Voice::Kick, 4)).expect("layer");
    }
    let mut state = State::new(groove, Some("x".repeat(5000)), Keymap::default(), UNICODE, (80, 24));
    for command in
        [Command::EnterGroups(vec![3; 1300], Overflow::Cut), Command::Cycle(Some(4096)), Command::Attack(Accent::Plain)]
    {
        state.session.apply(command);
    }
    let effects = start(&state);
    answer(&mut state, effects);
    press(&mut state, "ctrl-end 3 home b W f W f W f");
    for keys in ["", "h", "end", "page-up", "esc T", "esc ?", "esc f", "esc", "ctrl-a", "esc"] {
        press(&mut state, keys);
        for size in [(1, 1), (60, 18), (80, 24), (200, 60)] {
            screen(&state, size);
        }
    }
    let groove = state.groove().clone();
    update(&mut state, Event::Saved { document: DocumentId(0), groove, result: Err(SaveFailed::Changed(Vec::new())) });
    assert!(screen(&state, (60, 18)).contains("xxx was changed. Overwrite it? y: yes, Esc: no"));
}

#[test]
fn the_outputs_are_listed_when_they_arrive() {
    let mut state = ferry();
    let asked = press(&mut state, "f \"outputs\" enter");
    assert!(asked.contains(&Effect::Outputs), "{asked:?}");
    let lines: Vec<String> = (0..40).map(|k| format!("Speakers {k}  hw:{k}")).collect();
    update(&mut state, Event::Outputs(Ok(lines)));
    let shown = screen(&state, (60, 18));
    assert!(shown.contains("[sound] output") && shown.contains("Speakers 0  hw:0") && !shown.contains("Speakers 30"));
    press(&mut state, "page-down end");
    assert!(screen(&state, (60, 18)).contains("Speakers 39  hw:39"));
    press(&mut state, "esc");
    assert!(!screen(&state, (60, 18)).contains("Speakers"));
    // While something is typed nothing comes over it.
    press(&mut state, "T");
    update(&mut state, Event::Outputs(Ok(vec!["late".into()])));
    assert!(!screen(&state, (60, 18)).contains("late"));
    update(&mut state, Event::Playback(PlaybackEvent::Warning("knock.wav: found no such file".into())));
    press(&mut state, "esc");
}
