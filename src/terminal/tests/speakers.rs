//! Tests of the far speaker as the user sees it: asked for, lost, back, gone.

use super::*;
use crate::jobs::play_request::PlayRequest;
use crate::terminal::event::RemoteEvent;

fn happens(state: &mut State, event: RemoteEvent) -> Vec<Effect> {
    let effects = update(state, Event::Remote(event));
    answer(state, effects)
}

#[test]
fn port_and_token_are_asked_for() {
    let mut state = open(groove("x..x ..x."), PLAIN, (100, 24));
    let effects = press(&mut state, "f \"speaker\" enter \"7450 K7mp-2xqd 9fht-w3bn\" enter");
    let expected = Effect::Speaker { port: 7450, token: "K7mp-2xqd 9fht-w3bn".into() };
    assert_eq!(effects, [expected]);
    assert!(screen(&state, (100, 24)).contains("connecting to the remote speaker"));
    for wrong in [
        "7450",
        "0 k7mp-2xqd-9fht-w3bn",
        "70000 k7mp-2xqd-9fht-w3bn",
        "7450 k7mp-2xqd-9fht-w3b",
        "k7mp-2xqd-9fht-w3bn 7450",
    ] {
        let effects = press(&mut state, &format!("f \"speaker\" enter \"{wrong}\" enter"));
        assert_eq!(effects, [], "{wrong}");
        assert!(screen(&state, (100, 24)).contains("expected 7450 k7mp-2xqd-9fht-w3bn"), "{wrong}");
        press(&mut state, "esc");
    }
}

#[test]
fn the_line_is_told_of_where_the_transport_stands() {
    let size = (100, 24);
    let mut state = open(groove("x..x ..x."), PLAIN, size);
    press(&mut state, "enter");
    // What sounded here goes on there.
    assert!(matches!(happens(&mut state, RemoteEvent::Connected(7450))[..], [Effect::Play(..)]));
    let shown = screen(&state, size);
    assert!(shown.contains("remote speaker on port 7450") && shown.contains("  remote"), "{shown}");
    assert_eq!(happens(&mut state, RemoteEvent::Lost("it was closed".into())), []);
    let shown = screen(&state, size);
    assert!(shown.contains("remote lost") && shown.contains("reconnecting"), "{shown}");
    assert!(state.playback.on, "it goes on when the line is back");
    happens(&mut state, RemoteEvent::Reconnected);
    let shown = screen(&state, size);
    assert!(shown.contains("remote speaker reconnected") && !shown.contains("remote lost"), "{shown}");
    happens(&mut state, RemoteEvent::Refused("the loop is too large".into()));
    assert!(!state.playback.on && screen(&state, size).contains("cannot play: the loop is too large"));
    happens(&mut state, RemoteEvent::Closed("no sound: the far speaker was ended".into()));
    let shown = screen(&state, size);
    assert!(shown.contains("the far speaker was ended") && shown.contains("no sound"), "{shown}");
    assert!(!state.playback.on && state.playback.remote.is_none());
    happens(&mut state, RemoteEvent::Failed("the token is not the one the speaker shows now".into()));
    assert!(screen(&state, size).contains("the token is not the one"));
}

#[test]
fn a_sequence_goes_on_at_the_far_speaker_and_ends_where_it_is_refused() {
    let mut state = open(groove("x..x ..x."), PLAIN, (100, 24));
    press(&mut state, "E");
    assert!(state.playback.running.is_some());
    let found = happens(&mut state, RemoteEvent::Connected(7450));
    assert!(matches!(&found[..], [Effect::Play(s, _)] if matches!(**s, PlayRequest::Sequence(_))), "{found:?}");
    happens(&mut state, RemoteEvent::Lost("it was closed".into()));
    happens(&mut state, RemoteEvent::Reconnected);
    assert!(state.playback.on && state.playback.running.is_some(), "it goes on when the line is back");
    happens(&mut state, RemoteEvent::Refused("the loop is too large".into()));
    assert!(!state.playback.on && state.playback.running.is_none());
    press(&mut state, "E");
    happens(&mut state, RemoteEvent::Closed("no sound: the far speaker was ended".into()));
    assert!(!state.playback.on && state.playback.running.is_none());
}
