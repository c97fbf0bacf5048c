//! Laying the grid over a recording by keys.

use super::*;
use crate::jobs::grid::{GridChoices, GridRequest, find};
use crate::jobs::{LoadedRecording, Onset, RecordingEvent};
use crate::rhythm::AnchorMap;
use crate::terminal::Overlay;

/// A stroke on every eighth at 120, from 1.2 s on, kick on 1 and after 3, snare on 2 and 4.
fn onsets() -> Vec<Onset> {
    let stroke = |k: usize| {
        let bands = match k % 8 {
            0 | 5 => [0.0, -18.0, -30.0],
            2 | 6 => [-16.0, -2.0, -8.0],
            _ => [-40.0, -20.0, -2.0],
        };
        Onset::of_bands(1.2 + 0.25 * k as f64, bands)
    };
    (0..80).map(stroke).collect()
}

fn recorded(drawing: &str) -> State {
    let mut state = open(groove(drawing), PLAIN, (80, 24));
    press(&mut state, "R f \"winch.flac\" enter");
    let loaded = LoadedRecording::of_samples("winch.flac", 8_000, &vec![0.1; 24 * 8_000]);
    update(&mut state, Event::Recording(RecordingEvent::Loaded(Arc::new(loaded), Vec::new())));
    update(&mut state, Event::Recording(RecordingEvent::Onsets(onsets().into())));
    state
}

/// Presses keys and searches as the thread of the shell would.
fn searched(state: &mut State, keys: &str) -> Vec<Effect> {
    let mut left = Vec::new();
    for effect in press(state, keys) {
        match effect {
            Effect::FindGrid(job) => {
                let effects = update(state, Event::GridFound(job.revision, find(&job)));
                left.extend(answer(state, effects));
            }
            effect => left.push(effect),
        }
    }
    left
}

fn shown(state: &State) -> String {
    screen(state, (80, 24))
}

fn anchors(state: &State) -> Vec<f64> {
    let recording = state.groove().recording().expect("a recording");
    recording.anchors().iter().map(|a| a.at.0 as f64 * 1e-6).collect()
}

#[test]
fn a_proposal_is_heard_before_it_is_taken_in_one_step() {
    let mut state = recorded(".... ....");
    searched(&mut state, "G p");
    let list = shown(&state);
    assert!(list.contains("Tempos and meters") && list.contains("1/4 = 120"), "{list}");
    insta::assert_snapshot!("proposals_80x24", list);
    let effects = press(&mut state, "p");
    let played = effects.iter().rev().find_map(|e| match e {
        Effect::Play(request, start) => Some((request.clone(), *start)),
        _ => None,
    });
    let (request, _) = played.expect("it plays");
    let PlayRequest::Loop(spec) = *request else { panic!("a loop") };
    assert!(spec.recording.is_some() && spec.groove.sections()[0].bars > 4, "{spec:?}");
    // The next one goes on at the same instant, here 5.2 s: two bars into the first one.
    update(&mut state, Event::Playback(PlaybackEvent::Tick(Some(Position { section: 0, pass: 0, wholes: 2.0 }))));
    let effects = press(&mut state, "down");
    let resumed = effects.iter().find_map(|e| match e {
        Effect::Play(request, Some(start)) => Some((request.clone(), start.position)),
        _ => None,
    });
    let (request, position) = resumed.expect("it plays on");
    let PlayRequest::Loop(spec) = *request else { panic!("a loop") };
    let second = &spec.groove;
    let per_minute = second.sections()[0].tempo.wholes_per_minute();
    let score = position.wholes * 60e9 * per_minute.denom() as f64 / per_minute.numer() as f64;
    let heard = AnchorMap::of(second).expect("anchors").recording_time(score as i64) as f64 * 1e-9;
    assert!((heard - 5.2).abs() < 0.1, "{heard} {position:?}");
    press(&mut state, "up enter");
    assert_eq!(state.overlay, Overlay::None);
    let section = &state.groove().sections()[0];
    assert_eq!((section.meter.to_string(), section.tempo.bpm()), ("4/4".into(), Fraction::whole(120)));
    assert_eq!(anchors(&state).len(), usize::from(section.bars));
    press(&mut state, "ctrl-z");
    assert_eq!((state.groove().sections()[0].meter.to_string(), anchors(&state).len()), ("2/4".into(), 0));
}

#[test]
fn leaving_the_list_changes_nothing_and_digits_take() {
    let mut state = recorded(".... ....");
    let before = state.groove().clone();
    searched(&mut state, "G p");
    press(&mut state, "down esc");
    assert!(Arc::ptr_eq(&before, state.groove()) && shown(&state).contains("the groove is unchanged"));
    searched(&mut state, "G p");
    press(&mut state, "2");
    assert!(!anchors(&state).is_empty() && state.overlay == Overlay::None);
    // What was searched in another state of the groove is not taken.
    let found = Err::<GridChoices, String>("none".into());
    update(&mut state, Event::GridFound(1, found));
    assert!(shown(&state).contains("none"));
}

#[test]
fn two_marks_and_a_number_of_beats_lay_the_grid_from_the_cursor_on() {
    let mut state = recorded(".... ....");
    searched(&mut state, "G m \"1.22 9.18 16\" enter");
    let found = anchors(&state);
    assert_eq!(found.len(), 9, "{found:?}");
    for (bar, at) in found.iter().enumerate() {
        assert!((at - 1.2 - bar as f64).abs() < 0.005, "bar {bar}: {at}");
    }
    assert!(shown(&state).contains("120.0 BPM, the marks moved by"), "{}", shown(&state));
    press(&mut state, "G m \"9 1 4\" enter");
    assert!(shown(&state).contains("expected the second time after the first"), "{}", shown(&state));
}

#[test]
fn tapped_beats_are_moved_to_the_attacks() {
    let mut state = recorded(".... ....");
    press(&mut state, "G t");
    assert!(shown(&state).contains("Tap the beats of the recording: 0 taps"), "{}", shown(&state));
    let tap = |state: &mut State, seconds: f64| {
        // The groove that stands for the recording has 4/4 at 20: a whole note lasts 12 s.
        let position = Position { section: 0, pass: 0, wholes: seconds / 12.0 };
        let tapped = crate::jobs::play_request::TapPosition { position, loop_passes: 0, buffer_ms: 10.0 };
        update(state, Event::Playback(PlaybackEvent::Tapped(tapped)));
    };
    (0..16).for_each(|k| tap(&mut state, 1.17 + 0.5 * f64::from(k)));
    searched(&mut state, "esc");
    let found = anchors(&state);
    for (bar, at) in found.iter().take(7).enumerate() {
        assert!((at - 1.2 - bar as f64).abs() < 0.006, "bar {bar}: {at}");
    }
    assert!(shown(&state).contains("16 beats"), "{}", shown(&state));
    let before = state.groove().clone();
    press(&mut state, "G t esc");
    assert!(Arc::ptr_eq(&before, state.groove()));
}

#[test]
fn attacks_are_written_as_layers_and_the_groove_is_found_again() {
    let mut state = recorded(".... ....");
    searched(&mut state, "G w");
    assert!(shown(&state).contains("does not lie over the recording yet"), "{}", shown(&state));
    searched(&mut state, "G p");
    press(&mut state, "enter");
    searched(&mut state, "G w");
    assert!(shown(&state).contains("3 new layers"), "{}", shown(&state));
    press(&mut state, "enter");
    let names: Vec<&str> = state.groove().layers().iter().map(|l| l.name.as_str()).collect();
    assert!(names.len() == 3 && ["kick", "snare", "hat"].iter().all(|n| names.contains(n)), "{names:?}");
    let attacks: usize = (0..3).map(|l| state.groove().events(l).len()).sum();
    assert_eq!(attacks, 80);
    press(&mut state, "R x");
    searched(&mut state, "G a");
    if let Overlay::GridChoices(_) = state.overlay {
        press(&mut state, "1");
    }
    assert!(anchors(&state).len() > 9, "{:?}", anchors(&state));
}

#[test]
fn a_search_without_a_recording_or_attacks_says_what_is_missing() {
    let mut state = open(groove(".... ...."), PLAIN, (80, 24));
    press(&mut state, "G p");
    assert!(shown(&state).contains("the groove has no recording; R f sets one"), "{}", shown(&state));
    press(&mut state, "G a");
    assert!(shown(&state).contains("no attacks to find"), "{}", shown(&state));
    press(&mut state, "R f \"winch.flac\" enter G p");
    assert!(shown(&state).contains("not found yet"), "{}", shown(&state));
}

#[test]
fn a_line_of_groups_is_entered_and_found() {
    let mut state = recorded(".... .... | .... ....");
    // 4+4 sixteenths at 150 are near the beats at 120; the tempo is found.
    let effects = press(&mut state, "G g \"2+2\" enter");
    let request = effects.iter().find_map(|e| match e {
        Effect::FindGrid(job) => Some(job.request.clone()),
        _ => None,
    });
    assert!(matches!(request, Some(GridRequest::Groups { ref groups, .. }) if *groups == [2, 2]), "{request:?}");
}
