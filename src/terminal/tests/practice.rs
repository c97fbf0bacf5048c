//! Tests of takes and of the ladder.

use super::*;
use crate::jobs::Click;
use crate::jobs::Practice;
use crate::jobs::play_request::{LoopSpec, PlayRequest, Sequence, SequencePosition};

/// The sequence of the last effect that has one.
fn sequence(effects: &[Effect]) -> &Sequence {
    let found = effects.iter().rev().find_map(|e| match e {
        Effect::Play(s, _) | Effect::Change(s) => match &**s {
            PlayRequest::Sequence(s) => Some(s),
            PlayRequest::Loop(_) | PlayRequest::CountedLoop(_) => None,
        },
        Effect::Step(s) => Some(&**s),
        _ => None,
    });
    found.expect("a sequence")
}

/// The loop, if it is one.
fn looped(sounding: &PlayRequest) -> Option<&LoopSpec> {
    match sounding {
        PlayRequest::Loop(playing) | PlayRequest::CountedLoop(playing) => Some(playing),
        PlayRequest::Sequence(_) => None,
    }
}

fn playing(effects: &[Effect]) -> &LoopSpec {
    let found = effects.iter().rev().find_map(|e| match e {
        Effect::Play(s, _) | Effect::Change(s) => looped(s),
        _ => None,
    });
    found.expect("something plays")
}

fn transport(state: &State) -> String {
    screen(state, (80, 24)).lines().nth(22).expect("transport").to_owned()
}

fn heard(state: &mut State, take: usize, counting: bool, turn: u64) -> Vec<Effect> {
    let sequence = state.playback.sequence_count;
    let found = update(
        state,
        Event::Playback(PlaybackEvent::Take(SequencePosition {
            sequence,
            take,
            is_count_in: counting,
            pass: turn,
            silent: false,
        })),
    );
    answer(state, found)
}

#[test]
fn each_take_has_a_key_that_changes_playback_at_once() {
    let mut state = ferry();
    let rows = [
        ("f5", true, Click::Off, 0, "  groove "),
        ("f6", true, Click::Written, 0, "  groove + beat "),
        ("f7", true, Click::Off, 1, "  groove + hearing "),
        ("f8", false, Click::Written, 1, "  beat + hearing only "),
        ("f9", true, Click::Written, 1, "  groove + beat + hearing "),
    ];
    for (k, (key, layers, beat, lines, name)) in rows.into_iter().enumerate() {
        let found = press(&mut state, key);
        // The first starts, the others change what is played in its place.
        assert_eq!(matches!(found[..], [Effect::Play(_, None)]), k == 0, "{found:?}");
        assert_eq!(matches!(found[..], [Effect::Change(_)]), k > 0, "{found:?}");
        let p = playing(&found);
        assert_eq!((p.layers, p.beat, p.hearings.len()), (layers, beat, lines), "{key}");
        assert!(transport(&state).contains(name), "{name}: {}", transport(&state));
    }
    // The way of clicking belongs to the take that sounds.
    let found = press(&mut state, "@ @ # # f7");
    assert_eq!((playing(&found).beat, playing(&found).hearings[0].click), (Click::Off, Click::Divided(2)));
    assert!(transport(&state).contains("groove + hearing/2"), "{}", transport(&state));
    let found = press(&mut state, "k");
    assert_eq!(playing(&found).beat, Click::OffBeat);
    assert!(transport(&state).contains("groove + beat/off + hearing/2"), "{}", transport(&state));
    // Another hearing beside it, with another pitch and side.
    let found = press(&mut state, "h down k");
    let lines = &playing(&found).hearings;
    assert_eq!(lines.iter().map(|l| l.index).collect::<Vec<_>>(), [0, 1]);
    assert_ne!(lines[0].seconds, lines[1].seconds);
    assert_eq!(playing(&press(&mut state, "k")).hearings.len(), 1);
    // Without attacks there is nothing to compare.
    let mut empty = open(groove(".... ...."), PLAIN, (80, 24));
    assert!(press(&mut empty, "f7").is_empty());
    assert!(screen(&empty, (80, 24)).contains("no hearing yet"));
}

#[test]
fn the_clicks_follow_the_hearing_when_an_edit_changes_it() {
    let mut state = ferry();
    press(&mut state, "f7");
    let found = update(&mut state, Event::Key(KeyEvent::new(KeyCode::Char('+'), KeyModifiers::NONE), None));
    let Some(Effect::Analyse { revision, groove, options }) =
        found.iter().find(|e| matches!(e, Effect::Analyse { .. }))
    else {
        panic!("{found:?}")
    };
    let report = Arc::new(analysis::full_report(groove, options));
    let found =
        update(&mut state, Event::Analysed { revision: *revision, options: options.clone(), report: report.clone() });
    let of_report = report.hearings.iter().any(|h| *playing(&found).hearings[0].seconds == h.pulses);
    assert!(of_report, "the pulses of the new report");
    // The same report again has no effect.
    assert!(update(&mut state, Event::Analysed { revision: *revision, options: options.clone(), report }).is_empty());
}

#[test]
fn all_takes_in_turn_are_one_sequence() {
    let mut state = ferry();
    let found = press(&mut state, "& \"3 count\" enter");
    let s = sequence(&found);
    let takes: Vec<_> = s.takes.iter().map(|t| (t.spec.layers, t.spec.beat, t.spec.hearings.len())).collect();
    let (off, on) = (Click::Off, Click::Written);
    assert_eq!(takes, [(true, off, 0), (true, on, 0), (true, off, 1), (false, on, 1), (true, on, 1)]);
    assert!(s.takes.iter().all(|t| t.count_in && t.times == Some(3)) && s.at == 0 && s.silence.is_none());
    heard(&mut state, 2, true, 0);
    assert!(transport(&state).contains("take 3/5 count-in  groove + hearing"), "{}", transport(&state));
    heard(&mut state, 3, false, 1);
    assert!(transport(&state).contains("take 4/5 pass 2/3  beat + hearing only"), "{}", transport(&state));
    // An edit is heard in every take, the place in the row kept.
    let found = press(&mut state, "3");
    let s = sequence(&found);
    assert!(s.takes.iter().all(|t| Arc::ptr_eq(&t.spec.groove, state.groove())));
    assert!(matches!(found.last(), Some(Effect::Change(s)) if looped(s).is_none()), "{found:?}");
    // The end of one that was left before says nothing of this one.
    let number = state.playback.sequence_count;
    assert!(
        update(&mut state, Event::Playback(PlaybackEvent::SequenceEnded(number - 1))).is_empty()
            && state.playback.is_playing
    );
    assert!(update(&mut state, Event::Playback(PlaybackEvent::SequenceEnded(number))).is_empty());
    assert!(!state.playback.is_playing && transport(&state).contains("stopped"));
    // A take's own key ends a row and goes on with that take.
    press(&mut state, "& \"2\" enter");
    assert!(matches!(&press(&mut state, "f6")[..], [Effect::Change(s)] if looped(s).is_some()));
    assert!(state.playback.sequence.is_none());
    press(&mut state, "enter & \"99\" enter");
    assert!(screen(&state, (80, 24)).contains("expected 2, 2 count"), "{}", screen(&state, (80, 24)));
}

#[test]
fn the_ladder_starts_on_one_key_and_the_speed_follows_it() {
    let mut state = ferry();
    let found = press(&mut state, "P p");
    let s = sequence(&found);
    assert!(matches!(&found[..], [Effect::Progress(None), Effect::Play(s, None)] if looped(s).is_none()), "{found:?}");
    assert_eq!(s.takes.len(), 6);
    let speeds: Vec<i64> = s.takes.iter().map(|t| (t.spec.speed.numer() * 100) / t.spec.speed.denom()).collect();
    assert_eq!(speeds, [50, 60, 70, 80, 90, 100]);
    let times: Vec<_> = s.takes.iter().map(|t| t.times).collect();
    assert_eq!(times, [Some(4), Some(4), Some(4), Some(4), Some(4), None], "at full speed one stays");
    assert_eq!(state.playback.speed_percent, 50);
    assert!(transport(&state).contains("step 1/6 50% count-in"), "{}", transport(&state));
    // The pane has the steps with their tempos and what changes on them.
    let shown = screen(&state, (80, 24));
    for words in ["Ladder 50-100/10 x4", " 1  50% 66", " 2  60% 79.2 "] {
        assert!(shown.contains(words), "{words}\n{shown}");
    }
    assert!(heard(&mut state, 0, false, 0).is_empty());
    heard(&mut state, 0, false, 1);
    assert!(transport(&state).contains("step 1/6 50% pass 2/4  groove"), "{}", transport(&state));
    let found = heard(&mut state, 1, true, 0);
    assert_eq!(state.playback.speed_percent, 60);
    let entry = |step: usize, speed: &str, loops| {
        Effect::Progress(Some(Practice {
            date: String::new(),
            ladder: "50-100/10 x4".into(),
            step,
            speed: speed.into(),
            steps: 6,
            loops,
        }))
    };
    assert_eq!(found, [entry(1, "50%", 2)]);
    heard(&mut state, 1, false, 0);
    heard(&mut state, 1, false, 1);
    let sequence_now = state.playback.sequence_count;
    update(
        &mut state,
        Event::Playback(PlaybackEvent::Take(SequencePosition {
            sequence: sequence_now,
            take: 1,
            is_count_in: false,
            pass: 2,
            silent: true,
        })),
    );
    assert!(transport(&state).contains("pass 3/4 silent  groove"), "{}", transport(&state));
    heard(&mut state, 1, false, 3);
    assert!(!transport(&state).contains("silent"));
    // A key goes on at the end of the time through, and back.
    let found = press(&mut state, "f4 f4");
    assert_eq!(sequence(&found).at, 3);
    assert!(transport(&state).contains("next step 4"), "{}", transport(&state));
    assert_eq!(sequence(&press(&mut state, "f3")).at, 2);
    assert_eq!(heard(&mut state, 2, true, 0), [entry(2, "60%", 4)]);
    assert!(!transport(&state).contains("next"));
    // What was progress before is shown.
    update(&mut state, Event::Progress(Ok(Some("2026-11-20: step 5 of 6 (90%), 38 passes".into()))));
    assert!(screen(&state, (80, 24)).contains("2026-11-20: step 5 of 6"));
    // Leaving it: the loop goes on at the speed from before.
    let found = press(&mut state, "P p");
    assert!(
        matches!(&found[..], [Effect::Change(s)] if looped(s).is_some()),
        "nothing was heard through since: {found:?}"
    );
    assert_eq!((state.playback.speed_percent, playing(&found).speed), (100, Fraction::ONE));
    assert!(press(&mut state, "f4").is_empty());
    assert!(screen(&state, (80, 24)).contains("no ladder is running; P p starts one"));
}

#[test]
fn a_typed_ladder_waits_for_a_key_and_has_silent_passes() {
    let mut state = ferry();
    let found = press(&mut state, "f7 = \"80-100/10 x2 key 1/3\" enter");
    let s = sequence(&found);
    assert_eq!((s.takes.len(), s.silence), (3, Some(3)));
    assert!(s.takes.iter().all(|t| t.times.is_none() && t.spec.hearings.len() == 1));
    heard(&mut state, 0, false, 8);
    heard(&mut state, 0, false, 9);
    assert!(transport(&state).contains("step 1/3 80% pass 10  groove + hearing"), "{}", transport(&state));
    // Stopping tells what was done; the ladder is asked for again as it was.
    let found = press(&mut state, "enter");
    assert!(matches!(found[..], [Effect::Progress(Some(_)), Effect::Stop]), "{found:?}");
    assert_eq!(sequence(&press(&mut state, "P p")).takes.len(), 3);
    press(&mut state, "= \"50-100\" enter");
    assert!(screen(&state, (80, 24)).contains("expected 50-100/10 x4"), "{}", screen(&state, (80, 24)));
    press(&mut state, "esc");
    // A speed set by hand is the end of it.
    let found = press(&mut state, "]");
    assert!(matches!(found.last(), Some(Effect::Change(s)) if looped(s).is_some()), "{found:?}");
    assert!(state.playback.sequence.is_none());
    update(&mut state, Event::Progress(Err("rope.progress: line 3 is not TOML".into())));
    assert!(screen(&state, (80, 24)).contains("rope.progress: line 3"));
}

#[test]
fn the_steps_show_the_leading_hearing_and_cells_below_the_limit() {
    let mut state = ferry();
    press(&mut state, "T \"150\" enter P p");
    let shown = screen(&state, (200, 60));
    // The right half of the pane has other texts in the same rows.
    let left = shown.lines().map(|l| l.chars().take(98).collect::<String>());
    let rows: Vec<String> =
        left.filter(|l| (1..7).any(|n| l.contains(&format!(" {n} {:>3}% 1/4 = ", 40 + 10 * n)))).collect();
    assert_eq!(rows.len(), 6, "{shown}");
    assert!(rows[5].contains("cells too short"), "{shown}");
    assert!(!rows[4].contains("cells too short"), "{shown}");
    // The same as the command line says of these steps.
    let report = state.report().expect("a report").0;
    let notes = crate::describe::ladder::notes(report, state.hearings.limits, &state.playback.ladder.speeds);
    for (row, note) in rows.iter().zip(&notes) {
        assert_eq!(row.contains(" pulse") || row.contains(" beat"), note.contains(" leads at "), "{row} {note}");
    }
}

#[test]
fn the_loop_follows_the_cursor_to_another_section() {
    let mut state = ferry();
    press(&mut state, "N \"other\" enter l enter");
    assert!(state.playback.is_playing);
    let found = press(&mut state, "ctrl-home");
    assert_eq!(playing(&found).range, crate::jobs::Range::Section(0));
    assert!(!press(&mut state, "right").iter().any(|e| matches!(e, Effect::Change(_))), "within the section");
    let found = press(&mut state, "ctrl-end");
    assert_eq!(playing(&found).range, crate::jobs::Range::Section(1));
}

#[test]
fn whatever_is_started_is_counted_in_once_the_setting_is_on() {
    let mut state = ferry();
    let counted = |effects: &[Effect]| {
        let mut requests =
            effects.iter().filter_map(|e| if let Effect::Play(request, _) = e { Some(&**request) } else { None });
        let request = requests.next_back().expect("a play request");
        match request {
            PlayRequest::CountedLoop(_) => true,
            PlayRequest::Loop(_) => false,
            PlayRequest::Sequence(sequence) => sequence.takes[sequence.at].count_in,
        }
    };
    let starts = ["enter", "y", "f5", "f6", "& \"2\" enter", "ctrl-t"];
    for keys in starts {
        assert!(!counted(&press(&mut state, keys)), "{keys}");
        press(&mut state, if keys == "ctrl-t" { "esc esc" } else { "enter" });
    }
    let saved = press(&mut state, "f \"count-in\" enter");
    assert!(matches!(saved[..], [Effect::SetSound(settings)] if settings.count_in), "{saved:?}");
    assert!(screen(&state, (80, 24)).contains("count-in before whatever is started"));
    for keys in starts {
        let started = press(&mut state, keys);
        assert!(counted(&started), "{keys}: {started:?}");
        // An edit does not count in again.
        let changed = press(&mut state, "]");
        assert!(!changed.iter().any(|e| matches!(e, Effect::Play(..))), "{changed:?}");
        press(&mut state, if keys == "ctrl-t" { "esc esc" } else { "enter" });
    }
    assert!(transport(&state).contains("count-in on"), "{}", transport(&state));
    // Its beats are in the transport line, and the playhead is not in the grid.
    press(&mut state, "enter");
    let heard = |wholes| Event::Playback(PlaybackEvent::CountIn(Position { section: 0, pass: 0, wholes }));
    for (wholes, beat) in [(0.0, 1), (0.26, 2), (0.7499, 3), (0.75, 4)] {
        update(&mut state, heard(wholes));
        assert!(transport(&state).contains(&format!(" count-in {beat} ")), "{}", transport(&state));
        assert_eq!(state.playback.position, None);
    }
    update(&mut state, Event::Playback(PlaybackEvent::Tick(Some(Position { section: 0, pass: 0, wholes: 0.0 }))));
    assert!(!transport(&state).contains("count-in"), "{}", transport(&state));
    press(&mut state, "enter f \"count-in\" enter");
    assert!(!counted(&press(&mut state, "enter")));
}

#[test]
fn the_sound_of_clicks_is_a_setting() {
    use crate::rhythm::ClickSound;
    let mut state = ferry();
    press(&mut state, "k enter");
    let effects = press(&mut state, "f \"click-sound\" enter");
    assert!(
        matches!(&effects[..], [Effect::SetSound(settings), Effect::Change(_)] if settings.click_sound == ClickSound::Block),
        "{effects:?}"
    );
    assert_eq!(playing(&effects).click_sound, ClickSound::Block);
    assert!(screen(&state, (80, 24)).contains("click sound block: a short hollow knock"));
    press(&mut state, "f \"click-sound\" enter f \"click-sound\" enter");
    assert_eq!(state.playback.sound.click_sound, ClickSound::Tick);
}

#[test]
fn a_ladder_shows_its_tempos_before_enter_starts_it() {
    let mut state = ferry();
    assert_eq!(press(&mut state, "P n"), [], "nothing plays yet");
    for size in [(80, 24), (120, 40)] {
        let shown = screen(&state, size);
        assert!(shown.contains("Enter starts 6 steps: 1/4 = 66, 79.2, 92.4, 105.6, 118.8, 132"), "{shown}");
        assert!(shown.contains("Ladder 50-100/10 x4") && shown.contains(" 2  60%"), "{shown}");
    }
    press(&mut state, "\"70-100/15\"");
    let shown = screen(&state, (80, 24));
    assert!(shown.contains("Enter starts 3 steps: 1/4 = 92.4, 112.2, 132"), "{shown}");
    assert!(shown.contains("Ladder 70-100/15 x4"), "{shown}");
    // What is no ladder has no steps.
    press(&mut state, "\" y\"");
    assert!(!screen(&state, (80, 24)).contains("Enter starts"));
    press(&mut state, "backspace backspace");
    let started = press(&mut state, "enter");
    assert_eq!(sequence(&started).takes.len(), 3);
    press(&mut state, "P p");
    assert_eq!(press(&mut state, "P n esc"), []);
    assert!(state.playback.sequence.is_none());
}
