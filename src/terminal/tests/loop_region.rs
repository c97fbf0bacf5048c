//! Tests of the loop region on the screen and in what plays, and of the grid that follows the playhead.

use super::*;
use crate::jobs::Range;

const SIZE: (u16, u16) = (80, 24);

/// Sections A, B and C with 4, 1 and 3 bars of 2/4; C has a layer part of other cells.
fn sections() -> State {
    let mut state = open(groove("x..x ..x. | x... .... | x..x ..x. | x... ...."), PLAIN, SIZE);
    press(&mut state, "N \"B\" enter B n \"1\" enter x N \"C 3/4\" enter B n \"3\" enter t \"5\" enter x ctrl-home");
    state
}

/// The range of the last request.
fn range(effects: &[Effect]) -> Option<Range> {
    effects.iter().rev().find_map(|e| match e {
        Effect::Play(request, _) | Effect::Change(request) => match &**request {
            PlayRequest::Loop(spec) | PlayRequest::CountedLoop(spec) => Some(spec.range),
            PlayRequest::Sequence(_) => None,
        },
        _ => None,
    })
}

fn sixteenths(n: i64) -> Time {
    Time::new(n, 16).expect("a time")
}

fn line(state: &State, y: usize) -> String {
    screen(state, SIZE).lines().nth(y).unwrap_or_default().to_owned()
}

fn tick(state: &mut State, section: usize, wholes: f64, times: usize) -> Vec<Effect> {
    let position = Some(Position { section, pass: 0, wholes });
    (0..times).flat_map(|_| update(state, Event::Playback(PlaybackEvent::Tick(position)))).collect()
}

#[test]
fn a_selection_loops_on_one_key_while_the_cursor_moves_and_edits() {
    let mut state = sections();
    let found = press(&mut state, "enter right right s right right right :");
    assert_eq!(range(&found), Some(Range::within(0, sixteenths(2), sixteenths(6))));
    assert!(line(&state, 22).contains("loop region"), "{}", line(&state, 22));
    // No move, no other selection and no edit of cells changes it.
    for keys in ["esc", "ctrl-home", "}", "shift-right shift-right", "esc", "}"] {
        assert_eq!(range(&press(&mut state, keys)), None, "{keys}");
    }
    assert_eq!(range(&press(&mut state, "right x")), Some(Range::within(0, sixteenths(2), sixteenths(6))));
    // Bars and sections before it shift it.
    let found = press(&mut state, "ctrl-home f \"insert-bar\" enter");
    assert_eq!(range(&found), Some(Range::within(0, sixteenths(10), sixteenths(14))));
    let found = press(&mut state, "f \"remove-section\" enter");
    assert_eq!(range(&found), Some(Range::Whole), "it is gone with its section");
    assert!(!line(&state, 22).contains("loop"), "{}", line(&state, 22));
}

#[test]
fn the_marks_may_stand_in_different_sections() {
    let mut state = sections();
    let found = press(&mut state, "enter page-down f \"loop-start\" enter");
    assert_eq!(range(&found), Some(Range::within(0, sixteenths(8), sixteenths(32))));
    let found = press(&mut state, "} } right f \"loop-end\" enter");
    let to = Time::new(2, 20).expect("two fifths of a quarter");
    assert_eq!(range(&found), Some(Range::Region { first: 0, from: sixteenths(8), last: 2, to }));
    let found = press(&mut state, "f \"loop-clear\" enter");
    assert_eq!(range(&found), Some(Range::Whole));
    assert!(screen(&state, SIZE).contains("loop region cleared"));
    press(&mut state, "f \"loop-clear\" enter");
    assert!(screen(&state, SIZE).contains("no loop region to clear"));
}

#[test]
fn the_loop_key_has_the_region_if_there_is_one() {
    let mut state = sections();
    press(&mut state, "enter");
    let mut loops = |keys: &str| range(&press(&mut state, keys));
    assert_eq!(loops("l"), Some(Range::Section(0)));
    assert_eq!(loops("l"), Some(Range::Whole), "no region and no selection");
    assert_eq!(loops("b l l"), Some(Range::within(0, Time::ZERO, sixteenths(8))), "the selection becomes the region");
    assert_eq!(loops("esc l"), Some(Range::Whole));
    assert_eq!(loops("} l"), Some(Range::Section(1)));
    assert_eq!(loops("b l"), Some(Range::within(0, Time::ZERO, sixteenths(8))), "the region stays");
    assert_eq!(loops(":"), Some(Range::within(1, Time::ZERO, sixteenths(8))), "until it is set again");
}

#[test]
fn the_marks_are_drawn_in_the_ruler_of_their_sections() {
    let mut state = sections();
    // Before the third cell, and on the last column of the fifth; two columns each after the bar line.
    press(&mut state, "right right s right right : esc end");
    let ruler = line(&state, 1);
    assert_eq!((ruler.find('{'), ruler.find('}')), (Some(12 + 4), Some(12 + 10)), "{ruler}");
    // Whole bars: on the bar lines.
    press(&mut state, "home page-down : end");
    let (ruler, row) = (line(&state, 1), line(&state, 3));
    for mark in ['{', '}'] {
        let column = ruler.find(mark).expect("a mark");
        assert_eq!(row.chars().nth(column), Some('|'), "{ruler}\n{row}");
    }
    insta::assert_snapshot!("loop_region_ascii_80x24", screen(&state, SIZE));
    press(&mut state, "}");
    assert!(!line(&state, 1).contains(['{', '}']), "another section");
    state.view.theme = UNICODE;
    press(&mut state, "{");
    assert!(line(&state, 1).contains('╟') && line(&state, 1).contains('╢'));
}

#[test]
fn the_grid_follows_the_playhead_through_the_sections_until_a_key() {
    let mut state = sections();
    press(&mut state, "enter right");
    let before = screen(&state, SIZE);
    let top = |state: &State| line(state, 0);
    assert!(top(&state).contains("section A (1 of 3)"), "{}", top(&state));
    tick(&mut state, 2, 0.3, 30);
    assert!(top(&state).contains("section A (1 of 3)"), "not so soon");
    assert_eq!(tick(&mut state, 2, 0.3, 40), [], "what plays stays");
    // C is drawn with its own columns: ten for a beat of five cells, so that 0.3 is in its second beat, after its third column.
    let shown = screen(&state, SIZE);
    assert!(top(&state).contains("section C (3 of 3)") && top(&state).contains("3/4"), "{shown}");
    let marks = line(&state, 1);
    assert_eq!(marks.find('V'), Some(12 + 1 + 10 + 2), "{shown}");
    assert!(!marks.contains('v'), "the cursor is in another section: {shown}");
    assert_eq!(state.session.cursor().place, crate::rhythm::Place { layer: 0, section: 0, cell: 1 });
    insta::assert_snapshot!("followed_section_ascii_80x24", shown);
    // The next section comes at once, and a key goes back to the cursor and works there.
    tick(&mut state, 1, 0.25, 1);
    assert!(top(&state).contains("section B (2 of 3)"), "{}", top(&state));
    let found = press(&mut state, "x");
    assert!(matches!(found.last(), Some(Effect::Change(_))), "{found:?}");
    assert!(drawn(&state, 0).starts_with("xx"), "{}", drawn(&state, 0));
    assert!(top(&state).contains("section A (1 of 3)"), "{}", top(&state));
    assert_eq!(
        line(&state, 1).find('v'),
        line(
            &{
                let mut s = state.clone();
                press(&mut s, "esc");
                s
            },
            1
        )
        .find('v')
    );
    // Stopping goes back too.
    tick(&mut state, 2, 0.3, 70);
    assert!(top(&state).contains("section C (3 of 3)"));
    update(&mut state, Event::Playback(PlaybackEvent::Device(Err("gone".into()))));
    assert!(top(&state).contains("section A (1 of 3)"));
    assert!(before.contains("section A (1 of 3)"));
}

#[test]
fn a_click_in_a_followed_section_moves_the_cursor_there() {
    let mut state = sections();
    press(&mut state, "enter");
    tick(&mut state, 2, 0.0, 70);
    let click = MouseEventKind::Down(MouseButton::Left);
    let event = MouseEvent { kind: click, column: 13 + 10, row: 3, modifiers: KeyModifiers::NONE };
    update(&mut state, Event::Mouse(event));
    assert_eq!(state.session.cursor().place, crate::rhythm::Place { layer: 0, section: 2, cell: 5 });
}

#[test]
fn the_marks_are_cell_boundaries_and_the_message_says_which() {
    let mut state = sections();
    let mut shows = |keys: &str, text: &str| {
        press(&mut state, keys);
        let last = line(&state, 23);
        assert_eq!(last.trim_end(), text, "{keys}");
    };
    // The third cell of bar 2, and the second one of its second beat.
    shows("page-down right right P i", "loop start set: A bar 2 beat 1 & through A bar 4 beat 2 a");
    shows("right right right P o", "loop end set: A bar 2 beat 1 & through A bar 2 beat 2 e");
    shows("P i", "loop start set: A bar 2 beat 2 e");
    // The ends of a selection, whichever way it was made.
    shows("shift-left shift-left P i", "loop start set: A bar 2 beat 1 a through A bar 2 beat 2 e");
    shows("right right right shift-left P o", "loop end set: A bar 2 beat 1 a through A bar 2 beat 2 &");
    shows("home P i", "loop start set: A bar 1 beat 1 through A bar 2 beat 2 &");
    shows("page-down end P o", "loop end set: A bars 1 to 4");
    // A tuplet has cells of its own.
    shows("} } right P o", "loop end set: A bar 1 beat 1 through C bar 1 beat 1, cell 2 of 5");
    assert_eq!(state.session.loop_region().map(|r| r.end.at), Time::new(2, 20));
}

#[test]
fn the_loop_extends_to_other_bars_and_the_same_key_ends_it() {
    let mut state = sections();
    let mut looped = |keys: &str| {
        let effects = press(&mut state, keys);
        (range(&effects), line(&state, 23).trim_end().to_owned())
    };
    looped("enter");
    let bars = |first: i64, last: i64| Some(Range::within(0, sixteenths(8 * (first - 1)), sixteenths(8 * last)));
    assert_eq!(looped("page-down :"), (bars(2, 2), "loop: A bar 2".into()));
    assert_eq!(looped("page-down !"), (bars(2, 3), "loop: A bars 2 to 3".into()));
    assert_eq!(looped("home !"), (bars(1, 3), "loop: A bars 1 to 3".into()));
    // Bars are added to the selection one by one.
    assert_eq!(looped("page-down b b b :"), (bars(2, 4), "loop: A bars 2 to 4".into()));
    assert_eq!(looped("b").1, "the selection reaches the end of the section");
    assert_eq!(looped(":"), (Some(Range::Whole), "loop region cleared".into()));
    // A selection within bars grows to them.
    assert_eq!(looped("esc home right shift-right b :"), (bars(1, 1), "loop: A bar 1".into()));
    // What is not looped at the moment is looped, not cleared.
    assert_eq!(looped("home P l :"), (bars(1, 1), "loop: A bar 1".into()));
}
