//! Tests of the editor without its shell: rows of cells, keys and cells, and screens.

use super::input::key::Key;
use super::{Background, Colours, Effect, Event, Keymap, State, Theme, start, update, view};
use crate::analysis;
use crate::jobs::Position;
use crate::jobs::play_request::{PlayRequest, PlaybackEvent};
use crate::rhythm::{Fraction, Groove, Layer, Meter, Section, Tempo, Time, Voice, cell_notation};
use crate::session::DocumentId;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers, MouseButton, MouseEvent, MouseEventKind};
use std::sync::Arc;

mod events;
mod full_view;
mod grid_search;
mod hearings;
mod hidden;
mod jobs;
mod loop_region;
mod manual;
mod menus;
mod narrow_window;
mod onset_lane;
mod opening;
mod pane_rows;
mod practice;
mod questions;
mod recordings;
mod recovery;
mod remote;
mod sections;
mod taps;
mod transcription;
mod unavailable;
mod variants;

const PLAIN: Theme = Theme { colours: Colours::None, background: Background::Dark, ascii: true };
const UNICODE: Theme = Theme { colours: Colours::None, background: Background::Dark, ascii: false };

fn quarter() -> Time {
    Time::new(1, 4).expect("quarter")
}

fn groove(drawing: &str) -> Groove {
    let bars = drawing.matches('|').count() as u16 + 1;
    let tempo = Tempo::new(Fraction::whole(150), quarter()).expect("tempo");
    let meter = Meter::parse("2/4").expect("meter");
    let part = cell_notation::parse_bars(drawing, &meter, usize::from(bars), 4).expect("drawing");
    let section = Section { name: "A".into(), meter, tempo, bars, times: 1, swing: None };
    Groove::new("rope", "", vec![section], vec![Layer::new("riff", Voice::Pluck, 4, vec![part])]).expect("groove")
}

fn drawn(state: &State, layer: usize) -> String {
    let groove = state.groove();
    let l = &groove.layers()[layer];
    let parts = groove.sections().iter().zip(&l.parts).zip(&l.divisions);
    let parts: Vec<String> = parts.map(|((s, p), d)| cell_notation::print_part(p, &s.meter, *d)).collect();
    parts.join(" / ")
}

fn open(groove: Groove, theme: Theme, size: (u16, u16)) -> State {
    let mut state = State::new(groove, Some("rope.toml".into()), Keymap::default(), theme, size);
    state.files.export.choices = crate::jobs::export_choices();
    let effects = start(&state);
    answer(&mut state, effects);
    state
}

/// Analyses at once, as the worker thread would; returns the other effects.
fn answer(state: &mut State, effects: Vec<Effect>) -> Vec<Effect> {
    let mut left = Vec::new();
    for effect in effects {
        if let Effect::Analyse { revision, groove, options } = effect {
            let report = Arc::new(analysis::report(&groove, &options));
            left.extend(update(state, Event::Analysed { revision, options, report }));
        } else {
            left.push(effect);
        }
    }
    left
}

/// Adds to the report what takes longer, as the second worker thread would.
fn refine(state: &mut State) {
    let (revision, groove, options) = (state.revision(), state.groove().clone(), state.analysis_options());
    let report = Arc::new(analysis::full_report(&groove, &options));
    update(state, Event::Analysed { revision, options, report });
}

/// Presses keys: names as in the config file, separated by spaces; text in quotes is typed.
fn press(state: &mut State, keys: &str) -> Vec<Effect> {
    let mut effects = Vec::new();
    let mut one = |state: &mut State, key: Key| {
        let found = update(state, Event::Key(KeyEvent::new(key.code, key.mods), None));
        effects.extend(answer(state, found));
    };
    for (i, piece) in keys.split('"').enumerate() {
        if i % 2 == 1 {
            piece.chars().for_each(|c| one(state, super::input::key::ch(c)));
        } else {
            piece.split_whitespace().for_each(|name| one(state, Key::parse(name).expect(name)));
        }
    }
    effects
}

fn check(before: &str, keys: &str, after: &str) {
    let mut state = open(groove(before), PLAIN, (80, 24));
    press(&mut state, keys);
    assert_eq!(drawn(&state, 0), after, "{before} {keys}");
}

#[test]
fn keys_enter_and_edit() {
    let blank = ".... ....";
    let rows = [
        (blank, "3 3 2", "x--x --x-"),
        (blank, "x - . o X space", "x-.o Xx.."),
        (blank, "3 3 backspace 4", "x--x ---."),
        (blank, "g \"2(3)+2\" enter", "x--x --x-"),
        (blank, "3 ctrl-z 2", "x-.. ...."),
        (blank, "3 2 ctrl-z ctrl-z ctrl-y", "x--. ...."),
        (blank, "8 + 3", "x--- ---- | x--. ...."),
        (blank, "t \"5\" enter 2 x", "{5: x-x..} ...."),
        (blank, "t \"7/2\" enter 3 4 ctrl-home e", "x--x ----"),
        ("xo.. ....", "shift-right ctrl-c ctrl-right ctrl-v", "xo.. xo.."),
        ("xo.. ....", "shift-right r \"3\" enter", "xoxo xoxo"),
        ("xo.. ....", "s right delete", ".... ...."),
        ("xo.. ...x", "> >", ".xxo ...."),
        ("xo.. ...x", ") )", "..xo ...."),
        ("xo.. ...x", "(", "o... ..x."),
        ("x..x ....", "tab a", "x..X ...."),
        ("x..x ....", "end back-tab delete", "x... ...."),
        // A cancelled question, also after a wrong answer, changes nothing.
        ("x..x ....", "t \"5\" esc", "x..x ...."),
        ("x..x ....", "t \"99\" enter esc", "x..x ...."),
        // A command found by its description.
        ("xo.. ....", "f \"rotate earlier\" enter", "o... ...x"),
    ];
    for (before, keys, after) in rows {
        check(before, keys, after);
    }
}

#[test]
fn keys_make_layers_and_sections() {
    let mut state = open(groove(".... ...."), PLAIN, (80, 24));
    press(&mut state, "3 3 2 n \"low kick\" enter 4 4 N enter 2 2 2 2 M \"3/8\" tab enter T \"1/8=200\" enter");
    assert_eq!(state.groove().layers()[1].name, "low");
    assert_eq!(drawn(&state, 0), "x--x --x- / .... .... ....");
    assert_eq!(drawn(&state, 1), "x--- x--- / x-x- x-x- ....");
    assert_eq!(state.groove().sections()[1].tempo.bpm(), Fraction::whole(200));
    press(&mut state, "ctrl-up m ctrl-d");
    assert_eq!(state.groove().layers().len(), 1);
    assert_eq!(state.groove().layers()[0].name, "riff");
}

#[test]
fn effects_are_values() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    assert!(press(&mut state, "right up").is_empty());
    let names = |effects: &[Effect]| -> Vec<&'static str> {
        effects
            .iter()
            .map(|e| match e {
                Effect::Outputs => "outputs",
                Effect::Analyse { .. } => "analyse",
                Effect::Journal { .. } => "journal",
                Effect::AdoptUnsaved(..) => "adopt",
                Effect::DiscardUnsaved(_) => "discard",
                Effect::ReleaseUnsaved(_) => "release",
                Effect::Save { .. } => "save",
                Effect::Play(..) => "play",
                Effect::Change(_) => "change",
                Effect::Step(_) => "step",
                Effect::Progress(_) => "progress",
                Effect::TrySounds(_) => "try sounds",
                Effect::AllowSounds(_) => "allow sounds",
                Effect::Stop => "stop",
                Effect::Tap(_) => "tap",
                Effect::SaveOffset(_) => "offset",
                Effect::SetSound(_) => "levels",
                Effect::Copy(_) => "copy",
                Effect::RunJob(_) => "run job",
                Effect::Import { .. } => "import",
                Effect::CancelJob => "cancel",
                Effect::FindGrid(_) => "find grid",
                Effect::Variants(_) => "variants",
                Effect::SwitchDocument(_) => "work",
                Effect::Redraw => "redraw",
                Effect::Suspend => "suspend",
                Effect::Resume => "resume",
                Effect::Open(_) => "open",
                Effect::UseFile(..) => "use file",
                Effect::Quit { .. } => "quit",
            })
            .collect()
    };
    // An edit is analysed and journalled, and during playback also played.
    let found = update(&mut state, Event::Key(KeyEvent::new(KeyCode::Char('3'), KeyModifiers::NONE), None));
    assert_eq!(names(&found), ["journal", "analyse"]);
    assert_eq!(
        names(&press(&mut state, "enter 3 ] k enter")),
        ["play", "journal", "change", "change", "change", "stop"]
    );
    // Unsaved changes cause a question; saving first quits after the save succeeds.
    assert!(press(&mut state, "ctrl-q").is_empty());
    assert_eq!(names(&press(&mut state, "esc ctrl-q s")), ["save"]);
    let groove = state.groove().clone();
    let mut failed = state.clone();
    assert!(
        update(
            &mut failed,
            Event::Saved {
                document: DocumentId(0),
                groove: groove.clone(),
                result: Err(super::event::SaveFailed::Failed("read-only".into()))
            }
        )
        .is_empty()
    );
    assert!(failed.session.is_changed());
    let found = update(&mut state, Event::Saved { document: DocumentId(0), groove, result: Ok("rope.toml".into()) });
    assert_eq!(found, [Effect::Quit { keep_journal: false }]);
    assert!(!state.session.is_changed());
    assert_eq!(update(&mut state, Event::Signal), [Effect::Quit { keep_journal: true }]);
}

#[test]
fn an_old_result_does_not_replace_a_newer_one() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    let old = state.hearings.result.clone().expect("report");
    let found = update(&mut state, Event::Key(KeyEvent::new(KeyCode::Char('3'), KeyModifiers::NONE), None));
    // Between the edit and its analysis the old report is marked.
    let shown = screen(&state, (80, 24));
    assert!(shown.contains("Groups of riff~"), "{shown}");
    answer(&mut state, found);
    let shown = screen(&state, (80, 24));
    assert!(shown.contains("Groups of riff "), "{shown}");
    update(&mut state, Event::Analysed { revision: 1, options: old.options, report: old.report });
    assert_eq!(state.hearings.result.as_ref().map(|r| r.revision), Some(state.revision()));
}

#[test]
fn the_mouse_moves_and_selects() {
    let mut state = open(groove(".... ...."), PLAIN, (80, 24));
    let mut mouse = |kind, column, row| {
        update(&mut state, Event::Mouse(MouseEvent { kind, column, row, modifiers: KeyModifiers::NONE }));
        (state.session.cursor().place.cell, state.session.selection().is_some())
    };
    // The cells start after the names and a bar line, two columns each.
    assert_eq!(mouse(MouseEventKind::Down(MouseButton::Left), 13 + 4, 3), (2, false));
    assert_eq!(mouse(MouseEventKind::Drag(MouseButton::Left), 13 + 9, 3), (4, true));
    assert_eq!(mouse(MouseEventKind::Up(MouseButton::Left), 13 + 9, 3), (4, true));
    assert_eq!(mouse(MouseEventKind::Down(MouseButton::Left), 70, 20), (4, true));
    assert_eq!(mouse(MouseEventKind::ScrollUp, 20, 3), (0, false));
}

#[test]
fn the_play_request_has_the_loop_and_the_speed() {
    let mut state = open(groove("x..x ..x. | x... ...."), PLAIN, (80, 24));
    let found = press(&mut state, "s right right l l enter % \"50\" enter K");
    let Some(Effect::Play(sounding, None)) = found.iter().find(|e| matches!(e, Effect::Play(..))) else {
        panic!("{found:?}")
    };
    let PlayRequest::Loop(playing) = &**sounding else { panic!("{sounding:?}") };
    let to = Time::new(3, 16).expect("three sixteenths");
    assert_eq!(playing.range, crate::jobs::Range::within(0, Time::ZERO, to));
    let Some(Effect::Change(sounding)) = found.last() else { panic!("{found:?}") };
    let PlayRequest::Loop(playing) = &**sounding else { panic!("{sounding:?}") };
    assert_eq!(playing.speed, Fraction::new(1, 2).expect("half"));
    assert!(playing.layers && playing.hearings.len() == 1 && playing.hearings[0].seconds.len() > 1);
}

#[test]
fn volumes_are_bounded_shown_and_saved() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    let found = press(&mut state, "' ' k enter");
    let level = |e: &Effect| if let Effect::SetSound(l) = e { Some(l.volume_db) } else { None };
    let kept: Vec<f64> = found.iter().filter_map(level).collect();
    assert_eq!(kept, [-2.0, -4.0]);
    assert!(screen(&state, (80, 24)).contains("vol -4"));
    // A change of the click volume changes playback, also at its bound.
    let found = press(&mut state, &"f \"click-up\" enter ".repeat(5));
    let Some(Effect::Change(sounding)) = found.last() else { panic!("{found:?}") };
    let PlayRequest::Loop(playing) = &**sounding else { panic!("{sounding:?}") };
    assert_eq!(playing.click_db, 6.0);
    assert!(screen(&state, (80, 24)).contains("click +6"));
    press(&mut state, &"' ".repeat(30));
    assert!(screen(&state, (80, 24)).contains("vol -40"));
    for _ in 0..30 {
        press_char(&mut state, '"');
    }
    assert!(!screen(&state, (80, 24)).contains("vol "), "the default volume is the loudest one");
}

fn press_char(state: &mut State, c: char) {
    update(state, Event::Key(KeyEvent::new(KeyCode::Char(c), KeyModifiers::NONE), None));
}

fn screen(state: &State, (width, height): (u16, u16)) -> String {
    let mut state = state.clone();
    update(&mut state, Event::Resize(width, height));
    let mut terminal = Terminal::new(TestBackend::new(width, height)).expect("test backend");
    terminal.draw(|frame| view(&state, frame)).expect("draws");
    let buffer = terminal.backend().buffer();
    let line = |y| (0..width).map(|x| buffer[(x, y)].symbol()).collect::<String>().trim_end().to_owned();
    (0..height).map(line).collect::<Vec<_>>().join("\n")
}

/// A figure of eleven sixteenths over 4/4 with a beat under it, from the ferry crew.
fn ferry() -> State {
    let tempo = Tempo::new(Fraction::whole(132), quarter()).expect("tempo");
    let groove = Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 4).expect("groove");
    let mut state = open(groove.titled("mooring line", "invented"), UNICODE, (80, 24));
    press(
        &mut state,
        "g \"5(4+4+3)+4+4\" enter p \"E2\" enter ctrl-home X n \"deck kick\" enter home 4 4 4 4 4 4 4 4 home",
    );
    press(&mut state, "shift-right shift-right ctrl-c esc home");
    state
}

#[test]
fn whole_screens() {
    let mut state = ferry();
    insta::assert_snapshot!("grid_80x24", screen(&state, (80, 24)));
    insta::assert_snapshot!("grid_60x18", screen(&state, (60, 18)));
    insta::assert_snapshot!("grid_200x60", screen(&state, (200, 60)));
    press(&mut state, "enter shift-down shift-right");
    update(&mut state, Event::Playback(PlaybackEvent::Tick(Some(Position { section: 0, pass: 0, wholes: 0.55 }))));
    state.view.theme = PLAIN;
    insta::assert_snapshot!("selection_and_playhead_ascii_80x24", screen(&state, (80, 24)));
    press(&mut state, "esc h");
    insta::assert_snapshot!("hearings_ascii_80x24", screen(&state, (80, 24)));
    press(&mut state, "esc f \"bar\"");
    insta::assert_snapshot!("find_ascii_80x24", screen(&state, (80, 24)));
    press(&mut state, "esc ctrl-q");
    insta::assert_snapshot!("too_small_20x3", screen(&state, (20, 3)));
}

#[test]
fn ascii_screens_have_ascii_characters_only() {
    let mut state = ferry();
    state.view.theme = PLAIN;
    for keys in ["", "h", "tab", "esc ?", "esc f", "esc T"] {
        press(&mut state, keys);
        for size in [(80, 24), (200, 60), (60, 18)] {
            let shown = screen(&state, size);
            assert!(shown.chars().all(|c| c == '\n' || (' '..='~').contains(&c)), "{keys}: {shown}");
        }
    }
}

#[test]
fn without_colours_everything_can_be_distinguished() {
    // Attacks by their accents, the cursor by its mark, a muted layer by its letter.
    let mut state = open(groove("xoX- ...."), PLAIN, (80, 24));
    press(&mut state, "m right");
    let shown = screen(&state, (80, 24));
    let row = shown.lines().nth(3).expect("the layer");
    assert!(row.starts_with(">riff     m"), "{row}");
    assert!(row.contains("|x o X6- ' . . . |"), "{row}");
    assert_eq!(shown.lines().nth(1).expect("marks").find('v'), Some(15));
    // Five levels, and flams within their cells.
    let state = open(groove("/xsSo ./x.."), PLAIN, (80, 24));
    let shown = screen(&state, (80, 24));
    let row = shown.lines().nth(3).expect("the layer");
    assert!(row.contains("|x/s S o2' x/3 . |"), "{row}");
}

#[test]
fn every_part_of_the_screen_is_shown_in_every_window() {
    let state = ferry();
    for size in [(80, 24), (60, 18), (200, 60)] {
        let shown = screen(&state, size);
        for words in ["mooring line", "4/4", "132", "riff", "deck", "Landings", "Heard in", "Groups of", "stopped"] {
            assert!(shown.contains(words), "{words} at {size:?}\n{shown}");
        }
    }
}
