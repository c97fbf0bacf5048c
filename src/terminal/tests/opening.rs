//! Tests of what a start offers: another file, a new groove, the layers of a drum kit, the list of voices.

use super::*;
use crate::jobs::LoadedGroove;
use crate::session::Command;
use crate::terminal::files::replacement::OpenedFile;
use crate::terminal::run_command;

fn last(state: &State) -> String {
    screen(state, (80, 24)).lines().last().unwrap_or_default().trim_end().to_owned()
}

/// A file with this drawing, as the disk thread reads it.
fn opened(name: &str, drawing: &str, warning: Option<&str>) -> Event {
    let loaded = LoadedGroove::printed(groove(drawing));
    let warning = warning.map(str::to_owned);
    Event::Opened(Ok(Box::new(OpenedFile { name: name.into(), loaded, allowed_sounds: Vec::new(), warning })))
}

#[test]
fn another_file_replaces_the_groove_and_undo_goes_back_to_the_first() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    assert_eq!(
        press(&mut state, "f \"another groove file\" enter \"deck.toml\" enter"),
        [Effect::Open("deck.toml".into())]
    );
    let found = update(&mut state, opened("deck.toml", "x... x...", None));
    assert!(
        matches!(
            &found[..],
            [Effect::UseFile(DocumentId(1), file), Effect::SwitchDocument(DocumentId(1)), Effect::Journal { .. }, Effect::Analyse { .. }]
                if file.name == "deck.toml"
        ),
        "{found:?}"
    );
    assert_eq!(
        (drawn(&state, 0).as_str(), state.file(), state.session.is_changed(), state.is_new()),
        ("x... x...", Some("deck.toml"), false, false)
    );
    assert_eq!(last(&state), "opened deck.toml; Ctrl-Z undoes it");
    press(&mut state, "ctrl-z");
    assert_eq!((drawn(&state, 0).as_str(), state.file()), ("x..x ..x.", Some("rope.toml")));
    // The same groove in another file is another document.
    update(&mut state, opened("copy.toml", "x..x ..x.", None));
    assert_eq!((state.file(), state.session.document()), (Some("copy.toml"), DocumentId(2)));
    // What cannot be read changes nothing.
    update(&mut state, Event::Opened(Err("gull.toml: no such file".into())));
    assert_eq!(last(&state), "not opened: gull.toml: no such file");
    assert_eq!(state.file(), Some("copy.toml"));
    update(&mut state, opened("deck.toml", "x... x...", Some("also open in process 7: saving asks first")));
    assert_eq!(last(&state), "also open in process 7: saving asks first");
}

#[test]
fn a_new_groove_has_no_file_and_nothing_to_save() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    let found = press(&mut state, "f \"start a new groove\" enter");
    assert!(matches!(found[..], [Effect::SwitchDocument(DocumentId(1)), Effect::Journal { .. }]), "{found:?}");
    assert_eq!(*state.groove().as_ref(), Groove::new_untitled());
    assert!(state.file().is_none() && !state.session.is_changed());
    press(&mut state, "3");
    assert!(state.session.is_changed());
    press(&mut state, "ctrl-z ctrl-z");
    assert_eq!((drawn(&state, 0).as_str(), state.file()), ("x..x ..x.", Some("rope.toml")));
}

#[test]
fn unsaved_changes_are_replaced_only_after_a_question() {
    let rows = [("open", opened("deck.toml", "x... x...", None), "open"), ("new", Event::Resize(80, 24), "start over")];
    for (name, read, action) in rows {
        let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
        press(&mut state, "2");
        let before = drawn(&state, 0);
        let ask = |state: &mut State| {
            if name == "new" {
                press(state, "f \"start a new groove\" enter");
            } else {
                update(state, read.clone());
            }
        };
        ask(&mut state);
        let question = format!("Not saved. s: save and {action}, y: only {action}, Esc: cancel");
        assert_eq!(last(&state), question);
        press(&mut state, "esc");
        assert_eq!(last(&state), "not opened; the groove is unchanged");
        assert_eq!((drawn(&state, 0), state.file()), (before.clone(), Some("rope.toml")));
        ask(&mut state);
        assert!(matches!(press(&mut state, "s")[..], [Effect::Save { .. }]));
        let saved = state.groove().clone();
        update(&mut state, Event::Saved { document: DocumentId(0), groove: saved, result: Ok("rope.toml".into()) });
        assert_ne!(state.file(), Some("rope.toml"), "{name}");
        press(&mut state, "ctrl-z 2");
        ask(&mut state);
        press(&mut state, "y");
        assert_ne!(state.file(), Some("rope.toml"), "{name}");
    }
}

#[test]
fn a_kit_is_three_layers_and_one_step() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    let names = |state: &State| state.groove().layers().iter().map(|l| l.name.clone()).collect::<Vec<_>>();
    press(&mut state, "f \"add-kit\" enter");
    assert_eq!(names(&state), ["riff", "kick", "snare", "hat"]);
    let voices: Vec<Voice> = state.groove().layers()[1..].iter().map(|l| l.voice).collect();
    assert_eq!(voices, [Voice::Kick, Voice::Snare, Voice::Hat]);
    assert_eq!(last(&state), "layers added: kick, snare, hat");
    assert_eq!(state.session.cursor().place.layer, 1, "the cursor is in the kick");
    // Another one below the kick has names of its own, and the cursor's division.
    press(&mut state, "/ \"3\" enter f \"add-kit\" enter");
    assert_eq!(names(&state), ["riff", "kick", "kick 2", "snare 2", "hat 2", "snare", "hat"]);
    assert!(state.groove().layers()[2..5].iter().all(|l| l.divisions == [3]));
    press(&mut state, "ctrl-z ctrl-z ctrl-z");
    assert_eq!(names(&state), ["riff"]);
    // Also in a groove without layers; one too many layers is an error and adds none.
    press(&mut state, "ctrl-d");
    run_command(&mut state, Command::AddKit);
    assert_eq!(names(&state), ["kick", "snare", "hat"]);
    for _ in 0..25 {
        run_command(&mut state, Command::AddKit);
    }
    assert_eq!(names(&state).len(), 63);
}

#[test]
fn voices_are_offered_where_a_layer_is_made() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    press(&mut state, "n");
    let shown = screen(&state, (80, 24));
    assert!(shown.contains(" kick ") && shown.contains(Voice::Kick.description()), "{shown}");
    // Down to the second one.
    press(&mut state, "down down enter");
    assert_eq!(state.groove().layers()[1].voice, Voice::Snare);
    // The first that begins as typed, with a name before it.
    press(&mut state, "n \"gulls be\"");
    let shown = screen(&state, (60, 18));
    assert!(shown.contains(Voice::Bell.description()) && !shown.contains(Voice::Snare.description()), "{shown}");
    press(&mut state, "enter");
    let layer = &state.groove().layers()[2];
    assert_eq!((layer.name.as_str(), layer.voice), ("gulls", Voice::Bell));
    // Typing goes back to the best match; a word of a description needs a step.
    press(&mut state, "I down down \"cymbal\" down down enter");
    assert_eq!(state.groove().layers()[2].voice, Voice::Crash);
    press(&mut state, "I up enter");
    assert_eq!(state.groove().layers()[2].voice, *Voice::ALL.last().expect("a voice"));
    press(&mut state, "I \"kazoo\" enter");
    assert!(screen(&state, (80, 24)).contains("found 'kazoo'"));
}
