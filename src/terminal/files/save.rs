//! Saving, as far as the state goes: the questions before it, and its end.

use crate::jobs::Overwrite;
use crate::rhythm::Groove;
use crate::session::DocumentId;
use crate::terminal::event::{Effect, SaveFailed};
use crate::terminal::files::export;
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
    write(state, None, Overwrite::Never, effects);
}

/// Writes the groove to its file, or to another one from now on.
pub(crate) fn write(state: &State, name: Option<String>, overwrite: Overwrite, effects: &mut Vec<Effect>) {
    effects.push(Effect::Save { groove: state.groove().clone(), name, overwrite });
}

/// Overwrites the file in question.
pub(crate) fn overwrite(state: &mut State, effects: &mut Vec<Effect>) {
    if let Overlay::ConfirmOverwrite(pending) = std::mem::take(&mut state.overlay) {
        let name = match pending {
            PendingOverwrite::Changed(_) => None,
            PendingOverwrite::Taken(name) => Some(name),
            PendingOverwrite::Job(job, _) => return export::run_and_overwrite(state, job, effects),
        };
        write(state, name, Overwrite::Always, effects);
    }
}

pub(crate) fn on_saved(
    state: &mut State,
    (document, groove): (DocumentId, Arc<Groove>),
    result: Result<String, SaveFailed>,
    effects: &mut Vec<Effect>,
) {
    match result {
        Ok(name) => {
            state.show_message(Message::info(format!("saved: {name}")));
            state.set_saved(document, groove, name);
            if state.overlay == Overlay::ConfirmQuit && !state.session.is_changed() {
                state.overlay = Overlay::None;
            }
            let import = &mut state.files.import;
            if let Some(imported) = import.pending_save.take() {
                import.pending = Some(imported);
            }
            if state.files.quit_after_save {
                effects.push(Effect::Quit { keep_journal: state.session.is_changed() });
            }
        }
        // If the user overwrites the file, `quit_after_save` still applies.
        Err(SaveFailed::Changed(lines)) => state.files.pending_overwrite = Some(PendingOverwrite::Changed(lines)),
        Err(SaveFailed::Taken(name)) => state.files.pending_overwrite = Some(PendingOverwrite::Taken(name)),
        Err(SaveFailed::Failed(reason)) => {
            state.files.quit_after_save = false;
            state.files.import.pending_save = None;
            state.show_message(Message::warning(reason));
        }
    }
}
