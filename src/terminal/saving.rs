//! Saving, as far as the state goes: names and words that are asked for before it, and its end. It must not know the disk.

use super::event::{Effect, Unsaved};
use super::overlay::{Overlay, Refused};
use super::prompt::ask;
use super::question::Question;
use super::state::State;
use super::{giving, importing};
use crate::rhythm::Groove;
use crate::session::DocumentId;
use std::sync::Arc;

/// Saves, or asks for a name first.
pub(super) fn save(state: &mut State, effects: &mut Vec<Effect>) {
    if state.file().is_none() {
        ask(state, Question::SaveAs);
        return;
    }
    write(state, None, false, effects);
}

/// Writes the groove to its file, or to another one from now on; `over` whatever stands there if so asked.
pub(super) fn write(state: &State, name: Option<String>, over: bool, effects: &mut Vec<Effect>) {
    effects.push(Effect::Save { groove: state.groove().clone(), name, over });
}

/// Writes over what the question was about.
pub(super) fn overwrite(state: &mut State, effects: &mut Vec<Effect>) {
    if let Overlay::Overwrite(refused) = std::mem::take(&mut state.overlay) {
        let name = match refused {
            Refused::Changed => None,
            Refused::Taken(name) => Some(name),
            Refused::Order(order, _) => return giving::over(state, order, effects),
        };
        write(state, name, true, effects);
    }
}

/// Takes the end of a save.
pub(super) fn saved(
    state: &mut State,
    (document, groove): (DocumentId, Arc<Groove>),
    result: Result<String, Unsaved>,
    effects: &mut Vec<Effect>,
) {
    match result {
        Ok(name) => {
            state.tell(format!("saved: {name}"), false);
            state.saved(document, groove, name);
            if state.overlay == Overlay::Leaving && !state.session.is_changed() {
                state.overlay = Overlay::None;
            }
            importing::saved(state);
            if state.leaving {
                effects.push(Effect::Quit { keep_journal: state.session.is_changed() });
            }
        }
        // The program still ends after the save if the answer is yes.
        Err(Unsaved::Changed) => state.refused = Some(Refused::Changed),
        Err(Unsaved::Taken(name)) => state.refused = Some(Refused::Taken(name)),
        Err(Unsaved::Failed(words)) => {
            state.leaving = false;
            importing::stay(state);
            state.tell(words, true);
        }
    }
}
