//! Tests of tapping along: arrival times of keys, statistics, the report and its places, the calibration.

use super::*;
use crate::describe::tap::TapOffset;
use crate::jobs::Click;
use crate::jobs::play_request::TapPosition;
use std::time::{Duration, Instant};

fn start_playback(state: &mut State) {
    update(state, Event::Playback(PlaybackEvent::Device(Ok(()))));
}

/// One bar of 2/4 at 150: a beat lasts 400 ms, the loop of two bars 1600.
fn state() -> State {
    let mut state = open(groove("x..x ..x. | x..x ..x."), PLAIN, (80, 24));
    press(&mut state, "ctrl-t");
    start_playback(&mut state);
    state
}

/// Taps at times in ms from the start of the loop.
fn tap_at(state: &mut State, ms: &[f64]) -> Vec<Effect> {
    let mut effects = Vec::new();
    for t in ms {
        let (turns, within) = ((t / 1600.0).floor(), t.rem_euclid(1600.0));
        let heard = TapPosition {
            position: Position { section: 0, pass: 0, wholes: within / 1600.0 },
            loop_passes: turns as u64,
            buffer_ms: 21.0,
        };
        effects.extend(update(state, Event::Playback(PlaybackEvent::Tapped(heard))));
    }
    effects
}

#[test]
fn a_key_is_a_tap_with_its_arrival_time() {
    let mut state = state();
    let at = Some(Instant::now() + Duration::from_secs(3));
    for code in [KeyCode::Char(' '), KeyCode::Char('x'), KeyCode::Char('5'), KeyCode::Char('Q')] {
        let found = update(&mut state, Event::Key(KeyEvent::new(code, KeyModifiers::NONE), at));
        assert_eq!(found, [Effect::Tap(at)], "{code:?}");
    }
    // Nothing is laid by it, and other keys are no taps.
    assert_eq!(drawn(&state, 0), "x..x ..x. | x..x ..x.");
    assert!(press(&mut state, "left f5 ctrl-k").is_empty());
    // What does not sound cannot be tapped to.
    update(&mut state, Event::Playback(PlaybackEvent::Device(Err("no sound: no device".into()))));
    assert!(update(&mut state, Event::Key(KeyEvent::new(KeyCode::Char(' '), KeyModifiers::NONE), at)).is_empty());
    let shown = screen(&state, (80, 24));
    assert!(
        shown.contains("nothing is playing") && shown.contains("no sound") && shown.contains("tries again"),
        "{shown}"
    );
    assert!(matches!(press(&mut state, "enter")[..], [Effect::Play(..)]));
}

#[test]
fn tapping_shows_what_is_followed_and_leaves_a_report() {
    let mut state = state();
    assert!(screen(&state, (80, 24)).contains("at least 8 taps"));
    let mut beats: Vec<f64> = (0..40).map(|n| 400.0 * (n + 2) as f64 - 30.0 + [4.0, -6.0, 2.0, 0.0][n % 4]).collect();
    beats.remove(20);
    beats[9] += 110.0;
    tap_at(&mut state, &beats);
    for size in [(60, 18), (80, 24), (140, 40)] {
        update(&mut state, Event::Resize(size.0, size.1));
        let shown = screen(&state, size);
        for words in ["Tap along: 39 taps", "on written beat (150.0)", "early"] {
            assert!(shown.contains(words), "{words} in\n{shown}");
        }
    }
    update(&mut state, Event::Resize(80, 24));
    insta::assert_snapshot!("tapping_ascii_80x24", screen(&state, (80, 24)));
    let effects = press(&mut state, "esc");
    assert_eq!(effects, [Effect::Stop]);
    insta::assert_snapshot!("tap_report_ascii_80x24", screen(&state, (80, 24)));
    // Down to the slips and to the place of the first of them: the beat of the 12th tap is the second of bar 2.
    let mut state_of_slip = state.clone();
    let shown = screen(&state, (80, 24));
    let lines = state.tap_report_lines();
    let line = lines.iter().position(|l| l.text.contains("ms late in pass")).expect("a slip");
    for _ in 0..line {
        press(&mut state_of_slip, "down");
    }
    press(&mut state_of_slip, "enter");
    assert_eq!(state_of_slip.session.cursor().place.cell, 12, "{shown}");
    // The report stays.
    press(&mut state, "esc");
    press(&mut state, "f \"tap report\" enter");
    assert!(screen(&state, (80, 24)).contains("39 taps; the loop lasts 1.60 s"));
}

#[test]
fn a_key_held_down_is_not_a_series_of_taps() {
    let mut state = state();
    tap_at(&mut state, &(0..60).map(|n| 1000.0 + 33.0 * f64::from(n)).collect::<Vec<_>>());
    let shown = screen(&state, (80, 24));
    assert!(shown.contains("too fast for a finger"), "{shown}");
}

#[test]
fn the_calibration_is_the_median_tap_and_is_saved() {
    let mut state = open(groove("x..x ..x. | x..x ..x."), PLAIN, (80, 24));
    let effects = press(&mut state, "f \"tap calibrate\" enter");
    let [Effect::Play(sounding, None)] = &effects[..] else { panic!("{effects:?}") };
    let PlayRequest::Loop(playing) = &**sounding else { panic!("{sounding:?}") };
    assert!(
        playing.beat == Click::Written
            && playing.groove.layers().iter().all(|l| l.parts[0].stored().iter().all(|c| c.attack().is_none()))
    );
    // A bar of 4/4 at 100 lasts 2.4 s; the first counts for nothing.
    let heard = |n: usize, ms: f64| {
        let t = 0.6 * n as f64 + ms / 1000.0;
        let turns = (t / 2.4).floor();
        TapPosition {
            position: Position { section: 0, pass: 0, wholes: t / 2.4 - turns },
            loop_passes: turns as u64,
            buffer_ms: 21.0,
        }
    };
    let mut effects = Vec::new();
    for n in 1..19 {
        let jitter = [5.0, -3.0, 0.0, -2.0][n % 4];
        effects.extend(update(
            &mut state,
            Event::Playback(PlaybackEvent::Tapped(heard(n, 80.0 + if n < 4 { 200.0 } else { jitter }))),
        ));
    }
    assert_eq!(effects.len(), 0, "15 of 16");
    effects.extend(update(&mut state, Event::Playback(PlaybackEvent::Tapped(heard(19, 80.0)))));
    let [Effect::Stop, Effect::SaveOffset(offset)] = effects[..] else { panic!("{effects:?}") };
    assert!((offset.ms - 80.0).abs() < 3.0 && offset.error_ms < 2.0, "{offset:?}");
    assert!(matches!(state.playback.taps.offset, TapOffset::Measured { ms, .. } if ms == offset.ms));
    let shown = screen(&state, (80, 24));
    assert!(shown.contains("Tap with the clicks: 16 of 16") && shown.contains("ms, ~"), "{shown}");
    // A tap too many lays nothing.
    press(&mut state, "x x esc");
    assert_eq!(drawn(&state, 0), "x..x ..x. | x..x ..x.");
    // From now on it is taken off.
    press(&mut state, "ctrl-t");
    tap_at(&mut state, &(2..20).map(|n| 400.0 * f64::from(n) + 80.0).collect::<Vec<_>>());
    press(&mut state, "esc");
    let shown = screen(&state, (80, 24));
    assert!(shown.contains("on the pulse") && shown.contains("subtracted from every tap"), "{shown}");
    // Uneven taps are not kept.
    press(&mut state, "esc");
    press(&mut state, "f \"tap calibrate\" enter");
    let wild = (4..20).flat_map(|n| {
        update(&mut state, Event::Playback(PlaybackEvent::Tapped(heard(n, f64::from(n as u32 * 97 % 400) - 200.0))))
    });
    assert_eq!(wild.collect::<Vec<_>>(), [Effect::Stop]);
    assert!(screen(&state, (80, 24)).contains("too uneven"));
}

#[test]
fn over_ssh_the_report_says_so() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    (state.playback.taps.offset, state.playback.taps.over_ssh) = (TapOffset::Set(12.0), true);
    press(&mut state, "ctrl-t");
    start_playback(&mut state);
    tap_at(&mut state, &[100.0, 500.0]);
    press(&mut state, "esc");
    let shown = screen(&state, (80, 24));
    for words in ["too few taps", "over SSH", "+12.0 ms is subtracted"] {
        assert!(shown.contains(words), "{words} in\n{shown}");
    }
}

#[test]
fn the_tempo_of_a_section_is_tapped_and_set_in_one_step() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    let tempo = |state: &State| state.groove().sections()[0].tempo.bpm();
    press(&mut state, "f \"tap-tempo\" enter");
    let start = Instant::now();
    let tap = |state: &mut State, c, ms| {
        let at = Some(start + Duration::from_millis(ms));
        assert!(update(state, Event::Key(KeyEvent::new(KeyCode::Char(c), KeyModifiers::NONE), at)).is_empty());
    };
    for (c, ms) in [(' ', 0), ('x', 600), ('q', 1210)] {
        tap(&mut state, c, ms);
    }
    assert!(screen(&state, (60, 18)).contains("Tap the tempo of section 'A': 3 taps"));
    // Three taps are not enough.
    assert!(press(&mut state, "enter").is_empty());
    assert!(screen(&state, (80, 24)).contains("at least 4 taps") && tempo(&state) == Fraction::whole(150));
    tap(&mut state, ' ', 1800);
    for size in [(60, 18), (80, 24), (200, 60)] {
        update(&mut state, Event::Resize(size.0, size.1));
        let shown = screen(&state, size);
        assert!(shown.contains("1/4 = 100, from 3 intervals of 590 to 610 ms"), "{shown}");
    }
    press(&mut state, "enter");
    assert_eq!(tempo(&state), Fraction::whole(100));
    assert!(screen(&state, (80, 24)).contains("section 'A': tempo 100, was 150"));
    press(&mut state, "ctrl-z");
    assert!(tempo(&state) == Fraction::whole(150) && !state.session.is_changed());
    // Esc keeps the tempo; the next time starts without taps.
    press(&mut state, "f \"tap-tempo\" enter");
    assert!(screen(&state, (80, 24)).contains(": 0 taps"));
    for k in 0..6 {
        tap(&mut state, ' ', 10_000 + 300 * k);
    }
    press(&mut state, "esc");
    assert_eq!((tempo(&state), &state.overlay), (Fraction::whole(150), &crate::terminal::Overlay::None));
}
