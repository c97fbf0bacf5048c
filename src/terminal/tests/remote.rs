//! Tests of the remote speaker as the user sees it: connected, lost, connected again.

use super::*;
use crate::jobs::play_request::{ResumePoint, SequencePosition};
use crate::terminal::event::RemoteEvent;

const SIZE: (u16, u16) = (100, 24);

fn send(state: &mut State, event: RemoteEvent) -> Vec<Effect> {
    let effects = update(state, Event::Remote(event));
    answer(state, effects)
}

fn lost() -> RemoteEvent {
    RemoteEvent::Lost("closed".into())
}

#[test]
fn a_loop_continues_where_the_connection_was_lost() {
    let mut state = open(groove("x..x ..x."), PLAIN, SIZE);
    press(&mut state, "enter");
    assert!(matches!(send(&mut state, RemoteEvent::Connected)[..], [Effect::Play(_, None)]));
    let shown = screen(&state, SIZE);
    assert!(shown.contains("playing through the remote speaker") && shown.contains("  remote"), "{shown}");
    let position = Position { section: 0, pass: 0, wholes: 0.25 };
    update(&mut state, Event::Playback(PlaybackEvent::Tick(Some(position))));
    assert!(screen(&state, SIZE).contains("> A 1.2"));
    assert_eq!(send(&mut state, lost()), []);
    let shown = screen(&state, SIZE);
    assert!(shown.contains("remote speaker: connection lost") && !shown.contains("> A 1.2"), "{shown}");
    assert!(shown.contains("teeter remote HOST --join"), "{shown}");
    let found = send(&mut state, RemoteEvent::Connected);
    assert!(
        matches!(found[..], [Effect::Play(_, Some(ResumePoint { passes: 0, position: p }))] if p == position),
        "{found:?}"
    );
    assert!(!screen(&state, SIZE).contains("connection lost"));
    // Stopped meanwhile, it stays stopped.
    send(&mut state, lost());
    press(&mut state, "enter");
    assert_eq!(send(&mut state, RemoteEvent::Connected), []);
}

#[test]
fn a_sequence_continues_in_its_take_and_its_pass() {
    let mut state = open(groove("x..x ..x."), PLAIN, SIZE);
    press(&mut state, "P p");
    let sequence = state.playback.sequence_count;
    let position = Position { section: 0, pass: 0, wholes: 0.25 };
    for is_count_in in [true, false] {
        update(
            &mut state,
            Event::Playback(PlaybackEvent::Take(SequencePosition {
                sequence,
                take: 1,
                is_count_in,
                pass: 2,
                silent: false,
            })),
        );
        update(&mut state, Event::Playback(PlaybackEvent::Tick(Some(position))));
        send(&mut state, lost());
        let found = send(&mut state, RemoteEvent::Connected);
        let [Effect::Play(request, start)] = &found[..] else { panic!("{found:?}") };
        assert!(matches!(&**request, PlayRequest::Sequence(s) if s.at == 1), "{request:?}");
        assert_eq!(*start, (!is_count_in).then_some(ResumePoint { position, passes: 2 }));
    }
}

#[test]
fn the_gaps_since_the_last_start_are_shown() {
    let mut state = open(groove("x..x ..x."), PLAIN, SIZE);
    let gaps = |state: &mut State, n| {
        update(state, Event::Playback(PlaybackEvent::Gaps(n)));
        let shown = screen(state, SIZE);
        let transport = shown.lines().nth(22).expect("transport").to_owned();
        transport.split("  ").find(|part| part.contains(" gap")).unwrap_or_default().to_owned()
    };
    press(&mut state, "enter");
    assert_eq!(gaps(&mut state, 0), "");
    assert_eq!(gaps(&mut state, 1), "1 gap");
    assert_eq!(gaps(&mut state, 3), "3 gaps");
    press(&mut state, "x x enter");
    assert!(screen(&state, SIZE).contains("stopped  3 gaps"), "after playing too");
    press(&mut state, "enter");
    // The player says that it starts.
    update(&mut state, Event::Playback(PlaybackEvent::Device(Ok(()))));
    assert!(!screen(&state, SIZE).contains("gap"));
    assert_eq!(gaps(&mut state, 2), "2 gaps");
    send(&mut state, RemoteEvent::Connected);
    assert!(!screen(&state, SIZE).contains("gap"), "another player");
}

#[test]
fn a_speaker_without_a_device_says_so() {
    let mut state = open(groove("x..x ..x."), PLAIN, SIZE);
    send(&mut state, RemoteEvent::Connected);
    press(&mut state, "enter");
    update(
        &mut state,
        Event::Playback(PlaybackEvent::Device(Err("the remote speaker has no output device: plug one in".into()))),
    );
    let shown = screen(&state, SIZE);
    assert!(!state.playback.is_playing && shown.contains("the remote speaker has no output device"), "{shown}");
}
