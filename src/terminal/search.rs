//! The search in the help and in the manual: `/`, a text, then from match to match.

use crate::terminal::{Overlay, State, TextField, help, manual};

/// What keys do in the help and in the manual: move, or type the text to search for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum PagerInput {
    #[default]
    Move,
    Search,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Direction {
    Next,
    Previous,
}

/// Lets the user type a text to search for: in the help if it is open, otherwise in the manual.
pub(crate) fn start(state: &mut State) {
    if !matches!(state.overlay, Overlay::Help(_) | Overlay::Manual(_)) {
        manual::open(state);
    }
    if let Overlay::Help(help::HelpView { input, search, .. })
    | Overlay::Manual(manual::ManualView { input, search, .. }) = &mut state.overlay
    {
        (*input, *search) = (PagerInput::Search, TextField::default());
    }
}

/// Goes to the next or previous match, or says that there is none.
pub(crate) fn find(state: &mut State, direction: Direction) {
    let width = state.view.size.0;
    let (is_found, text, place) = match &mut state.overlay {
        Overlay::Manual(view) => (view.find(width, direction), view.search.value().to_owned(), "manual"),
        Overlay::Help(view) => {
            let mut view = view.clone();
            let is_found = view.find(&help::lines(state), direction);
            let text = view.search.value().to_owned();
            state.overlay = Overlay::Help(view);
            (is_found, text, "help")
        }
        _ => return,
    };
    if !is_found && !text.trim().is_empty() {
        state.info(format!("no match for '{text}' in the {place}"));
    }
}

/// Ends the typing and goes to the first match.
pub(crate) fn accept(state: &mut State) {
    stop_typing(state);
    find(state, Direction::Next);
}

/// Returns to moving; false if no text is being typed.
pub(crate) fn stop_typing(state: &mut State) -> bool {
    let (Overlay::Help(help::HelpView { input, .. }) | Overlay::Manual(manual::ManualView { input, .. })) =
        &mut state.overlay
    else {
        return false;
    };
    std::mem::replace(input, PagerInput::Move) == PagerInput::Search
}
