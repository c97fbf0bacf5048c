//! Writing down a recording: onsets in the cells, accepted by keys, and listening to what is written.

use super::recordings::load;
use super::*;
use crate::jobs::{Onset, RecordingEvent};
use crate::terminal::playback::playing::LoopMode;

/// Cells of 0.1 s, two beats of 0.4 s to a bar.
const BLANK: &str = ".... .... | .... ....";

/// An onset with its sound in the low, the middle or the high band.
pub(super) fn onset(seconds: f64, band: usize) -> Onset {
    let mut db = [-40.0, -20.0, -40.0];
    db[band] = 0.0;
    Onset::of_bands(seconds, db)
}

/// A groove at 150 over a recording that begins with it, with these onsets.
pub(super) fn transcribing(drawing: &str, onsets: &[Onset]) -> State {
    let mut state = open(groove(drawing), PLAIN, (80, 24));
    press(&mut state, "R f \"winch.flac\" enter R a \"0\" enter");
    load(&mut state, "winch.flac");
    update(&mut state, Event::Recording(RecordingEvent::Onsets(onsets.into())));
    state
}

/// Low at the first cell, middle at the third, high at the sixth, the second bar's first and fourth.
fn five() -> State {
    transcribing(BLANK, &[onset(0.01, 0), onset(0.212, 1), onset(0.48, 2), onset(0.79, 0), onset(1.1, 2)])
}

fn cell(state: &State) -> usize {
    state.session.cursor().place.cell
}

fn shown(state: &State) -> String {
    screen(state, (80, 24))
}

#[test]
fn onsets_are_accepted_one_by_one() {
    let mut state = five();
    press(&mut state, "G x");
    assert_eq!((drawn(&state, 0).as_str(), cell(&state)), ("x... .... | .... ....", 2));
    assert!(shown(&state).contains("12 ms late"), "{}", shown(&state));
    press(&mut state, "ctrl-o");
    assert_eq!((drawn(&state, 0).as_str(), cell(&state)), ("x.x. .... | .... ....", 5));
    assert!(shown(&state).contains("20 ms early"), "{}", shown(&state));
    // One is left out, and the next one is early, so that it lies in the bar before.
    press(&mut state, "ctrl-n");
    assert_eq!(cell(&state), 8);
    press(&mut state, "ctrl-o ctrl-o");
    assert_eq!((drawn(&state, 0).as_str(), cell(&state)), ("x.x. .... | x..x ....", 11));
    press(&mut state, "G right");
    assert!(shown(&state).contains("no onset without an attack from here on"), "{}", shown(&state));
    press(&mut state, "G left");
    assert_eq!(cell(&state), 5);
    press(&mut state, "right G x");
    assert!(shown(&state).contains("no onset in this cell; Ctrl-N goes to the next one"), "{}", shown(&state));
    press(&mut state, "ctrl-z ctrl-z");
    assert_eq!(drawn(&state, 0), "x.x. .... | .... ....");
}

#[test]
fn the_onsets_of_the_selection_or_the_bar_are_one_step() {
    let mut state = five();
    press(&mut state, "G s");
    assert_eq!((drawn(&state, 0).as_str(), cell(&state)), ("x.x. .x.. | .... ....", 8));
    assert!(shown(&state).contains("3 attacks entered from onsets"), "{}", shown(&state));
    press(&mut state, "ctrl-z");
    assert_eq!(drawn(&state, 0), BLANK);
    // A hold is cut where an onset is.
    press(&mut state, "home 4 home s ctrl-right G s");
    assert_eq!(drawn(&state, 0), "x-x- .... | .... ....");
    press(&mut state, "esc esc ctrl-z esc G s G s");
    assert_eq!(drawn(&state, 0), "x-x- .x.. | x..x ....");
    press(&mut state, "ctrl-home G s");
    assert!(shown(&state).contains("the attacks of these onsets are there"), "{}", shown(&state));
}

#[test]
fn a_layer_takes_the_onsets_of_its_band() {
    let mut state = five();
    press(&mut state, "L k");
    for (keys, cells) in [("G b", "x... ...."), ("down G b G b", "..x. ...."), ("down G b G b G b", ".... .x..")] {
        press(&mut state, keys);
        press(&mut state, "home G s");
        let layer = state.session.cursor().place.layer;
        assert!(drawn(&state, layer).starts_with(cells), "{}", drawn(&state, layer));
    }
    press(&mut state, "G b");
    assert!(shown(&state).contains("layer 'hat': all onsets"), "{}", shown(&state));
}

#[test]
fn onsets_stand_in_empty_cells_until_they_are_hidden() {
    let mut state = five();
    let row = |state: &State| shown(state).lines().find(|l| l.contains("riff")).expect("the layer").to_owned();
    assert_eq!(row(&state).matches(['v', '+', '^']).count(), 5, "{}", row(&state));
    press(&mut state, "3");
    assert_eq!(row(&state).matches(['v', '+', '^']).count(), 4, "also in a hold: {}", row(&state));
    press(&mut state, "G o");
    assert_eq!(row(&state).matches(['v', '+', '^']).count(), 0, "{}", row(&state));
    press(&mut state, "G o");
    insta::assert_snapshot!("transcription_80x24", shown(&state));
    insta::assert_snapshot!("transcription_200x60", screen(&state, (200, 60)));
}

#[test]
fn an_onset_belongs_to_the_nearest_cell_as_it_sounds() {
    let mut state = transcribing(BLANK, &[onset(0.06, 0), onset(1.71, 1)]);
    press(&mut state, "right");
    assert!(shown(&state).contains("40 ms early"), "{}", shown(&state));
    press(&mut state, "G o");
    assert!(!shown(&state).contains("40 ms"), "{}", shown(&state));
    // With swing the second cell begins 33 ms later.
    press(&mut state, "G o S w \"2:1\" enter left");
    assert!(shown(&state).contains("60 ms late"), "{}", shown(&state));
    // The second pass through the section begins at 1.6 s.
    press(&mut state, "S w ctrl-u enter S p \"2\" enter right enter");
    assert!(state.onset_at_cursor().is_some_and(|(_, ms)| (ms + 40.0).abs() < 0.1));
    let position = Position { section: 0, pass: 1, wholes: 0.1 };
    update(&mut state, Event::Playback(PlaybackEvent::Tick(Some(position))));
    assert!(state.onset_at_cursor().is_some_and(|(_, ms)| (ms - 10.0).abs() < 0.1));
    // The anchors stretch the beats: half a beat later the first bar is longer.
    press(&mut state, "enter ctrl-home ctrl-right ctrl-right R a \"1.2\" enter home");
    assert!(state.onset_at_cursor().is_some_and(|(_, ms)| (ms - 60.0).abs() < 0.1));
}

#[test]
fn what_is_missing_for_onsets_is_said() {
    let mut state = open(groove(BLANK), PLAIN, (80, 24));
    let says = |state: &mut State, text: &str| {
        for keys in ["G x", "G s", "G right", "G l"] {
            press(state, keys);
            assert!(shown(state).contains(text), "{}", shown(state));
        }
    };
    says(&mut state, "the groove has no recording; R f sets one");
    press(&mut state, "R f \"winch.flac\" enter");
    says(&mut state, "the recording is not read yet");
    load(&mut state, "winch.flac");
    says(&mut state, "the onsets of the recording are not found yet");
    update(&mut state, Event::Recording(RecordingEvent::Onsets([onset(0.5, 0)].into())));
    for keys in ["G x", "G s", "G l"] {
        press(&mut state, keys);
        assert!(shown(&state).contains("no anchor yet; R a says when"), "{}", shown(&state));
    }
    press(&mut state, "R a \"0\" enter G s");
    assert_eq!(drawn(&state, 0), ".... .x.. | .... ....");
    // Another recording has onsets of its own.
    load(&mut state, "winch.flac");
    assert!(state.onsets().is_none());
}

#[test]
fn the_surroundings_of_the_cursor_are_heard_slowly_and_then_all_is_as_before() {
    let mut state = five();
    press(&mut state, "P s \"80\" enter ctrl-right :");
    let before = (state.playback.speed_percent, state.playback.loop_mode, state.session.loop_region());
    let effects = press(&mut state, "right Y");
    assert!(effects.iter().any(|e| matches!(e, Effect::Play(..))), "{effects:?}");
    let region = state.session.loop_region().expect("a region");
    let eighths = |n: i64| Time::new(n, 8).expect("eighths");
    assert_eq!((region.start.at, region.end.at, state.playback.speed_percent), (eighths(1), eighths(5), 50));
    // Elsewhere it goes on there.
    press(&mut state, "home Y");
    let region = state.session.loop_region().expect("a region");
    assert_eq!((region.start.at, region.end.at, state.playback.is_playing), (Time::ZERO, eighths(3), true));
    press(&mut state, "Y");
    let after = (state.playback.speed_percent, state.playback.loop_mode, state.session.loop_region());
    assert_eq!((before, state.playback.is_playing), (after, false));
    press(&mut state, "P x Y enter");
    assert_eq!((state.session.loop_region(), state.playback.speed_percent), (None, 80));
}

#[test]
fn the_loop_moves_on_with_the_entry_if_it_is_told_to() {
    let mut state = open(groove(".... .... | .... .... | .... .... | .... ...."), PLAIN, (80, 24));
    let bars = |state: &State| {
        let region = state.session.loop_region().expect("a region");
        (region.start.at.wholes().numer() * 2 / region.start.at.wholes().denom(), region.end.at)
    };
    press(&mut state, ": 4 4");
    assert_eq!(bars(&state), (0, Time::new(1, 2).expect("a bar")), "it stays");
    press(&mut state, "home G j 3 3");
    assert_eq!(bars(&state), (0, Time::new(1, 2).expect("a bar")), "the bar is not full");
    press(&mut state, "2");
    assert_eq!(bars(&state), (1, Time::new(2, 2).expect("two bars")));
    assert!(shown(&state).contains("loop: bar 2"), "{}", shown(&state));
    // Over a bar line, and past several bars.
    press(&mut state, "g \"5+5\" enter");
    assert_eq!(bars(&state), (2, Time::new(3, 2).expect("three bars")));
    press(&mut state, "8 G j 8");
    assert_eq!(bars(&state), (3, Time::new(4, 2).expect("four bars")));
    // Without a loop it begins with the bar at the cursor.
    press(&mut state, "P x home G j");
    assert_eq!((bars(&state), state.playback.loop_mode), ((0, Time::new(1, 2).expect("a bar")), LoopMode::Region));
}
