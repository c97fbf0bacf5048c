//! Saving, as far as the state goes: names and words that are asked for before it, and its end.

use crate::rhythm::Groove;
use crate::session::DocumentId;
use crate::terminal::event::{Effect, SaveFailed};
use crate::terminal::files::export;
use crate::terminal::files::import;
use crate::terminal::overlay::{Overlay, PendingOverwrite};
use crate::terminal::prompts::ask;
use crate::terminal::prompts::question::Question;
use crate::terminal::state::{Message, State};
use std::sync::Arc;

/// Saves, or asks for a name first.
pub(crate) fn save(state: &mut State, effects: &mut Vec<Effect>) {
    if state.file().is_none() {
        ask(state, Question::SaveAs);
        return;
    }
    write(state, None, false, effects);
}

/// Writes the groove to its file, or to another one from now on; `over` whatever stands there if so asked.
pub(crate) fn write(state: &State, name: Option<String>, over: bool, effects: &mut Vec<Effect>) {
    effects.push(Effect::Save { groove: state.groove().clone(), name, over });
}

/// Writes over what the question was about.
pub(crate) fn overwrite(state: &mut State, effects: &mut Vec<Effect>) {
    if let Overlay::Overwrite(refused) = std::mem::take(&mut state.overlay) {
        let name = match refused {
            PendingOverwrite::Changed => None,
            PendingOverwrite::Taken(name) => Some(name),
            PendingOverwrite::Job(job, _) => return export::replace(state, job, effects),
        };
        write(state, name, true, effects);
    }
}

/// Takes the end of a save.
pub(crate) fn saved(
    state: &mut State,
    (document, groove): (DocumentId, Arc<Groove>),
    result: Result<String, SaveFailed>,
    effects: &mut Vec<Effect>,
) {
    match result {
        Ok(name) => {
            state.show_message(Message::info(format!("saved: {name}")));
            state.saved(document, groove, name);
            if state.overlay == Overlay::Leaving && !state.session.is_changed() {
                state.overlay = Overlay::None;
            }
            import::saved(state);
            if state.quit_after_save {
                effects.push(Effect::Quit { keep_journal: state.session.is_changed() });
            }
        }
        // The program still ends after the save if the answer is yes.
        Err(SaveFailed::Changed) => state.pending_overwrite = Some(PendingOverwrite::Changed),
        Err(SaveFailed::Taken(name)) => state.pending_overwrite = Some(PendingOverwrite::Taken(name)),
        Err(SaveFailed::Failed(words)) => {
            state.quit_after_save = false;
            import::stay(state);
            state.show_message(Message::warning(words));
        }
    }
}
