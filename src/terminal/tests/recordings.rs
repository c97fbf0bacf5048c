//! The recording under the groove: setting it, its anchors, its lane and what is heard of it.

use super::*;
use crate::jobs::play_request::LoopSpec;
use crate::jobs::{Channels, Job, JobKind, LoadedRecording, RecordingEvent, RecordingTone};
use crate::rhythm::Micros;
use crate::terminal::playback::playing::Mix;

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

/// The loop that the player is asked for.
fn played(effects: &[Effect]) -> Option<&LoopSpec> {
    effects.iter().rev().find_map(|e| match e {
        Effect::Play(request, _) | Effect::Change(request) => match &**request {
            PlayRequest::Loop(spec) | PlayRequest::CountedLoop(spec) => Some(spec),
            PlayRequest::Sequence(_) => None,
        },
        _ => None,
    })
}

/// Whether its layers sound, whether the recording does, and the anchors of the groove.
fn requested(effects: &[Effect]) -> Option<(bool, bool, usize)> {
    let spec = played(effects)?;
    let anchors = spec.groove.recording().map_or(0, |r| r.anchors().len());
    Some((spec.layers, spec.recording.is_some(), anchors))
}

#[test]
fn the_groove_the_recording_or_both_are_heard() {
    let mut state = anchored("R a \"0.1\" enter ctrl-right ctrl-right R a \"0.9\" enter");
    assert_eq!(requested(&press(&mut state, "enter")), Some((true, true, 2)));
    assert!(screen(&state, (80, 24)).contains("groove + recording"));
    assert_eq!(requested(&press(&mut state, "R m")), Some((true, true, 2)));
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

/// The job that is run.
fn job(effects: &[Effect]) -> &Job {
    effects.iter().find_map(|e| if let Effect::RunJob(job) = e { Some(&**job) } else { None }).expect("a job")
}

#[test]
fn a_recording_is_exported_as_it_is_heard() {
    let mut state = anchored("R a \"0.1\" enter R m R m R c R v \"-6\" enter");
    let heard = |job: &Job| match &job.kind {
        JobKind::Render(take, _) | JobKind::Ladder { take, .. } => {
            (take.layers, take.recording.map(|play| (play.tone.channels, play.db)))
        }
        JobKind::Takes { recording, .. } => {
            (false, recording.map(|sound| (sound.tone.channels, f32::from(sound.level_db))))
        }
        _ => panic!("a job without sound"),
    };
    let keys = ["F w ctrl-u \"a.wav\" enter", "F k ctrl-u \"b.wav\" enter", "F l ctrl-u \"c.wav\" enter"];
    for keys in keys {
        let effects = press(&mut state, keys);
        assert_eq!(heard(job(&effects)), (false, Some((Channels::Left, -6.0))), "{keys}");
        state.files.job = None;
    }
    // Only the groove is heard, so only it is exported.
    press(&mut state, "R m");
    let effects = press(&mut state, keys[0]);
    assert_eq!(heard(job(&effects)), (true, None));
    state.files.job = None;
    assert_eq!(heard(job(&press(&mut state, keys[1]))), (false, None));
}

#[test]
fn channels_band_pitch_and_level_are_set_by_keys_and_shown() {
    let mut state = anchored("R a \"0.1\" enter");
    let tone = |effects: &[Effect]| played(effects).expect("a request").recording.expect("a recording");
    let before = tone(&press(&mut state, "enter"));
    assert_eq!((before.tone, before.db), (RecordingTone::default(), 0.0));
    for channels in [Channels::Left, Channels::Right, Channels::Middle, Channels::Side, Channels::Both] {
        assert_eq!(tone(&press(&mut state, "R c")).tone.channels, channels);
    }
    // The file has one channel.
    press(&mut state, "R c R c R c R c");
    assert!(screen(&state, (80, 24)).contains("silent because the file has one channel"));
    assert_eq!(tone(&press(&mut state, "R b \"80-400\" enter")).tone.band, Some((80, 400)));
    assert_eq!(tone(&press(&mut state, "R t \"-12\" enter")).tone.semitones, -12);
    assert_eq!(tone(&press(&mut state, "R v \"-3\" enter")).db, -3.0);
    assert!(state.groove().recording().is_some_and(|r| r.anchors().len() == 1), "the groove is the same");
    let shown = screen(&state, (120, 24));
    assert!(shown.contains("recording (side 80-400 Hz -12 st -3 dB)"), "{shown}");
    press(&mut state, "R b \"400-80\" enter");
    assert!(screen(&state, (80, 24)).contains("expected the lower frequency first"));
    press(&mut state, "esc R b \"off\" enter");
    assert_eq!(state.recording.sound.tone.band, None);
    // Nothing of it is in the file.
    assert!(press(&mut state, "ctrl-z").iter().all(|e| !matches!(e, Effect::Save { .. })));
    let mut none = open(groove(CELLS), PLAIN, (80, 24));
    press(&mut none, "R c");
    assert!(screen(&none, (80, 24)).contains("the groove has no recording"));
}

#[test]
fn clicks_alone_follow_the_recording_without_its_sound() {
    let mut state = anchored("R a \"0.1\" enter ctrl-right ctrl-right R a \"0.9\" enter");
    press(&mut state, "enter");
    let all = state.loop_spec_with(Mix { layers: false, beat: true, hearing: false });
    let spec = state.with_recording(all);
    assert!(!spec.layers && spec.recording.is_some_and(|play| play.is_silent), "{spec:?}");
}

#[test]
fn groove_and_recording_can_be_heard_on_either_side() {
    let mut state = anchored("R a \"0.1\" enter");
    press(&mut state, "enter");
    let effects = press(&mut state, "R m");
    let spec = played(&effects).expect("a request");
    assert!(spec.layers && spec.recording.is_some_and(|play| play.pan == 100), "{spec:?}");
    assert!(spec.groove.layers().iter().all(|layer| layer.pan == -100));
    assert!(state.groove().layers().iter().all(|layer| layer.pan == 0), "only what plays is moved");
    assert!(screen(&state, (80, 24)).contains("groove left + recording right"));
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

#[test]
fn the_fingerprint_of_the_recording_is_saved_and_another_file_is_noticed() {
    let identified = |state: &mut State, digit: &str| {
        update(state, Event::Recording(RecordingEvent::Identified(digit.repeat(64))));
    };
    let mut state = anchored("R a \"0.1\" enter");
    let revision = state.revision();
    identified(&mut state, "a");
    assert_eq!(state.revision(), revision);
    let effects = press(&mut state, "ctrl-w ctrl-u \"winch.toml\" enter");
    let saved = effects.iter().find_map(|e| if let Effect::Save { groove, .. } = e { Some(groove) } else { None });
    let fingerprint = saved.expect("saved").recording().and_then(|r| r.fingerprint.clone());
    assert_eq!(fingerprint, Some("a".repeat(64)));
    assert_eq!(anchors(&state), [(0, 100)]);
    identified(&mut state, "a");
    assert!(!screen(&state, (100, 24)).contains("may be wrong"));
    identified(&mut state, "b");
    assert!(screen(&state, (100, 24)).contains("winch.flac is not the file in which the anchors were set"));
    // Another file needs no warning: the user names it.
    press(&mut state, "R f ctrl-u \"haul.flac\" enter");
    assert_eq!(state.groove().recording().and_then(|r| r.fingerprint.clone()), None);
    identified(&mut state, "c");
    assert!(!screen(&state, (100, 24)).contains("may be wrong"));
}

#[test]
fn a_recording_plays_through_a_remote_speaker_once_it_can_be_sent() {
    let mut state = anchored("R a \"0.1\" enter");
    press(&mut state, "enter");
    let effects = update(&mut state, Event::Remote(crate::terminal::event::RemoteEvent::Connected));
    assert_eq!(requested(&effects), Some((true, true, 1)));
    let effects = update(&mut state, Event::Recording(RecordingEvent::Identified("a".repeat(64))));
    assert_eq!(requested(&effects), Some((true, true, 1)), "asked for again, under its name");
}
