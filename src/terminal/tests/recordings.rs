//! The recording under the groove: setting it, its anchors, its lane and what is heard of it.

use super::*;
use crate::jobs::{LoadedRecording, RecordingEvent};
use crate::rhythm::Micros;

const CELLS: &str = "x..x ..x. | x... x... | x..x ..x. | x... x...";

/// A groove over a recording of two seconds with a stroke at each half second; it has a bar of 0.8 s.
fn anchored(anchors: &str) -> State {
    let mut state = open(groove(CELLS), PLAIN, (80, 24));
    press(&mut state, "R f \"winch.flac\" enter");
    press(&mut state, anchors);
    load(&mut state, "winch.flac");
    state
}

pub(super) fn load(state: &mut State, file: &str) -> Vec<Effect> {
    let stroke = |k: usize| if k % 24_000 < 2400 { 0.5 } else { 0.0 };
    let loaded = LoadedRecording::of_samples(file, 48_000, &(0..96_000).map(stroke).collect::<Vec<f32>>());
    update(state, Event::Recording(RecordingEvent::Loaded(Arc::new(loaded), Vec::new())))
}

fn anchors(state: &State) -> Vec<(u32, i64)> {
    let all = state.groove().recording().map_or(&[][..], |r| r.anchors());
    all.iter().map(|a| (a.place.bar, a.at.0 / 1000)).collect()
}

#[test]
fn a_recording_and_its_anchors_are_set_by_keys_and_undone() {
    let mut state = open(groove(CELLS), PLAIN, (80, 24));
    assert!(press(&mut state, "R a \"1\" enter").is_empty());
    assert!(screen(&state, (80, 24)).contains("the groove has no recording"));
    let effects = press(&mut state, "R f \"winch.flac\" enter");
    assert!(effects.iter().any(|e| matches!(e, Effect::TrySounds(_))), "{effects:?}");
    press(&mut state, "R a \"0.5\" enter ctrl-right ctrl-right R a \"0:02.125\" enter");
    assert_eq!(anchors(&state), [(0, 500), (1, 2125)]);
    // The same cell again moves its anchor; one that would be before the first is refused.
    press(&mut state, "R a \"1.3\" enter");
    assert_eq!(anchors(&state), [(0, 500), (1, 1300)]);
    press(&mut state, "R a \"0.4\" enter");
    assert_eq!(anchors(&state), [(0, 500), (1, 1300)]);
    press(&mut state, "esc R right R up R up R left R down");
    assert_eq!(anchors(&state), [(0, 500), (1, 1301)]);
    press(&mut state, "R d");
    assert_eq!(anchors(&state), [(0, 500)]);
    press(&mut state, "ctrl-z");
    assert_eq!(anchors(&state), [(0, 500), (1, 1301)]);
    let recording = state.groove().recording().expect("a recording");
    assert_eq!((&*recording.file, recording.anchors()[0].at), ("winch.flac", Micros(500_000)));
    press(&mut state, "R x");
    assert!(anchors(&state).is_empty() && screen(&state, (80, 24)).contains("2 anchors removed"));
    press(&mut state, "ctrl-z R f ctrl-u enter");
    assert_eq!(state.groove().recording(), None);
    press(&mut state, "ctrl-z");
    assert_eq!(anchors(&state).len(), 2);
}

#[test]
fn the_list_of_anchors_goes_to_one_and_removes_one() {
    let mut state = anchored("R a \"0.5\" enter ctrl-right ctrl-right R a \"1.25\" enter ctrl-right R a \"1.7\" enter");
    press(&mut state, "ctrl-home R l");
    let shown = screen(&state, (80, 24));
    assert!(shown.contains("Anchors of winch.flac: 3") && shown.contains("bar 2 beat 2"), "{shown}");
    // Two beats of the groove in 0.75 s, and one in 0.45 s.
    assert!(shown.contains("160.0 to the next") && shown.contains("133.3 to the next"), "{shown}");
    press(&mut state, "down enter");
    assert_eq!(state.session.cursor().place.cell, 8);
    press(&mut state, "R l down delete");
    assert_eq!(anchors(&state), [(0, 500), (1, 1250)]);
    press(&mut state, "delete delete");
    assert!(anchors(&state).is_empty() && state.overlay == super::super::Overlay::None);
}

#[test]
fn anchors_are_marked_over_their_cells() {
    let state = anchored("R a \"0.1\" enter ctrl-right ctrl-right R a \"0.9\" enter");
    let shown = screen(&state, (80, 24));
    let numbers = shown.lines().find(|l| l.contains("*1") || l.contains("*v")).expect("the bar numbers");
    assert_eq!(numbers.matches('*').count(), 2, "{shown}");
}

/// What the player is asked for: whether the layers sound, whether the recording does, and the anchors of the groove.
fn requested(effects: &[Effect]) -> Option<(bool, bool, usize)> {
    effects.iter().rev().find_map(|e| match e {
        Effect::Play(request, _) | Effect::Change(request) => match &**request {
            PlayRequest::Loop(spec) | PlayRequest::CountedLoop(spec) => {
                let anchors = spec.groove.recording().map_or(0, |r| r.anchors().len());
                Some((spec.layers, spec.recording.is_some(), anchors))
            }
            PlayRequest::Sequence(_) => None,
        },
        _ => None,
    })
}

#[test]
fn the_groove_the_recording_or_both_are_heard() {
    let mut state = anchored("R a \"0.1\" enter ctrl-right ctrl-right R a \"0.9\" enter");
    assert_eq!(requested(&press(&mut state, "enter")), Some((true, true, 2)));
    assert!(screen(&state, (80, 24)).contains("groove + recording"));
    assert_eq!(requested(&press(&mut state, "R m")), Some((false, true, 2)));
    assert_eq!(requested(&press(&mut state, "R m")), Some((true, false, 2)));
    assert_eq!(requested(&press(&mut state, "R m")), Some((true, true, 2)));
    // A recording that cannot be read is left out, and the groove plays at its written tempos.
    let failed = RecordingEvent::Failed("winch.flac: cannot read the file".into());
    assert_eq!(requested(&update(&mut state, Event::Recording(failed))), Some((true, false, 2)));
    assert!(screen(&state, (80, 24)).contains("winch.flac: cannot read the file"));
    assert_eq!(requested(&load(&mut state, "winch.flac")), Some((true, true, 2)));
    // So is one that the groove no longer has.
    assert_eq!(requested(&press(&mut state, "R f ctrl-u \"haul.wav\" enter")), Some((true, false, 2)));
    load(&mut state, "winch.flac");
    assert!(state.loaded_recording().is_none());
}

#[test]
fn before_there_is_an_anchor_the_recording_begins_with_the_groove() {
    let mut state = anchored("");
    assert_eq!(requested(&press(&mut state, "enter")), Some((true, true, 1)));
    assert!(anchors(&state).is_empty(), "only what plays has the anchor");
}

#[test]
fn a_recording_is_not_exported() {
    let mut state = anchored("R a \"0.1\" enter R m");
    let effects = press(&mut state, "F w ctrl-u \"out.wav\" enter");
    let take = effects.iter().find_map(|e| match e {
        Effect::RunJob(job) => match &job.kind {
            crate::jobs::JobKind::Render(take, _) => Some(take),
            _ => None,
        },
        _ => None,
    });
    let take = take.expect("a job");
    assert!(take.layers && take.recording.is_none(), "{take:?}");
}

#[test]
fn the_lane_shows_strokes_over_the_cells_where_they_are_heard() {
    // A beat lasts half a second in the recording, with a stroke at each, from the first frame on.
    let state = anchored("R a \"0\" enter ctrl-right ctrl-right R a \"1\" enter");
    let shown = screen(&state, (80, 24));
    let lane: Vec<char> = shown.lines().nth(2).expect("a lane").chars().collect();
    let strokes: Vec<usize> = (12..lane.len()).filter(|x| lane[*x] == '#' && lane[x - 1] != '#').collect();
    // Each bar has a line and two beats of eight columns; after four beats the recording ends.
    assert_eq!(strokes, [13, 21, 30, 38], "{shown}");
    assert!(lane[46..].iter().all(|c| matches!(c, ' ' | '|')), "{shown}");
    assert!(!screen(&open(groove(CELLS), PLAIN, (80, 24)), (80, 24)).contains("recording"));
}

#[test]
fn screens_with_a_recording() {
    let mut state = anchored("R a \"0.1\" enter ctrl-right ctrl-right R a \"0.9\" enter");
    insta::assert_snapshot!("recording_80x24", screen(&state, (80, 24)));
    insta::assert_snapshot!("recording_60x18", screen(&state, (60, 18)));
    insta::assert_snapshot!("recording_200x60", screen(&state, (200, 60)));
    press(&mut state, "R l");
    insta::assert_snapshot!("anchors_80x24", screen(&state, (80, 24)));
}
