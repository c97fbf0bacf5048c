//! Saving, as far as the state goes: the questions before it, and its end.

use crate::jobs::Overwrite;
use crate::rhythm::Groove;
use crate::session::DocumentId;
use crate::terminal::event::SaveFailed;
use crate::terminal::{Confirmation, Effect, Overlay, Question, State, ask, recording};
use std::path::Path;
use std::sync::Arc;

/// Saves, or asks for a name first.
pub(crate) fn save(state: &mut State) {
    if state.file().is_some() {
        write(state, None, Overwrite::Never);
    } else {
        ask(state, Question::SaveAs);
    }
}

/// The name of a groove's file: `.toml` is added to a name without an extension.
pub(crate) fn with_extension(name: String) -> String {
    if Path::new(&name).extension().is_some() { name } else { format!("{name}.toml") }
}

/// Writes the groove to its file, or to another one from now on.
pub(crate) fn write(state: &mut State, name: Option<String>, overwrite: Overwrite) {
    let is_identified = recording::add_fingerprint(state);
    let groove = state.groove().clone();
    if is_identified {
        // What is saved is no unsaved change.
        state.effects.push(Effect::Journal { document: state.session.document(), groove: groove.clone() });
    }
    state.effects.push(Effect::Save { groove, name, overwrite });
}

pub(crate) fn on_saved(
    state: &mut State,
    (document, groove): (DocumentId, Arc<Groove>),
    result: Result<String, SaveFailed>,
) {
    match result {
        Ok(name) => {
            state.info(format!("saved: {name}"));
            state.set_saved(document, groove, name);
            if state.overlay == Overlay::Confirm(Confirmation::Quit) && !state.session.is_changed() {
                state.overlay = Overlay::None;
            }
            let replacement = &mut state.files.replacement;
            if let Some(waiting) = replacement.pending_save.take() {
                replacement.pending = Some(waiting);
            }
            if state.files.quit_after_save {
                let keep_journal = state.session.is_changed();
                state.effects.push(Effect::Quit { keep_journal });
            }
        }
        // If the user overwrites the file, `quit_after_save` still applies.
        Err(SaveFailed::Changed(lines)) => state.files.pending_overwrite = Some(Confirmation::OverwriteChanged(lines)),
        Err(SaveFailed::Taken(name)) => state.files.pending_overwrite = Some(Confirmation::OverwriteOther(name)),
        Err(SaveFailed::Failed(reason)) => {
            state.files.quit_after_save = false;
            state.files.replacement.pending_save = None;
            state.warn(reason);
        }
    }
}
