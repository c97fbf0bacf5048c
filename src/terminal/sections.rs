//! The list of sections: goes to one of them, or renames it.

use crate::rhythm::Place;
use crate::terminal::{Overlay, Question, State, ask, lists};

pub(crate) fn open(state: &mut State) {
    state.overlay = Overlay::Sections(state.session.cursor().place.section);
}

/// Moves the cursor to the start of a section, in its layer.
pub(crate) fn go_to(state: &mut State, section: usize) {
    let layer = state.session.cursor().place.layer;
    lists::go_to(state, Place { layer, section, cell: 0 });
}

/// Goes to the selected section and asks for its name; does nothing in other lists.
pub(crate) fn rename(state: &mut State) {
    if let Overlay::Sections(section) = state.overlay {
        go_to(state, section);
        ask(state, Question::RenameSection);
    }
}
