//! The onsets in the lane of the recording, and the list of what is played against what is written.

use super::recordings::load;
use super::transcription::{onset, transcribing};
use super::*;
use crate::jobs::{Onset, RecordingEvent};
use crate::terminal::Overlay;

fn shown(state: &State) -> String {
    screen(state, (80, 24))
}

/// The columns of the lane's upper row with one of these marks, and the marks.
fn marks(state: &State, of: &str) -> Vec<(usize, char)> {
    let shown = shown(state);
    let row = shown.lines().nth(1).expect("the lane");
    row.chars().enumerate().skip(12).filter(|(_, c)| of.contains(*c)).collect()
}

#[test]
fn onsets_are_marked_over_the_columns_where_they_are_heard() {
    let sure = |seconds, band, confidence| Onset { confidence, ..onset(seconds, band) };
    let near = [sure(0.0, 0, 0.9), sure(0.21, 1, 0.6), sure(0.5, 2, 0.4), sure(0.52, 0, 0.9), sure(1.59, 1, 0.9)];
    let mut state = transcribing(".... .... | .... ....", &near);
    // A cell of 0.1 s has two columns. Of two onsets in a column the more certain one is seen.
    assert_eq!(marks(&state, "v+^"), [(13, 'v'), (17, '+'), (23, 'v'), (45, '+')], "{}", shown(&state));
    state.view.theme = UNICODE;
    assert_eq!(marks(&state, "▾▪▴▿▫▵"), [(13, '▾'), (17, '▪'), (23, '▾'), (45, '▪')], "{}", shown(&state));
    press(&mut state, "G o");
    assert_eq!(marks(&state, "▾▪▴▿▫▵"), [], "{}", shown(&state));
}

/// A groove whose recording has no anchor.
fn without_anchor(onsets: &[Onset]) -> State {
    let mut state = open(groove(".... .... | .... ...."), PLAIN, (80, 24));
    press(&mut state, "R f \"winch.flac\" enter");
    load(&mut state, "winch.flac");
    update(&mut state, Event::Recording(RecordingEvent::Onsets(onsets.into())));
    state
}

#[test]
fn before_there_is_an_anchor_the_lane_is_against_seconds() {
    let mut state = without_anchor(&[onset(0.26, 0), onset(1.01, 1), onset(1.8, 2)]);
    // 50 ms a column.
    assert_eq!(marks(&state, "v+^"), [(17, 'v'), (32, '+'), (48, '^')], "{}", shown(&state));
    assert!(shown(&state).lines().nth(1).expect("the lane").contains("|0:02"), "{}", shown(&state));
    assert!(!shown(&state).lines().any(|l| l.contains("riff") && l.contains('^')), "no cell is known");
    press(&mut state, "z");
    assert!(shown(&state).contains("a column of the lane is 20 ms"), "{}", shown(&state));
    press(&mut state, "Z Z");
    assert!(shown(&state).contains("a column of the lane is 100 ms"), "{}", shown(&state));
    // The mark goes from onset to onset, and the lane with it.
    press(&mut state, "z z z z ctrl-n");
    assert!(
        shown(&state).contains("onset at 0:00.260 (low, 90%); R a puts the cursor's cell there"),
        "{}",
        shown(&state)
    );
    press(&mut state, "ctrl-n ctrl-n");
    assert_eq!(marks(&state, "^").len(), 1, "{}", shown(&state));
    press(&mut state, "ctrl-n");
    assert!(shown(&state).contains("no further onset"), "{}", shown(&state));
    press(&mut state, "G left");
    assert!(shown(&state).contains("onset at 0:01.010"), "{}", shown(&state));
    // The mark is where the groove begins in what plays.
    let played = |effects: Vec<Effect>| match &effects[..] {
        [Effect::Play(request, _) | Effect::Change(request)] => match &**request {
            PlayRequest::Loop(spec) => spec.groove.recording().expect("a recording").anchors()[0].at.0,
            other => panic!("{other:?}"),
        },
        other => panic!("{other:?}"),
    };
    assert_eq!(played(press(&mut state, "enter")), 1_010_000);
    assert_eq!(played(press(&mut state, "G left")), 260_000);
    assert_eq!(played(press(&mut state, "G left")), 0);
    assert_eq!(played(press(&mut state, "ctrl-n")), 260_000);
    press(&mut state, "enter ctrl-n");
    insta::assert_snapshot!("seconds_lane_80x24", shown(&state));
    insta::assert_snapshot!("seconds_lane_200x60", screen(&state, (200, 60)));
    press(&mut state, "R a enter");
    let anchors = state.groove().recording().expect("a recording").anchors();
    assert_eq!(anchors[0].at, crate::rhythm::Micros(1_010_000));
    assert!(shown(&state).contains("on time"), "{}", shown(&state));
}

#[test]
fn the_lane_against_seconds_follows_the_playhead() {
    let mut state = without_anchor(&[onset(0.26, 0)]);
    press(&mut state, "z z z z enter");
    let position = Position { section: 0, pass: 0, wholes: 0.9 };
    for _ in 0..100 {
        update(&mut state, Event::Playback(PlaybackEvent::Tick(Some(position))));
    }
    // 0.9 whole notes at 150 are 1.44 s; the lane shows 0.14 s.
    let start = state.transcription.lane.start;
    assert!((1_300_000_000..=1_440_000_000).contains(&start), "{start}");
}

#[test]
fn what_is_played_is_compared_with_what_is_written() {
    let onsets = [onset(0.01, 0), onset(0.212, 1), onset(0.48, 2), onset(0.79, 0), onset(0.83, 1), onset(1.1, 2)];
    let mut state = transcribing("x.x. ..x. | x... ....", &onsets);
    press(&mut state, "G l");
    let list = shown(&state);
    assert!(list.contains("3 onsets without an attack, 1 attack without an onset, at most 12 ms off"), "{list}");
    insta::assert_snapshot!("differences_80x24", list);
    insta::assert_snapshot!("differences_200x60", screen(&state, (200, 60)));
    // The second onset of a cell, then the attack.
    press(&mut state, "down enter");
    assert_eq!((state.session.cursor().place.cell, &state.overlay), (8, &Overlay::None));
    press(&mut state, "G l down down down enter");
    assert_eq!(state.session.cursor().place.cell, 6);
    // The selection, and the layers that sound.
    press(&mut state, "home s right right G l");
    assert!(shown(&state).contains("0 onsets without an attack, 0 attacks without an onset"), "{}", shown(&state));
    press(&mut state, "esc esc esc m G l");
    assert!(shown(&state).contains("nothing of the groove and no onset"), "{}", shown(&state));
}

#[test]
fn an_attack_of_any_layer_explains_an_onset_in_its_band() {
    let mut state = transcribing("x... .... | .... ....", &[onset(0.0, 0), onset(0.2, 1), onset(0.4, 0)]);
    press(&mut state, "G b L n \"snare\" enter G b G b right right x G l");
    let list = shown(&state);
    assert!(list.contains("1 onset without an attack, 0 attacks without an onset"), "{list}");
    assert!(list.contains("onset only (low, 90%)"), "{list}");
    // It is in the layer that shows it.
    press(&mut state, "enter");
    let place = state.session.cursor().place;
    assert_eq!((place.layer, place.cell), (0, 4));
}
