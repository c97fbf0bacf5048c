//! Imports, as far as the state goes: the imported groove waits until it can replace the current one.

use crate::jobs::{ImportedGroove, JobError};
use crate::rhythm::Fraction;
use crate::terminal::files::export;
use crate::terminal::hearings::HearingsState;
use crate::terminal::playback::playing::LoopMode;
use crate::terminal::playback::practice;
use crate::terminal::{Confirmation, Effect, Overlay, State};

#[derive(Debug, Clone, Default)]
pub(crate) struct ImportState {
    /// Warnings of the last import.
    pub warnings: Vec<String>,
    /// An imported groove, until no overlay is open.
    pub pending: Option<Box<ImportedGroove>>,
    /// An imported groove, until the current one is saved.
    pub pending_save: Option<Box<ImportedGroove>>,
}

/// Imports a file whose onsets may be moved by `tolerance` ms.
pub(crate) fn start(state: &mut State, path: String, tolerance: Fraction) {
    if !export::is_busy(state) {
        export::set_job(state, "reading", &path);
        state.effects.push(Effect::Import { path, tolerance });
    }
}

pub(crate) fn on_done(state: &mut State, result: Result<Box<ImportedGroove>, JobError>) {
    state.files.job = None;
    match result {
        Ok(imported) => state.files.import.pending = Some(imported),
        Err(JobError::Cancelled) => state.info("cancelled; the groove is unchanged"),
        Err(error) => state.warn(format!("not imported: {error}")),
    }
}

/// Opens the pending groove if no overlay is open, after a question if there are unsaved changes.
pub(crate) fn open_pending(state: &mut State) {
    let no_overlay = state.overlay == Overlay::None;
    let Some(imported) = state.files.import.pending.take_if(|_| no_overlay) else { return };
    if state.session.is_changed() {
        state.overlay = Overlay::Confirm(Confirmation::OpenImport(imported));
    } else {
        open(state, *imported);
    }
}

/// Replaces the groove by the imported one, a document without a file; undo restores the old one.
pub(crate) fn open(state: &mut State, imported: ImportedGroove) {
    practice::end_sequence(state);
    let from = imported.from.display();
    state.session.replace(imported.groove, format!("import of {from}"));
    (state.view.scroll, state.view.top_layer, state.input.is_selecting) = (0, 0, false);
    let (limits, result) = (state.hearings.limits, state.hearings.result.take());
    state.hearings = HearingsState { limits, result, ..HearingsState::default() };
    state.playback.loop_mode = LoopMode::All;
    let (undo, save) = (state.key("undo"), state.key("save"));
    state.info(format!("imported {from}; {save} saves it, {undo} undoes it"));
    state.files.import.warnings = imported.warnings;
    if !state.files.import.warnings.is_empty() {
        state.overlay = Overlay::ImportWarnings(0);
    }
}

pub(crate) fn show_warnings(state: &mut State) {
    if state.files.import.warnings.is_empty() {
        state.info("no import warnings");
    } else {
        state.overlay = Overlay::ImportWarnings(0);
    }
}
