//! Tests without an output device, with errors in the config file, and with a file that does not exist yet.

use super::*;
use crate::config::Config;

const REASON: &str =
    "no sound: The requested audio device is not available. It may have been disconnected, or another program has it";

/// Presses keys that start playback, and reports that there is no device.
fn fail_to_play(state: &mut State, keys: &str) {
    let asked = press(state, keys);
    assert!(asked.iter().any(|e| matches!(e, Effect::Play(..))), "{keys}: {asked:?}");
    update(state, Event::Playback(PlaybackEvent::Device(Err(REASON.into()))));
}

#[test]
fn without_sound_the_message_says_what_works_and_outputs_gives_the_reason() {
    let mut state = ferry();
    fail_to_play(&mut state, "enter");
    let shown = screen(&state, (80, 24));
    let last = shown.lines().last().expect("a line");
    for words in ["no sound output (W o tells why)", "WAV"] {
        assert!(last.contains(words), "{words} in {last}");
    }
    assert!(shown.contains("■ no sound"), "{shown}");
    // The same message on the next attempt.
    assert!(matches!(press(&mut state, "enter")[..], [Effect::Play(..)]));
    assert!(screen(&state, (80, 24)).contains("no sound output (W o tells why)"));
    press(&mut state, "f \"outputs\" enter");
    update(&mut state, Event::Outputs(Ok(vec![])));
    for size in [(80, 24), (60, 18)] {
        let shown = screen(&state, size);
        let text = shown.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains(REASON) && text.contains("no output devices found"), "{shown}");
    }
    let shown = screen(&state, (80, 24));
    assert!(shown.contains("WAV files too: F w, takes F k, ladder F l."), "{shown}");
    // With a device there is no reason to show.
    press(&mut state, "esc");
    update(&mut state, Event::Playback(PlaybackEvent::Device(Ok(()))));
    update(&mut state, Event::Outputs(Ok(vec!["Speakers".into()])));
    let shown = screen(&state, (80, 24));
    assert!(shown.contains("Speakers") && !shown.contains("requested"), "{shown}");
    press(&mut state, "esc");
    // If the devices cannot be listed, the reason is shown.
    update(&mut state, Event::Outputs(Err("no sound: built without sound".into())));
    assert!(screen(&state, (80, 24)).contains("built without sound"));
}

#[test]
fn without_sound_the_ladder_is_shown_and_exported() {
    let mut state = ferry();
    for keys in ["P p", "= \"60-100/20 x2\" enter"] {
        fail_to_play(&mut state, keys);
        assert!(!state.playback.is_playing && state.playback.speed_percent == 100);
        let shown = screen(&state, (80, 24));
        let last = shown.lines().last().expect("a line");
        assert!(last.starts_with("no sound output (W o tells why)") && last.contains("F l exports"), "{last}");
        let words = state.playback.ladder.to_text();
        assert!(shown.contains(&format!("Ladder {words}")), "{shown}");
        for (k, speed) in state.playback.ladder.speeds.iter().enumerate() {
            let step = format!(" {} {:>4} ", k + 1, crate::describe::ladder::percent(*speed));
            assert!(shown.contains(&step), "{step}\n{shown}");
        }
        let small = screen(&state, (60, 18));
        assert!(small.contains(&format!("  {} 100% ", state.playback.ladder.speeds.len())), "{small}");
        // No step is marked, and none can be played.
        assert!(!shown.contains("› 1"), "{shown}");
        for key in ["f4", "f3"] {
            assert!(press(&mut state, key).is_empty());
            assert!(screen(&state, (80, 24)).contains("steps cannot be played"));
        }
        assert_eq!(press(&mut state, "P p"), [], "closes the steps");
        assert!(!screen(&state, (80, 24)).contains("Ladder "));
    }
    // The last ladder is exported, whether its steps are shown or not.
    fail_to_play(&mut state, "P p");
    let made = press(&mut state, "f \"ladder-wav\" enter enter");
    assert!(
        matches!(&made[..], [Effect::RunJob(job)] if matches!(&job.kind, crate::jobs::JobKind::Ladder { speeds, .. } if speeds.len() == 3)),
        "{made:?}"
    );
    let Some(Effect::RunJob(job)) = made.into_iter().next() else { panic!("a job") };
    update(&mut state, Event::ExportDone(job, Ok(crate::jobs::JobReport::default())));
    // With sound the pane shows the landings again.
    press(&mut state, "enter");
    update(&mut state, Event::Playback(PlaybackEvent::Device(Ok(()))));
    assert!(!screen(&state, (80, 24)).contains("Ladder "));
}

#[test]
fn without_sound_tapping_shows_why_taps_do_not_count() {
    let mut state = ferry();
    fail_to_play(&mut state, "ctrl-t");
    let shown = screen(&state, (80, 24));
    assert!(shown.contains("Tap along: 0 taps") && shown.contains("nothing is playing"), "{shown}");
}

#[test]
fn errors_in_the_config_file_are_shown_until_closed() {
    let file = "/home/crew-of-the-ferry/.config/teeter/config.toml";
    let text = "[keys]\npaly = \"f12\"\n";
    let (_, errors) = Keymap::with_bindings(&Config::parse(text).keys);
    let mut state = ferry();
    state.show_config_errors(file, &errors);
    let words = "line 2, column 1: expected a command listed in the help, found 'paly'";
    for size in [(60, 18), (80, 24)] {
        let shown = screen(&state, size);
        let text = shown.split_whitespace().collect::<Vec<_>>().join(" ");
        for said in [file, words, "These settings are ignored", "W c shows this again.", "Esc close"] {
            assert!(text.contains(said), "{said} in\n{shown}");
        }
    }
    press(&mut state, "right x down");
    assert!(screen(&state, (80, 24)).contains("'paly'") || state.mode() == crate::terminal::commands::Mode::List);
    press(&mut state, "esc");
    assert!(!screen(&state, (80, 24)).contains("Errors in the config file"));
    press(&mut state, "f \"config-file\" enter");
    assert!(screen(&state, (80, 24)).contains("'paly'"));
    // Without errors there is a message.
    let mut state = ferry();
    press(&mut state, "f \"config-file\" enter");
    assert!(screen(&state, (80, 24)).contains("no errors in the config file"));
}

#[test]
fn a_missing_file_is_new_until_it_is_saved() {
    let top = |state: &State| screen(state, (80, 24)).lines().next().unwrap_or_default().to_owned();
    let mut state = open(groove(".... ...."), UNICODE, (80, 24));
    assert!(top(&state).contains("(saved)"));
    state.files.unsaved_path = Some(state.session.document());
    assert!(top(&state).contains("(new)"), "{}", top(&state));
    press(&mut state, "3");
    assert!(top(&state).contains("(not saved)"));
    press(&mut state, "ctrl-z");
    assert!(top(&state).contains("(new)"));
    press(&mut state, "3");
    let groove = state.groove().clone();
    update(&mut state, Event::Saved { document: DocumentId(0), groove, result: Ok("rope.toml".into()) });
    assert!(top(&state).contains("(saved)"));
    let unnamed = State::new(super::groove(".... ...."), None, Keymap::default(), UNICODE, (80, 24));
    assert!(top(&unnamed).contains("(new)"));
}

#[test]
fn messages_name_the_keys_in_force_and_a_command_without_one_by_its_name() {
    let bindings = Config::parse("[keys]\noutputs = \"f12\"\nladder-wav = []\nconfig-file = \"W q\"\n").keys;
    let (keymap, errors) = Keymap::with_bindings(&bindings);
    assert_eq!(errors, []);
    let mut state = ferry();
    state.input.keymap = keymap;
    fail_to_play(&mut state, "P p");
    let shown = screen(&state, (80, 24));
    assert!(shown.contains("no sound output (F12 tells why): steps are only shown; `ladder-wav` exports"), "{shown}");
    state.show_config_errors("config.toml", &[]);
    assert!(screen(&state, (80, 24)).contains("W q shows this again."));
}
