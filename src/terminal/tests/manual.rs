//! The manual over the grid: opened from the help, read by chapters, searched.

use super::*;

fn shown(state: &State) -> String {
    screen(state, state.view.size)
}

#[test]
fn the_manual_opens_from_the_help_and_turns_its_chapters() {
    let mut state = open(groove(".... ...."), PLAIN, (80, 24));
    press(&mut state, "? m");
    let list = shown(&state);
    for chapter in crate::manual::CHAPTERS.iter().take(18) {
        assert!(list.contains(chapter.title()), "{} in\n{list}", chapter.name);
    }
    press(&mut state, "down enter");
    assert!(shown(&state).contains("Manual: screen (2/"), "{}", shown(&state));
    let first = shown(&state);
    press(&mut state, "page-down");
    assert_ne!(shown(&state), first);
    press(&mut state, "tab");
    assert!(shown(&state).contains("Manual: editing (3/"), "{}", shown(&state));
    press(&mut state, "shift-tab shift-tab esc");
    assert!(!shown(&state).contains("Manual:"));
}

#[test]
fn a_search_shows_each_match_and_says_when_there_is_none() {
    for size in [(60, 18), (120, 40)] {
        let mut state = open(groove(".... ...."), PLAIN, size);
        // Backspace and Escape while the text is typed change the text only.
        press(&mut state, "? m / \"osx\" backspace \"c 52\" enter");
        let first = shown(&state);
        assert!(first.contains("OSC 52"), "{first}");
        press(&mut state, "n");
        let second = shown(&state);
        assert!(second.contains("OSC 52") && second != first, "{second}");
        press(&mut state, "N");
        assert_eq!(shown(&state), first);
        press(&mut state, "/ \"no such words\" enter");
        assert!(shown(&state).contains("no match for 'no such words'"), "{}", shown(&state));
        press(&mut state, "/ esc");
        assert!(shown(&state).contains("Manual:"));
    }
}
