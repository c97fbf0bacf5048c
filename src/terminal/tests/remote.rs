//! Tests of the remote speaker as the user sees it: connected, lost, reconnected, closed.

use super::*;
use crate::jobs::play_request::PlayRequest;
use crate::terminal::event::RemoteEvent;

fn send(state: &mut State, event: RemoteEvent) -> Vec<Effect> {
    let effects = update(state, Event::Remote(event));
    answer(state, effects)
}

#[test]
fn the_prompt_takes_port_and_token() {
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
fn the_transport_line_shows_the_state_of_the_connection() {
    let size = (100, 24);
    let mut state = open(groove("x..x ..x."), PLAIN, size);
    press(&mut state, "enter");
    // Playback continues there.
    assert!(matches!(send(&mut state, RemoteEvent::Connected(7450))[..], [Effect::Play(..)]));
    let shown = screen(&state, size);
    assert!(shown.contains("remote speaker on port 7450") && shown.contains("  remote"), "{shown}");
    assert_eq!(send(&mut state, RemoteEvent::Lost("it was closed".into())), []);
    let shown = screen(&state, size);
    assert!(shown.contains("speaker lost") && shown.contains("reconnecting"), "{shown}");
    assert!(state.playback.on, "it continues after the reconnection");
    send(&mut state, RemoteEvent::Reconnected);
    let shown = screen(&state, size);
    assert!(shown.contains("remote speaker reconnected") && !shown.contains("speaker lost"), "{shown}");
    send(&mut state, RemoteEvent::Refused("the loop is too large".into()));
    assert!(!state.playback.on && screen(&state, size).contains("cannot play: the loop is too large"));
    send(&mut state, RemoteEvent::Closed("no sound: the remote speaker was stopped".into()));
    let shown = screen(&state, size);
    assert!(shown.contains("the remote speaker was stopped") && shown.contains("no sound"), "{shown}");
    assert!(!state.playback.on && state.playback.remote.is_none());
    send(&mut state, RemoteEvent::Failed("the token is not the one the speaker shows now".into()));
    assert!(screen(&state, size).contains("the token is not the one"));
}

#[test]
fn a_sequence_continues_on_the_remote_speaker_and_ends_when_it_is_refused() {
    let mut state = open(groove("x..x ..x."), PLAIN, (100, 24));
    press(&mut state, "E");
    assert!(state.playback.running.is_some());
    let found = send(&mut state, RemoteEvent::Connected(7450));
    assert!(matches!(&found[..], [Effect::Play(s, _)] if matches!(**s, PlayRequest::Sequence(_))), "{found:?}");
    send(&mut state, RemoteEvent::Lost("it was closed".into()));
    send(&mut state, RemoteEvent::Reconnected);
    assert!(state.playback.on && state.playback.running.is_some(), "it continues after the reconnection");
    send(&mut state, RemoteEvent::Refused("the loop is too large".into()));
    assert!(!state.playback.on && state.playback.running.is_none());
    press(&mut state, "E");
    send(&mut state, RemoteEvent::Closed("no sound: the remote speaker was stopped".into()));
    assert!(!state.playback.on && state.playback.running.is_none());
}
