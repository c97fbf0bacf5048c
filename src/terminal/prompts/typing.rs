//! The text field of prompts and searches: editing keys and pasted text.

use crate::rhythm::is_hidden;
use crate::terminal::help::HelpView;
use crate::terminal::manual::ManualView;
use crate::terminal::{Mode, Overlay, State};
use std::ops::Deref;
use tui_input::{Input, InputRequest};

/// Maximum characters of an answer, and of a search.
const MAX_ANSWER: usize = 2000;
const MAX_SEARCH: usize = 60;

#[derive(Debug, Clone, Default)]
pub(crate) struct TextField(Input);

impl PartialEq for TextField {
    fn eq(&self, other: &Self) -> bool {
        (self.value(), self.cursor()) == (other.value(), other.cursor())
    }
}

impl From<String> for TextField {
    fn from(text: String) -> Self {
        Self(Input::new(text))
    }
}

impl Deref for TextField {
    type Target = Input;

    fn deref(&self) -> &Input {
        &self.0
    }
}

pub(crate) fn paste(state: &mut State, text: &str) {
    if state.mode() != Mode::Typing {
        let groups = state.key("enter-groups");
        return state.info(format!("paste works only in a prompt; {groups} opens one for a group line"));
    }
    let characters = text.chars().filter(|c| !is_hidden(*c));
    characters.take(MAX_ANSWER).for_each(|c| edit(state, InputRequest::InsertChar(c)));
    if let Overlay::Prompt { text: answer, error, .. } = &mut state.overlay
        && answer.value().chars().count() >= MAX_ANSWER
    {
        *error = Some(format!("too long: pasted only the first {MAX_ANSWER} characters"));
    }
}

pub(crate) fn edit(state: &mut State, request: InputRequest) {
    let (field, limit) = match &mut state.overlay {
        Overlay::Prompt { text, unedited, moved_to, error, .. } => {
            (*moved_to, *error) = (None, None);
            // The first typed character replaces the present value; an editing key keeps it.
            if std::mem::take(unedited) && matches!(request, InputRequest::InsertChar(_)) {
                text.0.reset();
            }
            (&mut text.0, MAX_ANSWER)
        }
        Overlay::Find { text, selected } | Overlay::Export { text, selected, .. } => {
            *selected = 0;
            (&mut text.0, MAX_SEARCH)
        }
        Overlay::Manual(ManualView { search, .. }) | Overlay::Help(HelpView { search, .. }) => {
            (&mut search.0, MAX_SEARCH)
        }
        _ => return,
    };
    if !matches!(request, InputRequest::InsertChar(_)) || field.value().chars().count() < limit {
        field.handle(request);
    }
}
