//! Text that would act on the terminal: names, file names and messages of other programs are drawn escaped.

use super::*;
use crate::jobs::play_request::PlaybackEvent;
use crate::jobs::{ImportedGroove, JobError};
use crate::rhythm::{Edit, is_hidden};
use crate::terminal::event::{RemoteEvent, SaveFailed};

const HIDDEN: &str = "a\u{1b}[2J\u{9b}31m\u{202e}\u{2028}\u{2066}\u{e0041}\n";

/// A groove whose every name has hidden characters, in a file of such a name.
fn hidden() -> State {
    let mut g = groove("x..x ..x.").titled(HIDDEN, HIDDEN);
    for edit in [
        Edit::RenameLayer(0, HIDDEN.into()),
        Edit::RenameSection(0, HIDDEN.into()),
        Edit::SoundFile(0, Some(HIDDEN.into())),
    ] {
        g = g.edited(&edit).expect("an edit");
    }
    let mut state = State::new(g, Some(HIDDEN.into()), Keymap::default(), UNICODE, (200, 60));
    state.files.export.choices = crate::jobs::export_choices();
    let effects = start(&state);
    answer(&mut state, effects);
    state
}

fn assert_escaped(state: &State, what: &str) {
    for size in [(200, 60), (80, 24), (60, 18)] {
        let shown = screen(state, size);
        assert!(!shown.contains(|c| is_hidden(c) && c != '\n'), "{what}: {shown:?}");
    }
    assert!(screen(state, (200, 60)).contains(r"\u{1b}[2J"), "{what} is not shown");
}

#[test]
fn names_on_the_screen_and_in_its_views_are_escaped() {
    for keys in [
        "",
        "h",
        "ctrl-q",
        "f \"export\" enter",
        "f \"save as\" enter",
        "f \"rename layer\" enter",
        "f \"rename section\" enter",
        "f \"sound-file\" enter",
        "f \"title\" enter",
        "f \"note\" enter",
        "m enter",
    ] {
        let mut state = hidden();
        press(&mut state, keys);
        assert_escaped(&state, keys);
    }
}

#[test]
fn messages_of_other_programs_are_escaped() {
    let words = || HIDDEN.to_owned();
    let document = DocumentId(0);
    let imported =
        ImportedGroove { groove: groove("x... ...."), from: HIDDEN.into(), warnings: vec![words(), words()] };
    let saved = |result| Event::Saved { document, groove: Arc::new(groove("x... ....")), result };
    let events = [
        Event::Playback(PlaybackEvent::Warning(words())),
        Event::Playback(PlaybackEvent::Device(Err(words()))),
        Event::Remote(RemoteEvent::Lost(words())),
        Event::Outputs(Err(words())),
        Event::Outputs(Ok(vec![words(), words()])),
        Event::Journal(Err(words())),
        Event::Progress(Err(words())),
        Event::OffsetSaved(Err(words())),
        Event::ImportDone(Err(JobError::Input(words()))),
        Event::ImportDone(Ok(Box::new(imported))),
        saved(Err(SaveFailed::Failed(words()))),
        saved(Err(SaveFailed::Taken(words()))),
        saved(Err(SaveFailed::Changed(vec![words()]))),
        saved(Ok(words())),
    ];
    for event in events {
        let mut state = hidden();
        update(&mut state, event.clone());
        assert_escaped(&state, &format!("{event:?}"));
    }
}
