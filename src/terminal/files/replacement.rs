//! Grooves that replace the current one: an import, another file, a new groove. Each waits until it can replace it, becomes
//! another document, and undo restores the old one.

use crate::jobs::{ImportedGroove, LoadedGroove};
use crate::rhythm::Groove;
use crate::terminal::hearings::HearingsState;
use crate::terminal::playback::playing::LoopMode;
use crate::terminal::playback::practice;
use crate::terminal::{Confirmation, Effect, Overlay, State};
use std::path::PathBuf;

/// A groove file that was read.
#[derive(Debug, Clone, PartialEq)]
pub struct OpenedFile {
    pub(crate) name: String,
    pub(crate) loaded: LoadedGroove,
    /// The sound files outside its folder that it may read.
    pub(crate) allowed_sounds: Vec<PathBuf>,
    /// What is to be known about it.
    pub(crate) warning: Option<String>,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Replacement {
    Import(ImportedGroove),
    File(Box<OpenedFile>),
    New,
}

#[derive(Debug, Clone, Default)]
pub(crate) struct ReplacementState {
    /// Until no overlay is open.
    pub pending: Option<Box<Replacement>>,
    /// Until the current groove is saved.
    pub pending_save: Option<Box<Replacement>>,
}

/// Reads another groove file.
pub(crate) fn open(state: &mut State, name: String) {
    state.info(format!("reading {name}"));
    state.effects.push(Effect::Open(name));
}

pub(crate) fn on_opened(state: &mut State, result: Result<Box<OpenedFile>, String>) {
    match result {
        Ok(opened) => state.files.replacement.pending = Some(Box::new(Replacement::File(opened))),
        Err(reason) => state.warn(format!("not opened: {reason}")),
    }
}

pub(crate) fn start_new(state: &mut State) {
    state.files.replacement.pending = Some(Box::new(Replacement::New));
}

/// Makes the pending groove the current one if no overlay is open, after a question if there are unsaved changes.
pub(crate) fn replace_by_pending(state: &mut State) {
    let no_overlay = state.overlay == Overlay::None;
    let Some(replacement) = state.files.replacement.pending.take_if(|_| no_overlay) else { return };
    if state.session.is_changed() {
        state.overlay = Overlay::Confirm(Confirmation::Replace(replacement));
    } else {
        replace(state, *replacement);
    }
}

pub(crate) fn replace(state: &mut State, replacement: Replacement) {
    practice::end_sequence(state);
    let (undo, save) = (state.key("undo"), state.key("save"));
    match replacement {
        Replacement::Import(imported) => {
            let from = imported.from.display();
            state.session.replace(imported.groove, format!("import of {from}"));
            state.info(format!("imported {from}; {save} saves it, {undo} undoes it"));
            state.files.import.warnings = imported.warnings;
            if !state.files.import.warnings.is_empty() {
                state.overlay = Overlay::ImportWarnings(0);
            }
        }
        Replacement::File(opened) => {
            let name = opened.name.clone();
            state.session.replace(opened.loaded.groove.clone(), format!("opening of {name}"));
            let document = state.session.document();
            state.set_saved(document, state.groove().clone(), name.clone());
            state.files.outside_sounds.allowed.clone_from(&opened.allowed_sounds);
            match &opened.warning {
                Some(warning) => state.warn(warning.clone()),
                None => state.info(format!("opened {name}; {undo} undoes it")),
            }
            state.effects.push(Effect::UseFile(document, opened));
        }
        Replacement::New => {
            state.session.replace(Groove::new_untitled(), "new groove".to_owned());
            state.session.set_saved(state.session.document(), state.groove().clone());
            state.info(format!("new groove; {undo} undoes it"));
        }
    }
    (state.view.scroll, state.view.top_layer, state.input.is_selecting) = (0, 0, false);
    let (limits, result) = (state.hearings.limits, state.hearings.result.take());
    state.hearings = HearingsState { limits, result, ..HearingsState::default() };
    state.playback.loop_mode = LoopMode::All;
}
