//! What is typed or pasted into a question or a search. It must not know what is asked.

use crate::terminal::commands::Mode;
use crate::terminal::overlay::Overlay;
use crate::terminal::state::State;

/// Most characters of an answer, and of a search.
const ANSWER_FITS: usize = 2000;
const SEARCH_FITS: usize = 60;

/// Takes pasted text where something is asked.
pub(crate) fn pasted(state: &mut State, text: &str) {
    if state.mode() != Mode::Typing {
        let groups = state.keymap.first("lay-groups");
        state.tell(format!("pasted text goes where something is asked; {groups} asks for a line of groups"), false);
        return;
    }
    text.chars().take(ANSWER_FITS).for_each(|c| write(state, c));
    if let Overlay::Prompt { text: kept, error, .. } = &mut state.overlay
        && kept.chars().count() >= ANSWER_FITS
    {
        *error = Some(format!("too long: only {ANSWER_FITS} characters of it were taken"));
    }
}

/// Adds a character to what is being typed.
pub(crate) fn write(state: &mut State, c: char) {
    if c.is_control() {
        return;
    }
    match &mut state.overlay {
        Overlay::Prompt { text, kept, error, .. } if text.chars().count() < ANSWER_FITS => {
            // What stood there before gives way to what is typed; Backspace keeps and changes it.
            if std::mem::take(kept) {
                text.clear();
            }
            text.push(c);
            *error = None;
        }
        Overlay::Find { text, chosen } | Overlay::Offers { text, chosen, .. } if text.chars().count() < SEARCH_FITS => {
            text.push(c);
            *chosen = 0;
        }
        Overlay::Manual(view) if view.search.chars().count() < SEARCH_FITS => view.search.push(c),
        _ => {}
    }
}

/// Takes back the last character.
pub(crate) fn unwrite(state: &mut State) {
    match &mut state.overlay {
        Overlay::Prompt { text, kept, error, .. } => {
            text.pop();
            (*kept, *error) = (false, None);
        }
        Overlay::Find { text, chosen } | Overlay::Offers { text, chosen, .. } => {
            text.pop();
            *chosen = 0;
        }
        Overlay::Manual(view) => drop(view.search.pop()),
        _ => {}
    }
}

/// Takes back all of it.
pub(crate) fn clear(state: &mut State) {
    match &mut state.overlay {
        Overlay::Prompt { text, kept, error, .. } => {
            text.clear();
            (*kept, *error) = (false, None);
        }
        Overlay::Find { text, chosen } | Overlay::Offers { text, chosen, .. } => {
            text.clear();
            *chosen = 0;
        }
        Overlay::Manual(view) => view.search.clear(),
        _ => {}
    }
}
