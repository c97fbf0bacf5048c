//! Menus of commands behind one key, and the search in the help.

use super::*;
use crate::terminal::commands::{self, Mode};
use crate::terminal::overlay::Overlay;

fn shown(state: &State) -> String {
    screen(state, state.view.size)
}

#[test]
fn a_menu_lists_its_commands_until_the_next_key() {
    for size in [(60, 18), (80, 24), (200, 60)] {
        let mut state = open(groove("x..x ...."), PLAIN, size);
        for (menu, opener) in commands::menus() {
            press(&mut state, opener.keys);
            let list = shown(&state);
            assert!(list.contains(opener.description), "{list}");
            for (keys, command) in state.input.keymap.menu_commands(menu) {
                let whole = list.contains(&format!("{keys} ")) && list.contains(command.description);
                assert!(whole, "{} at {size:?}\n{list}", command.name);
            }
            press(&mut state, "esc");
            assert_eq!(state.overlay, Overlay::None);
        }
    }
}

#[test]
fn the_screens_of_a_menu_and_of_the_help() {
    let mut state = ferry();
    press(&mut state, "P");
    insta::assert_snapshot!("menu_80x24", screen(&state, (80, 24)));
    press(&mut state, "V");
    insta::assert_snapshot!("menu_60x18", screen(&state, (60, 18)));
    press(&mut state, "esc ? / \"metronome\" enter");
    insta::assert_snapshot!("help_80x24", screen(&state, (80, 24)));
}

#[test]
fn the_second_key_runs_a_command_and_an_unknown_one_says_so() {
    let mut state = open(groove("x..x ...."), PLAIN, (80, 24));
    press(&mut state, "L m");
    assert!(state.groove().layers()[0].mute);
    assert_eq!(state.overlay, Overlay::None);
    press(&mut state, "L ~");
    assert!(shown(&state).contains("L ~ is not bound to a command; Esc closes the menu"), "{}", shown(&state));
    press(&mut state, "m");
    assert!(!state.groove().layers()[0].mute);
    // The key of another menu opens that one.
    press(&mut state, "E > B n \"2\" enter");
    assert_eq!(state.groove().sections()[0].bars, 2);
    assert_eq!(drawn(&state, 0), ".x.. x... | .... ....");
    press(&mut state, "S L d");
    assert_eq!((state.groove().sections().len(), state.groove().layers().len()), (1, 2));
    // Arrows are keys of a menu, too.
    press(&mut state, "V up V up");
    let layer = state.session.cursor().place.layer;
    assert_eq!(state.groove().layers()[layer].gain, 2);
    // A menu opens from the searched list, and another question follows it.
    press(&mut state, "f \"file-menu\" enter a");
    assert!(shown(&state).contains("Save as") || state.mode() == Mode::Typing, "{}", shown(&state));
    press(&mut state, "esc F ctrl-q");
    assert!(shown(&state).contains("Not saved."), "{}", shown(&state));
}

#[test]
fn the_keys_of_the_user_open_menus_and_follow_them() {
    let config = crate::config::Config::parse("[keys]\nlayer-menu = \"l\"\nplay = \"l p\"\n");
    let (keymap, errors) = Keymap::with_bindings(&config.keys);
    assert_eq!(errors, []);
    let mut state = State::new(groove("x..x ...."), None, keymap, PLAIN, (80, 24));
    press(&mut state, "l m");
    assert!(state.groove().layers()[0].mute);
    assert!(matches!(press(&mut state, "l p")[..], [Effect::Play(..)]));
    press(&mut state, "l");
    assert!(shown(&state).contains(" p ") && shown(&state).contains("play or stop"), "{}", shown(&state));
}

#[test]
fn the_help_is_searched_and_opens_the_chapter_of_a_line() {
    for size in [(60, 18), (80, 24), (200, 60)] {
        let mut state = open(groove(".... ...."), PLAIN, size);
        let selected = |state: &State| match &state.overlay {
            Overlay::Help(view) => {
                crate::terminal::help::lines(state)[view.line].command.map(|c| c.name).unwrap_or_default()
            }
            other => panic!("{other:?}"),
        };
        press(&mut state, "? / \"metronome\" enter");
        assert_eq!(selected(&state), "click-down");
        assert!(shown(&state).contains("lower the click volume"), "{}", shown(&state));
        press(&mut state, "n");
        assert_eq!(selected(&state), "click-up");
        press(&mut state, "N N");
        assert_eq!(selected(&state), "tap-tempo");
        // Letters are typed, also those that have a command, and Esc ends the typing only.
        press(&mut state, "/ \"nm\" esc");
        assert!(matches!(state.overlay, Overlay::Help(_)) && state.mode() == Mode::List);
        press(&mut state, "/ \"no such words\" enter");
        assert!(shown(&state).contains("no match for 'no such words' in the help"), "{}", shown(&state));
        press(&mut state, "/ \"calibrate\" enter enter");
        assert!(shown(&state).contains("Manual: tap ("), "{}", shown(&state));
        press(&mut state, "esc ? end enter");
        assert!(shown(&state).contains("Manual: keys ("), "{}", shown(&state));
        press(&mut state, "esc");
        assert_eq!(state.overlay, Overlay::None);
    }
}

#[test]
fn the_help_of_a_list_shows_the_keys_of_lists_and_returns_to_it() {
    for size in [(60, 18), (80, 24), (200, 60)] {
        for (open_list, close) in [("h", "?"), ("h", "esc"), ("S l", "f1"), ("W o", "?")] {
            let mut state = ferry();
            update(&mut state, Event::Resize(size.0, size.1));
            press(&mut state, open_list);
            update(&mut state, Event::Outputs(Ok(vec!["Speakers".into()])));
            let list = state.overlay.clone();
            assert_ne!(list, Overlay::None);
            press(&mut state, "?");
            for text in ["Lists and prompts", "turn this hearing's click on or off", "select, go to the place"] {
                assert!(shown(&state).contains(text), "{text} after {open_list}\n{}", shown(&state));
            }
            press(&mut state, close);
            assert_eq!(state.overlay, list, "{open_list} {close}");
            press(&mut state, "esc");
            assert_eq!(state.overlay, Overlay::None);
        }
    }
    // The help of the grid closes as it did.
    let mut state = ferry();
    press(&mut state, "? ?");
    assert_eq!(state.overlay, Overlay::None);
}
